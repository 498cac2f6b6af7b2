package store

import (
	"context"
	"errors"
	"math"

	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/recipe"
	"stillroom/internal/store/db"
)

var (
	_ = onConstraint("recipes_slug_key", fault.AlreadyExists, "the kitchen has a recipe with that id already; choose another")
	_ = onConstraint("recipe_revisions_number_key", fault.Conflict, "somebody else added a revision meanwhile; read the recipe again and repeat the change")
)

// CreateRecipe adds a recipe with its first revision; AlreadyExists when its id is taken.
func (t *Tx) CreateRecipe(ctx context.Context, r recipe.Recipe, first recipe.Kept) (recipe.Recipe, error) {
	id := newID()
	row, err := t.q.InsertRecipe(ctx, db.InsertRecipeParams{
		KitchenID: t.kitchen, ID: id, Slug: slugOr(r.ID, id), Title: r.Title, PublishedKey: r.PublishedKey,
	})
	if err != nil {
		// Translated here already, for an import that names the recipe whose id is taken.
		return recipe.Recipe{}, translate(err)
	}
	if _, err := t.insertRevision(ctx, row, first); err != nil {
		return recipe.Recipe{}, err
	}
	return t.Recipe(ctx, row.Slug)
}

// Recipe is the recipe with this id and its newest revision.
func (t *Tx) Recipe(ctx context.Context, id string) (recipe.Recipe, error) {
	row, err := t.q.GetRecipe(ctx, db.GetRecipeParams{KitchenID: t.kitchen, Slug: id})
	if err != nil {
		return recipe.Recipe{}, found(err, "recipe", id)
	}
	return toRecipe(row.Recipe, row.RecipeRevision)
}

// Recipes lists recipes with ids after the given one, each with its newest revision.
func (t *Tx) Recipes(ctx context.Context, after string, limit int32) ([]recipe.Recipe, error) {
	rows, err := t.q.ListRecipes(ctx, db.ListRecipesParams{KitchenID: t.kitchen, After: after, Size: limit})
	if err != nil {
		return nil, err
	}
	all := make([]recipe.Recipe, len(rows))
	for i, row := range rows {
		if all[i], err = toRecipe(row.Recipe, row.RecipeRevision); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// UpdateRecipe writes the title of a recipe whose version is still current.
func (t *Tx) UpdateRecipe(ctx context.Context, r recipe.Recipe) (recipe.Recipe, error) {
	n, err := t.q.UpdateRecipe(ctx, db.UpdateRecipeParams{KitchenID: t.kitchen, Slug: r.ID, Version: r.Version, Title: r.Title})
	if err := changed(n, err, "recipe"); err != nil {
		return recipe.Recipe{}, err
	}
	return t.Recipe(ctx, r.ID)
}

// DeleteRecipe removes a recipe whose version is still current, and its revisions; Precondition while a batch uses one.
func (t *Tx) DeleteRecipe(ctx context.Context, r recipe.Recipe) error {
	n, err := t.q.DeleteRecipe(ctx, db.DeleteRecipeParams{KitchenID: t.kitchen, Slug: r.ID, Version: r.Version})
	return changed(n, err, "recipe")
}

// AddRevision keeps a formula as the next revision of a recipe.
func (t *Tx) AddRevision(ctx context.Context, recipeID string, k recipe.Kept) (recipe.Kept, error) {
	row, err := t.q.LockRecipe(ctx, db.LockRecipeParams{KitchenID: t.kitchen, Slug: recipeID})
	if err != nil {
		return recipe.Kept{}, found(err, "recipe", recipeID)
	}
	kept, err := t.insertRevision(ctx, row, k)
	if err != nil {
		return recipe.Kept{}, err
	}
	return toKept(recipeID, kept)
}

func (t *Tx) insertRevision(ctx context.Context, r db.Recipe, k recipe.Kept) (db.RecipeRevision, error) {
	document, err := recipe.Marshal(k.Revision)
	if err != nil {
		return db.RecipeRevision{}, err
	}
	review, err := recipe.MarshalReview(k.Review)
	if err != nil {
		return db.RecipeRevision{}, err
	}
	return t.q.InsertRevision(ctx, db.InsertRevisionParams{
		KitchenID: t.kitchen, ID: newID(), RecipeID: r.ID, Document: document, Review: review, NotForShelfReason: k.NotForLoad,
	})
}

// Revision is a revision of a recipe by its number.
func (t *Tx) Revision(ctx context.Context, recipeID string, number int) (recipe.Kept, error) {
	if number < 1 || number > math.MaxInt32 {
		return recipe.Kept{}, fault.Missing("recipe revision", kitchen.RevisionRef{Recipe: recipeID, Number: number}.String())
	}
	row, err := t.q.GetRevision(ctx, db.GetRevisionParams{KitchenID: t.kitchen, RecipeSlug: recipeID, Number: int32(number)})
	if err != nil {
		return recipe.Kept{}, found(err, "recipe revision", kitchen.RevisionRef{Recipe: recipeID, Number: number}.String())
	}
	return toKept(recipeID, row)
}

// Revisions lists revisions of a recipe with numbers below the given one, newest first.
func (t *Tx) Revisions(ctx context.Context, recipeID string, before int32, limit int32) ([]recipe.Kept, error) {
	rows, err := t.q.ListRevisions(ctx, db.ListRevisionsParams{KitchenID: t.kitchen, RecipeSlug: recipeID, Before: before, Size: limit})
	if err != nil {
		return nil, err
	}
	all := make([]recipe.Kept, len(rows))
	var errs []error
	for i, row := range rows {
		all[i], err = toKept(recipeID, row)
		errs = append(errs, err)
	}
	return all, errors.Join(errs...)
}

func toRecipe(r db.Recipe, rv db.RecipeRevision) (recipe.Recipe, error) {
	latest, err := toKept(r.Slug, rv)
	return recipe.Recipe{
		ID: r.Slug, Title: r.Title, PublishedKey: r.PublishedKey, Latest: latest, CreatedAt: r.CreatedAt, Version: r.Version,
	}, err
}

func toKept(recipeID string, r db.RecipeRevision) (recipe.Kept, error) {
	revision, err := recipe.Unmarshal(r.Document)
	if err != nil {
		return recipe.Kept{}, err
	}
	review, err := recipe.UnmarshalReview(r.Review)
	return recipe.Kept{
		Recipe: recipeID, Number: int(r.Number), Revision: revision, Review: review, NotForLoad: r.NotForShelfReason, CreatedAt: r.CreatedAt,
	}, err
}
