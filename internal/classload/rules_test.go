package classload

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/loadplan/class"
	"stillroom/internal/loadplan/class/check"
	"stillroom/internal/measure"
	"stillroom/internal/recipe"
	"stillroom/internal/reference"
)

// canned is a recipe whose formula somebody attests as printed in the publication of its process, for foods of
// the process table that the library prints no recipe of.
func canned(product string, pack reference.Pack, jar canning.JarSize) *recipe.Revision {
	row := reference.ProcessRowsOf(product)[0]
	juice, ok := recipe.FindIngredient("bottled lemon juice")
	if !ok {
		panic("the ingredient table lists no bottled lemon juice")
	}
	return &recipe.Revision{
		// Tomatoes need 2 tablespoons a quart (AIB 539, Guide 3, p. 3-5); this is enough for ten.
		Lines: []recipe.Line{{ID: "juice", Ingredient: juice, Amount: measure.Q(measure.Int(20), measure.Tablespoon), Role: recipe.Acid}},
		Key:   product, Title: row.Product, ProcessKey: product, Pack: pack,
		Source:   recipe.Source{Publication: row.Source.Publication, Locator: row.Source.Locator},
		Attested: recipe.Attestation{By: "the instructor"},
		Yield:    recipe.Yield{Jar: jar, JarsMin: 7, JarsMax: 7},
		Steps:    []recipe.Step{{Order: 1, Action: "boil", Timed: true, MinutesMin: 5, MinutesMax: 5, Burner: true, Hands: 1}, {Order: 2, Action: "fill", Hands: 2}}}
}

// bench adds a station that makes one batch of a recipe of the test's own.
func (r *room) bench(id string, size canning.JarSize, jars int, revision *recipe.Revision) *room {
	position := len(r.in.Stations) + 1
	ref := kitchen.RevisionRef{Recipe: id + "-recipe", Number: 1}
	r.in.Recipes[ref] = revision
	r.in.Stations = append(r.in.Stations, kitchen.Station{ID: id, DisplayName: id, Position: position, Participants: 2})
	r.in.Batches = append(r.in.Batches, kitchen.Batch{ID: id + "-1", Class: "relish-day", Station: id, StationPosition: position, Order: 1, Revision: ref,
		JarSize: size, Jars: jars, MaySplit: true})
	return r
}

func loadsOf(p *Plan) (all []LoadPlan) {
	for _, c := range p.Canners {
		all = append(all, c.Loads...)
	}
	return all
}

// Under pressure a load has further phases, each a published figure: venting 10 minutes, coming up to pressure at
// most 5, cooling on its own at most 60, 10 more with the weight off (USDA AIB 539 (rev. 2015), Guide 1; the
// figures are those of the procedure facts).
func TestPressureLoadsHaveTheirPhases(t *testing.T) {
	r := newRoom(t, "5,280 ft", 6*time.Hour).canner("pressure", 1, measured("10", "1", 9, 7, canning.PressureWeighted)).burners(2).
		bench("a", canning.Pint, 7, canned("carrots", reference.HotPack, canning.Pint))
	plan := r.plan(t, Options{})
	require.Empty(t, plan.Unplaced)
	load := loadsOf(plan)[0]
	require.Equal(t, canning.PressureWeighted, load.Process.Method)
	// Carrots in pints: 25 minutes, above 1,000 ft at 15 pounds by a weighted gauge (AIB 539, Guide 4, p. 4-10).
	require.EqualValues(t, 25, load.Process.Minutes)
	require.Equal(t, 15, load.Process.Pressure)
	figure := func(key string) int { return int(reference.MustFigure(key)) }
	require.Equal(t, load.In+2+17, load.Boil)
	require.Equal(t, load.Boil+figure("pc_vent_minutes")+figure("pc_pressurise_minutes_max"), load.Clock)
	require.Equal(t, load.Clock+25, load.Off)
	require.Equal(t, load.Off+figure("pc_cool_down_max")+figure("pc_wait_after_weight_removed"), load.Unload)
	require.Equal(t, load.Unload+2, load.Out)
	var parts []string
	for i, phase := range load.Phases {
		parts = append(parts, phase.Part)
		require.Less(t, phase.From, phase.Until)
		if i > 0 {
			require.Equal(t, load.Phases[i-1].Until, phase.From)
		}
		if phase.Part == "vent" || phase.Part == "depressurise" || phase.Part == "process" {
			require.NotEmpty(t, phase.Source.Publication, phase.Name)
		}
	}
	require.Equal(t, []string{"load", "come-up", "vent", "vent", "process", "depressurise", "depressurise", "load"}, parts)
}

// One class with acid food for boiling water and low-acid food for pressure: every load keeps its own rest.
func TestBoilingWaterAndPressureInOneClass(t *testing.T) {
	r := newRoom(t, "5,280 ft", 6*time.Hour).
		canner("pressure", 1, measured("10", "1", 9, 7, canning.PressureWeighted, canning.PressureDial)).
		canner("water", 1, measured("14", "0.35", 9, 7)).burners(4).
		bench("beans", canning.Pint, 7, canned("carrots", reference.HotPack, canning.Pint)).
		station(t, "salsa", canning.Pint, 7, "chile_salsa")
	plan := r.plan(t, Options{})
	require.Empty(t, plan.Unplaced)
	for _, l := range loadsOf(plan) {
		rest := 70 // pressure: 60 to cool at most, 10 with the weight off
		if l.Process.Method == canning.BoilingWater {
			rest = 5
		}
		require.Equal(t, rest, l.Unload-l.Off, l.Process.Method)
	}
}

func TestMethodAndPressureCanBeChosen(t *testing.T) {
	r := newRoom(t, "5,280 ft", 6*time.Hour).
		canner("any", 1, measured("10", "1", 9, 7, canning.BoilingWater, canning.PressureDial)).burners(2).
		bench("a", canning.Pint, 7, canned("crushed_tomatoes", reference.HotPack, canning.Pint))
	load := loadsOf(r.plan(t, Options{}))[0]
	require.Equal(t, canning.BoilingWater, load.Process.Method, "acid food goes into boiling water unless somebody chooses otherwise")

	r.in.Choices = map[string]Choice{"a-1": {Method: canning.PressureDial}}
	load = loadsOf(r.plan(t, Options{}))[0]
	require.Equal(t, canning.PressureDial, load.Process.Method)
	process, err := canning.Published().LookUp(canning.Request{ProductKey: "crushed_tomatoes", Pack: reference.HotPack, Jar: canning.Pint, Method: canning.PressureDial, Altitude: r.in.Altitude})
	require.NoError(t, err)
	require.Greater(t, len(process.Choices), 1, "tomatoes have several printed choices")
	for _, c := range process.Choices {
		require.LessOrEqual(t, load.Process.Minutes, c.Minutes, "the quickest is taken")
		r.in.Choices["a-1"] = Choice{Method: canning.PressureDial, Pressure: c.Pressure}
		chosen := loadsOf(r.plan(t, Options{}))[0]
		require.Equal(t, c.Minutes, chosen.Process.Minutes)
		require.Equal(t, int(c.Pressure), chosen.Process.Pressure)
	}
	r.in.Choices["a-1"] = Choice{Method: canning.PressureDial, Pressure: 29}
	_, err = Build(r.in)
	require.Equal(t, fault.Invalid, fault.KindOf(err), "no such pressure is printed: %v", err)
}

// What has no published process is in no load, with the reason; its station and its burner are taken all the same.
func TestJarsWithoutAProcessGoIntoNoLoad(t *testing.T) {
	weak, err := recipe.Published("chile_salsa")
	require.NoError(t, err)
	weak.Lines = slices.DeleteFunc(weak.Lines, func(l recipe.Line) bool { return l.Role == recipe.Acid })
	own := &recipe.Revision{Key: "own", Title: "A recipe of my own", Pack: reference.HotPack, Yield: recipe.Yield{Jar: canning.Pint, JarsMin: 4, JarsMax: 4}, Steps: weak.Steps}
	for name, c := range map[string]struct {
		room *room
		says string
	}{
		"changed beyond its source": {newRoom(t, "1,600 m", 4*time.Hour).canner("c", 1, measured("14", "0.35", 9, 7)).bench("a", canning.Pint, 7, weak), "forbidden"},
		"no source":                 {newRoom(t, "1,600 m", 4*time.Hour).canner("c", 1, measured("14", "0.35", 9, 7)).bench("a", canning.Pint, 7, own), "no published process"},
		"jar larger than printed":   {newRoom(t, "1,600 m", 4*time.Hour).canner("c", 1, measured("14", "0.35", 9, 7)).station(t, "a", canning.Quart, 4, "chile_salsa"), "larger than the largest jar printed"},
		"low acid, boiling water": {newRoom(t, "1,600 m", 4*time.Hour).canner("c", 1, measured("14", "0.35", 9, 7)).
			bench("a", canning.Pint, 7, canned("carrots", reference.HotPack, canning.Pint)), "does not print this method"},
		"no canner takes the size": {newRoom(t, "1,600 m", 4*time.Hour).canner("c", 1, kitchen.Canner{Methods: []canning.Method{canning.BoilingWater},
			Holds: []canning.RackSpace{{Jar: canning.HalfPint, Jars: 9}}}).station(t, "a", canning.Pint, 7, "chile_salsa"), "no canner of the class takes pint jars"},
		"beyond the dial table": {newRoom(t, "8,900 m", 4*time.Hour).canner("c", 1, measured("14", "0.35", 9, 7, canning.PressureDial)).
			bench("a", canning.Pint, 7, canned("carrots", reference.HotPack, canning.Pint)), "the table of"},
	} {
		r := c.room.burners(1)
		plan := r.plan(t, Options{})
		require.Len(t, plan.Unplaced, 1, name)
		u := plan.Unplaced[0]
		require.Contains(t, u.Reason, c.says, name)
		require.False(t, u.NoRoom, name)
		require.Equal(t, r.in.Batches[0].Jars, u.Jars, name)
		require.Empty(t, loadsOf(plan), name)
		require.Zero(t, plan.Outcome.Unprocessed, "%s: they are not jars that could be processed", name)
		require.Contains(t, plan.Cautions[0].Text, "Local codes", name)
		require.Len(t, plan.BurnerUse[0].Uses, 1, "%s: it is cooked all the same", name)

		// The only burner: another batch is cooked before or after it, never meanwhile, and the canner has none left then.
		two := *c.room
		two.burners(1).station(t, "b", canning.HalfPint, 5, "pickled_corn_relish")
		for _, row := range two.plan(t, Options{}).BurnerUse {
			for i := 1; i < len(row.Uses); i++ {
				require.LessOrEqual(t, row.Uses[i-1].Until, row.Uses[i].From, name)
			}
		}
	}
}

func TestJarsForWhichThereIsNoTime(t *testing.T) {
	plan := newRoom(t, "1,600 m", 90*time.Minute).canner("c", 1, measured("14", "0.35", 9, 7)).burners(2).station(t, "a", canning.Pint, 7, "chile_salsa").plan(t, Options{Gains: true})
	require.Len(t, plan.Unplaced, 1)
	require.True(t, plan.Unplaced[0].NoRoom)
	require.Contains(t, plan.Unplaced[0].Reason, "would not be out before the class closes at 90 min")
	require.Equal(t, 7, plan.Outcome.Unprocessed)
	require.Equal(t, 7, plan.Outcome.BoundUnprocessed, "and that is proven")
	// By hand (see TestOneLoadByHand): out 132 minutes after opening at the earliest, so 15 minutes more are too few.
	for _, g := range plan.Gains {
		require.Equal(t, 7, g.Unprocessed, g.Change)
	}
}

// Two classes of food with the same minutes share a load, each with its own row.
func TestALoadNamesTheRowOfEachFood(t *testing.T) {
	r := newRoom(t, "5,280 ft", 4*time.Hour).canner("big", 1, measured("14", "0.35", 9, 7)).burners(4).
		station(t, "a", canning.Pint, 4, "chile_salsa").station(t, "b", canning.Pint, 4, "pickled_corn_relish")
	r.in.Class.Team.HotHold = 30 * time.Minute
	plan := r.plan(t, Options{})
	loads := loadsOf(plan)
	require.Len(t, loads, 1)
	require.Len(t, loads[0].Jars, 2)
	require.NotEqual(t, loads[0].Jars[0].Source.Locator, loads[0].Jars[1].Source.Locator)
	require.NotEqual(t, loads[0].Jars[0].Product, loads[0].Jars[1].Product)
}

// A metric jar takes the room and the process of its counterpart, and the plan says by what custom.
func TestMetricJars(t *testing.T) {
	plan := newRoom(t, "5,280 ft", 4*time.Hour).canner("big", 1, measured("14", "0.35", 9, 7)).burners(2).station(t, "a", canning.ML500, 7, "chile_salsa").plan(t, Options{})
	load := loadsOf(plan)[0]
	require.EqualValues(t, 20, load.Process.Minutes)
	require.Equal(t, canning.CommonPractice, load.Jars[0].Notes[0].Source.Publication)
}

// A canner that heats by itself takes no burner: with one burner for two stations, one cooks while it runs.
func TestCannersWithTheirOwnHeatTakeNoBurner(t *testing.T) {
	own := measured("14", "0.35", 9, 7)
	own.OwnHeat = true
	class := func(c kitchen.Canner, burners int) *Plan {
		return newRoom(t, "5,280 ft", 6*time.Hour).canner("own", 1, c).burners(burners).station(t, "a", canning.Pint, 7, "chile_salsa").station(t, "b", canning.Pint, 7, "chile_salsa").plan(t, Options{})
	}
	// Cook (56), load (46), cook, load: the one burner and the one canner in turn.
	require.Equal(t, 30+56+46+56+46, class(measured("14", "0.35", 9, 7), 1).Outcome.Finish)
	// Two burners suffice for both stations, so the canner sets the pace: its loads and 5 minutes between them. Were it
	// to stand on a burner, the second batch could be cooked only beside the first.
	with := class(own, 2)
	require.Equal(t, 30+56+46+5+46, with.Outcome.Finish)
	for _, row := range with.BurnerUse {
		for _, u := range row.Uses {
			require.NotContains(t, u.What, "own")
		}
	}
	// With one burner the answer keeps to it, is no later than with the canner on a burner, and says what it supposed.
	tight := class(own, 1)
	require.LessOrEqual(t, tight.Outcome.Finish, 30+56+46+56+46)
	require.Len(t, tight.BurnerUse, 1)
	require.Contains(t, tight.Notes[0], "as if")
	require.False(t, tight.Outcome.Optimal && tight.Outcome.Finish > 30+56+56+46, "the bound is that of the real room")
}

// The canner's own record wins over what somebody stated, and that over physics.
func TestWhatAComeUpRestsOn(t *testing.T) {
	basis := func(c kitchen.Canner) ComeUpBasis {
		return loadsOf(newRoom(t, "5,280 ft", 5*time.Hour).canner("c", 1, c).burners(2).station(t, "a", canning.Pint, 7, "chile_salsa").plan(t, Options{}))[0].ComeUp
	}
	c := measured("14", "0.35", 9, 7)
	require.Equal(t, measuredByKitchen, basis(c).Basis)
	altitude, err := measure.ParseAltitude("5,280 ft")
	require.NoError(t, err)
	for _, jars := range []int{4, 7, 9} {
		c.Record = append(c.Record, kitchen.ComeUp{At: opens, Observation: canning.Observation{Minutes: 20 + float64(jars)/3, Load: canning.HeatLoad{
			Method: canning.BoilingWater, Jar: canning.Pint, Pack: reference.HotPack, Jars: jars, Altitude: altitude}}})
	}
	require.Equal(t, string(canning.FromRecord), basis(c).Basis)
	// A come-up timed before the rack was changed says nothing any more: two are left, too few, and nobody stated any.
	unfit := c
	unfit.Record = slices.Clone(c.Record)
	unfit.Record[2].Observation.Load.Jars = 30
	unfit.ComeUp = kitchen.ComeUpLine{}
	require.Equal(t, string(canning.FromPhysics), basis(unfit).Basis)
	c.Record, c.ComeUp = nil, kitchen.ComeUpLine{}
	physics := basis(c)
	require.Equal(t, string(canning.FromPhysics), physics.Basis)
	require.NotEmpty(t, physics.Assumptions)
}

// One line for all sizes of a canner would promise some load too soon; no load is planned shorter than its own estimate.
func TestNoComeUpIsShorterThanItsEstimate(t *testing.T) {
	c := kitchen.Canner{Methods: []canning.Method{canning.BoilingWater}, Holds: []canning.RackSpace{{Jar: canning.HalfPint, Jars: 9}, {Jar: canning.Pint, Jars: 9}, {Jar: canning.Quart, Jars: 7}}}
	small := c
	small.Holds = []canning.RackSpace{{Jar: canning.Quart, Jars: 4}}
	r := newRoom(t, "5,280 ft", 8*time.Hour).canner("a", 1, c).canner("b", 1, small).burners(8).
		station(t, "s1", canning.HalfPint, 9, "pickled_corn_relish").station(t, "s2", canning.Pint, 7, "chile_salsa").
		bench("s3", canning.Quart, 7, canned("crushed_tomatoes", reference.HotPack, canning.Quart)).
		bench("s4", canning.Quart, 7, canned("tomatoes_whole_raw_no_liquid", reference.RawPack, canning.Quart))
	plan := r.plan(t, Options{})
	require.GreaterOrEqual(t, len(loadsOf(plan)), 4)
	for _, k := range plan.Canners {
		for _, l := range k.Loads {
			base, err := class.Decimal(l.ComeUp.Base).Rat()
			require.NoError(t, err)
			perJar, err := class.Decimal(l.ComeUp.PerJar).Rat()
			require.NoError(t, err)
			b, _ := base.Float64()
			p, _ := perJar.Float64()
			require.GreaterOrEqual(t, float64(l.Boil-l.In-plan.Handling), b+p*float64(l.Count()), "%s %s", k.Name, l.Size)
		}
	}
}

// Whatever the class, the plan keeps every rule: rows of the table, jars, phases, burners, hands, reservations.
func TestEveryPlanKeepsTheRules(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := anyRoom(t, rt)
		p, err := Build(r.in)
		require.NoError(rt, err)
		plan, err := p.Solve(context.Background(), Options{Work: 300})
		if fault.KindOf(err) == fault.Precondition {
			return // too few burners for its pots and canners, and it says so
		}
		require.NoError(rt, err)
		requireRules(rt, r.in, plan)

		again, err := p.Solve(context.Background(), Options{Work: 300})
		require.NoError(rt, err)
		plan.Outcome.Elapsed, again.Outcome.Elapsed = 0, 0
		plan.Answer, again.Answer = nil, nil // it says how long it took
		require.Equal(rt, plan, again, "the same class, work and seed give the same plan")
	})
}

// The same when the class is under way: what was followed up to some minute is kept, and the whole keeps every rule.
func TestEveryPlanOfAClassUnderWayKeepsTheRules(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := anyRoom(t, rt)
		p, err := Build(r.in)
		require.NoError(rt, err)
		plan, err := p.Solve(context.Background(), Options{Work: 200})
		if fault.KindOf(err) == fault.Precondition {
			return
		}
		require.NoError(rt, err)
		now := rapid.IntRange(0, plan.Close).Draw(rt, "now")
		at := func(m int) time.Time { return opens.Add(time.Duration(m) * time.Minute) }
		r.in.Happened = &Happened{Now: at(now), Filled: map[string]time.Time{}}
		for _, b := range plan.Batches {
			if b.Cook < now || b.Lidded <= now {
				r.in.Happened.Filled[b.Batch] = at(b.Lidded)
			}
		}
		began := 0
		for _, c := range plan.Canners {
			for _, l := range c.Loads {
				if l.In >= now {
					continue
				}
				began++
				jars := map[string]int{}
				for _, j := range l.Jars {
					jars[j.Batch] += j.Jars
				}
				r.in.Happened.Loads = append(r.in.Happened.Loads, HappenedLoad{Unit: c.ID, Start: at(l.In), Jars: jars})
			}
		}
		if rapid.Bool().Draw(rt, "keep") {
			r.in.Previous = plan
		}
		p, err = Build(r.in)
		require.NoError(rt, err)
		after, err := p.Solve(context.Background(), Options{Work: 200})
		if fault.KindOf(err) == fault.Precondition {
			return
		}
		require.NoError(rt, err)
		requireRules(rt, r.in, after)
		for _, l := range loadsOf(after) {
			if l.Done {
				began--
			} else {
				require.GreaterOrEqual(rt, l.In, now)
			}
		}
		require.Zero(rt, began, "every load that began is in the plan")
		require.LessOrEqual(rt, after.Outcome.Unprocessed, plan.Outcome.Unprocessed, "the plan that was followed is still there to be followed")
	})
}

// anyRoom draws a class of up to five stations and three canners anywhere up to 9,000 ft.
func anyRoom(t *testing.T, rt *rapid.T) *room {
	recipes := []string{"chile_salsa", "pickled_corn_relish", "bread_and_butter_pickles", "pickled_dilled_beans", "apple_butter", "piccalilli", "marinated_peppers"}
	sizes := []canning.JarSize{canning.HalfPint, canning.Pint, canning.Quart, canning.ML500, canning.TwelveOunce}
	feet := rapid.IntRange(0, 9000).Draw(rt, "feet")
	r := newRoom(t, fmt.Sprintf("%d ft", feet), time.Duration(rapid.IntRange(60, 360).Draw(rt, "minutes"))*time.Minute)
	for i := range rapid.IntRange(1, 3).Draw(rt, "canners") {
		c := measured(rapid.SampledFrom([]string{"10", "14.5", "20"}).Draw(rt, "base"), rapid.SampledFrom([]string{"0", "0.35", "1.1"}).Draw(rt, "per jar"),
			rapid.IntRange(4, 9).Draw(rt, "pints"), rapid.IntRange(4, 7).Draw(rt, "quarts"),
			rapid.SampledFrom([][]canning.Method{{canning.BoilingWater}, {canning.AtmosphericSteam}, {canning.BoilingWater, canning.PressureDial}, {canning.PressureWeighted}}).Draw(rt, "methods")...)
		c.OwnHeat = rapid.Bool().Draw(rt, "own heat")
		if rapid.Bool().Draw(rt, "from physics") {
			c.ComeUp = kitchen.ComeUpLine{}
		}
		r.canner(fmt.Sprintf("c%d", i), 1, c)
		if rapid.IntRange(0, 3).Draw(rt, "held") == 0 {
			from := rapid.IntRange(-60, 120).Draw(rt, "held from")
			u := &r.in.Units[len(r.in.Units)-1]
			u.Held = []kitchen.Hold{{Start: opens.Add(time.Duration(from) * time.Minute), End: opens.Add(time.Duration(from+90) * time.Minute), Class: "other"}}
		}
	}
	r.burners(rapid.IntRange(1, 8).Draw(rt, "burners"))
	r.in.Class.Team.Handlers = rapid.IntRange(1, 3).Draw(rt, "handlers")
	for i := range rapid.IntRange(1, 5).Draw(rt, "stations") {
		r.station(t, fmt.Sprintf("s%d", i), rapid.SampledFrom(sizes).Draw(rt, "size"), rapid.IntRange(1, 12).Draw(rt, "jars"),
			rapid.SliceOfN(rapid.SampledFrom(recipes), 1, 2).Draw(rt, "recipes")...)
		r.in.Batches[len(r.in.Batches)-1].MaySplit = rapid.Bool().Draw(rt, "split")
	}
	return r
}

func requireRules(t require.TestingT, in Input, plan *Plan) {
	placed := map[string]int{}
	var burners, hands []Use
	for i, c := range plan.Canners {
		for j, l := range c.Loads {
			require.True(t, j == 0 || c.Loads[j-1].Out+c.Reset <= l.In, "one load at a time")
			require.LessOrEqual(t, l.Out, plan.Close)
			for _, h := range c.Held {
				require.True(t, l.Out <= h.From || l.In >= h.Until, "another class has the canner")
			}
			for k, phase := range l.Phases {
				require.True(t, k == 0 || l.Phases[k-1].Until == phase.From, "phases lie end to end")
			}
			require.Equal(t, l.In, l.Phases[0].From)
			require.Equal(t, l.Out, l.Phases[len(l.Phases)-1].Until)
			hands = append(hands, Use{From: l.In, Until: l.In + plan.Handling}, Use{From: l.Unload, Until: l.Out})
			if !in.Units[i].Equipment.Canner.OwnHeat {
				burners = append(burners, Use{From: l.In, Until: l.Out})
			}
			require.LessOrEqual(t, l.Count(), in.Units[i].Equipment.Canner.Capacity()[l.Size])
			for _, jars := range l.Jars {
				placed[jars.Batch] += jars.Jars
				b := in.Batches[slices.IndexFunc(in.Batches, func(b kitchen.Batch) bool { return b.ID == jars.Batch })]
				r := in.Recipes[b.Revision]
				stable, why := recipe.ShelfStable(r)
				require.True(t, stable, why)
				printed, err := canning.Published().LookUp(canning.Request{ProductKey: r.ProcessKey, Pack: r.Pack, Jar: b.JarSize, Method: l.Process.Method, Altitude: in.Altitude})
				require.NoError(t, err, "every load rests on a row")
				require.True(t, slices.ContainsFunc(printed.Choices, func(c canning.Choice) bool {
					return c.Minutes == l.Process.Minutes && int(c.Pressure) == l.Process.Pressure && sourceOf(c.Source) == jars.Source
				}), "%v prints no %d min", printed.Choices, l.Process.Minutes)
				require.EqualValues(t, l.Process.Minutes, l.Off-l.Clock)
				require.LessOrEqual(t, jars.Wait, plan.HotHold)
				require.GreaterOrEqual(t, jars.Wait, 0)
				require.True(t, in.Units[i].Equipment.Canner != nil && slices.Contains(in.Units[i].Equipment.Canner.Methods, l.Process.Method))
			}
		}
	}
	for _, u := range plan.Unplaced {
		placed[u.Batch] += u.Jars
		require.NotEmpty(t, u.Reason)
	}
	for i, b := range plan.Batches {
		require.Equal(t, in.Batches[i].Jars, placed[b.Batch], "every jar is in a load or has a reason")
		require.Equal(t, b.Lidded-int(b.Work.Stage()), b.Cook)
		if b.Work.Burner && b.Work.Stage() > 0 {
			burners = append(burners, Use{From: b.Cook, Until: b.Lidded})
		}
	}
	atOnce := func(uses []Use) (most int) {
		for _, u := range uses {
			n := 0
			for _, v := range uses {
				if v.From <= u.From && u.From < v.Until {
					n++
				}
			}
			most = max(most, n)
		}
		return most
	}
	require.LessOrEqual(t, atOnce(burners), plan.Burners)
	require.LessOrEqual(t, atOnce(hands), plan.Handlers)

	// What is stored is an instance and an answer of the load-planning files, and the checker accepts them as read.
	spec, err := class.Parse(plan.Instance)
	require.NoError(t, err)
	var answer class.Answer
	require.NoError(t, json.Unmarshal(plan.Answer, &answer))
	require.Empty(t, check.Answer(spec, answer))
}
