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
	// Enough is after how many proven entries of the objective the search may stop: 2 is jars and finish. Zero is all
	// four.
	Enough int
	// Progress, if not nil, is told every improvement of plan or bound. The search waits for it.
	Progress func(Progress)
	// Now is the clock; nil for that of the machine.
	Now func() time.Time
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
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	enough := false
	notify := func(p anytime.Progress[*Plan, Value]) {
		if !p.Found || !p.Bounded {
			return
		}
		if o.Progress != nil {
			o.Progress(Progress{Elapsed: p.Elapsed, Work: p.Work, Answer: answer(p)})
		}
		if o.Enough > 0 && in.proven(p.Value, p.Bound) >= o.Enough {
			enough = true
			stop()
		}
	}
	var clock []anytime.Option
	if o.Now != nil {
		clock = append(clock, anytime.WithClock(o.Now))
	}
	search := anytime.New(ctx, in.Compare, anytime.Limits{Time: o.Time, Work: o.Work}, notify, clock...)
	search.RaiseBound(Value{Finish: in.doneEnd()})
	empty := newSchedule(in)
	plan := empty.plan()
	search.Offer(plan, in.Evaluate(plan))

	search.Rounds(roundUnits, in.workers(o.Seed)...)

	r := search.Result()
	if enough && r.Why == anytime.Cancelled {
		r.Why = Enough
	}
	return Result{Answer: answer(r.Progress), Why: r.Why, Elapsed: r.Elapsed, Work: r.Work, Plan: r.Solution}
}

// Numbers of batches from which loads are also taken out and put back, and from which whole lists are not rearranged
// any more: changing a few loads then finds more than making all of them anew.
const (
	repairFrom = 28
	repairOnly = 40
)

// workers are the searches for an instance. The provers come last: they work with what the others have found.
func (in *Instance) workers(seed uint64) []anytime.Worker[*Plan, Value] {
	var out []anytime.Worker[*Plan, Value]
	if in.keep != nil || len(in.batches) < repairOnly {
		out = append(out, newLocalSearch(in, seed))
	}
	if in.keep == nil && len(in.batches) >= repairFrom { // how far a plan moves is no concern of repair
		out = append(out, newRepair(in, seed))
		if len(in.batches) >= repairOnly {
			out = append(out, newRepair(in, seed+1))
		}
	}
	return append(out, newProver(in, false), newProver(in, true))
}

// doneEnd is when the last of the loads that are done is out.
func (in *Instance) doneEnd() int {
	end := 0
	for _, l := range in.done {
		end = max(end, l.End)
	}
	return end
}

// Enough is why a search ended that had proven as much as was asked for.
const Enough anytime.Why = "enough"

// proven counts the leading entries of the objective that have met their bounds.
func (in *Instance) proven(v, bound Value) int {
	switch {
	case v.Unprocessed > bound.Unprocessed:
		return 0
	case v.Finish > bound.Finish && (in.keep == nil || v.Finish > in.keep.finish):
		return 1
	case v.Moved > 0:
		return 2 // no bound is known on how far a plan has to move
	case v.Loads > bound.Loads:
		return 2
	case v.Hold > bound.Hold:
		return 3
	}
	return 4
}
