package page_test

import (
	"bytes"
	"fmt"
	"html"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/web/chart"
	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/sheets/sheettest"
)

var made = time.Date(2027, 8, 20, 18, 0, 0, 0, time.UTC)

func pdf(t require.TestingT, doc page.Document) []byte {
	var out bytes.Buffer
	require.NoError(t, page.WritePDF(&out, doc))
	return out.Bytes()
}

// longTable has groups of rows of several lines; every line carries the number of its row.
func longTable(groups, rows, lines int) page.Table {
	t := page.Table{Caption: "rows", Columns: []page.Column{{Head: "One", Share: 1}, {Head: "Two", Share: 1}}}
	n := 0
	for g := range groups {
		group := page.Group{Head: fmt.Sprintf("head%d", g), Foot: []page.Cell{{Text: fmt.Sprintf("foot%d", g)}, {}}}
		for range rows {
			n++
			cell := page.Cell{Text: fmt.Sprintf("row%d", n)}
			for range lines {
				cell.Under = append(cell.Under, fmt.Sprintf("row%d", n))
			}
			group.Rows = append(group.Rows, page.Row{Cells: []page.Cell{{Text: fmt.Sprintf("row%d", n), Tick: true}, cell}})
		}
		t.Groups = append(t.Groups, group)
	}
	return t
}

var rowMark, headMark, footMark = regexp.MustCompile(`^row(\d+)$`), regexp.MustCompile(`^head(\d+)$`), regexp.MustCompile(`^foot(\d+)$`)

func TestTablesBreakBetweenRows(t *testing.T) {
	t.Parallel()
	sheettest.Pages(t, pdf(t, page.Document{Title: "probe", Paper: page.A4})) // skips where the program is missing
	for _, paper := range page.Papers() {
		for _, landscape := range []bool{false, true} {
			for _, lines := range []int{0, 1, 5, 12} {
				table := longTable(4, 9, lines)
				doc := page.Document{Title: "Rows", About: []string{"about"}, Paper: paper, Landscape: landscape, Blocks: []page.Block{table}}
				pages := sheettest.Pages(t, pdf(t, doc))
				_, height := paper.Size()
				if landscape {
					height, _ = paper.Size()
				}
				on := map[string]int{}
				count := map[string]int{}
				for n, p := range pages {
					last := ""
					for _, w := range p.Words {
						require.LessOrEqual(t, w.Bottom, height-10, "%q stands in the margin", w.Text)
						switch {
						case rowMark.MatchString(w.Text), footMark.MatchString(w.Text):
							if was, seen := on[w.Text]; seen {
								require.Equal(t, was, n, "%s is split", w.Text)
							}
							on[w.Text] = n
							count[w.Text]++
							last = w.Text
						case headMark.MatchString(w.Text):
							last = w.Text
						}
					}
					require.NotRegexp(t, headMark, last, "the head of a group ends page %d", n+1)
					require.Equal(t, 1, strings.Count(p.Text(), "One"), "each page has the table's head once")
				}
				for n := 1; n <= 36; n++ {
					require.Equal(t, lines+2, count[fmt.Sprintf("row%d", n)], "row %d is whole", n)
				}
				for g := range 4 {
					require.Equal(t, on[fmt.Sprintf("row%d", (g+1)*9)], on[fmt.Sprintf("foot%d", g)], "a sum stands with the last row")
				}
				require.Contains(t, pages[len(pages)-1].Text(), fmt.Sprintf("page %d of %d", len(pages), len(pages)))
			}
		}
	}
}

func TestWholeTablesAndHeadingsStayTogether(t *testing.T) {
	t.Parallel()
	// By trying every height above it, the table meets the end of the page at every row.
	for above := range 40 {
		table := longTable(1, 8, 0)
		table.Whole = true
		var blocks []page.Block
		for range above {
			blocks = append(blocks, page.Paragraph{Text: "above"})
		}
		blocks = append(blocks, page.Heading{Text: "kept"}, page.Facts{{Name: "Pack", Value: "hot"}}, page.Paragraph{Text: "source", Style: page.Small, Keep: true}, table)
		pages := sheettest.Pages(t, pdf(t, page.Document{Title: "Whole", Paper: page.Letter, Blocks: blocks}))
		for _, p := range pages {
			text := p.Text()
			require.Equal(t, strings.Contains(text, "kept"), strings.Contains(text, "row1"), "%d above: %s", above, text)
			require.Equal(t, strings.Contains(text, "row1"), strings.Contains(text, "row8"), "%d above: %s", above, text)
		}
	}
}

func TestARowLongerThanAPageGoesOn(t *testing.T) {
	t.Parallel()
	words := 6000
	doc := page.Document{Title: "Long", Paper: page.A4, Blocks: []page.Block{page.Table{Columns: []page.Column{{Head: "a", Share: 1}, {Head: "b", Share: 4}},
		Groups: []page.Group{{Rows: []page.Row{{Cells: []page.Cell{{Text: "x"}, {Text: strings.Repeat("word ", words)}}}}}}}}}
	pages := sheettest.Pages(t, pdf(t, doc))
	require.Greater(t, len(pages), 2)
	count := 0
	for _, p := range pages {
		for _, w := range p.Words {
			require.LessOrEqual(t, w.Bottom, 297-14.0)
			if w.Text == "word" {
				count++
			}
		}
	}
	require.Equal(t, words, count, "no word is lost")
}

// example has every kind of block.
func example(text func(string) string) page.Document {
	at := func(minute int) time.Time { return made.Add(time.Duration(minute) * time.Minute) }
	return page.Document{Title: text("Title"), About: []string{text("Of a class"), text("On a day")}, Basis: text("Computed then."), Made: made, Paper: page.A4, Blocks: []page.Block{
		page.Heading{Text: text("Heading"), Aside: text("aside")}, page.Heading{Text: text("Minor"), Minor: true},
		page.Paragraph{Text: text("Plain words.")}, page.Paragraph{Text: text("Loud words."), Style: page.Loud}, page.Paragraph{Text: text("Small words."), Style: page.Small},
		page.Facts{{Name: text("Name"), Value: text("value")}, {Name: text("Other"), Value: text("thing")}},
		page.List{Items: []page.Item{{Text: text("First item"), Source: text("a source")}, {Text: text("Second item")}}},
		page.List{Items: []page.Item{{Text: text("To tick")}}, Tick: true, Small: true},
		page.Table{Caption: text("caption"), Columns: []page.Column{{Head: text("Left"), Share: 2}, {Head: text("Right"), Share: 1, Right: true}}, Groups: []page.Group{
			{Head: text("Group"), Rows: []page.Row{{Cells: []page.Cell{{Text: text("cell"), Tick: true, Under: []string{text("under it")}, More: []string{text("more")}}, {Text: text("12.50")}}},
				{Cells: []page.Cell{{Text: text("over all columns")}}, Loud: true}}, Foot: []page.Cell{{Text: text("sum")}, {Text: text("99.00")}}}}},
		page.Table{Caption: text("open"), Open: true, Columns: []page.Column{{Head: text("Who"), Share: 1}, {Head: text("Sign"), Share: 1}}, Groups: []page.Group{{Rows: []page.Row{{Cells: []page.Cell{{Text: text("somebody"), Strong: true}, {}}}}}}},
		page.Board{Name: text("board"), Chart: chart.Chart{Opens: made, Closes: at(240), Rows: []chart.Row{{Name: text("Canner"), Group: text("Canners"), Loads: []chart.Load{
			{Name: text("load"), Caption: text("caption of it"), Spans: []chart.Span{{Kind: chart.ComeUp, From: at(10), Until: at(60), Label: text("7 pint")}, {Kind: chart.Process, From: at(60), Until: at(120), Label: text("60 min")}}}}}}}},
	}}
}

func same(s string) string { return s }

func TestTheSameDocumentIsTheSameFile(t *testing.T) {
	t.Parallel()
	first := pdf(t, example(same))
	for range 3 {
		require.Equal(t, first, pdf(t, example(same)))
	}
	require.Contains(t, string(first), "D:20270820180000")
	other := example(same)
	other.Basis = "Computed later."
	require.NotEqual(t, first, pdf(t, other))
}

var tags = regexp.MustCompile(`(?s)<title>.*?</title>|<style>.*?</style>|<caption>.*?</caption>|<[^>]*>`)

// htmlWords are the words that a page shows.
func htmlWords(t require.TestingT, doc page.Document) []string {
	var out bytes.Buffer
	require.NoError(t, page.WriteHTML(&out, doc, page.Chrome{Stylesheet: "/assets/sheets.css"}))
	return strings.Fields(html.UnescapeString(tags.ReplaceAllString(out.String(), " ")))
}

var clockTime = regexp.MustCompile(`^\d\d:\d\d$`)

func TestHTMLAndPDFSayTheSame(t *testing.T) {
	t.Parallel()
	doc := example(same)
	var inPDF []string
	pages := sheettest.Pages(t, pdf(t, doc))
	require.Len(t, pages, 1)
	for _, w := range pages[0].Words {
		inPDF = append(inPDF, w.Text)
	}
	inPDF = slices.DeleteFunc(strings.Fields(strings.ReplaceAll(strings.Join(inPDF, " "), "page 1 of 1", "")), func(s string) bool { return s == "•" })
	// How many hours the clock of a chart writes depends on its width.
	hour := func(s string) bool { return clockTime.MatchString(s) }
	inPDF = slices.DeleteFunc(inPDF, hour)
	inHTML := slices.DeleteFunc(htmlWords(t, doc), hour)
	slices.Sort(inPDF)
	slices.Sort(inHTML)
	require.Equal(t, inHTML, inPDF)
}

// Markup, scripts, controls and direction in every field stay text on either form.
func TestHostileTextIsInert(t *testing.T) {
	t.Parallel()
	hostile := func(s string) string {
		return s + " <script>alert(1)</script>\u202e{{.}}\u2066\" onload='x' (\\) %PDF ]]> \x00\x1b[31m\r\n"
	}
	doc := example(hostile)
	var out bytes.Buffer
	require.NoError(t, page.WriteHTML(&out, doc, page.Chrome{Stylesheet: "/assets/sheets.css", Links: []page.Link{{Text: "PDF", Address: "/x.pdf"}}}))
	require.NotContains(t, strings.ToLower(out.String()), "<script")
	require.NotContains(t, out.String(), " onload='x'")
	require.NotContains(t, out.String(), "style=")
	require.NotRegexp(t, "[\u202a-\u202e\u2066-\u2069\x00\x1b]", out.String())
	text := strings.Join(sheettest.Layout(t, pdf(t, doc)), "\n")
	require.Contains(t, text, "<script>alert(1)</script>{{.}}", "it is printed as it was typed")
	require.NotRegexp(t, "[\u202a-\u202e\u2066-\u2069\x00\x1b]", text)
}

func TestAnyTextCanBePrinted(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		doc := example(func(string) string { return text })
		require.NotEmpty(t, pdf(t, doc))
		doc.Blocks = []page.Block{page.Labels{Stock: page.Stocks(page.A4)[0], Labels: []page.Label{{Name: text, Lines: []page.LabelLine{{Text: text, Loud: true}, {Text: text, Small: true}}}}}}
		require.NotEmpty(t, pdf(t, doc))
	})
}

func TestLettersOfManyScripts(t *testing.T) {
	t.Parallel()
	names := []string{"Zoë Łukasiewicz", "Ελένη Παπαδοπούλου", "Наталія Шевченко", "Գայանե", "ქეთევან"}
	doc := page.Document{Title: "Sign-in", Paper: page.A4}
	for _, n := range names {
		doc.Blocks = append(doc.Blocks, page.Paragraph{Text: n})
	}
	text := sheettest.Pages(t, pdf(t, doc))[0].Text()
	for _, n := range names {
		require.Contains(t, text, n)
	}
	require.NotContains(t, text, "stands for a letter")
	// Letters that the typeface lacks are marked, one for one, and the foot says so.
	doc.Blocks = append(doc.Blocks, page.Paragraph{Text: "Mei 美 and 🫙"})
	text = sheettest.Pages(t, pdf(t, doc))[0].Text()
	require.Contains(t, text, "Mei \uFFFD and \uFFFD")
	require.Contains(t, text, "\uFFFD stands for a letter that this typeface lacks")
}
