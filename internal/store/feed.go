package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"stillroom/internal/questions"
	"stillroom/internal/store/db"
)

// FeedPosition is a place in the record of what happened to a kitchen's
// questions. Positions only rise; everything up to one that was read is known.
type FeedPosition struct{ Xid, Seq int64 }

// Before reports whether p comes before o.
func (p FeedPosition) Before(o FeedPosition) bool {
	return p.Xid < o.Xid || (p.Xid == o.Xid && p.Seq < o.Seq)
}

// Change is a question that was asked or changed, as it is now.
type Change struct {
	At       FeedPosition
	Question questions.Question
	// FormerClasses are classes that it was carried over from since.
	FormerClasses []string
}

// FeedHorizon is a position that nothing can appear behind any more. Whatever is
// read after it in the same transaction or a later one shows at least all that
// happened before it.
func (t *Tx) FeedHorizon(ctx context.Context) (FeedPosition, error) {
	xid, err := t.q.FeedHorizon(ctx)
	return FeedPosition{Xid: xid - 1, Seq: 1<<63 - 1}, err
}

// Changes gives what changed after a position, in order, each question once and
// as it is now, and the position up to which that is complete. At most limit
// events are read; more tells that there are others.
func (t *Tx) Changes(ctx context.Context, after FeedPosition, limit int32) (changes []Change, upTo FeedPosition, more bool, err error) {
	horizon, err := t.FeedHorizon(ctx)
	if err != nil {
		return nil, after, false, err
	}
	if !after.Before(horizon) {
		return nil, after, false, nil
	}
	events, err := t.q.FeedEvents(ctx, db.FeedEventsParams{
		KitchenID: t.kitchen, AfterXid: after.Xid, AfterSeq: after.Seq, Horizon: horizon.Xid + 1, Size: limit,
	})
	if err != nil {
		return nil, after, false, err
	}
	if len(events) == 0 {
		return nil, horizon, false, nil
	}
	upTo = horizon
	if more = len(events) == int(limit); more {
		upTo = FeedPosition{events[len(events)-1].Xid, events[len(events)-1].Seq}
	}
	// The last event of a question says where it belongs.
	last := map[uuid.UUID]int{}
	former := map[uuid.UUID][]string{}
	ids := make([]uuid.UUID, 0, len(events))
	for i, e := range events {
		if _, seen := last[e.QuestionID]; !seen {
			ids = append(ids, e.QuestionID)
		}
		last[e.QuestionID] = i
		if e.FormerClass != "" {
			former[e.QuestionID] = append(former[e.QuestionID], e.FormerClass)
		}
	}
	rows, err := t.q.QuestionsByID(ctx, db.QuestionsByIDParams{KitchenID: t.kitchen, Ids: ids})
	if err != nil {
		return nil, after, false, err
	}
	byID := make(map[uuid.UUID]db.QuestionDetail, len(rows))
	for _, r := range rows {
		byID[r.ID] = r
	}
	for i, e := range events {
		row, ok := byID[e.QuestionID]
		if !ok || last[e.QuestionID] != i {
			continue
		}
		q, err := toQuestion(row)
		if err != nil {
			return nil, after, false, err
		}
		changes = append(changes, Change{FeedPosition{e.Xid, e.Seq}, q, former[e.QuestionID]})
	}
	return changes, upTo, more, nil
}

// AgeFeed puts right what a restore from another cluster leaves in the record;
// call it before following a kitchen.
func (t *Tx) AgeFeed(ctx context.Context) error { return t.q.AgeFeed(ctx, t.kitchen) }

// feedChannel carries the ids of kitchens in which something happened.
const feedChannel = "stillroom_questions"

// HintFeed tells other processes that something happened in a kitchen. It is a
// hint only: it runs in a transaction of its own, after the commit, so that no
// writer waits for the one queue that Postgres has for notifications.
func (s *Store) HintFeed(ctx context.Context, kitchenID string) error {
	return translate(db.New(s.pool).NotifyFeed(ctx, kitchenID))
}

// ListenFeed calls hint with the id of each kitchen in which something
// happened, here or in another process, until ctx ends. It reconnects by
// itself; after each connection it calls hint with an empty id, which means any
// kitchen, since hints may have been missed.
func (s *Store) ListenFeed(ctx context.Context, hint func(kitchenID string)) {
	for ctx.Err() == nil {
		_ = s.listenOnce(ctx, hint) // the next turn tries again, and polling goes on meanwhile
		select {
		case <-ctx.Done():
		case <-time.After(retryAdvice / 2):
		}
	}
}

func (s *Store) listenOnce(ctx context.Context, hint func(string)) error {
	conn, err := pgx.ConnectConfig(ctx, s.pool.Config().ConnConfig)
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close(context.WithoutCancel(ctx)) }()
	if _, err := conn.Exec(ctx, "LISTEN "+feedChannel); err != nil {
		return err
	}
	hint("")
	for {
		n, err := conn.WaitForNotification(ctx)
		if err != nil {
			return err
		}
		hint(n.Payload)
	}
}
