package class

import (
	"slices"

	"stillroom/internal/loadplan/nogood"
)

// model is an instance as a constraint model. A load is named by its canner and by the first of its batches, in a
// fixed order, which leads it. So what is learnt about a load holds wherever it comes among the loads of its canner,
// and there is one name only for each set of batches. Jars of a batch go into the same canner as often as its loads can
// begin within the time that jars may wait, which is hardly ever more than once. For each load that there may be,
//
//	used  whether there is such a load
//	x[b]  how many jars of batch b it holds; p[b] = (x[b] >= 1) is a bound on x[b], and used = p[leader]
//	n     the sum of x, at most the capacity
//	S, D, E = S + D  start, length and end; D is the table entry for n, by clauses over the steps of the table
//
// and for each batch the minute F of filling and whether it is needed, that is, whether it or a later batch of its
// station goes into a load. A batch that is not needed can be filled after everything else and disturbs nothing.
//
//	p[b] => F <= S <= F + hold            x[b] summed over all loads <= jars
//	needed[b] => F - stage >= F of the batch before
//	used[i], used[j] in one canner => S[j] >= E[i] + reset or S[i] >= E[j] + reset
//	burners: [S, E) if used, [F - stage, F) if needed; hands: [S, S+handling) and [E-handling, E) if used
//	U >= jars - sum of x,  T >= E if used,  L = sum of used
//
// Of canners that are alike the one with the first of the batches loaded in any of them comes first.
type model struct {
	in       *Instance
	s        *nogood.Solver
	deadline int
	all      bool // see newModel
	u, t, l  nogood.Var
	f        []nogood.Var // by batch
	needed   []nogood.Var
	where    [][]nogood.Var // by canner and batch, whether jars of it are loaded there, or none
	loads    [][]load       // by canner
	order    []int          // of batches as leaders
	firsts   []before
}

// load is one that there may be.
type load struct {
	leader                      int
	used, n, start, length, end nogood.Var
	x                           []nogood.Var // by batch, none where impossible
	unit                        []int        // jars that one unit of x stands for
}

// before is whether the first of two loads comes before the other, if there are both.
type before struct {
	first nogood.Var
	both  []nogood.Lit
}

const none = nogood.Var(-1)

// mostCells is the number of pairs of loads in the same canner beyond which no model is made.
const mostCells = 6000

// newModel makes the model, or nil where the instance is too large or has a shape the model does not cover: loads
// that have already been entered for a minute still to come.
//
// If all is set, the model holds for plans only that load every jar that is left, and prices of jars may be negative.
func newModel(in *Instance, deadline int, pr *prices, all bool) *model {
	if !all {
		pr.liftToZero()
	}
	cells := 0
	for c := range in.canners {
		n := 0
		for b := range in.batches {
			n += in.times(c, b)
		}
		cells += n * n
	}
	if cells > mostCells || cells == 0 {
		return nil
	}
	for _, c := range in.canners {
		for _, w := range c.busy {
			if w.Start > in.now {
				return nil
			}
		}
	}
	m := &model{in: in, s: nogood.New(), deadline: deadline, all: all, order: in.leadOrder()}
	s := m.s
	base, doneEnd := in.totalJars, 0
	for _, l := range in.done {
		base -= l.Jars()
		doneEnd = max(doneEnd, l.End)
	}
	m.u = s.NewVar(0, base)
	m.t = s.NewVar(doneEnd, max(doneEnd, deadline))
	m.addBatches()
	var loads []nogood.Term
	m.loads = make([][]load, len(in.canners))
	for c := range in.canners {
		m.addCanner(c)
		for _, p := range m.loads[c] {
			loads = append(loads, nogood.Term{Coef: 1, Var: p.used})
		}
	}
	m.addJars(base)
	m.l = s.NewVar(0, len(loads))
	s.Linear(append(slices.Clone(loads), nogood.Term{Coef: -1, Var: m.l}), 0)
	m.addResources()
	m.addPrices(pr, base)
	m.addDecisions()
	return m
}

// addJars counts the jars loaded: of each batch, and of each family by its batches and by its loads.
func (m *model) addJars(base int) {
	in, s := m.in, m.s
	byBatch, byLoad := make([][]nogood.Term, len(in.families)), make([][]nogood.Term, len(in.families))
	perBatch := make([][]nogood.Term, len(in.batches))
	for c := range m.loads {
		for _, p := range m.loads[c] {
			f := in.batches[p.leader].family
			byLoad[f] = append(byLoad[f], nogood.Term{Coef: -1, Var: p.n})
			for b, x := range p.x {
				if x != none {
					perBatch[b] = append(perBatch[b], nogood.Term{Coef: p.unit[b], Var: x})
				}
			}
		}
	}
	most := make([]int, len(in.families))
	for b, terms := range perBatch {
		if len(terms) == 0 {
			continue
		}
		left := in.batches[b].left
		s.Linear(terms, left)
		jars := s.NewVar(0, left)
		terms = slices.Clone(terms)
		for i := range terms {
			terms[i].Coef = -terms[i].Coef
		}
		s.Linear(append(terms, nogood.Term{Coef: 1, Var: jars}), 0)
		f := in.batches[b].family
		byBatch[f] = append(byBatch[f], nogood.Term{Coef: -1, Var: jars})
		most[f] += left
	}
	objective := []nogood.Term{{Coef: -1, Var: m.u}}
	for f := range in.families {
		if most[f] == 0 {
			continue
		}
		jars := s.NewVar(0, most[f])
		s.Linear(append(byBatch[f], nogood.Term{Coef: 1, Var: jars}), 0)
		s.Linear(append(byLoad[f], nogood.Term{Coef: 1, Var: jars}), 0)
		objective = append(objective, nogood.Term{Coef: -1, Var: jars})
	}
	s.Linear(objective, -base)
}

func allBatches(in *Instance) []int {
	out := make([]int, len(in.batches))
	for i := range out {
		out[i] = i
	}
	return out
}

func (m *model) addBatches() {
	in, s := m.in, m.s
	heads := in.earliestFillings()
	m.f, m.needed = make([]nogood.Var, len(in.batches)), make([]nogood.Var, len(in.batches))
	for _, list := range in.stations {
		for k, b := range list {
			bb := &in.batches[b]
			if bb.filled != open {
				m.f[b], m.needed[b] = s.NewVar(bb.filled, bb.filled), s.NewVar(1, 1)
				continue
			}
			m.f[b] = s.NewVar(min(heads[b], m.deadline), m.deadline)
			can := 1
			if heads[b] > m.deadline {
				can = 0
			}
			m.needed[b] = s.NewVar(0, can)
			if k > 0 {
				before := list[k-1]
				s.Linear([]nogood.Term{{Coef: 1, Var: m.f[before]}, {Coef: -1, Var: m.f[b]}}, -bb.stage, nogood.AtLeast(m.needed[b], 1))
				s.Clause(nogood.AtMost(m.needed[b], 0), nogood.AtLeast(m.needed[before], 1))
			}
		}
	}
}

func (m *model) addResources() {
	in := m.in
	var burners, hands []nogood.Task
	for c := range m.loads {
		for _, p := range m.loads[c] {
			used := []nogood.Lit{nogood.AtLeast(p.used, 1)}
			burners = append(burners, nogood.Task{Start: p.start, End: p.end, HasLength: true, Length: p.length, When: used})
			hands = append(hands,
				nogood.Task{Start: p.start, End: p.start, EndOffset: in.handling, Least: in.handling, When: used},
				nogood.Task{Start: p.end, End: p.end, StartOffset: -in.handling, Least: in.handling, When: used})
		}
	}
	for b := range in.batches {
		if bb := in.batches[b]; bb.filled == open && bb.stage > 0 {
			burners = append(burners, nogood.Task{Start: m.f[b], End: m.f[b], StartOffset: -bb.stage, Least: bb.stage, When: []nogood.Lit{nogood.AtLeast(m.needed[b], 1)}})
		}
	}
	if free := remaining(in.burners, in.burnerUsed); slices.Min(free) < len(in.stations)+len(in.canners) {
		m.s.Cumulative(burners, free)
	}
	if free := remaining(in.handlers, in.handsUsed); in.handling > 0 && slices.Min(free) < len(in.canners) {
		m.s.Cumulative(hands, free)
	}
}

func remaining(limit int, used []int) []int {
	out := make([]int, len(used))
	for t := range out {
		out[t] = limit - used[t]
	}
	return out
}
