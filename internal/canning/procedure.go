package canning

import (
	"fmt"

	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// Stage is when a step of the procedure is due.
type Stage string

// The stages in their order.
const (
	Preparing     Stage = "preparing"
	Filling       Stage = "filling"
	Heating       Stage = "heating"
	Timing        Stage = "timing"
	Interrupted   Stage = "interrupted"
	Depressurise  Stage = "depressurising"
	Resting       Stage = "resting"
	Cooling       Stage = "cooling"
	CheckingSeals Stage = "checking seals"
	Unsealed      Stage = "unsealed jars"
	Storing       Stage = "storing"
	Caution       Stage = "caution"
)

// Step is one line of the checklist: a published rule in a sentence.
type Step struct {
	Stage Stage
	// Key is the procedure fact, for those who want the figure.
	Key    string
	Text   string
	Source reference.Source
}

// rule is a line of a checklist: a fact and the processes it belongs to.
type rule struct {
	stage Stage
	fact  string
	// applies is nil for a rule of every process.
	applies func(Process) bool
}

func always(stage Stage, facts ...string) []rule { return when(nil, stage, facts...) }

func when(applies func(Process) bool, stage Stage, facts ...string) []rule {
	rules := make([]rule, len(facts))
	for i, f := range facts {
		rules[i] = rule{stage: stage, fact: f, applies: applies}
	}
	return rules
}

func by(methods ...Method) func(Process) bool {
	return func(p Process) bool {
		for _, m := range methods {
			if p.Request.Method == m {
				return true
			}
		}
		return false
	}
}

func pressure(p Process) bool { return p.Request.Method.IsPressure() }

// withoutPressure holds for boiling water and atmospheric steam.
func withoutPressure(p Process) bool { return !pressure(p) }

func both(a, b func(Process) bool) func(Process) bool {
	return func(p Process) bool { return a(p) && b(p) }
}

func packed(pack reference.Pack) func(Process) bool {
	return func(p Process) bool {
		return p.Request.Pack == pack || p.Request.Pack == reference.AnyPack
	}
}

// longest is the longest printed choice.
func (p Process) longest() measure.Minutes {
	var m measure.Minutes
	for _, c := range p.Choices {
		m = max(m, c.Minutes)
	}
	return m
}

// shortest is the shortest printed choice.
func (p Process) shortest() measure.Minutes {
	m := p.Choices[0].Minutes
	for _, c := range p.Choices {
		m = min(m, c.Minutes)
	}
	return m
}

// deepWater holds for times over the published threshold.
func deepWater(p Process) bool {
	return p.longest() > measure.Minutes(reference.MustFigure("bw_long_process_threshold"))
}

func shallowWater(p Process) bool { return !deepWater(p) }

// shortProcess holds for times below which jars must be sterile.
func shortProcess(p Process) bool {
	return withoutPressure(p) && p.shortest() < measure.Minutes(reference.MustFigure("jar_sterilise_if_process_under"))
}

func longEnough(p Process) bool { return !shortProcess(p) }

func concat(groups ...[]rule) []rule {
	var all []rule
	for _, g := range groups {
		all = append(all, g...)
	}
	return all
}

// checklist is the whole procedure; each line goes to the processes it applies to, in this order.
var checklist = concat(
	always(Preparing, "lids_per_use", "jar_preheat"),
	when(shortProcess, Preparing, "jar_sterilise_if_process_under", "jar_sterilise_boil", "jar_sterilise_extra_per_1000ft", "jar_sterilise_water_over"),
	when(longEnough, Preparing, "jar_sterilise_not_needed_process_at_least"),
	when(by(BoilingWater), Preparing, "bw_initial_fill_fraction", "bw_canner_overhang_max"),
	when(both(by(BoilingWater), packed(reference.RawPack)), Preparing, "bw_preheat_raw_pack"),
	when(both(by(BoilingWater), packed(reference.HotPack)), Preparing, "bw_preheat_hot_pack"),
	when(by(AtmosphericSteam), Preparing, "steam_canner_jars_preheated"),
	when(pressure, Preparing, "pc_water_min", "pc_water_max", "pressure_canner_min_size"),
	when(by(PressureDial), Preparing, "dial_gauge_test_interval", "dial_gauge_replace_error"),
	when(by(PressureWeighted), Preparing, "weighted_gauge_needs_test"),

	when(packed(reference.HotPack), Filling, "hot_pack_simmer_min", "hot_pack_simmer_max"),
	always(Filling, "covering_liquid_temperature", "air_bubble_tool", "rim_wipe", "band_tightness", "jar_kept_upright"),

	when(both(by(BoilingWater), shallowWater), Heating, "bw_water_over_jars_min"),
	when(both(by(BoilingWater), deepWater), Heating, "bw_water_over_jars_long_process"),
	when(by(BoilingWater), Heating, "bw_top_up_with", "bw_heat_up_minutes_min", "bw_heat_up_minutes_max"),
	when(pressure, Heating, "pc_heat_to_vent_min", "pc_heat_to_vent_max", "pc_vent_minutes", "pc_pressurise_minutes_min", "pc_pressurise_minutes_max"),

	when(by(BoilingWater), Timing, "bw_timing_starts_at", "bw_keep_covered"),
	when(by(AtmosphericSteam), Timing, "steam_canner_timing_starts_at", "steam_canner_temp_min", "steam_canner_temp_max", "steam_canner_max_process", "steam_canner_open_during_process", "steam_canner_boil_dry_risk"),
	when(pressure, Timing, "pc_timing_starts_at", "pc_max_recommended_psi"),

	when(by(BoilingWater), Interrupted, "bw_boil_lost_action"),
	when(pressure, Interrupted, "pc_pressure_lost_action"),

	when(pressure, Depressurise, "pc_force_cool", "pc_cool_down_min", "pc_cool_down_max"),
	when(func(p Process) bool { return pressure(p) && CompareJars(p.Request.Jar.Trade(), Pint) <= 0 }, Depressurise, "pc_depressurise_pints_older_model"),
	when(func(p Process) bool { return pressure(p) && CompareJars(p.Request.Jar.Trade(), Pint) > 0 }, Depressurise, "pc_depressurise_quarts_older_model"),
	when(pressure, Depressurise, "pc_wait_after_weight_removed"),
	when(by(BoilingWater), Resting, "bw_rest_after_process", "bw_rest_is_safety_requirement"),

	always(Cooling, "cool_jar_spacing_min", "cool_undisturbed_min", "cool_undisturbed_max", "retighten_after_process", "liquid_lost_reopen_jar"),
	always(CheckingSeals, "seal_test_options"),
	always(Unsealed, "reprocess_unsealed_within", "reprocess_uses_same_time", "unsealed_freeze_headspace", "unsealed_refrigerate_use"),
	always(Storing, "band_removed_for_storage", "label_and_date", "storage_temp_best_min", "storage_temp_best_max", "storage_temp_max", "storage_quality_period"),
)

// acidified lists products whose published procedure adds acid to every jar, with the facts that say how much.
var acidified = map[string][]string{
	"crushed_tomatoes":             tomatoAcid,
	"standard_tomato_sauce":        tomatoAcid,
	"tomato_juice":                 tomatoAcid,
	"tomato_vegetable_juice_blend": tomatoAcid,
	"tomatoes_whole_in_water":      tomatoAcid,
	"tomatoes_whole_in_juice":      tomatoAcid,
	"tomatoes_whole_raw_no_liquid": tomatoAcid,
	"figs":                         {"fig_lemon_juice_per_quart", "fig_lemon_juice_per_pint", "fig_citric_acid_per_quart", "fig_citric_acid_per_pint"},
	"asian_pears":                  {"asian_pear_lemon_juice_per_quart", "asian_pear_lemon_juice_per_pint"},
}

var tomatoAcid = []string{
	"tomato_lemon_juice_per_quart", "tomato_lemon_juice_per_pint", "tomato_citric_acid_per_quart", "tomato_citric_acid_per_pint",
	"tomato_vinegar_per_quart", "tomato_acid_needed_when_pressure_canned", "tomatoes_dead_or_frosted_vines",
}

// generalCautions go with every process.
var generalCautions = []string{
	"only_tested_proportions", "methods_not_recommended", "taste_suspect_food", "botulism_precaution_boil",
	"botulism_precaution_extra_per_1000ft", "botulism_precaution_is_guarantee",
}

// AuthorityFirst is the caution that stands before all others wherever a process is printed.
const AuthorityFirst = "Local codes, current tested guidance and licensed practice come first. " +
	"Use the process only for the recipe it was tested with, at the altitude where the jars are processed."

// Procedure is the checklist of a process in working order, without its cautions.
func Procedure(p Process) []Step {
	var steps []Step
	for _, r := range checklist {
		if r.applies == nil || r.applies(p) {
			steps = append(steps, factStep(r.stage, r.fact))
		}
	}
	if p.Request.Method == AtmosphericSteam {
		steps = append(steps, steamSteps(p)...)
	}
	return steps
}

// steamSteps are the steps for which publications on atmospheric steam give no figure of their own, so that
// the boiling-water rule stands in, and says so.
func steamSteps(p Process) []Step {
	rest := reference.MustFact("bw_rest_after_process")
	lost := reference.MustFact("bw_boil_lost_action")
	return []Step{
		{Stage: Timing, Key: "steam_canner_timing_starts_at", Text: fmt.Sprintf("At %s pure steam is at about %s (%s); at altitude that, not the printed range near 212 °F, is the boiling temperature to reach and hold.",
			p.Request.Altitude, BoilingPoint(p.Request.Altitude), BoilingPoint(p.Request.Altitude).Fahrenheit()),
			Source: reference.Source{Publication: "IAPWS-IF97 with the US Standard Atmosphere 1976", Locator: "computed", Checked: reference.Computed}},
		{Stage: Interrupted, Key: lost.Key, Text: "As in boiling water: " + lost.Statement, Source: lost.Source},
		{Stage: Resting, Key: rest.Key, Text: "As in boiling water: " + rest.Statement, Source: rest.Source},
	}
}

// Cautions are what must be printed with a process, the general one first.
func Cautions(p Process) []Step {
	steps := []Step{{Stage: Caution, Text: AuthorityFirst, Source: reference.Source{Publication: CommonPractice}}}
	for _, key := range acidified[p.Product.Key] {
		steps = append(steps, factStep(Caution, key))
	}
	for _, key := range generalCautions {
		steps = append(steps, factStep(Caution, key))
	}
	return steps
}

func factStep(stage Stage, key string) Step {
	f := reference.MustFact(key)
	return Step{Stage: stage, Key: key, Text: f.Statement, Source: f.Source}
}
