package page

import (
	"math"
	"strings"

	"stillroom/internal/web/chart"
)

// Measures of a wall chart in millimetres. Bars are as high as the page allows, within limits.
const (
	highestBar = 13.0
	lowestBar  = 4.4
	keyHeight  = 6.0
	mostName   = 46.0
)

var (
	captionCut = cut{7, regular}
	keyCut     = cut{8.4, regular}
)

func (p *press) boardSize(c chart.Chart, bar float64) chart.Size {
	names := 18.0
	for _, row := range c.Rows {
		names = max(names, p.measure(row.Name, boldCut)+3)
	}
	return chart.Size{
		Width: p.body(), NameWidth: min(names, mostName), Axis: 8.5, Heading: 6.5,
		Lane: bar, Caption: captionCut.line(), LaneGap: 0.5, RowGap: 1.2, Unit: 1, MinTick: 13,
	}
}

// board pushes a chart as one piece where it fits on a page, else as one for each page that it takes; every page has
// the clock.
func (p *press) board(b Board) {
	b.Chart = b.Chart.Map(p.set)
	key := p.keyLines(b.Chart)
	room := p.room() - float64(len(key))*keyHeight
	if !p.doc.short() {
		room -= 22 // its head is higher on the first page
	}
	above := 0.0
	for _, before := range p.pieces {
		above += before.space + before.height
	}
	if above < room/2 {
		room -= above
	}
	bar := highestBar
	for bar > lowestBar && b.Chart.Place(p.boardSize(b.Chart, bar)).Height > room {
		bar -= 0.2
	}
	size := p.boardSize(b.Chart, bar)
	rows := b.Chart.Rows
	for first := true; first || len(rows) > 0; first = false {
		part := b.Chart
		part.Rows = rows[:min(1, len(rows))]
		for n := len(rows); n > 1; n-- {
			part.Rows = rows[:n]
			if part.Place(size).Height <= room {
				break
			}
			part.Rows = rows[:1]
		}
		rows = rows[len(part.Rows):]
		placed := part.Place(size)
		p.push(piece{height: placed.Height, keep: true, newPage: !first, draw: func(y float64) { p.drawBoard(placed, y) }})
		for i, line := range key {
			p.push(piece{height: keyHeight, keep: i < len(key)-1, draw: func(y float64) { p.drawKey(line, y) }})
		}
	}
}

func (p *press) drawBoard(b *chart.Placed, top float64) {
	s := b.Size
	small, name, heading := captionCut, boldCut, cut{minorType, bold}
	for _, t := range b.Ticks {
		x := margin + t.X
		p.SetLineWidth(0.08)
		from := top + s.Axis*0.75
		if t.Text != "" {
			p.SetLineWidth(0.18)
			from = top + s.Axis*0.6
			p.write(x-p.measure(t.Text, boldCut)/2, top, t.Text, boldCut, false)
		} else {
			p.SetDashPattern([]float64{0.3, 0.7}, 0)
		}
		p.Line(x, from, x, top+b.Height)
		p.SetDashPattern(nil, 0)
	}
	for _, row := range b.Rows {
		if !math.IsNaN(row.HeadingY) {
			p.write(margin, top+row.HeadingY, row.Group, heading, false)
			p.rule(margin, top+row.HeadingY+s.Heading-0.7, p.body(), 0.5)
		}
		lines := p.wrap(row.Name, name, s.NameWidth-3)
		if len(lines) > 2 {
			lines = []string{lines[0], p.short(lines[1]+"…", name, s.NameWidth-3)}
		}
		p.writeLines(margin, top+row.Y, lines, name, false)
		for _, load := range row.Loads {
			for _, span := range load.Spans {
				p.drawSpan(span, top)
			}
			if caption := p.short(load.Caption, small, load.CaptionRoom-1); caption != "" {
				x, y := margin+load.X, top+load.Y+s.Lane
				p.SetFillColor(255, 255, 255)
				p.Rect(x, y+0.2, p.measure(caption, small), small.line()-0.3, "F")
				p.write(x, y, caption, small, false)
			}
		}
		p.rule(margin, top+row.Y+row.Height+s.RowGap/2, p.body(), 0.12)
	}
}

// drawSpan fills a box with its texture and prints its label where it fits: white on a solid one, else on a patch of
// white, so that no line runs through a letter.
func (p *press) drawSpan(span chart.PlacedSpan, top float64) {
	x, y := margin+span.X, top+span.Y
	p.fill(span.Kind.Texture(), x, y, span.Width, span.Height)
	label := cut{min(minorType, span.Height/pointMM*0.72), bold}
	text := span.Text
	for p.measure(text, label) > span.Width-1 && label.size > underType { // rather smaller than cut off
		label.size -= 0.5
	}
	if p.measure(text, label) > span.Width-1 { // rather the number alone than "12 half…"
		text, _, _ = strings.Cut(text, " ")
		label.size = min(minorType, span.Height/pointMM*0.72)
		text = p.short(text, label, span.Width-1)
	}
	if text == "" {
		return
	}
	w := p.measure(text, label)
	at, line := x+(span.Width-w)/2, y+(span.Height-label.line())/2
	if span.Kind.Texture().Solid {
		p.SetTextColor(255, 255, 255)
		defer p.SetTextColor(0, 0, 0)
	} else if len(span.Kind.Texture().Strokes) > 0 || span.Kind.Texture().Dots > 0 {
		p.SetFillColor(255, 255, 255)
		p.Rect(at-0.5, line+label.line()*0.12, w+1, label.line()*0.76, "F")
	}
	p.write(at, line, text, label, false)
}

// fill draws a box with a texture.
func (p *press) fill(t chart.Texture, x, y, w, h float64) {
	p.SetFillColor(255, 255, 255)
	if t.Solid {
		p.SetFillColor(0, 0, 0)
	}
	p.Rect(x, y, w, h, "F")
	p.SetFillColor(0, 0, 0) // before the clip, whose end takes back what is set within it
	p.ClipRect(x, y, w, h, false)
	for _, s := range t.Strokes {
		p.strokes(s, x, y, w, h)
	}
	if t.Dots > 0 {
		for dy, odd := t.Dots/2, false; dy < h; dy, odd = dy+t.Dots, !odd {
			from := t.Dots / 2
			if odd {
				from = t.Dots
			}
			for dx := from; dx < w; dx += t.Dots {
				p.Circle(x+dx, y+dy, chart.DotSize/2, "F")
			}
		}
	}
	p.ClipEnd()
	p.SetLineWidth(0.25)
	p.Rect(x, y, w, h, "D")
}

// strokes draws parallel lines through a box that clips them.
func (p *press) strokes(s chart.Stroke, x, y, w, h float64) {
	p.SetLineWidth(s.Width)
	sin, cos := math.Sincos(s.Angle * math.Pi / 180)
	// From the middle outwards, along the normal of the lines; y grows downwards.
	mx, my, reach := x+w/2, y+h/2, math.Hypot(w, h)/2
	for n := -math.Ceil(reach / s.Gap); n*s.Gap <= reach; n++ {
		cx, cy := mx+n*s.Gap*sin, my+n*s.Gap*cos
		p.Line(cx-reach*cos, cy+reach*sin, cx+reach*cos, cy-reach*sin)
	}
}

// keyLines are the kinds of a chart in lines as wide as the page.
func (p *press) keyLines(c chart.Chart) [][]chart.Kind {
	var lines [][]chart.Kind
	used := math.Inf(1)
	for _, k := range c.Kinds() {
		w := p.keyWidth(k)
		if used+w > p.body() {
			lines, used = append(lines, nil), 0
		}
		lines[len(lines)-1] = append(lines[len(lines)-1], k)
		used += w
	}
	return lines
}

const sampleWidth = 7.5

func (p *press) keyWidth(k chart.Kind) float64 {
	return sampleWidth + 1.5 + p.measure(k.String(), keyCut) + 3.5
}

func (p *press) drawKey(kinds []chart.Kind, y float64) {
	c := keyCut
	x := margin
	for _, k := range kinds {
		if k.Thin() {
			p.fill(k.Texture(), x, y+keyHeight*0.35, sampleWidth, keyHeight*0.3)
		} else {
			p.fill(k.Texture(), x, y+1, sampleWidth, keyHeight-2)
		}
		p.write(x+sampleWidth+1.5, y+(keyHeight-c.line())/2, k.String(), c, false)
		x += p.keyWidth(k)
	}
}
