package rpc

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/fault"
	"stillroom/internal/questions"
	"stillroom/internal/store"
)

// snapshotStates are what a snapshot holds: all but withdrawn questions.
var snapshotStates = []questions.State{questions.Asked, questions.Taken, questions.Parked, questions.Answered, questions.Merged}

func encodeToken(p store.FeedPosition) string { return fmt.Sprintf("%x-%x", p.Xid, p.Seq) }

func decodeToken(token string) (store.FeedPosition, error) {
	var p store.FeedPosition
	var rest string
	if n, _ := fmt.Sscanf(token, "%x-%x%s", &p.Xid, &p.Seq, &rest); n != 2 || p.Xid < 0 || p.Seq < 0 || encodeToken(p) != token {
		return p, fault.Field("resume_token", token, "is not a token of a watch", "give the last resume_token received, or none for a snapshot")
	}
	return p, nil
}

// WatchQuestions joins the feed first and reads afterwards: what happens in
// between waits in the buffer and is skipped when the reading showed it already.
func (s *questionService) WatchQuestions(req *stillroomv1.WatchQuestionsRequest, stream grpc.ServerStreamingServer[stillroomv1.WatchQuestionsResponse]) error {
	ctx := stream.Context()
	var k, class string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return err
	}
	if req.GetClass() != "" {
		if err := within(k, "class", req.GetClass(), classPattern, &class); err != nil {
			return err
		}
	}
	who, err := viewer(k, req.GetViewer())
	if err != nil {
		return err
	}
	var from store.FeedPosition
	if req.GetResumeToken() != "" {
		if from, err = decodeToken(req.GetResumeToken()); err != nil {
			return err
		}
	}
	if class != "" {
		if err := s.store.In(ctx, k, func(tx *store.Tx) error { _, err := tx.Class(ctx, class); return err }); err != nil {
			return err
		}
	}
	w := &watcher{class: class, host: who == "", updates: make(chan update, watcherBuffer), behind: make(chan struct{})}
	if err := s.feed.join(ctx, k, w); err != nil {
		return err
	}
	defer s.feed.leave(k, w)

	mask := ""
	if !w.host {
		mask = anybody
	}
	shown, err := s.catchUp(ctx, k, class, mask, from, req.GetResumeToken() != "", stream.Send)
	if err != nil {
		return err
	}
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-s.feed.ending:
			stopping := fault.New(fault.Unavailable, "the server is stopping; watch again with the last resume_token")
			stopping.RetryAfter = time.Second
			return stopping
		case <-w.behind:
			behind := fault.New(fault.Exhausted, "this watcher reads too slowly; watch again with the last resume_token it received")
			behind.RetryAfter = time.Second
			return behind
		case u := <-w.updates:
			if !shown.Before(u.at) {
				continue
			}
			if err := stream.Send(u.message); err != nil {
				return err
			}
		}
	}
}

// catchUp sends a snapshot, or what happened since a position, and gives the
// position up to which everything was sent. A position that this database has
// not reached, since it was restored from an older copy, gets a snapshot too.
func (s *questionService) catchUp(ctx context.Context, k, class, mask string, from store.FeedPosition, resume bool,
	send func(*stillroomv1.WatchQuestionsResponse) error,
) (store.FeedPosition, error) {
	var horizon store.FeedPosition
	err := s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		horizon, err = tx.FeedHorizon(ctx)
		return err
	})
	if err != nil {
		return horizon, err
	}
	if resume && from.Xid <= horizon.Xid+1 {
		return s.sendChanges(ctx, k, class, mask, from, send)
	}
	filter := store.QuestionFilter{Class: class, States: snapshotStates}
	for after := (store.QuestionKey{}); ; {
		var page []questions.Question
		err := s.store.In(ctx, k, func(tx *store.Tx) (err error) {
			page, err = tx.Questions(ctx, filter, after, feedBatch)
			return err
		})
		if err != nil {
			return horizon, err
		}
		for _, q := range page {
			if err := send(&stillroomv1.WatchQuestionsResponse{Kind: stillroomv1.WatchKind_WATCH_KIND_SNAPSHOT, Question: s.encode(k, q, mask)}); err != nil {
				return horizon, err
			}
		}
		if len(page) < feedBatch {
			break
		}
		last := page[len(page)-1]
		after = store.QuestionKey{Rank: last.Rank, AskedAt: last.AskedAt, ID: last.ID}
	}
	return horizon, send(&stillroomv1.WatchQuestionsResponse{Kind: stillroomv1.WatchKind_WATCH_KIND_SNAPSHOT_END, ResumeToken: encodeToken(horizon)})
}

func (s *questionService) sendChanges(ctx context.Context, k, class, mask string, from store.FeedPosition,
	send func(*stillroomv1.WatchQuestionsResponse) error,
) (store.FeedPosition, error) {
	for {
		var changes []store.Change
		var upTo store.FeedPosition
		var more bool
		err := s.store.In(ctx, k, func(tx *store.Tx) (err error) {
			changes, upTo, more, err = tx.Changes(ctx, from, feedBatch)
			return err
		})
		if err != nil {
			return from, err
		}
		for _, c := range changes {
			if !concerns(c, class) {
				continue
			}
			err := send(&stillroomv1.WatchQuestionsResponse{
				Kind: stillroomv1.WatchKind_WATCH_KIND_CHANGED, Question: s.encode(k, c.Question, mask), ResumeToken: encodeToken(c.At),
			})
			if err != nil {
				return from, err
			}
		}
		from = upTo
		if !more {
			return from, nil
		}
	}
}
