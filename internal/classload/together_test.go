package classload

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
)

// as makes a room's class another one that opens later.
func (r *room) as(class string, later time.Duration) *room {
	r.in.Class.ID, r.in.Class.Start = class, r.in.Class.Start.Add(later)
	for i := range r.in.Batches {
		r.in.Batches[i].Class = class
	}
	return r
}

func planTogether(t testing.TB, o Options, rooms ...*room) ([]*Plan, Joint) {
	t.Helper()
	if o.Work == 0 {
		o.Work = 60_000
	}
	inputs := make([]Input, len(rooms))
	for i, r := range rooms {
		inputs[i] = r.in
	}
	plans, joint, err := Together(context.Background(), inputs, o)
	require.NoError(t, err)
	require.Len(t, plans, len(rooms))
	require.Empty(t, Clashes(inputs, plans))
	return plans, joint
}

// One canner of nine pints for two classes of one station each, from the same hour. The one that closes early has
// time for one load only, if it is the first; the other can wait. Planned in the order named, the early one loses all
// its jars; planned together, nobody loses any.
func TestTogetherTheHurriedClassGoesFirst(t *testing.T) {
	canner := measured("14", "0.35", 9, 7)
	patient := newRoom(t, "5,280 ft", 5*time.Hour).canner("big", 1, canner).burners(4).station(t, "a", canning.Pint, 9, "chile_salsa")
	alone := patient.plan(t, Options{})
	require.Zero(t, alone.Outcome.Unprocessed)
	length := time.Duration(alone.Outcome.Finish) * time.Minute
	hurried := newRoom(t, "5,280 ft", length+10*time.Minute).canner("big", 1, canner).burners(4).station(t, "b", canning.Pint, 9, "chile_salsa").as("early-close", 0)

	second := *hurried
	second.in.Around = []Plan{*alone}
	require.Equal(t, 9, second.plan(t, Options{}).Outcome.Unprocessed, "around the patient class there is no room")

	plans, joint := planTogether(t, Options{}, patient, hurried)
	require.Zero(t, joint.Unprocessed)
	require.Equal(t, alone.Outcome.Finish, plans[1].Outcome.Finish, "the hurried class is as soon as alone")
	// The canner is free again when the hurried load is out and it has been reset; the patient load needs as long as the hurried one.
	load := plans[1].Canners[0].Loads[0]
	require.Equal(t, load.Out+5+(load.Out-load.In), plans[0].Outcome.Finish)
	require.Equal(t, []PlanRef{{Class: "early-close"}}, plans[0].Around)
	require.NotEmpty(t, plans[0].Canners[0].Held)
	require.Equal(t, plans[0].Outcome.Finish+plans[1].Outcome.Finish, joint.Finish)
	require.Equal(t, 2*alone.Outcome.Finish, joint.BoundFinish, "each alone would end then")
	require.False(t, joint.Optimal(), "the bound takes no note of the shared canner")
}

// Classes that never meet are planned as if each were alone, and that is proven.
func TestTogetherApart(t *testing.T) {
	morning := busyRoom(t)
	evening := busyRoom(t).as("evening", 9*time.Hour)
	alone := morning.plan(t, Options{})
	require.True(t, alone.Outcome.Optimal)
	plans, joint := planTogether(t, Options{}, morning, evening)
	require.True(t, joint.Optimal())
	for _, p := range plans {
		require.True(t, p.Outcome.Optimal)
		require.Equal(t, alone.Outcome.Finish, p.Outcome.Finish)
		require.Zero(t, p.Outcome.Unprocessed)
	}
}

// In a room where hands are not what is short, two classes that open and close together are the stations of one large
// class: together they cannot leave fewer jars than it, and they reach it.
func TestTogetherIsNoWorseThanOneClassOfAllStations(t *testing.T) {
	make := func(ids ...string) *room {
		r := newRoom(t, "5,280 ft", 3*time.Hour+30*time.Minute).canner("big", 1, measured("14", "0.35", 9, 7)).burners(6)
		r.in.Class.Team.Handlers, r.in.Class.Team.Handling = 8, time.Minute
		for i, id := range ids {
			r.station(t, id, canning.Pint, 7+i, "chile_salsa")
		}
		return r
	}
	whole := make("a", "b", "c", "d").plan(t, Options{Work: 100_000})
	require.Positive(t, whole.Outcome.Unprocessed, "there is not room for all")
	require.Equal(t, whole.Outcome.BoundUnprocessed, whole.Outcome.Unprocessed, "proven")
	left, right := make("a", "b"), make("c", "d").as("other", 0)
	// Numbers of jars as in the whole: 7, 8, 9 and 10.
	right.in.Batches[0].Jars, right.in.Batches[1].Jars = 9, 10
	_, joint := planTogether(t, Options{}, left, right)
	// A load cannot mix the classes, so it may need one load more than the whole: at most what a canner holds.
	require.GreaterOrEqual(t, joint.Unprocessed, whole.Outcome.Unprocessed)
	require.LessOrEqual(t, joint.Unprocessed, whole.Outcome.Unprocessed+9)
	require.LessOrEqual(t, joint.BoundUnprocessed, joint.Unprocessed)
}

// Whatever the classes: no clash, no figure below its bound, never worse than one after the other, and the same again.
func TestTogetherHolds(t *testing.T) {
	recipes := []string{"chile_salsa", "pickled_corn_relish"}
	for seed := range uint64(25) {
		luck := rand.New(rand.NewPCG(seed, 1))
		between := func(least, most int) int { return least + luck.IntN(most-least+1) }
		var rooms []*room
		canners, burners := between(1, 2), between(2, 6)
		for c := range between(2, 3) {
			hours := between(3, 6)
			r := newRoom(t, "5,280 ft", time.Duration(hours)*time.Hour).canner("big", canners, measured("14", "0.35", 9, 7)).burners(burners)
			for s := range between(1, 2) {
				r.station(t, fmt.Sprintf("s%d", s+1), canning.Pint, between(1, 10), recipes[luck.IntN(2)])
			}
			rooms = append(rooms, r.as(fmt.Sprintf("class-%d", c+1), time.Duration(between(0, 150))*time.Minute))
		}
		plans, joint := planTogether(t, Options{Work: 8000, Seed: 7}, rooms...)
		require.GreaterOrEqual(t, joint.Unprocessed, joint.BoundUnprocessed)
		if joint.Unprocessed == joint.BoundUnprocessed {
			require.GreaterOrEqual(t, joint.Finish, joint.BoundFinish)
		}
		var before []Plan
		sum := Joint{}
		for _, r := range rooms {
			next := *r
			next.in.Around = before
			p := next.plan(t, Options{Work: 2000, Seed: 7})
			before = append(before, *p)
			sum.Unprocessed += p.Outcome.Unprocessed
		}
		require.LessOrEqual(t, joint.Unprocessed, sum.Unprocessed)
		if seed%5 == 0 {
			again, _ := planTogether(t, Options{Work: 8000, Seed: 7}, rooms...)
			for i := range plans {
				require.Equal(t, timeless(t, plans[i]), timeless(t, again[i]))
			}
		}
	}
}

// timeless is a plan without how long it took to find.
func timeless(t testing.TB, p *Plan) string {
	c := *p
	c.Outcome.Elapsed, c.Answer = 0, nil
	text, err := json.Marshal(c)
	require.NoError(t, err)
	return string(text)
}

func TestClashesAreSeen(t *testing.T) {
	r := newRoom(t, "5,280 ft", 5*time.Hour).canner("big", 1, measured("14", "0.35", 9, 7)).burners(1).station(t, "a", canning.Pint, 5, "chile_salsa")
	other := newRoom(t, "5,280 ft", 5*time.Hour).canner("big", 1, measured("14", "0.35", 9, 7)).burners(1).station(t, "a", canning.Pint, 5, "chile_salsa").as("other", 0)
	first, second := r.plan(t, Options{}), other.plan(t, Options{})
	clashes := Clashes([]Input{r.in, other.in}, []*Plan{first, second})
	require.Len(t, clashes, 5, "one canner; two stages and two loads at one burner: %v", clashes)
	require.Contains(t, clashes[0], "big at minute")
	require.Contains(t, clashes[1], "2 burners at")
}

func TestTogetherNamesWhatCannotBe(t *testing.T) {
	r := busyRoom(t)
	_, _, err := Together(context.Background(), []Input{r.in}, Options{Work: 1000})
	require.Equal(t, fault.Invalid, fault.KindOf(err))
	none := busyRoom(t).as("other", 0)
	none.in.Units = nil
	_, _, err = Together(context.Background(), []Input{r.in, none.in}, Options{Work: 1000})
	require.Equal(t, fault.Precondition, fault.KindOf(err))
	require.ErrorContains(t, err, "class other")
}
