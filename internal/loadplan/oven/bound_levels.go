package oven

import "slices"

// levelBound is a lower bound on the objective that takes milliseconds: each of its
// three parts on its own.
//
// Runtime. A batch of runtime P is counted once for every minute p = 1..P. All jobs
// with min_time >= p are in batches with P >= p, so for every p the batches that run
// at least p minutes are at least as many as bins are needed for those jobs, family by
// family. Summed over p this bounds the total runtime. (For one machine and one
// family this is the argument of R. Uzsoy, "Scheduling a single batch processing
// machine with non-identical job sizes", Int. J. Production Research 32 (1994); for
// ovens Lackner et al. (2023) and Da Ros et al. (2024) use its area version.)
//
// Set-up costs. Each batch of a family pays at least the least set-up cost into that
// family; the batches of a family are at least its bins at level 1.
//
// Tardiness. A job that ends too late even alone, at the first possible minute on each
// eligible machine and after the shortest set-up, is late in every plan.
func levelBound(in *Instance) int64 {
	var runtime, setup, tardy int64
	for f := int32(0); int(f) < in.families; f++ {
		levels, bins := familyLevels(in, f)
		runtime += levels
		_, least := in.leastSetup(f)
		setup += bins * int64(least)
	}
	for j := range in.jobs {
		if unavoidablyLate(in, j) {
			tardy++
		}
	}
	return in.runtimeWeight*runtime + in.tardyWeight*tardy + in.setupWeight*setup
}

// unit is the capacity of a bin after scaling each job to the largest machine it may
// go on. Rounding sizes down keeps every feasible batch within the unit.
const unit = int64(1) << 30

// familyLevels gives the bound on the total runtime of a family's batches, and on
// their number.
func familyLevels(in *Instance, family int32) (runtime, batches int64) {
	type item struct{ minTime, size int64 }
	var items []item
	for i := range in.jobs {
		j := &in.jobs[i]
		if j.family != family {
			continue
		}
		largest := int32(0)
		for m := range in.machines {
			if j.machines&(1<<uint(m)) != 0 {
				largest = max(largest, in.machines[m].capacity)
			}
		}
		items = append(items, item{int64(j.minTime), int64(j.size) * unit / int64(largest)})
	}
	// From the longest level down, jobs only join: the sizes stay sorted by insertion.
	slices.SortFunc(items, func(a, b item) int { return int(b.minTime - a.minTime) })
	var sizes []int64
	for k := 0; k < len(items); {
		level := items[k].minTime
		for ; k < len(items) && items[k].minTime == level; k++ {
			at, _ := slices.BinarySearch(sizes, items[k].size)
			sizes = slices.Insert(sizes, at, items[k].size)
		}
		below := int64(0)
		if k < len(items) {
			below = items[k].minTime
		}
		batches = binsNeeded(sizes, unit)
		runtime += (level - below) * batches
	}
	return runtime, batches
}

// binsNeeded is the bound L2 of S. Martello and P. Toth, "Lower bounds and reduction
// procedures for the bin packing problem", Discrete Applied Mathematics 28 (1990), for
// sizes in ascending order. For a threshold k, items above capacity-k are alone, those
// above half the capacity are in bins of their own but may take smaller ones along,
// and the items between k and half the capacity fill what the latter leave and then
// bins of their own.
func binsNeeded(sizes []int64, capacity int64) int64 {
	if len(sizes) == 0 {
		return 0
	}
	sums := make([]int64, len(sizes)+1)
	for i, s := range sizes {
		sums[i+1] = sums[i] + s
	}
	above := func(x int64) int { // items of size <= x
		at, _ := slices.BinarySearch(sizes, x+1)
		return at
	}
	half := above(capacity / 2)
	n := len(sizes)
	best := int64(1)
	try := func(k int64) {
		alone := above(capacity - k)
		if alone < half {
			alone = half
		}
		small, _ := slices.BinarySearch(sizes, k)
		if small > half {
			small = half
		}
		paired := int64(alone - half)
		room := paired*capacity - (sums[alone] - sums[half])
		count := int64(n-alone) + paired
		if rest := sums[half] - sums[small] - room; rest > 0 {
			count += (rest + capacity - 1) / capacity
		}
		best = max(best, count)
	}
	try(0)
	for i := 0; i < half; i++ {
		if i == 0 || sizes[i] != sizes[i-1] {
			try(sizes[i])
		}
	}
	return best
}

// unavoidablyLate tells whether a job is late in every plan.
func unavoidablyLate(in *Instance, j int) bool {
	jb := &in.jobs[j]
	wait, _ := in.leastSetup(jb.family)
	for m := range in.machines {
		mc := &in.machines[m]
		if jb.machines&(1<<uint(m)) == 0 || jb.size > mc.capacity {
			continue
		}
		if end, _ := place(mc.intervals, 0, 0, wait, jb.release, jb.minTime); end <= jb.due {
			return false
		}
	}
	return true
}
