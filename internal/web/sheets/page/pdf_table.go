package page

import (
	"slices"
	"strings"
)

// White inside the cells of a table, in millimetres.
const (
	padX    = 1.4
	padY    = 0.8
	openRow = 8.0 // height of a row to write in
)

var (
	headCut  = cut{smallType, bold}
	cellCut  = cut{textType, regular}
	boldCut  = cut{textType, bold}
	underCut = cut{underType, regular}
	groupCut = cut{minorType, bold}
)

// set cell: its lines, ready to be drawn.
type setCell struct {
	Cell
	lines, under []string
	cut          cut
}

func (c setCell) height() float64 {
	return float64(len(c.lines))*c.cut.line() + float64(len(c.under))*underCut.line()
}

// columns are the left edges and widths of a table's columns: by their shares, but none so narrow that a word such as
// a time of day is broken, as long as that leaves the others enough.
func (p *press) columns(t Table) (x, width []float64) {
	needs, sum := p.longestWords(t), 0.0
	for _, c := range t.Columns {
		sum += c.Share
	}
	left := p.body()
	width = make([]float64, len(t.Columns))
	for settled := false; !settled; {
		settled = true
		for i, c := range t.Columns {
			if width[i] == 0 && left*c.Share/sum < needs[i] {
				width[i] = needs[i]
				left, sum, settled = left-needs[i], sum-c.Share, false
			}
		}
	}
	at := margin
	for i, c := range t.Columns {
		if width[i] == 0 {
			width[i] = left * c.Share / sum
		}
		x = append(x, at)
		at += width[i]
	}
	return x, width
}

// longestWords is how wide each column must be for its longest word, at most its part of the page.
func (p *press) longestWords(t Table) []float64 {
	needs := make([]float64, len(t.Columns))
	most := p.body() / float64(len(t.Columns)+1)
	ask := func(i int, text string, c cut, beside float64) {
		for _, word := range strings.Fields(p.set(text)) {
			needs[i] = min(max(needs[i], p.measure(word, c)+2*padX+beside+0.1), most)
		}
	}
	for i, c := range t.Columns {
		ask(i, c.Head, headCut, 0)
	}
	for _, g := range t.Groups {
		rows := g.Rows
		if len(g.Foot) > 0 {
			rows = append(slices.Clip(rows), Row{Cells: strong(g.Foot)})
		}
		for _, r := range rows {
			if len(r.Cells) == 1 {
				continue // goes over all columns
			}
			for i, c := range r.Cells {
				beside := 0.0
				if c.Tick {
					beside = tickSize + 1.5
				}
				set := cellCut
				if c.Strong || r.Loud {
					set = boldCut
				}
				for _, text := range append([]string{c.Text}, c.More...) {
					ask(i, text, set, beside)
				}
				for _, text := range c.Under {
					ask(i, text, underCut, beside)
				}
			}
		}
	}
	return needs
}

func (p *press) table(t Table) {
	x, width := p.columns(t)
	head := p.tableHead(t, x, width)
	first := head
	first.keep, first.space = true, 2
	p.push(first)
	for n, g := range t.Groups {
		again := &head
		if g.Head != "" {
			name := p.groupHead(g.Head)
			if n > 0 {
				name.space = 2.5
			}
			name.keep, name.again = true, &head
			p.push(name)
			// A group that goes on over a page says so under the table's head.
			more := p.groupHead(g.Head + " (continued)")
			again = &piece{height: head.height + more.height, draw: func(y float64) {
				head.draw(y)
				more.draw(y + head.height)
			}}
		}
		var rows []piece
		for _, r := range g.Rows {
			for _, one := range p.row(t, x, width, r) {
				one.again = again
				rows = append(rows, one)
			}
		}
		if len(g.Foot) > 0 {
			for _, one := range p.row(t, x, width, Row{Cells: strong(g.Foot)}) {
				one.again = again
				if len(rows) > 0 {
					rows[len(rows)-1].keep = true // a sum never stands alone
				}
				rows = append(rows, one)
			}
		}
		if t.Whole {
			for i := range rows {
				rows[i].keep = i < len(rows)-1 || n < len(t.Groups)-1
			}
		}
		p.push(rows...)
	}
}

func strong(cells []Cell) []Cell {
	all := make([]Cell, len(cells))
	for i, c := range cells {
		c.Strong = true
		all[i] = c
	}
	return all
}

func (p *press) tableHead(t Table, x, width []float64) piece {
	tallest := 0
	names := make([][]string, len(t.Columns))
	for i, c := range t.Columns {
		names[i] = p.wrap(p.set(c.Head), headCut, width[i]-2*padX)
		tallest = max(tallest, len(names[i]))
	}
	height := float64(tallest)*headCut.line() + 2*padY
	return piece{height: height, draw: func(y float64) {
		for i, c := range t.Columns {
			top := y + padY + float64(tallest-len(names[i]))*headCut.line()
			p.writeLines(edge(c, x[i], width[i]), top, names[i], headCut, c.Right)
		}
		p.rule(margin, y+height, p.body(), 0.5)
	}}
}

// edge is where the text of a column stands: at its left, or at its right for figures.
func edge(c Column, x, width float64) float64 {
	if c.Right {
		return x + width - padX
	}
	return x + padX
}

func (p *press) groupHead(name string) piece {
	lines := p.wrap(p.set(name), groupCut, p.body()-2*padX)
	height := float64(len(lines))*groupCut.line() + padY*2
	return piece{height: height, draw: func(y float64) {
		p.writeLines(margin+padX, y+padY, lines, groupCut, false)
		p.rule(margin, y+height, p.body(), 0.35)
	}}
}

// row is one piece; a row longer than a page, which no sensible text makes, goes on in a second.
func (p *press) row(t Table, x, width []float64, r Row) []piece {
	if len(r.Cells) == 1 {
		t.Columns, x, width = []Column{{}}, []float64{margin}, []float64{p.body()}
	}
	cells := make([]setCell, len(r.Cells))
	for i, c := range r.Cells {
		cells[i] = p.cell(c, r.Loud, width[i])
	}
	most := p.room() - 30 // below the heads of table and group
	var pieces []piece
	for {
		part, rest, more := cells, []setCell(nil), false
		if tall(cells) > most {
			part, rest, more = cutRow(cells, most)
		}
		pieces = append(pieces, p.drawnRow(t, x, width, part, r.Loud))
		if !more {
			return pieces
		}
		cells = rest
	}
}

func (p *press) cell(c Cell, loud bool, width float64) setCell {
	s := setCell{Cell: c, cut: cellCut}
	if c.Strong || loud {
		s.cut = boldCut
	}
	room := width - 2*padX
	if c.Tick {
		room -= tickSize + 1.5
	}
	for _, text := range append([]string{c.Text}, c.More...) {
		s.lines = append(s.lines, p.wrap(p.set(text), s.cut, room)...)
	}
	for _, u := range c.Under {
		s.under = append(s.under, p.wrap(p.set(u), underCut, room)...)
	}
	return s
}

func tall(cells []setCell) float64 {
	tallest := cellCut.line()
	for _, c := range cells {
		tallest = max(tallest, c.height())
	}
	return tallest
}

// cutRow parts the cells of a row after as many lines as fit.
func cutRow(cells []setCell, most float64) (part, rest []setCell, more bool) {
	part, rest = make([]setCell, len(cells)), make([]setCell, len(cells))
	for i, c := range cells {
		fits := min(len(c.lines), max(int(most/c.cut.line()), 1))
		under := min(len(c.under), max(int((most-float64(fits)*c.cut.line())/underCut.line()), 0))
		if fits < len(c.lines) {
			under = 0
		}
		part[i], rest[i] = c, setCell{cut: c.cut, lines: c.lines[fits:], under: c.under[under:]}
		part[i].lines, part[i].under = c.lines[:fits], c.under[:under]
		more = more || len(rest[i].lines)+len(rest[i].under) > 0
	}
	return part, rest, more
}

func (p *press) drawnRow(t Table, x, width []float64, cells []setCell, loud bool) piece {
	height := tall(cells) + 2*padY
	if t.Open {
		height = max(height, openRow)
	}
	return piece{height: height, draw: func(y float64) {
		for i, c := range cells {
			left := edge(t.Columns[i], x[i], width[i])
			top := y + padY
			if t.Open { // what is printed stands in the middle of the room to write in
				top = y + (height-c.height())/2
			}
			if c.Tick {
				box := top
				if t.Open {
					box = y + (height-c.cut.line())/2
				}
				p.tick(x[i]+padX, box, c.cut)
				if !t.Columns[i].Right {
					left += tickSize + 1.5
				}
			}
			below := p.writeLines(left, top, c.lines, c.cut, t.Columns[i].Right)
			p.writeLines(left, below, c.under, underCut, t.Columns[i].Right)
			if t.Open && i > 0 {
				p.SetLineWidth(0.12)
				p.Line(x[i], y, x[i], y+height)
			}
		}
		weight := 0.12
		if loud {
			weight = 0.5
			p.rule(margin, y, p.body(), weight)
		}
		p.rule(margin, y+height, p.body(), weight)
	}}
}
