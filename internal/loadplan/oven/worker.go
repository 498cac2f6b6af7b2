package oven

// worker is one line of search. It goes through stages by how much of the search is
// over: campaigns over partial plans, each a fresh start, annealed, and improved window
// by window; then the best of them is made whole again and again by other chances; then
// the best whole plan is annealed. One worker first
// proves bounds, whose by-products are good starts for all.
type worker struct {
	in     *Instance
	r      *rng
	clock  *schedule
	board  *bulletin
	prover *prover // nil for a worker that does not prove, or is done with it

	round int
	tries int64

	whole *state
	top   snapshot // the best whole plan
	cost  int64

	part     *state // nil when no job can be on time
	frozen   int64  // price of the jobs that are in no partial plan
	partTop  snapshot
	partCost int64
	prices   []float64 // of late batches, once they are known
	windows  *windowSearch
	failures int // windows in a row without gain
	opened   bool

	anneal anneal // the last one, over whole plans
	begun  bool
}

// Stages as parts of the whole search, and the temperatures at which they begin and
// end: of annealing over partial plans in parts of the cost of a late job, over whole
// plans in parts of the cost of a tenth of the longest runtime, which is what the
// packing of late batches is about.
const (
	campaignsUntil = 0.60
	repacksUntil   = 0.88
	polishHot      = 0.6
	polishCold     = 0.035

	partHot, partCold     = 0.27, 0.03
	windowHot, windowCold = 0.27, 0.03
	windowTries           = 20_000
	patience              = 40 // windows without gain that end a campaign
)

// endless stands for the whole search, in tries of a worker, when no limit says how
// long it is; it then begins again and again.
const endless = 20_000_000

func newWorker(in *Instance, first *state, late []float64, clock *schedule, board *bulletin, seed uint64, number int) *worker {
	w := &worker{in: in, clock: clock, board: board, r: newRNG(seed<<16 + uint64(number)), cost: exactNone, partCost: exactNone}
	w.whole = newState(in)
	var s snapshot
	first.save(&s)
	w.whole.load(&s)
	if first.feasible() {
		w.keep()
	}
	w.part = newPartial(in, late)
	w.reprice(late)
	return w
}

// reprice sets the prices of pooled jobs.
func (w *worker) reprice(late []float64) {
	if w.part == nil {
		return
	}
	w.frozen = 0
	for j := range w.in.jobs {
		w.part.poolPrice[j] = poolPrice(w.in, late[j])
		if w.part.jobBatch[j] == frozenJob {
			w.frozen += w.part.poolPrice[j]
		}
	}
	w.part.retime()
}

// keep notes the whole state if it is feasible and the best.
func (w *worker) keep() {
	if cost := w.whole.cost(); w.whole.feasible() && cost < w.cost {
		w.cost = cost
		w.whole.save(&w.top)
	}
}

// past is the part of the search that is over.
func (w *worker) past() float64 {
	if w.clock.limits.Time <= 0 && w.clock.limits.Work <= 0 {
		return float64(w.tries%endless) / endless
	}
	return w.clock.spent(w.tries)
}

// Round works for one round, in steps that it can interrupt.
func (w *worker) Round(v *view, budget int64) bool {
	w.round++
	before := w.cost
	spend := func(units int64) bool {
		w.tries += units
		return v.Spend(units)
	}
	for going := true; going && !v.Met(); {
		going = w.step(v, spend)
	}
	if w.cost < before {
		st := newState(w.in)
		st.load(&w.top)
		v.Offer(st.plan(), w.cost)
	}
	return false
}

// step does the next piece of work and reports whether to go on in this round.
func (w *worker) step(v *view, spend func(int64) bool) bool {
	past := w.past()
	if w.prover != nil {
		if past < proverShare {
			used := int64(0)
			keepGoing := func(units int64) bool {
				used += units
				return w.clock.spent(w.tries+used) < proverShare && !w.clock.search.Stopped()
			}
			units, done := w.prover.step(v, w.round, int64((proverShare-past)*w.clock.tries()), keepGoing)
			if done {
				w.prover = nil
			}
			return spend(units)
		}
		w.prover = nil
	}
	if w.part != nil && past < campaignsUntil {
		return w.campaign(spend)
	}
	if w.opened {
		w.judge()
		w.opened = false
	}
	if past < repacksUntil {
		return w.repack(spend)
	}
	return w.polish(v, spend)
}

// campaign opens a campaign, or tries one more window of the current one.
func (w *worker) campaign(spend func(int64) bool) bool {
	if !w.opened {
		w.opened, w.failures = true, 0
		w.look()
		w.start()
		going := w.short(w.part, &partialChooser, partHot, partCold, int64(400*len(w.in.jobs)), spend)
		w.windows = &windowSearch{st: w.part, r: w.r}
		w.judge()
		return going
	}
	w.windows.tries = 0
	unit := float64(w.in.tardyWeight)
	if w.windows.step(windowTries, windowHot*unit, windowCold*unit) {
		w.failures = 0
	} else {
		w.failures++
	}
	if w.failures > max(patience, len(w.part.live)) {
		w.judge()
		w.opened = false
	}
	return spend(max(w.windows.tries, 100))
}

// look takes over better prices, once there are some.
func (w *worker) look() {
	if prices := w.board.latest(w.round); prices != nil && w.prices == nil {
		w.prices = prices
		w.reprice(prices)
		if w.part != nil && w.partCost < exactNone {
			now := snapshot{}
			w.part.save(&now)
			w.part.load(&w.partTop)
			w.partCost = w.part.cost() + w.frozen
			w.part.load(&now)
		}
	}
}

// start gives the partial state something to anneal: the schedule behind a bound, the
// best plan so far, or nothing.
func (w *worker) start() {
	if s := w.board.schedule(w.round, w.r); s != nil {
		w.part.follow(s, w.r)
		return
	}
	w.part.strip(w.whole)
}

// judge keeps the partial plan if it is the best, and makes a whole plan of it.
func (w *worker) judge() {
	if w.part.homeless > 0 {
		return
	}
	cost := w.part.cost() + w.frozen
	if cost < w.partCost {
		w.partCost = cost
		w.part.save(&w.partTop)
	}
	if cost <= w.partCost+w.in.tardyWeight/4 || w.cost == exactNone {
		var s snapshot
		w.part.save(&s)
		w.finish(&s, 600, func(units int64) bool {
			w.tries += units
			return true
		})
	}
}

// finish makes a whole plan of a partial one: it packs the pool, then anneals so coldly
// that the packing is improved and not lost, with so many tries for each job.
func (w *worker) finish(part *snapshot, triesPerJob int, spend func(int64) bool) bool {
	unit := packingUnit(w.in)
	w.whole.load(part)
	hot := 1.5
	if w.prices != nil && w.whole.packByPrice(w.prices, w.r, 0.005+0.04*w.r.unit()) {
		hot = 0.12 + 0.2*w.r.unit()
	} else {
		w.whole.complete()
	}
	going := w.shortTo(w.whole, &wholeChooser, hot*unit, 0.035*unit, int64(triesPerJob*len(w.in.jobs)), spend)
	w.keep()
	return going
}

// repack finishes the best partial plan once more, by other chances.
func (w *worker) repack(spend func(int64) bool) bool {
	w.look()
	part := &w.partTop
	if w.part == nil || w.partCost == exactNone {
		part = &snapshot{counts: make([]int32, len(w.in.machines))}
	}
	return w.finish(part, 2500, spend)
}

// short anneals for a number of tries, in parts of the cost of a late job, and leaves
// the state at the best it met.
func (w *worker) short(st *state, moves *chooser, hot, cold float64, tries int64, spend func(int64) bool) bool {
	unit := max(float64(w.in.tardyWeight), 1)
	return w.shortTo(st, moves, hot*unit, cold*unit, tries, spend)
}

func (w *worker) shortTo(st *state, moves *chooser, hot, cold float64, tries int64, spend func(int64) bool) bool {
	a := &anneal{st: st, moves: moves, r: w.r, hot: hot, cold: cold, bestCost: exactNone}
	if st.homeless == 0 {
		a.bestCost = st.cost()
		st.save(&a.best)
	}
	going := true
	a.run(func(n int64) float64 {
		if n > 0 && going {
			going = spend(annealStride)
		}
		if w.past() >= 1 || w.clock.search.Stopped() {
			return 1
		}
		return float64(n) / float64(tries)
	})
	if a.bestCost < exactNone {
		st.load(&a.best)
	}
	return going
}

// packingUnit is the cost of a tenth of the longest runtime.
func packingUnit(in *Instance) float64 {
	longest := int32(0)
	for j := range in.jobs {
		longest = max(longest, in.jobs[j].minTime)
	}
	return max(float64(in.runtimeWeight)*float64(longest)/10, 1e-3)
}

// polish anneals the best whole plan for the rest of the search.
func (w *worker) polish(v *view, spend func(int64) bool) bool {
	a := &w.anneal
	if !w.begun {
		w.begun = true
		// Another worker's plan is taken over only if it is better by a late job.
		if p, value, found := v.Best(); found && value+w.in.tardyWeight/2 < w.cost {
			w.whole.loadPlan(p)
			w.keep()
		}
		if w.cost < exactNone {
			w.whole.load(&w.top)
		}
		unit := packingUnit(w.in)
		*a = anneal{st: w.whole, moves: &wholeChooser, r: w.r, hot: polishHot * unit, cold: polishCold * unit, bestCost: w.cost}
		if !w.whole.feasible() {
			a.hot = max(a.hot, float64(w.in.tardyWeight)/2)
		}
	}
	going := true
	a.foundBest = false
	tries := a.tries
	a.run(func(n int64) float64 {
		if n > tries {
			tries = n
			going = spend(annealStride)
		}
		past := w.past()
		if !going || past >= 1 || past < repacksUntil {
			return 1
		}
		return (past - repacksUntil) / (1 - repacksUntil)
	})
	if a.foundBest && a.bestCost < w.cost {
		w.cost = a.bestCost
		a.best.copyTo(&w.top)
	}
	if past := w.past(); past < repacksUntil {
		w.begun = false // a search without limits begins again
	} else if past >= 1 {
		return spend(annealStride)
	}
	return going
}
