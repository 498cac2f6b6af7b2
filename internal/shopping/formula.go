package shopping

import "stillroom/internal/recipe"

// FormulaOf is a recipe revision as shopping needs it. name is the resource or key that names the revision.
func FormulaOf(r *recipe.Revision, name string) *Formula {
	f := &Formula{Recipe: name, Title: r.Title, Lines: make([]Line, len(r.Lines))}
	for i, l := range r.Lines {
		item := l.Ingredient.Item
		f.Lines[i] = Line{
			ID: l.ID, Item: item, Name: l.Ingredient.Name, Key: l.Ingredient.Key, NearKey: l.Ingredient.NearKey, Fit: string(l.Ingredient.Basis), FitNote: l.Ingredient.Note,
			Amount: l.Amount, PerJar: l.PerJar, Preparation: l.Preparation, Note: l.Note, Role: string(l.Role), Optional: l.Optional,
		}
	}
	return f
}
