package store_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/require"

	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/questions"
	"stillroom/internal/store"
	"stillroom/internal/store/storetest"
)

var noon = time.Date(2027, 8, 14, 12, 0, 0, 0, time.UTC)

// queue opens a store with kitchen "k" and participant "p".
func queue(t *testing.T) *store.Store {
	t.Helper()
	s := storetest.Open(t)
	ctx := t.Context()
	require.NoError(t, s.Across(ctx, func(tx *store.Tx) error {
		_, err := tx.CreateKitchen(ctx, kitchen.Kitchen{ID: "k", DisplayName: "K", Currency: "USD"})
		return err
	}))
	in(t, s, func(tx *store.Tx) error {
		_, err := tx.CreateParticipant(ctx, kitchen.Participant{ID: "p", DisplayName: "P"})
		return err
	})
	return s
}

func in(t *testing.T, s *store.Store, do func(*store.Tx) error) {
	t.Helper()
	require.NoError(t, s.In(t.Context(), "k", do))
}

func askIn(ctx context.Context, tx *store.Tx, id string) error {
	_, err := tx.Ask(ctx, questions.Question{ID: id, Asker: "p", Text: "How?"}, noon)
	return err
}

// A transaction that began earlier and commits later must not be missed: while
// it runs, nothing that came after it is shown; afterwards all is, in order.
func TestChangesWaitForTheOldestTransaction(t *testing.T) {
	t.Parallel()
	s := queue(t)
	ctx := t.Context()
	var from store.FeedPosition
	require.Eventually(t, func() bool { // others use the same cluster: wait until what was done so far is behind the horizon
		var changes []store.Change
		in(t, s, func(tx *store.Tx) (err error) {
			changes, from, _, err = tx.Changes(ctx, store.FeedPosition{}, 100)
			return err
		})
		return len(changes) == 0
	}, 10*time.Second, 10*time.Millisecond)
	read := func() (ids []string) {
		in(t, s, func(tx *store.Tx) error {
			changes, upTo, more, err := tx.Changes(ctx, from, 100)
			require.False(t, more)
			require.False(t, upTo.Before(from), "a position never goes back")
			from = upTo
			for _, c := range changes {
				ids = append(ids, c.Question.ID)
			}
			return err
		})
		return ids
	}
	begun, commit, done := make(chan struct{}), make(chan struct{}), make(chan error, 1)
	go func() {
		done <- s.In(ctx, "k", func(tx *store.Tx) error {
			if err := askIn(ctx, tx, "slow"); err != nil {
				return err
			}
			close(begun)
			<-commit
			return nil
		})
	}()
	<-begun
	in(t, s, func(tx *store.Tx) error {
		_, err := tx.CreateParticipant(ctx, kitchen.Participant{ID: "other", DisplayName: "O"})
		return err
	})
	in(t, s, func(tx *store.Tx) error { // by another asker: the slow one holds the first
		_, err := tx.Ask(ctx, questions.Question{ID: "quick", Asker: "other", Text: "How?"}, noon)
		return err
	})
	require.Empty(t, read(), "quick is committed, but slow may still come before it")
	close(commit)
	require.NoError(t, <-done)
	var seen []string
	require.Eventually(t, func() bool { seen = append(seen, read()...); return len(seen) >= 2 }, 10*time.Second, 5*time.Millisecond)
	require.Equal(t, []string{"slow", "quick"}, seen)
	require.Empty(t, read())
}

// Positions of a database that was restored into a younger cluster lie in its future; AgeFeed puts them into the past.
func TestAgeFeedAfterARestore(t *testing.T) {
	t.Parallel()
	s := queue(t)
	ctx := t.Context()
	in(t, s, func(tx *store.Tx) error { return askIn(ctx, tx, "old") })
	_, err := s.Pool().Exec(ctx, "UPDATE question_events SET xid = 9000000000000000")
	require.NoError(t, err)
	in(t, s, func(tx *store.Tx) error { return tx.AgeFeed(ctx) })
	in(t, s, func(tx *store.Tx) error { return askIn(ctx, tx, "new") })
	var ids []string
	require.Eventually(t, func() bool {
		ids = nil
		in(t, s, func(tx *store.Tx) error {
			changes, _, _, err := tx.Changes(ctx, store.FeedPosition{Xid: -1}, 100)
			for _, c := range changes {
				ids = append(ids, c.Question.ID)
			}
			return err
		})
		return len(ids) == 2
	}, 10*time.Second, 10*time.Millisecond)
	require.Equal(t, []string{"old", "new"}, ids)
}

// Reading in small parts gives the same as reading at once.
func TestChangesInParts(t *testing.T) {
	t.Parallel()
	s := queue(t)
	ctx := t.Context()
	for _, id := range []string{"a", "b", "c", "d", "e"} {
		in(t, s, func(tx *store.Tx) error { return askIn(ctx, tx, id) })
	}
	in(t, s, func(tx *store.Tx) error { _, err := tx.StepQuestion(ctx, "b", questions.Park, noon); return err })
	var ids []string
	at := store.FeedPosition{}
	require.Eventually(t, func() bool {
		for {
			var more bool
			in(t, s, func(tx *store.Tx) error {
				changes, upTo, m, err := tx.Changes(ctx, at, 2)
				for _, c := range changes {
					ids = append(ids, c.Question.ID+" "+c.Question.State.String())
				}
				at, more = upTo, m
				return err
			})
			if !more {
				return len(ids) >= 6
			}
		}
	}, 10*time.Second, 10*time.Millisecond)
	require.Equal(t, []string{"a asked", "b parked", "c asked", "d asked", "e asked", "b parked"}, ids, "always as it is when read")
}

// What must always hold is held by the database, whoever writes to it.
func TestQuestionsHoldInTheDatabase(t *testing.T) {
	t.Parallel()
	s := queue(t)
	ctx := t.Context()
	in(t, s, func(tx *store.Tx) error { return errors.Join(askIn(ctx, tx, "a"), askIn(ctx, tx, "b")) })
	for constraint, statement := range map[string]string{
		"questions_merged_holds":        "UPDATE questions SET state = 'merged' WHERE slug = 'a'",
		"questions_taken_holds":         "UPDATE questions SET state = 'taken' WHERE slug = 'a'",
		"questions_answered_holds":      "UPDATE questions SET state = 'answered', answered_at = now() WHERE slug = 'a'",
		"questions_plan_holds":          "UPDATE questions SET pinned = true, excluded = true WHERE slug = 'a'",
		"questions_state_check":         "UPDATE questions SET state = 'lost' WHERE slug = 'a'",
		"questions_body_check":          "UPDATE questions SET body = '' WHERE slug = 'a'",
		"questions_slug_key":            "UPDATE questions SET slug = 'b' WHERE slug = 'a'",
		"questions_merged_fkey":         "UPDATE questions SET state = 'merged', merged_into = gen_random_uuid() WHERE slug = 'a'",
		"questions_audience_check":      "UPDATE questions SET audience = 'world' WHERE slug = 'a'",
		"endorsements_participant_fkey": "INSERT INTO endorsements SELECT kitchen_id, id, gen_random_uuid(), now() FROM questions WHERE slug = 'a'",
	} {
		_, err := s.Pool().Exec(ctx, statement)
		var refused *pgconn.PgError
		require.ErrorAs(t, err, &refused, constraint)
		require.Equal(t, constraint, refused.ConstraintName)
	}
	_, err := s.Pool().Exec(ctx, "UPDATE questions SET state = 'merged', merged_into = id WHERE slug = 'a'")
	require.Error(t, err, "not into itself")
	err = s.In(ctx, "k", func(tx *store.Tx) error { return askIn(ctx, tx, "a") })
	require.Equal(t, fault.AlreadyExists, fault.KindOf(err))
}
