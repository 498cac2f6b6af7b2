package oven

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

func twoOvens(t *testing.T) *Instance {
	t.Helper()
	text, err := os.ReadFile("testdata/two-ovens.dzn")
	require.NoError(t, err)
	in, err := ParseDZN("two-ovens", string(text))
	require.NoError(t, err)
	return in
}

// goodPlan is valid by hand. Machine 1 starts in state 1: set-up [0,1), jobs 1 and 2
// wait for minute 2 and run 4 minutes to 6. Machine 2 starts in state 2, whose set-up
// takes 0 minutes: jobs 3 and 4 wait for minute 6 and run 6 minutes to 12.
func goodPlan() *Plan {
	return &Plan{Batches: []Batch{
		{Machine: 1, Start: 2, End: 6, Jobs: []int{1, 2}},
		{Machine: 2, Start: 6, End: 12, Jobs: []int{3, 4}},
	}}
}

// By hand: runtime 4+6 = 10; late are job 1 (6 > 5) and job 4 (12 > 9); set-up costs
// 1 (from 1 to 1) and 0 (from 2 to 2). 2*10 + 50*2 + 3*1 = 123.
func TestEvaluateByHand(t *testing.T) {
	in := twoOvens(t)
	require.Empty(t, Check(in, goodPlan()))
	sc := Evaluate(in, goodPlan())
	require.Equal(t, Score{Runtime: 10, Tardy: 2, SetupCosts: 1, Integer: 123, Normalised: 0.123}, sc)
}

// Each plan breaks one constraint and nothing else.
func TestCheckNamesTheOneBrokenConstraint(t *testing.T) {
	cases := []struct {
		breaks string
		why    string
		plan   func(p *Plan)
	}{
		{"known", "there is no machine 3", func(p *Plan) { p.Batches[1].Machine = 3 }},
		{"known", "there is no job 5", func(p *Plan) { p.Batches[1].Jobs = []int{3, 4, 5} }},
		{"known", "a batch of nothing", func(p *Plan) {
			p.Batches = append(p.Batches, Batch{Machine: 2, Start: 30, End: 31})
		}},
		{"scheduled-once", "job 4 is nowhere", func(p *Plan) { p.Batches[1].Jobs = []int{3} }},
		{"scheduled-once", "job 3 runs twice", func(p *Plan) {
			p.Batches = append(p.Batches, Batch{Machine: 2, Start: 20, End: 25, Jobs: []int{3}})
		}},
		{"eligible-machine", "job 1 may go on machine 1 only", func(p *Plan) {
			p.Batches[0] = Batch{Machine: 2, Start: 20, End: 24, Jobs: []int{1, 2}}
		}},
		{"one-attribute", "job 2 of attribute 1 runs with job 4 of attribute 2", func(p *Plan) {
			p.Batches = []Batch{
				{Machine: 1, Start: 1, End: 5, Jobs: []int{1}},
				{Machine: 2, Start: 6, End: 11, Jobs: []int{3}},
				{Machine: 2, Start: 14, End: 20, Jobs: []int{4, 2}},
			}
			// Job 2 bears 5 minutes and would break longest-time too, so job 4 needs less here.
		}},
		{"capacity", "sizes 4 and 4 on a machine of 5", func(p *Plan) {
			p.Batches[1] = Batch{Machine: 1, Start: 22, End: 28, Jobs: []int{3, 4}}
		}},
		{"least-time", "job 4 needs 6 minutes", func(p *Plan) { p.Batches[1].End = 11 }},
		{"longest-time", "job 2 bears 5 minutes", func(p *Plan) { p.Batches[0].End = 8 }},
		{"release", "job 4 is released at 6", func(p *Plan) { p.Batches[1].Start, p.Batches[1].End = 5, 11 }},
		{"sequence", "no set-up between jobs 3 and 2", func(p *Plan) {
			p.Batches[0] = Batch{Machine: 1, Start: 2, End: 6, Jobs: []int{1}}
			p.Batches = append(p.Batches, Batch{Machine: 2, Start: 14, End: 17, Jobs: []int{2}})
		}},
		{"availability", "machine 1 is closed from 10 to 20", func(p *Plan) {
			p.Batches[0].Start, p.Batches[0].End = 7, 11
		}},
		{"availability", "the set-up before job 1 would begin at 19, in the gap", func(p *Plan) {
			p.Batches[0].Start, p.Batches[0].End = 20, 24
		}},
	}
	named := map[string]bool{}
	for _, c := range cases {
		in := twoOvens(t)
		if c.breaks == "one-attribute" {
			spec := in.Spec()
			spec.MinTime = []int64{4, 3, 5, 5}
			var err error
			in, err = New(spec)
			require.NoError(t, err)
		}
		p := goodPlan()
		c.plan(p)
		if c.breaks == "one-attribute" {
			p.Batches[2].End = 19
		}
		broken := Check(in, p)
		require.NotEmpty(t, broken, c.why)
		for _, v := range broken {
			require.Equal(t, c.breaks, v.Constraint, "%s: %s", c.why, v)
		}
		named[c.breaks] = true
	}
	for _, name := range Constraints() {
		require.True(t, named[name], "no plan breaks %s alone", name)
	}
}
