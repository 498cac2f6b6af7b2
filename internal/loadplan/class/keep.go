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

func abs(x int) int {
	if x < 0 {
		return -x
	}
	return x
}
