package reference

import (
	"bytes"
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// The counts are those of the tables' own description (data/README.md and the headers they were published with).
func TestTablesAreWhole(t *testing.T) {
	require.Len(t, ProcessRows(), 1317)
	require.Len(t, Products(), 130)
	require.Len(t, ProcedureFacts(), 236)
	require.Len(t, ThermalFacts(), 255)
	require.Len(t, Yields(), 144)
	require.Len(t, MeasureWeights(), 385)
	require.Len(t, ProducePerLoads(), 44)
	require.Len(t, UnitFactors(), 80)
	require.Equal(t, 35, bytes.Count(RecipesYAML(), []byte("\n- key: ")))
}

func TestEveryRowHasASource(t *testing.T) {
	var sources []Source
	for _, r := range ProcessRows() {
		require.Equal(t, Read, r.Source.Checked, r.ProductKey)
		sources = append(sources, r.Source)
	}
	for _, f := range append(ProcedureFacts(), ThermalFacts()...) {
		require.NotEmpty(t, f.Statement, f.Key)
		sources = append(sources, f.Source)
	}
	for _, y := range Yields() {
		sources = append(sources, y.Source)
	}
	for _, w := range MeasureWeights() {
		sources = append(sources, w.Source)
	}
	for _, p := range ProducePerLoads() {
		sources = append(sources, p.Source)
	}
	for _, s := range sources {
		require.NotEmpty(t, s.Publication)
		require.NotEmpty(t, s.Locator, s.Publication)
		require.Contains(t, []Checked{Read, Computed, Recalled}, s.Checked)
		require.Contains(t, s.String(), s.Locator)
	}
	for _, u := range UnitFactors() {
		require.NotEmpty(t, u.Source.Publication)
	}
}

func TestKeysAreUniqueWhereDocumented(t *testing.T) {
	seen := map[string]bool{}
	for _, f := range append(ProcedureFacts(), ThermalFacts()...) {
		require.False(t, seen[f.Key], f.Key)
		seen[f.Key] = true
	}
	type weightKey struct {
		key, form string
		unit      measure.Unit
	}
	weights := map[weightKey]bool{}
	for _, w := range MeasureWeights() {
		k := weightKey{w.IngredientKey, w.Form, w.Measure}
		require.False(t, weights[k], k)
		weights[k] = true
		require.Positive(t, w.Grams.Number().Sign())
	}
	loads := map[string]bool{}
	for _, p := range ProducePerLoads() {
		require.False(t, loads[p.ProductKey], p.ProductKey)
		loads[p.ProductKey] = true
	}
	type yieldKey struct{ key, ap, ep string }
	founded := map[yieldKey]Checked{}
	for _, y := range Yields() {
		require.Positive(t, y.Fraction.Sign())
		require.False(t, measure.Int(1).Less(y.Fraction), y.IngredientKey)
		k := yieldKey{y.IngredientKey, y.AsPurchasedForm, y.PreparedForm}
		if other, twice := founded[k]; twice {
			require.NotEqual(t, other, y.Source.Checked, "two equally founded yields for %v", k)
		}
		founded[k] = y.Source.Checked
	}
}

// Only plain tomato products print several complete choices in one cell, and they differ in pressure.
func TestProcessCellsAreUniqueUpToPressure(t *testing.T) {
	type cell struct {
		product, jar string
		pack         Pack
		method       Method
		band         Band
		pressure     measure.GaugePounds
	}
	seen := map[cell]bool{}
	for _, r := range ProcessRows() {
		k := cell{r.ProductKey, r.Jar, r.Pack, r.Method, r.Band, r.Pressure}
		require.False(t, seen[k], k)
		seen[k] = true
		require.Positive(t, int(r.Minutes))
		require.Equal(t, r.Method == BoilingWater, r.Pressure == 0, k)
		require.Contains(t, []Pack{HotPack, RawPack, AnyPack}, r.Pack)
		require.True(t, r.Band.Open || r.Band.Max > r.Band.Min)
	}
}

func TestUnitRegistryAgreesWithEveryPublishedFactor(t *testing.T) {
	for _, f := range UnitFactors() {
		if f.From.Dimension() == measure.Temperature {
			continue // formulas, tested with the scale definitions in the measure room
		}
		got, err := measure.Convert(measure.Int(1), f.From, f.To)
		require.NoError(t, err)
		want, err := measure.Decimal(f.Factor)
		require.NoError(t, err)
		if f.Exact {
			require.True(t, want.Equal(got), "%s to %s: %s, published %s", f.From, f.To, got.Exact(), f.Factor)
			continue
		}
		// Rounded to 17 significant digits: half a unit in the 17th place at most.
		printed, err := strconv.ParseFloat(f.Factor, 64)
		require.NoError(t, err)
		half := math.Pow(10, math.Floor(math.Log10(printed))-16) / 2 * 1.0001
		require.LessOrEqual(t, math.Abs(got.Sub(want).Float64()), half, "%s to %s", f.From, f.To)
	}
}

func TestFactsAreTyped(t *testing.T) {
	rest, err := FactOf("bw_rest_after_process")
	require.NoError(t, err)
	n, err := rest.Number()
	require.NoError(t, err)
	require.Equal(t, "5", n.String()) // USDA AIB 539 (2015), Guide 1, p. 1-18
	require.Equal(t, "minutes", rest.Unit)

	_, err = FactOf("bw_rest_before_breakfast")
	require.Equal(t, fault.NotFound, fault.KindOf(err))
	require.ErrorContains(t, err, "bw_rest_before_breakfast")

	covered, err := MustFact("bw_keep_covered").Bool()
	require.NoError(t, err)
	require.True(t, covered)
	_, err = MustFact("bw_keep_covered").Number()
	require.Error(t, err)
	_, err = rest.Bool()
	require.Error(t, err)
	require.Equal(t, []string{"half_pint", "pint", "quart"}, MustFact("steam_canner_jar_sizes").List())
	require.InDelta(t, 101325, MustFigure("isa_p0"), 0)
	require.Panics(t, func() { MustFact("no such fact") })
}

func TestFiguresReadInBothSystems(t *testing.T) {
	// 180 °F is 82.2 °C, 1.5 in is 3.81 cm (NIST SP 811, Appendix B).
	for key, want := range map[string]string{
		"jar_preheat": "180 °F (82 °C)", "unsealed_freeze_headspace": "1-1/2 inches (3.8 cm)", "bw_water_over_jars_min": "1 inch (2.5 cm)",
		"reprocess_unsealed_within": "24 hours", "jar_sterilise_extra_per_1000ft": "1 minute", "tomato_citric_acid_per_pint": "1/4 teaspoon",
		"storage_quality_period": "1 year", "pressure_canner_min_size": "4 quart jars", "steam_canner_ph_max": "pH 4.6", "pc_max_recommended_psi": "15 psi",
		"bw_boil_lost_action": "restart full time", "methods_not_recommended": "open kettle, oven, microwave, dishwasher",
	} {
		require.Equal(t, want, MustFact(key).Figure(), key)
	}
	require.Equal(t, "Water must stand at least this far above the jar tops during processing: 1 inch (2.5 cm).", MustFact("bw_water_over_jars_min").Sentence())
	require.Equal(t, MustFact("bw_keep_covered").Statement, MustFact("bw_keep_covered").Sentence())
}

func TestYieldsComeBestFoundedFirst(t *testing.T) {
	// SR 28 (read) before the cross-check that was not re-read.
	mushrooms := YieldsOf("mushrooms")
	require.GreaterOrEqual(t, len(mushrooms), 2)
	for i := 1; i < len(mushrooms); i++ {
		require.LessOrEqual(t, mushrooms[i-1].Source.Checked.rank(), mushrooms[i].Source.Checked.rank())
	}
	require.Equal(t, Read, mushrooms[0].Source.Checked)
	require.Empty(t, YieldsOf("moonstones"))
	require.NotEmpty(t, MeasureWeightsOf("asparagus"))
	_, ok := ProducePerLoadOf("moonstones")
	require.False(t, ok)
}

func TestCallersCannotChangeTheTables(t *testing.T) {
	rows := ProcessRows()
	rows[0].Minutes = -1
	require.NotEqual(t, measure.Minutes(-1), ProcessRows()[0].Minutes)
	raw := RecipesYAML()
	raw[0] = 'X'
	require.NotEqual(t, byte('X'), RecipesYAML()[0])
}
