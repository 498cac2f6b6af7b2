// Package check judges a written answer against a written instance. It shares no code with the search: it reads the
// two documents, counts burners and hands minute by minute, and works out come-up times for itself. Each rule is a
// function of its own and each violation carries the rule's name.
package check

import (
	"fmt"
	"maps"
	"math/big"
	"slices"

	"stillroom/internal/loadplan/class"
)

// Rule names one constraint.
type Rule string

// The rules, in the order in which they are checked.
const (
	Known     Rule = "known"     // every id in the answer is one of the instance, every batch has a minute of filling
	Ready     Rule = "ready"     // filled >= ready_earliest
	Opening   Rule = "opening"   // no stage or load begins before the class opens, or before the present minute of a class under way
	Station   Rule = "station"   // a station's next batch does not start before the one before it is filled
	Process   Rule = "process"   // in one load all jars have the same process
	Size      Rule = "size"      // and the same size
	Method    Rule = "method"    // the canner supports the method
	Capacity  Rule = "capacity"  // no more jars than the canner holds of that size
	Jars      Rule = "jars"      // loads hold jars, and no more of a batch than there are
	Whole     Rule = "whole"     // a batch that may not be split goes into one load or none
	HoldEarly Rule = "not-yet"   // filled <= S
	HoldLate  Rule = "hold"      // S <= filled + hold_max
	Length    Rule = "length"    // E is S and the sum of the phases
	Canner    Rule = "canner"    // one load at a time in a canner, and its reset after it
	Window    Rule = "window"    // [S, E) lies in a window of the canner
	Close     Rule = "close"     // E <= close
	Burners   Rule = "burners"   // loads and stages take no more burners than there are
	Handlers  Rule = "handlers"  // loading and unloading take no more hands than there are
	Done      Rule = "done"      // what has already happened is in the plan as it happened
	Objective Rule = "objective" // the four values are those of the plan
	Bounds    Rule = "bounds"    // no bound is above the value, and optimal means that they have met
)

// Violation is one breach of one rule.
type Violation struct {
	Rule   Rule
	Where  string // the load, batch or minute
	Detail string
}

func (v Violation) String() string { return fmt.Sprintf("%s: %s: %s", v.Rule, v.Where, v.Detail) }

// Answer judges an answer and returns every breach found; none means that the plan is valid.
func Answer(spec class.Spec, answer class.Answer) []Violation {
	c := &checker{spec: spec, answer: answer, batch: map[string]class.Batch{}, canner: map[string]class.Canner{}, process: map[string]class.Process{}}
	for _, b := range spec.Batches {
		c.batch[b.ID] = b
	}
	for _, k := range spec.Canners {
		c.canner[k.ID] = k
	}
	for _, p := range spec.Processes {
		c.process[p.ID] = p
	}
	c.done = make([]bool, len(answer.Loads))
	if spec.Done != nil {
		c.now, c.filledDone = spec.Done.Now, spec.Done.Filled
		c.markDone()
	}
	if c.known(); len(c.found) > 0 {
		return c.found // nothing else can be judged
	}
	for _, rule := range []func(){c.ready, c.opening, c.station, c.processAndSize, c.method, c.capacity, c.jars, c.whole, c.hold,
		c.length, c.oneAtATime, c.window, c.close, c.burners, c.handlers, c.objective, c.bounds} {
		rule()
	}
	return c.found
}

type checker struct {
	spec       class.Spec
	answer     class.Answer
	batch      map[string]class.Batch
	canner     map[string]class.Canner
	process    map[string]class.Process
	now        int
	done       []bool // by load of the answer
	filledDone map[string]int
	found      []Violation
}

func (c *checker) breach(rule Rule, where, format string, args ...any) {
	c.found = append(c.found, Violation{rule, where, fmt.Sprintf(format, args...)})
}

func (c *checker) name(i int) string {
	l := c.answer.Loads[i]
	return fmt.Sprintf("load %d (%s at %d)", i, l.Canner, l.Start)
}

func total(jars map[string]int) (n int) {
	for _, k := range jars {
		n += k
	}
	return n
}

func (c *checker) batchesOf(i int) []string { return slices.Sorted(maps.Keys(c.answer.Loads[i].Jars)) }

// markDone finds the loads that have already happened in the answer.
func (c *checker) markDone() {
	for _, d := range c.spec.Done.Loads {
		at := -1
		for i, l := range c.answer.Loads {
			if !c.done[i] && l.Canner == d.Canner && l.Start == d.Start && l.End == d.End && maps.Equal(l.Jars, d.Jars) {
				at = i
				break
			}
		}
		if at < 0 {
			c.breach(Done, fmt.Sprintf("%s at %d", d.Canner, d.Start), "the load has happened and is not in the plan")
			continue
		}
		c.done[at] = true
	}
	for _, id := range slices.Sorted(maps.Keys(c.spec.Done.Filled)) {
		if got := c.answer.Filled[id]; got != c.spec.Done.Filled[id] {
			c.breach(Done, "batch "+id, "filled at %d, the plan says %d", c.spec.Done.Filled[id], got)
		}
	}
}

func (c *checker) known() {
	for _, b := range c.spec.Batches {
		if _, ok := c.answer.Filled[b.ID]; !ok {
			c.breach(Known, "batch "+b.ID, "has no minute of filling")
		}
	}
	for _, id := range slices.Sorted(maps.Keys(c.answer.Filled)) {
		if _, ok := c.batch[id]; !ok {
			c.breach(Known, "filled", "there is no batch %s", id)
		}
	}
	for i, l := range c.answer.Loads {
		if _, ok := c.canner[l.Canner]; !ok {
			c.breach(Known, c.name(i), "there is no canner %s", l.Canner)
		}
		if _, ok := c.process[l.Process]; !ok {
			c.breach(Known, c.name(i), "there is no process %s", l.Process)
		}
		for _, id := range c.batchesOf(i) {
			if _, ok := c.batch[id]; !ok {
				c.breach(Known, c.name(i), "there is no batch %s", id)
			}
		}
	}
}

func (c *checker) isDone(batch string) bool {
	_, ok := c.filledDone[batch]
	return ok
}

func (c *checker) ready() {
	for _, b := range c.spec.Batches {
		if at := c.answer.Filled[b.ID]; at < b.ReadyEarliest && !c.isDone(b.ID) {
			c.breach(Ready, "batch "+b.ID, "filled at %d, ready at %d at the earliest", at, b.ReadyEarliest)
		}
	}
}

func (c *checker) opening() {
	first := max(0, c.now)
	for _, b := range c.spec.Batches {
		if start := c.answer.Filled[b.ID] - b.Stage; start < first && !c.isDone(b.ID) {
			c.breach(Opening, "batch "+b.ID, "its stage begins at %d, before %d", start, first)
		}
	}
	for i, l := range c.answer.Loads {
		if l.Start < first && !c.done[i] {
			c.breach(Opening, c.name(i), "begins before %d", first)
		}
	}
}

func (c *checker) station() {
	for _, a := range c.spec.Batches {
		for _, b := range c.spec.Batches {
			if a.Station != b.Station || a.Order >= b.Order || c.isDone(b.ID) {
				continue
			}
			if start := c.answer.Filled[b.ID] - b.Stage; start < c.answer.Filled[a.ID] {
				c.breach(Station, "batch "+b.ID, "its stage begins at %d, batch %s is filled at %d", start, a.ID, c.answer.Filled[a.ID])
			}
		}
	}
}

func (c *checker) processAndSize() {
	for i, l := range c.answer.Loads {
		for _, id := range c.batchesOf(i) {
			if b := c.batch[id]; b.Process != l.Process {
				c.breach(Process, c.name(i), "is for %s, batch %s needs %s", l.Process, id, b.Process)
			} else if b.Size != l.Size {
				c.breach(Size, c.name(i), "is for %s, batch %s is in %s", l.Size, id, b.Size)
			}
		}
	}
}

func (c *checker) method() {
	for i, l := range c.answer.Loads {
		if m := c.process[l.Process].Method; !c.done[i] && !slices.Contains(c.canner[l.Canner].Methods, m) {
			c.breach(Method, c.name(i), "the canner does not support %s", m)
		}
	}
}

func (c *checker) capacity() {
	for i, l := range c.answer.Loads {
		if n, most := total(l.Jars), c.canner[l.Canner].Capacity[l.Size]; n > most && !c.done[i] {
			c.breach(Capacity, c.name(i), "%d jars of %s, room for %d", n, l.Size, most)
		}
	}
}

func (c *checker) jars() {
	sum := map[string]int{}
	for i, l := range c.answer.Loads {
		if len(l.Jars) == 0 {
			c.breach(Jars, c.name(i), "holds nothing")
		}
		for _, id := range c.batchesOf(i) {
			if l.Jars[id] < 1 {
				c.breach(Jars, c.name(i), "%d jars of batch %s", l.Jars[id], id)
			}
			sum[id] += l.Jars[id]
		}
	}
	for _, b := range c.spec.Batches {
		if sum[b.ID] > b.Jars {
			c.breach(Jars, "batch "+b.ID, "%d jars in loads, it has %d", sum[b.ID], b.Jars)
		}
	}
}

func (c *checker) whole() {
	for i, l := range c.answer.Loads {
		for _, id := range c.batchesOf(i) {
			if b := c.batch[id]; !b.Split && l.Jars[id] > 0 && l.Jars[id] < b.Jars && !c.done[i] {
				c.breach(Whole, c.name(i), "%d of the %d jars of batch %s, which may not be split", l.Jars[id], b.Jars, id)
			}
		}
	}
}

func (c *checker) hold() {
	for i, l := range c.answer.Loads {
		for _, id := range c.batchesOf(i) {
			b, filled := c.batch[id], c.answer.Filled[id]
			if c.done[i] {
				continue
			}
			if l.Start < filled {
				c.breach(HoldEarly, c.name(i), "batch %s is filled only at %d", id, filled)
			}
			if l.Start > filled+b.HoldMax {
				c.breach(HoldLate, c.name(i), "batch %s, filled at %d, may wait %d minutes", id, filled, b.HoldMax)
			}
		}
	}
}

// boil is the ceiling of base + perJar*n, of the decimals as written.
func boil(k class.Canner, n int) int {
	read := func(d class.Decimal) *big.Rat {
		r := new(big.Rat)
		if d != "" {
			if _, ok := r.SetString(string(d)); !ok {
				panic("check: not a decimal: " + string(d))
			}
		}
		return r
	}
	sum := read(k.ComeUpPerJar)
	sum.Mul(sum, new(big.Rat).SetInt64(int64(n))).Add(sum, read(k.ComeUpBase))
	up := new(big.Int).Add(sum.Num(), new(big.Int).Sub(sum.Denom(), big.NewInt(1)))
	return int(up.Div(up, sum.Denom()).Int64())
}

func (c *checker) length() {
	for i, l := range c.answer.Loads {
		k, p := c.canner[l.Canner], c.process[l.Process]
		want := l.Start + c.spec.Handling + boil(k, total(l.Jars)) + k.Vent + p.Vent + p.Minutes + p.Depressurise + k.Depressurise + c.spec.Rest + c.spec.Handling
		if l.End != want && !c.done[i] {
			c.breach(Length, c.name(i), "ends at %d, its phases end at %d", l.End, want)
		}
	}
}

func (c *checker) oneAtATime() {
	for i, a := range c.answer.Loads {
		for j, b := range c.answer.Loads {
			if i == j || a.Canner != b.Canner || c.done[i] && c.done[j] || a.Start > b.Start || a.Start == b.Start && i > j {
				continue
			}
			if free := a.End + c.canner[a.Canner].Reset; b.Start < free {
				c.breach(Canner, c.name(j), "the canner is free only at %d, after load %d and its reset", free, i)
			}
		}
	}
}

func (c *checker) window() {
	for i, l := range c.answer.Loads {
		k := c.canner[l.Canner]
		inside := func(w class.Window) bool { return w.Start <= l.Start && l.End <= w.End }
		if k.Windows != nil && !c.done[i] && !slices.ContainsFunc(k.Windows, inside) {
			c.breach(Window, c.name(i), "[%d, %d) lies in none of %v", l.Start, l.End, k.Windows)
		}
	}
}

func (c *checker) close() {
	for i, l := range c.answer.Loads {
		if l.End > c.spec.Close && !c.done[i] {
			c.breach(Close, c.name(i), "ends at %d, the class closes at %d", l.End, c.spec.Close)
		}
	}
}

// span is a use of one unit over [from, to); settled uses are not judged, only counted.
type span struct {
	from, to int
	settled  bool
}

// overload checks each minute at which a span begins: use grows nowhere else.
func (c *checker) overload(rule Rule, spans []span, most int) {
	told := map[int]bool{}
	for _, s := range spans {
		if s.from >= s.to || told[s.from] {
			continue
		}
		all, settled := 0, 0
		for _, o := range spans {
			if o.from <= s.from && s.from < o.to {
				all++
				if o.settled {
					settled++
				}
			}
		}
		if all > max(most, settled) {
			told[s.from] = true
			c.breach(rule, fmt.Sprintf("minute %d", s.from), "%d needed, %d there", all, most)
		}
	}
}

func (c *checker) burners() {
	var spans []span
	for i, l := range c.answer.Loads {
		spans = append(spans, span{l.Start, l.End, c.done[i]})
	}
	for _, b := range c.spec.Batches {
		at := c.answer.Filled[b.ID]
		spans = append(spans, span{at - b.Stage, at, c.isDone(b.ID)})
	}
	c.overload(Burners, spans, c.spec.Burners)
}

func (c *checker) handlers() {
	var spans []span
	for i, l := range c.answer.Loads {
		spans = append(spans, span{l.Start, l.Start + c.spec.Handling, c.done[i]}, span{l.End - c.spec.Handling, l.End, c.done[i]})
	}
	c.overload(Handlers, spans, c.spec.Handlers)
}

func (c *checker) objective() {
	want := class.Value{Loads: len(c.answer.Loads)}
	for _, b := range c.spec.Batches {
		want.Unprocessed += b.Jars
	}
	for _, l := range c.answer.Loads {
		want.Unprocessed -= total(l.Jars)
		want.Finish = max(want.Finish, l.End)
		for id, n := range l.Jars {
			want.Hold += n * (l.Start - c.answer.Filled[id])
		}
	}
	got := c.answer.Objective
	got.Moved = 0 // a preference, not part of the problem
	if got != want {
		c.breach(Objective, "objective", "stated %+v, the plan has %+v", got, want)
	}
}

func (c *checker) bounds() {
	v, b := c.answer.Objective, c.answer.Bound
	if b.Unprocessed > v.Unprocessed {
		c.breach(Bounds, "unprocessed", "the bound %d is above the value %d", b.Unprocessed, v.Unprocessed)
	}
	if b.Finish > v.Finish && c.spec.Keep == nil {
		c.breach(Bounds, "finish", "the bound %d is above the value %d", b.Finish, v.Finish)
	}
	met := b.Unprocessed == v.Unprocessed && b.Finish >= v.Finish
	if c.answer.Optimal && !met && c.spec.Keep == nil {
		c.breach(Bounds, "optimal", "said to be optimal with %d of %d jars and %d of %d minutes", v.Unprocessed, b.Unprocessed, v.Finish, b.Finish)
	}
}
