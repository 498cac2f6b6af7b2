package page

import (
	"strings"
	"unicode/utf8"

	"codeberg.org/go-pdf/fpdf"
)

// Sizes of type in points, as they are legible: headings across a room, tables at a bench, sources in the hand.
const (
	titleType   = 20.0
	headingType = 15.0
	minorType   = 12.0
	textType    = 10.0
	underType   = 7.8
	smallType   = 7.2
	footType    = 7.0
)

// Measures of the page in millimetres.
const (
	margin     = 14.0
	footHeight = 9.0
	tickSize   = 3.7
)

// pointMM is a point (1/72 of an inch of 25.4 mm) in millimetres; leading is from line to line, in sizes of type.
const (
	pointMM = 25.4 / 72
	leading = 1.28
)

// cut is a size of type in a weight.
type cut struct {
	size   float64
	weight string
}

// line is the height of a line.
func (c cut) line() float64 { return c.size * pointMM * leading }

// pen draws text and marks.
type pen struct {
	*fpdf.Fpdf
	now cut
	// replaced says that a letter was missing.
	replaced bool
}

func (p *pen) use(c cut) {
	if p.now != c {
		p.SetFont(face, c.weight, c.size)
		p.now = c
	}
}

// set makes a text ready, and notes when a letter was missing.
func (p *pen) set(s string) string {
	s = set(s)
	p.replaced = p.replaced || strings.ContainsRune(s, missing)
	return s
}

func (p *pen) width(s string, c cut) float64 {
	p.use(c)
	return p.GetStringWidth(s)
}

// wrap breaks a text that was made ready into lines of at most a width; a word too long for a line is broken too.
func (p *pen) wrap(s string, c cut, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		if line != "" {
			if p.width(line+" "+word, c) <= width {
				line += " " + word
				continue
			}
			lines = append(lines, line)
		}
		for p.width(word, c) > width {
			head := p.head(word, c, width)
			lines = append(lines, head)
			word = word[len(head):]
		}
		line = word
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// head is as much of a word as fits, at least a letter.
func (p *pen) head(word string, c cut, width float64) string {
	end := 0
	for at, r := range word {
		next := at + utf8.RuneLen(r)
		if end > 0 && p.width(word[:next], c) > width {
			break
		}
		end = next
	}
	return word[:end]
}

// short cuts a text to a width, with a mark; empty where not even three letters fit.
func (p *pen) short(s string, c cut, width float64) string {
	if p.width(s, c) <= width {
		return s
	}
	letters := []rune(s)
	for n := len(letters) - 1; n >= 3; n-- {
		if t := strings.TrimRight(string(letters[:n]), " ") + "…"; p.width(t, c) <= width {
			return t
		}
	}
	return ""
}

// write draws a line with its upper edge at y: from x, or up to x when it is right-aligned.
func (p *pen) write(x, y float64, s string, c cut, right bool) {
	if s == "" {
		return
	}
	p.use(c)
	s = turned(s)
	if right {
		x -= p.GetStringWidth(s)
	}
	p.Text(x, y+c.size*pointMM*(0.92+(leading-1)/2), s)
}

// writeLines draws lines below each other and returns where they end.
func (p *pen) writeLines(x, y float64, lines []string, c cut, right bool) float64 {
	for _, line := range lines {
		p.write(x, y, line, c, right)
		y += c.line()
	}
	return y
}

// tick draws a box to tick with its upper edge at the upper edge of a line.
func (p *pen) tick(x, y float64, c cut) {
	p.SetLineWidth(0.35)
	p.Rect(x, y+(c.line()-tickSize)/2, tickSize, tickSize, "D")
}

func (p *pen) rule(x, y, width, weight float64) {
	p.SetLineWidth(weight)
	p.Line(x, y, x+width, y)
}
