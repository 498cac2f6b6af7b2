package class

import "slices"

// otherCanner is what it counts, in minutes for each jar, that a jar goes into another canner than planned.
const otherCanner = 10

// unplanned is what it counts, in minutes for each jar, that a jar is in a load in only one of the two plans.
const unplanned = 30

// moved measures how far a plan is from the one to keep: for every jar the minutes by which its load starts earlier
// or later, more if the canner is another, and for every batch the minutes by which its filling moves. The jars of a
// batch are alike, so they are matched in the order of their loads.
func (in *Instance) moved(p *Plan) int {
	total := 0
	jars := make([][]int, len(in.batches))
	for _, l := range p.Loads {
		for _, s := range l.Shares {
			for range s.Jars {
				jars[s.Batch] = append(jars[s.Batch], (l.Start+mostMinute)*keepBase+l.Canner+1)
			}
		}
	}
	for b, now := range jars {
		slices.Sort(now)
		old := in.keep.jars[b]
		for i := range max(len(now), len(old)) {
			switch {
			case i >= len(now) || i >= len(old):
				total += unplanned
			default:
				total += abs(now[i]/keepBase - old[i]/keepBase)
				if now[i]%keepBase != old[i]%keepBase {
					total += otherCanner
				}
			}
		}
		if in.keep.filled[b] != open && in.batches[b].filled == open && len(now) > 0 {
			total += abs(p.Filled[b] - in.keep.filled[b])
		}
	}
	return total
}

// keptFinish is the end of the plan to keep: ending before it is no gain. It is 0 where there is none.
func (in *Instance) keptFinish() int {
	if in.keep == nil {
		return 0
	}
	return in.keep.finish
}

func abs(x int) int {
	if x < 0 {
		return -x
	}
	return x
}

// restore enters the plan to keep into an empty timetable, minute by minute as it was, as far as it is still possible,
// and meets the rest of its intents as well as it can.
func (s *schedule) restore() {
	in := s.in
	for _, list := range in.stations {
		lastUsed := -1
		for k, b := range list {
			if len(in.keep.jars[b]) > 0 {
				lastUsed = k
			}
		}
		for k := s.next[in.batches[list[0]].station]; k <= lastUsed; k++ {
			b, at := list[k], in.keep.filled[list[k]]
			if at == open || at < s.floor(b) || at > in.close {
				break
			}
			if _, ok := free(s.burners, at-in.batches[b].stage, at, in.burners); !ok {
				break
			}
			use(s.burners, at-in.batches[b].stage, at, 1)
			s.filled[b] = at
			s.next[in.batches[b].station]++
		}
	}
	var rest []intent
	for _, w := range in.keptIntents() {
		if w.canner < 0 || !s.restoreLoad(w) {
			rest = append(rest, w)
		}
	}
	for _, w := range rest {
		if s.add(w); len(w.shares) > 0 && s.left[w.shares[0].Batch] > 0 {
			w.canner = anyCanner
			s.add(w)
		}
	}
}

// restoreLoad enters a load at the minute it had in the plan to keep, if that is possible.
func (s *schedule) restoreLoad(w intent) bool {
	n := w.jars()
	k := &s.in.canners[w.canner]
	if k.capacity[w.family] < n {
		return false
	}
	for _, x := range w.shares {
		f := s.filled[x.Batch]
		if f == open || f > w.start || w.start > f+s.in.batches[x.Batch].hold || s.left[x.Batch] < x.Jars {
			return false
		}
	}
	if w.start < s.in.now {
		return false
	}
	at, ok := s.earliestStart(w.canner, k.lengths[w.family][n], w.start, w.start)
	if !ok || at != w.start {
		return false
	}
	s.put(w, w.canner, at, n)
	return true
}
