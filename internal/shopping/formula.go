package shopping

import (
	"regexp"

	"stillroom/internal/measure"
	"stillroom/internal/recipe"
)

// FormulaOf is a recipe revision as shopping needs it. name is the resource or key that names the revision.
func FormulaOf(r *recipe.Revision, name string) *Formula {
	f := &Formula{Recipe: name, Title: r.Title, Lines: make([]Line, len(r.Lines))}
	for i, l := range r.Lines {
		f.Lines[i] = Line{
			ID: l.ID, Item: l.Ingredient.Item, Name: l.Ingredient.Name, Key: l.Ingredient.Key, NearKey: l.Ingredient.NearKey,
			Fit: string(l.Ingredient.Basis), FitNote: l.Ingredient.Note,
			Amount: l.Amount, PerJar: l.PerJar, Preparation: l.Preparation, Note: l.Note, Role: string(l.Role), Optional: l.Optional,
		}
		if l.Printed != "" { // a changed amount leaves the source's remark on the old one behind
			f.Lines[i].AlsoPrinted = printedWeight(l.Note)
		}
	}
	return f
}

var weightNote = regexp.MustCompile(`^(?:about )?([0-9][0-9/-]* (?:pounds?|ounces?))\b`)

// printedWeight is the weight a source prints beside a line ("about 3-1/2 pounds as bought", "64 ounces"); its unit is
// empty when it prints none.
func printedWeight(note string) measure.Quantity {
	m := weightNote.FindStringSubmatch(note)
	if m == nil {
		return measure.Quantity{}
	}
	q, err := measure.ParseQuantity(m[1])
	if err != nil {
		return measure.Quantity{}
	}
	return q
}
