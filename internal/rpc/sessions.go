package rpc

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/questions"
	"stillroom/internal/store"
)

func (s *questionService) CreateSession(ctx context.Context, req *stillroomv1.CreateSessionRequest) (*stillroomv1.Session, error) {
	var k string
	open := questions.LiveSession{ID: req.GetSessionId()}
	if err := parseName("parent", req.GetParent(), classPattern, &k, &open.Class); err != nil {
		return nil, err
	}
	var err error
	if open.Host, err = questions.Clean("host", req.GetHost(), longestName); err != nil {
		return nil, err
	}
	var out *stillroomv1.Session
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Session, error) {
			opened, err := tx.OpenSession(ctx, open, s.now())
			return encodeSession(k, opened), err
		})
		return err
	})
	return out, err
}

func (s *questionService) GetSession(ctx context.Context, req *stillroomv1.GetSessionRequest) (*stillroomv1.Session, error) {
	var k, class, id string
	if err := parseName("name", req.GetName(), sessionPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Session
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		session, err := tx.Session(ctx, class, id)
		out = encodeSession(k, session)
		return err
	})
	return out, err
}

func (s *questionService) ListSessions(ctx context.Context, req *stillroomv1.ListSessionsRequest) (*stillroomv1.ListSessionsResponse, error) {
	var k, class, after string
	var opened time.Time
	if err := parseName("parent", req.GetParent(), classPattern, &k, &class); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/sessions"
	if err := readPage(req.GetPageToken(), list, &opened, &after); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListSessionsResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		if _, err := tx.Class(ctx, class); err != nil {
			return err
		}
		rows, err := tx.Sessions(ctx, class, opened, after, size+1)
		rows, more := cut(rows, size)
		for _, session := range rows {
			out.Sessions = append(out.Sessions, encodeSession(k, session))
		}
		if more {
			last := rows[len(rows)-1]
			out.NextPageToken = nextPage(list, last.OpenedAt, last.ID)
		}
		return err
	})
	return out, err
}

func (s *questionService) CloseSession(ctx context.Context, req *stillroomv1.CloseSessionRequest) (*stillroomv1.Session, error) {
	var k, class, id string
	if err := parseName("name", req.GetName(), sessionPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Session
	err := s.write(ctx, k, func(tx *store.Tx) error {
		session, err := tx.CloseSession(ctx, class, id, s.now())
		out = encodeSession(k, session)
		return err
	})
	return out, err
}

func (s *questionService) TakeNextQuestion(ctx context.Context, req *stillroomv1.TakeNextQuestionRequest) (*stillroomv1.Question, error) {
	var k, class, id string
	if err := parseName("session", req.GetSession(), sessionPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	host, err := questions.Clean("host", req.GetHost(), longestName)
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.Question
	err = s.write(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Question, error) {
			q, err := tx.TakeNext(ctx, class, id, host, s.now())
			return s.encode(k, q, ""), err
		})
		return err
	})
	return out, err
}

// carriedOver is how many questions a running order, a carry-over or a
// suggestion of groups looks at; more than one class ever has.
const carriedOver = questions.MostCandidates

func (s *questionService) CarryOverQuestions(ctx context.Context, req *stillroomv1.CarryOverQuestionsRequest) (*stillroomv1.CarryOverQuestionsResponse, error) {
	var k, from, to string
	if err := parseName("from_class", req.GetFromClass(), classPattern, &k, &from); err != nil {
		return nil, err
	}
	if req.GetToClass() != "" {
		if err := within(k, "to_class", req.GetToClass(), classPattern, &to); err != nil {
			return nil, err
		}
	}
	var out *stillroomv1.CarryOverQuestionsResponse
	err := s.write(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.CarryOverQuestionsResponse, error) {
			moved, err := tx.CarryOver(ctx, from, to, s.now())
			reply := &stillroomv1.CarryOverQuestionsResponse{}
			for _, q := range moved {
				reply.Questions = append(reply.Questions, s.encode(k, q, ""))
			}
			return reply, err
		})
		return err
	})
	return out, err
}

func encodeSession(k string, s questions.LiveSession) *stillroomv1.Session {
	out := &stillroomv1.Session{
		Name: nameOf(sessionPattern, k, s.Class, s.ID), State: stillroomv1.SessionState_SESSION_STATE_OPEN, Host: s.Host,
		OpenTime: timestamppb.New(s.OpenedAt), AnsweredCount: int32(s.Answered), OpenCount: int32(s.Open),
	}
	if !s.ClosedAt.IsZero() {
		out.State, out.CloseTime = stillroomv1.SessionState_SESSION_STATE_CLOSED, timestamppb.New(s.ClosedAt)
	}
	return out
}
