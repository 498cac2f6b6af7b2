package store

import (
	"context"
	"errors"
	"io/fs"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"

	"stillroom/internal/fault"
)

// newestMigration is the number of the last migration of this program.
func newestMigration() (int64, error) {
	names, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil || len(names) == 0 {
		return 0, errors.Join(err, errors.New("no migrations are embedded"))
	}
	number, _, _ := strings.Cut(strings.TrimPrefix(names[len(names)-1], "migrations/"), "_")
	return strconv.ParseInt(number, 10, 64)
}

// PrepareRestore makes ready, in the transaction of a restore, what no backup of a database
// holds: the role that its grants and policies are for. What an earlier start or restore
// grants on tables to come is taken back, so that the backup's own grants are all there are.
func PrepareRestore(ctx context.Context, conn pgx.Tx) error {
	var exists bool
	if err := conn.QueryRow(ctx, `SELECT EXISTS (SELECT 1 FROM pg_roles WHERE rolname = $1)`, serviceRole).Scan(&exists); err != nil {
		return translate(err)
	}
	if !exists {
		// As migration 00009 makes it.
		if _, err := conn.Exec(ctx, `CREATE ROLE `+serviceRole+` NOLOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS`); err != nil {
			return fault.New(fault.Precondition, "the database role %s is missing and cannot be made by this user; have an administrator run: "+
				"CREATE ROLE %s NOLOGIN; GRANT %s TO the user in the URL", serviceRole, serviceRole, serviceRole).Because(err)
		}
	}
	var member bool
	if err := conn.QueryRow(ctx, `SELECT pg_has_role(current_user, $1, 'MEMBER')`, serviceRole).Scan(&member); err != nil {
		return translate(err)
	}
	if !member {
		if _, err := conn.Exec(ctx, `GRANT `+serviceRole+` TO CURRENT_USER`); err != nil {
			return fault.New(fault.Precondition, "this user may not become %s; have an administrator run: GRANT %s TO the user in the URL", serviceRole, serviceRole).Because(err)
		}
	}
	_, err := conn.Exec(ctx, `
		ALTER DEFAULT PRIVILEGES IN SCHEMA public REVOKE ALL ON TABLES FROM `+serviceRole+`;
		ALTER DEFAULT PRIVILEGES IN SCHEMA public REVOKE ALL ON SEQUENCES FROM `+serviceRole)
	return translate(err)
}

// FinishRestore checks a database that was restored and gives it the rights that hang on
// its new owner. Precondition when a newer program made the backup, or when it lacks the
// walls between kitchens.
func FinishRestore(ctx context.Context, conn pgx.Tx) error {
	newest, err := newestMigration()
	if err != nil {
		return err
	}
	var version int64
	if err := conn.QueryRow(ctx, `SELECT max(version_id) FROM public.goose_db_version WHERE is_applied`).Scan(&version); err != nil {
		return translate(err)
	}
	if version > newest {
		return fault.New(fault.Precondition, "a newer program made this backup (its tables are of step %d, this program knows %d); restore it with that one", version, newest)
	}
	// As migration 00009 grants them; a backup has those of its own owner.
	if _, err := conn.Exec(ctx, `
		GRANT USAGE ON SCHEMA public TO `+serviceRole+`;
		ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO `+serviceRole+`;
		ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT USAGE, SELECT ON SEQUENCES TO `+serviceRole); err != nil {
		return translate(err)
	}
	var bare []string
	if err := conn.QueryRow(ctx, `
		SELECT COALESCE(array_agg(c.relname::text ORDER BY c.relname), '{}') FROM pg_class c
		JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'kitchen_id'
		WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r' AND NOT (c.relrowsecurity AND c.relforcerowsecurity)`).Scan(&bare); err != nil {
		return translate(err)
	}
	if len(bare) > 0 && version >= 9 {
		return fault.New(fault.Precondition, "the backup has no wall between kitchens on: %s", strings.Join(bare, ", "))
	}
	return nil
}
