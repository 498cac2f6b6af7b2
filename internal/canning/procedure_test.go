package canning

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

func lookUp(t *testing.T, product string, pack reference.Pack, jar JarSize, m Method, ft string) Process {
	t.Helper()
	p, err := Published().LookUp(Request{ProductKey: product, Pack: pack, Jar: jar, Method: m, Altitude: feet(t, ft)})
	require.NoError(t, err)
	return p
}

func keys(steps []Step) []string {
	var list []string
	for _, s := range steps {
		list = append(list, s.Key)
	}
	return list
}

func TestProcedureBelongsToItsProcess(t *testing.T) {
	for _, c := range []struct {
		name        string
		process     Process
		has, hasNot []string
	}{
		{"salsa, 20 min by boiling water at 5,280 ft: an inch of water, jars need not be sterile",
			lookUp(t, "tomato_salsa_paste_tomatoes", reference.HotPack, Pint, BoilingWater, "5280"),
			[]string{"bw_preheat_hot_pack", "bw_water_over_jars_min", "bw_timing_starts_at", "bw_boil_lost_action", "bw_rest_after_process", "cool_undisturbed_min", "seal_test_options", "reprocess_unsealed_within", "storage_temp_best_min", "jar_sterilise_not_needed_process_at_least"},
			[]string{"bw_preheat_raw_pack", "bw_water_over_jars_long_process", "jar_sterilise_boil", "pc_vent_minutes", "steam_canner_temp_min"}},
		{"crushed tomatoes, 45 min: two inches of water over the jars",
			lookUp(t, "crushed_tomatoes", reference.HotPack, Quart, BoilingWater, "0"),
			[]string{"bw_water_over_jars_long_process"}, []string{"bw_water_over_jars_min"}},
		{"jam, 5 min: sterile jars, with the altitude rule",
			lookUp(t, "jams_and_jellies_with_added_pectin", reference.HotPack, HalfPint, BoilingWater, "0"),
			[]string{"jar_sterilise_boil"}, []string{"jar_sterilise_not_needed_process_at_least"}},
		{"green beans raw by dial gauge",
			lookUp(t, "green_beans", reference.RawPack, Quart, PressureDial, "5280"),
			[]string{"pc_water_min", "pc_vent_minutes", "pc_timing_starts_at", "pc_pressure_lost_action", "pc_force_cool", "pc_depressurise_quarts_older_model", "pc_wait_after_weight_removed", "dial_gauge_test_interval"},
			[]string{"pc_depressurise_pints_older_model", "hot_pack_simmer_min", "weighted_gauge_needs_test", "bw_rest_after_process", "pc_wait_after_weight_removed_older_source"}},
		{"salsa by atmospheric steam",
			lookUp(t, "tomato_salsa_paste_tomatoes", reference.HotPack, Pint, AtmosphericSteam, "5280"),
			[]string{"steam_canner_timing_starts_at", "steam_canner_open_during_process", "steam_canner_boil_dry_risk", "bw_boil_lost_action", "bw_rest_after_process"},
			[]string{"bw_water_over_jars_min", "pc_vent_minutes"}},
	} {
		steps := Procedure(c.process)
		for _, k := range c.has {
			require.Contains(t, keys(steps), k, c.name)
		}
		for _, k := range c.hasNot {
			require.NotContains(t, keys(steps), k, c.name)
		}
		for _, s := range append(steps, Cautions(c.process)...) {
			require.NotEmpty(t, s.Text, s.Key)
			require.NotEmpty(t, s.Source.Publication, s.Key)
		}
	}
}

func TestEveryProcessHasAChecklistAndCautions(t *testing.T) {
	for _, r := range reference.ProcessRows() {
		p, err := Published().LookUp(requestFor(r, inFeet(t, measure.Int(int64(r.Band.Min)))))
		require.NoError(t, err)
		stages := map[Stage]bool{}
		for _, s := range Procedure(p) {
			stages[s.Stage] = true
		}
		for _, s := range []Stage{Preparing, Filling, Heating, Timing, Interrupted, Cooling, CheckingSeals, Unsealed, Storing} {
			require.True(t, stages[s], "%s has no step for %s", p.Product.Key, s)
		}
		require.True(t, stages[Resting] || stages[Depressurise])
		require.Equal(t, AuthorityFirst, Cautions(p)[0].Text)
	}
}

func TestPlainTomatoesCarryTheirAcid(t *testing.T) {
	p := lookUp(t, "crushed_tomatoes", reference.HotPack, Quart, PressureWeighted, "0")
	require.Contains(t, keys(Cautions(p)), "tomato_lemon_juice_per_quart")
	require.Contains(t, keys(Cautions(p)), "tomato_acid_needed_when_pressure_canned")
	require.NotContains(t, keys(Cautions(lookUp(t, "applesauce", reference.HotPack, Quart, BoilingWater, "0"))), "tomato_lemon_juice_per_quart")
	for product := range acidified {
		require.NotEmpty(t, reference.ProcessRowsOf(product), product)
	}
}

func TestTimesOfALoad(t *testing.T) {
	// Boiling water: the process and 5 min of rest (Guide 1, p. 1-18). Salsa in pints at 5,280 ft is 20 min (Guide 3).
	p := lookUp(t, "tomato_salsa_paste_tomatoes", reference.HotPack, Pint, BoilingWater, "5280")
	require.Equal(t, LoadTimes{Process: 20, Rest: 5}, Times(p, p.Choices[0]))

	// Pressure: 10 min of venting and up to 5 to pressure before, up to 60 of cooling and 10 of waiting after (Guide 1,
	// pp. 1-17 and 1-21 to 1-22). Green beans in quarts by dial gauge take 25 min (Guide 4).
	p = lookUp(t, "green_beans", reference.RawPack, Quart, PressureDial, "5280")
	require.Equal(t, LoadTimes{Vent: 15, Process: 25, Depressurise: 70}, Times(p, p.Choices[0]))
	var names []string
	for _, ph := range Phases(p, p.Choices[0]) {
		names = append(names, ph.Name)
	}
	require.Equal(t, []string{"heat to a steady flow of steam", "vent", "come up to pressure", "process", "depressurise on its own", "wait after the weight is off or the petcock open"}, names)

	p = lookUp(t, "tomato_salsa_paste_tomatoes", reference.HotPack, Pint, AtmosphericSteam, "5280")
	require.Equal(t, LoadTimes{Process: 20, Rest: 5}, Times(p, p.Choices[0]))
}

func TestEveryLineHoldsItsFigures(t *testing.T) {
	lines := slices.Concat(checklist, tomatoAcid, acidified["figs"], acidified["asian_pears"], generalCautions)
	// Figures that their own statements give in words: "a new flat lid each time", "about half full".
	inWords := []string{"lids_per_use", "bw_initial_fill_fraction"}
	for _, r := range lines {
		text := r.step().Text
		require.NotRegexp(t, `[{}#]|\b(Lower|Upper) end\b|\bthis (far|long|value|temperature|window|time|much)\b|_`, text, r.fact)
		if _, err := reference.MustFact(r.fact).Number(); err == nil && r.text == "" {
			require.Contains(t, inWords, r.fact, "a figure needs a text that holds it")
		}
	}
	for fact, want := range map[string]string{
		// USDA AIB 539 (2015), Guide 1, pp. 1-15, 1-18, 1-21, 1-25, 1-26; Guide 3, p. 3-5.
		"bw_preheat_hot_pack":             "Warm the canner's water to 180 °F (82 °C) before loading hot-packed jars.",
		"bw_water_over_jars_long_process": "The process is over 30 minutes, so water stands at least 2 inches (5.1 cm) above the jar tops all through it.",
		"pc_vent_minutes":                 "Let steam flow steadily for 10 minutes before the weight goes on or the petcock is closed.",
		"pc_water_min":                    "Put 2 to 3 inches (7.6 cm) of hot water into the canner before loading, unless the product calls for more.",
		"cool_undisturbed_min":            "Leave them undisturbed at room temperature for 12 to 24 hours before testing the seals.",
		"reprocess_unsealed_within":       "An unsealed jar may be reprocessed within 24 hours, with a new lid and after checking the rim, in another jar if need be.",
		"tomato_lemon_juice_per_quart": "Every jar of tomatoes is acidified: bottled lemon juice, 1 tablespoon a pint or 2 tablespoons a quart, " +
			"or citric acid, 1/4 teaspoon a pint or 1/2 teaspoon a quart; or 5 percent vinegar, 4 tablespoons a quart, at some cost to flavour.",
		"methods_not_recommended": "These are not accepted ways to process jars: open kettle, oven, microwave, dishwasher.",
	} {
		i := slices.IndexFunc(lines, func(r rule) bool { return r.fact == fact })
		require.GreaterOrEqual(t, i, 0, fact)
		require.Equal(t, want, lines[i].step().Text)
	}
}

func TestStepsComeInWorkingOrder(t *testing.T) {
	for _, m := range []Method{BoilingWater, AtmosphericSteam, PressureDial} {
		last := 0
		for _, s := range Procedure(lookUp(t, "crushed_tomatoes", reference.HotPack, Pint, m, "0")) {
			at := slices.Index(stages, s.Stage)
			require.GreaterOrEqual(t, at, last, s.Text)
			last = at
		}
	}
	// At 5,280 ft pure steam is not at 212 °F; what to reach is said.
	steps := Procedure(lookUp(t, "tomato_salsa_paste_tomatoes", reference.HotPack, Pint, AtmosphericSteam, "5280"))
	require.True(t, slices.ContainsFunc(steps, func(s Step) bool { return strings.Contains(s.Text, "about 202 °F (94.6 °C)") }))
}
