package class

import "stillroom/internal/loadplan/nogood"

// prover raises the bounds on jars and on the finish until they meet the best plan, or finds a better plan on the
// way. It works on one question at a time: is there a plan that leaves at most so many jars and is out by such a
// minute? Prices answer no at once where they can; otherwise the constraint model is asked, with the prices in it.
//
// First the jars: is there a plan with fewer than the best has? When there is none, the finish: with as few jars, is
// there one that is out before the best?
type prover struct {
	in     *Instance
	prices *prices
	m      *model
	asked  question
	known  *Plan
	begun  bool
	large  bool // too large for a model
}

// question asks for a plan with at most these.
type question struct{ unprocessed, finish int }

func newProver(in *Instance) *prover { return &prover{in: in, prices: newPrices(in)} }

// effortPerUnit converts units of work, one timetable each, to the solver's measure of effort.
const effortPerUnit = 40

// priceRounds is how often prices are moved for one question.
const priceRounds = 120

// Round implements anytime.Worker.
func (p *prover) Round(view *view, budget int64) bool {
	for view.Spend(0) {
		plan, best, ok := view.Best()
		if !ok {
			return false
		}
		bound, _ := view.Bound()
		if !p.begun {
			p.begun = true
			p.openJars(view, best)
			continue
		}
		if best.Unprocessed <= bound.Unprocessed && best.Finish <= bound.Finish || p.large {
			return true
		}
		next := question{best.Unprocessed - 1, p.in.close}
		if best.Unprocessed <= bound.Unprocessed {
			next = question{best.Unprocessed, best.Finish - 1}
		}
		if p.m == nil || next.finish != p.asked.finish {
			if !p.ask(view, next) {
				continue
			}
			p.asked = next
		}
		if plan != p.known {
			p.known = plan
			p.m.suggest(plan)
		}
		s := p.m.s
		before := s.Effort()
		status := s.Solve([]nogood.Lit{nogood.AtMost(p.m.u, next.unprocessed)}, max(1, (budget-view.Spent())*effortPerUnit))
		view.Spend((s.Effort() - before) / effortPerUnit)
		switch status {
		case nogood.Sat:
			found := p.m.plan()
			view.Offer(found, p.in.Evaluate(found))
		case nogood.Unsat:
			p.refuse(view, next)
		default:
			return false
		}
	}
	return false
}

// refuse states the bound that follows from a question whose answer is no.
func (p *prover) refuse(view *view, q question) {
	bound, _ := view.Bound()
	if q.finish >= p.in.close {
		bound.Unprocessed = q.unprocessed + 1
	} else {
		bound.Finish = q.finish + 1
	}
	view.RaiseBound(bound)
}

func (p *prover) loadable() int {
	n := 0
	for _, b := range p.in.batches {
		n += b.left
	}
	return n
}

// openJars bounds the jars by prices, and the finish of plans that leave as few as the best.
func (p *prover) openJars(view *view, best Value) {
	hopeless := p.in.totalJars - p.loadable()
	for _, l := range p.in.done {
		hopeless -= l.Jars()
	}
	before := p.prices.effort
	need := p.in.totalJars - best.Unprocessed // jars in loads
	for _, l := range p.in.done {
		need -= l.Jars()
	}
	most := p.prices.improve(p.in.close, need+1, priceRounds, false)
	view.RaiseBound(Value{Unprocessed: max(0, hopeless+p.loadable()-most)})
	view.Spend((p.prices.effort - before) / effortPerUnit)
}

// ask prepares to ask the model, unless prices give the answer. It reports whether there is something left to ask.
func (p *prover) ask(view *view, q question) bool {
	before := p.prices.effort
	defer func() { view.Spend((p.prices.effort - before) / effortPerUnit) }()
	need := p.in.totalJars - q.unprocessed
	for _, l := range p.in.done {
		need -= l.Jars()
	}
	all := need == p.loadable()
	if q.finish < p.in.close {
		low := p.in.now
		high := q.finish + 1
		if bound, _ := view.Bound(); bound.Finish > low {
			low = bound.Finish
		}
		for low < high { // the least deadline that prices cannot refuse
			mid := (low + high) / 2
			if p.prices.improve(mid, need, priceRounds/2, all) < need {
				low = mid + 1
			} else {
				high = mid
			}
		}
		p.refuse(view, question{q.unprocessed, low - 1})
		if low > q.finish {
			return false
		}
	}
	p.prices.improve(q.finish, need, priceRounds, all)
	p.m = newModel(p.in, q.finish, p.prices)
	p.known = nil
	if p.m == nil {
		p.large = true
	}
	return p.m != nil
}
