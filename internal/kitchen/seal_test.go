package kitchen_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/kitchen"
)

func TestSharing(t *testing.T) {
	t.Parallel()
	// Two people and three batches of five: 3+2, then 2+3, then 3+2.
	s := kitchen.Among(2)
	require.Equal(t, []int{3, 2}, s.Deal(5))
	require.Equal(t, []int{2, 3}, s.Deal(5))
	require.Equal(t, []int{3, 2}, s.Deal(5))
	require.Empty(t, kitchen.Among(0).Deal(5))
	require.Equal(t, 3, kitchen.LargestShare(5, 2))
	require.Zero(t, kitchen.LargestShare(5, 0))
}

func TestSharingIsEven(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		people := rapid.IntRange(1, 8).Draw(t, "people")
		s := kitchen.Among(people)
		total := make([]int, people)
		for _, jars := range rapid.SliceOfN(rapid.IntRange(0, 40), 1, 8).Draw(t, "batches") {
			shares, sum := s.Deal(jars), 0
			for i, n := range shares {
				sum += n
				total[i] += n
				require.LessOrEqual(t, n, kitchen.LargestShare(jars, people))
			}
			require.Equal(t, jars, sum, "every jar has an owner")
			require.LessOrEqual(t, slices.Max(shares)-slices.Min(shares), 1)
		}
		require.LessOrEqual(t, slices.Max(total)-slices.Min(total), 1, "over all batches too")
	})
}
