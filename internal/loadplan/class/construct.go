package class

import (
	"cmp"
	"math/rand/v2"
	"slices"
)

// rule is one way to make a first plan: how batches are ranked, with some chance in it.
type rule struct {
	process float64 // weight of the process minutes: longest first
	ready   float64 // weight of the earliest filling: soonest first
	chance  float64 // how far luck may move a rank, in minutes
	merge   bool    // fill loads up before opening others
}

var firstRules = []rule{
	{ready: 1, merge: true},
	{ready: 1, process: 0.5, merge: true},
	{ready: 1, process: 1, merge: true},
	{ready: 0.3, process: 1, merge: true},
	{ready: 1},
	{ready: 1, process: -0.5, merge: true},
}

// construct lists intents by a rule: batches are taken in the order of their ranks, each joining the last load of its
// family that has room and lies close enough in time, or opening a new one.
func (in *Instance) construct(r rule, random *rand.Rand) []intent {
	heads := in.earliestFillings()
	type place struct {
		batch int
		rank  float64
	}
	var order []place
	for b := range in.batches {
		if in.batches[b].left == 0 {
			continue
		}
		rank := r.ready*float64(heads[b]) - r.process*float64(in.spec.Processes[in.families[in.batches[b].family].process].Minutes)
		if r.chance > 0 {
			rank += random.Float64() * r.chance
		}
		order = append(order, place{b, rank})
	}
	slices.SortStableFunc(order, func(a, b place) int { return cmp.Compare(a.rank, b.rank) })

	var out []intent
	room := map[int]int{} // by index in out
	last := map[int]int{} // by family, the last load opened
	for _, x := range order {
		bb := &in.batches[x.batch]
		most := in.mostCapacity(bb.family)
		jars := bb.left
		if at, ok := last[bb.family]; ok && r.merge && room[at] > 0 && (bb.split || room[at] >= jars) &&
			heads[x.batch] <= heads[out[at].shares[0].Batch]+bb.hold+15 {
			n := min(jars, room[at])
			out[at].shares = append(out[at].shares, Share{x.batch, n})
			room[at] -= n
			jars -= n
		}
		for jars > 0 {
			n := min(jars, most)
			if !bb.split {
				n = jars
			}
			last[bb.family] = len(out)
			room[len(out)] = most - n
			out = append(out, intent{family: bb.family, canner: anyCanner, shares: []Share{{x.batch, n}}})
			jars -= n
		}
	}
	return out
}

func (in *Instance) mostCapacity(family int) int {
	most := 0
	for _, c := range in.canners {
		most = max(most, c.capacity[family])
	}
	return most
}

// earliestFillings is, by batch, the earliest minute at which it can be filled if burners were plenty.
func (in *Instance) earliestFillings() []int {
	out := make([]int, len(in.batches))
	for _, list := range in.stations {
		free := in.now
		for _, b := range list {
			bb := &in.batches[b]
			out[b] = max(bb.ready, free+bb.stage)
			if bb.filled != open {
				out[b] = bb.filled
			}
			free = max(free, out[b])
		}
	}
	return out
}
