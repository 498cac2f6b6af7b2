// Package anytime is the frame every search of the load planner runs in. It keeps the best solution found (the
// incumbent) and the best proven bound in one place, times each improvement, passes it on, and says when to stop:
// the two have met, the context is done, or a limit in time or work is reached.
//
// A [Search] knows no problem. Solutions are of any type S, values of any type V with an order in which less is
// better; a bound is a value that no solution can be less than. A lexicographic objective is an array compared
// entry by entry, and its bound is an array too.
//
// "Optimal" is never claimed by a caller. It is what [Result.Optimal] computes from incumbent and bound.
//
// # Determinism
//
// Work is counted in units the search chooses (evaluations, nodes, moves). Under a work limit alone the same seed
// gives the same answer, whatever the machine and however many cores it has. Several searches that share one
// incumbent keep that promise by working in [Search.Rounds]: in a round each worker sees only what was known when
// the round began, and what they found is merged in the order of the workers. A time limit gives no such promise.
package anytime

import (
	"context"
	"sync"
	"sync/atomic"
	"time"
)

// Limits say when a search ends without a proof. Zero means no limit of that kind.
type Limits struct {
	// Time is counted from New.
	Time time.Duration
	// Work is counted in the units passed to Spend, or budgeted by Rounds.
	Work int64
}

// Progress is one improvement of the incumbent or of the bound.
type Progress[S, V any] struct {
	// Elapsed since New, and the work spent so far.
	Elapsed time.Duration
	Work    int64
	// Solution and Value are the incumbent; Found is false while there is none.
	Solution S
	Value    V
	Found    bool
	// Bound is the best proven bound; Bounded is false while there is none.
	Bound   V
	Bounded bool
}

// optimal reports whether incumbent and bound have met.
func (p Progress[S, V]) optimal(compare func(a, b V) int) bool {
	return p.Found && p.Bounded && compare(p.Bound, p.Value) >= 0
}

// Why tells what ended a search.
type Why string

// The reasons for which a search ends.
const (
	Running   Why = ""          // not ended yet
	Met       Why = "optimal"   // incumbent and bound have met
	Cancelled Why = "cancelled" // the context was cancelled or its deadline passed
	TimeLimit Why = "time"      // Limits.Time passed
	WorkLimit Why = "work"      // Limits.Work spent
	Exhausted Why = "exhausted" // the caller had nothing left to try
)

// Result is what a search knows when asked: the last progress, and why it ended.
type Result[S, V any] struct {
	Progress[S, V]
	// Optimal is computed: the incumbent is no worse than what is proven to be the least possible.
	Optimal bool
	Why     Why
	// At is when the incumbent was found, as elapsed time.
	At time.Duration
}

// Option changes how a Search is made.
type Option func(*options)

type options struct{ now func() time.Time }

// WithClock makes the search read the time from now instead of the wall clock.
func WithClock(now func() time.Time) Option { return func(o *options) { o.now = now } }

// Search keeps incumbent and bound. It is safe for use by several goroutines.
type Search[S, V any] struct {
	compare func(a, b V) int
	notify  func(Progress[S, V])
	limits  Limits
	now     func() time.Time
	start   time.Time
	ctx     context.Context

	work    atomic.Int64
	stopped atomic.Bool

	mu    sync.Mutex
	state Progress[S, V]
	found time.Duration
	why   Why
}

// New starts the clock. compare is negative when a is better than b, zero when neither is. notify, which may be nil,
// is told every improvement of incumbent or bound, one call at a time and in order; it must not call back into the
// search, and the search waits for it.
func New[S, V any](ctx context.Context, compare func(a, b V) int, limits Limits, notify func(Progress[S, V]), opts ...Option) *Search[S, V] {
	o := options{now: time.Now}
	for _, opt := range opts {
		opt(&o)
	}
	return &Search[S, V]{compare: compare, notify: notify, limits: limits, now: o.now, start: o.now(), ctx: ctx}
}

// Offer proposes a solution. It becomes the incumbent, and Offer reports true, if it is better than the one there
// is. The search keeps the solution: the caller must not change it afterwards.
func (s *Search[S, V]) Offer(solution S, value V) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.state.Found && s.compare(value, s.state.Value) >= 0 {
		return false
	}
	s.state.Solution, s.state.Value, s.state.Found = solution, value, true
	s.changed()
	s.found = s.state.Elapsed
	return true
}

// RaiseBound states that no solution is better than bound. It reports whether that is news.
func (s *Search[S, V]) RaiseBound(bound V) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.state.Bounded && s.compare(bound, s.state.Bound) <= 0 {
		return false
	}
	s.state.Bound, s.state.Bounded = bound, true
	s.changed()
	return true
}

// changed stamps the state, ends the search if the two have met, and tells the listener. The lock is held.
func (s *Search[S, V]) changed() {
	s.state.Elapsed, s.state.Work = s.now().Sub(s.start), s.work.Load()
	if s.state.optimal(s.compare) {
		s.end(Met)
	}
	if s.notify != nil {
		s.notify(s.state)
	}
}

// end notes the first reason to stop; a proof counts even after another reason. The lock is held.
func (s *Search[S, V]) end(why Why) {
	if s.why == Running || why == Met {
		s.why = why
	}
	s.stopped.Store(true)
}

// Best is the incumbent and its value; false while there is none.
func (s *Search[S, V]) Best() (S, V, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.state.Solution, s.state.Value, s.state.Found
}

// Bound is the best proven bound; false while there is none.
func (s *Search[S, V]) Bound() (V, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.state.Bound, s.state.Bounded
}

// Spend counts n units of work and reports whether to go on. Call it often and with few units; it is cheap enough
// for once per evaluation if n batches a handful of them.
func (s *Search[S, V]) Spend(n int64) bool {
	if total := s.work.Add(n); s.limits.Work > 0 && total >= s.limits.Work {
		s.stop(WorkLimit)
	}
	return !s.Stopped()
}

// Stopped reports whether the search has ended, looking at the context and the clock.
func (s *Search[S, V]) Stopped() bool {
	switch {
	case s.stopped.Load():
		return true
	case s.ctx.Err() != nil:
		s.stop(Cancelled)
	case s.limits.Time > 0 && s.now().Sub(s.start) >= s.limits.Time:
		s.stop(TimeLimit)
	default:
		return false
	}
	return true
}

func (s *Search[S, V]) stop(why Why) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.end(why)
}

// Exhaust ends the search because there is nothing left to try.
func (s *Search[S, V]) Exhaust() { s.stop(Exhausted) }

// Elapsed is the time since New.
func (s *Search[S, V]) Elapsed() time.Duration { return s.now().Sub(s.start) }

// Result is what is known now. It may be called at any time.
func (s *Search[S, V]) Result() Result[S, V] {
	s.mu.Lock()
	defer s.mu.Unlock()
	r := Result[S, V]{Progress: s.state, Optimal: s.state.optimal(s.compare), Why: s.why, At: s.found}
	r.Elapsed, r.Work = s.now().Sub(s.start), s.work.Load()
	return r
}
