package oven

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Expected values derived by hand.
func TestBinsNeeded(t *testing.T) {
	cases := []struct {
		sizes    []int64
		capacity int64
		want     int64
		why      string
	}{
		{nil, 10, 0, "nothing needs no bin"},
		{[]int64{1}, 10, 1, "one item, one bin"},
		{[]int64{4, 4, 4}, 10, 2, "area: 12/10 rounds up to 2"},
		{[]int64{6, 6, 6}, 10, 3, "no two of more than half share a bin, though the area says 2"},
		{[]int64{3, 3, 6, 6, 8}, 10, 3, "6+3, 6+3, 8"},
		{[]int64{4, 4, 4, 7, 7}, 10, 4, "with k = 4 the 7s are alone, and three 4s need 12/10, so 2"},
		{[]int64{5, 5, 5}, 10, 2, "exactly half may share"},
	}
	for _, c := range cases {
		require.Equal(t, c.want, binsNeeded(c.sizes, c.capacity), c.why)
	}
}

// Attribute 1: jobs of 4 and 3 minutes and sizes 3 and 2. Job 1 may go on machine 1
// only, of capacity 5, so it takes 3/5 of a bin; job 2 takes 2/8. One bin at minutes
// 1 to 3 and one at minute 4: 4. Attribute 2: 5 and 6 minutes, 4/8 each, one bin
// throughout: 6. Set-up costs at least min(1,2) = 1 into attribute 1 and min(4,0) = 0
// into attribute 2; no machine starts empty. Job 1 can end by 1+4 = 5 if set-up takes 1, job 2 by
// 5, job 3 by 9; job 4 cannot end by 9: released at 6, it ends at 12. Hence
// 2*10 + 50*1 + 3*1 = 73.
func TestLevelBoundByHand(t *testing.T) {
	in := twoOvens(t)
	runtime, batches := familyLevels(in, 0)
	require.Equal(t, [2]int64{4, 1}, [2]int64{runtime, batches})
	runtime, batches = familyLevels(in, 1)
	require.Equal(t, [2]int64{6, 1}, [2]int64{runtime, batches})
	require.True(t, unavoidablyLate(in, 3))
	require.False(t, unavoidablyLate(in, 0))
	require.Equal(t, int64(73), levelBound(in))
}
