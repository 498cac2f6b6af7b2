package store

import (
	"context"

	"stillroom/internal/kitchen"
	"stillroom/internal/recipe"
	"stillroom/internal/store/db"
)

// Formula is the formula of a recipe revision, and why its jars may not be put in a
// load, empty when they may.
func (t *Tx) Formula(ctx context.Context, ref kitchen.RevisionRef) (*recipe.Revision, string, error) {
	row, err := t.q.GetRevisionDocument(ctx, db.GetRevisionDocumentParams{KitchenID: t.kitchen, RecipeSlug: ref.Recipe, Number: int32(ref.Number)})
	if err != nil {
		return nil, "", found(err, "recipe revision", ref.String())
	}
	r, err := recipe.Unmarshal(row.Document)
	return r, row.NotForShelfReason, err
}

// FormulasOf is the formula of every revision that the batches use.
func (t *Tx) FormulasOf(ctx context.Context, batches []kitchen.Batch) (map[kitchen.RevisionRef]*recipe.Revision, error) {
	formulas := map[kitchen.RevisionRef]*recipe.Revision{}
	for _, b := range batches {
		if formulas[b.Revision] != nil {
			continue
		}
		r, _, err := t.Formula(ctx, b.Revision)
		if err != nil {
			return nil, err
		}
		formulas[b.Revision] = r
	}
	return formulas, nil
}
