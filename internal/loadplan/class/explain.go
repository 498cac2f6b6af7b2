package class

import (
	"fmt"
	"slices"
)

// Cause is why a load or a stage cannot begin a minute sooner while everything else stays as it is.
type Cause string

// The causes. The first group refers to another load or stage, which is the next link of the chain; the second ends it.
const (
	ByCanner  Cause = "canner"  // the canner is in use, or being reset, until then
	ByFilling Cause = "filling" // jars of it are filled only then
	ByStation Cause = "station" // the station is busy with the batch before
	ByBurner  Cause = "burner"  // no burner is free before
	ByHandler Cause = "handler" // nobody is free to load it, or to unload it, before
	ByWaiting Cause = "waiting" // jars that go into a later load would wait too long
	ByReady   Cause = "ready"   // it cannot be ready before
	ByWindow  Cause = "window"  // the canner is not to be had before
	ByOpening Cause = "opening" // the class opens then, or that is the present minute
	ByPast    Cause = "past"    // it has already happened
	ByNothing Cause = "nothing" // it could begin sooner without gain
)

// Link is one load or stage of a critical chain.
type Link struct {
	Load  int    // index into the answer's loads, -1 for a stage
	Batch string // the batch of a stage, empty for a load
	Start int
	End   int
	// Because is why it does not begin sooner; the link after it, if any, is what it waits for.
	Because Cause
	Detail  string
}

// Explain gives the chain of loads and stages that makes the finish of a plan what it is, from the last load back to
// something that nobody can change. To finish sooner, one of its links has to be shortened or broken: see
// [Spec.With] for trying it.
func (in *Instance) Explain(a Answer) []Link {
	e := newExplainer(in, a)
	at := -1
	for i := range e.items {
		if it := e.items[i]; it.load >= 0 && (at < 0 || it.end > e.items[at].end) {
			at = i
		}
	}
	var chain []Link
	seen := map[int]bool{}
	for at >= 0 && !seen[at] {
		seen[at] = true
		it := e.items[at]
		cause, detail, next := e.why(at)
		batch := ""
		if it.load < 0 {
			batch = it.batch
		}
		chain = append(chain, Link{Load: it.load, Batch: batch, Start: it.start, End: it.end, Because: cause, Detail: detail})
		at = next
	}
	return chain
}

// item is a load or a stage of the written plan.
type item struct {
	load       int
	batch      string
	index      int // of the batch in the spec
	start, end int
}

type explainer struct {
	in      *Instance
	a       Answer
	items   []item
	stageOf map[string]int // item of a batch's stage
	done    map[int]bool   // items that have happened
}

func newExplainer(in *Instance, a Answer) *explainer {
	e := &explainer{in: in, a: a, stageOf: map[string]int{}, done: map[int]bool{}}
	for i, b := range in.spec.Batches {
		at := a.Filled[b.ID]
		e.stageOf[b.ID] = len(e.items)
		e.done[len(e.items)] = in.batches[i].filled != open
		e.items = append(e.items, item{load: -1, batch: b.ID, index: i, start: at - b.Stage, end: at})
	}
	for i, l := range a.Loads {
		e.done[len(e.items)] = slices.ContainsFunc(in.done, func(d Load) bool {
			return in.spec.Canners[d.Canner].ID == l.Canner && d.Start == l.Start && d.End == l.End
		})
		e.items = append(e.items, item{load: i, start: l.Start, end: l.End})
	}
	return e
}

func (e *explainer) why(at int) (Cause, string, int) {
	switch it := e.items[at]; {
	case e.done[at]:
		return ByPast, "it has already happened", -1
	case it.load < 0:
		return e.whyStage(at)
	default:
		return e.whyLoad(at)
	}
}

// fullBurners finds whether all burners are taken at minute t, and the item that frees one at t+1, if any.
func (e *explainer) fullBurners(t int, except int) (int, bool) {
	n, next := 0, -1
	for i, it := range e.items {
		if i != except && it.start <= t && t < it.end {
			if n++; it.end == t+1 || next < 0 {
				next = i
			}
		}
	}
	return next, n >= e.in.burners
}

// fullHands is the same for handlers.
func (e *explainer) fullHands(t int, except int) (int, bool) {
	n, next := 0, -1
	h := e.in.handling
	for i, it := range e.items {
		if i == except || it.load < 0 {
			continue
		}
		for _, from := range []int{it.start, it.end - h} {
			if from <= t && t < from+h {
				if n++; from+h == t+1 || next < 0 {
					next = i
				}
			}
		}
	}
	return next, n >= e.in.handlers
}

func (e *explainer) whyLoad(at int) (Cause, string, int) {
	it := e.items[at]
	l := e.a.Loads[it.load]
	c := slices.IndexFunc(e.in.spec.Canners, func(c Canner) bool { return c.ID == l.Canner })
	k := e.in.canners[c]
	for i, o := range e.items {
		if o.load >= 0 && i != at && e.a.Loads[o.load].Canner == l.Canner && o.start < it.start && o.end+k.reset == it.start {
			return ByCanner, fmt.Sprintf("canner %s is taken until %d", l.Canner, it.start), i
		}
	}
	for _, id := range sortedKeys(l.Jars) {
		if e.a.Filled[id] == it.start {
			return ByFilling, fmt.Sprintf("batch %s is filled at %d", id, it.start), e.stageOf[id]
		}
	}
	if it.start <= max(e.in.now, 0) {
		return ByOpening, fmt.Sprintf("nothing begins before %d", it.start), -1
	}
	inside := func(w Window) bool { return w.Start <= it.start-1 && it.end-1 <= w.End }
	if !slices.ContainsFunc(k.windows, inside) {
		return ByWindow, fmt.Sprintf("canner %s is not to be had before %d", l.Canner, it.start), -1
	}
	if next, full := e.fullHands(it.start-1, at); full && e.in.handling > 0 {
		return ByHandler, fmt.Sprintf("nobody is free to load it at %d", it.start-1), next
	}
	if next, full := e.fullHands(it.end-e.in.handling-1, at); full && e.in.handling > 0 {
		return ByHandler, fmt.Sprintf("nobody would be free to unload it at %d", it.end-e.in.handling-1), next
	}
	if next, full := e.fullBurners(it.start-1, at); full {
		return ByBurner, fmt.Sprintf("no burner is free at %d", it.start-1), next
	}
	return ByNothing, "it could begin sooner", -1
}

func (e *explainer) whyStage(at int) (Cause, string, int) {
	it := e.items[at]
	b := &e.in.batches[it.index]
	if list := e.in.stations[b.station]; b.place > 0 {
		before := e.in.spec.Batches[list[b.place-1]].ID
		if e.a.Filled[before] == it.start {
			return ByStation, fmt.Sprintf("station %s is busy with batch %s until %d", e.in.spec.Batches[it.index].Station, before, it.start), e.stageOf[before]
		}
	}
	if it.end == b.ready {
		return ByReady, fmt.Sprintf("batch %s cannot be ready before %d", it.batch, it.end), -1
	}
	if it.start <= max(e.in.now, 0) {
		return ByOpening, fmt.Sprintf("nothing begins before %d", it.start), -1
	}
	for i, o := range e.items {
		if o.load >= 0 && e.a.Loads[o.load].Jars[it.batch] > 0 && o.start == it.end+b.hold {
			return ByWaiting, fmt.Sprintf("jars of batch %s go into a load at %d and may wait %d minutes", it.batch, o.start, b.hold), i
		}
	}
	if next, full := e.fullBurners(it.start-1, at); full {
		return ByBurner, fmt.Sprintf("no burner is free at %d", it.start-1), next
	}
	return ByNothing, "it could begin sooner", -1
}
