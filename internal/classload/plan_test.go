package classload

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/canning"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/recipe"
)

var opens = time.Date(2027, 9, 4, 15, 0, 0, 0, time.UTC)

// room is a class of stations that each make one batch, with canners and burners in number.
type room struct {
	in Input
}

func newRoom(t testing.TB, feet string, hours time.Duration) *room {
	t.Helper()
	altitude, err := measure.ParseAltitude(feet)
	require.NoError(t, err)
	return &room{in: Input{
		Class:    kitchen.Class{ID: "relish-day", Start: opens, Duration: hours, Team: kitchen.CanningTeam{Handlers: 2, Handling: 2 * time.Minute, HotHold: 15 * time.Minute}},
		Altitude: altitude, Recipes: map[kitchen.RevisionRef]*recipe.Revision{}, Assume: DefaultAssumptions(),
	}}
}

func (r *room) canner(id string, owned int, c kitchen.Canner) *room {
	for n := range owned {
		r.in.Units = append(r.in.Units, kitchen.Unit{Number: n + 1, Equipment: kitchen.Equipment{ID: id, DisplayName: id, Kind: kitchen.KindCanner, Owned: owned, Canner: &c}})
	}
	return r
}

func (r *room) burners(owned int) *room {
	for n := range owned {
		r.in.Units = append(r.in.Units, kitchen.Unit{Number: n + 1, Equipment: kitchen.Equipment{ID: "burners", DisplayName: "burner", Kind: kitchen.Burner, Owned: owned}})
	}
	return r
}

// station adds a bench with two people that makes the given recipes, one batch of each.
func (r *room) station(t testing.TB, id string, size canning.JarSize, jars int, recipes ...string) *room {
	t.Helper()
	position := len(r.in.Stations) + 1
	r.in.Stations = append(r.in.Stations, kitchen.Station{ID: id, DisplayName: "Bench " + id, Position: position, Participants: 2})
	for i, key := range recipes {
		revision, err := recipe.Published(key)
		require.NoError(t, err)
		ref := kitchen.RevisionRef{Recipe: key, Number: 1}
		r.in.Recipes[ref] = revision
		r.in.Batches = append(r.in.Batches, kitchen.Batch{ID: fmt.Sprintf("%s-%d", id, i+1), Class: "relish-day", Station: id, StationPosition: position, Order: i + 1,
			Revision: ref, JarSize: size, Jars: jars, MaySplit: true})
	}
	return r
}

func (r *room) plan(t testing.TB, o Options) *Plan {
	t.Helper()
	if o.Work == 0 {
		o.Work = 20_000
	}
	p, err := Build(r.in)
	require.NoError(t, err)
	plan, err := p.Solve(context.Background(), o)
	require.NoError(t, err)
	return plan
}

// measured is a canner whose come-up the kitchen measured.
func measured(base, perJar string, pints, quarts int, methods ...canning.Method) kitchen.Canner {
	if len(methods) == 0 {
		methods = []canning.Method{canning.BoilingWater}
	}
	return kitchen.Canner{Methods: methods, Holds: []canning.RackSpace{{Jar: canning.Pint, Jars: pints}, {Jar: canning.Quart, Jars: quarts}},
		ComeUp: kitchen.ComeUpLine{Base: base, PerJar: perJar}, Reset: 5}
}

// One station, one canner, nothing in the way: every minute worked out by hand.
//
//	prepare               30   assumed
//	blanch, simmer …           printed steps of chile salsa, the long end of each range
//	fill 7 jars            7   assumed, 1 minute a jar
//	load                   2
//	come-up               17   14 + 0.35 x 7 = 16.45, rounded up
//	process               20   USDA AIB 539 (rev. 2015), Guide 3: chile salsa, hot pack, pints, 1,001-6,000 ft
//	rest                   5   USDA AIB 539 (rev. 2015), Guide 1: lid removed, heat off, 5 minutes
//	unload                 2
func TestOneLoadByHand(t *testing.T) {
	r := newRoom(t, "5,280 ft", 4*time.Hour).canner("big", 1, measured("14", "0.35", 9, 7)).burners(2)
	plan := r.station(t, "a", canning.Pint, 7, "chile_salsa").plan(t, Options{})
	// Its steps: heat 6 to 8, blanch 1/2 to 1, simmer 10, each at a burner and so with 10 minutes to heat; then fill.
	const stage = (10 + 8) + (10 + 1) + (10 + 10) + 7
	require.Equal(t, 30, plan.Batches[0].Cook)
	require.Equal(t, 30+stage, plan.Batches[0].Lidded)
	load := plan.Canners[0].Loads[0]
	in := 30 + stage
	require.Equal(t, []int{in, in + 2 + 17, in + 2 + 17, in + 2 + 17 + 20, in + 2 + 17 + 20 + 5, in + 2 + 17 + 20 + 5 + 2},
		[]int{load.In, load.Boil, load.Clock, load.Off, load.Unload, load.Out})
	require.Equal(t, canning.BoilingWater, load.Process.Method)
	require.Equal(t, "1,001-6,000 ft", load.Process.Band)
	require.Equal(t, []JarsInLoad{{Batch: "a-1", Station: "a", Title: plan.Batches[0].Title, Jars: 7, Product: load.Jars[0].Product, Source: load.Jars[0].Source}}, load.Jars)
	require.Contains(t, load.Jars[0].Source.Publication, "AIB 539")
	require.Equal(t, ComeUpBasis{Basis: measuredByKitchen, Base: "14", PerJar: "0.35"}, load.ComeUp)
	require.Equal(t, in+46, plan.Outcome.Finish)
	require.True(t, plan.Outcome.Optimal, "nothing can be sooner than the only way there is")
	require.Equal(t, []Link{
		{From: in, Until: in + 46, What: "big: 7 jars of a", Because: "its jars were lidded only then"},
		{From: 30, Until: in, What: "a cooks and fills " + plan.Batches[0].Title, Because: "it begins as soon as the station has prepared"},
	}, plan.Chain)
	// The stage, and the canner until the heat is off.
	require.Equal(t, stage+2+17+20, plan.Outcome.FuelMinutes)
}

func TestOnePersonTakesTheAssumedTimesTwice(t *testing.T) {
	r := newRoom(t, "1,600 m", 4*time.Hour).canner("big", 1, measured("14", "0", 9, 7)).burners(2).station(t, "a", canning.Pint, 7, "chile_salsa")
	pair := r.plan(t, Options{}).Batches[0].Work
	r.in.Stations[0].Participants = 1
	alone := r.plan(t, Options{}).Batches[0].Work
	require.Equal(t, pair.Ready()+30, alone.Ready())
	require.Equal(t, pair.Stage()+7, alone.Stage(), "filling is slower, a pot boils no slower")
}

// What is printed for half a day or more is begun before the class.
func TestLongSoaksAreDoneBeforeTheClass(t *testing.T) {
	r := newRoom(t, "1,600 m", 4*time.Hour).canner("big", 1, measured("14", "0.35", 9, 7)).burners(2).station(t, "a", canning.Pint, 7, "piccalilli")
	work := r.plan(t, Options{}).Batches[0].Work
	require.Equal(t, []Part{{What: "soak", Minutes: 720}}, work.Before, "12 hours (USDA AIB 539, Guide 6)")
	for _, part := range append(work.Preparing, work.Cooking...) {
		require.NotEqual(t, "soak", part.What)
	}
}
