package pgtest_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"stillroom/internal/localpg/pgtest"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

var shelf = pgtest.Template(func(ctx context.Context, url string) error {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return err
	}
	if _, err := conn.Exec(ctx, "CREATE TABLE jar (jar_id int PRIMARY KEY); INSERT INTO jar VALUES (1), (2)"); err != nil {
		return err
	}
	return conn.Close(ctx)
})

func connect(t testing.TB, url string) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close(context.Background()) })
	return conn
}

// Each test sees the prepared rows and none of the others' changes.
func TestDatabasesAreSeparateCopies(t *testing.T) {
	for i := range 6 {
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			t.Parallel()
			conn := connect(t, shelf.Database(t))
			_, err := conn.Exec(t.Context(), "INSERT INTO jar VALUES (3)")
			require.NoError(t, err)
			var n int
			require.NoError(t, conn.QueryRow(t.Context(), "SELECT count(*) FROM jar").Scan(&n))
			require.Equal(t, 3, n)
		})
	}
}

func TestEmptyHasNoTables(t *testing.T) {
	t.Parallel()
	var n int
	require.NoError(t, connect(t, pgtest.Empty(t)).QueryRow(t.Context(),
		"SELECT count(*) FROM pg_tables WHERE schemaname = 'public'").Scan(&n))
	require.Zero(t, n)
}

// A database goes away with its test even when the test left a connection open.
func TestDatabaseIsDropped(t *testing.T) {
	t.Parallel()
	admin := connect(t, pgtest.Empty(t))
	var name string
	t.Run("inner", func(t *testing.T) {
		conn, err := pgx.Connect(t.Context(), shelf.Database(t))
		require.NoError(t, err)
		require.NoError(t, conn.QueryRow(t.Context(), "SELECT current_database()").Scan(&name))
	})
	var exists bool
	require.NoError(t, admin.QueryRow(t.Context(), "SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)", name).Scan(&exists))
	require.False(t, exists)
}

// How long a test waits for its database: the copy of a small template, and its removal.
func BenchmarkDatabase(b *testing.B) {
	for b.Loop() {
		shelf.Database(b)
	}
}
