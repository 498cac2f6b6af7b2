package recipe

import (
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// Bad changes name the field, the value and the way out; nothing is changed by half.
func TestApplyRefusesBadChanges(t *testing.T) {
	r, err := Published("chile_salsa")
	require.NoError(t, err)
	for name, c := range map[string]struct {
		changes []Change
		want    string
	}{
		"no such line":         {[]Change{{Kind: Omit, Line: "lemon"}}, `changes[0].line "lemon": is not a line of this recipe; use one of tomatoes, chile_peppers, onions, vinegar, salt, black_pepper`},
		"no such kind":         {[]Change{{Kind: "double"}}, `changes[0].kind "double": is not a kind of change`},
		"negative":             {[]Change{{Kind: Reduce, Line: "onions", Amount: "-1 lb"}}, `changes[0].amount "-1 lb": is negative; give 0 or more`},
		"nothing":              {[]Change{{Kind: Reduce, Line: "onions", Amount: "0 lb"}}, `is nothing; leave the line out instead`},
		"unknown unit":         {[]Change{{Kind: Raise, Line: "onions", Amount: "2 smidgens"}}, `"smidgens": is not a unit we know`},
		"length":               {[]Change{{Kind: Raise, Line: "onions", Amount: "2 inches"}}, `changes[0].amount "2 inches": is length, which cannot measure an ingredient`},
		"cloves of vinegar":    {[]Change{{Kind: Raise, Line: "vinegar", Amount: "2 cloves"}}, `is in cloves, which cannot measure vinegar (5%)`},
		"pieces of salt":       {[]Change{{Kind: Swap, Line: "salt", Ingredient: "table salt", Amount: "3 cloves"}}, `is in cloves, which cannot measure table salt`},
		"not comparable":       {[]Change{{Kind: Raise, Line: "onions", Amount: "3 cups"}}, `changes[0].amount "3 cups": cannot be compared with 1 pound; give it in pounds`},
		"not less":             {[]Change{{Kind: Reduce, Line: "onions", Amount: "1 lb"}}, `is not less than 1 pound`},
		"not more":             {[]Change{{Kind: Raise, Line: "onions", Amount: "8 oz"}}, `is not more than 1 pound`},
		"twice":                {[]Change{{Kind: Raise, Line: "onions", Amount: "2 lb"}, {Kind: Omit, Line: "onions"}}, `changes[1].line "onions": is changed twice in this request (raise and omit)`},
		"circle":               {[]Change{{Kind: Swap, Line: "onions", Ingredient: "chile peppers"}, {Kind: Swap, Line: "chile_peppers", Ingredient: "onions"}}, `closes a circle of swaps: onions for chile_peppers for onions`},
		"swap with itself":     {[]Change{{Kind: Swap, Line: "onions", Ingredient: "onions"}}, `closes a circle of swaps: onions for onions`},
		"no ingredient":        {[]Change{{Kind: Add, Amount: "1 cup"}}, `changes[0].ingredient: is missing`},
		"control characters":   {[]Change{{Kind: Add, Ingredient: "a\x07b", Amount: "1 cup"}}, `holds control characters`},
		"not a jar":            {[]Change{{Kind: JarSize, To: "bucket"}}, `changes[0].to "bucket": is not a jar size`},
		"not a pack":           {[]Change{{Kind: Pack, To: "cold"}}, `changes[0].to "cold": is not a pack`},
		"no batches":           {[]Change{{Kind: BatchFactor, To: "0"}}, `changes[0].to "0": is not a number of batches`},
		"a range of batches":   {[]Change{{Kind: BatchFactor, To: "2 to 3"}}, `is not a number of batches`},
		"headspace":            {[]Change{{Kind: Headspace, To: "a lot"}}, `changes[0].to "a lot": is not a headspace`},
		"no method":            {[]Change{{Kind: Method}}, `changes[0].to: names no method`},
		"too many":             {make([]Change, MostChanges+1), `changes "101": are too many changes at once`},
		"second of two is bad": {[]Change{{Kind: Omit, Line: "salt"}, {Kind: Omit, Line: "x"}}, `changes[1].line "x"`},
	} {
		t.Run(name, func(t *testing.T) {
			changed, err := Apply(r, c.changes)
			require.Nil(t, changed)
			require.Equal(t, fault.Invalid, fault.KindOf(err))
			require.ErrorContains(t, err, c.want)
		})
	}
	require.Empty(t, diff(published("chile_salsa"), r), "the recipe given is not written to")
}

func TestApplyRefusesToLeaveNothing(t *testing.T) {
	r, err := Published("chile_salsa")
	require.NoError(t, err)
	var all []Change
	for _, l := range r.Lines {
		all = append(all, Change{Kind: Omit, Line: l.ID})
	}
	_, err = Apply(r, all)
	require.ErrorContains(t, err, "leave no ingredient in the recipe")
}

// Doubling and changing at once: the factor is one finding, the change beside it another.
func TestDoublingDoesNotHideAChange(t *testing.T) {
	r, err := Published("chile_salsa")
	require.NoError(t, err)
	changed, err := Apply(r, []Change{{Kind: BatchFactor, To: "2"}, {Kind: Omit, Line: "vinegar"}})
	require.NoError(t, err)
	require.Equal(t, Yield{Jar: "pint", JarsMin: 12, JarsMax: 16}, changed.Yield)
	rv := ReviewOf(changed)
	kinds := map[ChangeKind]bool{}
	for _, f := range rv.Findings {
		kinds[f.Kind] = true
	}
	require.True(t, kinds[BatchFactor])
	require.True(t, kinds[Omit])
	require.True(t, kinds[AcidShareFall])
	require.Equal(t, Forbidden, rv.Verdict)
}

// A review shows what the change does: 1 lb more onions takes the acid share of chile salsa from 238 / 1598.78 to
// 238 / 2052.37 g (454 g more low-acid food), 11.6 %.
func TestReviewShowsFigures(t *testing.T) {
	r, err := Published("chile_salsa")
	require.NoError(t, err)
	changed, rv, err := ReviewChanges(r, []Change{{Kind: Raise, Line: "onions", Amount: "2 lb"}, {Kind: Reduce, Line: "salt", Amount: "1 tsp"}})
	require.NoError(t, err)
	require.Equal(t, "14.9 %", rv.AcidBefore.String())
	require.InDelta(t, 0.11596, rv.AcidAfter.Value(), 0.00005)
	require.InDelta(t, 18, rv.SaltBefore.Grams.Float64(), 1e-9)
	require.InDelta(t, 6, rv.SaltAfter.Grams.Float64(), 1e-9)
	stable, why := ShelfStable(changed)
	require.False(t, stable)
	require.Contains(t, why, "onions: 1 pound to 2 pounds is forbidden")
}

// A formula of no published source is taught and never shelved, however much it looks like one.
func TestOwnFormulaIsNeverShelfStable(t *testing.T) {
	r := formula(t, "t_sauerkraut")
	ok, why := ShelfStable(r)
	require.True(t, ok)
	require.Contains(t, why, "on the word of the tests")

	r.Attested.By = ""
	ok, why = ShelfStable(r)
	require.False(t, ok)
	require.Contains(t, why, "nobody has said")
	rv := ReviewOf(r)
	require.Equal(t, ColdOnly, rv.Consequence)
	require.Len(t, rv.Notes, 1)
	require.Contains(t, rv.Notes[0], "There is no printed formula to set this one against")

	r.Attested.By = "R. Baker"
	r.Source.Publication = "A blog"
	ok, why = ShelfStable(r)
	require.False(t, ok)
	require.Contains(t, why, "a process holds only for the formula it was tested with")

	r.ProcessKey = ""
	ok, _ = ShelfStable(r)
	require.False(t, ok)
}

// Nobody's word stands against a page the program has, nor for tomatoes without their acid.
func TestAttestationHasItsLimits(t *testing.T) {
	r := formula(t, "chile_salsa")
	r.BasedOn, r.Attested.By = "", "R. Baker"
	ok, why := ShelfStable(r)
	require.False(t, ok)
	require.Contains(t, why, `based on "chile_salsa"`)

	// Guide 3, p. 3-5: 2 tablespoons of bottled lemon juice a quart; 7 quarts need 14.
	tomatoes := formula(t, "t_crushed_tomatoes")
	ok, why = ShelfStable(tomatoes)
	require.True(t, ok, why)
	l := findLine(tomatoes, "lemon_juice_bottled")
	l.Amount.Amount = l.Amount.Amount.Times(measure.Ratio(13, 14))
	ok, why = ShelfStable(tomatoes)
	require.False(t, ok)
	require.Contains(t, why, "enough for 6.5 quarts and its jars hold 7")
}

// Ways round the rules that have to stay shut.
func TestNoWayRound(t *testing.T) {
	salsa := func(edit func(*Revision)) *Revision {
		r := formula(t, "chile_salsa")
		edit(r)
		return r
	}
	for name, r := range map[string]*Revision{
		"watered vinegar by name":   change(t, "chile_salsa", Change{Kind: Swap, Line: "vinegar", Ingredient: "vinegar (5%), half water"}),
		"watered lemon juice":       change(t, "chile_salsa", Change{Kind: Swap, Line: "vinegar", Ingredient: "bottled lemon juice (diluted)"}),
		"lemon juice with a remark": change(t, "chile_salsa", Change{Kind: Swap, Line: "vinegar", Ingredient: "bottled lemon juice", Preparation: "mixed with water"}),
		"watered vinegar":           change(t, "chile_salsa", Change{Kind: Prepare, Line: "vinegar", Preparation: "with as much water"}),
		"drained by a swap":         change(t, "chile_salsa", Change{Kind: Swap, Line: "tomatoes", Ingredient: "green tomatoes", Preparation: "chopped and drained"}),
		"fewer tomatoes by a swap":  change(t, "chile_salsa", Change{Kind: Swap, Line: "tomatoes", Ingredient: "tomatillos", Amount: "3 cups"}),
		"steps left out":            salsa(func(r *Revision) { r.Steps = r.Steps[:1] }),
		"a shorter boil":            salsa(func(r *Revision) { r.Steps[2].MinutesMin, r.Steps[2].MinutesMax = 1, 1 }),
		"no headspace":              salsa(func(r *Revision) { r.Headspace = 0 }),
		"headspace beside a jar":    salsa(func(r *Revision) { r.Headspace, r.Yield.Jar = 0.125, canning.HalfPint }),
		"a line renamed":            salsa(func(r *Revision) { r.Lines[3].ID = "vinegar-2" }),
		"another process":           salsa(func(r *Revision) { r.ProcessKey = "pear_apple_jam" }),
		"acid said to be acid": salsa(func(r *Revision) {
			r.Lines[3].Ingredient, _ = FindIngredient("mystery acid")
			r.Lines[3].Role = Acid
		}),
		"ripe peaches for hard mango": change(t, "mango_salsa", Change{Kind: Swap, Line: "mangoes", Ingredient: "peaches"}),
	} {
		t.Run(name, func(t *testing.T) {
			ok, why := ShelfStable(r)
			require.False(t, ok, why)
			require.NotEmpty(t, LoadRefusal(r))
		})
	}
	// What the printed table prints with another jar is no way round.
	half := salsa(func(r *Revision) { r.Yield.Jar = canning.HalfPint })
	ok, why := ShelfStable(half)
	require.True(t, ok, why)
}

// In another jar a batch fills as many as its volume gives: 6 to 8 pints are 12 to 16 half-pints.
func TestAnotherJarRestatesTheYield(t *testing.T) {
	half := change(t, "chile_salsa", Change{Kind: JarSize, To: "half-pint"})
	require.Equal(t, Yield{Jar: canning.HalfPint, JarsMin: 12, JarsMax: 16}, half.Yield)
	// 1/4 teaspoon a half-pint in 9 half-pints is 2-1/4 teaspoons, and in the 4 pints of the same batch 2.
	pints := change(t, "marinated_peppers", Change{Kind: JarSize, To: "pint"})
	require.Equal(t, 4, pints.Yield.JarsMax)
	// Guide 4: lima beans, raw, have 1 inch in pints and 1-1/2 (small beans) in quarts.
	beans := formula(t, "t_lima_beans")
	quarts, rv, err := ReviewChanges(beans, []Change{{Kind: JarSize, To: "quart"}})
	require.NoError(t, err)
	require.Equal(t, measure.Inches(1.5), quarts.Headspace)
	require.True(t, rv.Verdict.OK())
	require.Equal(t, AnotherProcess, rv.Consequence)
	quarts.Headspace = 1
	require.False(t, ReviewOf(quarts).Verdict.OK())
	l, _ := pints.Line("salt")
	require.Equal(t, "2 teaspoons", l.PerBatch(pints.Yield).String())
}

// Guide 6, p. 6-16: 4 to 6 onions, optional, go with pickled beets; five are as printed, seven are more.
func TestAChoiceWithinAPrintedRange(t *testing.T) {
	five := change(t, "pickled_beets", Change{Kind: Reduce, Line: "onions", Amount: "5"})
	require.Empty(t, ReviewOf(five).Findings)
	l, _ := five.Line("onions")
	require.Equal(t, "5 onions, 2 to 2-1/2 inch diameter, peeled, thinly sliced (optional)", l.String())
	seven := change(t, "pickled_beets", Change{Kind: Raise, Line: "onions", Amount: "5 to 7"})
	require.Equal(t, Forbidden, ReviewOf(seven).Verdict)
	three := change(t, "pickled_beets", Change{Kind: Reduce, Line: "onions", Amount: "3"})
	require.True(t, ReviewOf(three).Verdict.OK(), "less of what may be left out")
}

// FuzzChange: whatever is asked for, nothing panics, nothing hangs, and what is allowed can be kept.
func FuzzChange(f *testing.F) {
	f.Add("chile_salsa", "swap", "onions", "red onions", "1 lb", "", "")
	f.Add("marinated_peppers", "reduce", "salt", "", "1/8 tsp", "", "")
	f.Add("pear_apple_jam", "batches", "", "", "", "", "1/3")
	f.Add("pickled_beets", "jar_size", "", "", "", "", "500 ml")
	f.Add("bread_and_butter_pickles", "add", "", "vinegar (5%), half water", "9999999 gal", "x", "")
	f.Fuzz(func(t *testing.T, key, kind, line, ingredient, amount, preparation, to string) {
		r := published(key)
		if r == nil {
			r = published("chile_salsa")
		}
		changed, rv, err := ReviewChanges(r, []Change{{Kind: ChangeKind(kind), Line: line, Ingredient: ingredient, Amount: amount, Preparation: preparation, To: to}})
		if err != nil {
			require.Equal(t, fault.Invalid, fault.KindOf(err))
			return
		}
		stable, why := ShelfStable(changed)
		require.NotEmpty(t, why)
		require.Equal(t, rv.Verdict.OK() && rv.Consequence < ColdOnly, stable, why)
		kept, err := Marshal(changed)
		require.NoError(t, err)
		back, err := Unmarshal(kept)
		require.NoError(t, err)
		require.Empty(t, diff(changed, back))
	})
}
