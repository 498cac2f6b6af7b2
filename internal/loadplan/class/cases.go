package class

import (
	"cmp"
	"slices"

	"stillroom/internal/loadplan/nogood"
)

// caseOf is a part of the plans asked about: those in which some batches are filled within narrower spans, or kept
// out of some canners. Dividing a question into cases lets prices adapt to each, which refuses most of them, and
// leaves easier ones to the constraint model.
type caseOf struct {
	lits     []nogood.Lit // what the case supposes
	from, to []int        // by batch, when it may be filled if it is needed
	barred   [][]bool     // by canner and batch
	prices   state        // to begin with
	priced   bool
	spent    int64 // effort of the constraint model so far
	taken    []take
}

// wholeCase is the undivided question.
func wholeCase(p *prices) *caseOf {
	c := &caseOf{}
	c.keep(p)
	return c
}

func cloneRows(rows [][]bool) [][]bool {
	out := make([][]bool, len(rows))
	for i := range rows {
		out[i] = slices.Clone(rows[i])
	}
	return out
}

// keep takes over the state of p.
func (c *caseOf) keep(p *prices) {
	c.prices = state{}
	c.from, c.to, c.barred = slices.Clone(p.from), slices.Clone(p.to), cloneRows(p.barred)
	c.prices.keep(p)
}

// enter puts the case into p.
func (c *caseOf) enter(p *prices) {
	copy(p.from, c.from)
	copy(p.to, c.to)
	for i := range c.barred {
		copy(p.barred[i], c.barred[i])
	}
	c.prices.enter(p)
}

func (c *caseOf) child(lits ...nogood.Lit) *caseOf {
	return &caseOf{lits: append(slices.Clone(c.lits), lits...), from: slices.Clone(c.from), to: slices.Clone(c.to), barred: cloneRows(c.barred),
		prices: c.prices} // keep makes new prices before they change
}

// cut is a way to divide a case: by the minute up to which a batch is filled, or by whether it goes into a canner.
type cut struct {
	batch, canner int // canner -1 to cut at the minute
	minute        int
	score         float64
}

// cuts lists promising ways to divide a case, the best first. It looks at where and when canners would take each
// batch at the prices tried; the more they disagree, the better the cut.
func (c *caseOf) cuts(in *Instance, m *model) []cut {
	type stat struct {
		total   float64
		byPlace []float64
		byTime  []float64
	}
	stats := make([]stat, len(in.batches))
	for _, t := range c.taken {
		s := &stats[t.batch]
		if s.byPlace == nil {
			s.byPlace, s.byTime = make([]float64, len(in.canners)), make([]float64, m.deadline+1)
		}
		n := float64(t.jars)
		s.total += n
		s.byPlace[t.canner] += n
		s.byTime[t.at] += n
	}
	var out []cut
	upTo := make([]float64, m.deadline+2)
	for b := range stats {
		s := &stats[b]
		if s.total == 0 || in.batches[b].filled != open {
			continue
		}
		weight := float64(in.batches[b].left)
		// Filled by minute t, or later. A load may follow at once or after the longest wait: loads up to t are only in
		// the first part, those after t+hold only in the second.
		sum := 0.0
		for t := range s.byTime {
			sum += s.byTime[t]
			upTo[t+1] = sum
		}
		best := cut{batch: b, canner: -1}
		for t := c.from[b]; t < min(c.to[b], m.deadline); t++ {
			early, late := upTo[t+1], sum-upTo[min(t+in.batches[b].hold, m.deadline)+1]
			if score := weight * min(early, late) / sum; score > best.score+1e-9 {
				best.score, best.minute = score, t
			}
		}
		if best.score > 0 {
			out = append(out, best)
		}
		for k, n := range s.byPlace {
			if m.where[k][b] == none || c.barred[k][b] {
				continue
			}
			score := weight * min(n, sum-n) / sum
			if in.batches[b].split {
				score *= 0.4 // the part that does use the canner is hardly narrower
			}
			if score > 1e-9 {
				out = append(out, cut{batch: b, canner: k, score: score})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b cut) int { return cmp.Compare(b.score, a.score) })
	if len(out) > 0 {
		return out
	}
	// The canners agree, and yet there is no plan in sight: halve the widest span.
	best := cut{batch: -1, canner: -1}
	for b := range in.batches {
		to := min(c.to[b], m.deadline)
		if score := float64((to - c.from[b]) * in.batches[b].left); in.batches[b].filled == open && to > c.from[b] && score > best.score {
			best = cut{batch: b, canner: -1, minute: (c.from[b] + to) / 2, score: score}
		}
	}
	if best.batch < 0 {
		return nil
	}
	return []cut{best}
}

// divide splits a case in two that together hold all its plans.
func (c *caseOf) divide(in *Instance, m *model, by cut) []*caseOf {
	b := by.batch
	if by.canner < 0 {
		early, late := c.child(nogood.AtMost(m.f[b], by.minute)), c.child(nogood.AtLeast(m.f[b], by.minute+1))
		early.to[b], late.from[b] = by.minute, by.minute+1
		// What comes later at the station comes after it.
		list := in.stations[in.batches[b].station]
		for k := in.batches[b].place + 1; k < len(list); k++ {
			late.from[list[k]] = max(late.from[list[k]], late.from[list[k-1]]+in.batches[list[k]].stage)
		}
		return []*caseOf{early, late}
	}
	without := c.child(nogood.AtMost(m.where[by.canner][b], 0))
	without.barred[by.canner][b] = true
	if in.batches[b].split {
		return []*caseOf{c.child(nogood.AtLeast(m.where[by.canner][b], 1)), without}
	}
	only := c.child()
	for k := range in.canners {
		if k == by.canner {
			continue
		}
		only.barred[k][b] = true
		if m.where[k][b] != none {
			only.lits = append(only.lits, nogood.AtMost(m.where[k][b], 0))
		}
	}
	return []*caseOf{only, without}
}
