package class

import (
	"context"
	"time"

	"stillroom/internal/loadplan/anytime"
)

// Options says how long to search and with what luck. The zero value searches until optimality is proven.
type Options struct {
	// Time and Work limit the search; zero is no limit. A unit of work is one timetable made, or about as much effort
	// spent on proofs. With Work alone the answer is the same on every machine.
	Time time.Duration
	Work int64
	Seed uint64
	// Progress, if not nil, is told every improvement of plan or bound. The search waits for it.
	Progress func(Progress)
}

// Progress is one improvement.
type Progress struct {
	Elapsed time.Duration
	Work    int64
	// Answer is the best plan so far and what is proven; it has no loads and everything unprocessed before the
	// first plan is found.
	Answer Answer
}

// Result is the outcome of a search.
type Result struct {
	Answer
	Why     anytime.Why
	Elapsed time.Duration
	Work    int64
	Plan    *Plan // by the indices of the instance
}

// roundUnits is the work of each worker between exchanges, a few milliseconds.
const roundUnits = 1000

// Solve searches for the best plan until it is proven, the context is done, or a limit is reached, and returns the
// best plan found. There always is one: the plan without loads.
func Solve(ctx context.Context, in *Instance, o Options) Result {
	answer := func(p anytime.Progress[*Plan, Value]) Answer {
		return in.Answer(p.Solution, Bound{p.Bound.Unprocessed, p.Bound.Finish}, in.proven(p.Value, p.Bound), o.Seed, p.Elapsed)
	}
	var notify func(anytime.Progress[*Plan, Value])
	if o.Progress != nil {
		notify = func(p anytime.Progress[*Plan, Value]) {
			if p.Found && p.Bounded {
				o.Progress(Progress{Elapsed: p.Elapsed, Work: p.Work, Answer: answer(p)})
			}
		}
	}
	search := anytime.New(ctx, in.Compare, anytime.Limits{Time: o.Time, Work: o.Work}, notify)
	search.RaiseBound(Value{})
	empty := newSchedule(in)
	plan := empty.plan()
	search.Offer(plan, in.Evaluate(plan))

	search.Rounds(roundUnits, newLocalSearch(in, o.Seed), newProver(in))

	r := search.Result()
	return Result{Answer: answer(r.Progress), Why: r.Why, Elapsed: r.Elapsed, Work: r.Work, Plan: r.Solution}
}

// proven counts the leading entries of the objective that have met their bounds.
func (in *Instance) proven(v, bound Value) int {
	switch {
	case v.Unprocessed > bound.Unprocessed:
		return 0
	case v.Finish > bound.Finish:
		return 1
	case v.Loads > bound.Loads:
		return 2
	case v.Hold > bound.Hold:
		return 3
	}
	return 4
}
