package class

import (
	"context"

	"stillroom/internal/loadplan/anytime"
)

// MostJarsBy is the bound on jars from prices, after so many rounds of improving them.
func MostJarsBy(in *Instance, deadline, rounds int, coarse bool) int {
	p := newPrices(in)
	p.coarse = coarse
	return p.improve(deadline, 0, rounds, false)
}

// BoundAt is the bound on jars, in ten-thousandths, at prices that are the same at all times: of a jar of each batch,
// and of a burner for a minute.
func BoundAt(in *Instance, deadline int, jar []int, burner int) int {
	p := newPrices(in)
	for b := range p.jar {
		for j := range p.jar[b] {
			p.jar[b][j] = jar[b]
		}
	}
	for t := range p.burner {
		p.burner[t] = burner
		p.upTo[t+1] = p.upTo[t] + burner
	}
	u := &usage{jars: make([][]int, len(in.batches)), burners: make([]int, in.close+1)}
	for b := range u.jars {
		u.jars[b] = make([]int, p.blocks)
	}
	return p.bound(deadline, u)
}

// TimetablesPerRun makes the timetable of a first list of intents n times and returns the loads made.
func TimetablesPerRun(in *Instance, n int) int {
	s := newSchedule(in)
	list := in.construct(rule{ready: 1, merge: true}, nil)
	loads := 0
	for range n {
		s.reset()
		for i := range list {
			s.add(list[i])
		}
		s.settle()
		loads += s.value().Loads
	}
	return loads
}

// ProveByCases proves jars and finish with provers that divide every question at once, from the plan without loads
// or, if search is set, beside the local search. It returns the value and the bound.
func ProveByCases(in *Instance, work, patience int64, search bool) (value, bound Value) {
	s := anytime.New[*Plan, Value](context.Background(), in.Compare, anytime.Limits{Work: work}, nil)
	s.RaiseBound(Value{})
	plan := newSchedule(in).plan()
	s.Offer(plan, in.Evaluate(plan))
	var workers []anytime.Worker[*Plan, Value]
	if search {
		workers = append(workers, newLocalSearch(in, 1))
	}
	for _, patient := range []bool{false, true} {
		p := newProver(in, patient)
		p.patience, p.wholePatience = patience, patience
		workers = append(workers, p)
	}
	s.Rounds(roundUnits, workers...)
	r := s.Result()
	return r.Value, r.Bound
}

// SearchByRepair is what the search that takes loads out and puts them back finds alone, as a value and as an answer.
func SearchByRepair(in *Instance, work int64, seed uint64) (Value, Answer) {
	s := anytime.New[*Plan, Value](context.Background(), in.Compare, anytime.Limits{Work: work}, nil)
	s.RaiseBound(Value{})
	plan := newSchedule(in).plan()
	s.Offer(plan, in.Evaluate(plan))
	s.Rounds(roundUnits, newRepair(in, seed))
	r := s.Result()
	return r.Value, in.Answer(r.Solution, Bound{}, 0, seed, 0)
}

// MostTimes is how often a batch can go into the same canner, at most.
func MostTimes(in *Instance) int {
	most := 0
	for c := range in.canners {
		for b := range in.batches {
			most = max(most, in.times(c, b))
		}
	}
	return most
}
