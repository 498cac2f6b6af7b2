package oven

import "math"

// anneal is simulated annealing over the neighbourhoods of moves.go (Kirkpatrick,
// Gelatt, Vecchi 1983; for this problem Da Ros et al. 2024): a change that costs
// delta is taken with probability exp(-delta/temperature). progress is asked every few
// hundred tries how far the run is, from 0 to 1, and the temperature falls
// geometrically with it; onBest is called with every state that is feasible and
// better than all before.
// Of a partial state it asks only that all its batches have an interval.
type anneal struct {
	st        *state
	moves     *chooser
	r         *rng
	hot, cold float64
	best      snapshot
	bestCost  int64
	tries     int64
	kindTries [moveKinds]int64
	kindTakes [moveKinds]int64
	kindGains [moveKinds]int64
	foundBest bool
}

// annealStride is how many tries pass between two looks at the clock.
const annealStride = 512

// run anneals until progress reaches 1 (or more).
func (a *anneal) run(progress func(tries int64) float64) {
	st := a.st
	for {
		p := progress(a.tries)
		if p >= 1 {
			return
		}
		t := a.hot * math.Pow(a.cold/a.hot, p)
		for k := 0; k < annealStride; k++ {
			kind, ok := st.propose(a.r, a.moves)
			a.kindTries[kind]++
			if !ok {
				continue
			}
			delta := st.change.evaluate()
			if delta > 0 && float64(delta) > -t*math.Log(a.r.unit()) {
				continue
			}
			st.change.apply()
			a.kindTakes[kind]++
			if delta < 0 && st.homeless == 0 {
				if cost := st.cost(); cost < a.bestCost {
					a.kindGains[kind]++
					a.bestCost = cost
					st.save(&a.best)
					a.foundBest = true
				}
			}
		}
		a.tries += annealStride
	}
}
