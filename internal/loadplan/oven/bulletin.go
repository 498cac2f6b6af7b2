package oven

import "sync"

// bulletin is where the worker that proves bounds leaves what helps the others to find
// plans. What is left in one round can be read from the next round on, so that what a
// worker sees does not depend on which of them is faster.
type bulletin struct {
	mu        sync.Mutex
	schedules []posted[[][][]int32]
	prices    posted[[]float64]
}

type posted[T any] struct {
	what  T
	round int
}

// bulletinSchedules is how many schedules are kept, the latest ones.
const bulletinSchedules = 24

func (b *bulletin) postSchedule(round int, schedule [][][]int32) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.schedules = append(b.schedules, posted[[][][]int32]{schedule, round})
}

func (b *bulletin) postPrices(round int, prices []float64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.prices = posted[[]float64]{prices, round}
}

// schedule draws one of the latest schedules posted before a round, or nil.
func (b *bulletin) schedule(round int, r *rng) [][][]int32 {
	b.mu.Lock()
	defer b.mu.Unlock()
	n := 0
	for n < len(b.schedules) && b.schedules[n].round < round {
		n++
	}
	if n == 0 {
		return nil
	}
	return b.schedules[n-1-r.below(min(n, bulletinSchedules))].what
}

// latest gives the prices posted before a round, or nil.
func (b *bulletin) latest(round int) []float64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.prices.what == nil || b.prices.round >= round {
		return nil
	}
	return b.prices.what
}
