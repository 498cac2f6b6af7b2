package oven

import "math/bits"

// exactJobs is the most jobs that the exact search takes on.
const exactJobs = 14

// exact solves a small instance to proven optimality by dynamic programming over sets
// of jobs.
//
// For one machine, a label of a set S is a way to do exactly S there: minute at which
// it ends, family it ends with, cost. Every sequence of batches is reached by appending
// batches, and of two labels of the same set and family the one that ends no earlier
// and costs no less is of no use, because every continuation of it is open to the
// other at no more cost (starts are monotone in the end before). The best plan of all
// machines is then a division of the jobs among them, found by a second dynamic
// program over subsets.
//
// It counts appended batches in steps and gives up, returning false, when their number
// exceeds limit. A plan of nil with true means: proven infeasible.
func exact(in *Instance, limit int64) (*Plan, int64, bool) {
	n := len(in.jobs)
	if n > exactJobs {
		return nil, 0, false
	}
	e := &exactSearch{in: in, left: limit, full: 1<<uint(n) - 1}
	e.describeSets()
	total := make([]int64, e.full+1)
	for s := range total {
		total[s] = exactNone
	}
	total[0] = 0
	chosen := make([][]uint32, len(in.machines))
	for m := range in.machines {
		labels := e.machine(m)
		if labels == nil {
			return nil, 0, false
		}
		e.labels = append(e.labels, labels)
		alone := make([]int64, e.full+1)
		for s := range alone {
			alone[s] = exactNone
			for i := range labels[s] {
				alone[s] = min(alone[s], labels[s][i].cost)
			}
		}
		next := make([]int64, e.full+1)
		chosen[m] = make([]uint32, e.full+1)
		for s := uint32(0); s <= e.full; s++ {
			next[s] = exactNone
			for t := s; ; t = (t - 1) & s {
				if alone[t] < exactNone && total[s&^t] < exactNone && alone[t]+total[s&^t] < next[s] {
					next[s], chosen[m][s] = alone[t]+total[s&^t], t
				}
				if t == 0 {
					break
				}
			}
		}
		total = next
	}
	if total[e.full] == exactNone {
		return nil, 0, true
	}
	p, s := &Plan{}, e.full
	for m := len(in.machines) - 1; m >= 0; m-- {
		t := chosen[m][s]
		e.write(p, m, t)
		s &^= t
	}
	p.sort()
	return p, total[e.full], true
}

const exactNone = int64(1) << 62

// exactLabel is one way to do a set of jobs on one machine.
type exactLabel struct {
	end, interval, family int32
	cost                  int64
	batch                 uint32 // the last batch
	from                  int32  // index of the label before, in the set without it
}

type exactSearch struct {
	in   *Instance
	left int64
	full uint32
	// sets describes every set of jobs as a batch; jobs is 0 for one that cannot be.
	sets   []node
	labels [][][]exactLabel
}

func (e *exactSearch) describeSets() {
	st := newState(e.in)
	e.sets = make([]node, e.full+1)
	var list []int32
	for s := uint32(1); s <= e.full; s++ {
		list = list[:0]
		same := true
		for rest := s; rest != 0; rest &= rest - 1 {
			j := int32(bits.TrailingZeros32(rest))
			list = append(list, j)
			same = same && e.in.jobs[j].family == e.in.jobs[list[0]].family
		}
		st.describe(&e.sets[s], list)
		if !same || e.sets[s].runtime > e.sets[s].longest {
			e.sets[s].jobs = 0
		}
	}
}

// machine gives the undominated labels of every set on one machine, or nil when the
// limit is reached.
func (e *exactSearch) machine(m int) [][]exactLabel {
	in, mc := e.in, &e.in.machines[m]
	labels := make([][]exactLabel, e.full+1)
	labels[0] = []exactLabel{{family: mc.initial}}
	for s := uint32(0); s <= e.full; s++ {
		if len(labels[s]) == 0 {
			continue
		}
		rest := e.full &^ s
		for b := rest; b != 0; b = (b - 1) & rest {
			nd := &e.sets[b]
			if nd.jobs == 0 || nd.size > mc.capacity || nd.machines&(1<<uint(m)) == 0 {
				continue
			}
			if e.left -= int64(len(labels[s])); e.left < 0 {
				return nil
			}
			for i := range labels[s] {
				l := &labels[s][i]
				wait, cost := in.setup(l.family, nd.family)
				end, at := place(mc.intervals, l.interval, l.end, wait, nd.release, nd.runtime)
				if end == never {
					continue
				}
				late := int64(0)
				for r := b; r != 0; r &= r - 1 {
					if in.jobs[bits.TrailingZeros32(r)].due < end {
						late++
					}
				}
				total := l.cost + in.runtimeWeight*int64(nd.runtime) + in.setupWeight*int64(cost) + in.tardyWeight*late
				labels[s|b] = addLabel(labels[s|b], exactLabel{end, at, nd.family, total, b, int32(i)})
			}
		}
	}
	return labels
}

// addLabel adds a label unless one there is at least as good; those that it makes
// useless are removed only while nothing refers to them, which holds because a set's
// labels are extended after all its smaller sets.
func addLabel(list []exactLabel, l exactLabel) []exactLabel {
	for i := range list {
		o := &list[i]
		if o.family == l.family && o.end <= l.end && o.cost <= l.cost {
			return list
		}
	}
	kept := list[:0]
	for _, o := range list {
		if o.family == l.family && l.end <= o.end && l.cost <= o.cost {
			continue
		}
		kept = append(kept, o)
	}
	return append(kept, l)
}

// write appends to the plan the batches of the cheapest way to do a set on a machine.
func (e *exactSearch) write(p *Plan, m int, s uint32) {
	if s == 0 {
		return
	}
	best := int32(0)
	for i := range e.labels[m][s] {
		if e.labels[m][s][i].cost < e.labels[m][s][best].cost {
			best = int32(i)
		}
	}
	for s != 0 {
		l := e.labels[m][s][best]
		b := Batch{Machine: m + 1, Start: int64(l.end - e.sets[l.batch].runtime), End: int64(l.end)}
		for r := l.batch; r != 0; r &= r - 1 {
			b.Jobs = append(b.Jobs, bits.TrailingZeros32(r)+1)
		}
		p.Batches = append(p.Batches, b)
		s &^= l.batch
		best = l.from
	}
}
