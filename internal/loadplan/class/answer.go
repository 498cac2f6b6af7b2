package class

import (
	"cmp"
	"slices"
	"time"
)

// Answer is a plan as it is written down, with what is proven about it.
type Answer struct {
	Form      string         `json:"form"`
	Name      string         `json:"name"`
	Filled    map[string]int `json:"filled"`
	Loads     []LoadSpec     `json:"loads"`
	Objective Value          `json:"objective"`
	Bound     Bound          `json:"bound"`
	// Optimal says that no plan leaves fewer jars, and none that leaves as few ends sooner: the first two entries
	// of the objective have met their bounds.
	Optimal bool `json:"optimal"`
	// Proven is how many leading entries of the objective are proven: 0 to 4.
	Proven int `json:"proven"`
	// Gap is what the proof leaves open; it is absent when Optimal.
	Gap     *Gap    `json:"gap,omitempty"`
	Seed    uint64  `json:"seed"`
	Seconds float64 `json:"seconds"`
}

// Bound holds proven lower bounds: no plan leaves fewer jars than Unprocessed, and no best plan ends before Finish.
type Bound struct {
	Unprocessed int `json:"unprocessed"`
	Finish      int `json:"finish"`
}

// Gap is the distance from the plan to the bounds.
type Gap struct {
	Unprocessed int `json:"unprocessed"` // jars
	Finish      int `json:"finish"`      // minutes
	// Relative is the minutes as a share of the bound on the finish.
	Relative float64 `json:"relative"`
}

// Answer writes a plan down with its value, the proven bounds, and how many entries of the value are proven.
func (in *Instance) Answer(p *Plan, bound Bound, proven int, seed uint64, took time.Duration) Answer {
	v := in.Evaluate(p)
	a := Answer{Form: Form, Name: in.spec.Name, Filled: map[string]int{}, Loads: []LoadSpec{}, Objective: v, Bound: bound,
		Proven: proven, Optimal: proven >= 2, Seed: seed, Seconds: took.Seconds()}
	for b, at := range p.Filled {
		a.Filled[in.spec.Batches[b].ID] = at
	}
	loads := slices.Clone(p.Loads)
	slices.SortFunc(loads, func(a, b Load) int { return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.Canner, b.Canner)) })
	for _, l := range loads {
		fam := in.families[l.Family]
		out := LoadSpec{Canner: in.spec.Canners[l.Canner].ID, Start: l.Start, End: l.End, Process: in.spec.Processes[fam.process].ID, Size: fam.size, Jars: map[string]int{}}
		for _, s := range l.Shares {
			out.Jars[in.spec.Batches[s.Batch].ID] += s.Jars
		}
		a.Loads = append(a.Loads, out)
	}
	if !a.Optimal {
		g := Gap{Unprocessed: v.Unprocessed - bound.Unprocessed, Finish: max(0, v.Finish-bound.Finish)}
		g.Relative = float64(g.Finish) / float64(max(1, bound.Finish))
		a.Gap = &g
	}
	return a
}
