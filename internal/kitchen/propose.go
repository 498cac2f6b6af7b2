package kitchen

import (
	"cmp"
	"fmt"
	"slices"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// Formula is what the batch plan needs to know of a recipe revision.
type Formula struct {
	Revision RevisionRef
	Title    string
	// Jar is the size its yield is printed for; JarsMin to JarsMax the printed yield of one batch.
	Jar              canning.JarSize
	JarsMin, JarsMax int
	// Needs is the equipment one batch occupies while it is made.
	Needs []Need
}

// Need is equipment in number: "burner", 2.
type Need struct {
	Kind  string
	Count int
}

// Wish asks for jars of one recipe for every participant.
type Wish struct {
	Formula Formula
	// JarSize is the size wanted; empty means the printed one.
	JarSize canning.JarSize
	// JarsEach is how many of them each participant takes home.
	JarsEach int
}

// BatchYield is what one published batch fills in a jar size.
type BatchYield struct {
	Min, Max int
	// Note says how it was found.
	Note string
}

// YieldIn is the yield of one batch in a jar size: as printed, or by volume from
// the printed size, where only whole jars count. The fault is for a size so large
// that one batch fills none.
func (f Formula) YieldIn(size canning.JarSize) (BatchYield, error) {
	if size == f.Jar {
		return BatchYield{Min: f.JarsMin, Max: f.JarsMax, Note: "as printed"}, nil
	}
	ratio := f.Jar.Volume().Number().Div(size.Volume().Number())
	whole := func(jars int) int {
		n, _ := ratio.Mul(measure.Int(int64(jars))).Floor().Int64()
		return int(n)
	}
	y := BatchYield{Min: whole(f.JarsMin), Max: whole(f.JarsMax)}
	y.Note = fmt.Sprintf("by volume from the printed %s; only whole jars count", span(f.JarsMin, f.JarsMax, f.Jar))
	if y.Min < 1 {
		return y, fault.Field("jar_size", string(size), fmt.Sprintf("is too large: one batch of %s, %s, may not fill it", f.Title, span(f.JarsMin, f.JarsMax, f.Jar)),
			"choose "+f.Jar.Name()+" or smaller")
	}
	return y, nil
}

func span(low, high int, jar canning.JarSize) string {
	if low == high {
		return fmt.Sprintf("%d %s", low, plural(jar.Name(), low))
	}
	return fmt.Sprintf("%d to %d %s", low, high, plural(jar.Name(), high))
}

// plural leaves "500 ml" alone and turns "pint" into "pints".
func plural(word string, n int) string {
	if n == 1 || word[len(word)-1] == 'l' || word[len(word)-1] == 'e' {
		return word
	}
	return word + "s"
}

// Outcome says what a proposal does for one wish.
type Outcome struct {
	Wish Wish
	// Wanted jars in all, Batches proposed, Filled jars at least and those LeftOver.
	Wanted, Batches, Filled, LeftOver int
	Yield                             BatchYield
}

// Proposal is a batch plan.
type Proposal struct {
	Participants int
	Batches      []Batch
	Outcomes     []Outcome
}

// mostBatches bounds a proposal; no room has benches for more.
const mostBatches = 500

// Propose works out whole batches for every wish and places them at the stations.
//
// The number of batches is the smallest whole number whose low published yield
// covers the wish: batches = ceil(participants x jars each / low yield). Each batch
// goes to the station with the fewest batches so far, the first in the room among
// equals, so that wish after wish goes round the benches. Stations without
// participants get none when others have some. A batch is planned for the high end
// of its yield in jars, so that jars, lids and canner space suffice.
func Propose(participants int, stations []Station, wishes []Wish) (Proposal, error) {
	var c fault.Collector
	if participants < 1 {
		c.Add("participants", "", "nobody is enrolled", "enrol participants first, or say how many to plan for")
	}
	benches := workingStations(stations)
	if len(benches) == 0 {
		c.Add("name", "", "the class has no stations", "add a station first")
	}
	p := Proposal{Participants: participants}
	total := 0
	for i, w := range wishes {
		if w.JarSize == "" {
			w.JarSize = w.Formula.Jar
		}
		y, err := w.Formula.YieldIn(w.JarSize)
		if err != nil {
			c.AddErr(fmt.Sprintf("wishes[%d].", i), err)
			continue
		}
		o := Outcome{Wish: w, Yield: y, Wanted: participants * w.JarsEach}
		o.Batches = (o.Wanted + y.Min - 1) / y.Min
		o.Filled = o.Batches * y.Min
		o.LeftOver = o.Filled - o.Wanted
		if total += o.Batches; total > mostBatches {
			c.Add(fmt.Sprintf("wishes[%d].jars_per_participant", i), fmt.Sprint(w.JarsEach),
				fmt.Sprintf("takes more than %d batches", mostBatches), "ask for fewer jars")
			continue
		}
		p.Outcomes = append(p.Outcomes, o)
	}
	if err := c.Err(); err != nil {
		return Proposal{}, err
	}
	load := make([]int, len(benches))
	for _, o := range p.Outcomes {
		for range o.Batches {
			at := 0
			for i := range benches {
				if load[i] < load[at] {
					at = i
				}
			}
			load[at]++
			p.Batches = append(p.Batches, Batch{
				ID:    batchID(benches[at].ID, load[at]),
				Class: benches[at].Class, Station: benches[at].ID, StationPosition: benches[at].Position, Order: load[at],
				Revision: o.Wish.Formula.Revision, JarSize: o.Wish.JarSize, Jars: o.Yield.Max, MaySplit: true,
			})
		}
	}
	slices.SortStableFunc(p.Batches, func(a, b Batch) int {
		return cmp.Or(cmp.Compare(a.StationPosition, b.StationPosition), cmp.Compare(a.Order, b.Order))
	})
	return p, nil
}

// batchID names a proposed batch after its station and turn, "bench-1-2"; empty,
// for one made up later, when that would be too long.
func batchID(station string, turn int) string {
	const longest = 63
	if id := fmt.Sprintf("%s-%d", station, turn); len(id) <= longest {
		return id
	}
	return ""
}

// workingStations are the stations with participants, or all when none has any,
// in the order of the room.
func workingStations(stations []Station) []Station {
	some := slices.ContainsFunc(stations, func(s Station) bool { return s.Participants > 0 })
	var benches []Station
	for _, s := range stations {
		if !some || s.Participants > 0 {
			benches = append(benches, s)
		}
	}
	slices.SortStableFunc(benches, func(a, b Station) int { return cmp.Compare(a.Position, b.Position) })
	return benches
}
