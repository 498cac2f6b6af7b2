package check_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/loadplan/class"
	"stillroom/internal/loadplan/class/check"
)

// spec is a small class whose valid plan can be followed by hand. Two handlers, handling 2, rest 5.
//
//	c1 takes ceil(10.2 + 0.3n) minutes to the boil: 6 jars ceil(12.0) = 12, 4 jars ceil(11.4) = 12, 7 jars ceil(12.3) = 13
//	c2 takes 15 whatever it holds, and may be used from 40 on
func spec() class.Spec {
	return class.Spec{Form: class.Form, Name: "by hand", Close: 200, Handlers: 2, Handling: 2, Rest: 5, Burners: 3,
		Processes: []class.Process{{ID: "peaches", Method: "boiling-water", Minutes: 25}, {ID: "jam", Method: "boiling-water", Minutes: 10}, {ID: "beans", Method: "pressure", Minutes: 20, Vent: 10}},
		Canners: []class.Canner{
			{ID: "c1", Methods: []string{"boiling-water", "pressure"}, Capacity: map[string]int{"pint": 7, "half-pint": 8}, ComeUpBase: "10.2", ComeUpPerJar: "0.3", Reset: 4},
			{ID: "c2", Methods: []string{"boiling-water"}, Capacity: map[string]int{"pint": 6, "half-pint": 6}, ComeUpBase: "15", ComeUpPerJar: "0", Windows: []class.Window{{Start: 40, End: 200}}},
		},
		Batches: []class.Batch{
			{ID: "a", Station: "one", Order: 1, Process: "peaches", Size: "pint", Jars: 6, Stage: 30, ReadyEarliest: 35, HoldMax: 10},
			{ID: "b", Station: "one", Order: 2, Process: "jam", Size: "half-pint", Jars: 8, Stage: 40, ReadyEarliest: 75, HoldMax: 20, Split: true},
			{ID: "c", Station: "two", Order: 1, Process: "jam", Size: "half-pint", Jars: 4, Stage: 50, ReadyEarliest: 50, HoldMax: 15},
			{ID: "d", Station: "three", Order: 1, Process: "beans", Size: "pint", Jars: 7, Stage: 20, ReadyEarliest: 20, HoldMax: 5},
		},
	}
}

// answer is a valid plan:
//
//	a: filled 35, c1 at 35: 2 + 12 + 25 + 5 + 2 = 46, out at 81
//	c: filled 50, c2 at 50: 2 + 15 + 10 + 5 + 2 = 34, out at 84
//	b: filled 85, 6 jars in c2 at 85, out at 119, and 2 jars in c1 at 85: 2 + ceil(10.8) + 10 + 5 + 2 = 30, out at 115
//	d: filled 119, c1 at 119: 2 + 13 + 10 + 20 + 5 + 2 = 52, out at 171
func answer() class.Answer {
	return class.Answer{Form: class.Form, Name: "by hand", Filled: map[string]int{"a": 35, "b": 85, "c": 50, "d": 119},
		Loads: []class.LoadSpec{
			{Canner: "c1", Start: 35, End: 81, Process: "peaches", Size: "pint", Jars: map[string]int{"a": 6}},
			{Canner: "c2", Start: 50, End: 84, Process: "jam", Size: "half-pint", Jars: map[string]int{"c": 4}},
			{Canner: "c2", Start: 85, End: 119, Process: "jam", Size: "half-pint", Jars: map[string]int{"b": 6}},
			{Canner: "c1", Start: 85, End: 115, Process: "jam", Size: "half-pint", Jars: map[string]int{"b": 2}},
			{Canner: "c1", Start: 119, End: 171, Process: "beans", Size: "pint", Jars: map[string]int{"d": 7}},
		},
		Objective: class.Value{Finish: 171, Loads: 5},
	}
}

func TestValidByHand(t *testing.T) {
	require.Empty(t, check.Answer(spec(), answer()))
	_, err := class.Build(spec())
	require.NoError(t, err)
}

// TestEachRule breaks one rule at a time, by changing the plan or the instance, and expects exactly its name.
func TestEachRule(t *testing.T) {
	for rule, broken := range map[check.Rule]func(s *class.Spec, a *class.Answer){
		check.Known:   func(_ *class.Spec, a *class.Answer) { delete(a.Filled, "c") },
		check.Ready:   func(s *class.Spec, _ *class.Answer) { s.Batches[0].ReadyEarliest = 36 },
		check.Opening: func(s *class.Spec, _ *class.Answer) { s.Batches[0].Stage = 36 },
		check.Station: func(s *class.Spec, _ *class.Answer) { s.Batches[1].Stage = 51 },
		check.Process: func(s *class.Spec, _ *class.Answer) {
			s.Processes = append(s.Processes, class.Process{ID: "jelly", Method: "boiling-water", Minutes: 10})
			s.Batches[2].Process = "jelly"
		},
		check.Size:     func(s *class.Spec, _ *class.Answer) { s.Batches[2].Size = "pint" },
		check.Method:   func(s *class.Spec, _ *class.Answer) { s.Canners[0].Methods = []string{"boiling-water"} },
		check.Capacity: func(s *class.Spec, _ *class.Answer) { s.Canners[1].Capacity["half-pint"] = 5 },
		check.Jars: func(s *class.Spec, a *class.Answer) {
			s.Batches[1].Jars = 7
			a.Objective.Unprocessed, a.Bound.Unprocessed = -1, -1
		},
		check.Whole:     func(s *class.Spec, _ *class.Answer) { s.Batches[2].Jars = 5; s.Batches[1].Jars = 8 },
		check.HoldEarly: func(_ *class.Spec, a *class.Answer) { a.Filled["d"] = 120; a.Objective.Hold = -7 },
		check.HoldLate:  func(s *class.Spec, a *class.Answer) { a.Filled["d"] = 113; a.Objective.Hold = 42 },
		check.Length:    func(_ *class.Spec, a *class.Answer) { a.Loads[4].End = 172; a.Objective.Finish = 172 },
		check.Canner:    func(s *class.Spec, _ *class.Answer) { s.Canners[0].Reset = 5 },
		check.Window: func(s *class.Spec, _ *class.Answer) {
			s.Canners[1].Windows = []class.Window{{Start: 40, End: 100}, {Start: 100, End: 200}}
		},
		check.Close:    func(s *class.Spec, _ *class.Answer) { s.Close = 170 },
		check.Burners:  func(s *class.Spec, _ *class.Answer) { s.Burners = 2 },
		check.Handlers: func(s *class.Spec, _ *class.Answer) { s.Handlers = 1 },
		check.Done: func(s *class.Spec, _ *class.Answer) {
			s.Done = &class.Done{Filled: map[string]int{"a": 35}, Loads: []class.LoadSpec{{Canner: "c1", Start: 36, End: 82, Jars: map[string]int{"a": 6}}}}
		},
		check.Objective: func(_ *class.Spec, a *class.Answer) { a.Objective.Hold = 1 },
		check.Bounds:    func(_ *class.Spec, a *class.Answer) { a.Optimal = true },
	} {
		t.Run(string(rule), func(t *testing.T) {
			s, a := spec(), answer()
			broken(&s, &a)
			if rule == check.Whole {
				a.Objective.Unprocessed = 1
			}
			found := check.Answer(s, a)
			require.NotEmpty(t, found)
			for _, v := range found {
				require.Equal(t, rule, v.Rule, "%s", v)
				require.NotEmpty(t, v.Where)
			}
		})
	}
}

// TestPhases: come-up is the ceiling of the exact decimal sum. 0.1 + 0.1*2 is 0.3 exactly and needs one minute, and
// 0.7 + 0.1*3 is 1 exactly, though sums of binary fractions are a hair above it.
func TestPhases(t *testing.T) {
	for _, c := range []struct {
		base, perJar class.Decimal
		jars, want   int
	}{{"0.7", "0.1", 3, 1}, {"0.1", "0.1", 2, 1}, {"12", "0", 5, 12}, {"12.0", "0.35", 7, 15}, {"1e1", "0.5", 4, 12}, {"0", "", 9, 0}} {
		s := class.Spec{Close: 100, Handlers: 1, Burners: 2, Processes: []class.Process{{ID: "p", Method: "m", Minutes: 10}},
			Canners: []class.Canner{{ID: "c", Methods: []string{"m"}, Capacity: map[string]int{"pint": 9}, ComeUpBase: c.base, ComeUpPerJar: c.perJar}},
			Batches: []class.Batch{{ID: "b", Station: "s", Process: "p", Size: "pint", Jars: c.jars}}}
		a := class.Answer{Filled: map[string]int{"b": 0}, Objective: class.Value{Finish: 10 + c.want, Loads: 1},
			Loads: []class.LoadSpec{{Canner: "c", End: 10 + c.want, Process: "p", Size: "pint", Jars: map[string]int{"b": c.jars}}}}
		require.Empty(t, check.Answer(s, a), "%+v", c)
	}
}
