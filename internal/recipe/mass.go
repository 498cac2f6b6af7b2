package recipe

import (
	"slices"
	"strings"

	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// Weight is the mass of a line for one batch, by a published figure.
type Weight struct {
	// Grams is the mass; meaningless unless Known.
	Grams measure.Grams
	Known bool
	// By is the figure used: "printed by weight", or the form, measure and source of a published weight.
	By string
	// Why says why there is none, when not Known.
	Why string
}

// WeightOf weighs a line of a formula for one batch. Where several published forms fit as well, it takes the
// lightest for an acid line and the heaviest for any other, which is the cautious side of the acid share.
// A range is weighed at its low end for an acid line and at its high end for any other.
func WeightOf(l Line, y Yield) Weight {
	q := l.PerBatch(y)
	n := q.Amount.High
	if l.Role == Acid {
		n = q.Amount.Low
	}
	if q.Unit.Dimension() == measure.Mass {
		g, err := measure.Convert(n, q.Unit, measure.Gram)
		if err != nil {
			return Weight{Why: err.Error()}
		}
		return Weight{Grams: measure.NewGrams(g), Known: true, By: "printed by weight"}
	}
	if l.Ingredient.Key == "" {
		return Weight{Why: "no published weight for " + l.Ingredient.Name}
	}
	row, ok := weightRow(l, q.Unit)
	if !ok {
		return Weight{Why: "no published weight for " + l.Ingredient.Name + " by the " + q.Unit.Name(measure.Int(1))}
	}
	in, err := measure.Convert(n, q.Unit, row.Measure)
	if err != nil {
		return Weight{Why: err.Error()}
	}
	by := row.Ingredient + ", " + row.Form + ", by the " + row.Measure.Name(measure.Int(1)) + " (" + row.Source.String() + ")"
	if l.Ingredient.Basis == StandIn {
		by += "; " + l.Ingredient.Note
	}
	return Weight{Grams: row.Grams.Times(in), Known: true, By: by}
}

// weightRow picks the published weight whose form fits the preparation best.
func weightRow(l Line, u measure.Unit) (reference.MeasureWeight, bool) {
	var fit []reference.MeasureWeight
	for _, key := range []string{l.Ingredient.Key, l.Ingredient.NearKey} {
		for _, w := range reference.MeasureWeightsOf(key) {
			if key != "" && u.ConvertibleTo(w.Measure) {
				fit = append(fit, w)
			}
		}
		if len(fit) > 0 {
			break
		}
	}
	if len(fit) == 0 {
		return reference.MeasureWeight{}, false
	}
	words := formWords(l.Ingredient.Name + " " + l.Preparation + " " + l.Note)
	score := func(w reference.MeasureWeight) int {
		s := 0
		for word := range formWords(w.Form) {
			if words[word] {
				s += 2
			}
		}
		if strings.Contains(w.Form, "unpeeled") && words["peeled"] {
			s--
		}
		// A pint or a quart of something is nearer to its cup than to its spoon.
		if w.Measure == u || w.Measure == measure.Cup && u != measure.Teaspoon && u != measure.Tablespoon {
			s++
		}
		return s
	}
	perUnit := func(w reference.MeasureWeight) measure.Number {
		n, err := measure.Convert(measure.Int(1), u, w.Measure)
		if err != nil {
			return measure.Number{}
		}
		return w.Grams.Number().Mul(n)
	}
	best := slices.MinFunc(fit, func(a, b reference.MeasureWeight) int {
		if d := score(b) - score(a); d != 0 {
			return d
		}
		if l.Role == Acid {
			return perUnit(a).Cmp(perUnit(b))
		}
		return perUnit(b).Cmp(perUnit(a))
	})
	return best, true
}

// formWords is the set of words that tell one form from another, with near names put together.
func formWords(s string) map[string]bool {
	words := map[string]bool{}
	for _, w := range strings.FieldsFunc(strings.ToLower(s), func(c rune) bool { return (c < 'a' || c > 'z') && c != '-' }) {
		switch w {
		case "diced", "cubed", "cubes", "minced", "pieces", "cut":
			w = "chopped"
		case "slices", "rounds", "strips":
			w = "sliced"
		case "grated", "shredded":
			w = "grated"
		case "floweret", "flowerets":
			w = "flowerets"
		}
		words[w] = true
	}
	for _, filler := range []string{"edible", "part", "in", "or", "and", "the", "raw", "to", "a", "as", "of"} {
		delete(words, filler)
	}
	return words
}
