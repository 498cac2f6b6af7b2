package oven

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func always(int64) bool { return true }

// Three jobs of size 4 on one machine of 10, runtimes 5, 3 and 2, weights 1 for
// runtime and 0 for set-ups. By hand: two batches are needed. Fractionally, half of
// each of {1,2}, {1,3}, {2,3} covers all jobs and costs (5+5+3)/2 = 6.5; prices 3.5,
// 1.5, 1.5 are paid by every pair (5, 5, 3) and single job, and add up to the same.
func TestLatePricesByHand(t *testing.T) {
	s := Spec{
		Attributes: 1, SetupCosts: [][]int64{{7}}, SetupTimes: [][]int64{{0}},
		Machines: 1, MaxCap: []int64{10}, InitialState: []int64{1}, Intervals: 1,
		IntervalStart: [][]int64{{0}}, IntervalEnd: [][]int64{{100}},
		Jobs: 3, Eligible: [][]int64{{1}, {1}, {1}}, EarliestStart: []int64{0, 0, 0}, LatestEnd: []int64{0, 0, 0},
		MinTime: []int64{5, 3, 2}, MaxTime: []int64{5, 5, 5}, Size: []int64{4, 4, 4}, Attribute: []int64{1, 1, 1},
		UpperBound: 1, RuntimeWeight: 1,
	}
	in, err := New(s)
	require.NoError(t, err)
	y := latePrices(in, always)
	require.InDelta(t, 6.5, y[0]+y[1]+y[2], 1e-4)

	// Job 1 bears no longer company: with max_time 3 for job 2 they cannot share, and
	// job 3 shares with one of them: 5+3 = 8.
	s.MaxTime = []int64{5, 3, 5}
	in, err = New(s)
	require.NoError(t, err)
	y = latePrices(in, always)
	require.InDelta(t, 8, y[0]+y[1]+y[2], 1e-4)
}

// No set of jobs that could be a batch is worth more than it costs.
func TestLatePricesAreValid(t *testing.T) {
	for seed := uint64(1); seed <= 300; seed++ {
		in, err := New(tiny(seed, 1+int(seed%7)))
		if err != nil {
			continue
		}
		y := latePrices(in, always)
		st := newState(in)
		for set := 1; set < 1<<len(in.jobs); set++ {
			var list []int32
			worth := 0.0
			same := true
			for j := range in.jobs {
				if set&(1<<j) != 0 {
					list = append(list, int32(j))
					worth += y[j]
					same = same && in.jobs[j].family == in.jobs[list[0]].family
				}
			}
			var nd node
			st.describe(&nd, list)
			fits := false
			for m := range in.machines {
				fits = fits || nd.machines&(1<<uint(m)) != 0 && nd.size <= in.machines[m].capacity
			}
			if !same || !fits || nd.runtime > nd.longest {
				continue
			}
			_, least := in.leastSetup(nd.family)
			require.LessOrEqual(t, worth, float64(in.runtimeWeight*int64(nd.runtime)+in.setupWeight*int64(least)), "seed %d, jobs %v", seed, list)
		}
	}
}
