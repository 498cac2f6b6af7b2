package chart_test

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/web/chart"
)

var nine = time.Date(2027, 8, 21, 15, 0, 0, 0, time.UTC)

func at(minute int) time.Time { return nine.Add(time.Duration(minute) * time.Minute) }

// plain has a name column of 40, and 240 units for the 240 minutes of the class: a minute is a unit.
var plain = chart.Size{Width: 280, NameWidth: 40, Axis: 10, Heading: 8, Lane: 20, LaneGap: 2, RowGap: 5, Unit: 1, MinTick: 30}

func TestPlaceByHand(t *testing.T) {
	t.Parallel()
	denver, err := time.LoadLocation("America/Denver")
	require.NoError(t, err)
	c := chart.Chart{Opens: nine, Closes: at(240), Zone: denver, Now: at(60), Rows: []chart.Row{
		{Name: "Big canner", Group: "Canners", Loads: []chart.Load{{Label: "9 half-pint", Spans: []chart.Span{
			{Kind: chart.ComeUp, From: at(79), Until: at(97)}, {Kind: chart.Process, From: at(97), Until: at(107)}}}}},
		{Name: "Bench 1", Group: "Stations", Loads: []chart.Load{
			{Label: "second", Spans: []chart.Span{{Kind: chart.Cook, From: at(60), Until: at(119)}}},
			{Label: "first", Spans: []chart.Span{{Kind: chart.Cook, From: at(-30), Until: at(79)}, {Kind: chart.Reset, From: at(300), Until: at(310)}}},
		}},
	}}
	p := c.Place(plain)
	// Axis 10, heading 8, canner 20, gap 5, heading 8, two lanes of 20 with 2 between, gap 5.
	require.Equal(t, 18.0, p.Rows[0].Y)
	require.Equal(t, 20.0, p.Rows[0].Height)
	require.Equal(t, 51.0, p.Rows[1].Y)
	require.Equal(t, 42.0, p.Rows[1].Height)
	require.Equal(t, 98.0, p.Height)
	load := p.Rows[0].Loads[0]
	require.Equal(t, chart.Box{X: 119, Y: 18, Width: 28, Height: 20}, load.Box)
	require.Equal(t, "9 half-pint", load.Spans[0].Text, "the label stands in the widest span")
	require.Empty(t, load.Spans[1].Text)
	// What began before the clock is cut at its beginning and takes the first lane; what lies outside is not drawn.
	first, second := p.Rows[1].Loads[0], p.Rows[1].Loads[1]
	require.Equal(t, "first", first.Label)
	require.Equal(t, chart.Box{X: 40, Y: 51, Width: 79, Height: 20}, first.Box)
	require.Len(t, first.Spans, 1)
	require.Equal(t, chart.Box{X: 100, Y: 73, Width: 59, Height: 20}, second.Box)
	require.Equal(t, 100.0, p.NowX)
	// The least distance of 30 units, a minute each, gives half hours; the wall in Denver is six hours behind in August.
	var written []string
	for _, tick := range p.Ticks {
		if tick.Text != "" {
			written = append(written, tick.Text)
		}
	}
	require.Equal(t, []string{"09:00", "09:30", "10:00", "10:30", "11:00", "11:30", "12:00", "12:30", "13:00"}, written)
	require.True(t, math.IsNaN(chart.Chart{Opens: nine, Closes: at(60), Now: at(61)}.Place(plain).NowX))
}

// The room closes at the edge of the chart, where its time stands left of its mark: the time before gives way to it.
func TestTimesOfTheClockDoNotTouch(t *testing.T) {
	t.Parallel()
	denver, err := time.LoadLocation("America/Denver")
	require.NoError(t, err)
	svg := chart.Chart{Opens: nine, Closes: at(240), Zone: denver, Rows: []chart.Row{{Name: "Big canner"}}}.Place(chart.ScreenSize).SVG("c", "c")
	require.Contains(t, svg, `text-anchor="end">13:00<`)
	require.NotContains(t, svg, ">12:45<")
	require.Contains(t, svg, `text-anchor="middle">12:30<`)
}

func TestPlaceKeepsInsideAndApart(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		c := chart.Chart{Opens: nine, Closes: at(rapid.IntRange(0, 1440).Draw(t, "length"))}
		for range rapid.IntRange(0, 4).Draw(t, "rows") {
			row := chart.Row{Group: rapid.SampledFrom([]string{"", "A", "B"}).Draw(t, "group")}
			for range rapid.IntRange(0, 6).Draw(t, "loads") {
				var load chart.Load
				for range rapid.IntRange(0, 4).Draw(t, "spans") {
					from := rapid.IntRange(-200, 1600).Draw(t, "from")
					load.Spans = append(load.Spans, chart.Span{
						Kind: rapid.SampledFrom([]chart.Kind{chart.Cook, chart.Wait, chart.Process, chart.Rest}).Draw(t, "kind"),
						From: at(from), Until: at(from + rapid.IntRange(-5, 300).Draw(t, "long")),
					})
				}
				row.Loads = append(row.Loads, load)
			}
			c.Rows = append(c.Rows, row)
		}
		p := c.Place(plain)
		y := plain.Axis
		for _, row := range p.Rows {
			require.GreaterOrEqual(t, row.Y, y)
			y = row.Y + row.Height
			for i, load := range row.Loads {
				inside(t, row.Box, load.Box)
				for _, span := range load.Spans {
					inside(t, load.Box, span.Box)
					require.GreaterOrEqual(t, span.X, plain.NameWidth)
				}
				for _, other := range row.Loads[:i] {
					apart := load.X >= other.X+other.Width || other.X >= load.X+load.Width || load.Y != other.Y
					require.True(t, apart, "%v and %v overlap", load.Box, other.Box)
				}
			}
		}
		require.GreaterOrEqual(t, p.Height, y)
		wellFormed(t, string(p.SVG("a", "b")))
	})
}

func inside(t require.TestingT, outer, inner chart.Box) {
	const hair = 1e-9
	require.GreaterOrEqual(t, inner.X, outer.X-hair)
	require.GreaterOrEqual(t, inner.Y, outer.Y-hair)
	require.LessOrEqual(t, inner.X+inner.Width, outer.X+outer.Width+hair)
	require.LessOrEqual(t, inner.Y+inner.Height, outer.Y+outer.Height+hair)
}

// wellFormed reads a drawing as XML, which knows nothing of HTML's leniency, and returns its elements' names.
func wellFormed(t require.TestingT, drawing string) map[string]int {
	count := map[string]int{}
	for d := xml.NewDecoder(strings.NewReader(drawing)); ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return count
		}
		require.NoError(t, err)
		if e, ok := token.(xml.StartElement); ok {
			count[e.Name.Local]++
			for _, a := range e.Attr {
				require.NotEqual(t, "style", a.Name.Local)
				require.False(t, strings.HasPrefix(a.Name.Local, "on"), "handler %s", a.Name.Local)
			}
		}
	}
}

func TestSVGNamesLoadsAndDefinesTexturesOnce(t *testing.T) {
	t.Parallel()
	load := func(from int) chart.Load {
		return chart.Load{Label: "7 pint", Name: "load of 7 pint jars", Ref: "load-1", Spans: []chart.Span{
			{Kind: chart.ComeUp, From: at(from), Until: at(from + 40)}, {Kind: chart.Process, From: at(from + 40), Until: at(from + 60)}}}
	}
	p := chart.Chart{Opens: nine, Closes: at(240), Now: at(100), Rows: []chart.Row{
		{Name: "Canner 1", Loads: []chart.Load{load(0), load(100)}}, {Name: "Canner 2", Loads: []chart.Load{load(50)}}}}.Place(chart.ScreenSize)
	svg := string(p.SVG("board", "Canners"))
	elements := wellFormed(t, svg)
	require.Equal(t, 3, strings.Count(svg, `class="chart-load" tabindex="0" role="img" aria-label="load of 7 pint jars"`))
	require.Equal(t, 3, elements["title"])
	require.Equal(t, 1, strings.Count(svg, `<pattern id="board-come-up"`))
	require.Equal(t, 3, strings.Count(svg, `fill="url(#board-come-up)"`))
	require.Equal(t, 1, elements["pattern"], "processing is solid and needs none")
	require.Contains(t, svg, `data-now="2027-08-21T16:40:00Z"`)
	require.Contains(t, string(p.Key("board")), "coming to the boil")
	require.Contains(t, string(p.Key("board")), "processing")
	require.NotContains(t, string(p.Key("board")), "cooling")
}

func TestSVGHostileText(t *testing.T) {
	t.Parallel()
	hostile := "\"><script>alert(1)</script>\u202egnp.exe\u2066\x00 'x' onload=y"
	svg := string(chart.Chart{Opens: nine, Closes: at(60), Rows: []chart.Row{{Name: hostile, Group: hostile, Loads: []chart.Load{
		{Label: hostile, Name: hostile, Ref: hostile, Spans: []chart.Span{{Kind: chart.Cook, From: nine, Until: at(60), Label: hostile}}}}}}}.Place(chart.ScreenSize).SVG(hostile, hostile))
	require.Zero(t, wellFormed(t, svg)["script"])
	require.NotContains(t, svg, "\u202e")
	require.NotContains(t, svg, "\u2066")
}

func TestKindsAreToldApartWithoutColour(t *testing.T) {
	t.Parallel()
	parts := []string{"load", "come-up", "vent", "process", "depressurise", "rest"}
	for i, part := range parts {
		k, ok := chart.KindOfPart(part)
		require.True(t, ok)
		for _, other := range parts[:i] {
			o, _ := chart.KindOfPart(other)
			require.NotEqual(t, k.Texture(), o.Texture(), "%s and %s", part, other)
			require.NotEqual(t, k.String(), o.String())
		}
		require.NotEqual(t, k.Texture(), chart.Cooling.Texture())
		require.NotEqual(t, k.Texture(), chart.Held.Texture())
	}
	_, ok := chart.KindOfPart("steep")
	require.False(t, ok)
}
