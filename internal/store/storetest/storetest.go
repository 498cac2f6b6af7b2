// Package storetest gives each test a migrated store of its own.
//
//	func TestMain(m *testing.M) { storetest.Main(m) }
//
//	func TestEnrol(t *testing.T) {
//		t.Parallel()
//		s := storetest.Open(t)
//		…
//	}
package storetest

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/localpg/pgtest"
	"stillroom/internal/store"
)

var migrated = pgtest.Template(func(ctx context.Context, url string) error {
	s, err := store.Open(ctx, url)
	if err != nil {
		return err
	}
	s.Close()
	return nil
})

// Main is called from TestMain; see pgtest.Main.
func Main(m *testing.M) { pgtest.Main(m) }

// Open opens a store on a database of the test's own, with no rows in it, and closes it with the test.
func Open(t testing.TB) *store.Store {
	t.Helper()
	s, err := store.Open(t.Context(), URL(t))
	require.NoError(t, err)
	t.Cleanup(s.Close)
	return s
}

// URL gives the connection string of a migrated database of the test's own, for a test that opens it
// several times or drives a whole program.
func URL(t testing.TB) string {
	t.Helper()
	return migrated.Database(t)
}
