package oven

// annealer is a worker that anneals in cycles: each takes a share of the whole search,
// starts from the best state known to it, and cools from its own starting temperature.
type annealer struct {
	anneal
	clock *schedule
	cycle int
	from  float64 // fraction of the search at which the cycle began
	ready bool
}

// cycles are the shares of the search at which annealing cycles end, and how hot each
// begins, in parts of the cost of a late job.
var cycles = []struct{ until, hot float64 }{
	{0.10, 0.3},
	{0.55, 0.3},
	{1, 0.1},
}

// cyclesTries stands for the whole search when no limit says how long it is.
const cyclesTries = 20_000_000

func newAnnealer(in *Instance, first *state, clock *schedule, seed uint64, number int) *annealer {
	w := &annealer{clock: clock}
	w.r = newRNG(seed*1_000_003 + uint64(number))
	w.st = newState(in)
	var s snapshot
	first.save(&s)
	w.st.load(&s)
	w.bestCost = int64(1) << 62
	if first.feasible() {
		first.save(&w.best)
		w.bestCost = first.cost()
	}
	return w
}

// part is how much of the search is over: past the end it stays there.
func (w *annealer) part() float64 {
	if w.clock.limits.Time <= 0 && w.clock.limits.Work <= 0 {
		whole := float64(w.tries) / cyclesTries
		return whole - float64(int(whole))
	}
	return w.clock.spent(w.tries)
}

func (w *annealer) begin(cycle int) {
	in := w.st.in
	w.cycle = cycle
	w.from = 0
	if cycle > 0 {
		w.from = cycles[cycle-1].until
	}
	w.hot = max(cycles[cycle].hot*float64(in.tardyWeight), float64(in.runtimeWeight))
	w.cold = max(0.3*float64(min(in.runtimeWeight, in.setupWeight)), 1e-3)
	w.hot = max(w.hot, 2*w.cold)
	if cycle > 0 && w.bestCost < int64(1)<<62 {
		w.st.load(&w.best)
	}
	w.ready = true
}

// Round anneals for one round.
func (w *annealer) Round(v *view, budget int64) bool {
	w.foundBest = false
	begun := w.tries
	w.run(func(tries int64) float64 {
		if tries > begun && !v.Spend(annealStride) {
			return 1
		}
		part := w.part()
		cycle := 0
		for cycle < len(cycles)-1 && part >= cycles[cycle].until {
			cycle++
		}
		if !w.ready || cycle != w.cycle {
			w.begin(cycle)
		}
		return min((part-w.from)/(cycles[cycle].until-w.from), 1-1e-9)
	})
	if w.foundBest {
		st := newState(w.st.in)
		st.load(&w.best)
		v.Offer(st.plan(), w.bestCost)
	}
	return false
}
