package canning

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"

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

// rule is a line of a checklist and the processes it belongs to.
type rule struct {
	stage Stage
	// fact is the published fact behind the line.
	fact string
	// text says it with its figures; "{key}" stands for a fact's figure with its unit, "{key#}" for the bare number. An
	// empty text is the fact's own statement, which then holds no figure.
	text string
	// applies is nil for a rule of every process.
	applies func(Process) bool
}

// with gives a group of rules its condition.
func with(applies func(Process) bool, rules ...rule) []rule {
	for i := range rules {
		rules[i].applies = applies
	}
	return rules
}

// says is a line whose statement needs no figure.
func says(stage Stage, fact string) rule { return rule{stage: stage, fact: fact} }

// line is a line with its figures put in.
func line(stage Stage, fact, text string) rule { return rule{stage: stage, fact: fact, text: text} }

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
	with(nil,
		says(Preparing, "lids_per_use"),
		line(Preparing, "jar_preheat", "Hold clean empty jars in simmering water, at about {jar_preheat}, until they are filled.")),
	with(shortProcess,
		line(Preparing, "jar_sterilise_boil", "Empty jars must be sterile, because the process is under {jar_sterilise_if_process_under}: boil them, "+
			"with {jar_sterilise_water_over} of water above them, for {jar_sterilise_boil} below 1,000 ft and {jar_sterilise_extra_per_1000ft} more for each additional 1,000 ft.")),
	with(both(withoutPressure, longEnough),
		line(Preparing, "jar_sterilise_not_needed_process_at_least", "Jars need not be sterilised beforehand: the process is {jar_sterilise_not_needed_process_at_least} or longer.")),
	with(pressure,
		line(Preparing, "jar_sterilise_not_needed_process_at_least", "Jars for pressure-canned food need not be sterilised beforehand.")),
	with(by(BoilingWater),
		says(Preparing, "bw_initial_fill_fraction"),
		line(Preparing, "bw_canner_overhang_max", "On an electric range the canner is no more than {bw_canner_overhang_max} wider than the heating element.")),
	with(both(by(BoilingWater), packed(reference.RawPack)),
		line(Preparing, "bw_preheat_raw_pack", "Warm the canner's water to {bw_preheat_raw_pack} before loading raw-packed jars.")),
	with(both(by(BoilingWater), packed(reference.HotPack)),
		line(Preparing, "bw_preheat_hot_pack", "Warm the canner's water to {bw_preheat_hot_pack} before loading hot-packed jars.")),
	with(by(AtmosphericSteam),
		says(Preparing, "steam_canner_jars_preheated")),
	with(pressure,
		line(Preparing, "pc_water_min", "Put {pc_water_min#} to {pc_water_max} of hot water into the canner before loading, unless the product calls for more."),
		line(Preparing, "pressure_canner_min_size", "A pressure canner must hold at least {pressure_canner_min_size}, upright on the rack.")),
	with(by(PressureDial),
		line(Preparing, "dial_gauge_test_interval", "Have the dial gauge checked for accuracy each year before use; one that is off by more than {dial_gauge_replace_error} is replaced.")),
	with(by(PressureWeighted),
		says(Preparing, "weighted_gauge_needs_test")),

	with(packed(reference.HotPack),
		line(Filling, "hot_pack_simmer_min", "For a hot pack the food simmers {hot_pack_simmer_min#} to {hot_pack_simmer_max} before it is filled.")),
	with(nil,
		says(Filling, "covering_liquid_temperature"), says(Filling, "air_bubble_tool"), says(Filling, "rim_wipe"),
		says(Filling, "band_tightness"), says(Filling, "jar_kept_upright")),

	with(both(by(BoilingWater), shallowWater),
		line(Heating, "bw_water_over_jars_min", "Water stands at least {bw_water_over_jars_min} above the jar tops all through the process; aim for up to {bw_water_over_jars_max}.")),
	with(both(by(BoilingWater), deepWater),
		line(Heating, "bw_water_over_jars_long_process", "The process is over {bw_long_process_threshold}, so water stands at least {bw_water_over_jars_long_process} above the jar tops all through it.")),
	with(by(BoilingWater),
		says(Heating, "bw_top_up_with"),
		line(Heating, "bw_heat_up_minutes_min", "A loaded canner usually takes {bw_heat_up_minutes_min#} to {bw_heat_up_minutes_max} to come to the boil.")),
	with(pressure,
		line(Heating, "pc_heat_to_vent_min", "A loaded canner usually heats for {pc_heat_to_vent_min#} to {pc_heat_to_vent_max} before it begins to vent."),
		line(Heating, "pc_vent_minutes", "Let steam flow steadily for {pc_vent_minutes} before the weight goes on or the petcock is closed."),
		line(Heating, "pc_pressurise_minutes_min", "Pressure is then usually reached in {pc_pressurise_minutes_min#} to {pc_pressurise_minutes_max}.")),

	with(by(BoilingWater), says(Timing, "bw_timing_starts_at"), says(Timing, "bw_keep_covered")),
	with(by(AtmosphericSteam),
		says(Timing, "steam_canner_timing_starts_at"),
		line(Timing, "steam_canner_temp_min", "Watch the steam's temperature at the vent; near sea level it is held at {steam_canner_temp_min} to {steam_canner_temp_max}."),
		says(Timing, "steam_canner_open_during_process"),
		line(Timing, "steam_canner_boil_dry_risk", "Do not boil a steam canner hard: it can run dry in about {steam_canner_boil_dry_risk}, and the food is then under-processed.")),
	with(pressure,
		says(Timing, "pc_timing_starts_at"),
		line(Timing, "pc_max_recommended_psi", "Processes above {pc_max_recommended_psi} are not recommended.")),

	with(by(BoilingWater), says(Interrupted, "bw_boil_lost_action")),
	with(pressure, says(Interrupted, "pc_pressure_lost_action")),

	with(pressure,
		says(Depressurise, "pc_force_cool"),
		line(Depressurise, "pc_cool_down_min", "A canner usually cools for {pc_cool_down_min#} to {pc_cool_down_max} before its jars can come out.")),
	with(both(pressure, func(p Process) bool { return CompareJars(p.Request.Jar.Trade(), Pint) <= 0 }),
		line(Depressurise, "pc_depressurise_pints_older_model", "An older heavy-walled canner without a dial gauge takes {pc_depressurise_pints_older_model} with pints.")),
	with(both(pressure, func(p Process) bool { return CompareJars(p.Request.Jar.Trade(), Pint) > 0 }),
		line(Depressurise, "pc_depressurise_quarts_older_model", "An older heavy-walled canner without a dial gauge takes {pc_depressurise_quarts_older_model} with quarts.")),
	with(pressure,
		line(Depressurise, "pc_wait_after_weight_removed", "When the canner is depressurised, take the weight off or open the petcock, and wait {pc_wait_after_weight_removed} before taking off the lid (an older bulletin says {pc_wait_after_weight_removed_older_source}; the longer wait is kept).")),
	with(by(BoilingWater),
		line(Resting, "bw_rest_after_process", "Turn the heat off, take the lid off and leave the jars in the canner for {bw_rest_after_process}."),
		says(Resting, "bw_rest_is_safety_requirement")),

	with(nil,
		line(Cooling, "cool_jar_spacing_min", "Stand the jars at least {cool_jar_spacing_min} apart on a towel or rack."),
		line(Cooling, "cool_undisturbed_min", "Leave them undisturbed at room temperature for {cool_undisturbed_min#} to {cool_undisturbed_max} before testing the seals."),
		says(Cooling, "retighten_after_process"), says(Cooling, "liquid_lost_reopen_jar"),
		line(CheckingSeals, "seal_test_options", "Test every seal: press the lid's centre, tap it with a spoon, or look at eye level for a concave lid."),
		line(Unsealed, "reprocess_unsealed_within", "An unsealed jar may be reprocessed within {reprocess_unsealed_within}, with a new lid and after checking the rim, in another jar if need be."),
		says(Unsealed, "reprocess_uses_same_time"),
		line(Unsealed, "unsealed_freeze_headspace", "Or freeze it, with {unsealed_freeze_headspace} of headspace."),
		says(Unsealed, "unsealed_refrigerate_use"),
		says(Storing, "band_removed_for_storage"), says(Storing, "label_and_date"),
		line(Storing, "storage_temp_best_min", "Store at {storage_temp_best_min} to {storage_temp_best_max} for the best quality, and never above {storage_temp_max}."),
		line(Storing, "storage_quality_period", "Can no more than will be used in {storage_quality_period}.")),
)

// acidified lists products whose published procedure adds acid to every jar, with the lines that say how much.
var acidified = map[string][]rule{
	"crushed_tomatoes":             tomatoAcid,
	"standard_tomato_sauce":        tomatoAcid,
	"tomato_juice":                 tomatoAcid,
	"tomato_vegetable_juice_blend": tomatoAcid,
	"tomatoes_whole_in_water":      tomatoAcid,
	"tomatoes_whole_in_juice":      tomatoAcid,
	"tomatoes_whole_raw_no_liquid": tomatoAcid,
	"figs": {
		line(Caution, "fig_lemon_juice_per_quart", "Every jar of figs is acidified: bottled lemon juice, {fig_lemon_juice_per_pint} a pint or {fig_lemon_juice_per_quart} a quart, "+
			"or citric acid, {fig_citric_acid_per_pint} a pint or {fig_citric_acid_per_quart} a quart."),
	},
	"asian_pears": {
		line(Caution, "asian_pear_lemon_juice_per_quart", "Every jar of Asian pears is acidified: bottled lemon juice, {asian_pear_lemon_juice_per_pint} a pint or {asian_pear_lemon_juice_per_quart} a quart."),
	},
}

var tomatoAcid = []rule{
	line(Caution, "tomato_lemon_juice_per_quart", "Every jar of tomatoes is acidified: bottled lemon juice, {tomato_lemon_juice_per_pint} a pint or {tomato_lemon_juice_per_quart} a quart, "+
		"or citric acid, {tomato_citric_acid_per_pint} a pint or {tomato_citric_acid_per_quart} a quart; or 5 percent vinegar, {tomato_vinegar_per_quart} a quart, at some cost to flavour."),
	says(Caution, "tomato_acid_needed_when_pressure_canned"),
	says(Caution, "tomatoes_dead_or_frosted_vines"),
}

// generalCautions go with every process.
var generalCautions = []rule{
	says(Caution, "only_tested_proportions"),
	line(Caution, "methods_not_recommended", "These are not accepted ways to process jars: {methods_not_recommended}."),
	says(Caution, "taste_suspect_food"),
	line(Caution, "botulism_precaution_boil", "Low-acid and tomato foods whose canning may not have followed tested methods are boiled for {botulism_precaution_boil} "+
		"below 1,000 ft, and {botulism_precaution_extra_per_1000ft} more per additional 1,000 ft, before eating."),
	says(Caution, "botulism_precaution_is_guarantee"),
}

// AuthorityFirst is the caution that stands before all others wherever a process is printed.
const AuthorityFirst = "Local codes, current tested guidance and licensed practice come first. " +
	"Use the process only for the recipe it was tested with, at the altitude where the jars are processed."

// Procedure is the checklist of a process in working order, without its cautions.
func Procedure(p Process) []Step {
	var steps []Step
	for _, r := range checklist {
		if r.applies == nil || r.applies(p) {
			steps = append(steps, r.step())
		}
	}
	if p.Request.Method != AtmosphericSteam {
		return steps
	}
	return inOrder(append(steps, steamSteps(p)...))
}

// stages are the stages in their order.
var stages = []Stage{Preparing, Filling, Heating, Timing, Interrupted, Depressurise, Resting, Cooling, CheckingSeals, Unsealed, Storing}

// inOrder puts steps that were added at the end among those of their stage.
func inOrder(steps []Step) []Step {
	slices.SortStableFunc(steps, byStage)
	return steps
}

func byStage(a, b Step) int {
	return cmp.Compare(slices.Index(stages, a.Stage), slices.Index(stages, b.Stage))
}

// steamSteps are the steps for which publications on atmospheric steam give no figure of their own, so that
// the boiling-water rule stands in, and says so.
func steamSteps(p Process) []Step {
	boil := BoilingPoint(p.Request.Altitude)
	lost := says(Interrupted, "bw_boil_lost_action").step()
	lost.Text = "As in boiling water: " + lost.Text
	rest := line(Resting, "bw_rest_after_process", "As in boiling water: with the heat off and the lid removed, leave the jars in the canner for {bw_rest_after_process}.").step()
	return []Step{
		{
			Stage: Timing, Key: "steam_canner_timing_starts_at",
			Text:   fmt.Sprintf("At %s water boils at about %s (%s): that is the temperature of pure steam to reach and hold here.", p.Request.Altitude, boil.Fahrenheit(), boil),
			Source: reference.Source{Publication: "IAPWS-IF97 and the US Standard Atmosphere 1976", Locator: "computed", Checked: reference.Computed},
		},
		lost, rest,
	}
}

// Cautions are what must be printed with a process, the general one first.
func Cautions(p Process) []Step {
	steps := []Step{general()}
	for _, r := range slices.Concat(acidified[p.Product.Key], generalCautions) {
		steps = append(steps, r.step())
	}
	return steps
}

// general is the caution that stands before all others.
func general() Step {
	return Step{Stage: Caution, Text: AuthorityFirst, Source: reference.Source{Publication: CommonPractice}}
}

// step puts the figures into a rule's text.
func (r rule) step() Step {
	f := reference.MustFact(r.fact)
	if r.text == "" {
		return Step{Stage: r.stage, Key: r.fact, Text: f.Statement, Source: f.Source}
	}
	source := f.Source
	text := placeholder.ReplaceAllStringFunc(r.text, func(match string) string {
		key := strings.Trim(match, "{}")
		bare, isBare := strings.CutSuffix(key, "#")
		fact := reference.MustFact(bare)
		source = joined(source, fact.Source)
		if isBare {
			return fact.Value
		}
		return fact.Figure()
	})
	return Step{Stage: r.stage, Key: r.fact, Text: text, Source: source}
}

var placeholder = regexp.MustCompile(`\{[a-z0-9_]+#?\}`)

// joined cites two sources in one, each part once.
func joined(a, b reference.Source) reference.Source {
	add := func(list, part string) string {
		if strings.Contains(list, part) {
			return list
		}
		return list + "; " + part
	}
	a.Publication, a.Locator = add(a.Publication, b.Publication), add(a.Locator, b.Locator)
	return a
}
