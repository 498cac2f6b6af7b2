package store_test

import (
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"stillroom/internal/kitchen"
	"stillroom/internal/store"
)

// TestEveryTableHasItsWall: row-level security is on and forced everywhere, and the
// service's role can neither bypass it nor owns anything.
func TestEveryTableHasItsWall(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	rows, err := s.Pool().Query(t.Context(), `
		SELECT c.relname, c.relrowsecurity AND c.relforcerowsecurity AND
		       EXISTS (SELECT 1 FROM pg_policies p WHERE p.schemaname = 'public' AND p.tablename = c.relname AND p.policyname = 'wall')
		FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r' AND c.relname <> 'goose_db_version'`)
	require.NoError(t, err)
	walled, err := pgx.CollectRows(rows, pgx.RowToStructByPos[struct {
		Table string
		Wall  bool
	}])
	require.NoError(t, err)
	require.Greater(t, len(walled), 20)
	for _, w := range walled {
		require.True(t, w.Wall, "%s has no wall; call raise_wall in its migration", w.Table)
	}
	var super, bypass bool
	var owned int
	require.NoError(t, s.Pool().QueryRow(t.Context(), `
		SELECT rolsuper, rolbypassrls, (SELECT count(*) FROM pg_class WHERE relowner = r.oid)
		FROM pg_roles r WHERE rolname = 'stillroom_service'`).Scan(&super, &bypass, &owned))
	require.False(t, super || bypass)
	require.Zero(t, owned)
}

// TestWallsHoldWithoutTheServicesOwnChecks fills every table with rows of two
// kitchens, then asks each table, as the service and with bare SQL that names no
// kitchen, for rows; and tries to write rows of the other kitchen.
func TestWallsHoldWithoutTheServicesOwnChecks(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	require.NoError(t, s.Across(t.Context(), func(tx *store.Tx) error {
		_, err := tx.CreateKitchen(t.Context(), kitchen.Kitchen{ID: "other", DisplayName: "O", Currency: "USD"})
		return err
	}))
	pool := s.Pool()
	var mine, other string
	require.NoError(t, pool.QueryRow(t.Context(), `SELECT id FROM kitchens WHERE slug = 'k'`).Scan(&mine))
	require.NoError(t, pool.QueryRow(t.Context(), `SELECT id FROM kitchens WHERE slug = 'other'`).Scan(&other))
	rows, err := pool.Query(t.Context(), `
		SELECT c.relname FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'kitchen_id'
		WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r' ORDER BY 1`)
	require.NoError(t, err)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	require.Greater(t, len(tables), 20)

	// Rows of both kitchens in every table, past triggers and foreign keys: one copied and
	// moved where there is one, else one made of nothing but what may not be null.
	require.NoError(t, pgx.BeginFunc(t.Context(), pool, func(tx pgx.Tx) error {
		if _, err := tx.Exec(t.Context(), `SET LOCAL session_replication_role = replica`); err != nil {
			return err
		}
		for _, table := range tables {
			for _, id := range []string{mine, other} {
				if err := forceRow(t, tx, table, id); err != nil {
					return err
				}
			}
		}
		return nil
	}))

	for _, table := range tables {
		name := pgx.Identifier{table}.Sanitize()
		asService := func(sql string, args ...any) (seen, touched int64) {
			tx, err := pool.BeginTx(t.Context(), pgx.TxOptions{BeginQuery: "BEGIN; SET LOCAL stillroom.kitchen = '" + mine + "'; SET LOCAL ROLE stillroom_service"})
			require.NoError(t, err)
			defer func() { _ = tx.Rollback(t.Context()) }()
			require.NoError(t, tx.QueryRow(t.Context(), `SELECT count(*) FROM `+name+` WHERE kitchen_id <> $1`, mine).Scan(&seen))
			if sql == "" {
				return seen, 0
			}
			tag, err := tx.Exec(t.Context(), sql, args...)
			if err != nil {
				return seen, 0 // refused outright
			}
			return seen, tag.RowsAffected()
		}
		var all int64
		require.NoError(t, pool.QueryRow(t.Context(), `SELECT count(DISTINCT kitchen_id) FROM `+name).Scan(&all))
		require.EqualValues(t, 2, all, "%s holds rows of both kitchens", table)
		for _, sql := range []string{"", `DELETE FROM ` + name + ` WHERE kitchen_id = '` + other + `'`,
			`UPDATE ` + name + ` SET kitchen_id = kitchen_id WHERE kitchen_id = '` + other + `'`,
			`UPDATE ` + name + ` SET kitchen_id = '` + other + `'`} {
			seen, touched := asService(sql)
			require.Zero(t, seen, "%s shows another kitchen's rows", table)
			require.Zero(t, touched, "%s: %s", table, sql)
		}
	}
}

// forceRow puts a row of a kitchen into a table with every constraint but its checks
// out of the way: for each column that must have a value, one that its type allows.
func forceRow(t *testing.T, tx pgx.Tx, table, kitchenID string) error {
	t.Helper()
	name := pgx.Identifier{table}.Sanitize()
	var there bool
	if err := tx.QueryRow(t.Context(), `SELECT EXISTS (SELECT 1 FROM `+name+` WHERE kitchen_id = $1)`, kitchenID).Scan(&there); err != nil || there {
		return err
	}
	// Checks and exclusions are dropped for this test's database only.
	rows, err := tx.Query(t.Context(), `SELECT conname FROM pg_constraint WHERE conrelid = $1::regclass AND contype IN ('c', 'x')`, table)
	if err != nil {
		return err
	}
	constraints, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return err
	}
	for _, c := range constraints {
		if _, err := tx.Exec(t.Context(), `ALTER TABLE `+name+` DROP CONSTRAINT `+pgx.Identifier{c}.Sanitize()); err != nil {
			return err
		}
	}
	var columns, values string
	err = tx.QueryRow(t.Context(), `
		SELECT string_agg(quote_ident(a.attname), ', ' ORDER BY a.attnum),
		       string_agg(CASE
		           WHEN a.attname = 'kitchen_id' THEN quote_literal($2::text) || '::uuid'
		           WHEN ty.typname = 'uuid' THEN 'gen_random_uuid()'
		           WHEN ty.typname IN ('int2', 'int4', 'int8', 'float8', 'numeric') THEN '1'
		           WHEN ty.typname = 'bool' THEN 'false'
		           WHEN ty.typname = 'timestamptz' THEN 'now()'
		           WHEN ty.typname = 'date' THEN 'current_date'
		           WHEN ty.typname = 'tstzrange' THEN 'tstzrange(now(), now() + interval ''1 hour'')'
		           WHEN ty.typname IN ('json', 'jsonb') THEN '''{}'''
		           WHEN ty.typname = 'bytea' THEN '''\x00''::bytea || convert_to(gen_random_uuid()::text, ''UTF8'')'
		           WHEN ty.typcategory = 'A' THEN '''{}'''
		           ELSE quote_literal('x' || substr(gen_random_uuid()::text, 1, 6)) END, ', ' ORDER BY a.attnum)
		FROM pg_attribute a JOIN pg_type ty ON ty.oid = a.atttypid
		WHERE a.attrelid = $1::regclass AND a.attnum > 0 AND NOT a.attisdropped AND a.attnotnull AND a.attidentity = '' AND a.attgenerated = ''`,
		table, kitchenID).Scan(&columns, &values)
	if err != nil {
		return err
	}
	_, err = tx.Exec(t.Context(), `INSERT INTO `+name+` (`+columns+`) VALUES (`+values+`)`)
	require.NoError(t, err, "%s: %s = %s", table, columns, values)
	return err
}
