package oven

// The brute force shares nothing with the search: it reads the file's fields, tries
// every order of every set of batches on every machine, every runtime a batch may have,
// and finds start times minute by minute. It may leave a machine idle longer only where
// no batch fits, which is enough because no cost falls when a batch ends later.

type brute struct {
	s    Spec
	best int64
	plan []Batch
	top  []Batch
}

const bruteNone = int64(1) << 60

// bruteForce returns the least integer objective, or bruteNone when there is no plan.
func bruteForce(s Spec) (int64, *Plan) {
	b := &brute{s: s, best: bruteNone}
	all := make([]int, s.Jobs)
	for i := range all {
		all[i] = i + 1
	}
	b.machine(1, all, 0, s.InitialState[0], 0)
	return b.best, &Plan{Batches: b.top}
}

func (b *brute) machine(m int, left []int, end, state, cost int64) {
	if cost >= b.best {
		return
	}
	if len(left) == 0 {
		b.best = cost
		b.top = append([]Batch(nil), b.plan...)
		return
	}
	if m < b.s.Machines {
		b.machine(m+1, left, 0, b.s.InitialState[m], cost)
	}
	for set := 1; set < 1<<len(left); set++ {
		var in, out []int
		for i, j := range left {
			if set&(1<<i) != 0 {
				in = append(in, j)
			} else {
				out = append(out, j)
			}
		}
		b.batch(m, in, out, end, state, cost)
	}
}

func (b *brute) batch(m int, in, out []int, end, state, cost int64) {
	s := &b.s
	family := s.Attribute[in[0]-1]
	var size, release, least int64
	longest := int64(1) << 40
	for _, j := range in {
		ok := false
		for _, e := range s.Eligible[j-1] {
			ok = ok || e == int64(m)
		}
		if !ok || s.Attribute[j-1] != family {
			return
		}
		size += s.Size[j-1]
		release = max(release, s.EarliestStart[j-1])
		least = max(least, s.MinTime[j-1])
		longest = min(longest, s.MaxTime[j-1])
	}
	if size > s.MaxCap[m-1] {
		return
	}
	setup := s.SetupTimes[state-1][family-1]
	for p := least; p <= longest; p++ {
		for start := max(release, end+setup); start <= 400; start++ {
			inside := false
			for k := range s.IntervalStart[m-1] {
				inside = inside || s.IntervalStart[m-1][k] <= start-setup && start+p <= s.IntervalEnd[m-1][k]
			}
			if !inside {
				continue
			}
			c := cost + s.RuntimeWeight*p + s.SetupCostWeight*s.SetupCosts[state-1][family-1]
			for _, j := range in {
				if start+p > s.LatestEnd[j-1] {
					c += s.TardyWeight
				}
			}
			b.plan = append(b.plan, Batch{Machine: m, Start: start, End: start + p, Jobs: append([]int(nil), in...)})
			b.machine(m, out, start+p, family, c)
			b.plan = b.plan[:len(b.plan)-1]
			break
		}
	}
}

// tiny draws a small instance with everything in play: tight intervals, narrow
// capacities, short windows, and now and then no plan at all.
func tiny(seed uint64, jobs int) Spec {
	r := newRNG(seed)
	from := func(lo, hi int) int64 { return int64(lo + r.below(hi-lo+1)) }
	machines, families := 1+r.below(2), 1+r.below(3)
	s := Spec{Name: "tiny", Attributes: families, Machines: machines, Jobs: jobs, Intervals: 1 + r.below(3)}
	table := func() [][]int64 {
		t := make([][]int64, families+r.below(1))
		for i := range t {
			for k := 0; k < families; k++ {
				t[i] = append(t[i], from(0, 3))
			}
		}
		return t
	}
	s.SetupCosts, s.SetupTimes = table(), table()
	for m := 0; m < machines; m++ {
		s.MaxCap = append(s.MaxCap, from(5, 9))
		s.InitialState = append(s.InitialState, from(1, families))
		var starts, ends []int64
		at := int64(0)
		for k := 0; k < s.Intervals; k++ {
			at += from(0, 5)
			starts = append(starts, at)
			at += from(0, 14)
			if k == s.Intervals-1 {
				at += from(0, 20)
			}
			ends = append(ends, at)
		}
		s.IntervalStart, s.IntervalEnd = append(s.IntervalStart, starts), append(s.IntervalEnd, ends)
	}
	for j := 0; j < jobs; j++ {
		least := from(1, 5)
		release := from(0, 8)
		s.MinTime = append(s.MinTime, least)
		s.MaxTime = append(s.MaxTime, least+from(0, 3))
		s.EarliestStart = append(s.EarliestStart, release)
		s.LatestEnd = append(s.LatestEnd, release+least+from(-1, 6))
		s.Size = append(s.Size, from(1, 5))
		s.Attribute = append(s.Attribute, from(1, families))
		set := []int64{}
		for m := 1; m <= machines; m++ {
			if r.below(3) > 0 {
				set = append(set, int64(m))
			}
		}
		if len(set) == 0 {
			set = append(set, from(1, machines))
		}
		s.Eligible = append(s.Eligible, set)
	}
	s.RuntimeWeight, s.TardyWeight, s.SetupCostWeight = from(1, 5), from(0, 60), from(0, 4)
	s.UpperBound = 1000
	return s
}
