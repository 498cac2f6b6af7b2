package class

import (
	"cmp"
	"slices"

	"stillroom/internal/loadplan/nogood"
)

// model is an instance as a constraint model. In the notation of the scheduling field: canner c has positions
// k = 0, 1, ... for its loads, filled from the front. For each position there are
//
//	used  whether there is a load, fam[f] whether it is of family f (exactly one if used)
//	x[b]  how many jars of batch b it holds; p[b] = (x[b] >= 1) is a bound on x[b]
//	n     the sum of x, at most the capacity for the family
//	S, D, E = S + D  start, length and end; D is the table entry for (f, n), by clauses over the steps of the table
//
// and for each batch the minute F of filling and whether it is needed, that is, whether it or a later batch of its
// station goes into a load. A batch that is not needed can be filled after everything else and disturbs nothing.
//
//	p[b] => F <= S <= F + hold            x[b] summed over all positions <= jars
//	needed[b] => F - stage >= F of the batch before
//	used[k+1] => used[k], S[k+1] >= E[k] + reset
//	burners: [S, E) if used, [F - stage, F) if needed; hands: [S, S+handling) and [E-handling, E) if used
//	U >= jars - sum of x,  T >= E if used,  L = sum of used
//
// Of canners that are alike the first begins first.
type model struct {
	in        *Instance
	s         *nogood.Solver
	deadline  int
	u, t, l   nogood.Var
	f         []nogood.Var // by batch
	needed    []nogood.Var
	where     [][]nogood.Var // by canner and batch, whether jars of it are loaded there, or none
	positions [][]position
}

type position struct {
	used, n, start, length, end nogood.Var
	fam                         []nogood.Var // by family, -1 where impossible
	x                           []nogood.Var // by batch, -1 where impossible
	unit                        []int        // jars that one unit of x stands for
	gain, before                nogood.Var   // see addPrices
}

const none = nogood.Var(-1)

// mostCells is the number of batch and position pairs beyond which no model is made.
const mostCells = 4000

// newModel makes the model, or nil where the instance is too large or has a shape the model does not cover: loads
// that have already been entered for a minute still to come.
func newModel(in *Instance, deadline int, pr *prices) *model {
	counts := in.positionCounts(deadline)
	cells := 0
	for _, n := range counts {
		cells += n * len(in.batches)
	}
	if cells > mostCells || cells == 0 {
		return nil
	}
	for _, c := range in.canners {
		for _, w := range c.busy {
			if w.Start > in.now {
				return nil
			}
		}
	}
	m := &model{in: in, s: nogood.New(), deadline: deadline}
	s := m.s
	base, doneEnd := in.totalJars, 0
	for _, l := range in.done {
		base -= l.Jars()
		doneEnd = max(doneEnd, l.End)
	}
	m.u = s.NewVar(0, base)
	m.t = s.NewVar(doneEnd, max(doneEnd, deadline))
	m.addBatches()
	objective := []nogood.Term{{Coef: -1, Var: m.u}}
	perBatch := make([][]nogood.Term, len(in.batches))
	var loads []nogood.Term
	m.positions = make([][]position, len(in.canners))
	deepest := 0
	for c := range in.canners {
		for k := range counts[c] {
			p := m.addPosition(c)
			if k > 0 {
				before := m.positions[c][k-1]
				s.Clause(nogood.AtMost(p.used, 0), nogood.AtLeast(before.used, 1))
				s.Linear([]nogood.Term{{Coef: 1, Var: before.end}, {Coef: -1, Var: p.start}}, -in.canners[c].reset, nogood.AtLeast(p.used, 1))
			}
			loads = append(loads, nogood.Term{Coef: 1, Var: p.used})
			for b, x := range p.x {
				if x != none {
					objective = append(objective, nogood.Term{Coef: -p.unit[b], Var: x})
					perBatch[b] = append(perBatch[b], nogood.Term{Coef: p.unit[b], Var: x})
				}
			}
			m.positions[c] = append(m.positions[c], p)
		}
		deepest = max(deepest, counts[c])
		m.addWhere(c)
		m.orderAlike(c)
	}
	for b, terms := range perBatch {
		if len(terms) > 1 {
			s.Linear(terms, in.batches[b].left)
		}
	}
	s.Linear(objective, -base)
	m.l = s.NewVar(0, len(loads))
	s.Linear(append(slices.Clone(loads), nogood.Term{Coef: -1, Var: m.l}), 0)
	m.addResources()
	m.addPrices(pr, base)
	m.addDecisions(deepest)
	return m
}

// positionCounts is, by canner, the most loads that fit into it one after the other.
func (in *Instance) positionCounts(deadline int) []int {
	heads := in.earliestFillings()
	most := 0 // loads of all canners together: every load takes a jar, or a whole batch
	for _, b := range in.batches {
		if b.split {
			most += b.left
		} else if b.left > 0 {
			most++
		}
	}
	out := make([]int, len(in.canners))
	for c, k := range in.canners {
		shortest, first := 0, deadline
		for _, b := range slices.Sorted(slices.Values(allBatches(in))) {
			bb := in.batches[b]
			if bb.left == 0 || k.capacity[bb.family] == 0 {
				continue
			}
			if l := k.lengths[bb.family][1]; shortest == 0 || l < shortest {
				shortest = l
			}
			first = min(first, heads[b])
		}
		if shortest == 0 {
			continue
		}
		for _, w := range k.busy {
			first = max(first, w.End)
		}
		for _, w := range k.windows {
			from, to := max(w.Start, first, in.now), min(w.End, deadline)
			if to-from >= shortest {
				out[c] += (to - from + k.reset) / (shortest + k.reset)
			}
		}
		out[c] = min(out[c], most)
	}
	return out
}

func allBatches(in *Instance) []int {
	out := make([]int, len(in.batches))
	for i := range out {
		out[i] = i
	}
	return out
}

func (m *model) addBatches() {
	in, s := m.in, m.s
	heads := in.earliestFillings()
	m.f, m.needed = make([]nogood.Var, len(in.batches)), make([]nogood.Var, len(in.batches))
	for _, list := range in.stations {
		for k, b := range list {
			bb := &in.batches[b]
			if bb.filled != open {
				m.f[b], m.needed[b] = s.NewVar(bb.filled, bb.filled), s.NewVar(1, 1)
				continue
			}
			m.f[b] = s.NewVar(min(heads[b], m.deadline), m.deadline)
			can := 1
			if heads[b] > m.deadline {
				can = 0
			}
			m.needed[b] = s.NewVar(0, can)
			if k > 0 {
				before := list[k-1]
				s.Linear([]nogood.Term{{Coef: 1, Var: m.f[before]}, {Coef: -1, Var: m.f[b]}}, -bb.stage, nogood.AtLeast(m.needed[b], 1))
				s.Clause(nogood.AtMost(m.needed[b], 0), nogood.AtLeast(m.needed[before], 1))
			}
		}
	}
}

func (m *model) addPosition(c int) position {
	in, s, k := m.in, m.s, &m.in.canners[c]
	p := position{fam: make([]nogood.Var, len(in.families)), x: make([]nogood.Var, len(in.batches)), unit: make([]int, len(in.batches))}
	from := in.now
	for _, w := range k.busy {
		from = max(from, w.End)
	}
	mostLength, mostJars, least := 0, 0, 1<<30
	for f := range in.families {
		if n := k.capacity[f]; n > 0 {
			mostLength, mostJars, least = max(mostLength, k.lengths[f][n]), max(mostJars, n), min(least, k.lengths[f][1])
		}
	}
	p.used = s.NewVar(0, 1)
	used := nogood.AtLeast(p.used, 1)
	p.n = s.NewVar(0, mostJars)
	p.start, p.length, p.end = s.NewVar(min(from, m.deadline), m.deadline), s.NewVar(0, mostLength), s.NewVar(0, m.deadline)
	s.Linear([]nogood.Term{{Coef: 1, Var: p.start}, {Coef: 1, Var: p.length}, {Coef: -1, Var: p.end}}, 0)
	s.Linear([]nogood.Term{{Coef: -1, Var: p.start}, {Coef: -1, Var: p.length}, {Coef: 1, Var: p.end}}, 0)
	s.Linear([]nogood.Term{{Coef: 1, Var: p.end}, {Coef: -1, Var: m.t}}, 0, used)
	s.Clause(used.Not(), nogood.AtLeast(p.length, least))
	s.Clause(used.Not(), nogood.AtLeast(p.n, 1))
	m.addWindows(c, p)

	sum := []nogood.Term{{Coef: -1, Var: p.n}}
	anyFamily := []nogood.Lit{used.Not()}
	for f := range in.families {
		p.fam[f] = none
		if k.capacity[f] == 0 {
			continue
		}
		p.fam[f] = s.NewVar(0, 1)
		fam := nogood.AtLeast(p.fam[f], 1)
		anyFamily = append(anyFamily, fam)
		s.Clause(fam.Not(), used)
		for g := range f {
			if p.fam[g] != none {
				s.Clause(fam.Not(), nogood.AtMost(p.fam[g], 0))
			}
		}
		s.Clause(fam.Not(), nogood.AtMost(p.n, k.capacity[f]))
		table := k.lengths[f]
		s.Clause(fam.Not(), nogood.AtLeast(p.length, table[1]))
		s.Clause(fam.Not(), nogood.AtMost(p.length, table[k.capacity[f]]))
		for n := 2; n <= k.capacity[f]; n++ {
			if table[n] > table[n-1] {
				s.Clause(fam.Not(), nogood.AtMost(p.n, n-1), nogood.AtLeast(p.length, table[n]))
				s.Clause(fam.Not(), nogood.AtLeast(p.n, n), nogood.AtMost(p.length, table[n-1]))
			}
		}
		some := []nogood.Lit{fam.Not()}
		for b := range in.batches {
			if in.batches[b].family != f {
				continue
			}
			if x := m.addShare(c, b, &p); x != none {
				some = append(some, nogood.AtLeast(x, 1))
				sum = append(sum, nogood.Term{Coef: p.unit[b], Var: x})
			}
		}
		s.Clause(some...)
	}
	s.Clause(anyFamily...)
	for b := range in.batches {
		if p.fam[in.batches[b].family] == none {
			p.x[b] = none
		}
	}
	s.Linear(sum, 0)
	for i := range sum {
		sum[i].Coef = -sum[i].Coef
	}
	s.Linear(slices.Clone(sum), 0)
	return p
}

// addShare adds the jars of batch b in position p of canner c.
func (m *model) addShare(c, b int, p *position) nogood.Var {
	in, s := m.in, m.s
	bb := &in.batches[b]
	capacity := in.canners[c].capacity[bb.family]
	p.x[b] = none
	if bb.left == 0 || !bb.split && bb.left > capacity || s.Max(m.needed[b]) == 0 {
		return none
	}
	if bb.split {
		p.x[b], p.unit[b] = s.NewVar(0, min(bb.left, capacity)), 1
	} else {
		p.x[b], p.unit[b] = s.NewVar(0, 1), bb.left
	}
	in1 := nogood.AtLeast(p.x[b], 1)
	s.Clause(in1.Not(), nogood.AtLeast(p.fam[bb.family], 1))
	s.Clause(in1.Not(), nogood.AtLeast(m.needed[b], 1))
	s.Linear([]nogood.Term{{Coef: 1, Var: m.f[b]}, {Coef: -1, Var: p.start}}, 0, in1)
	s.Linear([]nogood.Term{{Coef: 1, Var: p.start}, {Coef: -1, Var: m.f[b]}}, bb.hold, in1)
	return p.x[b]
}

// addWindows keeps a position inside one window of its canner.
func (m *model) addWindows(c int, p position) {
	s, used := m.s, nogood.AtLeast(p.used, 1)
	some := []nogood.Lit{used.Not()}
	for _, w := range m.in.canners[c].windows {
		if w.Start >= m.deadline {
			continue
		}
		inside := used
		if len(m.in.canners[c].windows) > 1 {
			inside = nogood.AtLeast(s.NewVar(0, 1), 1)
		}
		some = append(some, inside)
		s.Clause(inside.Not(), nogood.AtLeast(p.start, w.Start))
		s.Clause(inside.Not(), nogood.AtMost(p.end, w.End))
	}
	if len(m.in.canners[c].windows) != 1 {
		s.Clause(some...)
	}
}

// addWhere adds, for each batch, whether any of it goes into canner c.
func (m *model) addWhere(c int) {
	where := make([]nogood.Var, len(m.in.batches))
	for b := range where {
		where[b] = none
		some := []nogood.Lit{}
		for _, p := range m.positions[c] {
			if p.x[b] == none {
				continue
			}
			if where[b] == none {
				where[b] = m.s.NewVar(0, 1)
				some = append(some, nogood.AtMost(where[b], 0))
			}
			m.s.Clause(nogood.AtMost(p.x[b], 0), nogood.AtLeast(where[b], 1))
			some = append(some, nogood.AtLeast(p.x[b], 1))
		}
		if where[b] != none {
			m.s.Clause(some...)
		}
	}
	m.where = append(m.where, where)
}

func (m *model) orderAlike(c int) {
	for d := c - 1; d >= 0; d-- {
		if m.in.canners[d].like != m.in.canners[c].like || len(m.positions[c]) == 0 || len(m.positions[d]) == 0 {
			continue
		}
		a, b := m.positions[d][0], m.positions[c][0]
		m.s.Clause(nogood.AtMost(b.used, 0), nogood.AtLeast(a.used, 1))
		m.s.Linear([]nogood.Term{{Coef: 1, Var: a.start}, {Coef: -1, Var: b.start}}, 0, nogood.AtLeast(b.used, 1))
		return
	}
}

func (m *model) addResources() {
	in := m.in
	var burners, hands []nogood.Task
	for c := range m.positions {
		for _, p := range m.positions[c] {
			used := []nogood.Lit{nogood.AtLeast(p.used, 1)}
			burners = append(burners, nogood.Task{Start: p.start, End: p.end, HasLength: true, Length: p.length, When: used})
			hands = append(hands,
				nogood.Task{Start: p.start, End: p.start, EndOffset: in.handling, Least: in.handling, When: used},
				nogood.Task{Start: p.end, End: p.end, StartOffset: -in.handling, Least: in.handling, When: used})
		}
	}
	for b := range in.batches {
		if bb := in.batches[b]; bb.filled == open && bb.stage > 0 {
			burners = append(burners, nogood.Task{Start: m.f[b], End: m.f[b], StartOffset: -bb.stage, Least: bb.stage, When: []nogood.Lit{nogood.AtLeast(m.needed[b], 1)}})
		}
	}
	if in.burners < len(in.stations)+len(in.canners) {
		m.s.Cumulative(burners, remaining(in.burners, in.burnerUsed))
	}
	if in.handling > 0 && in.handlers < len(in.canners) {
		m.s.Cumulative(hands, remaining(in.handlers, in.handsUsed))
	}
}

// addPrices adds what is known from prices (see there): the gain of a canner from position k on is that of the load
// in it, less the price of its burner, and the gain of those after; and it is at most what the canner can gain from
// the start of that load on. Gains and the worth of the batches that are made bound the jars.
func (m *model) addPrices(pr *prices, base int) {
	in, s := m.in, m.s
	least := 0 // no gain is below this
	for b := range in.batches {
		least -= max(0, pr.jar[b][0]-whole) * in.batches[b].left
	}
	least -= pr.upTo[m.deadline] // a canner takes one burner at a time
	constant := base * whole
	for t := range m.deadline {
		constant -= pr.burner[t] * (in.burners - in.burnerUsed[t])
	}
	sum := []nogood.Term{{Coef: -whole, Var: m.u}}
	for b := range in.batches {
		if worth, ok := pr.worth(b, m.deadline); ok {
			sum = append(sum, nogood.Term{Coef: -worth, Var: m.needed[b]})
		} else {
			s.Clause(nogood.AtMost(m.needed[b], 0))
		}
	}
	m.addGains(pr, least, &sum)
	s.Linear(sum, -constant)
}

// addGains adds the gains, and that of the first position of each canner to the sum.
func (m *model) addGains(pr *prices, least int, sum *[]nogood.Term) {
	s := m.s
	// Later is dearer: what a burner has cost up to a minute, counted from the end of a load and from its start.
	upTo, toGo := make([]int, m.deadline+1), make([]int, m.deadline+1)
	dear := false
	for t := range upTo {
		upTo[t] = -pr.upTo[t]
		toGo[t] = pr.upTo[m.deadline-t]
		dear = dear || pr.upTo[t] > 0
	}
	for c := range m.positions {
		offers := pr.offers(c, m.deadline)
		table := pr.potential(c, m.deadline, offers, nil)
		before := pr.before(c, m.deadline, offers)
		slices.Reverse(before)
		list := m.positions[c]
		for k := len(list) - 1; k >= 0; k-- {
			p := &list[k]
			p.gain = s.NewVar(least, table[0])
			s.Clause(nogood.AtLeast(p.used, 1), nogood.AtMost(p.gain, 0))
			s.Step(p.start, p.gain, table)
			terms := []nogood.Term{{Coef: 1, Var: p.gain}}
			for b, x := range p.x {
				if x != none {
					terms = append(terms, nogood.Term{Coef: -p.unit[b] * (whole - pr.jar[b][0]), Var: x})
				}
			}
			if k+1 < len(list) {
				terms = append(terms, nogood.Term{Coef: -1, Var: list[k+1].gain})
			}
			toClose := s.NewVar(0, m.deadline) // = deadline - start
			s.Linear([]nogood.Term{{Coef: 1, Var: toClose}, {Coef: 1, Var: p.start}}, m.deadline)
			s.Linear([]nogood.Term{{Coef: -1, Var: toClose}, {Coef: -1, Var: p.start}}, -m.deadline)
			if dear {
				// gain <= ... - upTo(end) + upTo(start)
				end, start := s.NewVar(upTo[m.deadline], 0), s.NewVar(0, pr.upTo[m.deadline])
				s.Step(p.end, end, upTo)
				s.Step(toClose, start, toGo)
				terms = append(terms, nogood.Term{Coef: -1, Var: end}, nogood.Term{Coef: -1, Var: start})
				s.Linear(terms, 0, nogood.AtLeast(p.used, 1))
			} else {
				s.Linear(terms, 0)
			}
			if k > 0 {
				// What all positions gain is what those before this one do and this one and those after it.
				p.before = s.NewVar(least, before[0])
				s.Step(toClose, p.before, before)
			}
		}
		for k := 1; k < len(list); k++ {
			s.Linear([]nogood.Term{{Coef: 1, Var: list[0].gain}, {Coef: -1, Var: list[k].before}, {Coef: -1, Var: list[k].gain}}, 0, nogood.AtLeast(list[k].used, 1))
		}
		if len(list) > 0 {
			*sum = append(*sum, nogood.Term{Coef: -1, Var: list[0].gain})
		}
	}
}

func remaining(limit int, used []int) []int {
	out := make([]int, len(used))
	for t := range out {
		out[t] = limit - used[t]
	}
	return out
}

// addDecisions says in which order to try things while nothing has been learnt: what goes into the first loads of
// all canners, when they start, then the second loads, and at last when batches are filled.
func (m *model) addDecisions(deepest int) {
	heads := m.in.earliestFillings()
	order := allBatches(m.in)
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(heads[a], heads[b]) })
	for k := range deepest {
		for c := range m.positions {
			if k >= len(m.positions[c]) {
				continue
			}
			p := m.positions[c][k]
			m.s.Decide(p.used)
			for _, b := range order {
				if p.x[b] != none {
					m.s.Decide(p.x[b])
				}
			}
		}
	}
	for k := range deepest {
		for c := range m.positions {
			if k < len(m.positions[c]) {
				m.s.Decide(m.positions[c][k].start, nogood.AtLeast(m.positions[c][k].used, 1))
			}
		}
	}
	for _, b := range order {
		m.s.Decide(m.f[b], nogood.AtLeast(m.needed[b], 1))
	}
}

// suggest makes the solver try the decisions of a plan first.
func (m *model) suggest(p *Plan) {
	next := make([]int, len(m.in.canners))
	for c := range m.positions {
		for _, q := range m.positions[c] {
			m.s.Suggest(q.used, 0)
			for _, x := range q.x {
				if x != none {
					m.s.Suggest(x, 0)
				}
			}
		}
	}
	for _, l := range p.Loads { // they are sorted by start
		if l.Done || next[l.Canner] >= len(m.positions[l.Canner]) {
			continue
		}
		q := m.positions[l.Canner][next[l.Canner]]
		next[l.Canner]++
		m.s.Suggest(q.used, 1)
		m.s.Suggest(q.start, l.Start)
		for _, x := range l.Shares {
			if q.x[x.Batch] != none {
				m.s.Suggest(q.x[x.Batch], x.Jars/q.unit[x.Batch])
			}
		}
	}
	for b, at := range p.Filled {
		m.s.Suggest(m.f[b], at)
	}
}

// plan reads a solution out of the solver.
func (m *model) plan() *Plan {
	in := m.in
	sched := newSchedule(in)
	for _, list := range in.stations {
		for k, b := range list {
			if in.batches[b].filled != open || m.s.Min(m.needed[b]) == 0 {
				continue
			}
			at := m.s.Min(m.f[b])
			sched.filled[b] = at
			sched.next[in.batches[b].station] = k + 1
			use(sched.burners, at-in.batches[b].stage, at, 1)
		}
	}
	for c := range m.positions {
		for _, p := range m.positions[c] {
			if m.s.Min(p.used) == 0 {
				continue
			}
			var shares []Share
			for b, x := range p.x {
				if x != none && m.s.Min(x) > 0 {
					shares = append(shares, Share{b, m.s.Min(x) * p.unit[b]})
				}
			}
			w := intent{family: in.batches[shares[0].Batch].family, canner: c, shares: shares}
			sched.put(w, c, m.s.Min(p.start), w.jars())
		}
	}
	sched.settle()
	return sched.plan()
}
