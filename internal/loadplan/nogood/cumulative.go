package nogood

// Task takes one unit of a resource over [start, end), if all its literals are true. Start and end are a variable
// and an offset each; its length is never less than Length, a variable, or Least when there is none.
type Task struct {
	Start, End             Var
	StartOffset, EndOffset int
	HasLength              bool
	Length                 Var
	Least                  int
	When                   []Lit
}

// Cumulative requires that at each minute t no more than capacity[t] tasks run. Time outside is free.
func (s *Solver) Cumulative(tasks []Task, capacity []int) {
	p := &cumulative{tasks: tasks, capacity: capacity, profile: make([]int32, len(capacity)+1), blocked: make([]bool, len(capacity))}
	p.parts = make([]part, len(tasks))
	var wake []int32
	for _, t := range tasks {
		wake = append(wake, int32(t.Start)*2, int32(t.Start)*2+1, int32(t.End)*2, int32(t.End)*2+1)
		for _, l := range t.When {
			wake = append(wake, l.half)
		}
		if t.HasLength {
			wake = append(wake, int32(t.Length)*2)
		}
	}
	s.addProp(p, wake...)
}

// cumulative is the time-table rule: what must run at a minute, whenever exactly its task starts, is taken.
type cumulative struct {
	tasks    []Task
	capacity []int
	profile  []int32
	blocked  []bool // minutes at which nothing more fits
	parts    []part
	buffer   []Lit
}

// part is the span over which a task certainly runs, empty if from >= to.
type part struct {
	from, to int
	present  bool
	absent   bool
}

func (p *cumulative) late() bool { return true }

func (p *cumulative) propagate(s *Solver) bool {
	s.effort += int64(len(p.capacity)/64 + len(p.tasks)/4)
	for i := range p.profile {
		p.profile[i] = 0
	}
	horizon := len(p.capacity)
	for i := range p.tasks {
		t := &p.tasks[i]
		q := &p.parts[i]
		q.present, q.absent = true, false
		for _, l := range t.When {
			if !s.isTrue(l) {
				q.present = false
				q.absent = q.absent || s.isFalse(l)
			}
		}
		q.from, q.to = s.Max(t.Start)+t.StartOffset, s.Min(t.End)+t.EndOffset
		if q.present && q.from < q.to {
			if from, to := max(q.from, 0), min(q.to, horizon); from < to {
				p.profile[from]++
				p.profile[to]--
			}
		}
	}
	any := false
	run := int32(0)
	for t := range horizon {
		run += p.profile[t]
		p.profile[t] = run
		if int(run) > p.capacity[t] {
			return s.fail(p.cover(s, p.buffer[:0], t, p.capacity[t]+1, -1))
		}
		p.blocked[t] = int(run) >= p.capacity[t]
		any = any || p.blocked[t]
	}
	if !any {
		return true
	}
	for i := range p.tasks {
		if q := &p.parts[i]; q.absent {
			continue
		}
		if !p.later(s, i) || !p.sooner(s, i) {
			return false
		}
	}
	return true
}

func (t *Task) least(s *Solver) int {
	if t.HasLength {
		return max(t.Least, s.Min(t.Length))
	}
	return t.Least
}

// later pushes the start of a task beyond minutes at which it does not fit. A task that may yet be absent is only
// ruled out when a single blocked minute suffices for it.
func (p *cumulative) later(s *Solver, i int) bool {
	t, q := &p.tasks[i], &p.parts[i]
	least := t.least(s)
	for {
		start := s.Min(t.Start) + t.StartOffset
		at := -1
		for x := min(start+least, len(p.capacity)) - 1; x >= max(start, 0); x-- {
			if p.blocked[x] && !(q.present && q.from <= x && x < q.to) {
				at = x
				break
			}
		}
		if at < 0 {
			return true
		}
		// start > at-least and start <= at would make it run at this minute.
		target := AtLeast(t.Start, at+1-t.StartOffset)
		if !q.present {
			return p.exclude(s, i, at, least, true)
		}
		out := append(p.buffer[:0], AtLeast(t.Start, at-least+1-t.StartOffset))
		out = p.own(s, out, t, least)
		out = p.cover(s, out, at, p.capacity[at], i)
		if !s.setBy(target, out) {
			return false
		}
	}
}

// sooner is the mirror image: it pulls the end of a task before minutes at which it does not fit.
func (p *cumulative) sooner(s *Solver, i int) bool {
	t, q := &p.tasks[i], &p.parts[i]
	least := t.least(s)
	for {
		end := s.Max(t.End) + t.EndOffset
		at := -1
		for x := max(end-least, 0); x < min(end, len(p.capacity)); x++ {
			if p.blocked[x] && !(q.present && q.from <= x && x < q.to) {
				at = x
				break
			}
		}
		if at < 0 {
			return true
		}
		target := AtMost(t.End, at-t.EndOffset)
		if !q.present {
			return p.exclude(s, i, at, least, false)
		}
		out := append(p.buffer[:0], AtMost(t.End, at+least-t.EndOffset))
		out = p.own(s, out, t, least)
		out = p.cover(s, out, at, p.capacity[at], i)
		if !s.setBy(target, out) {
			return false
		}
	}
}

// exclude makes the one open literal of a task false if it would have to run at the blocked minute at.
func (p *cumulative) exclude(s *Solver, i, at, least int, fromStart bool) bool {
	t := &p.tasks[i]
	var open Lit
	n := 0
	for _, l := range t.When {
		if !s.isTrue(l) {
			open = l
			n++
		}
	}
	if n != 1 {
		return true
	}
	// It runs at the minute if start is in (at-least, at].
	if s.Min(t.Start)+t.StartOffset <= at-least || s.Max(t.Start)+t.StartOffset > at {
		return true
	}
	out := append(p.buffer[:0], AtLeast(t.Start, at-least+1-t.StartOffset), AtMost(t.Start, at-t.StartOffset))
	if t.HasLength {
		out = append(out, AtLeast(t.Length, least))
	}
	for _, l := range t.When {
		if l != open {
			out = append(out, l)
		}
	}
	out = p.cover(s, out, at, p.capacity[at], i)
	return s.setBy(open.Not(), out)
}

// own appends what is used of the task itself: that it is there, and how long it is.
func (p *cumulative) own(_ *Solver, out []Lit, t *Task, least int) []Lit {
	if t.HasLength && least > t.Least {
		out = append(out, AtLeast(t.Length, least))
	}
	return append(out, t.When...)
}

// cover appends the bounds by which n tasks other than skip certainly run at minute at.
func (p *cumulative) cover(s *Solver, out []Lit, at, n, skip int) []Lit {
	for j := range p.tasks {
		if n == 0 {
			break
		}
		q := &p.parts[j]
		if j == skip || !q.present || at < q.from || at >= q.to {
			continue
		}
		t := &p.tasks[j]
		out = append(out, AtMost(t.Start, at-t.StartOffset), AtLeast(t.End, at+1-t.EndOffset))
		out = append(out, t.When...)
		n--
	}
	p.buffer = out
	return out
}
