package class

import (
	"slices"

	"stillroom/internal/loadplan/nogood"
)

// addPrices adds what is known from prices (see there): what a canner gains is what its loads gain; around any load
// it is at most what can be gained before that load begins, the gain of the load, and what can be gained after it is
// out. Gains and the worth of the batches that are made bound the jars.
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
	for c := range m.loads {
		if len(m.loads[c]) > 0 {
			sum = append(sum, nogood.Term{Coef: -1, Var: m.addGain(pr, c, least)})
		}
	}
	s.Linear(sum, -constant)
}

// addGain adds the gain of canner c.
func (m *model) addGain(pr *prices, c, least int) nogood.Var {
	s := m.s
	// Later is dearer: what a burner has cost up to a minute, counted from the end of a load and from its start.
	upTo, toGo := make([]int, m.deadline+1), make([]int, m.deadline+1)
	dear := false
	for t := range upTo {
		upTo[t] = -pr.upTo[t]
		toGo[t] = pr.upTo[m.deadline-t]
		dear = dear || pr.upTo[t] > 0
	}
	offers := pr.offers(c, m.deadline)
	table := pr.potential(c, m.deadline, offers, nil)
	after := make([]int, m.deadline+1) // by the end of a load
	for t := range after {
		after[t] = table[min(t+m.in.canners[c].reset, m.deadline)]
	}
	ahead := pr.before(c, m.deadline, offers)
	slices.Reverse(ahead)
	total := s.NewVar(least, table[0])
	all := []nogood.Term{{Coef: 1, Var: total}}
	for i := range m.loads[c] {
		p := &m.loads[c][i]
		var own []nogood.Term
		for b, x := range p.x {
			if x != none {
				own = append(own, nogood.Term{Coef: -p.unit[b] * (whole - pr.jar[b][0]), Var: x})
			}
		}
		used := nogood.AtLeast(p.used, 1)
		toClose := s.NewVar(0, m.deadline) // = deadline - start
		s.Linear([]nogood.Term{{Coef: 1, Var: toClose}, {Coef: 1, Var: p.start}}, m.deadline)
		s.Linear([]nogood.Term{{Coef: -1, Var: toClose}, {Coef: -1, Var: p.start}}, -m.deadline)
		if dear {
			// cost <= - upTo(end) + upTo(start), 0 if there is no load
			end, start, cost := s.NewVar(upTo[m.deadline], 0), s.NewVar(0, pr.upTo[m.deadline]), s.NewVar(upTo[m.deadline], 0)
			s.Step(p.end, end, upTo)
			s.Step(toClose, start, toGo)
			s.Linear([]nogood.Term{{Coef: 1, Var: cost}, {Coef: -1, Var: end}, {Coef: -1, Var: start}}, 0, used)
			own = append(own, nogood.Term{Coef: -1, Var: cost})
		}
		all = append(all, own...)
		sooner, later := s.NewVar(0, ahead[0]), s.NewVar(0, table[0])
		s.Step(toClose, sooner, ahead)
		s.Step(p.end, later, after)
		around := append(slices.Clone(own), nogood.Term{Coef: 1, Var: total}, nogood.Term{Coef: -1, Var: sooner}, nogood.Term{Coef: -1, Var: later})
		s.Linear(around, 0, used)
	}
	s.Linear(all, 0)
	return total
}
