package web

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/chart"
	"stillroom/internal/web/inert"
	"stillroom/internal/web/words"
)

// drawing turns a plan into what a board shows.
type drawing struct {
	plan *stillroomv1.LoadPlan
	zone *time.Location
	// stations are the names of stations for people.
	stations map[string]string
}

// boardLoad is a load with its canner, for the table and for the forms.
type boardLoad struct {
	*stillroomv1.PlannedLoad
	Canner *stillroomv1.PlannedCanner
	// Ref names it within its plan.
	Ref string
	// Number is its place among its canner's loads, from 1.
	Number int
	Jars   int32
	Whose  []loadShare
	// Marks are the numbers of its sources below the table.
	Marks []int
}

// loadShare is a batch's part of a load.
type loadShare struct {
	*stillroomv1.JarsInLoad
	Station string
}

// boardBatch is a batch with its station's name.
type boardBatch struct {
	*stillroomv1.PlannedBatch
	Ref, Bench string
}

// Key is the last part of the batch's name, for the names of fields.
func (b boardBatch) Key() string { return last(b.GetBatch()) }

// station is a station's name, safe beside other names.
func (d drawing) station(name string) string {
	if n := inert.Text(d.stations[name]); n != "" {
		return n
	}
	return last(name)
}

// fill adds everything that follows from the plan.
func (d drawing) fill(b *board) {
	b.Loads, b.Sources = d.loads()
	b.Batches = d.batches()
	placed := d.chart(b.Loads, b.Batches, b.Now).Place(boardSize)
	b.Chart, b.Key = placed.SVG("board", "Canners and stations from "+d.clock(d.plan.GetOpenTime())+" to "+d.clock(d.plan.GetCloseTime())), placed.Key("board")
	b.Coming = d.coming(b.Loads, b.Batches, b.Now)
	b.Proof = proof(d.plan, d.zone)
}

func (d drawing) clock(t *timestamppb.Timestamp) string { return clock(d.zone, t) }

// loads are all loads in the order of canners, with the sources of their processes.
func (d drawing) loads() ([]boardLoad, []string) {
	var all []boardLoad
	var sources []string
	for i, c := range d.plan.GetCanners() {
		for j, l := range c.GetLoads() {
			load := boardLoad{PlannedLoad: l, Canner: c, Ref: fmt.Sprintf("load-%d-%d", i+1, j+1), Number: j + 1}
			for _, share := range l.GetJars() {
				load.Jars += share.GetJars()
				load.Whose = append(load.Whose, loadShare{JarsInLoad: share, Station: d.station(share.GetStation())})
				texts := []string{words.Source(share.GetSource())}
				for _, n := range share.GetNotes() {
					texts = append(texts, strings.TrimSpace(n.GetText()+" "+words.Source(n.GetSource())))
				}
				for _, text := range texts {
					if text == "" {
						continue
					}
					at := slices.Index(sources, text)
					if at < 0 {
						at = len(sources)
						sources = append(sources, text)
					}
					if !slices.Contains(load.Marks, at+1) {
						load.Marks = append(load.Marks, at+1)
					}
				}
			}
			all = append(all, load)
		}
	}
	return all, sources
}

// batches are in the order of the room.
func (d drawing) batches() []boardBatch {
	var all []boardBatch
	for i, b := range d.plan.GetBatches() {
		all = append(all, boardBatch{PlannedBatch: b, Ref: fmt.Sprintf("batch-%d", i+1), Bench: d.station(b.GetStation())})
	}
	return all
}

// chart is the plan as rows on a common clock.
func (d drawing) chart(loads []boardLoad, batches []boardBatch, now time.Time) chart.Chart {
	c := chart.Chart{Opens: d.plan.GetOpenTime().AsTime(), Closes: d.plan.GetCloseTime().AsTime(), Zone: d.zone, Now: now}
	for _, canner := range d.plan.GetCanners() {
		row := chart.Row{Name: canner.GetDisplayName(), Group: "Canners"}
		for _, l := range loads {
			if l.Canner == canner {
				row.Loads = append(row.Loads, d.cannerLoad(l))
			}
		}
		for _, held := range canner.GetHeld() {
			row.Loads = append(row.Loads, chart.Load{
				Label: "another class", Name: fmt.Sprintf("%s: another class has it from %s to %s", canner.GetDisplayName(), d.clock(held.GetStartTime()), d.clock(held.GetEndTime())),
				Spans: []chart.Span{{Kind: chart.Held, From: held.GetStartTime().AsTime(), Until: held.GetEndTime().AsTime()}},
			})
		}
		c.Rows = append(c.Rows, row)
	}
	for _, b := range batches {
		at := slices.IndexFunc(c.Rows, func(r chart.Row) bool { return r.Group == "Stations" && r.Name == b.Bench })
		if at < 0 {
			at = len(c.Rows)
			c.Rows = append(c.Rows, chart.Row{Name: b.Bench, Group: "Stations"})
		}
		c.Rows[at].Loads = append(c.Rows[at].Loads, d.stationLoad(b, loads, c.Closes))
	}
	return c
}

func (d drawing) cannerLoad(l boardLoad) chart.Load {
	out := chart.Load{Label: count(l.Jars, "jar", "jars"), Name: d.loadName(l), Ref: l.Ref, Done: l.GetDone(),
		Caption: d.clock(l.GetInTime()) + "–" + d.clock(l.GetOutTime())}
	for _, phase := range l.GetPhases() {
		if kind, ok := chart.KindOfPart(phase.GetPart()); ok {
			out.Spans = append(out.Spans, chart.Span{Kind: kind, From: phase.GetStartTime().AsTime(), Until: phase.GetEndTime().AsTime()})
		}
	}
	if reset := l.Canner.GetResetMinutes(); reset > 0 {
		end := l.GetOutTime().AsTime()
		out.Spans = append(out.Spans, chart.Span{Kind: chart.Reset, From: end, Until: end.Add(time.Duration(reset) * time.Minute)})
	}
	return out
}

// loadName says all of a load in a sentence, for those who hear the board.
func (d drawing) loadName(l boardLoad) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, load %d of %d: %s", l.Canner.GetDisplayName(), l.Number, len(l.Canner.GetLoads()), jarCount(l.Jars, l.GetJarSize()))
	for i, share := range l.Whose {
		between := ", "
		if i == 0 {
			between = "; "
		}
		fmt.Fprintf(&b, "%s%d of %s from %s", between, share.GetJars(), share.GetTitle(), share.Station)
	}
	fmt.Fprintf(&b, ". In at %s, boil expected at %s, clock from %s, heat off at %s, out by %s. %s.",
		d.clock(l.GetInTime()), d.clock(l.GetBoilTime()), d.clock(l.GetClockTime()), d.clock(l.GetOffTime()), d.clock(l.GetOutTime()), words.Process(l.GetProcess()))
	if l.GetDone() {
		b.WriteString(" It has happened.")
	}
	return b.String()
}

// stationLoad is a batch on its way: prepared, cooked, waiting, in canners, cooling.
func (d drawing) stationLoad(b boardBatch, loads []boardLoad, closes time.Time) chart.Load {
	out := chart.Load{Ref: b.Ref, Done: b.GetDone(), Caption: "cook " + d.clock(b.GetCookTime()) + ", lid " + d.clock(b.GetLiddedTime())}
	cook, lidded := b.GetCookTime().AsTime(), b.GetLiddedTime().AsTime()
	minutes := int32(0)
	for _, part := range b.GetPreparing() {
		minutes += part.GetMinutes()
	}
	if minutes > 0 {
		out.Spans = append(out.Spans, chart.Span{Kind: chart.Prepare, From: cook.Add(-time.Duration(minutes) * time.Minute), Until: cook})
	}
	out.Spans = append(out.Spans, chart.Span{Kind: chart.Cook, From: cook, Until: lidded, Label: b.GetTitle()})
	var where []string
	var inside []chart.Span
	for _, l := range loads {
		for _, share := range l.Whose {
			if share.GetBatch() == b.GetBatch() {
				inside = append(inside, chart.Span{Kind: chart.InCanner, From: l.GetInTime().AsTime(), Until: l.GetOutTime().AsTime()})
				where = append(where, fmt.Sprintf("%s in %s from %s to %s", jarCount(share.GetJars(), l.GetJarSize()), l.Canner.GetDisplayName(), d.clock(l.GetInTime()), d.clock(l.GetOutTime())))
			}
		}
	}
	inside = joined(inside)
	at := lidded
	for _, span := range inside {
		if span.From.After(at) {
			out.Spans = append(out.Spans, chart.Span{Kind: chart.Wait, From: at, Until: span.From})
		}
		out.Spans = append(out.Spans, span)
		at = span.Until
	}
	if len(inside) > 0 {
		out.Spans = append(out.Spans, chart.Span{Kind: chart.Cooling, From: at, Until: closes})
	}
	out.Name = fmt.Sprintf("%s: %s of %s. Cook from %s, last lid by %s. %s.", b.Bench, jarCount(b.GetJars(), b.GetJarSize()), b.GetTitle(),
		d.clock(b.GetCookTime()), d.clock(b.GetLiddedTime()), sentenceList(where, "In no canner load: refrigerate or freeze"))
	if b.GetDone() {
		out.Name += " It has happened."
	}
	return out
}

func sentenceList(parts []string, none string) string {
	if len(parts) == 0 {
		return none
	}
	return strings.Join(parts, "; ")
}

// joined are spans of one kind without overlaps, in the order of the clock.
func joined(spans []chart.Span) []chart.Span {
	slices.SortStableFunc(spans, func(a, b chart.Span) int { return cmp.Or(a.From.Compare(b.From), a.Until.Compare(b.Until)) })
	var out []chart.Span
	for _, s := range spans {
		if n := len(out); n > 0 && !s.From.After(out[n-1].Until) {
			if s.Until.After(out[n-1].Until) {
				out[n-1].Until = s.Until
			}
			continue
		}
		out = append(out, s)
	}
	return out
}
