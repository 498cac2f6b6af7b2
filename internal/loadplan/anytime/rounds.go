package anytime

import (
	"errors"
	"fmt"
	"runtime/debug"
	"sync"
)

// Worker is one line of attack on a problem: a local search, a tree search, a procedure for bounds. It keeps its own
// state (its random source among it) from round to round.
type Worker[S, V any] interface {
	// Round works on for about budget units, asking view how to go on and telling it what was found. It returns
	// true when the worker has nothing left to do, and is then not called again.
	Round(view *View[S, V], budget int64) (done bool)
}

// View is what one worker sees during one round: what was known at its start, and what it found itself since. It is
// used by one goroutine only.
type View[S, V any] struct {
	search  *Search[S, V]
	budget  int64
	spent   int64
	polled  int64
	stopped bool

	best    S
	value   V
	found   bool
	bound   V
	bounded bool

	offered, raised bool
}

// pollEvery is how many units a view spends between looks at the clock.
const pollEvery = 64

// Offer proposes a solution to the view, and to the search when the round ends.
func (v *View[S, V]) Offer(solution S, value V) bool {
	if v.found && v.search.compare(value, v.value) >= 0 {
		return false
	}
	v.best, v.value, v.found, v.offered = solution, value, true, true
	return true
}

// RaiseBound states a bound to the view, and to the search when the round ends.
func (v *View[S, V]) RaiseBound(bound V) bool {
	if v.bounded && v.search.compare(bound, v.bound) <= 0 {
		return false
	}
	v.bound, v.bounded, v.raised = bound, true, true
	return true
}

// Best is the incumbent as this view knows it.
func (v *View[S, V]) Best() (S, V, bool) { return v.best, v.value, v.found }

// Bound is the proven bound as this view knows it.
func (v *View[S, V]) Bound() (V, bool) { return v.bound, v.bounded }

// Spend counts n units of work and reports whether the worker may go on in this round.
func (v *View[S, V]) Spend(n int64) bool {
	v.spent += n
	if v.stopped || v.spent >= v.budget {
		return false
	}
	if v.spent-v.polled >= pollEvery {
		v.polled = v.spent
		v.stopped = v.search.Stopped()
	}
	return !v.stopped && !v.Met()
}

// Spent is the work of this round so far.
func (v *View[S, V]) Spent() int64 { return v.spent }

// Met reports whether incumbent and bound have met in this view.
func (v *View[S, V]) Met() bool {
	return v.found && v.bounded && v.search.compare(v.bound, v.value) >= 0
}

// Rounds lets the workers work side by side, round after round, until the search stops or no worker has anything
// left to do. In each round every worker has about budget units; those who finish early wait for the others. What a
// worker found becomes known to the others at the end of the round, merged in the order of the workers, so that the
// outcome depends on no clock and no scheduler. When all are done without a proof, the search is exhausted. A worker
// that panics makes Rounds panic, in the caller's goroutine, where it can be recovered from.
func (s *Search[S, V]) Rounds(budget int64, workers ...Worker[S, V]) {
	left := append([]Worker[S, V](nil), workers...)
	for len(left) > 0 && !s.Stopped() {
		views := make([]*View[S, V], len(left))
		done := make([]bool, len(left))
		share := budget
		if s.limits.Work > 0 {
			share = min(share, max(1, (s.limits.Work-s.work.Load())/int64(len(left))))
		}
		for i := range views {
			v := &View[S, V]{search: s, budget: share}
			v.best, v.value, v.found = s.Best()
			v.bound, v.bounded = s.Bound()
			views[i] = v
		}
		panicked := make([]error, len(left))
		round := func(i int) {
			defer func() {
				if p := recover(); p != nil {
					panicked[i] = fmt.Errorf("a worker panicked: %v\n%s", p, debug.Stack())
				}
			}()
			done[i] = left[i].Round(views[i], share)
		}
		var wg sync.WaitGroup
		for i := 1; i < len(left); i++ {
			wg.Go(func() { round(i) })
		}
		round(0)
		wg.Wait()
		if err := errors.Join(panicked...); err != nil {
			panic(err)
		}

		next := left[:0]
		for i, v := range views {
			s.Spend(v.spent)
			if v.offered {
				s.Offer(v.best, v.value)
			}
			if v.raised {
				s.RaiseBound(v.bound)
			}
			if !done[i] {
				next = append(next, left[i])
			}
		}
		left = next
	}
	if len(left) == 0 {
		s.Exhaust()
	}
}
