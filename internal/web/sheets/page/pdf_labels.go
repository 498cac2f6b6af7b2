package page

import (
	"fmt"

	"codeberg.org/go-pdf/fpdf"
)

// Sizes of type on a label, which shrink together until everything fits.
const (
	labelName  = 12.0
	labelText  = 8.5
	labelSmall = 6.0
	labelPad   = 2.5 // a printer may be off by so much
	mostScale  = 1.7
	leastScale = 0.62
)

// labels draws sheets of labels. Where the stock leaves room above the first row, the sheet says what it is.
func (p *press) labels(l Labels) {
	sheets := l.Sheets()
	for n, sheet := range sheets {
		w, h := l.Stock.Paper.Size()
		p.AddPageFormat("P", fpdf.SizeType{Wd: w, Ht: h})
		p.now = cut{}
		if c := (cut{footType, regular}); l.Stock.Top >= 8 {
			text := fmt.Sprintf("%s, %s · sheet %d of %d", p.doc.Title, l.Stock, n+1, len(sheets))
			p.write(margin, 4, p.set(text), c, false)
			p.write(w-margin, 4, p.short(p.set(p.doc.Basis), c, w-2*margin-p.measure(p.set(text), c)-4), c, true)
		}
		for at, index := range sheet {
			x, y := l.Stock.Place(at)
			if l.Outline {
				p.SetLineWidth(0.15)
				p.Rect(x, y, l.Stock.Width, l.Stock.Height, "D")
				p.write(x+l.Stock.Width-1.5, y+1, fmt.Sprint(at+1), cut{labelText, bold}, true)
			}
			if index >= 0 {
				p.label(l.Labels[index], x+labelPad, y+labelPad, l.Stock.Width-2*labelPad, l.Stock.Height-2*labelPad)
			}
		}
	}
}

// setLine is a line of a label at a scale.
type setLine struct {
	lines []string
	cut   cut
	loud  bool
}

func (s setLine) height() float64 {
	height := float64(len(s.lines)) * s.cut.line()
	if s.loud {
		height += 2
	}
	return height
}

// label prints a label as large as it fits. Where even the smallest type is too large, whole lines at the end of the
// small print and letters at the end of the name go, never what is loud.
func (p *press) label(l Label, x, y, width, height float64) {
	usual := count(p.setLabel(l, 1, width))
	for scale := mostScale; ; scale -= 0.04 {
		lines := p.setLabel(l, scale, width)
		if scale > 1 && count(lines) > usual {
			continue // larger type is no gain where it breaks lines
		}
		if total := totalHeight(lines); total <= height || scale <= leastScale {
			for totalHeight(lines) > height && p.shed(lines, width) {
			}
			p.ClipRect(x-labelPad, y-labelPad, width+2*labelPad, height+2*labelPad, false)
			p.drawLabel(lines, x, y+max(height-totalHeight(lines), 0)/2, width)
			p.ClipEnd()
			p.SetFillColor(0, 0, 0) // the end of the clip takes back what was set within it
			p.SetTextColor(0, 0, 0)
			p.now = cut{}
			return
		}
	}
}

func count(lines []setLine) int {
	n := 0
	for _, l := range lines {
		n += len(l.lines)
	}
	return n
}

func totalHeight(lines []setLine) float64 {
	sum := 0.0
	for _, l := range lines {
		sum += l.height()
	}
	return sum
}

// shed takes the last line from the longest part that can spare one.
func (p *press) shed(lines []setLine, width float64) bool {
	longest := -1
	for i, l := range lines {
		if !l.loud && len(l.lines) > 1 && (longest < 0 || len(l.lines) >= len(lines[longest].lines)) {
			longest = i
		}
	}
	if longest < 0 {
		return false
	}
	l := &lines[longest]
	l.lines = l.lines[:len(l.lines)-1]
	last := &l.lines[len(l.lines)-1]
	*last = p.short(*last+"…", l.cut, width)
	return true
}

func (p *press) setLabel(l Label, scale, width float64) []setLine {
	all := []setLine{{cut: cut{labelName * scale, bold}}}
	all[0].lines = p.wrap(p.set(l.Name), all[0].cut, width)
	for _, line := range l.Lines {
		s := setLine{cut: cut{labelText * scale, regular}, loud: line.Loud}
		room := width
		switch {
		case line.Loud:
			s.cut = cut{(labelText + 1) * scale, bold}
			room -= 2
		case line.Small:
			s.cut.size = labelSmall * scale
		}
		s.lines = p.wrap(p.set(line.Text), s.cut, room)
		all = append(all, s)
	}
	return all
}

func (p *press) drawLabel(lines []setLine, x, y, width float64) {
	for _, l := range lines {
		if l.loud {
			p.SetFillColor(0, 0, 0)
			p.Rect(x, y+0.4, width, l.height()-0.8, "F")
			p.SetTextColor(255, 255, 255)
			p.writeLines(x+1, y+1, l.lines, l.cut, false)
			p.SetTextColor(0, 0, 0)
			y += l.height()
			continue
		}
		y = p.writeLines(x, y, l.lines, l.cut, false)
	}
}
