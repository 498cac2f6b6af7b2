package oven

import "sort"

// construct builds a first state: jobs in order of due time go, one by one, into the
// batch or the new batch at a machine's end where they add least to the cost and,
// among equals, end earliest. Only the last few batches of each machine are looked
// at, so it takes time about linear in the number of jobs.
func construct(in *Instance) *state {
	const lookBack = 12
	st := newState(in)
	order := make([]int32, len(in.jobs))
	for j := range order {
		order[j] = int32(j)
	}
	sort.SliceStable(order, func(a, b int) bool {
		x, y := &in.jobs[order[a]], &in.jobs[order[b]]
		if x.due != y.due {
			return x.due < y.due
		}
		return x.release < y.release
	})
	c := &st.change
	for _, j := range order {
		jb := &in.jobs[j]
		type choice struct {
			cost   int64
			end    int32
			batch  int32 // to join, or -1
			onto   int32
			usable bool
		}
		var best choice
		consider := func(x choice) {
			if !best.usable || x.cost < best.cost || x.cost == best.cost && x.end < best.end {
				best = x
				best.usable = true
			}
		}
		build := func(x choice) {
			c.reset()
			c.unpooled = append(c.unpooled, j)
			if x.batch >= 0 {
				c.replace(x.batch, c.compose(x.batch, -1, j))
			} else {
				c.put(x.onto, int32(len(st.seq[x.onto])), c.compose(-1, -1, j))
			}
		}
		for m := range in.machines {
			if jb.machines&(1<<uint(m)) == 0 || jb.size > in.machines[m].capacity {
				continue
			}
			seq := st.seq[m]
			for k := len(seq) - 1; k >= 0 && k >= len(seq)-lookBack; k-- {
				nd := &seq[k]
				if nd.family != jb.family || nd.size+jb.size > in.machines[m].capacity || jb.minTime > nd.longest || nd.runtime > jb.maxTime {
					continue
				}
				x := choice{batch: nd.id, onto: int32(m), end: nd.end}
				build(x)
				x.cost = c.evaluate()
				consider(x)
			}
			x := choice{batch: -1, onto: int32(m), end: never}
			build(x)
			x.cost = c.evaluate()
			if len(seq) > 0 {
				x.end = seq[len(seq)-1].end
			} else {
				x.end = 0
			}
			consider(x)
		}
		build(best)
		c.evaluate()
		c.apply()
	}
	return st
}
