package reference

import (
	"cmp"
	"slices"
	"sync"

	"stillroom/internal/measure"
)

// Yield is the edible part of produce as it is bought, for one preparation.
type Yield struct {
	IngredientKey   string
	Ingredient      string
	AsPurchasedForm string
	PreparedForm    string
	// Fraction is edible mass over mass as purchased, above 0 and at most 1.
	Fraction measure.Number
	Source   Source
}

// MeasureWeight is the mass of edible material in one household measure.
type MeasureWeight struct {
	IngredientKey string
	Ingredient    string
	Form          string
	// Measure is the unit of which one weighs Grams; a cup is the US cup.
	Measure measure.Unit
	Grams   measure.Grams
	Source  Source
}

// ProducePerLoad is the printed "Quantity" line of a product. An absent figure was not printed.
type ProducePerLoad struct {
	ProductKey string
	Product    string
	// PoundsPer7Quarts and PoundsPer9Pints are pounds as picked or bought for a canner load.
	PoundsPer7Quarts Printed
	PoundsPer9Pints  Printed
	// ContainerPounds is the weight of the bushel, lug, crate or bag that the locator names, and
	// QuartsPerContainerMin and Max what it gives.
	ContainerPounds       Printed
	QuartsPerContainerMin Printed
	QuartsPerContainerMax Printed
	PoundsPerQuart        Printed
	Source                Source
}

// Printed is a figure that may not be printed.
type Printed struct {
	Number measure.Number
	// OK says whether the figure is printed.
	OK bool
}

// UnitFactor is a published conversion. For temperatures Factor holds the printed formula.
type UnitFactor struct {
	From, To measure.Unit
	Factor   string
	// Exact says whether Factor is exact rather than rounded to 17 significant digits.
	Exact  bool
	Source Source
}

var yields = sync.OnceValue(func() []Yield {
	return readTable("produce_yields.csv", func(r record) Yield {
		return Yield{
			IngredientKey: r.text("ingredient_key"), Ingredient: r.text("ingredient"),
			AsPurchasedForm: r.text("as_purchased_form"), PreparedForm: r.text("prepared_form"),
			Fraction: r.number("yield_fraction"), Source: r.source(),
		}
	})
})

var weights = sync.OnceValue(func() []MeasureWeight {
	return readTable("measure_weights.csv", func(r record) MeasureWeight {
		return MeasureWeight{
			IngredientKey: r.text("ingredient_key"), Ingredient: r.text("ingredient"), Form: r.text("form"),
			Measure: r.unit("measure"), Grams: measure.NewGrams(r.number("grams")), Source: r.source(),
		}
	})
})

var perLoad = sync.OnceValue(func() []ProducePerLoad {
	return readTable("produce_per_load.csv", func(r record) ProducePerLoad {
		printed := func(column string) Printed {
			n, ok := r.maybe(column)
			return Printed{Number: n, OK: ok}
		}
		return ProducePerLoad{
			ProductKey: r.text("product_key"), Product: r.text("product"),
			PoundsPer7Quarts: printed("lb_per_7qt_load"), PoundsPer9Pints: printed("lb_per_9pt_load"),
			ContainerPounds:       printed("bushel_or_container_lb"),
			QuartsPerContainerMin: printed("quarts_per_container_min"), QuartsPerContainerMax: printed("quarts_per_container_max"),
			PoundsPerQuart: printed("lb_per_quart"), Source: r.source(),
		}
	})
})

var unitFactors = sync.OnceValue(func() []UnitFactor {
	return readTable("unit_factors.csv", func(r record) UnitFactor {
		return UnitFactor{
			From: r.unit("from_unit"), To: r.unit("to_unit"), Factor: r.text("factor"), Exact: r.text("exact") == "yes",
			Source: Source{Publication: r.text("source"), Checked: Read},
		}
	})
})

// Yields are all yields in the order of the table.
func Yields() []Yield { return slices.Clone(yields()) }

// YieldsOf are the yields of an ingredient, best founded first and, among equals, the lower (which buys more) first.
// One ingredient has several preparations: match PreparedForm.
func YieldsOf(ingredientKey string) []Yield {
	var found []Yield
	for _, y := range yields() {
		if y.IngredientKey == ingredientKey {
			found = append(found, y)
		}
	}
	slices.SortStableFunc(found, func(a, b Yield) int {
		return cmp.Or(cmp.Compare(a.Source.Checked.rank(), b.Source.Checked.rank()), a.Fraction.Cmp(b.Fraction))
	})
	return found
}

// MeasureWeights are all weights of household measures in the order of the table.
func MeasureWeights() []MeasureWeight { return slices.Clone(weights()) }

// MeasureWeightsOf are the weights of an ingredient in the order of the table.
func MeasureWeightsOf(ingredientKey string) []MeasureWeight {
	var found []MeasureWeight
	for _, w := range weights() {
		if w.IngredientKey == ingredientKey {
			found = append(found, w)
		}
	}
	return found
}

// ProducePerLoads are all printed quantity lines in the order of the table.
func ProducePerLoads() []ProducePerLoad { return slices.Clone(perLoad()) }

// ProducePerLoadOf is the quantity line of a product; ok is false when none is printed.
func ProducePerLoadOf(productKey string) (line ProducePerLoad, ok bool) {
	for _, p := range perLoad() {
		if p.ProductKey == productKey {
			return p, true
		}
	}
	return ProducePerLoad{}, false
}

// UnitFactors are the published conversion factors.
func UnitFactors() []UnitFactor { return slices.Clone(unitFactors()) }

// RecipesYAML is the published recipes as shipped; the recipe room reads it. The slice is a copy.
func RecipesYAML() []byte {
	raw, err := files.ReadFile("data/recipes.yaml")
	if err != nil {
		panic("reference: " + err.Error())
	}
	return raw
}
