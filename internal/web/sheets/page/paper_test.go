package page_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/sheets/sheettest"
)

// The sizes are printed in ISO 216 (A4) and ANSI/ASME Y14.1 (letter: 8.5 by 11 inches of 25.4 mm).
func TestPaperSizes(t *testing.T) {
	t.Parallel()
	w, h := page.A4.Size()
	require.Equal(t, []float64{210, 297}, []float64{w, h})
	w, h = page.Letter.Size()
	require.InDelta(t, 8.5*25.4, w, 1e-9)
	require.InDelta(t, 11*25.4, h, 1e-9)
	_, err := page.ReadPaper("a5")
	require.ErrorContains(t, err, `paper "a5": choose a4 or letter`)
}

func TestLabelsLieOnTheirSheet(t *testing.T) {
	t.Parallel()
	const hair = 1e-9 // of rounding
	for _, paper := range page.Papers() {
		width, height := paper.Size()
		keys := map[string]bool{}
		for _, s := range page.Stocks(paper) {
			require.False(t, keys[s.Key()], "two stocks are called %s", s.Key())
			keys[s.Key()] = true
			found, err := page.ReadStock(paper, s.Key())
			require.NoError(t, err)
			require.Equal(t, s, found)
			for at := range s.Count() {
				x, y := s.Place(at)
				require.GreaterOrEqual(t, x, -hair, "%s, position %d", s, at+1)
				require.GreaterOrEqual(t, y, -hair, "%s, position %d", s, at+1)
				require.LessOrEqual(t, x+s.Width, width+hair, "%s, position %d", s, at+1)
				require.LessOrEqual(t, y+s.Height, height+hair, "%s, position %d", s, at+1)
				for other := range at {
					ox, oy := s.Place(other)
					apart := x >= ox+s.Width-hair || ox >= x+s.Width-hair || y >= oy+s.Height-hair || oy >= y+s.Height-hair
					require.True(t, apart, "%s: positions %d and %d overlap", s, at+1, other+1)
				}
			}
			// As much white at the right as at the left, and below as above.
			x, y := s.Place(s.Count() - 1)
			require.InDelta(t, s.Left, width-x-s.Width, 1e-6, "%s", s)
			require.InDelta(t, s.Top, height-y-s.Height, 1e-6, "%s", s)
		}
	}
	// By hand: 3 columns of 70 mm fill 210 mm; 8 rows of 37 mm leave 1 mm of 297.
	s, err := page.ReadStock(page.A4, "24-70x37")
	require.NoError(t, err)
	require.Equal(t, "24 of 70 × 37 mm on A4", s.String())
	x, y := s.Place(4)
	require.InDelta(t, 70, x, 1e-9)
	require.InDelta(t, 37.5, y, 1e-9)
	_, err = page.ReadStock(page.Letter, "24-70x37")
	require.ErrorContains(t, err, "on US Letter there are 30-66.7x25.4")
}

func TestEveryLabelHasOnePlace(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(page.Stocks(page.A4)).Draw(t, "stock")
		l := page.Labels{Stock: s, Start: rapid.IntRange(0, s.Count()).Draw(t, "start"), Labels: make([]page.Label, rapid.IntRange(0, 100).Draw(t, "labels"))}
		next := 0
		for n, sheet := range l.Sheets() {
			require.Len(t, sheet, s.Count())
			for at, index := range sheet {
				if n == 0 && at < l.Start-1 {
					require.Equal(t, -1, index, "before the start")
				} else if next < len(l.Labels) {
					require.Equal(t, next, index)
					next++
				} else {
					require.Equal(t, -1, index, "behind the last")
				}
			}
		}
		require.Equal(t, len(l.Labels), next)
	})
}

// Every word of a label stands within its edges on the paper, also where a label is too small for what it must hold.
func TestLabelsPrintWithinTheirEdges(t *testing.T) {
	t.Parallel()
	for _, paper := range page.Papers() {
		for _, s := range page.Stocks(paper) {
			t.Run(s.Key(), func(t *testing.T) {
				t.Parallel()
				start := s.Columns + 2
				labels := page.Labels{Stock: s, Start: start}
				for i := range s.Count() { // goes over to a second sheet
					mark := fmt.Sprintf("n%dn", i)
					labels.Labels = append(labels.Labels, page.Label{Name: mark + " A relish with a name as long as cooks like them, of onions", Lines: []page.LabelLine{
						{Text: mark + " Made Sat 5 Dec 2026"}, {Text: mark + " Bench by the window, batch 2 · jar 3 of 9"},
						{Text: mark + " KEEP COLD", Loud: true}, {Text: mark + " " + strings.Repeat("why it is so, ", 9), Small: true}}})
				}
				var out bytes.Buffer
				require.NoError(t, page.WritePDF(&out, page.Document{Title: "Jar labels", Paper: paper, Blocks: []page.Block{labels}}))
				pages := sheettest.Pages(t, out.Bytes())
				require.Len(t, pages, 2)
				marks := 0
				for n, p := range pages {
					w, h := paper.Size()
					require.InDelta(t, w, p.Width, 0.2)
					require.InDelta(t, h, p.Height, 0.2)
					for _, word := range p.Words {
						var i int
						if count, _ := fmt.Sscanf(word.Text, "n%dn", &i); count != 1 {
							continue
						}
						marks++
						position := start - 1 + i
						require.Equal(t, position/s.Count(), n, "label %d is on the sheet of its position", i)
						x, y := s.Place(position % s.Count())
						require.GreaterOrEqual(t, word.Left, x, "label %d", i)
						require.GreaterOrEqual(t, word.Top, y, "label %d", i)
						require.LessOrEqual(t, word.Right, x+s.Width, "label %d", i)
						require.LessOrEqual(t, word.Bottom, y+s.Height+0.6, "label %d", i) // the box has room for descenders
					}
				}
				require.Equal(t, 5*s.Count(), marks, "each label has its five parts")
			})
		}
	}
}
