package store_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/require"

	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/store"
)

// The codes are those of the PostgreSQL documentation, appendix A.
var lostRaces = map[string]string{"serialization_failure": "40001", "deadlock_detected": "40P01"}

// TestALostRaceIsRunAgain: what a transaction did before it lost is undone, and it takes
// effect once.
func TestALostRaceIsRunAgain(t *testing.T) {
	t.Parallel()
	s := queue(t)
	for name, code := range lostRaces {
		runs, id := 0, strings.ToLower(code)
		in(t, s, func(tx *store.Tx) error {
			runs++
			if _, err := tx.CreateParticipant(t.Context(), kitchen.Participant{ID: id, DisplayName: fmt.Sprint("run ", runs)}); err != nil {
				return err
			}
			if runs < 3 {
				return fmt.Errorf("at commit: %w", &pgconn.PgError{Code: code})
			}
			return nil
		})
		require.Equal(t, 3, runs, name)
		in(t, s, func(tx *store.Tx) error {
			p, err := tx.Participant(t.Context(), id)
			require.Equal(t, "run 3", p.DisplayName)
			return err
		})
	}
}

// TestALostRaceIsRunAgainOnlySoOften, and then the caller is told to begin anew. Other errors
// are not tried again.
func TestALostRaceIsRunAgainOnlySoOften(t *testing.T) {
	t.Parallel()
	s := queue(t)
	for name, code := range lostRaces {
		runs := 0
		err := s.In(t.Context(), "k", func(*store.Tx) error { runs++; return &pgconn.PgError{Code: code} })
		require.Equal(t, fault.Conflict, fault.KindOf(err), name)
		require.Equal(t, 5, runs, name)
	}
	runs := 0
	err := s.In(t.Context(), "k", func(*store.Tx) error { runs++; return &pgconn.PgError{Code: "23505"} })
	require.Equal(t, fault.AlreadyExists, fault.KindOf(err))
	require.Equal(t, 1, runs)
}
