package oven

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
)

// Every tiny instance: the exact search and Solve find what brute force finds, and no
// bound is above it.
func TestExactAndBoundsAgainstBruteForce(t *testing.T) {
	plans, none, refused := 0, 0, 0
	for seed := uint64(1); seed <= 1500; seed++ {
		spec := tiny(seed, 1+int(seed%5))
		want, plan := bruteForce(spec)
		in, err := New(spec)
		if err != nil {
			require.Equal(t, bruteNone, want, "seed %d: refused (%v), yet a plan costs %d", seed, err, want)
			refused++
			continue
		}
		got, cost, done := exact(in, 1<<40)
		require.True(t, done)
		answer, solveErr := Solve(context.Background(), in, Options{Work: 1000, Seed: seed, Workers: 1})
		if want == bruteNone {
			none++
			require.Nil(t, got, "seed %d", seed)
			require.ErrorIs(t, solveErr, ErrInfeasible, "seed %d", seed)
			continue
		}
		plans++
		require.Empty(t, Check(in, plan), "seed %d: the checker and brute force disagree", seed)
		require.Equal(t, want, Evaluate(in, plan).Integer, "seed %d", seed)
		require.NotNil(t, got, "seed %d: brute force found a plan of %d", seed, want)
		require.Equal(t, want, cost, "seed %d", seed)
		require.Empty(t, Check(in, got), "seed %d", seed)
		require.LessOrEqual(t, levelBound(in), want, "seed %d: level bound", seed)
		paths := newPathBound(in, latePrices(in, always), pathLimit)
		for k := 0; k < 25; k++ {
			require.LessOrEqual(t, paths.improve(want+int64(k%3)), want, "seed %d: path bound, step %d", seed, k)
		}
		require.NoError(t, solveErr)
		require.Equal(t, want, answer.Score.Integer, "seed %d", seed)
		require.True(t, answer.Optimal, "seed %d", seed)
	}
	require.Greater(t, plans, 700, "too few of the instances have a plan")
	require.Greater(t, none, 20, "too few of the instances have none")
	t.Logf("%d with a plan, %d without, %d refused at the door", plans, none, refused)
}
