package page_test

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/web/chart"
	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/sheets/sheettest"
)

// bigBoard has pressure canners and so many stations that one page cannot hold them.
func bigBoard(stations int) page.Document {
	at := func(minute int) time.Time { return made.Add(time.Duration(minute) * time.Minute) }
	c := chart.Chart{Opens: made, Closes: at(360)}
	for n := range 3 {
		var loads []chart.Load
		for i := range 3 {
			from := 60 + i*95 + n*7
			load := chart.Load{Name: "load", Caption: fmt.Sprintf("load %d of canner %d", i+1, n+1)}
			for _, part := range []struct {
				kind  chart.Kind
				until int
				label string
			}{{chart.Handling, 2, ""}, {chart.ComeUp, 20, "7 quart"}, {chart.Vent, 30, ""}, {chart.Process, 55, "25 min"}, {chart.Depressurise, 75, "falls"}, {chart.Rest, 85, ""}, {chart.Handling, 87, ""}} {
				begin := from
				if len(load.Spans) > 0 {
					begin = int(load.Spans[len(load.Spans)-1].Until.Sub(made).Minutes())
				}
				load.Spans = append(load.Spans, chart.Span{Kind: part.kind, From: at(begin), Until: at(from + part.until), Label: part.label})
			}
			loads = append(loads, load)
		}
		loads = append(loads, chart.Load{Name: "held", Label: "another class", Spans: []chart.Span{{Kind: chart.Held, From: at(0), Until: at(45)}}})
		c.Rows = append(c.Rows, chart.Row{Name: fmt.Sprintf("Canner%d", n+1), Group: "Canners", Loads: loads})
	}
	for n := range stations {
		c.Rows = append(c.Rows, chart.Row{Name: fmt.Sprintf("Station%d", n+1), Group: "Stations", Loads: []chart.Load{{Name: "batch", Caption: "cook", Spans: []chart.Span{
			{Kind: chart.Prepare, From: at(n), Until: at(30 + n)}, {Kind: chart.Cook, From: at(30 + n), Until: at(70 + n), Label: "Beans"}, {Kind: chart.Wait, From: at(70 + n), Until: at(80 + n)},
			{Kind: chart.InCanner, From: at(80 + n), Until: at(150 + n)}, {Kind: chart.Cooling, From: at(150 + n), Until: at(360)}}}}})
	}
	return page.Document{Title: "Canner board", About: []string{"A large class"}, Made: made, Paper: page.A4, Landscape: true, Compact: true, Blocks: []page.Block{page.Board{Name: "board", Chart: c}}}
}

// A board too large for a page goes on by whole rows, under the same clock and with the key.
func TestALargeBoardGoesOnByRows(t *testing.T) {
	t.Parallel()
	for _, stations := range []int{1, 9, 30, 60} {
		data := pdf(t, bigBoard(stations))
		if file := os.Getenv("STILLROOM_SCREENSHOTS"); file != "" && stations == 30 {
			require.NoError(t, os.WriteFile(file+"/big-board.pdf", data, 0o600))
		}
		seen := map[string]int{}
		pages := sheettest.Pages(t, data)
		for n, p := range pages {
			require.Contains(t, p.Text(), "18:00", "page %d has the clock", n+1)
			require.Contains(t, p.Text(), "venting, coming to pressure", "page %d has the key", n+1)
			bottom := 0.0
			for _, w := range p.Words {
				if strings.HasPrefix(w.Text, "Station") && w.Text != "Stations" || strings.HasPrefix(w.Text, "Canner") && w.Text != "Canner" && w.Text != "Canners" {
					seen[w.Text]++
					require.Greater(t, w.Top, bottom, "%s stands below the row before it", w.Text)
					bottom = w.Top
				}
				require.LessOrEqual(t, w.Bottom, p.Height-13, "%q stands in the margin", w.Text)
			}
		}
		require.Len(t, seen, 3+stations)
		for name, count := range seen {
			require.Equal(t, 1, count, name)
		}
		if stations <= 9 {
			require.Len(t, pages, 1)
		}
	}
}
