package shopping

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"

	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// figures are the published rows of one ingredient, their forms read.
type figures struct {
	weights []weightRow
	yields  []yieldRow
}

type weightRow struct {
	reference.MeasureWeight
	form form
	// perUnit is grams per millilitre, or per piece; size is the measure in millilitres, zero for counts.
	perUnit measure.Number
	size    float64
	// fineGrams is one measure in fine grams.
	fineGrams measure.Number
	factor    *Factor
}

type yieldRow struct {
	reference.Yield
	form   form
	factor *Factor
}

var allFigures = sync.OnceValue(func() map[string]*figures {
	all := map[string]*figures{}
	of := func(key string) *figures {
		if all[key] == nil {
			all[key] = &figures{}
		}
		return all[key]
	}
	for _, w := range reference.MeasureWeights() {
		f := of(w.IngredientKey)
		row := weightRow{MeasureWeight: w, form: readForm(w.Form), perUnit: w.Grams.Number(), factor: weightFactor(w)}
		row.fineGrams = row.perUnit.Mul(finePerUnit)
		if w.Measure.Dimension() == measure.Volume {
			ml := finePer()[w.Measure].fine.Div(finePerUnit)
			row.perUnit, row.size = row.perUnit.Div(ml), ml.Float64()
		}
		f.weights = append(f.weights, row)
	}
	for _, y := range reference.Yields() {
		f := of(y.IngredientKey)
		f.yields = append(f.yields, yieldRow{y, readForm(y.PreparedForm), yieldFactor(y)})
	}
	return all
})

var noFigures = &figures{}

func figuresOf(key string) *figures {
	if f := allFigures()[key]; f != nil {
		return f
	}
	return noFigures
}

// foundWeight is the nearest weight, the other rows as near, and why it is no nearer.
type foundWeight struct {
	row     *weightRow
	rank    [6]int
	others  []*weightRow
	remarks []string
}

// weight finds the nearest published weight of a measure; see the package comment for the order.
func (f *figures) weight(unit measure.Unit, line form) (foundWeight, bool) {
	var best *weightRow
	var bestRank [6]int
	var others []*weightRow
	size := 0.0
	if per, ok := finePer()[unit]; ok {
		size = per.size
	}
	dry := isDry(unit)
	if dry {
		// Dry measures state whole fruit as bought, whatever is done to it later.
		line.cuts, line.kinds = []cut{cuts["whole"]}, line.kinds|kindAsPurchased
	}
	for i := range f.weights {
		row := &f.weights[i]
		if !measures(row, unit, dry) {
			continue
		}
		rank := weightRank(unit, size, &line, row)
		switch c := compareRanks(rank[:], bestRank[:]); {
		case best == nil || c < 0:
			best, bestRank, others = row, rank, nil
		case c > 0:
		default:
			switch row.perUnit.Cmp(best.perUnit) {
			case 1: // as near, and buys more
				others = append(others, best)
				best = row
			case -1:
				others = append(others, row)
			}
		}
	}
	if best == nil {
		return foundWeight{}, false
	}
	w := foundWeight{row: best, rank: bestRank, others: others}
	printed := strconv.Quote(best.Form)
	if dry && best.Measure != measure.DryPint {
		w.remarks = append(w.remarks, "no weight is printed for a dry measure; it is taken by volume from "+printed)
	} else if bestRank[0] > 0 {
		w.remarks = append(w.remarks, "the nearest weight is printed for another kind or part, "+printed)
	}
	if bestRank[2] > sameCut && unit.Dimension() == measure.Volume {
		w.remarks = append(w.remarks, "no weight is printed for this cut; the nearest is "+printed)
	}
	if bestRank[3] == 2 || bestRank[3] == 1 && f.printsUnpeeled() {
		w.remarks = append(w.remarks, "the weight is printed for "+printed+", with the peel otherwise")
	}
	if bestRank[4] > 0 && unit.Dimension() == measure.Count {
		w.remarks = append(w.remarks, "no size is stated, or none is printed; taken as "+printed)
	}
	for _, o := range others {
		w.remarks = append(w.remarks, fmt.Sprintf("also printed: %s g for %q; the heavier is used", o.factor.Value, o.Form))
	}
	return w, true
}

// printsUnpeeled says that the weights tell peeled from unpeeled; those of garlic, always peeled, do not.
func (f *figures) printsUnpeeled() bool {
	return slices.ContainsFunc(f.weights, func(w weightRow) bool { return w.form.peeled == no })
}

// measures says whether a row's measure can state an amount in a unit. The rows printed for a dry pint are for whole
// fruit as bought, so only dry measures are stated by them.
func measures(row *weightRow, unit measure.Unit, dry bool) bool {
	switch {
	case row.Measure == unit:
		return true
	case row.Measure == measure.DryPint:
		return dry
	case unit.Dimension() == measure.Volume:
		return row.Measure.Dimension() == measure.Volume
	case unit == measure.Dozen:
		return row.Measure == measure.Each
	case unit == measure.Head || unit == measure.Ear:
		return row.Measure == measure.Each && strings.Contains(row.Form, string(unit))
	}
	return false
}

func isDry(u measure.Unit) bool {
	return u == measure.DryPint || u == measure.DryQuart || u == measure.Peck || u == measure.Bushel
}

// weightRank orders rows: special kinds, packing, cut, peel, size, measure. Lower is nearer.
func weightRank(unit measure.Unit, size float64, line *form, row *weightRow) [6]int {
	var r [6]int
	r[0] = (line.kinds ^ row.form.kinds).count()
	if line.packed != row.form.packed && line.packed != unsaid && row.form.packed != unsaid {
		r[1] = 1
	}
	if unit.Dimension() == measure.Volume {
		r[2] = cutDistance(line, &row.form)
	}
	r[3] = peelDistance(line.peeled, row.form.peeled)
	r[4] = sizeDistance(line.size, row.form.size)
	if row.Measure != unit {
		r[5] = sizeRatio(row.size, size)
	}
	return r
}

var sizes = map[string]int{"small": 1, "medium": 2, "large": 3}

// sizeDistance is 0 for the stated size; without one, medium is nearest, then a row that names no size.
func sizeDistance(line, row string) int {
	switch {
	case line == row:
		return 0
	case line == "":
		if row == "medium" {
			return 1
		}
		return 2
	case row == "":
		return 3
	}
	d := 2 * (sizes[line] - sizes[row])
	return max(d, -d)
}

// sizeRatio is how many times over one measure goes into the other, rounded down; 1 for counts.
func sizeRatio(a, b float64) int {
	if a == 0 || b == 0 {
		return 1
	}
	return int(max(a/b, b/a) + 1e-9)
}

// foundYield is the nearest yield, the others in print, and why it is no nearer.
type foundYield struct {
	row     *yieldRow
	rank    [4]int
	others  []*yieldRow
	remarks []string
}

// yield finds the published yield that fits a preparation; see the package comment for the order.
func (f *figures) yield(line form) (foundYield, bool) {
	var best *yieldRow
	var bestRank [4]int
	for i := range f.yields {
		row := &f.yields[i]
		rank := yieldRank(&line, row)
		if c := compareRanks(rank[:], bestRank[:]); best == nil || c < 0 || c == 0 && row.Fraction.Less(best.Fraction) {
			best, bestRank = row, rank
		}
	}
	if best == nil {
		return foundYield{}, false
	}
	y := foundYield{row: best, rank: bestRank}
	printed := strconv.Quote(best.PreparedForm)
	switch {
	case bestRank[0] > 0:
		y.remarks = append(y.remarks, "no yield is printed for juice; the nearest is "+printed)
	case bestRank[1] > 0:
		y.remarks = append(y.remarks, "no yield is printed for this preparation; the nearest is "+printed)
	case bestRank[3] > 0:
		y.remarks = append(y.remarks, "the nearest yield, "+printed+", does not name every part that is removed")
	}
	if best.Source.Checked == reference.Recalled {
		y.remarks = append(y.remarks, "the yield "+best.factor.Value+" is recalled, not read in its source")
	}
	for i := range f.yields {
		row := &f.yields[i]
		rank := yieldRank(&line, row)
		if row == best || rank[1] > 0 || row.Fraction.Equal(best.Fraction) {
			continue
		}
		y.others = append(y.others, row)
		if rank == bestRank {
			y.remarks = append(y.remarks, fmt.Sprintf("also printed: yield %s for %q; the lower is used", row.factor.Value, row.PreparedForm))
		}
	}
	return y, true
}

// yieldRank orders rows: juice, fit of the peel, how it was read, removed parts the row does not name.
func yieldRank(line *form, row *yieldRow) [4]int {
	var r [4]int
	if line.juice != row.form.juice {
		r[0] = 1
	}
	if peelDistance(line.peeled, row.form.peeled) > 0 {
		r[1] = 1
	}
	if row.Source.Checked == reference.Recalled {
		r[2] = 1
	}
	r[3] = (line.removed &^ row.form.removed).count()
	return r
}

func compareRanks(a, b []int) int {
	for i := range a {
		if a[i] != b[i] {
			return a[i] - b[i]
		}
	}
	return 0
}

func weightFactor(w reference.MeasureWeight) *Factor {
	return &Factor{
		Kind: "weight", Key: w.IngredientKey, Form: w.Form, Measure: string(w.Measure), Value: w.Grams.Number().Exact(),
		Publication: w.Source.Publication, Locator: w.Source.Locator, Checked: string(w.Source.Checked),
	}
}

func yieldFactor(y reference.Yield) *Factor {
	return &Factor{
		Kind: "yield", Key: y.IngredientKey, Form: y.PreparedForm, Value: y.Fraction.Exact(),
		Publication: y.Source.Publication, Locator: y.Source.Locator, Checked: string(y.Source.Checked),
	}
}

// density is the grams in a millilitre by the row printed for the largest measure; ok is false when none is printed.
func (f *figures) density() (measure.Number, bool) {
	var best *weightRow
	for i := range f.weights {
		w := &f.weights[i]
		if w.size == 0 || w.Measure == measure.DryPint {
			continue
		}
		if best == nil || w.size > best.size {
			best = w
		}
	}
	if best == nil {
		return measure.Number{}, false
	}
	return best.perUnit, true
}
