package nogood

import (
	"cmp"
	"slices"
)

// learn turns the conflict at hand into a clause, goes back to where the clause first says something, and lets it
// speak. It returns false if the conflict follows from the model, or from the first levels (the assumptions) alone.
func (s *Solver) learn(assumed int32) bool {
	top := int32(0)
	for _, l := range s.conflict {
		if at := s.cause(l, s.pos[l.half]); at >= 0 {
			top = max(top, s.trail[at].level)
		}
	}
	if top == 0 {
		s.broken = true
		s.backTo(0)
		return false
	}
	if top <= assumed {
		// It may still teach something, but the answer under these assumptions is known.
		s.backTo(0)
		return false
	}
	s.backTo(top)

	count := 0
	start := s.limits[top-1].trail
	s.marked = s.marked[:0]
	s.mark(s.conflict, int32(len(s.trail)), start, &count)
	var buffer []Lit
	i := int32(len(s.trail))
	for {
		for i--; !s.seen[s.trail[i].half] || s.at[s.trail[i].half] != i; i-- {
		}
		if count == 1 {
			break
		}
		e := &s.trail[i]
		s.seen[e.half] = false
		count--
		s.bumpVar(Var(e.half >> 1))
		if e.reason.clause != nil {
			s.bumpClause(e.reason.clause)
		}
		buffer = s.conditions(buffer[:0], Lit{e.half, e.new}, e.reason)
		s.mark(buffer, i, start, &count)
	}
	uip := Lit{s.trail[i].half, s.need[s.trail[i].half]}
	s.bumpVar(uip.Var())

	lits := []Lit{uip.Not()}
	var levels []int32
	s.stamps++
	lbd, back := int32(1), int32(0)
	backAt := -1
	for _, h := range s.marked {
		if !s.seen[h] || h == uip.half {
			continue
		}
		if s.redundant(h) {
			continue
		}
		l := Lit{h, s.need[h]}
		level := s.trail[s.at[h]].level
		lits = append(lits, l.Not())
		if !slices.Contains(levels, level) {
			levels = append(levels, level)
			lbd++
		}
		if level > back {
			back, backAt = level, len(lits)-1
		}
		s.bumpVar(l.Var())
	}
	for _, h := range s.marked {
		s.seen[h] = false
	}
	s.inc *= 1.0 / 0.95
	if s.inc > 1e100 {
		for x := range s.active {
			s.active[x] *= 1e-100
		}
		s.inc *= 1e-100
	}
	s.bump *= 1.0 / 0.999

	s.backTo(back)
	if len(lits) == 1 {
		if !s.set(lits[0], reason{}) {
			s.broken = true
			return false
		}
		return true
	}
	lits[1], lits[backAt] = lits[backAt], lits[1]
	c := &clause{lits: lits, learnt: true, lbd: lbd, activity: s.bump}
	s.learnts = append(s.learnts, c)
	s.attach(c)
	s.set(lits[0], reason{clause: c})
	return true
}

// cause is the trail entry, at or before from, that first made l true; -1 if it holds without any decision.
func (s *Solver) cause(l Lit, from int32) int32 {
	at := from
	for at >= 0 && s.trail[at].old >= l.value {
		at = s.trail[at].before
	}
	if at >= 0 && s.trail[at].level == 0 {
		return -1
	}
	return at
}

// mark adds literals that were true before the trail entry limit to those the conflict rests on.
func (s *Solver) mark(lits []Lit, limit, start int32, count *int) {
	for _, l := range lits {
		if s.root[l.half] >= l.value {
			continue
		}
		from := s.pos[l.half]
		if s.seen[l.half] {
			if s.need[l.half] >= l.value {
				continue
			}
		}
		for from >= limit {
			from = s.trail[from].before
		}
		at := s.cause(l, from)
		if at < 0 {
			continue
		}
		if s.seen[l.half] {
			if s.at[l.half] >= start {
				*count--
			}
		} else {
			s.seen[l.half] = true
			s.marked = append(s.marked, l.half)
		}
		s.need[l.half], s.at[l.half] = l.value, at
		if at >= start {
			*count++
		}
	}
}

// redundant reports whether a marked literal follows from the other marked ones by its own reason.
func (s *Solver) redundant(h int32) bool {
	e := &s.trail[s.at[h]]
	if e.reason.clause == nil && e.reason.from == e.reason.to {
		return false // a decision
	}
	implied := func(l Lit) bool {
		return s.root[l.half] >= l.value || l.half != h && s.seen[l.half] && s.need[l.half] >= l.value && s.at[l.half] < s.at[h]
	}
	if e.reason.clause != nil {
		for _, c := range e.reason.clause.lits {
			if c.half == e.half && c.value == e.new {
				continue
			}
			if !implied(c.Not()) {
				return false
			}
		}
		return true
	}
	for _, l := range s.arena[e.reason.from:e.reason.to] {
		if !implied(l) {
			return false
		}
	}
	return true
}

func (s *Solver) bumpVar(x Var) { s.active[x] += s.inc }

func (s *Solver) bumpClause(c *clause) {
	if !c.learnt {
		return
	}
	if c.activity += s.bump; c.activity > 1e100 {
		for _, d := range s.learnts {
			d.activity *= 1e-100
		}
		s.bump *= 1e-100
	}
}

// mostLearnt is how many learnt clauses are kept at first. Proofs are often that long, and forgetting part of one costs
// more than to look through all of it.
const mostLearnt = 20_000

// reduce forgets half of the learnt clauses when there are many: those that involve many levels and were of no use
// lately. It is called at level 0, where no clause is a reason for anything.
func (s *Solver) reduce() {
	s.sinceReduce = 0
	if len(s.learnts) < mostLearnt+int(s.conflicts/20) {
		return
	}
	slices.SortStableFunc(s.learnts, func(a, b *clause) int {
		if (a.lbd <= 2) != (b.lbd <= 2) {
			if a.lbd <= 2 {
				return -1
			}
			return 1
		}
		return cmp.Compare(b.activity, a.activity)
	})
	half := len(s.learnts) / 2
	for i := half; i < len(s.learnts); i++ {
		if s.learnts[i].lbd > 2 {
			s.learnts[i].dead = true
		}
	}
	s.learnts = slices.DeleteFunc(s.learnts, func(c *clause) bool { return c.dead })
	for h := range s.watches {
		s.watches[h] = slices.DeleteFunc(s.watches[h], func(w watch) bool { return w.clause.dead })
	}
}
