package store_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"stillroom/internal/localpg/pgtest"
	"stillroom/internal/store"
	"stillroom/internal/store/storetest"
)

func TestMain(m *testing.M) { storetest.Main(m) }

// Several servers may be started at once on a new database; each finds it migrated, exactly once.
func TestServersStartedAtOnceMigrateOnce(t *testing.T) {
	t.Parallel()
	url := pgtest.Empty(t)
	stores := make([]*store.Store, 6)
	var group errgroup.Group
	for i := range stores {
		group.Go(func() (err error) {
			stores[i], err = store.Open(context.Background(), url)
			return err
		})
	}
	err := group.Wait()
	for _, s := range stores {
		if s != nil {
			t.Cleanup(s.Close)
		}
	}
	require.NoError(t, err)

	// goose writes one row per migration, and one for version 0.
	var rows, versions int
	require.NoError(t, stores[0].Pool().QueryRow(t.Context(),
		"SELECT count(*), count(DISTINCT version_id) FROM goose_db_version").Scan(&rows, &versions))
	require.Equal(t, versions, rows)
	require.Greater(t, versions, 1)
}
