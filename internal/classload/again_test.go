package classload

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
)

// busyRoom is four stations, two canners and six burners.
func busyRoom(t *testing.T) *room {
	r := newRoom(t, "5,280 ft", 5*time.Hour).canner("big", 2, measured("14", "0.35", 9, 7)).burners(6)
	for i, key := range []string{"chile_salsa", "pickled_corn_relish", "chile_salsa", "pickled_corn_relish"} {
		r.station(t, fmt.Sprintf("s%d", i+1), canning.Pint, 7, key)
	}
	return r
}

// A class under way loses a canner: what went in stays as it was, the rest is planned around it.
func TestReplanningKeepsWhatHasHappened(t *testing.T) {
	r := busyRoom(t)
	before := r.plan(t, Options{})
	require.Zero(t, before.Outcome.Unprocessed)
	first := before.Canners[0].Loads[0]
	now := first.In + 10
	at := func(m int) time.Time { return opens.Add(time.Duration(m) * time.Minute) }
	h := &Happened{Now: at(now), Filled: map[string]time.Time{}, Gone: []string{"big#2"}}
	jarsIn := map[string]int{}
	for _, b := range before.Batches {
		if b.Cook < now {
			h.Filled[b.Batch] = at(b.Lidded)
		}
	}
	for _, c := range before.Canners {
		for _, l := range c.Loads {
			if l.In < now {
				jars := map[string]int{}
				for _, j := range l.Jars {
					jars[j.Batch] += j.Jars
					jarsIn[j.Batch] += j.Jars
				}
				h.Loads = append(h.Loads, HappenedLoad{Unit: c.ID, Start: at(l.In), Jars: jars})
			}
		}
	}
	r.in.Happened, r.in.Previous = h, before
	after := r.plan(t, Options{})

	for i, b := range after.Batches {
		if _, filled := h.Filled[b.Batch]; filled {
			require.True(t, b.Done)
			require.Equal(t, before.Batches[i].Lidded, b.Lidded, "what is filled stays filled when it was")
		} else {
			require.GreaterOrEqual(t, b.Cook, now)
		}
	}
	kept := 0
	for i, c := range after.Canners {
		for _, l := range c.Loads {
			if !l.Done {
				require.GreaterOrEqual(t, l.In, now)
				require.NotEqual(t, "big#2", c.ID, "it is gone")
				continue
			}
			kept++
			require.Equal(t, before.Canners[i].Loads[0].In, l.In)
			require.Equal(t, before.Canners[i].Loads[0].Out, l.Out, "an end that is not told is reckoned")
			require.Equal(t, before.Canners[i].Loads[0].Jars, l.Jars)
		}
	}
	require.Len(t, h.Loads, kept)
	require.Contains(t, after.Notes, "big 2 cannot be used any more.")
	require.Positive(t, after.Outcome.Moved, "with a canner less something has to move")

	// With nothing lost and nothing to move, the plan stays what it was.
	h.Gone = nil
	same := r.plan(t, Options{})
	require.Zero(t, same.Outcome.Moved)
	require.Equal(t, before.Outcome.Finish, same.Outcome.Finish)
}

func TestReplanningNamesWhatCannotBe(t *testing.T) {
	r := busyRoom(t)
	for field, h := range map[string]*Happened{
		"happened.filled":          {Now: opens, Filled: map[string]time.Time{"nobody": opens}},
		"happened.gone":            {Now: opens, Gone: []string{"small#1"}},
		"happened.loads[0].canner": {Now: opens, Loads: []HappenedLoad{{Unit: "small#1", Start: opens, Jars: map[string]int{"s1-1": 1}}}},
		"happened.loads[0].jars":   {Now: opens, Loads: []HappenedLoad{{Unit: "big#1", Start: opens, Jars: map[string]int{"nobody": 1}}}},
	} {
		r.in.Happened = h
		_, err := Build(r.in)
		var f *fault.Error
		require.ErrorAs(t, err, &f, field)
		require.Equal(t, field, f.Violations[0].Field)
	}
}

// Two classes in one room on one day: the second is planned around the first, and together they never use a canner
// twice nor more burners than there are.
func TestTwoClassesShareARoom(t *testing.T) {
	morning := busyRoom(t)
	first := morning.plan(t, Options{})
	second := busyRoom(t)
	second.in.Class.ID, second.in.Class.Start = "later-day", opens.Add(90*time.Minute)
	alone := second.plan(t, Options{})
	second.in.Around = []Plan{*first}
	plan := second.plan(t, Options{Gains: true})
	require.Zero(t, plan.Outcome.Unprocessed)
	require.Greater(t, plan.Outcome.Finish, alone.Outcome.Finish, "it cannot be as soon as in a room of its own")
	const shift = 90
	for i, c := range plan.Canners {
		require.NotEmpty(t, c.Held)
		for _, l := range c.Loads {
			for _, o := range first.Canners[i].Loads {
				require.True(t, l.In+shift >= o.Out+c.Reset || l.Out+shift+c.Reset <= o.In, "%s at %d", c.Name, l.In)
			}
		}
	}
	var uses []Use
	for _, row := range first.BurnerUse {
		uses = append(uses, row.Uses...)
	}
	own := 0
	for _, row := range plan.BurnerUse {
		for _, u := range row.Uses {
			if !u.Other {
				own++
				uses = append(uses, Use{From: u.From + shift, Until: u.Until + shift})
			}
		}
	}
	require.Equal(t, len(plan.Batches)+plan.Outcome.Loads, own)
	for _, u := range uses {
		n := 0
		for _, v := range uses {
			if v.From <= u.From && u.From < v.Until {
				n++
			}
		}
		require.LessOrEqual(t, n, 6)
	}
	// Planned around both, a third class counts what each takes once.
	third := busyRoom(t)
	third.in.Class.ID, third.in.Class.Start = "late-day", opens.Add(7*time.Hour)
	third.in.Around = []Plan{*first, *plan}
	require.Zero(t, third.plan(t, Options{}).Outcome.Unprocessed)
}

// Quarts of chile salsa have no printed process and pints have: the plan says what pints would gain.
func TestWhatAnotherJarSizeWouldGain(t *testing.T) {
	plan := newRoom(t, "5,280 ft", 4*time.Hour).canner("big", 1, measured("14", "0.35", 9, 7)).burners(2).station(t, "a", canning.Quart, 3, "chile_salsa").plan(t, Options{Gains: true})
	require.Len(t, plan.Unplaced, 1)
	var found bool
	for _, g := range plan.Gains {
		if g.Change == "pint jars instead of quart" {
			found = true
			// Three quarts are six pints, 2.8 litres.
			require.Equal(t, "2.8 l more food processed", g.Words)
			require.Zero(t, g.Unprocessed)
		}
	}
	require.True(t, found, "%+v", plan.Gains)
}

// What would help is never worse than what is, and a canner more is worth something when canners are what is short.
func TestGainsAreNoLosses(t *testing.T) {
	r := newRoom(t, "5,280 ft", 4*time.Hour).canner("small", 1, measured("14", "0.35", 4, 4)).burners(8)
	for i := range 4 {
		r.station(t, fmt.Sprintf("s%d", i+1), canning.Pint, 7, "chile_salsa")
	}
	plan := r.plan(t, Options{Gains: true, Work: 6000})
	require.Positive(t, plan.Outcome.Unprocessed)
	for _, g := range plan.Gains {
		require.LessOrEqual(t, g.Unprocessed, plan.Outcome.Unprocessed, g.Change)
		if g.Change == "one more canner like small" {
			require.Less(t, g.Unprocessed, plan.Outcome.Unprocessed)
			require.Contains(t, g.Words, "more jars processed")
		}
	}
}
