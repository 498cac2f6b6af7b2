package oven

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The incremental evaluation says exactly what a full evaluation says, and an applied
// change leaves every index as a fresh state would have it.
func TestChangesAgainstFullEvaluation(t *testing.T) {
	for seed := uint64(1); seed <= 40; seed++ {
		g := PublishedOptions(4+int(seed)*3, 1+int(seed%4), 1+int(seed%5), seed)
		spec := Generate("change", g, seed)
		if seed%3 == 0 { // too little room: batches without an interval occur
			for m := range spec.IntervalEnd {
				last := len(spec.IntervalEnd[m]) - 1
				for k := range spec.IntervalEnd[m] {
					if k != last {
						spec.IntervalEnd[m][k] = spec.IntervalStart[m][k]
					}
				}
				spec.IntervalEnd[m][last] = spec.IntervalStart[m][last] + spec.Horizon/12
			}
			spec.Horizon = 0
			for j := range spec.EarliestStart {
				spec.EarliestStart[j] = 0
			}
		}
		in, err := New(spec)
		if err != nil {
			continue
		}
		st := construct(in)
		st.partial = seed%2 == 0
		for j := range st.poolPrice {
			st.poolPrice[j] = int64(j)
		}
		checkIndexes(t, st)
		r := newRNG(seed)
		applied := 0
		for k := 0; k < 3000; k++ {
			table := &wholeChooser
			if st.partial {
				table = &partialChooser
			}
			kind, ok := st.propose(r, table)
			if !ok {
				continue
			}
			before := st.cost()
			delta := st.change.evaluate()
			if delta > 0 && r.below(4) > 0 {
				continue
			}
			st.change.apply()
			applied++
			said := st.totals
			st.retime()
			require.Equal(t, st.totals, said, "seed %d, try %d, kind %d", seed, k, kind)
			require.Equal(t, before+delta, st.cost(), "seed %d, try %d, kind %d", seed, k, kind)
			if k%50 == 0 {
				checkIndexes(t, st)
			}
		}
		require.Greater(t, applied, 50)
		checkIndexes(t, st)
	}
}

func checkIndexes(t *testing.T, st *state) {
	t.Helper()
	seen := make([]bool, len(st.in.jobs))
	count := 0
	for m := range st.seq {
		for i := range st.seq[m] {
			nd := st.seq[m][i]
			count++
			require.Equal(t, int32(m), st.batchMachine[nd.id])
			require.Equal(t, int32(i), st.batchAt[nd.id])
			require.Equal(t, nd.id, st.live[st.liveSlot[nd.id]])
			require.Equal(t, nd.id, st.familyLive[nd.family][st.familySlot[nd.id]])
			for k, j := range st.lists[nd.id] {
				require.False(t, seen[j], "job %d is in two batches", j)
				seen[j] = true
				require.Equal(t, nd.id, st.jobBatch[j])
				if k > 0 {
					require.LessOrEqual(t, st.in.jobs[st.lists[nd.id][k-1]].due, st.in.jobs[j].due)
				}
			}
			var fresh node
			st.describe(&fresh, st.lists[nd.id])
			fresh.end, fresh.interval, fresh.tardy, fresh.setup, fresh.id = nd.end, nd.interval, nd.tardy, nd.setup, nd.id
			require.Equal(t, fresh, nd)
			require.LessOrEqual(t, nd.size, st.in.machines[m].capacity)
			require.LessOrEqual(t, nd.runtime, nd.longest)
			require.NotZero(t, nd.machines&(1<<uint(m)))
		}
	}
	require.Len(t, st.live, count)
	for i, j := range st.pool {
		require.False(t, seen[j], "job %d is in a batch and in the pool", j)
		seen[j] = true
		require.Equal(t, int32(-1), st.jobBatch[j])
		require.Equal(t, int32(i), st.poolSlot[j])
	}
	for j := range seen {
		require.True(t, seen[j], "job %d is nowhere", j)
	}
}
