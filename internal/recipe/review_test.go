package recipe

import (
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"stillroom/internal/reference"
)

type reviewCase struct {
	Say     string              `yaml:"say"`
	Recipe  string              `yaml:"recipe"`
	Changes []map[string]string `yaml:"changes"`
	Verdict string              `yaml:"verdict"`
	Jars    string              `yaml:"jars"`
	Source  string              `yaml:"source"`
}

func reviewCases(t testing.TB) []reviewCase {
	t.Helper()
	data, err := os.ReadFile("testdata/review.yaml")
	require.NoError(t, err)
	var cases []reviewCase
	require.NoError(t, yaml.Unmarshal(data, &cases))
	return cases
}

func testFormulas(t testing.TB) map[string]*Revision {
	t.Helper()
	f, err := os.Open("testdata/formulas.yaml")
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	all, err := ImportYAML(f)
	require.NoError(t, err)
	byKey := map[string]*Revision{}
	for _, r := range all {
		byKey[r.Key] = r
	}
	return byKey
}

// formula is a printed recipe, or a test formula.
func formula(t testing.TB, key string) *Revision {
	t.Helper()
	if strings.HasPrefix(key, "t_") {
		r := testFormulas(t)[key]
		require.NotNil(t, r, key)
		return r
	}
	r, err := Published(key)
	require.NoError(t, err)
	return r
}

// changesOf turns the cook's words of a case into changes.
func changesOf(t testing.TB, c reviewCase) []Change {
	t.Helper()
	var all []Change
	for _, m := range c.Changes {
		var ch Change
		for key, value := range m {
			switch key {
			case "swap", "omit":
				ch.Kind, ch.Line = ChangeKind(key), value
			case "raise", "reduce":
				ch.Kind, ch.Line, ch.Amount = ChangeKind(key), value, m["to"]
			case "prepare":
				ch.Kind, ch.Line, ch.Preparation = Prepare, value, m["to"]
			case "add":
				ch.Kind, ch.Ingredient = Add, value
			case "with":
				ch.Ingredient = value
			case "amount":
				ch.Amount = value
			case "preparation":
				ch.Preparation = value
			case "jar":
				ch.Kind, ch.To = JarSize, value
			case "unsterile_jars":
				ch.Kind = UnsterileJars
			case "pack", "batches", "headspace", "method":
				ch.Kind, ch.To = ChangeKind(key), value
			case "to":
			default:
				t.Fatalf("%s: unknown word %q", c.Say, key)
			}
		}
		all = append(all, ch)
	}
	return all
}

// reviewCaseOf applies a case and reviews the outcome against the formula it names.
func reviewCaseOf(t testing.TB, c reviewCase) (*Revision, Review) {
	t.Helper()
	base := formula(t, c.Recipe)
	changed, rv, err := ReviewChanges(base, changesOf(t, c))
	require.NoError(t, err, c.Say)
	return changed, rv
}

// The table is for cooks to read; its verdicts follow from the published statement each case names
// (internal/reference/data/procedure_facts.csv holds the statement and its source).
func TestReviewTable(t *testing.T) {
	cases := reviewCases(t)
	require.GreaterOrEqual(t, len(cases), 60)
	for _, c := range cases {
		t.Run(c.Say, func(t *testing.T) {
			changed, rv := reviewCaseOf(t, c)
			require.NotEmpty(t, rv.Findings)
			var said []string
			var cited []string
			for _, f := range rv.Findings {
				said = append(said, f.Change+": "+f.Verdict.String()+", "+f.Because)
				require.NotEmpty(t, f.Change)
				require.NotEmpty(t, f.Because)
				if !f.Verdict.OK() {
					require.NotEmpty(t, f.WayOut, f.Change)
				}
				for _, ct := range f.Citations {
					require.NotEmpty(t, ct.Statement)
					require.NotEmpty(t, ct.Source)
					switch {
					case ct.Key != "":
						cited = append(cited, ct.Key)
					case strings.Contains(ct.Locator, "table"):
						cited = append(cited, "process table")
					default:
						cited = append(cited, "the recipe")
					}
				}
			}
			require.Equal(t, c.Verdict, rv.Verdict.String(), "%v", said)
			require.Equal(t, c.Jars, rv.Consequence.String(), "%v", said)
			if c.Source != "none" {
				require.Contains(t, cited, c.Source, "%v", said)
			}
			stable, why := ShelfStable(changed)
			require.Equal(t, c.Jars != "refrigerate or freeze only", stable, why)
			require.NotEmpty(t, why)
		})
	}
}

// notOnChanges are facts that read like rules and say nothing of changing a recipe: how canners are run, jars
// cooled, lids kept, food stored and spoilage handled. The canning room's checklist carries those.
var notOnChanges = []string{
	"bw_timing_starts_at", "bw_boil_lost_action", "bw_top_up_with", "retighten_after_process", "liquid_lost_reopen_jar",
	"pc_timing_starts_at", "pc_pressure_lost_action", "pc_force_cool", "weighted_15psi_tomato_process_above_1000ft",
	"jar_sizes_standard", "jar_preheat", "band_tightness", "air_bubble_removal_exempt",
	"altitude_bands_bw_short", "altitude_bands_bw_long", "altitude_bands_dial", "altitude_bands_weighted",
	"dial_low_acid_pressures", "dial_acid_pressures", "tomatoes_dead_or_frosted_vines", "hot_pepper_handling",
	"taste_suspect_food", "closures_not_recommended", "mayonnaise_jars", "thermal_shock_causes", "salsa_untested_recipes",
	"steam_canner_status_in_aib539_2015", "jam_altitude_rule_tables", "jar_12oz_process_as",
}

// Every fact that is a rule, an action, a list or a status is cited by a case of the table, or named above as having
// nothing to do with changes. A new rule in the facts fails here until somebody decides.
func TestTableCoversEveryRuleOnChanges(t *testing.T) {
	cited := map[string]bool{}
	for _, c := range reviewCases(t) {
		_, rv := reviewCaseOf(t, c)
		for _, f := range rv.Findings {
			for _, ct := range f.Citations {
				cited[ct.Key] = true
			}
		}
	}
	kinds := []string{"rule", "action", "status", "list", "type", "event"}
	for _, f := range reference.ProcedureFacts() {
		if !slices.Contains(kinds, f.Unit) || slices.Contains(notOnChanges, f.Key) {
			continue
		}
		if strings.HasPrefix(f.Key, "steam_canner_timing") || strings.HasPrefix(f.Key, "effect") {
			continue
		}
		require.True(t, cited[f.Key], "no case of the table cites %s: %s", f.Key, f.Statement)
	}
	// Figures and booleans that speak of changes.
	for _, key := range []string{
		"jam_flavouring_max", "jam_batches_at_once", "tomato_juice_blend_vegetables_max", "soup_with_seafood_process",
		"salsa_canned_chiles_for_fresh", "salsa_green_tomato_or_tomatillo_for_tomato", "only_tested_proportions",
		"tomato_acid_needed_when_pressure_canned", "vinegar_acidity_recommended", "ph_acid_boundary",
		"tomato_lemon_juice_per_quart", "tomato_citric_acid_per_quart", "tomato_vinegar_per_quart", "fig_lemon_juice_per_quart",
		"fig_citric_acid_per_quart", "asian_pear_lemon_juice_per_quart", "jam_unsterile_jars_process", "jar_sterilise_if_process_under",
		"low_temp_pasteurisation_only_if_recipe_says", "cucumber_blossom_end_slice", "process_time_half_pint_equals",
		"process_time_one_and_half_pint_equals", "steam_canner_ph_max", "steam_canner_max_process",
	} {
		require.True(t, cited[key], "no case of the table cites %s", key)
	}
}
