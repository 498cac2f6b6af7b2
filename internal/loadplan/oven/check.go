package oven

import (
	"fmt"
	"sort"
)

// Violation is one constraint that a plan breaks, and where.
type Violation struct {
	// Constraint is the name of the predicate, from Constraints.
	Constraint string
	// Detail says which batch or job, and how.
	Detail string
}

func (v Violation) String() string { return v.Constraint + ": " + v.Detail }

// A constraint looks at a whole plan and reports what breaks it. Later constraints
// may rely on those before them only in not being called when "known" is broken.
type constraint struct {
	name  string
	holds func(s *Spec, p *Plan, report func(format string, args ...any))
}

// The checker reads the file's fields and the written plan, and nothing that the
// search computed. Its predicates are deliberately direct.
var constraints = []constraint{
	{"known", known},
	{"scheduled-once", scheduledOnce},
	{"eligible-machine", eligibleMachine},
	{"one-attribute", oneAttribute},
	{"capacity", capacity},
	{"least-time", leastTime},
	{"longest-time", longestTime},
	{"release", release},
	{"sequence", sequence},
	{"availability", availability},
}

// Constraints lists the names that a Violation can carry.
func Constraints() []string {
	out := make([]string, len(constraints))
	for i, c := range constraints {
		out[i] = c.name
	}
	return out
}

// Check returns every violation of a plan; none means that the plan is valid.
func Check(in *Instance, p *Plan) []Violation {
	var out []Violation
	spec := in.spec
	for _, c := range constraints {
		c.holds(&spec, p, func(format string, args ...any) {
			out = append(out, Violation{c.name, fmt.Sprintf(format, args...)})
		})
		if c.name == "known" && len(out) > 0 {
			return out
		}
	}
	return out
}

// known: every batch is on a machine that exists, holds at least one job, and only
// jobs that exist.
func known(s *Spec, p *Plan, report func(string, ...any)) {
	for i, b := range p.Batches {
		if b.Machine < 1 || b.Machine > s.Machines {
			report("batch %d is on machine %d of %d", i+1, b.Machine, s.Machines)
		}
		if len(b.Jobs) == 0 {
			report("batch %d is empty", i+1)
		}
		for _, j := range b.Jobs {
			if j < 1 || j > s.Jobs {
				report("batch %d holds job %d of %d", i+1, j, s.Jobs)
			}
		}
	}
}

// scheduled-once: every job is in exactly one batch.
func scheduledOnce(s *Spec, p *Plan, report func(string, ...any)) {
	times := make([]int, s.Jobs+1)
	for _, b := range p.Batches {
		for _, j := range b.Jobs {
			times[j]++
		}
	}
	for j := 1; j <= s.Jobs; j++ {
		if times[j] != 1 {
			report("job %d is in %d batches", j, times[j])
		}
	}
}

// eligible-machine: a batch's machine is eligible for each of its jobs.
func eligibleMachine(s *Spec, p *Plan, report func(string, ...any)) {
	for i, b := range p.Batches {
		for _, j := range b.Jobs {
			found := false
			for _, m := range s.Eligible[j-1] {
				found = found || int(m) == b.Machine
			}
			if !found {
				report("job %d of batch %d may not go on machine %d", j, i+1, b.Machine)
			}
		}
	}
}

// one-attribute: the jobs of a batch have one attribute.
func oneAttribute(s *Spec, p *Plan, report func(string, ...any)) {
	for i, b := range p.Batches {
		for _, j := range b.Jobs {
			if s.Attribute[j-1] != s.Attribute[b.Jobs[0]-1] {
				report("batch %d holds jobs %d and %d of attributes %d and %d", i+1, b.Jobs[0], j, s.Attribute[b.Jobs[0]-1], s.Attribute[j-1])
			}
		}
	}
}

// capacity: the sizes of a batch's jobs add up to at most its machine's max_cap.
func capacity(s *Spec, p *Plan, report func(string, ...any)) {
	for i, b := range p.Batches {
		var sum int64
		for _, j := range b.Jobs {
			sum += s.Size[j-1]
		}
		if sum > s.MaxCap[b.Machine-1] {
			report("batch %d has size %d on machine %d of capacity %d", i+1, sum, b.Machine, s.MaxCap[b.Machine-1])
		}
	}
}

// least-time: a batch runs at least as long as each of its jobs needs.
func leastTime(s *Spec, p *Plan, report func(string, ...any)) {
	for i, b := range p.Batches {
		for _, j := range b.Jobs {
			if b.End-b.Start < s.MinTime[j-1] {
				report("batch %d runs %d minutes, job %d needs %d", i+1, b.End-b.Start, j, s.MinTime[j-1])
			}
		}
	}
}

// longest-time: a batch runs no longer than each of its jobs bears.
func longestTime(s *Spec, p *Plan, report func(string, ...any)) {
	for i, b := range p.Batches {
		for _, j := range b.Jobs {
			if b.End-b.Start > s.MaxTime[j-1] {
				report("batch %d runs %d minutes, job %d bears %d", i+1, b.End-b.Start, j, s.MaxTime[j-1])
			}
		}
	}
}

// release: a batch starts no earlier than any of its jobs is released.
func release(s *Spec, p *Plan, report func(string, ...any)) {
	for i, b := range p.Batches {
		for _, j := range b.Jobs {
			if b.Start < s.EarliestStart[j-1] {
				report("batch %d starts at %d, job %d is released at %d", i+1, b.Start, j, s.EarliestStart[j-1])
			}
		}
	}
}

// onMachine lists a machine's batches by start.
func onMachine(p *Plan, machine int) []int {
	var out []int
	for i, b := range p.Batches {
		if b.Machine == machine {
			out = append(out, i)
		}
	}
	sort.SliceStable(out, func(x, y int) bool {
		a, b := p.Batches[out[x]], p.Batches[out[y]]
		if a.Start != b.Start {
			return a.Start < b.Start
		}
		return a.End < b.End
	})
	return out
}

// setupBefore is the set-up time before the k-th batch of a machine's order.
func setupBefore(s *Spec, p *Plan, order []int, k int) int64 {
	b := p.Batches[order[k]]
	from := s.InitialState[b.Machine-1]
	if k > 0 {
		from = s.Attribute[p.Batches[order[k-1]].Jobs[0]-1]
	}
	return s.SetupTimes[from-1][s.Attribute[b.Jobs[0]-1]-1]
}

// sequence: a batch starts no earlier than the end of the batch before it on its
// machine plus the set-up time.
func sequence(s *Spec, p *Plan, report func(string, ...any)) {
	for m := 1; m <= s.Machines; m++ {
		order := onMachine(p, m)
		for k := 1; k < len(order); k++ {
			before, b := p.Batches[order[k-1]], p.Batches[order[k]]
			if setup := setupBefore(s, p, order, k); b.Start < before.End+setup {
				report("batch %d starts at %d, but the one before it ends at %d and the set-up takes %d", order[k]+1, b.Start, before.End, setup)
			}
		}
	}
}

// availability: set-up and batch lie in one availability interval of the machine.
func availability(s *Spec, p *Plan, report func(string, ...any)) {
	for m := 1; m <= s.Machines; m++ {
		order := onMachine(p, m)
		for k, i := range order {
			b, inside := p.Batches[i], false
			from := b.Start - setupBefore(s, p, order, k)
			for iv := range s.IntervalStart[m-1] {
				inside = inside || (s.IntervalStart[m-1][iv] <= from && b.End <= s.IntervalEnd[m-1][iv])
			}
			if !inside {
				report("batch %d with its set-up takes [%d, %d), which lies in no interval of machine %d", i+1, from, b.End, m)
			}
		}
	}
}
