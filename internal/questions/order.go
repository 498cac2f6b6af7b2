package questions

import (
	"fmt"
	"sort"
	"time"

	"stillroom/internal/fault"
)

// Slot is the grain of a running order: every time is rounded up to whole slots.
const Slot = 30 * time.Second

// LongestSession and MostCandidates bound one running order.
const (
	LongestSession = 12 * time.Hour
	MostCandidates = 20_000
)

// Usual times where nobody gives any; common practice of live sessions.
const (
	// UsualAnswer is the time of a spoken answer.
	UsualAnswer = 3 * time.Minute
	// UsualPointer is the time to point to a written answer and take one follow-up.
	UsualPointer = time.Minute
	// UsualOpening is the time that opening a topic costs, once.
	UsualOpening = 30 * time.Second
)

// Session is what a running order is made for.
type Session struct {
	// Length is the time for questions, Slot to LongestSession.
	Length time.Duration
	// Opening is what taking up a topic costs once, before its first question; zero is allowed.
	Opening time.Duration
	// Now is the instant at which waiting is counted.
	Now     time.Time
	Weights Weights
}

// Position is one question of a running order.
type Position struct {
	// Index is the question's place in the list given.
	Index int
	// Start is the time from the session's start, Time its share of the session.
	Start, Time time.Duration
	Worth       Worth
	// Why says in one line why it stands here.
	Why string
}

// Left is a question that the running order leaves out, with the reason.
type Left struct {
	Index int
	Worth Worth
	Why   string
}

// RunningOrder is the plan of a live session. Its worth is the highest that any
// choice of questions within the session's length can have.
type RunningOrder struct {
	Positions []Position
	Left      []Left
	// Used is the time of all positions with the opening of their topics.
	Used time.Duration
	// Points is the worth of all positions.
	Points int
}

// Order chooses the questions of a session and puts them in order.
//
// The choice is exact: a knapsack in which a topic costs its opening once
// whatever number of its questions is taken, solved by dynamic programming over
// slots. The order then keeps a topic together: topics with an urgent question
// first, then by worth; inside a topic urgent ones first, then by worth, then
// the older, then by ID.
//
// Faults: Invalid for a length, a time or a candidate out of bounds, by field;
// Precondition when the pinned questions alone need more than the session has.
func Order(s Session, candidates []Candidate) (RunningOrder, error) {
	if err := s.check(candidates); err != nil {
		return RunningOrder{}, err
	}
	items := make([]item, 0, len(candidates))
	var out RunningOrder
	for i, c := range candidates {
		worth := s.Weights.Worth(c, s.Now)
		if c.Excluded {
			out.Left = append(out.Left, Left{i, worth, "left out by the instructor"})
			continue
		}
		items = append(items, item{index: i, slots: slots(usual(c)), points: worth.Points, worth: worth, Candidate: c})
	}
	sort.Slice(items, func(a, b int) bool { return items[a].before(items[b]) })
	topics := byTopic(items)
	capacity, opening := int(s.Length/Slot), slots(s.Opening)
	needed := 0
	for _, t := range topics {
		for _, it := range t.items {
			if it.Pinned {
				needed += it.slots
				t.pinned = true
			}
		}
		if t.pinned {
			needed += opening
		}
	}
	if needed > capacity {
		return RunningOrder{}, fault.New(fault.Precondition, "the pinned questions with their topics need %s and the session has %s; unpin some, give them less time, or make the session longer",
			minutes(time.Duration(needed)*Slot), minutes(s.Length))
	}
	chosen := choose(topics, capacity-needed, opening)
	out.arrange(topics, chosen, opening, capacity)
	return out, nil
}

func (s Session) check(candidates []Candidate) error {
	var c fault.Collector
	if s.Length < Slot || s.Length > LongestSession {
		c.Add("session.length", s.Length.String(), "is not between 30 seconds and 12 hours", "give the time for questions")
	}
	if s.Opening < 0 || s.Opening > time.Hour {
		c.Add("session.opening", s.Opening.String(), "is not between 0 and 1 hour", "give the time that opening a topic takes")
	}
	if w := s.Weights; min(w.Asker, w.Endorsement, w.Urgent, w.Day, w.LongestWait, w.WrittenPercent) < 0 || w.WrittenPercent > 100 || max(w.Asker, w.Endorsement, w.Urgent, w.Day, w.LongestWait) > 1_000_000 {
		c.Add("session.weights", fmt.Sprintf("%+v", w), "has a weight out of bounds", "give points from 0 to 1,000,000, and a percentage from 0 to 100")
	}
	if len(candidates) > MostCandidates {
		c.Add("candidates", fmt.Sprint(len(candidates)), fmt.Sprintf("are more than %d", MostCandidates), "order one class at a time")
	}
	seen := make(map[string]bool, len(candidates))
	for i, q := range candidates {
		field := func(name string) string { return fmt.Sprintf("candidates[%d].%s", i, name) }
		if q.ID == "" || seen[q.ID] {
			c.Add(field("id"), q.ID, "is empty or given twice", "give each question once, by its identifier")
		}
		seen[q.ID] = true
		if q.Askers < 1 || q.Endorsements < 0 || q.Askers > 1_000_000 || q.Endorsements > 1_000_000 {
			c.Add(field("askers"), fmt.Sprintf("%d asked, %d endorsed", q.Askers, q.Endorsements), "is out of bounds", "a question has at least one asker and no negative count")
		}
		if q.Time < 0 || q.Time > LongestSession {
			c.Add(field("time"), q.Time.String(), "is not between 0 and 12 hours", "give the time an answer takes, or none")
		}
		if q.Pinned && q.Excluded {
			c.Add(field("pinned"), "true", "is both pinned and left out", "choose one of them")
		}
	}
	return c.Err()
}

// usual is the candidate's time, or the usual one.
func usual(c Candidate) time.Duration {
	switch {
	case c.Time > 0:
		return c.Time
	case c.Written:
		return UsualPointer
	}
	return UsualAnswer
}

// slots rounds a time up to whole slots.
func slots(d time.Duration) int { return int((d + Slot - 1) / Slot) }

type item struct {
	Candidate
	index, slots, points int
	worth                Worth
}

// before is the order inside a topic.
func (a item) before(b item) bool {
	switch {
	case a.Topic != b.Topic:
		return a.Topic < b.Topic
	case a.Urgency != b.Urgency:
		return a.Urgency > b.Urgency
	case a.points != b.points:
		return a.points > b.points
	case !a.Asked.Equal(b.Asked):
		return a.Asked.Before(b.Asked)
	}
	return a.ID < b.ID
}

// topic holds the candidates of one topic in their order.
type topic struct {
	name   string
	items  []item
	pinned bool // has a pinned question, so its opening is paid already
}

func byTopic(items []item) []*topic {
	var topics []*topic
	for _, it := range items {
		if len(topics) == 0 || topics[len(topics)-1].name != it.Topic {
			topics = append(topics, &topic{name: it.Topic})
		}
		t := topics[len(topics)-1]
		t.items = append(t.items, it)
	}
	return topics
}

// choose solves the knapsack with openings exactly: which unpinned questions,
// within so many slots, are worth most together. It reports the choice by
// candidate index. Ties go to the question that comes first.
//
// best[t] is the highest worth within t slots over the topics done so far. For
// a topic, inside[t] is the same with the topic opened; a question of it may
// then be taken or not (0/1, slots from high to low). Afterwards the topic
// stays closed unless opening it is worth strictly more.
func choose(topics []*topic, capacity, opening int) map[int]bool {
	best, inside := make([]int, capacity+1), make([]int, capacity+1)
	width := (capacity + 64) / 64
	takes := make([][][]uint64, len(topics)) // by topic and question: is it taken when t slots are left
	opens := make([][]uint64, len(topics))
	const closed = -1
	for g, t := range topics {
		cost := opening
		if t.pinned {
			cost = 0
		}
		for s := range inside {
			inside[s] = closed
			if s >= cost {
				inside[s] = best[s-cost]
			}
		}
		takes[g] = make([][]uint64, len(t.items))
		// Backwards, so that walking forwards when the choice is read back favours the first.
		for k := len(t.items) - 1; k >= 0; k-- {
			it := t.items[k]
			if it.Pinned || it.slots > capacity {
				continue
			}
			take := make([]uint64, width)
			for s := capacity; s >= it.slots; s-- {
				if before := inside[s-it.slots]; before != closed && before+it.points >= inside[s] && before+it.points > 0 {
					inside[s] = before + it.points
					take[s/64] |= 1 << (s % 64)
				}
			}
			takes[g][k] = take
		}
		opens[g] = make([]uint64, width)
		for s := range best {
			if inside[s] > best[s] {
				best[s] = inside[s]
				opens[g][s/64] |= 1 << (s % 64)
			}
		}
	}
	chosen := map[int]bool{}
	left := capacity
	for g := len(topics) - 1; g >= 0; g-- {
		if opens[g][left/64]&(1<<(left%64)) == 0 {
			continue
		}
		for k, it := range topics[g].items {
			if take := takes[g][k]; take != nil && take[left/64]&(1<<(left%64)) != 0 {
				chosen[it.index] = true
				left -= it.slots
			}
		}
		if !topics[g].pinned {
			left -= opening
		}
	}
	return chosen
}

// arrange writes the positions in order and what is left with its reasons.
func (r *RunningOrder) arrange(topics []*topic, chosen map[int]bool, opening, capacity int) {
	type talk struct {
		*topic
		in     []item
		urgent bool
		points int
	}
	var talks []talk
	used := 0
	open := map[string]bool{}
	for _, t := range topics {
		k := talk{topic: t}
		for _, it := range t.items {
			if it.Pinned || chosen[it.index] {
				k.in = append(k.in, it)
				k.points += it.points
				k.urgent = k.urgent || it.Urgency == Urgent
				used += it.slots
			}
		}
		if len(k.in) > 0 {
			talks = append(talks, k)
			used += opening
			open[t.name] = true
		}
	}
	sort.SliceStable(talks, func(a, b int) bool {
		if talks[a].urgent != talks[b].urgent {
			return talks[a].urgent
		}
		return talks[a].points > talks[b].points
	})
	at := 0
	for n, k := range talks {
		at += opening
		for i, it := range k.in {
			place := "next in its topic"
			switch {
			case i == 0 && k.urgent && it.Urgency == Urgent:
				place = "its topic comes early because it cannot wait"
			case i == 0 && n == 0:
				place = "opens the topic worth most"
			case i == 0:
				place = fmt.Sprintf("opens topic %d by worth", n+1)
			}
			why := fmt.Sprintf("%s; worth %d (%s)", place, it.points, it.worth.Why)
			if it.Pinned {
				why = "pinned by the instructor; " + why
			}
			r.Positions = append(r.Positions, Position{
				Index: it.index, Start: time.Duration(at) * Slot, Time: time.Duration(it.slots) * Slot, Worth: it.worth, Why: why,
			})
			r.Points += it.points
			at += it.slots
		}
	}
	r.Used = time.Duration(used) * Slot
	spare := time.Duration(capacity-used) * Slot
	for _, t := range topics {
		for _, it := range t.items {
			if it.Pinned || chosen[it.index] {
				continue
			}
			need := it.slots
			needs := minutes(time.Duration(need) * Slot)
			if !open[t.name] && opening > 0 {
				need += opening
				needs = fmt.Sprintf("%s with opening its topic", minutes(time.Duration(need)*Slot))
			}
			why := fmt.Sprintf("needs %s and %s are left; what was chosen is worth more together", needs, minutes(spare))
			switch {
			case need > capacity:
				why = fmt.Sprintf("needs %s, more than the whole session of %s", needs, minutes(time.Duration(capacity)*Slot))
			case it.points == 0:
				why = "has no worth by the weights of this session"
			}
			r.Left = append(r.Left, Left{it.index, it.worth, why})
		}
	}
	sort.SliceStable(r.Left, func(a, b int) bool {
		if r.Left[a].Worth.Points != r.Left[b].Worth.Points {
			return r.Left[a].Worth.Points > r.Left[b].Worth.Points
		}
		return r.Left[a].Index < r.Left[b].Index
	})
}

// minutes prints a time as people say it: "3 min", "2.5 min".
func minutes(d time.Duration) string {
	if d%time.Minute == 0 {
		return fmt.Sprintf("%d min", d/time.Minute)
	}
	return fmt.Sprintf("%.1f min", d.Minutes())
}
