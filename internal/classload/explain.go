package classload

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/kitchen"
	"stillroom/internal/loadplan/class"
)

// event is a load or a stage of a plan, as the explanation walks over them.
type event struct {
	load       *class.LoadSpec
	batch      string
	start, end int
}

func (p *Problem) say(e event) string {
	if what, other := p.others[e.batch]; other {
		return what
	}
	if e.load == nil {
		b := p.batch(e.batch)
		return fmt.Sprintf("%s cooks and fills %s", b.Station, p.in.Recipes[b.Revision].Title)
	}
	n := 0
	var of []string
	for _, b := range p.sorted() {
		if jars := e.load.Jars[b.ID]; jars > 0 {
			n += jars
			if !slices.Contains(of, b.Station) {
				of = append(of, b.Station)
			}
		}
	}
	return fmt.Sprintf("%s: %d jars of %s", p.cannerName(e.load.Canner), n, strings.Join(of, ", "))
}

func (p *Problem) batch(id string) kitchen.Batch {
	for _, b := range p.in.Batches {
		if b.ID == id {
			return b
		}
	}
	return kitchen.Batch{ID: id}
}

func (p *Problem) cannerName(id string) string {
	if u := p.unit(id); u != nil {
		return u.name
	}
	return id
}

// chain walks from the last load back to what holds it: at every event it asks what
// ended at the very minute it began and was needed for it. The walk ends at an
// event that nothing holds but its own preparing, or a window, or the present.
func (p *Problem) chain(r result) []Link {
	var events []event
	for i := range r.answer.Loads {
		l := &r.answer.Loads[i]
		events = append(events, event{load: l, start: l.Start, end: l.End})
	}
	for _, b := range r.spec.Batches {
		at := r.answer.Filled[b.ID]
		events = append(events, event{batch: b.ID, start: at - b.Stage, end: at})
	}
	at := -1
	for i, e := range events {
		if e.load != nil && (at < 0 || e.end > events[at].end) {
			at = i
		}
	}
	var links []Link
	for at >= 0 && len(links) <= len(events) {
		e := events[at]
		next, because := p.holds(r, events, e)
		links = append(links, Link{From: e.start, Until: e.end, What: p.say(e), Because: because})
		at = next
	}
	return links
}

// holds says what keeps an event from beginning sooner: the index of the event it
// waits for, or -1 at the end of the chain.
func (p *Problem) holds(r result, events []event, e event) (int, string) {
	if _, other := p.others[e.batch]; other {
		return -1, "it belongs to another class, whose plan stays as it is"
	}
	if p.in.Happened != nil && e.start <= r.spec.Done.Now {
		return -1, "it has happened, or begins at the present minute"
	}
	if e.load == nil {
		return p.holdsStage(r, events, e)
	}
	for i, o := range events {
		if o.load == nil && e.load.Jars[o.batch] > 0 && o.end == e.start {
			return i, "its jars were lidded only then"
		}
	}
	for _, c := range r.spec.Canners {
		if c.ID != e.load.Canner {
			continue
		}
		for i, o := range events {
			if o.load != nil && o.load.Canner == c.ID && o.end+c.Reset == e.start && o.start < e.start {
				return i, "the canner was taken until then"
			}
		}
		for _, w := range c.Windows {
			if w.Start == e.start && w.Start > 0 {
				return -1, "another class has the canner until then"
			}
		}
	}
	if i := p.freedBurner(r, events, e); i >= 0 {
		return i, "no burner was free until then"
	}
	if i := p.freedHand(r, events, e); i >= 0 {
		return i, "no hand was free to load or unload before"
	}
	return -1, "nothing holds it: it could begin sooner by itself, but the plan would end no sooner"
}

func (p *Problem) holdsStage(r result, events []event, e event) (int, string) {
	var self class.Batch
	for _, b := range r.spec.Batches {
		if b.ID == e.batch {
			self = b
		}
	}
	if e.end == self.ReadyEarliest {
		return -1, "it starts as soon as the station has prepared"
	}
	for i, o := range events {
		if o.load != nil || o.end != e.start {
			continue
		}
		for _, b := range r.spec.Batches {
			if b.ID == o.batch && b.Station == self.Station && b.ID != self.ID {
				return i, "the station was busy until then"
			}
		}
	}
	if i := p.freedBurner(r, events, e); i >= 0 {
		return i, "no burner was free until then"
	}
	// Its jars wait for a canner: the stage was put off so that they do not stand hot.
	loads := slices.Clone(events)
	slices.SortStableFunc(loads, func(a, b event) int { return cmp.Compare(a.start, b.start) })
	for _, o := range loads {
		if o.load == nil || o.load.Jars[e.batch] == 0 {
			continue
		}
		for i, before := range events {
			for _, c := range r.spec.Canners {
				if before.load != nil && before.load.Canner == o.load.Canner && c.ID == o.load.Canner && before.end+c.Reset == o.start && before.start < o.start {
					return i, "it was put off so that hot jars need not wait for the canner"
				}
			}
		}
	}
	return -1, "it could start sooner by itself, but its jars would stand hot"
}

// freedBurner is an event that gave up a burner at the minute e began, when all were
// taken just before.
func (p *Problem) freedBurner(r result, events []event, e event) int {
	before := 0
	for _, u := range p.burnerUses(r.spec, r.answer) {
		if u.From < e.start && e.start <= u.Until {
			before++
		}
	}
	if before < p.burners {
		return -1
	}
	return slices.IndexFunc(events, func(o event) bool { return o.end == e.start && o.start < e.start })
}

// freedHand is a load whose handling ended at a minute at which e's began, when all hands were busy.
func (p *Problem) freedHand(r result, events []event, e event) int {
	h := p.spec.Handling
	for _, begins := range []int{e.start, e.end - h} {
		busy, freed := 0, -1
		for i, o := range events {
			if o.load == nil {
				continue
			}
			for _, from := range []int{o.start, o.end - h} {
				if from < begins && begins <= from+h {
					busy++
				}
				if from+h == begins && !(o.start == e.start && o.load.Canner == e.load.Canner) {
					freed = i
				}
			}
		}
		if busy >= p.spec.Handlers && freed >= 0 {
			return freed
		}
	}
	return -1
}
