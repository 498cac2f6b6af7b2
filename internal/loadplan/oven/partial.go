package oven

import (
	"math"
	"sort"
)

// Where many jobs must be late, a search over whole plans spends most of its tries on
// packing them. So part of the search is over partial plans: batches for the jobs that
// are to be on time, and a pool of late jobs that costs, for each, its lateness and the
// price of its share of a late batch (see latePrices). Completing a partial plan puts the
// pool into batches at the machines' ends, and the search over whole plans polishes it.

// newPartial makes an empty partial state whose frozen jobs are those that are late
// in every plan. It returns nil if there are no others.
func newPartial(in *Instance, late []float64) *state {
	st := newState(in)
	st.partial = true
	for j := range in.jobs {
		st.poolPrice[j] = poolPrice(in, late[j])
	}
	for j := range in.jobs {
		if unavoidablyLate(in, j) {
			st.freeze(int32(j))
		}
	}
	if len(st.pool) == 0 {
		return nil
	}
	return st
}

// poolPrice is what a job in the pool costs, given its share of a late batch.
func poolPrice(in *Instance, late float64) int64 {
	return in.tardyWeight + int64(math.Round(late))
}

// strip loads from a whole plan the batches that have jobs on time, without frozen jobs.
func (st *state) strip(whole *state) {
	var s snapshot
	for m := range whole.seq {
		count := int32(0)
		for i := range whole.seq[m] {
			nd := &whole.seq[m][i]
			if nd.tardy == nd.jobs {
				continue
			}
			before := len(s.jobs)
			for _, j := range whole.lists[nd.id] {
				if st.jobBatch[j] != frozenJob {
					s.jobs = append(s.jobs, j)
				}
			}
			if len(s.jobs) > before {
				s.ends = append(s.ends, int32(len(s.jobs)))
				count++
			}
		}
		s.counts = append(s.counts, count)
	}
	st.load(&s)
}

// complete puts every job of the pool of a whole state into a batch: longest and
// largest first, family by family, each where it costs least and, among equals, fits
// tightest; a batch of its own goes to a machine's end.
func (st *state) complete() {
	const look = 150
	in := st.in
	order := append([]int32(nil), st.pool...)
	sort.Slice(order, func(a, b int) bool {
		x, y := &in.jobs[order[a]], &in.jobs[order[b]]
		switch {
		case x.family != y.family:
			return x.family < y.family
		case x.minTime != y.minTime:
			return x.minTime > y.minTime
		case x.size != y.size:
			return x.size > y.size
		}
		return order[a] < order[b]
	})
	c := &st.change
	for _, j := range order {
		jb := &in.jobs[j]
		bestCost, bestRoom := int64(math.MaxInt64), int32(math.MaxInt32)
		bestBatch, bestMachine := int32(-1), int32(-1)
		build := func(batch, machine int32) int64 {
			c.reset()
			c.unpooled = append(c.unpooled, j)
			if batch >= 0 {
				c.replace(batch, c.compose(batch, -1, j))
			} else {
				c.put(machine, int32(len(st.seq[machine])), c.compose(-1, -1, j))
			}
			return c.evaluate()
		}
		consider := func(batch, machine, room int32) {
			if cost := build(batch, machine); cost < bestCost || cost == bestCost && room < bestRoom {
				bestCost, bestRoom, bestBatch, bestMachine = cost, room, batch, machine
			}
		}
		list := st.familyLive[jb.family]
		for k := len(list) - 1; k >= 0 && k >= len(list)-look; k-- {
			m := st.batchMachine[list[k]]
			nd := st.node(list[k])
			room := in.machines[m].capacity - nd.size - jb.size
			if room >= 0 && jb.machines&(1<<uint(m)) != 0 && jb.minTime <= nd.longest && nd.runtime <= jb.maxTime {
				consider(list[k], m, room)
			}
		}
		for m := range in.machines {
			if jb.machines&(1<<uint(m)) != 0 && jb.size <= in.machines[m].capacity {
				end := int32(0)
				if seq := st.seq[m]; len(seq) > 0 {
					end = seq[len(seq)-1].end
				}
				consider(-1, int32(m), end)
			}
		}
		build(bestBatch, bestMachine)
		c.apply()
	}
}

// follow loads the schedules of a path bound's machines: the batches in their order, each
// job in the first batch that has it. Jobs that two machines want go to the machine
// whose turn comes first in a random order.
func (st *state) follow(schedule [][][]int32, r *rng) {
	type entry struct{ machine, place int }
	seen := make([]bool, len(st.in.jobs))
	var order []entry
	for m := range schedule {
		for k := range schedule[m] {
			order = append(order, entry{m, k})
		}
	}
	for i := len(order) - 1; i > 0; i-- {
		k := r.below(i + 1)
		order[i], order[k] = order[k], order[i]
	}
	kept := make([][][]int32, len(schedule))
	for m := range schedule {
		kept[m] = make([][]int32, len(schedule[m]))
	}
	for _, e := range order {
		for _, j := range schedule[e.machine][e.place] {
			if !seen[j] && st.jobBatch[j] != frozenJob {
				seen[j] = true
				kept[e.machine][e.place] = append(kept[e.machine][e.place], j)
			}
		}
	}
	var s snapshot
	for m := range kept {
		count := int32(0)
		for k := len(kept[m]) - 1; k >= 0; k-- {
			list := kept[m][k]
			if len(list) == 0 {
				continue
			}
			sortByDue(st.in, list)
			s.jobs = append(s.jobs, list...)
			s.ends = append(s.ends, int32(len(s.jobs)))
			count++
		}
		s.counts = append(s.counts, count)
	}
	st.load(&s)
}

func sortByDue(in *Instance, list []int32) {
	sort.Slice(list, func(a, b int) bool {
		x, y := &in.jobs[list[a]], &in.jobs[list[b]]
		if x.due != y.due {
			return x.due < y.due
		}
		return list[a] < list[b]
	})
}
