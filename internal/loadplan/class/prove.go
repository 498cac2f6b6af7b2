package class

import "stillroom/internal/loadplan/nogood"

// prover raises the bounds on jars and on the finish until they meet the best plan, or finds a better plan on the
// way. It works on one question at a time: is there a plan that leaves at most so many jars and is out by such a
// minute? Prices answer no at once where they can; otherwise the constraint model is asked, with the prices in it,
// and where it takes long the question is divided into cases, which are treated in the same way.
//
// First come the jars, then, with as few jars, the finish, then loads and waiting (see refine.go). Two provers work
// side by side. The eager one asks for what would just beat the best plan: a no is the proof. The patient one asks
// whether the bound can be attained, or the finish half-way between bound and plan: a no raises the bound, and what
// the model has learnt on the way helps with the next question.
type prover struct {
	in      *Instance
	patient bool
	prices  *prices
	m       *model
	asked   question
	cases   []*caseOf // still open, the next one last
	known   *Plan
	large   bool // too large for a model
	rounds  int  // of prices for the jars so far
	boundAt int  // jars left over for which the finish has been bounded last, by prices alone
	worked  int64
	refiner *refiner
	beyond  bool // too large even for prices

	patience, wholePatience int64 // see the constants

	divided, refused, solved int // cases, for measurements
}

// question asks for a plan with at most these.
type question struct{ unprocessed, finish int }

func newProver(in *Instance, patient bool) *prover {
	if len(in.batches)*(in.close/blockMinutes+1) > mostPrices {
		return &prover{in: in, beyond: true}
	}
	return &prover{in: in, patient: patient, prices: newPrices(in), boundAt: -1, patience: patience, wholePatience: wholePatience}
}

const (
	// effortPerUnit converts units of work, one timetable each, to the solver's measure of effort.
	effortPerUnit = 40
	// priceRounds is how often prices are moved for a new question, and caseRounds for a case of one.
	priceRounds = 120
	caseRounds  = 25
	// mostPrices is how many prices of jars are still kept; a class of 100 batches and 10 hours has 6000.
	mostPrices = 300_000
	// finishAfter is the work after which the finish is first bounded by prices alone, and again for fewer jars.
	finishAfter = 15_000
	// patience is the effort that the constraint model spends on a case before it is divided, and wholePatience on
	// an undivided question. Most questions need less than a tenth of that, and learn more from it than cases from theirs.
	patience      = 1_000_000
	wholePatience = 20_000_000
)

// Round implements anytime.Worker.
func (p *prover) Round(view *view, budget int64) bool {
	if p.beyond {
		return true
	}
	p.worked += budget
	for view.Spend(1) {
		plan, best, ok := view.Best()
		if !ok {
			return false
		}
		if p.rounds < priceRounds {
			p.boundJars(view, best, budget)
			continue
		}
		bound, _ := view.Bound()
		if p.in.proven(best, bound) >= 2 {
			if p.patient || p.in.keep != nil || p.large {
				return true
			}
			if p.refiner == nil {
				p.refiner = newRefiner(p.in, best, p.prices)
			}
			if p.refiner.round(view, budget) {
				return true
			}
			continue
		}
		if p.patient && best.Unprocessed != p.boundAt && p.worked > finishAfter {
			p.worked = 0
			p.boundFinish(view, best)
			continue
		}
		if p.large {
			if p.moreRounds(view, best) {
				return false
			}
			return best.Unprocessed == p.boundAt || !p.patient
		}
		if p.m == nil || p.stale(best, bound) {
			next := p.next(best, bound)
			if p.m == nil || next.finish != p.m.deadline || p.m.all && p.need(next.unprocessed) < p.loadable() {
				if !p.ask(view, next) {
					continue
				}
			} else { // the prices are those of some case
				p.prices = newPricesFrom(p.prices)
			}
			p.asked = next
			p.cases = []*caseOf{wholeCase(p.prices)}
		}
		if p.patient && plan != p.known { // the eager one seldom finds a plan near the best, and fails faster without
			p.known = plan
			p.m.suggest(plan)
		}
		if len(p.cases) == 0 {
			p.refuse(view, p.asked)
			continue
		}
		if !p.tryCase(view, budget) {
			return false
		}
	}
	return false
}

// stale reports whether the answer to the question at hand is known by now.
func (p *prover) stale(best, bound Value) bool {
	if best.Unprocessed > bound.Unprocessed {
		return p.asked.finish != p.in.close || p.asked.unprocessed < bound.Unprocessed || p.asked.unprocessed >= best.Unprocessed
	}
	return p.asked.unprocessed != best.Unprocessed || p.asked.finish < bound.Finish || p.asked.finish >= best.Finish
}

// next is the question to ask.
func (p *prover) next(best, bound Value) question {
	switch {
	case best.Unprocessed > bound.Unprocessed && p.patient:
		return question{bound.Unprocessed, p.in.close}
	case best.Unprocessed > bound.Unprocessed:
		return question{best.Unprocessed - 1, p.in.close}
	case p.patient:
		return question{best.Unprocessed, (max(bound.Finish, p.in.keptFinish()) + best.Finish - 1) / 2}
	default:
		return question{best.Unprocessed, best.Finish - 1}
	}
}

// tryCase works on the case at hand. It returns false when it is interrupted.
func (p *prover) tryCase(view *view, budget int64) bool {
	c := p.cases[len(p.cases)-1]
	if !c.priced {
		c.priced = true
		c.enter(p.prices)
		p.prices.coarse = false
		before := p.prices.effort
		most := p.prices.improve(p.asked.finish, p.need(p.asked.unprocessed), caseRounds, p.need(p.asked.unprocessed) == p.loadable())
		c.keep(p.prices)
		c.taken = append(c.taken, p.prices.taken...)
		view.Spend((p.prices.effort - before) / effortPerUnit)
		if most < p.need(p.asked.unprocessed) {
			p.refused++
			p.close(c)
			return true
		}
	}
	s := p.m.s
	before := s.Effort()
	limit := p.patience
	if len(c.lits) == 0 {
		limit = p.wholePatience
	}
	lits := append([]nogood.Lit{nogood.AtMost(p.m.u, p.asked.unprocessed)}, c.lits...)
	status := s.Solve(lits, min(max(1, (budget-view.Spent())*effortPerUnit), max(1, limit-c.spent)))
	c.spent += s.Effort() - before
	view.Spend(1 + (s.Effort()-before)/effortPerUnit)
	switch status {
	case nogood.Sat:
		found := p.m.plan()
		view.Offer(found, p.in.Evaluate(found))
	case nogood.Unsat:
		p.solved++
		p.close(c)
	default:
		if c.spent < limit {
			return false
		}
		parts := p.divide(c)
		if parts == nil {
			c.spent = -8 * limit // nothing to divide by: give it more time
			return false
		}
		p.divided++
		p.cases = append(p.cases[:len(p.cases)-1], parts...)
	}
	return true
}

// divide takes the most promising cut; nil if there is none.
func (p *prover) divide(c *caseOf) []*caseOf {
	cuts := c.cuts(p.in, p.m)
	if len(cuts) == 0 {
		return nil
	}
	return c.divide(p.in, p.m, cuts[0])
}

// close drops the case at hand, in which there is no plan that was asked for, and tells the model.
func (p *prover) close(c *caseOf) {
	p.cases = p.cases[:len(p.cases)-1]
	clause := []nogood.Lit{nogood.AtLeast(p.m.u, p.asked.unprocessed+1)}
	for _, l := range c.lits {
		clause = append(clause, l.Not())
	}
	p.m.s.Clause(clause...)
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

// loadable is how many jars could still be put into loads if time were plenty.
func (p *prover) loadable() int {
	n := 0
	for _, b := range p.in.batches {
		n += b.left
	}
	return n
}

// need is how many jars must still be put into loads for at most so many to be left.
func (p *prover) need(unprocessed int) int {
	n := p.in.totalJars - unprocessed
	for _, l := range p.in.done {
		n -= l.Jars()
	}
	return n
}

// boundJars bounds the jars by prices, as far as the round allows.
func (p *prover) boundJars(view *view, best Value, budget int64) {
	before := p.prices.effort
	p.prices.allowed = max(1, (budget-view.Spent())*effortPerUnit)
	most := p.prices.improve(p.in.close, p.need(best.Unprocessed-1), priceRounds-p.rounds, false)
	p.prices.allowed = 0
	p.rounds += max(1, p.prices.moves)
	if most < p.need(best.Unprocessed-1) {
		p.rounds = priceRounds // it is below the target
	}
	most = min(most, p.loadable())
	bound, _ := view.Bound()
	if u := p.need(0) - most; u > bound.Unprocessed {
		bound.Unprocessed = u
		view.RaiseBound(bound)
	}
	view.Spend((p.prices.effort - before) / effortPerUnit)
}

// boundFinish bounds the finish of all plans that leave no more jars than the best: the bound holds for the plan
// with the fewest jars as well, which cannot end sooner than one that may leave more.
func (p *prover) boundFinish(view *view, best Value) {
	p.boundAt = best.Unprocessed
	q := newPricesFrom(p.prices)
	need := p.need(best.Unprocessed)
	bound, _ := view.Bound()
	low := bound.Finish
	if need > 0 {
		low = max(low, p.in.now) // as in ask
	}
	for _, coarse := range []bool{true, false} { // coarse prices find most of it soon
		high := min(best.Finish, p.in.close)
		for low < high {
			mid := (low + high) / 2
			q.coarse = coarse
			if q.improve(mid, need, priceRounds/2, need == p.loadable()) < need {
				low = mid + 1
			} else {
				high = mid
			}
		}
	}
	view.Spend((q.effort - p.prices.effort) / effortPerUnit)
	p.prices.effort = q.effort
	bound.Finish = max(bound.Finish, low)
	view.RaiseBound(bound)
}

// moreRounds moves the prices of a large instance on, a few times, each time for one round of work or more. It reports
// whether that was done.
func (p *prover) moreRounds(view *view, best Value) bool {
	if p.patient || p.rounds >= priceRounds+20 {
		return false
	}
	p.rounds++
	before := p.prices.effort
	p.prices.coarse = false
	most := p.prices.improve(p.in.close, p.need(best.Unprocessed-1), caseRounds, false)
	view.Spend((p.prices.effort - before) / effortPerUnit)
	bound, _ := view.Bound()
	if u := p.need(0) - min(most, p.loadable()); u > bound.Unprocessed {
		bound.Unprocessed = u
		view.RaiseBound(bound)
	}
	return true
}

// ask prepares to ask the model, unless prices give the answer. It reports whether there is something left to ask.
func (p *prover) ask(view *view, q question) bool {
	before := p.prices.effort
	defer func() { view.Spend((p.prices.effort - before) / effortPerUnit) }()
	p.prices = newPricesFrom(p.prices)
	need := p.need(q.unprocessed)
	all := need == p.loadable()
	if q.finish < p.in.close {
		low := p.in.keptFinish()
		if need > 0 {
			low = max(low, p.in.now) // what is still to be loaded ends after now; what is done may have ended before
		}
		for _, l := range p.in.done {
			low = max(low, l.End)
		}
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
	p.m = newModel(p.in, q.finish, p.prices, all)
	p.known = nil
	p.large = p.m == nil
	return !p.large
}

// newPricesFrom begins with the prices of p for the undivided question.
func newPricesFrom(p *prices) *prices {
	q := newPrices(p.in)
	var s state
	s.keep(p)
	s.enter(q)
	q.all = p.all
	q.effort = p.effort
	q.coarsen()
	return q
}
