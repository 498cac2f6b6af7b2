// Package nogood is a small constraint solver over bounded integers that learns from its failures: lazy clause
// generation in the sense of O. Ohrimenko, P. J. Stuckey and M. Codish, "Propagation via lazy clause generation",
// Constraints 14 (2009), with the conflict analysis of GRASP and Chaff, and cumulative resources explained as in
// A. Schutt, T. Feydy, P. J. Stuckey and M. G. Wallace, "Explaining the cumulative propagator", Constraints 16 (2011).
//
// It knows bounds only. A literal says that a variable is at least, or at most, some value; a clause is a
// disjunction of literals; a propagator tightens bounds and states, for each tightening, the bounds it follows from.
// When a contradiction arises those statements are combined into a clause that excludes its cause for good. There
// is no randomness in it and no clock: the same model and calls give the same answers.
//
// Work is counted by [Solver.Effort], so that a caller can interrupt and resume.
package nogood

import "slices"

// Var is an integer variable.
type Var int32

// Lit is a bound on a variable that is true or false once the bounds of the variable say so. Each variable has two
// halves, itself (even) and its negation (odd), so that a literal always reads "this half is at least v".
type Lit struct {
	half  int32
	value int32
}

// AtLeast is x >= v.
func AtLeast(x Var, v int) Lit { return Lit{int32(x) * 2, int32(v)} }

// AtMost is x <= v.
func AtMost(x Var, v int) Lit { return Lit{int32(x)*2 + 1, int32(-v)} }

// Not is the opposite of l.
func (l Lit) Not() Lit { return Lit{l.half ^ 1, 1 - l.value} }

// Var is the variable that l is about.
func (l Lit) Var() Var { return Var(l.half >> 1) }

type clause struct {
	lits     []Lit
	activity float64
	lbd      int32
	learnt   bool
	dead     bool
}

// reason is why a bound holds: a clause, or a list of literals in the arena, or neither for a decision.
type reason struct {
	clause   *clause
	from, to int32
}

type entry struct {
	half     int32
	old, new int32
	before   int32 // the entry that set the bound before, or -1
	level    int32
	reason   reason
}

type watch struct {
	clause  *clause
	falseAt int32 // the watched literal is false once the opposite half reaches this
	blocker Lit
}

// propagator tightens bounds. It returns false after reporting a conflict through fail.
type propagator interface {
	propagate(s *Solver) bool
	// late reports that it is costly and should wait for the others.
	late() bool
}

// Status is what Solve found.
type Status int

// The outcomes of Solve.
const (
	Unknown Status = iota // interrupted
	Sat                   // all decision variables are fixed; read the values before calling anything else
	Unsat                 // no solution under the assumptions
)

// Solver holds the model and what was learnt.
type Solver struct {
	low     []int32 // by half
	root    []int32 // bounds that hold without any decision
	pos     []int32 // by half, the last trail entry, -1 for none
	trail   []entry
	arena   []Lit
	limits  []levelMark
	head    int
	broken  bool // contradictory without assumptions
	watches [][]watch
	wakes   [][]int32 // by half, propagators to wake

	props  []propagator
	queued []bool
	queue  [2][]int32

	clauses []*clause
	learnts []*clause
	bump    float64
	active  []float64 // by variable
	inc     float64

	decisions []Var
	tiers     []int   // where in decisions the tiers after the first begin
	relevant  [][]Lit // by variable: it need not be fixed while one of these is false
	phase     []int32 // by variable, the value to try first
	hasPhase  []bool

	conflict []Lit // true literals that cannot all be true

	seen   []bool
	need   []int32
	at     []int32
	marked []int32
	stamps int64

	conflicts, effort int64
	restarts          int64
	sinceReduce       int64 // conflicts
}

type levelMark struct{ trail, arena int32 }

// New makes an empty model.
func New() *Solver { return &Solver{bump: 1, inc: 1} }

// NewVar adds a variable with values from lo to hi.
func (s *Solver) NewVar(lo, hi int) Var {
	x := Var(len(s.low) / 2)
	s.low = append(s.low, int32(lo), int32(-hi))
	s.root = append(s.root, int32(lo), int32(-hi))
	s.pos = append(s.pos, -1, -1)
	s.watches = append(s.watches, nil, nil)
	s.wakes = append(s.wakes, nil, nil)
	s.seen = append(s.seen, false, false)
	s.need = append(s.need, 0, 0)
	s.at = append(s.at, 0, 0)
	s.active = append(s.active, 0)
	s.relevant = append(s.relevant, nil)
	s.phase = append(s.phase, 0)
	s.hasPhase = append(s.hasPhase, false)
	if lo > hi {
		s.broken = true
	}
	return x
}

// Decide makes x a variable that Solve must fix, in the order of these calls as long as nothing better is known.
// It may stay open while one of the literals in while is false.
func (s *Solver) Decide(x Var, while ...Lit) {
	s.decisions = append(s.decisions, x)
	s.relevant[x] = while
}

// Then makes the variables of later calls of Decide wait until all those of earlier ones are fixed.
func (s *Solver) Then() { s.tiers = append(s.tiers, len(s.decisions)) }

// Suggest gives the value to try first for x.
func (s *Solver) Suggest(x Var, v int) { s.phase[x], s.hasPhase[x] = int32(v), true }

// Min and Max are the bounds of x as they are.
func (s *Solver) Min(x Var) int { return int(s.low[2*x]) }

// Max is the upper bound of x as it is.
func (s *Solver) Max(x Var) int { return -int(s.low[2*x+1]) }

// Effort is a measure of the work done so far: about a microsecond a unit.
func (s *Solver) Effort() int64 { return s.effort }

// Conflicts is how many failures it has learnt from.
func (s *Solver) Conflicts() int64 { return s.conflicts }

func (s *Solver) isTrue(l Lit) bool  { return s.low[l.half] >= l.value }
func (s *Solver) isFalse(l Lit) bool { return s.low[l.half^1] >= 1-l.value }

func (s *Solver) level() int32 { return int32(len(s.limits)) }

// because stores an explanation: the literals, all true now, from which something follows.
func (s *Solver) because(lits []Lit) reason {
	from := int32(len(s.arena))
	s.arena = append(s.arena, lits...)
	return reason{from: from, to: int32(len(s.arena))}
}

// set makes l true because of r; it reports false, with the conflict noted, if l is false.
func (s *Solver) set(l Lit, r reason) bool {
	if s.low[l.half] >= l.value {
		return true
	}
	if s.isFalse(l) {
		s.conflict = s.conditions(s.conflict[:0], l, r)
		s.conflict = append(s.conflict, l.Not())
		return false
	}
	s.trail = append(s.trail, entry{half: l.half, old: s.low[l.half], new: l.value, before: s.pos[l.half], level: s.level(), reason: r})
	s.pos[l.half] = int32(len(s.trail) - 1)
	s.low[l.half] = l.value
	if s.level() == 0 {
		s.root[l.half] = l.value
	}
	return true
}

// setBy is set with an explanation that is only stored when needed.
func (s *Solver) setBy(l Lit, lits []Lit) bool {
	if s.low[l.half] >= l.value {
		return true
	}
	if s.level() == 0 {
		return s.set(l, reason{}) // it needs no explanation
	}
	return s.set(l, s.because(lits))
}

// fail reports that the literals, all true, contradict the model.
func (s *Solver) fail(lits []Lit) bool {
	s.conflict = append(s.conflict[:0], lits...)
	return false
}

// conditions appends the true literals from which l followed by r.
func (s *Solver) conditions(out []Lit, l Lit, r reason) []Lit {
	if r.clause == nil {
		return append(out, s.arena[r.from:r.to]...)
	}
	for _, c := range r.clause.lits {
		if c.half != l.half || c.value != l.value {
			out = append(out, c.Not())
		}
	}
	return out
}

// Clause requires one of the literals. It may be called between calls of Solve.
func (s *Solver) Clause(lits ...Lit) {
	s.backTo(0)
	kept := make([]Lit, 0, len(lits))
	for _, l := range lits {
		if s.isTrue(l) {
			return
		}
		if !s.isFalse(l) {
			kept = append(kept, l)
		}
	}
	switch len(kept) {
	case 0:
		s.broken = true
	case 1:
		s.broken = !s.set(kept[0], reason{}) || s.broken
	default:
		c := &clause{lits: kept}
		s.clauses = append(s.clauses, c)
		s.attach(c)
	}
}

func (s *Solver) attach(c *clause) {
	for i := range 2 {
		l := c.lits[i]
		s.watches[l.half^1] = append(s.watches[l.half^1], watch{c, 1 - l.value, c.lits[1-i]})
	}
}

func (s *Solver) addProp(p propagator, wake ...int32) {
	s.backTo(0)
	id := int32(len(s.props))
	s.props = append(s.props, p)
	s.queued = append(s.queued, false)
	for _, h := range wake {
		s.wakes[h] = append(s.wakes[h], id)
	}
	s.enqueue(id)
}

func (s *Solver) enqueue(id int32) {
	if s.queued[id] {
		return
	}
	s.queued[id] = true
	q := 0
	if s.props[id].late() {
		q = 1
	}
	s.queue[q] = append(s.queue[q], id)
}

// propagate draws all consequences; false means a conflict.
func (s *Solver) propagate() bool {
	for {
		for s.head < len(s.trail) {
			e := &s.trail[s.head]
			s.head++
			half, old, new := e.half, e.old, e.new
			for _, id := range s.wakes[half] {
				s.enqueue(id)
			}
			if !s.visit(half, old, new) {
				s.clearQueue()
				return false
			}
		}
		id := int32(-1)
		for q := range s.queue {
			if n := len(s.queue[q]); n > 0 {
				id = s.queue[q][n-1]
				s.queue[q] = s.queue[q][:n-1]
				break
			}
		}
		if id < 0 {
			return true
		}
		s.queued[id] = false
		if !s.props[id].propagate(s) {
			s.clearQueue()
			return false
		}
	}
}

func (s *Solver) clearQueue() {
	for q := range s.queue {
		for _, id := range s.queue[q] {
			s.queued[id] = false
		}
		s.queue[q] = s.queue[q][:0]
	}
	s.head = len(s.trail)
}

// visit looks at the clauses watched by a half that has risen from old to new.
func (s *Solver) visit(half, old, new int32) bool {
	list := s.watches[half]
	s.effort += int64(len(list)/32 + 1)
	keep := 0
	for i := 0; i < len(list); i++ {
		w := list[i]
		if w.falseAt > new || w.falseAt <= old {
			list[keep] = w
			keep++
			continue
		}
		if s.isTrue(w.blocker) {
			list[keep] = w
			keep++
			continue
		}
		c := w.clause
		if c.dead {
			continue
		}
		if c.lits[0].half == half^1 && c.lits[0].value == 1-w.falseAt {
			c.lits[0], c.lits[1] = c.lits[1], c.lits[0]
		}
		first := c.lits[0]
		if s.isTrue(first) {
			list[keep] = watch{c, w.falseAt, first}
			keep++
			continue
		}
		moved := false
		for k := 2; k < len(c.lits); k++ {
			if !s.isFalse(c.lits[k]) {
				c.lits[1], c.lits[k] = c.lits[k], c.lits[1]
				l := c.lits[1]
				if l.half^1 == half { // goes into the list being walked: append below
					list = append(list, watch{c, 1 - l.value, first})
				} else {
					s.watches[l.half^1] = append(s.watches[l.half^1], watch{c, 1 - l.value, first})
				}
				moved = true
				break
			}
		}
		if moved {
			continue
		}
		list[keep] = watch{c, w.falseAt, first}
		keep++
		if !s.set(first, reason{clause: c}) {
			for i++; i < len(list); i++ {
				list[keep] = list[i]
				keep++
			}
			s.watches[half] = list[:keep]
			return false
		}
	}
	s.watches[half] = list[:keep]
	return true
}

// backTo undoes everything above a level.
func (s *Solver) backTo(level int32) {
	if s.level() <= level {
		return
	}
	m := s.limits[level]
	for i := len(s.trail) - 1; i >= int(m.trail); i-- {
		e := &s.trail[i]
		s.low[e.half] = e.old
		s.pos[e.half] = e.before
	}
	s.trail = s.trail[:m.trail]
	s.arena = s.arena[:m.arena]
	s.limits = s.limits[:level]
	s.head = len(s.trail)
}

func (s *Solver) push() {
	s.limits = append(s.limits, levelMark{int32(len(s.trail)), int32(len(s.arena))})
}

// Solve looks for values under the assumptions, spending about the given effort. What it learns it keeps.
func (s *Solver) Solve(assumptions []Lit, effort int64) Status {
	until := s.effort + effort
	s.backTo(0)
	if s.broken || !s.propagate() {
		s.broken = true
		return Unsat
	}
	if s.sinceReduce >= reduceUnit { // calls with little effort may never come to a restart
		s.reduce()
	}
	sinceRestart, patience := int64(0), luby(s.restarts)*restartUnit
	for {
		if !s.propagate() {
			s.conflicts++
			sinceRestart++
			s.sinceReduce++
			s.effort += 20
			if !s.learn(int32(len(assumptions))) {
				return Unsat
			}
			continue
		}
		if s.effort >= until {
			s.backTo(0)
			return Unknown
		}
		if sinceRestart >= patience {
			s.restarts++
			sinceRestart, patience = 0, luby(s.restarts)*restartUnit
			s.backTo(0)
			s.reduce()
			continue
		}
		s.effort++
		if int(s.level()) < len(assumptions) {
			a := assumptions[s.level()]
			if s.isFalse(a) {
				s.backTo(0)
				return Unsat
			}
			s.push()
			s.set(a, reason{})
			continue
		}
		l, ok := s.choose()
		if !ok {
			return Sat
		}
		s.push()
		s.set(l, reason{})
	}
}

// choose picks, in the first tier that is not all fixed, the decision variable that failures point at most, and the
// half of its values to try.
func (s *Solver) choose() (Lit, bool) {
	best := Var(-1)
	from := 0
	for tier := 0; best < 0 && tier <= len(s.tiers); tier++ {
		to := len(s.decisions)
		if tier < len(s.tiers) {
			to = s.tiers[tier]
		}
		for _, x := range s.decisions[from:to] {
			if s.low[2*x] == -s.low[2*x+1] || best >= 0 && s.active[x] <= s.active[best] || slices.ContainsFunc(s.relevant[x], s.isFalse) {
				continue
			}
			best = x
		}
		from = to
	}
	if best < 0 {
		return Lit{}, false
	}
	lo, hi := s.low[2*best], -s.low[2*best+1]
	v := lo
	if s.hasPhase[best] {
		v = min(max(s.phase[best], lo), hi)
	}
	if v < hi {
		return AtMost(best, int(v)), true
	}
	return AtLeast(best, int(v)), true
}

// SavePhases remembers the values at hand as those to try first. Call it after Sat.
func (s *Solver) SavePhases() {
	for _, x := range s.decisions {
		s.phase[x], s.hasPhase[x] = s.low[2*x], true
	}
}

// restartUnit is the number of conflicts after which the first restart comes.
const restartUnit = 60

// reduceUnit is the number of conflicts after which it is worth looking at what has been learnt.
const reduceUnit = 500

// luby is the sequence 1 1 2 1 1 2 4 ... of M. Luby, A. Sinclair and D. Zuckerman.
func luby(i int64) int64 {
	for k := int64(1); ; k++ {
		if i == 1<<k-2 {
			return 1 << (k - 1)
		}
		if i < 1<<k-1 {
			return luby(i - (1<<(k-1) - 1))
		}
	}
}
