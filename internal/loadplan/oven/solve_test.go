package oven

import (
	"context"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// randomInstances is how many instances TestNeverAnInvalidAnswer draws;
// STILLROOM_RANDOM_INSTANCES asks for another number.
func randomInstances(t *testing.T) int {
	text := os.Getenv("STILLROOM_RANDOM_INSTANCES")
	if text == "" {
		return 2500
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err, "STILLROOM_RANDOM_INSTANCES")
	return n
}

// Whatever the instance, the answer passes the checker, which shares no code with the
// search, costs what it says, and is not below its bound.
func TestNeverAnInvalidAnswer(t *testing.T) {
	n := randomInstances(t)
	for i := 1; i <= n; i++ {
		seed := uint64(i)
		r := newRNG(seed + 77)
		jobs := 1 + r.below(25)
		switch {
		case i%500 == 0:
			jobs = 300 + r.below(500)
		case i%20 == 0:
			jobs = 50 + r.below(150)
		}
		g := PublishedOptions(jobs, 1+r.below(6), 1+r.below(6), seed)
		in, err := New(Generate("random", g, seed))
		require.NoError(t, err, "instance %d", i)
		a, err := Solve(context.Background(), in, Options{Work: 4000, Seed: seed, Workers: 2})
		require.NoError(t, err, "instance %d", i)
		require.Empty(t, Check(in, a.Plan), "instance %d", i)
		require.Equal(t, Evaluate(in, a.Plan), a.Score, "instance %d", i)
		require.LessOrEqual(t, a.Bound, a.Score.Integer, "instance %d", i)
		require.Equal(t, a.Bound == a.Score.Integer, a.Optimal, "instance %d", i)
	}
}

func TestSameSeedAndWorkSameAnswer(t *testing.T) {
	in, err := New(Generate("repeat", PublishedOptions(120, 3, 4, 5), 5))
	require.NoError(t, err)
	answer := func(seed uint64) *Answer {
		a, err := Solve(context.Background(), in, Options{Work: 1_500_000, Seed: seed, Workers: 2})
		require.NoError(t, err)
		return a
	}
	first, second := answer(3), answer(3)
	require.Equal(t, first.Plan, second.Plan)
	require.Equal(t, first.Bound, second.Bound)
	require.Equal(t, first.Work, second.Work)
	require.NotEqual(t, first.Plan, answer(4).Plan, "another seed goes another way")
}

func TestImprovementsAreStreamedInOrder(t *testing.T) {
	in, err := New(Generate("stream", PublishedOptions(60, 2, 2, 9), 9))
	require.NoError(t, err)
	var last *Progress
	steps := 0
	a, err := Solve(context.Background(), in, Options{Work: 1_000_000, Seed: 1, Workers: 2, Improved: func(p Progress) {
		if last != nil && last.Found {
			require.LessOrEqual(t, p.Integer, last.Integer)
			require.GreaterOrEqual(t, p.Bound, last.Bound)
		}
		last = &p
		steps++
	}})
	require.NoError(t, err)
	require.Greater(t, steps, 2)
	require.Equal(t, a.Score.Integer, last.Integer)
	require.Equal(t, a.Bound, last.Bound)
}

func TestCancelledSearchStillAnswers(t *testing.T) {
	in, err := New(Generate("cancel", PublishedOptions(200, 2, 2, 9), 9))
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	a, err := Solve(ctx, in, Options{Time: time.Hour, Seed: 1})
	require.NoError(t, err)
	require.Empty(t, Check(in, a.Plan))
}
