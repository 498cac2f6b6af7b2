package oven

import "sort"

// Batch is one run of one machine. Machines and jobs count from 1.
type Batch struct {
	Machine int `json:"machine"`
	// Start and End are minutes; the set-up stands before Start.
	Start int64 `json:"start"`
	End   int64 `json:"end"`
	Jobs  []int `json:"jobs"`
}

// Plan is a full answer to an instance: every job in one batch.
type Plan struct {
	// Batches are in order of machine, then start.
	Batches []Batch
}

func (p *Plan) sort() {
	for i := range p.Batches {
		sort.Ints(p.Batches[i].Jobs)
	}
	sort.SliceStable(p.Batches, func(i, j int) bool {
		a, b := p.Batches[i], p.Batches[j]
		if a.Machine != b.Machine {
			return a.Machine < b.Machine
		}
		if a.Start != b.Start {
			return a.Start < b.Start
		}
		return a.End < b.End
	})
}

// Score is a plan's cost: its three parts, and their weighted sum.
type Score struct {
	Runtime    int64 // minutes, summed over the batches
	Tardy      int64 // jobs that end after their due time
	SetupCosts int64
	// Integer is the weighted sum; Normalised is it over upper_bound_integer_objective.
	Integer    int64
	Normalised float64
}

// Evaluate gives the score of a plan, from the plan and the file's fields alone.
// It does not judge whether the plan is feasible; Check does.
func Evaluate(in *Instance, p *Plan) Score {
	s := in.spec
	var sc Score
	before := map[int]int64{}
	ordered := Plan{Batches: append([]Batch(nil), p.Batches...)}
	sort.SliceStable(ordered.Batches, func(i, j int) bool { return ordered.Batches[i].Start < ordered.Batches[j].Start })
	for _, b := range ordered.Batches {
		sc.Runtime += b.End - b.Start
		if len(b.Jobs) == 0 {
			continue
		}
		to := s.Attribute[b.Jobs[0]-1]
		from, seen := before[b.Machine]
		if !seen {
			from = s.InitialState[b.Machine-1]
		}
		sc.SetupCosts += s.SetupCosts[from-1][to-1]
		before[b.Machine] = to
		for _, j := range b.Jobs {
			if b.End > s.LatestEnd[j-1] {
				sc.Tardy++
			}
		}
	}
	sc.Integer = s.RuntimeWeight*sc.Runtime + s.TardyWeight*sc.Tardy + s.SetupCostWeight*sc.SetupCosts
	sc.Normalised = float64(sc.Integer) / float64(s.UpperBound)
	return sc
}
