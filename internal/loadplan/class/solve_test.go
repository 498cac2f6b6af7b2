package class_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/loadplan/anytime"
	"stillroom/internal/loadplan/class"
	"stillroom/internal/loadplan/class/check"
	"stillroom/internal/loadplan/class/generate"
)

func build(t testing.TB, s class.Spec) *class.Instance {
	t.Helper()
	in, err := class.Build(s)
	require.NoError(t, err)
	return in
}

func TestSameSeedSamePlan(t *testing.T) {
	in := build(t, generate.Class(generate.Params{}, 7))
	run := func(seed uint64) class.Result {
		return class.Solve(context.Background(), in, class.Options{Work: 30_000, Seed: seed})
	}
	first := run(3)
	for range 3 {
		again := run(3)
		require.Equal(t, first.Filled, again.Filled)
		require.Equal(t, first.Loads, again.Loads)
		require.Equal(t, first.Bound, again.Bound)
		require.Equal(t, first.Work, again.Work)
	}
}

func TestProgress(t *testing.T) {
	in := build(t, generate.Class(generate.Params{Stations: 4}, 12))
	var heard []class.Progress
	r := class.Solve(context.Background(), in, class.Options{Work: 300_000, Enough: 2, Progress: func(p class.Progress) { heard = append(heard, p) }})
	require.True(t, r.Optimal)
	require.Contains(t, []anytime.Why{class.Enough, anytime.Met}, r.Why, "all four entries may be proven in the same round")
	require.Nil(t, r.Gap)
	require.Greater(t, len(heard), 2)
	for i := 1; i < len(heard); i++ {
		require.LessOrEqual(t, in.Compare(heard[i].Answer.Objective, heard[i-1].Answer.Objective), 0, "plans only get better")
		require.GreaterOrEqual(t, heard[i].Answer.Bound.Unprocessed, heard[i-1].Answer.Bound.Unprocessed, "bounds only rise")
		require.Empty(t, check.Answer(in.Spec(), heard[i].Answer), "every plan on the way is valid")
	}
	require.Equal(t, r.Loads, heard[len(heard)-1].Answer.Loads)
}

func TestCancelledItKeepsTheBest(t *testing.T) {
	in := build(t, generate.Class(generate.Params{Stations: 60, Canners: 20}, 1))
	ctx, cancel := context.WithCancel(context.Background())
	r := class.Solve(ctx, in, class.Options{Progress: func(p class.Progress) {
		if p.Answer.Objective.Loads > 0 {
			cancel()
		}
	}})
	require.Equal(t, anytime.Cancelled, r.Why)
	require.Positive(t, r.Objective.Loads)
	require.Empty(t, check.Answer(in.Spec(), r.Answer))
	require.NotNil(t, r.Gap)

	r = class.Solve(ctx, in, class.Options{})
	require.Empty(t, check.Answer(in.Spec(), r.Answer), "cancelled before it began: the plan without loads")
	require.Zero(t, r.Objective.Finish)

	r = class.Solve(context.Background(), in, class.Options{Time: time.Nanosecond})
	require.Equal(t, anytime.TimeLimit, r.Why)
}

// TestReplan takes the first loads of a plan as done, loses a canner, and plans the rest.
func TestReplan(t *testing.T) {
	t.Parallel()
	replanned := 0
	for seed := range uint64(40) {
		spec := generate.Class(generate.Params{Stations: 6}, seed)
		old := class.Solve(context.Background(), build(t, spec), class.Options{Work: 10_000})
		now := spec.Close / 2
		next := spec.With(func(s *class.Spec) {
			s.Done = &class.Done{Now: now, Filled: map[string]int{}}
			s.Keep = &class.Keep{Filled: old.Filled, Loads: old.Loads}
			for _, l := range old.Loads {
				if l.Start < now {
					l.End += 2 // minutes lost
					s.Done.Loads = append(s.Done.Loads, l)
				}
			}
			for _, b := range s.Batches {
				if old.Filled[b.ID]-b.Stage < now {
					s.Done.Filled[b.ID] = old.Filled[b.ID]
				}
			}
			s.Canners[1].Windows = []class.Window{} // it is gone
		})
		in := build(t, next)
		r := class.Solve(context.Background(), in, class.Options{Work: 20_000})
		require.Empty(t, check.Answer(next, r.Answer), "instance %d", seed)
		for _, l := range r.Loads {
			if l.Start >= now {
				require.NotEqual(t, spec.Canners[1].ID, l.Canner)
				replanned++
			}
		}
	}
	require.Positive(t, replanned)
}

// TestKeepsThePlan: when nothing has changed, the plan to keep is kept, though others are as good in jars and finish.
func TestKeepsThePlan(t *testing.T) {
	t.Parallel()
	for seed := range uint64(20) {
		spec := generate.Class(generate.Params{Stations: 6}, seed)
		old := class.Solve(context.Background(), build(t, spec), class.Options{Work: 60_000, Seed: 1})
		kept := spec.With(func(s *class.Spec) { s.Keep = &class.Keep{Filled: old.Filled, Loads: old.Loads} })
		r := class.Solve(context.Background(), build(t, kept), class.Options{Work: 60_000, Seed: 2})
		require.Empty(t, check.Answer(kept, r.Answer))
		require.LessOrEqual(t, r.Objective.Unprocessed, old.Objective.Unprocessed)
		if r.Objective.Unprocessed == old.Objective.Unprocessed && (r.Objective.Finish == old.Objective.Finish || old.Optimal) {
			require.LessOrEqual(t, r.Objective.Finish, old.Objective.Finish)
			require.LessOrEqual(t, r.Objective.Moved, 0, "instance %d", seed)
		}
	}
}

// TestExplainByHand: one canner; x is filled at 10 and its load ends at 30, the next can begin at 35 and the last at
// 60, so the finish of 80 is due to the canner, the canner, and at last to the minute at which the first is ready.
func TestExplainByHand(t *testing.T) {
	in := build(t, three(9))
	r := class.Solve(context.Background(), in, class.Options{Work: 200_000})
	require.Equal(t, 4, r.Proven)
	require.Equal(t, 80, r.Objective.Finish)
	chain := in.Explain(r.Answer)
	var causes []class.Cause
	for _, l := range chain {
		causes = append(causes, l.Because)
		require.NotEmpty(t, l.Detail)
	}
	require.Equal(t, []class.Cause{class.ByCanner, class.ByCanner, class.ByFilling, class.ByReady}, causes)
	require.Equal(t, []int{60, 35, 10, 0}, []int{chain[0].Start, chain[1].Start, chain[2].Start, chain[3].Start})

	// With a second canner the finish is that of two loads in one of them.
	more := build(t, in.Spec().With(func(s *class.Spec) {
		c := s.Canners[0]
		c.ID = "second"
		s.Canners = append(s.Canners, c)
	}))
	require.Equal(t, 55, class.Solve(context.Background(), more, class.Options{Work: 200_000, Enough: 2}).Objective.Finish)
}

// TestExplainEnds: in a proven plan the last load cannot simply begin sooner, and every chain is finite and linked.
func TestExplainEnds(t *testing.T) {
	t.Parallel()
	for seed := range uint64(60) {
		in := build(t, generate.Class(generate.Params{Stations: 1 + int(seed%6)}, seed))
		r := class.Solve(context.Background(), in, class.Options{Work: 60_000, Enough: 2})
		if r.Objective.Loads == 0 {
			continue
		}
		chain := in.Explain(r.Answer)
		require.NotEmpty(t, chain)
		require.Equal(t, r.Objective.Finish, chain[0].End)
		if r.Optimal {
			ends := 0
			for _, l := range r.Loads {
				if l.End == r.Objective.Finish {
					ends++
				}
			}
			require.True(t, ends > 1 || chain[0].Because != class.ByNothing, "instance %d", seed)
		}
	}
}

// TestVeryLong: an instance far beyond any class is planned without proofs, and within memory.
func TestVeryLong(t *testing.T) {
	spec := generate.Class(generate.Params{Stations: 40, Canners: 4}, 3)
	spec.Close = 100_000
	for i := range spec.Canners {
		spec.Canners[i].Windows = nil
	}
	r := class.Solve(context.Background(), build(t, spec), class.Options{Work: 20})
	require.Empty(t, check.Answer(spec, r.Answer))
	require.Zero(t, r.Objective.Unprocessed)
}
