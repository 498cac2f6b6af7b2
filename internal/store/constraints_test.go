package store_test

import (
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/require"

	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/store"
	"stillroom/internal/store/storetest"
)

// These tests go around the program's own checks, with bare SQL, to show that the
// database alone holds what must always hold.

func furnish(t *testing.T) *store.Store {
	t.Helper()
	s := storetest.Open(t)
	require.NoError(t, s.Across(t.Context(), func(tx *store.Tx) error {
		_, err := tx.CreateKitchen(t.Context(), kitchen.Kitchen{ID: "k", DisplayName: "K", Currency: "USD"})
		return err
	}))
	altitude, err := measure.ParseAltitude("1600 m")
	require.NoError(t, err)
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		if _, err := tx.CreateSite(t.Context(), kitchen.Site{ID: "main", DisplayName: "Main", Altitude: altitude, TimeZone: "UTC"}); err != nil {
			return err
		}
		if _, err := tx.CreateClass(t.Context(), kitchen.Class{ID: "c", DisplayName: "C", Site: "main", Start: time.Now(), Duration: time.Hour, Capacity: 1}); err != nil {
			return err
		}
		for _, p := range []string{"ana", "bo"} {
			if _, err := tx.CreateParticipant(t.Context(), kitchen.Participant{ID: p, DisplayName: p}); err != nil {
				return err
			}
		}
		_, err := tx.Enrol(t.Context(), kitchen.Enrolment{Class: "c", Participant: "ana"}, false)
		return err
	}))
	return s
}

// refusedBy runs a statement that the named constraint must refuse.
func refusedBy(t *testing.T, s *store.Store, constraint, sql string) {
	t.Helper()
	_, err := s.Pool().Exec(t.Context(), sql)
	var pgErr *pgconn.PgError
	require.ErrorAs(t, err, &pgErr, sql)
	require.Equal(t, constraint, pgErr.ConstraintName, pgErr.Message)
}

func TestDatabaseRefusesAnOverbookedClass(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	const more = `INSERT INTO enrolments (kitchen_id, class_id, id, slug, participant_id, state, turn)
		SELECT p.kitchen_id, c.id, gen_random_uuid(), 'x', p.id, 'enrolled', 99 FROM participants p, classes c WHERE p.slug = '`
	refusedBy(t, s, "classes_capacity_holds", more+"bo'")
	refusedBy(t, s, "enrolments_one_place", more+"ana'")
	refusedBy(t, s, "classes_capacity_holds", `UPDATE classes SET capacity = 1, places_taken = 2`)

	_, err := s.Pool().Exec(t.Context(), `DELETE FROM enrolments`)
	require.NoError(t, err)
	_, err = s.Pool().Exec(t.Context(), more+"bo'")
	require.NoError(t, err, "a place given back can be given again")
}

func TestDatabaseRefusesAChangedRevision(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	_, err := s.Pool().Exec(t.Context(), `
		WITH r AS (INSERT INTO recipes (kitchen_id, id, slug, title) SELECT id, gen_random_uuid(), 'salsa', 'Salsa' FROM kitchens RETURNING *)
		INSERT INTO recipe_revisions (kitchen_id, id, recipe_id, number, document) SELECT kitchen_id, gen_random_uuid(), id, 1, '{}' FROM r`)
	require.NoError(t, err)
	refusedBy(t, s, "recipe_revisions_immutable", `UPDATE recipe_revisions SET document = '{"acid": "less"}'`)
}

func TestKeysKeepKitchensApart(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	require.NoError(t, s.Across(t.Context(), func(tx *store.Tx) error {
		_, err := tx.CreateKitchen(t.Context(), kitchen.Kitchen{ID: "other", DisplayName: "O", Currency: "USD"})
		return err
	}))
	err := s.In(t.Context(), "other", func(tx *store.Tx) error {
		_, err := tx.Class(t.Context(), "c")
		return err
	})
	require.Equal(t, fault.NotFound, fault.KindOf(err))
	refusedBy(t, s, "enrolments_class_fkey", `UPDATE enrolments SET kitchen_id = (SELECT id FROM kitchens WHERE slug = 'other')`)
	// Every table has a primary key that leads with the kitchen; kitchens themselves are their own.
	rows, err := s.Pool().Query(t.Context(), `
		SELECT c.relname, a.attname FROM pg_class c
		JOIN pg_namespace n ON n.oid = c.relnamespace AND n.nspname = 'public'
		LEFT JOIN pg_index i ON i.indrelid = c.oid AND i.indisprimary
		LEFT JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = i.indkey[0]
		WHERE c.relkind = 'r' AND c.relname NOT IN ('kitchens', 'goose_db_version')`)
	require.NoError(t, err)
	tables := 0
	for rows.Next() {
		var table string
		var first *string
		require.NoError(t, rows.Scan(&table, &first))
		require.NotNil(t, first, "%s has no primary key", table)
		require.Equal(t, "kitchen_id", *first, table)
		tables++
	}
	require.NoError(t, rows.Err())
	require.Greater(t, tables, 8)
}

// TestLookSeesOneMoment: what others change meanwhile is not seen half.
func TestLookSeesOneMoment(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	require.NoError(t, s.Look(t.Context(), "k", func(tx *store.Tx) error {
		before, err := tx.Class(t.Context(), "c")
		require.NoError(t, err)
		_, err = s.Pool().Exec(t.Context(), `UPDATE classes SET capacity = capacity + 1`)
		require.NoError(t, err)
		after, err := tx.Class(t.Context(), "c")
		require.Equal(t, before, after)
		return err
	}))
}
