package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"stillroom/internal/localpg"
	"stillroom/internal/localpg/pgtest"
	"stillroom/internal/store/storetest"
)

// alone runs the program without a server to call.
func alone(t *testing.T, args ...string) (string, error) {
	t.Helper()
	out, err := exec.Command(binary, args...).CombinedOutput()
	return string(out), err
}

// held is what a database holds: every row of every table as text, and who may do what with what.
func held(t *testing.T, url string) (rows map[string][]string, rights []string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer func() { require.NoError(t, conn.Close(t.Context())) }()
	texts := func(sql string) []string {
		found, err := conn.Query(t.Context(), sql)
		require.NoError(t, err, sql)
		all, err := pgx.CollectRows(found, pgx.RowTo[string])
		require.NoError(t, err, sql)
		return all
	}
	rows = map[string][]string{}
	for _, table := range texts(`SELECT relname FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind = 'r' ORDER BY 1`) {
		rows[table] = texts(fmt.Sprintf(`SELECT x::text FROM %s x ORDER BY 1`, pgx.Identifier{table}.Sanitize()))
	}
	rights = texts(`
		SELECT 'table ' || relname || ' ' || relrowsecurity::text || relforcerowsecurity::text || ' ' || array_to_string(COALESCE(relacl, acldefault(CASE relkind WHEN 'S' THEN 's' ELSE 'r' END::"char", relowner)), ' ')
		FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'v', 'S')
		UNION ALL SELECT 'policy ' || tablename || ' ' || policyname || ' ' || cmd || ' ' || COALESCE(qual, '-') || ' ' || COALESCE(with_check, '-') FROM pg_policies
		UNION ALL SELECT 'function ' || oid::regprocedure::text || ' ' || prosecdef::text || ' ' || array_to_string(COALESCE(proacl, acldefault('f', proowner)), ' ') || ' ' || md5(prosrc)
		FROM pg_proc WHERE pronamespace = 'public'::regnamespace
		UNION ALL SELECT 'trigger ' || tgname || ' ' || pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal
		UNION ALL SELECT 'constraint ' || conrelid::regclass::text || ' ' || pg_get_constraintdef(oid) FROM pg_constraint WHERE connamespace = 'public'::regnamespace
		UNION ALL SELECT 'index ' || indexdef FROM pg_indexes WHERE schemaname = 'public'
		UNION ALL SELECT 'default ' || defaclobjtype::text || ' ' || array_to_string(defaclacl, ' ') FROM pg_default_acl
		ORDER BY 1`)
	return rows, rights
}

// TestABackupComesBackWhole: the demonstration's kitchen, written to a file and put into an empty database, is there row
// by row, with its rights and its walls, and a server works on it.
func TestABackupComesBackWhole(t *testing.T) {
	t.Parallel()
	url, fresh := storetest.URL(t), pgtest.Empty(t)
	said, err := alone(t, "demo", "--once", "--database", url)
	require.NoError(t, err, said)
	file := filepath.Join(t.TempDir(), "kitchens.dump")
	p := startProgram(t, "--database", url)
	said, err = alone(t, "backup", file, "--database", url)
	require.NoError(t, err, "a server is working meanwhile: %s", said)
	p.stop()
	require.Contains(t, said, "read back whole")
	info, err := os.Stat(file)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	left, err := filepath.Glob(filepath.Join(filepath.Dir(file), ".*"))
	require.NoError(t, err)
	require.Empty(t, left, "nothing half-written stays")

	said, err = alone(t, "restore", file, "--database", fresh)
	require.NoError(t, err, said)
	wantRows, wantRights := held(t, url)
	rows, rights := held(t, fresh)
	filled := 0
	for table, want := range wantRows {
		require.Equal(t, want, rows[table], table)
		if len(want) > 0 {
			filled++
		}
	}
	require.Len(t, rows, len(wantRows))
	require.Greater(t, filled, 15, "the demonstration fills most tables")
	require.Equal(t, wantRights, rights)

	// The walls stand: without a kitchen the service's role sees nothing, in any table.
	conn, err := pgx.Connect(t.Context(), fresh)
	require.NoError(t, err)
	tx, err := conn.BeginTx(t.Context(), pgx.TxOptions{BeginQuery: "BEGIN; SET LOCAL ROLE stillroom_service"})
	require.NoError(t, err)
	for table := range rows {
		if table == "goose_db_version" {
			continue
		}
		var seen int
		require.NoError(t, tx.QueryRow(t.Context(), `SELECT count(*) FROM `+pgx.Identifier{table}.Sanitize()).Scan(&seen))
		require.Zero(t, seen, table)
	}
	require.NoError(t, conn.Close(t.Context()))

	p = startProgram(t, "--database", fresh)
	p.kitchen = "demo-kitchen"
	require.NotEmpty(t, p.json("kitchen", "list")["kitchens"])
	p.run("kitchen", "create", "after", "--currency", "USD")

	// It is left alone, unless named and at rest.
	said, err = alone(t, "restore", file, "--database", fresh)
	require.Error(t, err)
	require.Contains(t, said, "tables already; say --over")
	name := pgxName(t, fresh)
	said, err = alone(t, "restore", file, "--database", fresh, "--over", "another")
	require.Error(t, err)
	require.Contains(t, said, `say --over `+name)
	said, err = alone(t, "restore", file, "--database", fresh, "--over", name)
	require.Error(t, err)
	require.Contains(t, said, "stop the servers")
	p.stop()
	said, err = alone(t, "restore", file, "--database", fresh, "--over", name)
	require.NoError(t, err, said)
	rows, rights = held(t, fresh)
	require.Equal(t, wantRows, rows, "the kitchen that was added is gone")
	require.Equal(t, wantRights, rights)
}

func pgxName(t *testing.T, url string) string {
	t.Helper()
	config, err := pgx.ParseConfig(url)
	require.NoError(t, err)
	return config.Database
}

// TestABrokenBackupChangesNothing: a file that is cut short, or something else, is refused before anything is touched,
// and a backup that the database refuses leaves what was there.
func TestABrokenBackupChangesNothing(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	p := startProgram(t, "--database", url)
	p.run("kitchen", "create", "high-meadow", "--currency", "USD")
	p.stop()
	folder := t.TempDir()
	file := filepath.Join(folder, "whole.dump")
	said, err := alone(t, "backup", file, "--database", url)
	require.NoError(t, err, said)
	whole, err := os.ReadFile(file)
	require.NoError(t, err)
	before, _ := held(t, url)

	said, err = alone(t, "backup", file, "--database", url)
	require.Error(t, err)
	require.Contains(t, said, "is there already")
	said, err = alone(t, "backup", file, "--database", url, "--replace")
	require.NoError(t, err, said)
	said, err = alone(t, "backup", filepath.Join(folder, "none", "x.dump"), "--database", url)
	require.Error(t, err)
	require.Contains(t, said, "cannot be written")
	said, err = alone(t, "backup", filepath.Join(folder, "x.dump"), "--database", "postgres://nobody@127.0.0.1:1/none")
	require.Error(t, err)
	require.Contains(t, said, "cannot be reached")

	name := pgxName(t, url)
	for what, content := range map[string][]byte{"cut": whole[:len(whole)*2/3], "empty": nil, "other": []byte("no backup at all")} {
		bad := filepath.Join(folder, what)
		require.NoError(t, os.WriteFile(bad, content, 0o600))
		said, err := alone(t, "restore", bad, "--database", url, "--over", name)
		require.Error(t, err, what)
		require.Contains(t, said, "cannot be read as a backup", what)
	}
	said, err = alone(t, "restore", filepath.Join(folder, "missing"), "--database", url)
	require.Error(t, err)
	require.Contains(t, said, "no such file")
	after, _ := held(t, url)
	require.Equal(t, before, after)

	// From a program whose tables this one does not know.
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	_, err = conn.Exec(t.Context(), `INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, true)`)
	require.NoError(t, err)
	newer := filepath.Join(folder, "newer.dump")
	said, err = alone(t, "backup", newer, "--database", url)
	require.NoError(t, err, said)
	_, err = conn.Exec(t.Context(), `DELETE FROM goose_db_version WHERE version_id = 9999`)
	require.NoError(t, err)
	require.NoError(t, conn.Close(t.Context()))
	said, err = alone(t, "restore", newer, "--database", url, "--over", name)
	require.Error(t, err)
	require.Contains(t, said, "a newer program made this backup")
	after, _ = held(t, url)
	require.Equal(t, before, after, "it was all undone")
}

// TestAPrivatePostgresIsBackedUp: while its server runs and when it does not; and restored when it does not.
func TestAPrivatePostgresIsBackedUp(t *testing.T) {
	if os.Getenv(localpg.URLVariable) != "" {
		t.Skipf("%s is set, so there is no private Postgres to back up", localpg.URLVariable)
	}
	folder, err := os.MkdirTemp("", "stillroom-backup-") // t.TempDir may lie where Postgres's user cannot go
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	require.NoError(t, os.Chmod(folder, 0o755)) //nolint:gosec // Postgres's user must be able to enter it.
	data, running, stopped := filepath.Join(folder, "data"), filepath.Join(folder, "running.dump"), filepath.Join(folder, "stopped.dump")

	p := startProgram(t, "--data", data)
	p.run("kitchen", "create", "high-meadow", "--currency", "USD", "--name", "High Meadow")
	said, err := alone(t, "backup", running, "--data", data)
	require.NoError(t, err, said)
	said, err = alone(t, "restore", running, "--data", data, "--over", "stillroom")
	require.Error(t, err)
	require.Contains(t, said, "is using the data folder")
	p.run("kitchen", "create", "low-meadow", "--currency", "USD", "--name", "Low Meadow")
	p.stop()
	said, err = alone(t, "backup", stopped, "--data", data)
	require.NoError(t, err, said)

	said, err = alone(t, "restore", running, "--data", data, "--over", "stillroom")
	require.NoError(t, err, said)
	p = startProgram(t, "--data", data)
	require.NotContains(t, p.run("kitchen", "list"), "Low Meadow")
	p.stop()
	elsewhere := filepath.Join(folder, "elsewhere")
	said, err = alone(t, "restore", stopped, "--data", elsewhere)
	require.NoError(t, err, said)
	p = startProgram(t, "--data", elsewhere)
	require.Contains(t, p.run("kitchen", "list"), "Low Meadow")
	p.stop()
}
