package rpc

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func (s *testServer) questions() stillroomv1.QuestionServiceClient {
	return stillroomv1.NewQuestionServiceClient(s.conn)
}

func person(id string) string   { return "kitchens/k/participants/" + id }
func question(id string) string { return "kitchens/k/questions/" + id }

// people adds participants p0, p1, … and gives each a place in the class.
func (s *testServer) people(t testing.TB, n int) {
	t.Helper()
	for i := range n {
		id := fmt.Sprintf("p%d", i)
		s.addPerson(t, id)
		_, err := s.enrol(t, id, stillroomv1.WhenFull_WHEN_FULL_FAIL)
		require.NoError(t, err)
	}
}

// ask asks about the class.
func (s *testServer) ask(t testing.TB, id, asker, text string) *stillroomv1.Question {
	t.Helper()
	q, err := s.questions().CreateQuestion(t.Context(), &stillroomv1.CreateQuestionRequest{
		Parent: "kitchens/k", QuestionId: id, RequestId: uuid.NewString(),
		Question: &stillroomv1.Question{Class: theClass, Asker: person(asker), Text: text}})
	require.NoError(t, err)
	return q
}

func (s *testServer) get(t testing.TB, id string) *stillroomv1.Question {
	t.Helper()
	q, err := s.questions().GetQuestion(t.Context(), &stillroomv1.GetQuestionRequest{Name: question(id)})
	require.NoError(t, err)
	return q
}

func (s *testServer) answer(t testing.TB, id, text string) *stillroomv1.Question {
	t.Helper()
	q, err := s.questions().AnswerQuestion(t.Context(), &stillroomv1.AnswerQuestionRequest{Name: question(id), RequestId: uuid.NewString(),
		Answer: &stillroomv1.Answer{Text: text, AnsweredBy: "A host", Sources: []*stillroomv1.Source{{Publication: "USDA AIB 539 (rev. 2015)", Locator: "Guide 1, p. 1-26"}}}})
	require.NoError(t, err)
	return q
}

func (s *testServer) list(t testing.TB, req *stillroomv1.ListQuestionsRequest) (ids []string) {
	t.Helper()
	req.Parent = "kitchens/k"
	for {
		page, err := s.questions().ListQuestions(t.Context(), req)
		require.NoError(t, err)
		for _, q := range page.GetQuestions() {
			ids = append(ids, strings.TrimPrefix(q.GetName(), question("")))
		}
		if page.GetNextPageToken() == "" {
			return ids
		}
		req.PageToken = page.GetNextPageToken()
	}
}

func TestAskIsTriagedAtOnceAndKept(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 10)
	s.people(t, 2)
	req := &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k", RequestId: uuid.NewString(), Question: &stillroomv1.Question{
		Class: theClass, Asker: person("p0"), Text: " One jar of peaches didn\u2019t seal\u202e, what now? \u200b", NeedTime: timestamppb.New(testNow.Add(time.Hour))}}
	q, err := s.questions().CreateQuestion(t.Context(), req)
	require.NoError(t, err)
	require.Equal(t, "One jar of peaches didn’t seal, what now?", q.GetText())
	require.Equal(t, "peach", q.GetTopic())
	require.True(t, q.GetUrgent())
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_ASKED, q.GetState())
	require.Equal(t, testNow, q.GetCreateTime().AsTime())
	require.Equal(t, "unsealed", q.GetNotices()[0].GetRule())
	require.EqualValues(t, 24, q.GetNotices()[0].GetHours())
	require.Equal(t, "USDA AIB 539 (rev. 2015)", q.GetNotices()[0].GetFacts()[0].GetSource().GetPublication())

	again, err := s.questions().CreateQuestion(t.Context(), req)
	require.NoError(t, err)
	require.True(t, proto.Equal(q, again), "the same request_id gives the first result")
	got, err := s.questions().GetQuestion(t.Context(), &stillroomv1.GetQuestionRequest{Name: q.GetName()})
	require.NoError(t, err)
	require.True(t, proto.Equal(q, got), "what is read is what was answered: %v %v", q, got)
	require.Len(t, s.list(t, &stillroomv1.ListQuestionsRequest{}), 1)
}

func TestAskRefusesWhatCannotBeAsked(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 10)
	s.people(t, 1)
	s.addPerson(t, "outsider")
	ask := func(q *stillroomv1.Question) error {
		_, err := s.questions().CreateQuestion(t.Context(), &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k", Question: q})
		return err
	}
	for name, bad := range map[string]struct {
		q     *stillroomv1.Question
		field string
	}{
		"empty":       {&stillroomv1.Question{Asker: person("p0")}, "question.text"},
		"blank":       {&stillroomv1.Question{Asker: person("p0"), Text: " \u202e\u200b\n"}, "question.text"},
		"100 kB":      {&stillroomv1.Question{Asker: person("p0"), Text: strings.Repeat("jar ", 25_000)}, "question.text"},
		"control":     {&stillroomv1.Question{Asker: person("p0"), Text: "jar\x00"}, "question.text"},
		"nobody":      {&stillroomv1.Question{Text: "How?"}, "question.asker"},
		"elsewhere":   {&stillroomv1.Question{Asker: "kitchens/other/participants/p0", Text: "How?"}, "question.asker"},
		"bad class":   {&stillroomv1.Question{Asker: person("p0"), Class: "c", Text: "How?"}, "question.class"},
		"step alone":  {&stillroomv1.Question{Asker: person("p0"), Step: 2, Text: "How?"}, "question.step"},
		"in and out":  {&stillroomv1.Question{Asker: person("p0"), Pinned: true, Excluded: true, Text: "How?"}, "question.pinned"},
		"mistyped":    {&stillroomv1.Question{Asker: person("p0"), Text: "How?", NeedTime: &timestamppb.Timestamp{Seconds: 1}}, "question.need_time"},
		"long answer": {&stillroomv1.Question{Asker: person("p0"), Text: "How?", AnswerSeconds: 99999}, "question.answer_seconds"},
	} {
		st := requireCode(t, codes.InvalidArgument, ask(bad.q))
		require.Contains(t, badFields(t, st), bad.field, name)
	}
	requireCode(t, codes.NotFound, ask(&stillroomv1.Question{Asker: person("ghost"), Text: "How?"}))
	requireCode(t, codes.NotFound, ask(&stillroomv1.Question{Asker: person("p0"), Class: "kitchens/k/classes/ghost", Text: "How?"}))
	requireCode(t, codes.NotFound, ask(&stillroomv1.Question{Asker: person("p0"), Recipe: "kitchens/k/recipes/ghost", Text: "How?"}))
	st := requireCode(t, codes.FailedPrecondition, ask(&stillroomv1.Question{Asker: person("outsider"), Class: theClass, Text: "How?"}))
	require.Contains(t, st.Message(), "Person outsider is not in the class")
	require.NoError(t, ask(&stillroomv1.Question{Asker: person("outsider"), Text: "How, in general? 🫙"}))
	require.Len(t, s.list(t, &stillroomv1.ListQuestionsRequest{}), 1, "nothing that was refused was kept")
}

// A thousand questions of one person within a minute: ten are taken, the rest
// are told when to come back.
func TestAskingTooFast(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 10)
	s.people(t, 2)
	results := make(chan error, 1000)
	for worker := range 8 {
		go func() {
			for i := range 125 {
				_, err := s.questions().CreateQuestion(t.Context(), &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k",
					Question: &stillroomv1.Question{Asker: person("p0"), Text: fmt.Sprintf("Question %d of %d?", i, worker)}})
				results <- err
			}
		}()
	}
	taken := 0
	for range 1000 {
		err := <-results
		if err == nil {
			taken++
			continue
		}
		st := requireCode(t, codes.ResourceExhausted, err)
		var wait time.Duration
		for _, d := range st.Details() {
			if r, ok := d.(*errdetails.RetryInfo); ok {
				wait = r.GetRetryDelay().AsDuration()
			}
		}
		require.Equal(t, time.Minute, wait, "the server's clock stands still in this test")
	}
	require.Equal(t, 10, taken)
	s.ask(t, "other", "p1", "May somebody else ask?")
}

func TestListOrderPagesAndFilters(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 20)
	s.people(t, 6)
	s.ask(t, "a", "p0", "Where do I park?")
	s.ask(t, "b", "p1", "How much headspace for salsa?")
	s.ask(t, "c", "p2", "My lid popped up again over night")
	s.ask(t, "d", "p3", "Do I need gloves?")
	for _, who := range []string{"p0", "p2", "p3"} {
		_, err := s.questions().EndorseQuestion(t.Context(), &stillroomv1.EndorseQuestionRequest{Name: question("b"), Participant: person(who)})
		require.NoError(t, err)
	}
	_, err := s.questions().EndorseQuestion(t.Context(), &stillroomv1.EndorseQuestionRequest{Name: question("d"), Participant: person("p5")})
	require.NoError(t, err)
	want := []string{"c", "b", "d", "a"}
	require.Equal(t, want, s.list(t, &stillroomv1.ListQuestionsRequest{}))
	require.Equal(t, want, s.list(t, &stillroomv1.ListQuestionsRequest{PageSize: 1}))
	require.Equal(t, want, s.list(t, &stillroomv1.ListQuestionsRequest{PageSize: 3, Class: theClass}))
	require.Equal(t, []string{"c"}, s.list(t, &stillroomv1.ListQuestionsRequest{UrgentOnly: true}))
	require.Equal(t, []string{"d"}, s.list(t, &stillroomv1.ListQuestionsRequest{Asker: person("p3")}))
	require.Empty(t, s.list(t, &stillroomv1.ListQuestionsRequest{Class: "kitchens/k/classes/other"}))
	s.answer(t, "a", "Behind the house.")
	require.Equal(t, []string{"a"}, s.list(t, &stillroomv1.ListQuestionsRequest{States: []stillroomv1.QuestionState{stillroomv1.QuestionState_QUESTION_STATE_ANSWERED}}))

	page, err := s.questions().ListQuestions(t.Context(), &stillroomv1.ListQuestionsRequest{Parent: "kitchens/k", PageSize: 1})
	require.NoError(t, err)
	_, err = s.questions().ListQuestions(t.Context(), &stillroomv1.ListQuestionsRequest{Parent: "kitchens/k", PageSize: 1, UrgentOnly: true, PageToken: page.GetNextPageToken()})
	require.Equal(t, []string{"page_token"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
}

func TestUnnamedStaysUnnamedToParticipants(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 10)
	s.people(t, 2)
	q, err := s.questions().CreateQuestion(t.Context(), &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k",
		Question: &stillroomv1.Question{Asker: person("p0"), Text: "Is this a silly question?", Unnamed: true}})
	require.NoError(t, err)
	see := func(viewer string) string {
		got, err := s.questions().GetQuestion(t.Context(), &stillroomv1.GetQuestionRequest{Name: q.GetName(), Viewer: viewer})
		require.NoError(t, err)
		page, err := s.questions().ListQuestions(t.Context(), &stillroomv1.ListQuestionsRequest{Parent: "kitchens/k", Viewer: viewer})
		require.NoError(t, err)
		require.True(t, proto.Equal(got, page.GetQuestions()[0]))
		require.Equal(t, got.GetAsker() == "", got.GetAskerDisplayName() == "")
		return got.GetAsker()
	}
	require.Equal(t, person("p0"), see(""))
	require.Equal(t, person("p0"), see(person("p0")))
	require.Empty(t, see(person("p1")))
	endorsed, err := s.questions().EndorseQuestion(t.Context(), &stillroomv1.EndorseQuestionRequest{Name: q.GetName(), Participant: person("p1")})
	require.NoError(t, err)
	require.Empty(t, endorsed.GetAsker())
	_, err = s.questions().ListQuestions(t.Context(), &stillroomv1.ListQuestionsRequest{Parent: "kitchens/k", Viewer: person("p1"), Asker: person("p0")})
	requireCode(t, codes.PermissionDenied, err)
}

func TestEndorseOncePerPerson(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 10)
	s.people(t, 3)
	s.addPerson(t, "outsider")
	s.ask(t, "q", "p0", "How much headspace?")
	endorse := func(who string) (*stillroomv1.Question, error) {
		return s.questions().EndorseQuestion(t.Context(), &stillroomv1.EndorseQuestionRequest{Name: question("q"), Participant: person(who)})
	}
	for range 3 {
		q, err := endorse("p1")
		require.NoError(t, err)
		require.EqualValues(t, 1, q.GetEndorsementCount())
	}
	_, err := endorse("p0")
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "own question")
	_, err = endorse("outsider")
	requireCode(t, codes.FailedPrecondition, err)
	_, err = endorse("ghost")
	requireCode(t, codes.NotFound, err)
	for range 2 {
		q, err := s.questions().UnendorseQuestion(t.Context(), &stillroomv1.UnendorseQuestionRequest{Name: question("q"), Participant: person("p1")})
		require.NoError(t, err)
		require.Zero(t, q.GetEndorsementCount())
	}
	_, err = s.questions().WithdrawQuestion(t.Context(), &stillroomv1.WithdrawQuestionRequest{Name: question("q")})
	require.NoError(t, err)
	_, err = endorse("p1")
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "the question is withdrawn and cannot be endorsed")
}

func TestEditUntilAnswered(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 10)
	s.people(t, 1)
	q := s.ask(t, "q", "p0", "How much headspace?")
	update := func(m *stillroomv1.Question, paths ...string) (*stillroomv1.Question, error) {
		m.Name = question("q")
		return s.questions().UpdateQuestion(t.Context(), &stillroomv1.UpdateQuestionRequest{Question: m, UpdateMask: &fieldmaskpb.FieldMask{Paths: paths}})
	}
	edited, err := update(&stillroomv1.Question{Text: "My jar did not seal", Pinned: true, AnswerSeconds: 60, Etag: q.GetEtag()}, "text", "pinned", "answer_seconds")
	require.NoError(t, err)
	require.True(t, edited.GetUrgent())
	require.True(t, edited.GetPinned())
	require.EqualValues(t, 60, edited.GetAnswerSeconds())
	_, err = update(&stillroomv1.Question{Text: "Never mind", Etag: q.GetEtag()}, "text")
	requireCode(t, codes.Aborted, err)
	edited, err = update(&stillroomv1.Question{Text: "Never mind"}, "text", "pinned")
	require.NoError(t, err)
	require.True(t, edited.GetUrgent(), "what was raised stays raised")
	require.False(t, edited.GetPinned())
	_, err = update(&stillroomv1.Question{Text: "\x07"}, "text")
	require.Equal(t, []string{"question.text"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	_, err = update(&stillroomv1.Question{Asker: person("p1")}, "asker")
	require.Equal(t, []string{"update_mask"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	s.answer(t, "q", "Then all is well.")
	_, err = update(&stillroomv1.Question{Text: "Really?"}, "text")
	requireCode(t, codes.FailedPrecondition, err)
}

func TestMergeKeepsEveryAskerAndEveryWord(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 20)
	s.people(t, 6)
	s.ask(t, "a", "p0", "How much headspace for salsa?")
	s.ask(t, "b", "p1", "What headspace does the salsa need?")
	s.ask(t, "c", "p2", "One jar did not seal, was the headspace wrong?")
	for q, who := range map[string][]string{"a": {"p3"}, "b": {"p3", "p0"}, "c": {"p4"}} {
		for _, p := range who {
			_, err := s.questions().EndorseQuestion(t.Context(), &stillroomv1.EndorseQuestionRequest{Name: question(q), Participant: person(p)})
			require.NoError(t, err)
		}
	}
	merge := func(into string, others ...string) (*stillroomv1.Question, error) {
		req := &stillroomv1.MergeQuestionsRequest{Name: question(into), RequestId: uuid.NewString()}
		for _, o := range others {
			req.Others = append(req.Others, question(o))
		}
		return s.questions().MergeQuestions(t.Context(), req)
	}
	_, err := merge("a", "a")
	requireCode(t, codes.InvalidArgument, err)
	_, err = merge("a", "b", "ghost")
	requireCode(t, codes.NotFound, err)
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_ASKED, s.get(t, "b").GetState(), "all or nothing")

	_, err = merge("b", "c")
	require.NoError(t, err)
	q, err := merge("a", "b") // c goes along
	require.NoError(t, err)
	require.EqualValues(t, 3, q.GetAskerCount())
	require.EqualValues(t, 2, q.GetEndorsementCount(), "p3 counts once, p0 asked, p4 endorsed c")
	require.True(t, q.GetUrgent(), "what was merged cannot wait")
	require.Equal(t, "unsealed", q.GetNotices()[0].GetRule())
	_, err = merge("b", "a")
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "merged into this question already")
	require.Equal(t, question("a"), s.get(t, "c").GetMergedInto())
	require.Equal(t, []string{"a"}, s.list(t, &stillroomv1.ListQuestionsRequest{}))

	_, err = s.questions().AnswerQuestion(t.Context(), &stillroomv1.AnswerQuestionRequest{Name: question("b"), Answer: &stillroomv1.Answer{Text: "Half an inch."}})
	requireCode(t, codes.FailedPrecondition, err)
	s.answer(t, "a", "Half an inch.")
	for _, id := range []string{"b", "c"} {
		got := s.get(t, id)
		require.Equal(t, "Half an inch.", got.GetAnswer().GetText(), "askers of merged questions get the answer")
		require.NotEmpty(t, got.GetText())
	}
	split, err := s.questions().SplitQuestion(t.Context(), &stillroomv1.SplitQuestionRequest{Name: question("c")})
	require.NoError(t, err)
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_ASKED, split.GetState())
	require.True(t, split.GetUrgent())
	require.Nil(t, split.GetAnswer())
	require.EqualValues(t, 1, split.GetEndorsementCount())
	a := s.get(t, "a")
	require.EqualValues(t, 2, a.GetAskerCount())
	require.EqualValues(t, 1, a.GetEndorsementCount())
	require.False(t, a.GetUrgent())
}

func TestEveryStepOfALife(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 10)
	s.people(t, 1)
	c, ctx := s.questions(), t.Context()
	s.ask(t, "q", "p0", "How?")
	parked, err := c.ParkQuestion(ctx, &stillroomv1.ParkQuestionRequest{Name: question("q")})
	require.NoError(t, err)
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_PARKED, parked.GetState())
	_, err = c.ReopenQuestion(ctx, &stillroomv1.ReopenQuestionRequest{Name: question("q"), Etag: "v1"})
	requireCode(t, codes.Aborted, err)
	_, err = c.ReopenQuestion(ctx, &stillroomv1.ReopenQuestionRequest{Name: question("q"), Etag: parked.GetEtag()})
	require.NoError(t, err)
	_, err = c.SkipQuestion(ctx, &stillroomv1.SkipQuestionRequest{Name: question("q")})
	requireCode(t, codes.FailedPrecondition, err)
	_, err = c.PublishAnswer(ctx, &stillroomv1.PublishAnswerRequest{Name: question("q"), Reviewer: "R", Audience: stillroomv1.AnswerAudience_ANSWER_AUDIENCE_CLASS})
	requireCode(t, codes.FailedPrecondition, err)
	_, err = c.AnswerQuestion(ctx, &stillroomv1.AnswerQuestionRequest{Name: question("q"), Answer: &stillroomv1.Answer{Text: " "}})
	require.Equal(t, []string{"answer.text"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	answered := s.answer(t, "q", "So.")
	require.Equal(t, stillroomv1.AnswerAudience_ANSWER_AUDIENCE_ASKERS, answered.GetAnswer().GetAudience())
	_, err = c.WithdrawQuestion(ctx, &stillroomv1.WithdrawQuestionRequest{Name: question("q")})
	requireCode(t, codes.FailedPrecondition, err)
	published, err := c.PublishAnswer(ctx, &stillroomv1.PublishAnswerRequest{Name: question("q"), Reviewer: "R", Audience: stillroomv1.AnswerAudience_ANSWER_AUDIENCE_LIBRARY})
	require.NoError(t, err)
	require.Equal(t, "R", published.GetAnswer().GetReviewer())
	require.Equal(t, "So.", published.GetAnswer().GetText())
	published, err = c.PublishAnswer(ctx, &stillroomv1.PublishAnswerRequest{Name: question("q"), Reviewer: "R", Audience: stillroomv1.AnswerAudience_ANSWER_AUDIENCE_CLASS, Text: " Just so. "})
	require.NoError(t, err)
	require.Equal(t, "Just so.", published.GetAnswer().GetText())
	_, err = c.PublishAnswer(ctx, &stillroomv1.PublishAnswerRequest{Name: question("q"), Reviewer: "R", Audience: stillroomv1.AnswerAudience_ANSWER_AUDIENCE_CLASS, Text: "\x00"})
	require.Equal(t, []string{"text"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	reopened, err := c.ReopenQuestion(ctx, &stillroomv1.ReopenQuestionRequest{Name: question("q")})
	require.NoError(t, err)
	require.Nil(t, reopened.GetAnswer())
	// The answers that were reworded and taken back stay in the record.
	var steps, former []string
	for token := ""; ; {
		page, err := c.ListQuestionSteps(ctx, &stillroomv1.ListQuestionStepsRequest{Parent: question("q"), PageSize: 3, PageToken: token})
		require.NoError(t, err)
		for _, step := range page.GetSteps() {
			steps, former = append(steps, step.GetStep()+" "+step.GetHost()), append(former, step.GetFormer())
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	require.Equal(t, []string{"ask ", "park ", "undo ", "answer A host", "publish R", "publish R", "undo "}, steps)
	require.Equal(t, []string{"", "", "", "", "", "So.", "Just so."}, former)
	_, err = c.ListQuestionSteps(ctx, &stillroomv1.ListQuestionStepsRequest{Parent: question("ghost")})
	requireCode(t, codes.NotFound, err)
	_, err = c.WithdrawQuestion(ctx, &stillroomv1.WithdrawQuestionRequest{Name: question("q")})
	require.NoError(t, err)
	_, err = c.AnswerQuestion(ctx, &stillroomv1.AnswerQuestionRequest{Name: question("q"), Answer: &stillroomv1.Answer{Text: "Too late."}})
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "withdrawn")
	_, err = c.GetQuestion(ctx, &stillroomv1.GetQuestionRequest{Name: question("ghost")})
	requireCode(t, codes.NotFound, err)
	_, err = c.GetQuestion(ctx, &stillroomv1.GetQuestionRequest{Name: "kitchens/ghost/questions/q"})
	requireCode(t, codes.NotFound, err)
}

func TestQuestionsOutliveClassAndAsker(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 10)
	s.people(t, 2)
	s.ask(t, "a", "p0", "How?")
	s.ask(t, "b", "p1", "How much?")
	session, err := s.questions().CreateSession(t.Context(), &stillroomv1.CreateSessionRequest{Parent: theClass, Host: "H"})
	require.NoError(t, err)
	taken, err := s.questions().TakeNextQuestion(t.Context(), &stillroomv1.TakeNextQuestionRequest{Session: session.GetName(), Host: "H"})
	require.NoError(t, err)
	require.Equal(t, question("a"), taken.GetName())
	_, err = s.classes().DeleteClass(t.Context(), &stillroomv1.DeleteClassRequest{Name: theClass})
	require.NoError(t, err)
	_, err = s.rosters().DeleteParticipant(t.Context(), &stillroomv1.DeleteParticipantRequest{Name: person("p0")})
	require.NoError(t, err)
	a := s.get(t, "a")
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_ASKED, a.GetState())
	require.Empty(t, a.GetClass()+a.GetAsker()+a.GetSession()+a.GetHost())
	require.True(t, slices.Equal([]string{"a", "b"}, s.list(t, &stillroomv1.ListQuestionsRequest{})))
}

// TestAnswersReachTheirAudience: an answer for askers alone is read by who asked or
// endorsed, and by nobody else of the class, whichever way they look.
func TestAnswersReachTheirAudience(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	s.people(t, 3)
	q := s.ask(t, "q", "p0", "How long does mine keep?")
	_, err := s.questions().EndorseQuestion(t.Context(), &stillroomv1.EndorseQuestionRequest{Name: q.GetName(), Participant: person("p1")})
	require.NoError(t, err)
	const said = "Come and see me."
	s.answer(t, "q", said)
	read := func(viewer string) (texts []string) {
		got, err := s.questions().GetQuestion(t.Context(), &stillroomv1.GetQuestionRequest{Name: q.GetName(), Viewer: viewer})
		require.NoError(t, err)
		list, err := s.questions().ListQuestions(t.Context(), &stillroomv1.ListQuestionsRequest{Parent: "kitchens/k", Viewer: viewer})
		require.NoError(t, err)
		require.Equal(t, got.GetEndorsed(), list.GetQuestions()[0].GetEndorsed())
		require.Equal(t, viewer == person("p1"), got.GetEndorsed())
		return []string{got.GetAnswer().GetText(), list.GetQuestions()[0].GetAnswer().GetText()}
	}
	require.Equal(t, []string{said, said}, read(""), "hosts")
	require.Equal(t, []string{said, said}, read(person("p0")), "the asker")
	require.Equal(t, []string{said, said}, read(person("p1")), "who endorsed")
	require.Equal(t, []string{"", ""}, read(person("p2")), "somebody else")
	w := s.watch(t, &stillroomv1.WatchQuestionsRequest{Viewer: person("p2")})
	require.Nil(t, w.next(stillroomv1.WatchKind_WATCH_KIND_SNAPSHOT).GetQuestion().GetAnswer())
}
