package oven

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"runtime"
	"time"

	"stillroom/internal/loadplan/anytime"
)

// Options say how long and with what a Solve works. The zero value is usable only
// with a context that ends.
type Options struct {
	// Time and Work end the search; zero is no limit. Work is counted in tries: moves
	// proposed, and what takes about as long. Under Work alone the answer is the same
	// for the same Seed and Workers, whatever the machine.
	Time time.Duration
	Work int64
	Seed uint64
	// Workers run side by side; zero takes one for each core the process may use.
	Workers int
	// Improved, if not nil, is told every better plan or bound, in order.
	Improved func(Progress)
}

// Progress is what is known at one moment of a search.
type Progress struct {
	Elapsed time.Duration
	Work    int64
	// Found tells whether there is a plan yet; Integer is then its objective.
	Found   bool
	Integer int64
	// Bound is proven: no plan is cheaper.
	Bound int64
}

// Answer is the outcome of a Solve.
type Answer struct {
	Name  string
	Plan  *Plan
	Score Score
	// Bound is proven: no plan has a lower integer objective.
	Bound   int64
	Optimal bool
	Elapsed time.Duration
	Work    int64
}

// ErrInfeasible says that it is proven that no plan exists.
var ErrInfeasible = errors.New("no plan exists: the jobs do not all fit into the availability intervals")

// ErrNoPlan says that none was found in the time given.
var ErrNoPlan = errors.New("no plan was found in the time given; allow more time, or lengthen the availability intervals")

// errInvalid would be an error of this package; no answer leaves it unchecked.
var errInvalid = errors.New("internal error: the plan found does not pass its check")

type search = anytime.Search[*Plan, int64]
type view = anytime.View[*Plan, int64]

// Solve plans an instance. It returns the best plan found when the time or the work is
// spent, the context ends, or the plan is proven optimal.
func Solve(ctx context.Context, in *Instance, o Options) (*Answer, error) {
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	var notify func(anytime.Progress[*Plan, int64])
	if o.Improved != nil {
		notify = func(p anytime.Progress[*Plan, int64]) {
			o.Improved(Progress{p.Elapsed, p.Work, p.Found, p.Value, p.Bound})
		}
	}
	s := anytime.New(ctx, cmp.Compare[int64], anytime.Limits{Time: o.Time, Work: o.Work}, notify)
	s.RaiseBound(levelBound(in))
	first := construct(in)
	if first.feasible() {
		s.Offer(first.plan(), first.cost())
	}
	steps := int64(exactSteps)
	if o.Work > 0 {
		steps = min(steps, 20*o.Work)
	}
	if plan, cost, done := exact(in, steps); done {
		if plan == nil {
			return nil, ErrInfeasible
		}
		s.Offer(plan, cost)
		s.RaiseBound(cost)
	}
	if !s.Stopped() {
		clock, board, late := &schedule{search: s, limits: o}, &bulletin{}, areaPrices(in)
		workers := make([]anytime.Worker[*Plan, int64], o.Workers)
		for k := range workers {
			w := newWorker(in, first, late, clock, board, o.Seed, k)
			if k == o.Workers-1 {
				w.prover = &prover{in: in, board: board}
			}
			workers[k] = w
		}
		s.Rounds(roundBudget, workers...)
	}
	return answer(in, s)
}

const (
	// exactSteps bounds the exact search to a second or so.
	exactSteps = 60_000_000
	// roundBudget is how many tries a worker makes between two looks at what the
	// others found.
	roundBudget = 100_000
)

func answer(in *Instance, s *search) (*Answer, error) {
	r := s.Result()
	if !r.Found {
		return nil, ErrNoPlan
	}
	if broken := Check(in, r.Solution); len(broken) > 0 {
		return nil, fmt.Errorf("%w: %s", errInvalid, broken[0])
	}
	sc := Evaluate(in, r.Solution)
	if sc.Integer != r.Value {
		return nil, fmt.Errorf("%w: it costs %d, not %d", errInvalid, sc.Integer, r.Value)
	}
	return &Answer{Name: in.name, Plan: r.Solution, Score: sc, Bound: r.Bound, Optimal: r.Optimal, Elapsed: r.Elapsed, Work: r.Work}, nil
}

// schedule tells how much of the whole search is over, by whichever limit is nearest.
type schedule struct {
	search *search
	limits Options
}

// spent is a fraction; tries are those of one worker. Without limits it is 0 for ever.
func (c *schedule) spent(tries int64) float64 {
	part := 0.0
	if c.limits.Work > 0 {
		part = float64(tries) * float64(c.limits.Workers) / float64(c.limits.Work)
	}
	if c.limits.Time > 0 {
		part = max(part, float64(c.search.Elapsed())/float64(c.limits.Time))
	}
	return part
}

// tries is about how many tries one worker makes in the whole search.
func (c *schedule) tries() float64 {
	const perSecond = 5_000_000
	n := float64(endless)
	if c.limits.Time > 0 {
		n = c.limits.Time.Seconds() * perSecond
	}
	if c.limits.Work > 0 {
		n = min(n, float64(c.limits.Work)/float64(c.limits.Workers))
	}
	return n
}
