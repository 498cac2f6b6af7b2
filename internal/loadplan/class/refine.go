package class

import "stillroom/internal/loadplan/nogood"

// refiner proves the last two entries of the objective once jars and finish are proven: it asks the constraint model
// for a plan with fewer loads, and when there is none, for one with less waiting.
type refiner struct {
	in    *Instance
	m     *model
	known *Plan
	hold  nogood.Var // what all jars wait together; none while loads are not proven
}

func newRefiner(in *Instance, best Value, pr *prices) *refiner {
	r := &refiner{in: in, m: newModel(in, best.Finish, newPricesFrom(pr), false), hold: none}
	if r.m != nil {
		r.m.s.Clause(nogood.AtMost(r.m.u, best.Unprocessed))
	}
	return r
}

// round works until the round is over. It returns true when there is nothing left to do.
func (r *refiner) round(view *view, budget int64) bool {
	if r.m == nil {
		return true
	}
	s := r.m.s
	for view.Spend(1) {
		plan, best, _ := view.Best()
		bound, _ := view.Bound()
		if plan != r.known {
			r.known = plan
			r.m.suggest(plan)
		}
		done := len(r.in.done)
		var better nogood.Lit
		if best.Loads > bound.Loads {
			better = nogood.AtMost(r.m.l, best.Loads-1-done)
		} else {
			if r.hold == none {
				s.Clause(nogood.AtMost(r.m.l, best.Loads-done))
				r.hold = r.m.addHold()
			}
			better = nogood.AtMost(r.hold, best.Hold-1-r.in.holdDone())
		}
		before := s.Effort()
		status := s.Solve([]nogood.Lit{better}, max(1, (budget-view.Spent())*effortPerUnit))
		view.Spend(1 + (s.Effort()-before)/effortPerUnit)
		switch {
		case status == nogood.Sat:
			found := r.m.plan()
			view.Offer(found, r.in.Evaluate(found))
		case status == nogood.Unknown:
			return false
		case best.Loads > bound.Loads:
			bound.Loads = best.Loads
			view.RaiseBound(bound)
		default:
			bound.Hold = best.Hold
			view.RaiseBound(bound)
			return true
		}
	}
	return false
}

// holdDone is the waiting of the loads that are done.
func (in *Instance) holdDone() int {
	sum := 0
	for _, l := range in.done {
		for _, x := range l.Shares {
			sum += x.Jars * (l.Start - in.batches[x.Batch].filled)
		}
	}
	return sum
}

// addHold adds the waiting to the model: for each share, n jars or more wait at least n*(S - F).
func (m *model) addHold() nogood.Var {
	in, s := m.in, m.s
	most := 0
	var terms []nogood.Term
	for c := range m.loads {
		for _, p := range m.loads[c] {
			for b, x := range p.x {
				if x == none {
					continue
				}
				jars := s.Max(x) * p.unit[b]
				wait := s.NewVar(0, jars*in.batches[b].hold)
				most += jars * in.batches[b].hold
				terms = append(terms, nogood.Term{Coef: 1, Var: wait})
				for n := 1; n <= s.Max(x); n++ {
					each := n * p.unit[b]
					s.Linear([]nogood.Term{{Coef: each, Var: p.start}, {Coef: -each, Var: m.f[b]}, {Coef: -1, Var: wait}}, 0, nogood.AtLeast(x, n))
				}
			}
		}
	}
	hold := s.NewVar(0, most)
	s.Linear(append(terms, nogood.Term{Coef: -1, Var: hold}), 0)
	return hold
}
