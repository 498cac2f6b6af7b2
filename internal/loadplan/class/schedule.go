package class

import (
	"cmp"
	"math"
	"slices"
)

// intent is a load that is wanted: what goes into it, and in which canner, or any.
type intent struct {
	family int
	canner int // anyCanner to choose the one that is done first
	shares []Share
	start  int // in the plan to keep; otherwise of no meaning
}

const anyCanner = -1

func (w intent) jars() int { return Load{Shares: w.shares}.Jars() }

// schedule puts intents into a timetable, one after the other, each at the earliest minute that the ones before it
// leave free. It keeps every rule of the problem at every step: an intent that cannot be met within the rules is
// left out and changes nothing.
type schedule struct {
	in      *Instance
	burners []int // taken, by minute
	hands   []int
	busy    [][]Window // by canner, sorted, resets included
	filled  []int      // open while not staged
	first   []int      // by batch, the earliest start of a load that holds jars of it
	last    []int      // the latest
	left    []int      // jars by batch that are in no load yet
	next    []int      // by station, how many of its batches are staged
	loads   []Load

	close  int   // by when loads must be out: that of the instance, or earlier to look for plans that end sooner
	latest int   // no load starts after it; that of the instance but while a load is changed
	bias   []int // by canner, minutes that a later end counts less there when canners are chosen; nil for none

	staged []int // by the intent at hand, in order, to be undone if it fails
	saved  []move
}

// move is a batch whose filling was put off for the intent at hand.
type move struct{ batch, from int }

func newSchedule(in *Instance) *schedule {
	n := len(in.batches)
	s := &schedule{in: in, burners: make([]int, len(in.burnerUsed)), hands: make([]int, len(in.handsUsed)), busy: make([][]Window, len(in.canners)),
		filled: make([]int, n), first: make([]int, n), last: make([]int, n), left: make([]int, n), next: make([]int, len(in.stations)),
		close: in.close, latest: in.close}
	s.reset()
	return s
}

// reset empties the timetable of everything but what is done.
func (s *schedule) reset() {
	copy(s.burners, s.in.burnerUsed)
	copy(s.hands, s.in.handsUsed)
	for c := range s.busy {
		s.busy[c] = append(s.busy[c][:0], s.in.canners[c].busy...)
	}
	for b := range s.filled {
		s.filled[b], s.left[b] = s.in.batches[b].filled, s.in.batches[b].left
		s.first[b], s.last[b] = math.MaxInt, -1
	}
	for st, list := range s.in.stations {
		s.next[st] = 0
		for _, b := range list {
			if s.filled[b] != open {
				s.next[st]++
			}
		}
	}
	s.loads = append(s.loads[:0], s.in.done...)
}

// free reports whether profile stays below limit over [from, to), and if not the last minute where it does not.
func free(profile []int, from, to, limit int) (int, bool) {
	for t := min(to, len(profile)) - 1; t >= from; t-- {
		if profile[t] >= limit {
			return t, false
		}
	}
	return 0, true
}

// earliestFilled is the earliest minute at or after from at which batch b can be filled, no later than latest.
func (s *schedule) earliestFilled(b, from, latest int) (int, bool) {
	stage := s.in.batches[b].stage
	for at := from; at <= latest; {
		t, ok := free(s.burners, at-stage, at, s.in.burners)
		if ok {
			return at, true
		}
		at = t + 1 + stage
	}
	return 0, false
}

// floor is the earliest minute at which batch b could be filled if burners were plenty, given what is staged.
func (s *schedule) floor(b int) int {
	bb := &s.in.batches[b]
	at := max(bb.ready, s.in.now+bb.stage)
	if bb.place > 0 {
		if before := s.filled[s.in.stations[bb.station][bb.place-1]]; before != open {
			at = max(at, before+bb.stage)
		}
	}
	return at
}

// ceiling is the latest minute to which the filling of a staged batch can be put off.
func (s *schedule) ceiling(b int) int {
	bb := &s.in.batches[b]
	at := s.first[b]
	if list := s.in.stations[bb.station]; bb.place+1 < len(list) {
		if after := list[bb.place+1]; s.filled[after] != open {
			at = min(at, s.filled[after]-s.in.batches[after].stage)
		}
	}
	return at
}

// stage fills b, and whatever comes before it at its station, as early as burners allow.
func (s *schedule) stage(b int) bool {
	station := s.in.batches[b].station
	for s.filled[b] == open {
		x := s.in.stations[station][s.next[station]]
		at, ok := s.earliestFilled(x, s.floor(x), s.close)
		if !ok {
			return false
		}
		use(s.burners, at-s.in.batches[x].stage, at, 1)
		s.filled[x] = at
		s.next[station]++
		s.staged = append(s.staged, x)
	}
	return true
}

// putOff moves the filling of b to the earliest minute from from to latest.
func (s *schedule) putOff(b, from, latest int) bool {
	bb := &s.in.batches[b]
	if bb.filled != open { // it has happened
		return false
	}
	old := s.filled[b]
	use(s.burners, old-bb.stage, old, -1)
	at, ok := s.earliestFilled(b, from, latest)
	if !ok {
		use(s.burners, old-bb.stage, old, 1)
		return false
	}
	use(s.burners, at-bb.stage, at, 1)
	s.filled[b] = at
	s.saved = append(s.saved, move{b, old})
	return true
}

func (s *schedule) undo() {
	for i := len(s.saved) - 1; i >= 0; i-- {
		m := s.saved[i]
		stage := s.in.batches[m.batch].stage
		use(s.burners, s.filled[m.batch]-stage, s.filled[m.batch], -1)
		use(s.burners, m.from-stage, m.from, 1)
		s.filled[m.batch] = m.from
	}
	for i := len(s.staged) - 1; i >= 0; i-- {
		b := s.staged[i]
		use(s.burners, s.filled[b]-s.in.batches[b].stage, s.filled[b], -1)
		s.filled[b] = open
		s.next[s.in.batches[b].station]--
	}
	s.saved, s.staged = s.saved[:0], s.staged[:0]
}

// earliestStart is the earliest start at or after from, and no later than latest, of a load of the given length.
func (s *schedule) earliestStart(c, length, from, latest int) (int, bool) {
	k := &s.in.canners[c]
	h := s.in.handling
	for _, w := range k.windows {
		t := max(from, w.Start)
	search:
		for end := min(w.End, s.close); t+length <= end && t <= latest; {
			for _, b := range s.busy[c] {
				if b.Start < t+length+k.reset && t < b.End {
					t = b.End
					continue search
				}
			}
			if x, ok := free(s.hands, t, t+h, s.in.handlers); !ok {
				t = x + 1
			} else if x, ok := free(s.hands, t+length-h, t+length, s.in.handlers); !ok {
				t = x + 1 - (length - h)
			} else if x, ok := free(s.burners, t, t+length, s.in.burners); !ok {
				t = x + 1
			} else {
				return t, true
			}
		}
	}
	return 0, false
}

// add meets an intent and reports whether it could.
func (s *schedule) add(w intent) bool {
	n := w.jars()
	if n == 0 {
		return false
	}
	for _, x := range w.shares {
		if s.left[x.Batch] < x.Jars || !s.stage(x.Batch) {
			s.undo()
			return false
		}
	}
	from := s.in.now
	for _, x := range w.shares {
		from = max(from, s.filled[x.Batch])
	}
	for range 40 {
		c, at := s.choose(w, n, from)
		if c < 0 {
			break
		}
		if again := s.timely(w, at); again == at {
			s.put(w, c, at, n)
			return true
		} else {
			from = again
		}
	}
	s.undo()
	return false
}

// choose picks the canner in which the intent ends first.
func (s *schedule) choose(w intent, n, from int) (canner, at int) {
	latest := s.latest
	for _, x := range w.shares {
		if s.in.batches[x.Batch].filled != open {
			latest = min(latest, s.in.batches[x.Batch].filled+s.in.batches[x.Batch].hold)
		} else if up := s.ceiling(x.Batch); up < math.MaxInt {
			latest = min(latest, up+s.in.batches[x.Batch].hold)
		}
	}
	best, bestEnd, bestAt := -1, math.MaxInt, 0
	for c := range s.in.canners {
		k := &s.in.canners[c]
		if w.canner != anyCanner && w.canner != c || k.capacity[w.family] < n {
			continue
		}
		length := k.lengths[w.family][n]
		wait := 0
		if s.bias != nil {
			wait = s.bias[c]
		}
		if t, ok := s.earliestStart(c, length, from, min(latest, bestEnd-1-length-wait)); ok {
			best, bestEnd, bestAt = c, t+length+wait, t
		}
	}
	return best, bestAt
}

// timely puts off fillings so that no jar of the intent waits too long for a start at the minute at. It returns at,
// or a later minute from which to look again.
func (s *schedule) timely(w intent, at int) int {
	for _, x := range w.shares {
		bb := &s.in.batches[x.Batch]
		if at <= s.filled[x.Batch]+bb.hold {
			continue
		}
		if !s.putOff(x.Batch, at-bb.hold, min(at, s.ceiling(x.Batch))) {
			return at + 1
		}
	}
	return at
}

// put enters a load whose place has been found free.
func (s *schedule) put(w intent, c, at, n int) {
	k := &s.in.canners[c]
	end := at + k.lengths[w.family][n]
	use(s.burners, at, end, 1)
	use(s.hands, at, at+s.in.handling, 1)
	use(s.hands, end-s.in.handling, end, 1)
	taken := Window{at, end + k.reset}
	i, _ := slices.BinarySearchFunc(s.busy[c], taken, func(a, b Window) int { return cmp.Compare(a.Start, b.Start) })
	s.busy[c] = slices.Insert(s.busy[c], i, taken)
	for _, x := range w.shares {
		s.left[x.Batch] -= x.Jars
		s.first[x.Batch] = min(s.first[x.Batch], at)
		s.last[x.Batch] = max(s.last[x.Batch], at)
	}
	s.loads = append(s.loads, Load{Canner: c, Family: w.family, Start: at, End: end, Shares: w.shares})
	s.staged, s.saved = s.staged[:0], s.saved[:0]
}

// value is the objective of the timetable as it stands, without the distance to a kept plan.
func (s *schedule) value() Value {
	v := Value{Unprocessed: s.in.totalJars, Loads: len(s.loads)}
	for i := range s.loads {
		l := &s.loads[i]
		v.Finish = max(v.Finish, l.End)
		for _, x := range l.Shares {
			v.Unprocessed -= x.Jars
			v.Hold += x.Jars * (l.Start - s.filled[x.Batch])
		}
	}
	return v
}

// settle fills as late as the loads allow, so that hot jars wait as little as burners permit.
func (s *schedule) settle() {
	for range 2 {
		for st, list := range s.in.stations {
			for k := s.next[st] - 1; k >= 0; k-- {
				b := list[k]
				bb := &s.in.batches[b]
				if bb.filled != open || s.last[b] < 0 {
					continue
				}
				latest := min(s.ceiling(b), s.in.close)
				old := s.filled[b]
				if latest <= old {
					continue
				}
				use(s.burners, old-bb.stage, old, -1)
				for at := latest; ; {
					t, ok := free(s.burners, at-bb.stage, at, s.in.burners)
					if ok || at <= old {
						s.filled[b] = at
						break
					}
					// Whatever ends after t is blocked by it; go below it.
					for t > at-bb.stage && s.burners[t-1] >= s.in.burners {
						t--
					}
					at = max(old, min(at-1, t))
				}
				use(s.burners, s.filled[b]-bb.stage, s.filled[b], 1)
			}
		}
	}
}

// plan is a copy of the timetable as a plan. Batches that were not staged for any load are filled as early as burners
// allow, or after the last load when there is no room before.
func (s *schedule) plan() *Plan {
	after := s.in.close
	for _, l := range s.loads {
		after = max(after, l.End)
	}
	for _, f := range s.filled {
		after = max(after, f)
	}
	for st, list := range s.in.stations {
		for ; s.next[st] < len(list); s.next[st]++ {
			b := list[s.next[st]]
			bb := &s.in.batches[b]
			at, ok := s.earliestFilled(b, s.floor(b), s.in.close)
			if ok {
				use(s.burners, at-bb.stage, at, 1)
			} else { // one after the other, when nothing else takes a burner
				at = max(after, s.floor(b)-bb.stage) + bb.stage
				after = at
			}
			s.filled[b] = at
		}
	}
	p := &Plan{Filled: slices.Clone(s.filled), Loads: slices.Clone(s.loads)}
	for i := range p.Loads {
		p.Loads[i].Shares = slices.Clone(p.Loads[i].Shares)
		slices.SortFunc(p.Loads[i].Shares, func(a, b Share) int { return cmp.Compare(a.Batch, b.Batch) })
	}
	slices.SortStableFunc(p.Loads, func(a, b Load) int {
		return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.Canner, b.Canner))
	})
	return p
}
