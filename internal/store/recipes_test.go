package store_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/recipe"
	"stillroom/internal/store"
)

// kept is a printed recipe as it is kept.
func kept(t *testing.T, key string) recipe.Kept {
	t.Helper()
	r, err := recipe.Published(key)
	require.NoError(t, err)
	return recipe.Keep(r)
}

func TestRecipesAreKeptWhole(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	for _, printed := range recipe.Library() {
		require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
			created, err := tx.CreateRecipe(t.Context(), recipe.Recipe{ID: printed.Key, Title: printed.Title, PublishedKey: printed.Key}, recipe.Keep(printed))
			if err != nil {
				return err
			}
			require.Equal(t, 1, created.Latest.Number)
			require.Empty(t, created.Latest.NotForLoad)
			require.Empty(t, recipe.ReviewOf(created.Latest.Revision).Findings, "what comes back is what was printed")
			want, err := recipe.ExportYAML(printed)
			require.NoError(t, err)
			got, err := recipe.ExportYAML(created.Latest.Revision)
			require.NoError(t, err)
			require.Equal(t, string(want), string(got))
			return nil
		}))
	}
	var all []recipe.Recipe
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) (err error) {
		all, err = tx.Recipes(t.Context(), "", 100)
		return err
	}))
	require.Len(t, all, 35)
}

// A revision that a batch uses can be neither changed nor removed, whoever tries.
func TestDatabaseKeepsAUsedRevision(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		if _, err := tx.CreateRecipe(t.Context(), recipe.Recipe{ID: "salsa", Title: "Salsa"}, kept(t, "chile_salsa")); err != nil {
			return err
		}
		if _, err := tx.AddRevision(t.Context(), "salsa", kept(t, "chile_salsa_ii")); err != nil {
			return err
		}
		if _, err := tx.CreateStation(t.Context(), kitchen.Station{Class: "c", ID: "a", DisplayName: "A"}); err != nil {
			return err
		}
		_, err := tx.CreateBatch(t.Context(), kitchen.Batch{Class: "c", Station: "a", Revision: kitchen.RevisionRef{Recipe: "salsa", Number: 1},
			JarSize: canning.Pint, Jars: 6})
		return err
	}))
	refusedBy(t, s, "recipe_revisions_immutable", `UPDATE recipe_revisions SET document = document || '{"notes": "x"}'`)
	refusedBy(t, s, "recipe_revisions_immutable", `UPDATE recipe_revisions SET not_for_shelf_reason = 'x'`)
	refusedBy(t, s, "batches_revision_fkey", `DELETE FROM recipe_revisions WHERE number = 1`)
	refusedBy(t, s, "batches_revision_fkey", `DELETE FROM recipes`)
	refusedBy(t, s, "recipe_revisions_number_key", `INSERT INTO recipe_revisions (kitchen_id, id, recipe_id, number, document)
		SELECT kitchen_id, gen_random_uuid(), recipe_id, number, document FROM recipe_revisions WHERE number = 2`)

	err := s.In(t.Context(), "k", func(tx *store.Tx) error {
		_, err := tx.CreateRecipe(t.Context(), recipe.Recipe{ID: "salsa", Title: "Another"}, kept(t, "apple_butter"))
		return err
	})
	require.Equal(t, fault.AlreadyExists, fault.KindOf(err))
	err = s.In(t.Context(), "k", func(tx *store.Tx) error {
		_, err := tx.Revision(t.Context(), "salsa", 3)
		return err
	})
	require.Equal(t, fault.NotFound, fault.KindOf(err))
	require.ErrorContains(t, err, "salsa revision 3")
}

func TestRecipesStayInTheirKitchen(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	require.NoError(t, s.Across(t.Context(), func(tx *store.Tx) error {
		_, err := tx.CreateKitchen(t.Context(), kitchen.Kitchen{ID: "other", DisplayName: "O", Currency: "USD"})
		return err
	}))
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		_, err := tx.CreateRecipe(t.Context(), recipe.Recipe{ID: "salsa", Title: "Salsa"}, kept(t, "chile_salsa"))
		return err
	}))
	require.NoError(t, s.In(t.Context(), "other", func(tx *store.Tx) error {
		_, err := tx.Recipe(t.Context(), "salsa")
		require.Equal(t, fault.NotFound, fault.KindOf(err))
		_, err = tx.AddRevision(t.Context(), "salsa", kept(t, "chile_salsa"))
		require.Equal(t, fault.NotFound, fault.KindOf(err))
		all, err := tx.Recipes(t.Context(), "", 10)
		require.Empty(t, all)
		return err
	}))
}
