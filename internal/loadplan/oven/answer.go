package oven

import (
	"encoding/json"
	"math"
)

// MarshalJSON writes the answer as one object: form, name, batches, objective, bound
// (of the integer objective; bound_normalised is the same in the units of the
// published tables), whether it is proven optimal, and the seconds it took.
func (a *Answer) MarshalJSON() ([]byte, error) {
	type objective struct {
		Integer    int64   `json:"integer"`
		Normalised float64 `json:"normalised"`
	}
	ub := float64(a.Score.Integer) / a.Score.Normalised
	if a.Score.Integer == 0 {
		ub = math.Inf(1)
	}
	return json.Marshal(struct {
		Form            string    `json:"form"`
		Name            string    `json:"name"`
		Batches         []Batch   `json:"batches"`
		Objective       objective `json:"objective"`
		Bound           int64     `json:"bound"`
		BoundNormalised float64   `json:"bound_normalised"`
		Optimal         bool      `json:"optimal"`
		Seconds         float64   `json:"seconds"`
	}{FormName, a.Name, a.Plan.Batches, objective{a.Score.Integer, a.Score.Normalised},
		a.Bound, float64(a.Bound) / ub, a.Optimal, math.Round(a.Elapsed.Seconds()*1000) / 1000})
}
