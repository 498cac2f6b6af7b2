package page

import (
	"fmt"
	"io"
	"strings"

	"codeberg.org/go-pdf/fpdf"
)

// press lays a document out on pages.
type press struct {
	pen
	doc Document
	// width and height of the paper as it lies.
	width, height float64
	// pieces to be placed, in order.
	pieces []piece
	// y is how far the page is filled; top says that nothing but the head stands on it.
	y   float64
	top bool
	// section is what the page goes on with, from the last heading that began a page.
	section string
}

// piece is what is never split.
type piece struct {
	height float64
	draw   func(y float64)
	// keep holds it on the page of the next piece.
	keep bool
	// newPage begins a page, and the pages after it carry the section's name in their heads.
	newPage bool
	section string
	// again is drawn above it where a page begins with it: the head of a table, the name of a group.
	again *piece
	// space is white above it, dropped at the top of a page.
	space float64
}

// WritePDF writes the document as a PDF. The same document gives the same bytes.
func WritePDF(w io.Writer, doc Document) error {
	width, height := doc.Paper.Size()
	if doc.Landscape {
		width, height = height, width
	}
	f := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: width, Ht: height}})
	f.SetCatalogSort(true)
	f.SetCreationDate(doc.Made.UTC())
	f.SetModificationDate(doc.Made.UTC())
	f.SetProducer("Stillroom", true)
	f.SetTitle(set(strings.Join(append([]string{doc.Title}, doc.About...), ", ")), true)
	f.SetLang("en")
	f.SetAutoPageBreak(false, 0)
	f.SetMargins(margin, margin, margin)
	addTypefaces(f)
	p := &press{pen: pen{Fpdf: f}, doc: doc, width: width, height: height}
	f.SetDrawColor(0, 0, 0)
	f.SetTextColor(0, 0, 0)
	if labels, ok := onlyLabels(doc); ok {
		p.labels(labels)
	} else {
		for _, b := range doc.Blocks {
			p.add(b)
		}
		p.flow()
		p.feet()
	}
	return f.Output(w)
}

// onlyLabels says whether a document is sheets of labels, which have neither head nor foot.
func onlyLabels(doc Document) (Labels, bool) {
	for _, b := range doc.Blocks {
		if l, ok := b.(Labels); ok {
			return l, true
		}
	}
	return Labels{}, false
}

func (p *press) add(b Block) {
	switch b := b.(type) {
	case Heading:
		p.heading(b)
	case Paragraph:
		p.paragraph(b)
	case Facts:
		p.facts(b)
	case List:
		p.list(b)
	case Table:
		p.table(b)
	case Board:
		p.board(b)
	}
}

func (p *press) push(pieces ...piece) { p.pieces = append(p.pieces, pieces...) }

// body is the width of the text, bottom where it ends.
func (p *press) body() float64   { return p.width - 2*margin }
func (p *press) bottom() float64 { return p.height - margin - footHeight }

// room is the height of the text on a page that has the short head.
func (p *press) room() float64 { return p.bottom() - margin - shortHead }

// flow places the pieces. What keep holds together goes to a new page together, unless it is longer than a page.
func (p *press) flow() {
	p.page()
	for at := 0; at < len(p.pieces); {
		end := at + 1
		for end < len(p.pieces) && p.pieces[end-1].keep {
			end++
		}
		chain := p.pieces[at:end]
		need := 0.0
		for i, c := range chain {
			need += c.height
			if i > 0 || !p.top {
				need += c.space
			}
		}
		if chain[0].newPage {
			p.section = ""
		}
		if !p.top && (chain[0].newPage || p.y+need > p.bottom()) {
			p.page()
		}
		if chain[0].newPage {
			p.section = chain[0].section
		}
		for i := range chain {
			p.place(&chain[i])
		}
		at = end
	}
}

// place draws a piece, on a new page where it has to.
func (p *press) place(c *piece) {
	space := c.space
	if p.top {
		space = 0
	}
	if !p.top && p.y+space+c.height > p.bottom() {
		p.page()
		space = 0
	}
	if p.top && c.again != nil {
		c.again.draw(p.y)
		p.y += c.again.height
	}
	p.y += space
	c.draw(p.y)
	p.y += c.height
	p.top = false
}

// shortHead is the height of the head of the pages after the first.
const shortHead = 8.5

// page begins a page with its head.
func (p *press) page() {
	first := p.PageCount() == 0
	p.AddPage()
	p.now = cut{}
	p.y = margin
	p.rule(margin, p.y, p.body(), 1.1)
	p.rule(margin, p.y+1.2, p.body(), 0.2)
	p.y += 1.6
	if first && !p.doc.short() {
		p.y = p.writeLines(margin, p.y+1.5, p.wrap(p.set(p.doc.Title), cut{titleType, bold}, p.body()), cut{titleType, bold}, false)
		for i, about := range p.doc.About {
			c := cut{textType, regular}
			if i == 0 {
				c = cut{minorType, bold}
			}
			p.y = p.writeLines(margin, p.y, p.wrap(p.set(about), c, p.body()), c, false)
		}
		p.y += 3
	} else {
		about, small := p.set(strings.Join(p.doc.About, " · ")), cut{smallType + 1, regular}
		name, c := p.set(p.doc.Title), cut{minorType, bold}
		if p.section != "" { // the page before says the rest
			name += " · " + p.section
			about = p.set(strings.Join(p.doc.About[:min(len(p.doc.About), 1)], ""))
		}
		name = p.short(name, c, max(p.body()-p.measure(about, small)-6, p.body()*0.35))
		p.write(margin, p.y, name, c, false)
		p.write(p.width-margin, p.y+1, p.short(about, small, p.body()-p.measure(name, c)-6), small, true)
		p.y = margin + shortHead
	}
	p.top = true
}

func (p *press) measure(s string, c cut) float64 { return p.pen.width(s, c) }

// short says whether the head is one line on the first page too: where it is asked for, and where the document begins
// with a heading that is the title of its page, as cards do.
func (d Document) short() bool {
	if len(d.Blocks) == 0 {
		return d.Compact
	}
	h, ok := d.Blocks[0].(Heading)
	return d.Compact || ok && h.NewPage
}

// feet writes the foot of every page, when their number is known.
func (p *press) feet() {
	count := p.PageCount()
	basis := p.doc.Basis
	c := cut{footType, regular}
	lines := p.wrap(p.set(basis), c, p.body()-28)
	if p.replaced {
		lines = append(lines, p.wrap(set(MissingLetters), c, p.body()-28)...)
	}
	for n := 1; n <= count; n++ {
		p.SetPage(n)
		p.now = cut{}
		y := p.height - margin - footHeight + 2
		p.rule(margin, y, p.body(), 0.2)
		p.writeLines(margin, y+0.6, lines, c, false)
		p.write(p.width-margin, y+0.6, fmt.Sprintf("page %d of %d", n, count), cut{footType, bold}, true)
	}
}

// MissingLetters explains the mark of a letter that the typeface lacks.
const MissingLetters = string(missing) + " stands for a letter that this typeface lacks; printed from a browser, the sheet has it."

func (p *press) heading(h Heading) {
	c := cut{headingType, bold}
	if h.NewPage {
		c.size = titleType
	} else if h.Minor {
		c.size = minorType
	}
	aside := p.set(h.Aside)
	taken := 0.0
	if aside != "" {
		taken = min(p.measure(aside, cut{minorType, bold})+4, p.body()/2)
	}
	lines := p.wrap(p.set(h.Text), c, p.body()-taken)
	p.push(piece{height: float64(len(lines))*c.line() + 1, keep: true, newPage: h.NewPage, section: p.set(h.Text), space: 4, draw: func(y float64) {
		p.writeLines(margin, y, lines, c, false)
		p.write(p.width-margin, y+(c.line()-cut{minorType, bold}.line())*0.8, p.short(aside, cut{minorType, bold}, p.body()/2), cut{minorType, bold}, true)
	}})
}

func (p *press) paragraph(b Paragraph) {
	c, inset, space := cut{textType, regular}, 0.0, 1.0
	switch b.Style {
	case Small:
		c.size = smallType
	case Loud:
		c, inset, space = cut{minorType, bold}, 2.5, 2
	case Plain:
	}
	lines := p.wrap(p.set(b.Text), c, p.body()-2*inset)
	if b.Style == Loud {
		height := float64(len(lines))*c.line() + 2*inset
		p.push(piece{height: height + 1.5, space: space, keep: true, draw: func(y float64) {
			p.SetLineWidth(1)
			p.Rect(margin+0.5, y+0.5, p.body()-1, height-1, "D")
			p.writeLines(margin+inset, y+inset, lines, c, false)
		}})
		return
	}
	p.lines(margin, lines, c, space, 0.8)
	if b.Keep && len(lines) > 0 {
		p.pieces[len(p.pieces)-1].keep = true
	}
}

// lines pushes running text line by line, so that it may go on over a page; two lines stay together at either end.
func (p *press) lines(x float64, lines []string, c cut, before, after float64) {
	for i, line := range lines {
		one := piece{height: c.line(), draw: func(y float64) { p.write(x, y, line, c, false) }, keep: i == 0 && len(lines) > 1 || i == len(lines)-2}
		if i == 0 {
			one.space = before
		}
		if i == len(lines)-1 {
			one.height += after
		}
		p.push(one)
	}
}

// facts are set in up to four columns, each name above its value.
func (p *press) facts(facts Facts) {
	const columns, gap = 4, 4.0
	name, value := cut{smallType, regular}, cut{textType, bold}
	width := (p.body() - (columns-1)*gap) / columns
	for at := 0; at < len(facts); at += columns {
		row := facts[at:min(at+columns, len(facts))]
		tallest := 0
		var values [][]string
		for _, f := range row {
			lines := p.wrap(p.set(f.Value), value, width)
			values, tallest = append(values, lines), max(tallest, len(lines))
		}
		p.push(piece{height: name.line() + float64(tallest)*value.line() + 1.2, space: 1, keep: true, draw: func(y float64) {
			for i, f := range row {
				x := margin + float64(i)*(width+gap)
				p.write(x, y, p.short(p.set(f.Name), name, width), name, false)
				p.writeLines(x, y+name.line(), values[i], value, false)
			}
		}})
	}
}

func (p *press) list(l List) {
	c, indent := cut{textType, regular}, 4.0
	if l.Small {
		c.size, indent = smallType, 3
	}
	if l.Tick {
		indent = tickSize + 2
	} else if l.Bare {
		indent = 0
	}
	under := cut{smallType, regular}
	for n, item := range l.Items {
		text, source := item.Text, item.Source
		if source != "" {
			source = "(" + source + ")"
		}
		if l.Small {
			text, source = strings.TrimSpace(text+" "+source), ""
		}
		lines := p.wrap(p.set(text), c, p.body()-indent)
		sources := p.wrap(p.set(source), under, p.body()-indent)
		one := piece{height: float64(len(lines))*c.line() + float64(len(sources))*under.line() + 0.7, draw: func(y float64) {
			if l.Tick {
				p.tick(margin, y, c)
			} else if !l.Bare {
				p.Circle(margin+1, y+c.line()/2, c.size*0.045, "F")
			}
			p.writeLines(margin+indent, p.writeLines(margin+indent, y, lines, c, false), sources, under, false)
		}}
		if n == 0 {
			one.space, one.keep = 1, len(l.Items) > 1
		}
		p.push(one)
	}
}
