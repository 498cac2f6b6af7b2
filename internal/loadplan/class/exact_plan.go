package class

import (
	"cmp"
	"slices"

	"stillroom/internal/loadplan/nogood"
)

// addDecisions says in which order to try things: which loads there are, and which of two in a canner comes first;
// then what goes into them; and at last when they begin and when batches are filled. What is learnt from a failure is
// then mostly about the loads, and holds for all their contents and minutes. Within a stage, and while nothing has
// been learnt, the soonest comes first.
func (m *model) addDecisions() {
	heads := m.in.earliestFillings()
	order := allBatches(m.in)
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(heads[a], heads[b]) })
	each := func(do func(p *load)) {
		for _, leader := range order {
			for c := range m.loads {
				for i := range m.loads[c] {
					if p := &m.loads[c][i]; p.leader == leader {
						do(p)
					}
				}
			}
		}
	}
	each(func(p *load) { m.s.Decide(p.used) })
	for _, o := range m.firsts {
		m.s.Decide(o.first, o.both...)
	}
	m.s.Then()
	each(func(p *load) {
		for _, b := range order {
			if p.x[b] != none {
				m.s.Decide(p.x[b])
			}
		}
	})
	m.s.Then()
	each(func(p *load) { m.s.Decide(p.start, nogood.AtLeast(p.used, 1)) })
	for _, b := range order {
		m.s.Decide(m.f[b], nogood.AtLeast(m.needed[b], 1))
	}
}

// suggest makes the solver try the decisions of a plan first.
func (m *model) suggest(p *Plan) {
	taken := make([][]bool, len(m.loads))
	for c := range m.loads {
		taken[c] = make([]bool, len(m.loads[c]))
		for _, q := range m.loads[c] {
			m.s.Suggest(q.used, 0)
			for _, x := range q.x {
				if x != none {
					m.s.Suggest(x, 0)
				}
			}
		}
	}
	for _, l := range p.Loads { // they are sorted by start
		if l.Done {
			continue
		}
		leader := slices.IndexFunc(m.order, func(b int) bool {
			return slices.ContainsFunc(l.Shares, func(x Share) bool { return x.Batch == b })
		})
		for i, q := range m.loads[l.Canner] {
			if q.leader != m.order[leader] || taken[l.Canner][i] {
				continue
			}
			taken[l.Canner][i] = true
			m.s.Suggest(q.used, 1)
			m.s.Suggest(q.start, l.Start)
			for _, x := range l.Shares {
				if q.x[x.Batch] != none {
					m.s.Suggest(q.x[x.Batch], x.Jars/q.unit[x.Batch])
				}
			}
			break
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
	for c := range m.loads {
		for _, p := range m.loads[c] {
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
