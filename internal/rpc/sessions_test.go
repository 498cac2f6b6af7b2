package rpc

import (
	"fmt"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func (s *testServer) openSession(t testing.TB, id string) *stillroomv1.Session {
	t.Helper()
	session, err := s.questions().CreateSession(t.Context(), &stillroomv1.CreateSessionRequest{Parent: theClass, SessionId: id, Host: "H", RequestId: uuid.NewString()})
	require.NoError(t, err)
	return session
}

func (s *testServer) take(t testing.TB, session string) (*stillroomv1.Question, error) {
	t.Helper()
	return s.questions().TakeNextQuestion(t.Context(), &stillroomv1.TakeNextQuestionRequest{Session: theClass + "/sessions/" + session, Host: "H", RequestId: uuid.NewString()})
}

func TestSessionFromOpeningToClosing(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 20)
	s.people(t, 6)
	c, ctx := s.questions(), t.Context()
	s.ask(t, "park", "p0", "Where do I park?")
	s.ask(t, "gloves", "p1", "Do I need gloves?")
	s.ask(t, "seal", "p2", "My jar did not seal")
	s.ask(t, "out", "p3", "When is lunch?")
	_, err := c.EndorseQuestion(ctx, &stillroomv1.EndorseQuestionRequest{Name: question("gloves"), Participant: person("p5")})
	require.NoError(t, err)
	_, err = c.UpdateQuestion(ctx, &stillroomv1.UpdateQuestionRequest{Question: &stillroomv1.Question{Name: question("out"), Excluded: true}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"excluded"}}})
	require.NoError(t, err)

	_, err = s.take(t, "s1")
	requireCode(t, codes.NotFound, err)
	session := s.openSession(t, "s1")
	require.Equal(t, stillroomv1.SessionState_SESSION_STATE_OPEN, session.GetState())
	require.EqualValues(t, 4, session.GetOpenCount())
	_, err = c.CreateSession(ctx, &stillroomv1.CreateSessionRequest{Parent: theClass, Host: "Another"})
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "open already")
	_, err = c.CreateSession(ctx, &stillroomv1.CreateSessionRequest{Parent: "kitchens/k/classes/ghost", Host: "Another"})
	requireCode(t, codes.NotFound, err)
	_, err = c.CarryOverQuestions(ctx, &stillroomv1.CarryOverQuestionsRequest{FromClass: theClass})
	requireCode(t, codes.FailedPrecondition, err)

	// Urgent first, then by people; a retry of the same request takes nothing more.
	req := &stillroomv1.TakeNextQuestionRequest{Session: session.GetName(), Host: "H", RequestId: uuid.NewString()}
	first, err := c.TakeNextQuestion(ctx, req)
	require.NoError(t, err)
	require.Equal(t, question("seal"), first.GetName())
	require.Equal(t, session.GetName(), first.GetSession())
	require.Equal(t, "H", first.GetHost())
	again, err := c.TakeNextQuestion(ctx, req)
	require.NoError(t, err)
	require.True(t, proto.Equal(first, again))
	second, err := s.take(t, "s1")
	require.NoError(t, err)
	require.Equal(t, question("gloves"), second.GetName())
	_, err = c.SkipQuestion(ctx, &stillroomv1.SkipQuestionRequest{Name: second.GetName()})
	require.NoError(t, err)
	third, err := s.take(t, "s1")
	require.NoError(t, err)
	require.Equal(t, question("park"), third.GetName(), "what was skipped goes behind the others")
	fourth, err := s.take(t, "s1")
	require.NoError(t, err)
	require.Equal(t, question("gloves"), fourth.GetName())
	_, err = s.take(t, "s1")
	requireCode(t, codes.NotFound, err)

	s.answer(t, "seal", "Within 24 hours.")
	_, err = c.ParkQuestion(ctx, &stillroomv1.ParkQuestionRequest{Name: question("park")})
	require.NoError(t, err)
	closed, err := c.CloseSession(ctx, &stillroomv1.CloseSessionRequest{Name: session.GetName()})
	require.NoError(t, err)
	require.Equal(t, stillroomv1.SessionState_SESSION_STATE_CLOSED, closed.GetState())
	require.EqualValues(t, 1, closed.GetAnsweredCount())
	require.EqualValues(t, 3, closed.GetOpenCount())
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_ASKED, s.get(t, "gloves").GetState(), "what was taken goes back")
	twice, err := c.CloseSession(ctx, &stillroomv1.CloseSessionRequest{Name: session.GetName()})
	require.NoError(t, err)
	require.True(t, proto.Equal(closed, twice))
	_, err = s.take(t, "s1")
	requireCode(t, codes.FailedPrecondition, err)
	s.openSession(t, "s2")
	page, err := c.ListSessions(ctx, &stillroomv1.ListSessionsRequest{Parent: theClass, PageSize: 1})
	require.NoError(t, err)
	require.Equal(t, session.GetName(), page.GetSessions()[0].GetName())
	page, err = c.ListSessions(ctx, &stillroomv1.ListSessionsRequest{Parent: theClass, PageSize: 1, PageToken: page.GetNextPageToken()})
	require.NoError(t, err)
	require.Equal(t, theClass+"/sessions/s2", page.GetSessions()[0].GetName())
	require.Empty(t, page.GetNextPageToken())
	got, err := c.GetSession(ctx, &stillroomv1.GetSessionRequest{Name: theClass + "/sessions/s2"})
	require.NoError(t, err)
	require.True(t, proto.Equal(page.GetSessions()[0], got))

	// Unanswered questions carry over, merged ones with them.
	_, err = c.CloseSession(ctx, &stillroomv1.CloseSessionRequest{Name: theClass + "/sessions/s2"})
	require.NoError(t, err)
	_, err = c.MergeQuestions(ctx, &stillroomv1.MergeQuestionsRequest{Name: question("gloves"), Others: []string{question("out")}})
	require.NoError(t, err)
	moved, err := c.CarryOverQuestions(ctx, &stillroomv1.CarryOverQuestionsRequest{FromClass: theClass, RequestId: uuid.NewString()})
	require.NoError(t, err)
	require.Len(t, moved.GetQuestions(), 2)
	require.Equal(t, question("gloves"), moved.GetQuestions()[0].GetName())
	require.Empty(t, moved.GetQuestions()[0].GetClass())
	require.Empty(t, s.get(t, "out").GetClass())
	require.Equal(t, theClass, s.get(t, "seal").GetClass())
}

func TestRunningOrderIsFollowed(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 20)
	s.people(t, 8)
	c, ctx := s.questions(), t.Context()
	for i, text := range []string{
		"How much headspace for salsa?", "Where do I park?", "Can I add corn to my salsa?", "Do I need an apron?",
		"How do I peel tomatoes?", "What is the pH of tomatoes?",
	} {
		s.ask(t, fmt.Sprintf("q%d", i), fmt.Sprintf("p%d", i), text)
	}
	_, err := c.EndorseQuestion(ctx, &stillroomv1.EndorseQuestionRequest{Name: question("q4"), Participant: person("p7")})
	require.NoError(t, err)
	// 10 minutes hold three answers of 3 minutes with at most two topics opened (30 s each).
	// "Can I add corn" is urgent (500 + 10). tomato: 10 + 6 and 10. salsa: 10. Best: q2, q4 and one
	// more at 10 points: q0 (topic open), q5 (topic open) cost 1 minute in openings, q1 and q3 1.5: all fit
	// in 10.5? No: 9 + 1 = 10 fits, 9 + 1.5 does not.
	order, err := c.PlanRunningOrder(ctx, &stillroomv1.PlanRunningOrderRequest{Class: theClass, SessionMinutes: 10, Apply: true})
	require.NoError(t, err)
	require.True(t, order.GetApplied())
	require.EqualValues(t, 510+16+10, order.GetWorth())
	require.EqualValues(t, 600, order.GetUsedSeconds())
	require.Len(t, order.GetPositions(), 3)
	require.Len(t, order.GetLeftOut(), 3)
	require.Equal(t, question("q2"), order.GetPositions()[0].GetQuestion().GetName())
	require.EqualValues(t, 30, order.GetPositions()[0].GetStartSeconds())
	for _, l := range order.GetLeftOut() {
		require.Contains(t, l.GetWhy(), "0 min are left")
	}
	session := s.openSession(t, "s")
	for _, p := range order.GetPositions() {
		q, err := s.take(t, "s")
		require.NoError(t, err)
		require.Equal(t, p.GetQuestion().GetName(), q.GetName())
	}
	// A question that cannot wait overtakes the order.
	s.ask(t, "late", "p6", "The boil stopped half way through")
	q, err := s.take(t, "s")
	require.NoError(t, err)
	require.Equal(t, question("late"), q.GetName())
	_, err = c.CloseSession(ctx, &stillroomv1.CloseSessionRequest{Name: session.GetName()})
	require.NoError(t, err)

	for _, id := range []string{"q0", "q1", "q3"} {
		_, err = c.UpdateQuestion(ctx, &stillroomv1.UpdateQuestionRequest{Question: &stillroomv1.Question{Name: question(id), Pinned: true}})
		require.NoError(t, err)
	}
	_, err = c.PlanRunningOrder(ctx, &stillroomv1.PlanRunningOrderRequest{Class: theClass, SessionMinutes: 5})
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "unpin some")
	order, err = c.PlanRunningOrder(ctx, &stillroomv1.PlanRunningOrderRequest{Class: theClass, OpeningSeconds: proto.Int32(0)})
	require.NoError(t, err)
	require.EqualValues(t, 1800, order.GetSessionSeconds(), "a class without a live session gets half an hour")
	require.Len(t, order.GetPositions(), 7)
	_, err = c.PlanRunningOrder(ctx, &stillroomv1.PlanRunningOrderRequest{Class: "kitchens/k/classes/ghost"})
	requireCode(t, codes.NotFound, err)
}
