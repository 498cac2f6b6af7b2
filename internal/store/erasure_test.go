package store_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/store"
)

// TestWhoIsErasedHoldsNoPlaceAhead: people are enrolled in a class to come, and erased, at the same moment; whichever
// comes first, nobody who is erased has or awaits a place, and the places add up.
func TestWhoIsErasedHoldsNoPlaceAhead(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	const people = 12
	now := time.Now()
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		for i := range people {
			if _, err := tx.CreateParticipant(t.Context(), kitchen.Participant{ID: fmt.Sprint("p", i), DisplayName: fmt.Sprint("Person No ", i)}); err != nil {
				return err
			}
		}
		_, err := tx.CreateClass(t.Context(), kitchen.Class{ID: "ahead", DisplayName: "A", Site: "main", Start: now.AddDate(0, 0, 7), Duration: time.Hour, Capacity: 3})
		return err
	}))
	keep := func(_ string, r store.Reply, _ store.Oblivion) (store.Reply, error) { return r, nil }
	// A place may be refused because its person has gone, and either may lose a race too often and be told to retry.
	settled := func(do func() error, allowed ...fault.Kind) error {
		for {
			err := do()
			kind := fault.KindOf(err)
			switch {
			case err == nil:
				return nil
			case kind == fault.Conflict:
				continue
			}
			for _, a := range allowed {
				if kind == a {
					return nil
				}
			}
			return err
		}
	}
	var group errgroup.Group
	for i := range people {
		id := fmt.Sprint("p", i)
		group.Go(func() error {
			return settled(func() error {
				return s.In(t.Context(), "k", func(tx *store.Tx) error {
					_, err := tx.Enrol(t.Context(), kitchen.Enrolment{Class: "ahead", Participant: id}, true)
					return err
				})
			}, fault.Precondition, fault.NotFound)
		})
		if i%3 == 0 {
			continue
		}
		group.Go(func() error {
			return settled(func() error {
				return s.In(t.Context(), "k", func(tx *store.Tx) error {
					_, err := tx.EraseParticipant(t.Context(), "kitchens/k", id, now, keep)
					return err
				})
			})
		})
	}
	require.NoError(t, group.Wait())
	var erased, holding, taken, enrolled, waiting int
	require.NoError(t, s.Pool().QueryRow(t.Context(), `
		SELECT (SELECT count(*) FROM participants WHERE erased_at IS NOT NULL),
		       (SELECT count(*) FROM enrolments e JOIN participants p ON p.id = e.participant_id JOIN classes c ON c.id = e.class_id
		        WHERE c.slug = 'ahead' AND p.erased_at IS NOT NULL AND e.state <> 'cancelled'),
		       (SELECT places_taken FROM classes WHERE slug = 'ahead'),
		       (SELECT count(*) FROM enrolments e JOIN classes c ON c.id = e.class_id WHERE c.slug = 'ahead' AND e.state = 'enrolled'),
		       (SELECT count(*) FROM enrolments e JOIN classes c ON c.id = e.class_id WHERE c.slug = 'ahead' AND e.state = 'waiting')`).
		Scan(&erased, &holding, &taken, &enrolled, &waiting))
	require.Equal(t, 8, erased)
	require.Zero(t, holding)
	require.Equal(t, 3, taken, "four who stay want three places")
	require.Equal(t, taken, enrolled)
	require.Equal(t, 1, waiting)
}
