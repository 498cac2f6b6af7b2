package store_test

import (
	"context"
	"crypto/rand"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"stillroom/internal/kitchen"
	"stillroom/internal/localpg/pgtest"
	"stillroom/internal/store"
	"stillroom/internal/store/storetest"
)

func TestMain(m *testing.M) { storetest.Main(m) }

// Several servers may be started at once on a new database; each finds it migrated, exactly once.
func TestServersStartedAtOnceMigrateOnce(t *testing.T) {
	t.Parallel()
	target := pgtest.Empty(t)
	stores := make([]*store.Store, 6)
	var group errgroup.Group
	for i := range stores {
		group.Go(func() (err error) {
			stores[i], err = store.Open(context.Background(), target)
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

// TestTheServicesRoleMadeByAnAdministrator: whoever owns the database may make no roles, and the service works behind
// its walls all the same.
func TestTheServicesRoleMadeByAnAdministrator(t *testing.T) {
	t.Parallel()
	storetest.URL(t) // a migration by somebody who may has made the role
	target, err := url.Parse(pgtest.Empty(t))
	require.NoError(t, err)
	admin, err := pgx.Connect(t.Context(), target.String())
	require.NoError(t, err)
	var may bool
	require.NoError(t, admin.QueryRow(t.Context(), `SELECT rolsuper FROM pg_roles WHERE rolname = current_user`).Scan(&may))
	if !may {
		t.Skip("the user of the given Postgres may make no roles")
	}
	name := "stillroom_test_owner_" + strings.ToLower(rand.Text()[:8])
	for _, sql := range []string{
		`CREATE ROLE ` + name + ` LOGIN PASSWORD 'only here'`, `GRANT stillroom_service TO ` + name,
		`DO $$ BEGIN EXECUTE format('ALTER DATABASE %I OWNER TO ` + name + `', current_database()); END $$`,
	} {
		_, err := admin.Exec(t.Context(), sql)
		require.NoError(t, err, sql)
	}
	t.Cleanup(func() {
		_, err := admin.Exec(context.Background(), `DO $$ BEGIN EXECUTE format('ALTER DATABASE %I OWNER TO CURRENT_USER', current_database()); END $$;
			REASSIGN OWNED BY `+name+` TO CURRENT_USER; DROP OWNED BY `+name+`; DROP ROLE `+name)
		require.NoError(t, err)
		require.NoError(t, admin.Close(context.Background()))
	})
	target.User = url.UserPassword(name, "only here")
	s, err := store.Open(t.Context(), target.String())
	require.NoError(t, err)
	t.Cleanup(s.Close)
	require.NoError(t, s.Across(t.Context(), func(tx *store.Tx) error {
		_, err := tx.CreateKitchen(t.Context(), kitchen.Kitchen{ID: "k", DisplayName: "K", Currency: "USD"})
		return err
	}))
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		_, err := tx.CreateParticipant(t.Context(), kitchen.Participant{ID: "ana", DisplayName: "Ana Moreno"})
		return err
	}))
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		erased, err := tx.EraseParticipant(t.Context(), "kitchens/k", "ana", time.Now(),
			func(_ string, r store.Reply, _ store.Oblivion) (store.Reply, error) { return r, nil })
		require.Equal(t, kitchen.ErasedName, erased.Participant.DisplayName)
		return err
	}), "the owner of the tables is behind the walls too")
	var rewrites, steps bool
	require.NoError(t, s.Pool().QueryRow(t.Context(), `SELECT has_table_privilege('stillroom_service', 'audit_entries', 'UPDATE'),
		has_table_privilege('stillroom_service', 'goose_db_version', 'SELECT')`).Scan(&rewrites, &steps))
	require.False(t, rewrites || steps)
}
