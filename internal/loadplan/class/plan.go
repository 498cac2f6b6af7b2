package class

import "cmp"

// Plan is a solution in terms of the instance's indices. What it says of batches that go into no load is when they
// are filled all the same: they take the station and a burner.
type Plan struct {
	Filled []int // by batch, the minute its stage ends
	Loads  []Load
}

// Load is one load of a plan.
type Load struct {
	Canner, Family int
	Start, End     int
	Shares         []Share
	Done           bool // part of what had already happened
}

// Share is the jars of one batch in a load.
type Share struct{ Batch, Jars int }

// Jars is how many jars are in the load.
func (l Load) Jars() int {
	n := 0
	for _, s := range l.Shares {
		n += s.Jars
	}
	return n
}

// Value is the objective, each entry breaking only ties of those before it.
type Value struct {
	Unprocessed int `json:"unprocessed"` // jars that go into no load
	Finish      int `json:"finish"`      // end of the last load; 0 without loads
	// Moved is how far the plan is from the one to keep, in jar-minutes; 0 where there is none.
	Moved int `json:"moved,omitempty"`
	Loads int `json:"loads"`
	Hold  int `json:"hold"` // jar-minutes of hot waiting
}

// Compare is negative when a is the better value, zero when neither is.
func (in *Instance) Compare(a, b Value) int {
	fa, fb := a.Finish, b.Finish
	if in.keep != nil {
		fa, fb = max(fa, in.keep.finish), max(fb, in.keep.finish)
	}
	return cmp.Or(cmp.Compare(a.Unprocessed, b.Unprocessed), cmp.Compare(fa, fb), cmp.Compare(a.Moved, b.Moved),
		cmp.Compare(a.Loads, b.Loads), cmp.Compare(a.Hold, b.Hold))
}

// Evaluate computes the objective of a plan. It does not judge whether the plan keeps the rules.
func (in *Instance) Evaluate(p *Plan) Value {
	v := Value{Unprocessed: in.totalJars, Loads: len(p.Loads)}
	for _, l := range p.Loads {
		v.Finish = max(v.Finish, l.End)
		for _, s := range l.Shares {
			v.Unprocessed -= s.Jars
			v.Hold += s.Jars * (l.Start - p.Filled[s.Batch])
		}
	}
	if in.keep != nil {
		v.Moved = in.moved(p)
	}
	return v
}
