package chart

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// Chart is rows on a common clock.
type Chart struct {
	// Opens and Closes are the ends of the clock; what lies outside is cut off.
	Opens, Closes time.Time
	// Zone is how the clock reads; nil means UTC.
	Zone *time.Location
	// Rows from top to bottom.
	Rows []Row
	// Now draws a line when it is on the clock; the zero time draws none.
	Now time.Time
}

// Row is a canner or a station.
type Row struct {
	// Name at the left.
	Name string
	// Group is a heading over the first row that has it, such as "Canners"; it may be empty.
	Group string
	// Loads in any order; those that overlap are drawn in lanes under each other.
	Loads []Load
}

// Load is what belongs together in a row: a canner load, or a batch at a station.
type Load struct {
	// Label is printed in its widest span, where it fits and no span has a label of its own.
	Label string
	// Caption is printed under it, such as the times on the clock, in as far as there is room before the next load.
	Caption string
	// Name says all of it in a sentence, for those who cannot see the chart and for a pointer that rests on it.
	Name string
	// Spans of it, end to end or with gaps.
	Spans []Span
	// Ref goes into data-ref, so that a script can find the load again; it may be empty.
	Ref string
	// Done loads are drawn paler by the stylesheet.
	Done bool
}

// Span is a stretch of time in which one thing happens.
type Span struct {
	Kind Kind
	// From and Until are its ends.
	From, Until time.Time
	// Label is printed in it, where it fits; it may be empty.
	Label string
}

// Size is the measures of a drawing, all in the same unit of length.
type Size struct {
	// Width of the whole, and NameWidth of the column of names at the left of it.
	Width, NameWidth float64
	// Axis is the height of the clock above the rows; Heading that of a group's name.
	Axis, Heading float64
	// Lane is the height of a bar, Caption that of the line under it (0 prints none), LaneGap the white between lanes
	// of one row, RowGap the white between rows.
	Lane, Caption, LaneGap, RowGap float64
	// Unit is how long one millimetre of a texture is.
	Unit float64
	// MinTick is the least distance between two times on the clock.
	MinTick float64
}

// ScreenSize suits an SVG that fills a desktop page; the element scales with its box.
var ScreenSize = Size{Width: 1200, NameWidth: 150, Axis: 34, Heading: 26, Lane: 36, Caption: 15, LaneGap: 4, RowGap: 9, Unit: 5, MinTick: 64}

// WideSize suits a chart that is printed on the long side of a page.
var WideSize = Size{Width: 1200, NameWidth: 130, Axis: 30, Heading: 22, Lane: 26, Caption: 14, LaneGap: 2, RowGap: 5, Unit: 4.5, MinTick: 60}

// Box is a rectangle; Y grows downwards.
type Box struct{ X, Y, Width, Height float64 }

// Placed is a chart with the place of everything in it.
type Placed struct {
	Chart  Chart
	Size   Size
	Height float64
	Ticks  []Tick
	Rows   []PlacedRow
	// NowX is where now is; NaN when it is not on the clock.
	NowX float64
}

// Tick is a mark of the clock.
type Tick struct {
	X  float64
	At time.Time
	// Text is the time of day; empty on the small marks between.
	Text string
}

// PlacedRow is a row with its place.
type PlacedRow struct {
	Row
	Box
	// HeadingY is where its group's heading begins, above the row; NaN without one.
	HeadingY float64
	Loads    []PlacedLoad
}

// PlacedLoad is a load with its place.
type PlacedLoad struct {
	Load
	// Box is its bars, from the first span to the last.
	Box
	Spans []PlacedSpan
	// CaptionRoom is how wide its caption may be.
	CaptionRoom float64
}

// PlacedSpan is a span with its place.
type PlacedSpan struct {
	Span
	Box
	// Text is the label that goes into it: the span's own, or the load's in its widest span.
	Text string
}

// pitch is from one lane to the next.
func (s Size) pitch() float64 { return s.Lane + s.Caption + s.LaneGap }

// X is the place of an instant, held to the ends of the clock.
func (p *Placed) X(t time.Time) float64 { return p.Chart.x(p.Size, t) }

func (c Chart) x(s Size, t time.Time) float64 {
	whole := c.Closes.Sub(c.Opens)
	if whole <= 0 {
		return s.NameWidth
	}
	share := min(max(float64(t.Sub(c.Opens))/float64(whole), 0), 1)
	return s.NameWidth + share*(s.Width-s.NameWidth)
}

// Place gives everything its place.
func (c Chart) Place(s Size) *Placed {
	if c.Zone == nil {
		c.Zone = time.UTC
	}
	p := &Placed{Chart: c, Size: s, NowX: math.NaN(), Ticks: c.ticks(s)}
	if !c.Now.IsZero() && !c.Now.Before(c.Opens) && !c.Now.After(c.Closes) {
		p.NowX = c.x(s, c.Now)
	}
	y, group := s.Axis, ""
	for _, row := range c.Rows {
		placed := PlacedRow{Row: row, HeadingY: math.NaN()}
		if row.Group != group && row.Group != "" {
			placed.HeadingY = y
			y += s.Heading
		}
		group = row.Group
		lanes := c.lanes(row.Loads)
		count := 1
		for i, load := range row.Loads {
			count = max(count, lanes[i]+1)
			if l, ok := c.placeLoad(s, load, y+float64(lanes[i])*s.pitch()); ok {
				placed.Loads = append(placed.Loads, l)
			}
		}
		// In the order of the clock, which is the order of the keyboard too.
		slices.SortStableFunc(placed.Loads, func(a, b PlacedLoad) int { return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y)) })
		placed.Box = Box{X: 0, Y: y, Width: s.Width, Height: float64(count)*s.pitch() - s.LaneGap}
		for i := range placed.Loads {
			l := &placed.Loads[i]
			until := s.Width
			for _, other := range placed.Loads {
				if other.Y == l.Y && other.X > l.X {
					until = min(until, other.X)
				}
			}
			l.CaptionRoom = until - l.X
		}
		p.Rows = append(p.Rows, placed)
		y += placed.Height + s.RowGap
	}
	p.Height = y
	return p
}

func (c Chart) placeLoad(s Size, load Load, y float64) (PlacedLoad, bool) {
	placed := PlacedLoad{Load: load}
	widest, labelled := -1, false
	for _, span := range load.Spans {
		from, until := c.x(s, span.From), c.x(s, span.Until)
		if until <= from {
			continue
		}
		box := Box{X: from, Y: y, Width: until - from, Height: s.Lane}
		if faces[span.Kind].thin {
			box.Y += s.Lane * 0.3
			box.Height = s.Lane * 0.4
		}
		placed.Spans = append(placed.Spans, PlacedSpan{Span: span, Box: box, Text: span.Label})
		labelled = labelled || span.Label != ""
		if !faces[span.Kind].thin && (widest < 0 || box.Width > placed.Spans[widest].Width) {
			widest = len(placed.Spans) - 1
		}
	}
	if len(placed.Spans) == 0 {
		return placed, false
	}
	if !labelled && widest >= 0 {
		placed.Spans[widest].Text = load.Label
	}
	left, right := placed.Spans[0].X, 0.0
	for _, span := range placed.Spans {
		left, right = min(left, span.X), max(right, span.X+span.Width)
	}
	placed.Box = Box{X: left, Y: y, Width: right - left, Height: s.Lane}
	return placed, true
}

// lanes gives each load the first lane that is free for it, the loads taken by when they begin.
func (c Chart) lanes(loads []Load) []int {
	order := make([]int, len(loads))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return loads[a].from().Compare(loads[b].from()) })
	lanes := make([]int, len(loads))
	var free []time.Time // when each lane is free again
	for _, i := range order {
		lane := slices.IndexFunc(free, func(t time.Time) bool { return !t.After(loads[i].from()) })
		if lane < 0 {
			lane = len(free)
			free = append(free, time.Time{})
		}
		lanes[i], free[lane] = lane, loads[i].until()
	}
	return lanes
}

func (l Load) from() time.Time {
	var at time.Time
	for i, s := range l.Spans {
		if i == 0 || s.From.Before(at) {
			at = s.From
		}
	}
	return at
}

func (l Load) until() time.Time {
	var at time.Time
	for _, s := range l.Spans {
		if s.Until.After(at) {
			at = s.Until
		}
	}
	return at
}

// steps of the clock in minutes: a time of day is written at each, a small mark stands at each part of it.
var steps = []struct{ step, mark int }{{10, 5}, {15, 5}, {30, 10}, {60, 15}, {120, 30}, {180, 60}, {360, 60}, {720, 180}}

// ticks are the marks of the clock, at full minutes of the hour on the site's wall.
func (c Chart) ticks(s Size) []Tick {
	minutes := c.Closes.Sub(c.Opens).Minutes()
	if minutes <= 0 {
		return nil
	}
	perMinute := (s.Width - s.NameWidth) / minutes
	at := steps[len(steps)-1]
	for _, candidate := range steps {
		if float64(candidate.step)*perMinute >= s.MinTick {
			at = candidate
			break
		}
	}
	zone := c.Zone
	if zone == nil {
		zone = time.UTC
	}
	opens := c.Opens.In(zone)
	// The wall's hours, where the zone is not a whole number of hours from UTC.
	sinceHour := time.Duration(opens.Minute())*time.Minute + time.Duration(opens.Second())*time.Second + time.Duration(opens.Nanosecond())
	var ticks []Tick
	for t := opens.Add(-sinceHour); !t.After(c.Closes); t = t.Add(time.Duration(at.mark) * time.Minute) {
		if t.Before(c.Opens) {
			continue
		}
		tick := Tick{X: c.x(s, t), At: t}
		if (t.Hour()*60+t.Minute())%at.step == 0 {
			tick.Text = t.Format("15:04")
		}
		ticks = append(ticks, tick)
	}
	return ticks
}

// Kinds are the kinds that occur in the chart, for its key.
func (c Chart) Kinds() []Kind {
	seen := [kinds]bool{}
	for _, row := range c.Rows {
		for _, load := range row.Loads {
			for _, span := range load.Spans {
				seen[span.Kind] = true
			}
		}
	}
	var all []Kind
	for k := range kinds {
		if seen[k] {
			all = append(all, Kind(k))
		}
	}
	return all
}

// Map is the chart with every text put through a function, for a typeface that needs its texts made ready.
func (c Chart) Map(text func(string) string) Chart {
	c.Rows = slices.Clone(c.Rows)
	for i, row := range c.Rows {
		row.Name, row.Group, row.Loads = text(row.Name), text(row.Group), slices.Clone(row.Loads)
		for j, load := range row.Loads {
			load.Label, load.Caption, load.Name, load.Spans = text(load.Label), text(load.Caption), text(load.Name), slices.Clone(load.Spans)
			for k, span := range load.Spans {
				load.Spans[k].Label = text(span.Label)
			}
			row.Loads[j] = load
		}
		c.Rows[i] = row
	}
	return c
}
