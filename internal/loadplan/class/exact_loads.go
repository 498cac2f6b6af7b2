package class

import (
	"cmp"
	"slices"

	"stillroom/internal/loadplan/nogood"
)

// leadOrder is the order in which batches lead loads: those that can be filled last first, so that a load begins no
// sooner than its leader can be filled.
func (in *Instance) leadOrder() []int {
	heads := in.earliestFillings()
	order := allBatches(in)
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(heads[b], heads[a]) })
	return order
}

// span is the minutes over which a canner can be used up to the deadline.
func (k *canner) span(now, deadline int) (from, to int) {
	from, to = deadline, 0
	for _, w := range k.windows {
		from, to = min(from, w.Start), max(to, min(w.End, deadline))
	}
	from = max(from, now)
	for _, w := range k.busy {
		from = max(from, w.End)
	}
	return from, to
}

// times is how often jars of a batch can go into canner c: all its loads begin within the time that its jars may
// wait, one after the other.
func (in *Instance) times(c, b int) int {
	bb, k := &in.batches[b], &in.canners[c]
	capacity := k.capacity[bb.family]
	switch {
	case bb.left == 0 || capacity == 0 || !bb.split && bb.left > capacity:
		return 0
	case !bb.split:
		return 1
	}
	return min(bb.left, 1+bb.hold/(k.lengths[bb.family][1]+k.reset))
}

// addCanner adds the loads there may be in canner c: for each batch as many that it leads as its jars can be in.
func (m *model) addCanner(c int) {
	in, s, k := m.in, m.s, &m.in.canners[c]
	from, to := k.span(in.now, m.deadline)
	heads := in.earliestFillings()
	inLoads := make([][]nogood.Lit, len(in.batches))
	for i, leader := range m.order {
		family := in.batches[leader].family
		if s.Max(m.needed[leader]) == 0 {
			continue
		}
		for copy := range in.times(c, leader) {
			latest := to - k.lengths[family][1]
			if first := max(from, heads[leader]); first <= latest {
				p := m.addLoad(c, leader, first, latest, m.order[i:])
				if copy > 0 {
					before := m.loads[c][len(m.loads[c])-1]
					s.Clause(nogood.AtMost(p.used, 0), nogood.AtLeast(before.used, 1))
					s.Linear([]nogood.Term{{Coef: 1, Var: before.end}, {Coef: -1, Var: p.start}}, -k.reset, nogood.AtLeast(p.used, 1))
				}
				for b, x := range p.x {
					if x != none {
						inLoads[b] = append(inLoads[b], nogood.AtLeast(x, 1))
					}
				}
				m.loads[c] = append(m.loads[c], p)
			}
		}
	}
	for b, list := range inLoads {
		if in.times(c, b) > 1 {
			continue
		}
		for i := range list {
			for j := range i {
				s.Clause(list[i].Not(), list[j].Not())
			}
		}
	}
	m.addOrder(c, to)
	m.addWhere(c)
	m.orderAlike(c)
}

// addLoad adds a load in canner c that is led by a batch and may hold jars of the batches after it.
func (m *model) addLoad(c, leader, first, latest int, rest []int) load {
	in, s, k := m.in, m.s, &m.in.canners[c]
	family := in.batches[leader].family
	capacity, table := k.capacity[family], k.lengths[family]
	p := load{leader: leader, x: make([]nogood.Var, len(in.batches)), unit: make([]int, len(in.batches))}
	for b := range p.x {
		p.x[b] = none
	}
	p.used = s.NewVar(0, 1)
	used := nogood.AtLeast(p.used, 1)
	p.n = s.NewVar(0, m.fullest(leader, capacity, rest))
	p.start, p.length, p.end = s.NewVar(first, latest), s.NewVar(0, table[capacity]), s.NewVar(0, m.deadline+table[capacity])
	s.Linear([]nogood.Term{{Coef: 1, Var: p.start}, {Coef: 1, Var: p.length}, {Coef: -1, Var: p.end}}, 0)
	s.Linear([]nogood.Term{{Coef: -1, Var: p.start}, {Coef: -1, Var: p.length}, {Coef: 1, Var: p.end}}, 0)
	s.Linear([]nogood.Term{{Coef: 1, Var: p.end}, {Coef: -1, Var: m.t}}, 0, used)
	m.addWindows(c, p)

	s.Clause(used, nogood.AtMost(p.length, 0))
	s.Clause(used.Not(), nogood.AtLeast(p.n, 1))
	s.Clause(used.Not(), nogood.AtLeast(p.length, table[1]))
	for n := 2; n <= capacity; n++ {
		if table[n] > table[n-1] {
			s.Clause(nogood.AtMost(p.n, n-1), nogood.AtLeast(p.length, table[n]))
			s.Clause(nogood.AtLeast(p.n, n), nogood.AtMost(p.length, table[n-1]))
		}
	}
	sum := []nogood.Term{{Coef: -1, Var: p.n}}
	for _, b := range rest {
		if in.batches[b].family != family {
			continue
		}
		if x := m.addShare(c, b, &p); x != none {
			sum = append(sum, nogood.Term{Coef: p.unit[b], Var: x})
		}
	}
	s.Clause(used.Not(), nogood.AtLeast(p.x[leader], 1))
	s.Linear(sum, 0)
	sum = slices.Clone(sum)
	for i := range sum {
		sum[i].Coef = -sum[i].Coef
	}
	s.Linear(sum, 0)
	return p
}

// fullest is the most jars in a load that is led by a batch: batches that may not be split come whole.
func (m *model) fullest(leader, capacity int, rest []int) int {
	can := make([]bool, capacity+1)
	for _, b := range rest {
		bb := &m.in.batches[b]
		if bb.family != m.in.batches[leader].family || bb.left == 0 {
			continue
		}
		if b == leader {
			can[0] = true
		}
		for n := capacity; n >= 0; n-- {
			most := can[n] && b != leader
			for y := 1; y <= bb.left && y <= n && !most; y++ {
				most = can[n-y] && (bb.split || y == bb.left)
			}
			can[n] = most
		}
	}
	for n := capacity; n > 0; n-- {
		if can[n] {
			return n
		}
	}
	return 0
}

// addShare adds the jars of batch b in a load of canner c.
func (m *model) addShare(c, b int, p *load) nogood.Var {
	in, s := m.in, m.s
	bb := &in.batches[b]
	if in.times(c, b) == 0 || s.Max(m.needed[b]) == 0 {
		return none
	}
	if bb.split {
		p.x[b], p.unit[b] = s.NewVar(0, min(bb.left, in.canners[c].capacity[bb.family])), 1
	} else {
		p.x[b], p.unit[b] = s.NewVar(0, 1), bb.left
	}
	inside := nogood.AtLeast(p.x[b], 1)
	s.Clause(inside.Not(), nogood.AtLeast(p.used, 1))
	s.Clause(inside.Not(), nogood.AtLeast(m.needed[b], 1))
	s.Linear([]nogood.Term{{Coef: 1, Var: m.f[b]}, {Coef: -1, Var: p.start}}, 0, inside)
	s.Linear([]nogood.Term{{Coef: 1, Var: p.start}, {Coef: -1, Var: m.f[b]}}, bb.hold, inside)
	return p.x[b]
}

// addWindows keeps a load inside one window of its canner.
func (m *model) addWindows(c int, p load) {
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
		s.Clause(inside.Not(), nogood.AtMost(p.end, min(w.End, m.deadline)))
	}
	if len(m.in.canners[c].windows) != 1 {
		s.Clause(some...)
	}
}

// addOrder says that of two loads of a canner one is out, and the canner reset, before the other begins, and that those
// that cannot begin before some minute fit together into the time there is from it on (the bound of a single machine
// with heads, J. Carlier, "The one-machine sequencing problem", EJOR 11, 1982).
func (m *model) addOrder(c, to int) {
	s, list, reset := m.s, m.loads[c], m.in.canners[c].reset
	if len(list) == 0 {
		return
	}
	var total []nogood.Term
	for j := range list {
		total = append(total, nogood.Term{Coef: 1, Var: list[j].length}, nogood.Term{Coef: reset, Var: list[j].used})
		for i := range j {
			if list[i].leader == list[j].leader {
				continue // they are in order
			}
			first := s.NewVar(0, 1)
			both := []nogood.Lit{nogood.AtLeast(list[i].used, 1), nogood.AtLeast(list[j].used, 1)}
			s.Linear([]nogood.Term{{Coef: 1, Var: list[i].end}, {Coef: -1, Var: list[j].start}}, -reset, append(slices.Clone(both), nogood.AtLeast(first, 1))...)
			s.Linear([]nogood.Term{{Coef: 1, Var: list[j].end}, {Coef: -1, Var: list[i].start}}, -reset, append(slices.Clone(both), nogood.AtMost(first, 0))...)
			m.firsts = append(m.firsts, before{first, both})
		}
		// The loads so far begin no sooner than this one can: leaders are in that order.
		if first := s.Min(list[j].start); j+1 == len(list) || s.Min(list[j+1].start) < first {
			s.Linear(slices.Clone(total), to-first+reset)
		}
	}
}

// addWhere adds, for each batch, whether any of it goes into canner c.
func (m *model) addWhere(c int) {
	where := make([]nogood.Var, len(m.in.batches))
	for b := range where {
		where[b] = none
		some := []nogood.Lit{}
		for _, p := range m.loads[c] {
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

// orderAlike says that of canners that are alike the one with the first batch of all comes first.
func (m *model) orderAlike(c int) {
	for d := c - 1; d >= 0; d-- {
		if m.in.canners[d].like != m.in.canners[c].like {
			continue
		}
		var sooner []nogood.Lit
		for b, x := range m.where[c] {
			if x == none {
				continue
			}
			sooner = append(sooner, nogood.AtLeast(m.where[d][b], 1))
			m.s.Clause(append(slices.Clone(sooner), nogood.AtMost(x, 0))...)
		}
		return
	}
}
