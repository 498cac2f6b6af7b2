package page

import (
	"fmt"
	"slices"
	"strings"
)

// Paper is a size of paper.
type Paper string

// The papers that kitchens have: ISO 216, and the letter size of ANSI/ASME Y14.1.
const (
	A4     Paper = "a4"
	Letter Paper = "letter"
)

// Papers are all sizes of paper.
func Papers() []Paper { return []Paper{A4, Letter} }

// Name is how people call it.
func (p Paper) Name() string {
	if p == Letter {
		return "US Letter"
	}
	return "A4"
}

// Size is its width and height in millimetres, standing upright.
func (p Paper) Size() (width, height float64) {
	if p == Letter {
		return 215.9, 279.4
	}
	return 210, 297
}

// ReadPaper reads the name of a paper in any case.
func ReadPaper(s string) (Paper, error) {
	if p := Paper(strings.ToLower(strings.TrimSpace(s))); slices.Contains(Papers(), p) {
		return p, nil
	}
	return "", fmt.Errorf("paper %q: choose a4 or letter", s)
}

// Stock is a kind of sheet of labels, by its measures in millimetres. Labels stand in equal columns and rows.
type Stock struct {
	Paper         Paper
	Columns, Rows int
	// Width and Height of a label.
	Width, Height float64
	// Left and Top are the distance of the first label from the edges of the sheet.
	Left, Top float64
	// GapX and GapY are the white between labels.
	GapX, GapY float64
}

// stocks are common divisions of a sheet (common practice: office suppliers sell each under many names). Where the
// labels do not reach the edges they are centred on the sheet.
var stocks = []Stock{
	centred(A4, 3, 7, 63.5, 38.1, 2.5, 0),
	centred(A4, 3, 8, 70, 37, 0, 0),
	centred(A4, 3, 6, 63.5, 46.6, 2.5, 0),
	centred(A4, 2, 7, 99.1, 38.1, 2.5, 0),
	centred(A4, 3, 4, 63.5, 72, 2.5, 0),
	centred(Letter, 3, 10, 66.7, 25.4, 3.2, 0),
	centred(Letter, 2, 7, 101.6, 33.9, 4.8, 0),
	centred(Letter, 2, 5, 101.6, 50.8, 4.8, 0),
	centred(Letter, 2, 3, 101.6, 84.7, 4.8, 0),
}

func centred(p Paper, columns, rows int, width, height, gapX, gapY float64) Stock {
	w, h := p.Size()
	return Stock{
		Paper: p, Columns: columns, Rows: rows, Width: width, Height: height, GapX: gapX, GapY: gapY,
		Left: (w - float64(columns)*width - float64(columns-1)*gapX) / 2,
		Top:  (h - float64(rows)*height - float64(rows-1)*gapY) / 2,
	}
}

// Stocks are the stocks for a paper, the usual one first.
func Stocks(p Paper) []Stock {
	var all []Stock
	for _, s := range stocks {
		if s.Paper == p {
			all = append(all, s)
		}
	}
	return all
}

// Count is how many labels a sheet has.
func (s Stock) Count() int { return s.Columns * s.Rows }

// Key names a stock in commands and addresses: "24-70x37".
func (s Stock) Key() string { return fmt.Sprintf("%d-%gx%g", s.Count(), s.Width, s.Height) }

// String names it for people: "24 of 70 × 37 mm on A4".
func (s Stock) String() string {
	return fmt.Sprintf("%d of %g × %g mm on %s", s.Count(), s.Width, s.Height, s.Paper.Name())
}

// Place is the upper left corner of a position, counted from 0 along the rows.
func (s Stock) Place(position int) (x, y float64) {
	return s.Left + float64(position%s.Columns)*(s.Width+s.GapX), s.Top + float64(position/s.Columns%s.Rows)*(s.Height+s.GapY)
}

// ReadStock finds a stock of a paper by its key; an empty key is the usual one.
func ReadStock(p Paper, key string) (Stock, error) {
	all := Stocks(p)
	if key == "" {
		return all[0], nil
	}
	var keys []string
	for _, s := range all {
		if s.Key() == strings.ToLower(strings.TrimSpace(key)) {
			return s, nil
		}
		keys = append(keys, s.Key())
	}
	return Stock{}, fmt.Errorf("labels %q: on %s there are %s (count-widthxheight, in millimetres)", key, p.Name(), strings.Join(keys, ", "))
}

// Sheets are the positions of all labels, sheet by sheet: the index of the label, or -1 for a place that is left free.
func (l Labels) Sheets() [][]int {
	count := l.Stock.Count()
	at := (max(l.Start, 1) - 1) % count
	sheet := slices.Repeat([]int{-1}, count)
	var all [][]int
	for i := range l.Labels {
		if at == count {
			all, sheet, at = append(all, sheet), slices.Repeat([]int{-1}, count), 0
		}
		sheet[at] = i
		at++
	}
	return append(all, sheet)
}
