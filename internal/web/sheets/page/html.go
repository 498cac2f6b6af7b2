package page

import (
	"embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"

	"stillroom/internal/web/chart"
	"stillroom/internal/web/inert"
)

//go:embed sheet.html sheet.css
var files embed.FS

// Chrome is what stands on the screen around a sheet and not on paper.
type Chrome struct {
	// Stylesheet is the address of Stylesheet. Without one the styles stand in the page, for a file that stands alone.
	Stylesheet string
	// Links lead back, to the PDF, and to other forms of the sheet.
	Links []Link
}

// Link is a link of the chrome. One without an address says where one is.
type Link struct{ Text, Address string }

var sheetTemplate = template.Must(template.New("sheet.html").Funcs(template.FuncMap{
	"inert": inert.Text,
	"kind":  func(b Block) string { return strings.ToLower(strings.TrimPrefix(fmt.Sprintf("%T", b), "page.")) },
	"sheetsOf": func(l Labels) [][]*Label {
		var all [][]*Label
		for _, sheet := range l.Sheets() {
			var places []*Label
			for _, index := range sheet {
				if index < 0 {
					places = append(places, nil)
				} else {
					places = append(places, &l.Labels[index])
				}
			}
			all = append(all, places)
		}
		return all
	},
	"board": func(b Board, n int) template.HTML {
		id := fmt.Sprintf("board-%d", n)
		placed := b.Chart.Place(chart.WideSize)
		return placed.SVG(id, b.Name) + placed.Key(id)
	},
	"stock": func(s Stock) string { return stockClass(s) },
	"share": func(t Table, c Column) int { return sharePercent(t, c) },
	"cellAt": func(t Table, n int, c Cell) shownCell {
		return shownCell{Cell: c, Right: n < len(t.Columns) && t.Columns[n].Right}
	},
	"add": func(a, b int) int { return a + b },
}).ParseFS(files, "sheet.html"))

// shownCell is a cell with what its column says of it.
type shownCell struct {
	Cell
	Right bool
}

// WriteHTML writes the document as a page of HTML that prints as the sheet.
func WriteHTML(w io.Writer, doc Document, around Chrome) error {
	labels, isLabels := onlyLabels(doc)
	return sheetTemplate.Execute(w, struct {
		Document
		Chrome Chrome
		Form   string
		Short  bool
		Labels *Labels
		Styles template.CSS
	}{doc, around, form(doc, isLabels), doc.short(), pointer(labels, isLabels), template.CSS(Stylesheet())})
}

func pointer(l Labels, ok bool) *Labels {
	if !ok {
		return nil
	}
	return &l
}

// form names the paper and how it lies, in the words of the stylesheet.
func form(doc Document, labels bool) string {
	switch {
	case labels:
		return string(doc.Paper) + "-labels"
	case doc.Landscape:
		return string(doc.Paper) + "-landscape"
	default:
		return string(doc.Paper) + "-portrait"
	}
}

// sharePercent is a column's width in whole percent, which the stylesheet has a class for.
func sharePercent(t Table, c Column) int {
	sum := 0.0
	for _, other := range t.Columns {
		sum += other.Share
	}
	return int(math.Round(c.Share / sum * 100))
}

func stockClass(s Stock) string {
	return "stock-" + string(s.Paper) + "-" + strings.ReplaceAll(s.Key(), ".", "_")
}

// Stylesheet is the one stylesheet of all sheets, on the screen and in print. No sheet has a style of its own, so
// that a policy can forbid them.
func Stylesheet() []byte {
	css, err := files.ReadFile("sheet.css")
	if err != nil {
		panic(err) // it is part of the program
	}
	var b strings.Builder
	b.Write(css)
	for n := 1; n <= 100; n++ {
		fmt.Fprintf(&b, ".w%d{width:%d%%}\n", n, n)
	}
	for _, s := range stocks {
		fmt.Fprintf(&b, ".%s{padding:%.2fmm 0 0 %.2fmm;grid-template-columns:repeat(%d,%gmm);grid-auto-rows:%gmm;column-gap:%.2fmm;row-gap:%.2fmm}\n",
			stockClass(s), s.Top, s.Left, s.Columns, s.Width, s.Height, s.GapX, s.GapY)
	}
	return []byte(b.String())
}
