package oven

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Packing by price, completing by best fit, and following a bound's schedule all leave
// a consistent state; the first two place every job.
func TestWaysToAWholePlan(t *testing.T) {
	for seed := uint64(1); seed <= 60; seed++ {
		in, err := New(Generate("pack", PublishedOptions(3+int(seed)*2, 1+int(seed%4), 1+int(seed%3), seed), seed))
		require.NoError(t, err)
		prices := latePrices(in, always)
		r := newRNG(seed)

		packed := newState(in)
		require.True(t, packed.packByPrice(prices, r, 0.02))
		require.Empty(t, packed.pool)
		checkIndexes(t, packed)

		completed := newState(in)
		completed.complete()
		require.Empty(t, completed.pool)
		checkIndexes(t, completed)

		b := newPathBound(in, prices, pathLimit)
		part := newPartial(in, prices)
		if part == nil {
			continue
		}
		for k := 0; k < 10; k++ {
			b.improve(in.upperBound)
		}
		part.follow(b.schedule, r)
		var s snapshot
		part.save(&s)
		whole := newState(in)
		whole.load(&s)
		require.True(t, whole.packByPrice(prices, r, 0.02))
		require.Empty(t, whole.pool)
		checkIndexes(t, whole)

		w := &windowSearch{st: part, r: r}
		for k := 0; k < 5; k++ {
			before := part.cost()
			gained := w.step(512, float64(in.tardyWeight)/4, float64(in.tardyWeight)/20)
			require.LessOrEqual(t, part.cost(), before)
			require.Equal(t, gained, part.cost() < before)
		}
	}
}
