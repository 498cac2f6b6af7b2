package questions

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/fault"
)

var noon = time.Date(2026, 9, 12, 12, 0, 0, 0, time.UTC)

// bruteForce tries every subset. It knows nothing of how Order works: -1 when
// even the pinned ones do not fit.
func bruteForce(s Session, candidates []Candidate) int {
	best := -1
	for set := range 1 << len(candidates) {
		var used time.Duration
		points, ok := 0, true
		topics := map[string]bool{}
		for i, c := range candidates {
			in := set&(1<<i) != 0
			if c.Pinned && !in || c.Excluded && in {
				ok = false
				break
			}
			if !in {
				continue
			}
			d := c.Time
			if d == 0 {
				d = map[bool]time.Duration{true: UsualPointer, false: UsualAnswer}[c.Written]
			}
			used += (d + Slot - 1) / Slot * Slot
			points += s.Weights.Worth(c, s.Now).Points
			topics[c.Topic] = true
		}
		used += time.Duration(len(topics)) * ((s.Opening + Slot - 1) / Slot * Slot)
		if ok && used <= s.Length {
			best = max(best, points)
		}
	}
	return best
}

func randomCandidates(r *rand.Rand, n int) []Candidate {
	out := make([]Candidate, n)
	for i := range out {
		out[i] = Candidate{
			ID: fmt.Sprintf("q%04d", i), Topic: string(rune('a' + r.IntN(max(2, n/40+4)))),
			Askers: 1 + r.IntN(4), Endorsements: r.IntN(9), Urgency: Urgency(r.IntN(8) / 7),
			Asked: noon.Add(-time.Duration(r.IntN(400)) * time.Hour), Written: r.IntN(4) == 0,
			Time: time.Duration(r.IntN(13)) * 25 * time.Second,
		}
		switch r.IntN(16) {
		case 0:
			out[i].Pinned = true
		case 1:
			out[i].Excluded = true
		}
	}
	return out
}

func TestOrderEqualsBruteForce(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 24))
	infeasible := 0
	for n := range 5000 {
		s := Session{Length: time.Duration(1+r.IntN(40)) * Slot, Opening: time.Duration(r.IntN(4)) * 20 * time.Second, Now: noon, Weights: StandardWeights}
		candidates := randomCandidates(r, r.IntN(10))
		want := bruteForce(s, candidates)
		got, err := Order(s, candidates)
		if want < 0 {
			require.Equal(t, fault.Precondition, fault.KindOf(err), "case %d", n)
			infeasible++
			continue
		}
		require.NoError(t, err, "case %d", n)
		require.Equal(t, want, got.Points, "case %d: %+v", n, candidates)
		checkOrder(t, s, candidates, got)
	}
	require.Greater(t, infeasible, 20)
	require.Less(t, infeasible, 2500)
}

// checkOrder reads a running order and holds it to its own figures.
func checkOrder(t *testing.T, s Session, candidates []Candidate, got RunningOrder) {
	t.Helper()
	seen := map[int]bool{}
	points, at, topic, done := 0, time.Duration(0), "\x00", map[string]bool{}
	opening := (s.Opening + Slot - 1) / Slot * Slot
	for _, p := range got.Positions {
		c := candidates[p.Index]
		require.False(t, seen[p.Index])
		require.False(t, c.Excluded)
		seen[p.Index] = true
		if c.Topic != topic {
			require.False(t, done[c.Topic], "a topic is taken up once")
			done[c.Topic], topic = true, c.Topic
			at += opening
		}
		require.Equal(t, at, p.Start)
		require.GreaterOrEqual(t, p.Time, c.Time)
		at += p.Time
		points += p.Worth.Points
		require.NotContains(t, p.Why, "\n")
		require.Equal(t, c.Pinned, strings.HasPrefix(p.Why, "pinned"))
	}
	require.Equal(t, at, got.Used)
	require.LessOrEqual(t, got.Used, s.Length)
	require.Equal(t, points, got.Points)
	for _, l := range got.Left {
		require.False(t, seen[l.Index])
		require.False(t, candidates[l.Index].Pinned)
		seen[l.Index] = true
		require.NotEmpty(t, l.Why)
	}
	require.Len(t, seen, len(candidates), "every question is either in or listed with its reason")
}

func TestOrderDoesNotDependOnTheOrderGiven(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	s := Session{Length: 20 * time.Minute, Opening: UsualOpening, Now: noon, Weights: StandardWeights}
	candidates := randomCandidates(r, 60)
	for i := range candidates {
		candidates[i].Pinned = false
	}
	ids := func(list []Candidate) (out []string) {
		got, err := Order(s, list)
		require.NoError(t, err)
		for _, p := range got.Positions {
			out = append(out, list[p.Index].ID)
		}
		return out
	}
	want := ids(candidates)
	for range 20 {
		shuffled := append([]Candidate{}, candidates...)
		r.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		require.Equal(t, want, ids(shuffled))
	}
}

// Worked by hand: 10 minutes, opening a topic 1 minute.
//
//	jars:   a urgent, 1 asker, 3 min:          500 + 10       = 510
//	jars:   b 2 askers, 3 endorsements, 3 min: 20 + 18        = 38
//	salsa:  c 1 asker, 5 endorsements, 3 min:  10 + 30        = 40
//	salsa:  d 1 asker, waited 3 days, 1 min:   10 + 3         = 13
//	jam:    e 4 askers, written, 1 min:        40 × 30 %      = 12
//
// a+b cost 1+3+3 = 7 and leave 3: c with its topic costs 4 and does not fit;
// d with its topic costs 2 (13), e with its topic 2 (12), both 4. a+b+d = 561.
// a+c costs 1+3+1+3 = 8, and d fits for 1 more: 563 in 9 minutes. That is the most.
func TestOrderWorkedByHand(t *testing.T) {
	s := Session{Length: 10 * time.Minute, Opening: time.Minute, Now: noon, Weights: StandardWeights}
	candidates := []Candidate{
		{ID: "a", Topic: "jars", Askers: 1, Urgency: Urgent, Asked: noon},
		{ID: "b", Topic: "jars", Askers: 2, Endorsements: 3, Asked: noon},
		{ID: "c", Topic: "salsa", Askers: 1, Endorsements: 5, Asked: noon},
		{ID: "d", Topic: "salsa", Askers: 1, Asked: noon.Add(-80 * time.Hour), Time: time.Minute},
		{ID: "e", Topic: "jam", Askers: 4, Asked: noon, Written: true},
		{ID: "f", Topic: "jam", Askers: 1, Asked: noon, Excluded: true},
		{ID: "g", Topic: "jam", Askers: 9, Asked: noon, Time: 10 * time.Minute},
	}
	got, err := Order(s, candidates)
	require.NoError(t, err)
	require.Equal(t, 563, got.Points)
	require.Equal(t, 9*time.Minute, got.Used)
	var lines []string
	for _, p := range got.Positions {
		lines = append(lines, fmt.Sprintf("%s %s+%s %s", candidates[p.Index].ID, p.Start, p.Time, p.Why))
	}
	require.Equal(t, []string{
		"a 1m0s+3m0s its topic comes early because it cannot wait; worth 510 (urgent 500, 1 asker 10)",
		"c 5m0s+3m0s opens topic 2 by worth; worth 40 (1 asker 10, 5 endorsements 30)",
		"d 8m0s+1m0s next in its topic; worth 13 (1 asker 10, waited 3 days 3)",
	}, lines)
	lines = nil
	for _, l := range got.Left {
		lines = append(lines, candidates[l.Index].ID+": "+l.Why)
	}
	require.Equal(t, []string{
		"g: needs 11 min with opening its topic, more than the whole session of 10 min",
		"b: needs 3 min and 1 min are left; what was chosen is worth more together",
		"e: needs 2 min with opening its topic and 1 min are left; what was chosen is worth more together",
		"f: left out by the instructor",
	}, lines)
	candidates[1].Pinned = true
	got, err = Order(s, candidates)
	require.NoError(t, err)
	require.Equal(t, 561, got.Points) // b is in: a, b and d
	candidates[6].Pinned = true
	_, err = Order(s, candidates)
	require.Equal(t, fault.Precondition, fault.KindOf(err))
	require.ErrorContains(t, err, "need 15 min and the session has 10 min") // 1+3 and 1+10
}

func TestOrderRefusesByField(t *testing.T) {
	_, err := Order(Session{Opening: -1, Weights: Weights{WrittenPercent: 101}}, []Candidate{
		{ID: "a", Askers: 1}, {ID: "a", Askers: 1}, {ID: "b"}, {ID: "c", Askers: 1, Time: -1}, {ID: "d", Askers: 1, Pinned: true, Excluded: true},
	})
	require.Equal(t, fault.Invalid, fault.KindOf(err))
	for _, field := range []string{"session.length", "session.opening", "session.weights", "candidates[1].id", "candidates[2].askers", "candidates[3].time", "candidates[4].pinned"} {
		require.ErrorContains(t, err, field)
	}
	_, err = Order(Session{Length: time.Hour, Weights: StandardWeights}, make([]Candidate, MostCandidates+1))
	require.ErrorContains(t, err, "are more than 20000")
	got, err := Order(Session{Length: time.Hour, Weights: StandardWeights}, nil)
	require.NoError(t, err)
	require.Empty(t, got.Positions)
}

func BenchmarkOrder(b *testing.B) {
	for _, n := range []int{100, 1000, 5000} {
		for _, length := range []time.Duration{time.Hour, LongestSession} {
			b.Run(fmt.Sprintf("questions=%d/session=%s", n, length), func(b *testing.B) {
				candidates := randomCandidates(rand.New(rand.NewPCG(3, 4)), n)
				for i := range candidates {
					candidates[i].Pinned = false
				}
				s := Session{Length: length, Opening: UsualOpening, Now: noon, Weights: StandardWeights}
				for b.Loop() {
					if _, err := Order(s, candidates); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
