package rpc

import (
	"bytes"
	"encoding/json"
	"testing"
	"time"

	"github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func (s *testServer) publish(t testing.TB, id string, audience stillroomv1.AnswerAudience) {
	t.Helper()
	_, err := s.questions().PublishAnswer(t.Context(), &stillroomv1.PublishAnswerRequest{Name: question(id), Audience: audience, Reviewer: "R"})
	require.NoError(t, err)
}

func (s *testServer) answeredQuestions(t testing.TB) {
	t.Helper()
	s.setTable(t, 20)
	s.people(t, 5)
	s.ask(t, "headspace", "p0", "How much headspace does the salsa need?")
	s.ask(t, "lids", "p1", "Can lids be used twice?")
	s.ask(t, "park", "p2", "Where do I park?")
	s.ask(t, "secret", "p3", "Can I pay for the salsa class later?")
	s.answer(t, "headspace", "Half an inch, as the salsa procedures print.")
	s.answer(t, "lids", "No: a new flat lid each time; bands may be used again.")
	s.answer(t, "park", "Behind the house.")
	s.answer(t, "secret", "Yes, talk to us.")
	s.publish(t, "headspace", stillroomv1.AnswerAudience_ANSWER_AUDIENCE_LIBRARY)
	s.publish(t, "lids", stillroomv1.AnswerAudience_ANSWER_AUDIENCE_LIBRARY)
	s.publish(t, "park", stillroomv1.AnswerAudience_ANSWER_AUDIENCE_CLASS)
}

func TestSuggestAnswersWhileTyping(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.answeredQuestions(t)
	suggest := func(text, class string) (*stillroomv1.SuggestAnswersResponse, []string) {
		reply, err := s.questions().SuggestAnswers(t.Context(), &stillroomv1.SuggestAnswersRequest{Parent: "kitchens/k", Text: text, Class: class})
		require.NoError(t, err)
		var ids []string
		for i, a := range reply.GetAnswers() {
			ids = append(ids, a.GetQuestion().GetName()[len(question("")):])
			require.NotEmpty(t, a.GetQuestion().GetAnswer().GetText())
			require.Empty(t, a.GetQuestion().GetAsker(), "who asked is nobody's business here")
			require.InDelta(t, 0.5, a.GetScore(), 0.5)
			if i > 0 {
				require.LessOrEqual(t, a.GetScore(), reply.GetAnswers()[i-1].GetScore())
			}
		}
		return reply, ids
	}
	for text, want := range map[string]string{
		"headspace salsa":              "headspace",
		"what headspace for my salsas": "headspace",
		"how much hedspace salsa":      "headspace", // misspelt: by letters
		"headsp":                       "headspace", // half typed
		"may I reuse lids":             "lids",
		"flat lid":                     "lids", // only in the answer
	} {
		_, ids := suggest(text, "")
		require.NotEmpty(t, ids, text)
		require.Equal(t, want, ids[0], text)
		require.NotContains(t, ids, "secret")
	}
	_, ids := suggest("where to park", "")
	require.Empty(t, ids, "published to the class only")
	_, ids = suggest("where to park", theClass)
	require.Equal(t, []string{"park"}, ids)
	reply, _ := suggest("my jar did not seal :* & ! | <-> (", "")
	require.Equal(t, "unsealed", reply.GetNotices()[0].GetRule(), "what cannot wait is said while typing")
	_, err := s.questions().SuggestAnswers(t.Context(), &stillroomv1.SuggestAnswersRequest{Parent: "kitchens/k", Text: "\x00"})
	require.Equal(t, []string{"text"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
}

func TestAnsweredInWritingIsWorthLess(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.answeredQuestions(t)
	s.ask(t, "again", "p4", "What headspace does salsa need?")
	order, err := s.questions().PlanRunningOrder(t.Context(), &stillroomv1.PlanRunningOrderRequest{Class: theClass})
	require.NoError(t, err)
	require.Len(t, order.GetPositions(), 1)
	require.EqualValues(t, 3, order.GetPositions()[0].GetWorth(), "30 percent of 10")
	require.EqualValues(t, 60, order.GetPositions()[0].GetShareSeconds())
	require.Contains(t, order.GetPositions()[0].GetWhy(), "a written answer exists")
}

func TestSuggestGroupsOfOpenQuestions(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 20)
	s.people(t, 4)
	s.ask(t, "a", "p0", "How much headspace for salsa?")
	s.ask(t, "b", "p1", "Where do I park?")
	s.ask(t, "c", "p2", "What headspace does the salsa need?")
	_, err := s.questions().EndorseQuestion(t.Context(), &stillroomv1.EndorseQuestionRequest{Name: question("c"), Participant: person("p3")})
	require.NoError(t, err)
	reply, err := s.questions().SuggestGroups(t.Context(), &stillroomv1.SuggestGroupsRequest{Parent: "kitchens/k", Class: theClass})
	require.NoError(t, err)
	require.Len(t, reply.GetGroups(), 1)
	require.Equal(t, []string{question("c"), question("a")}, reply.GetGroups()[0].GetQuestions())
	require.Equal(t, "How much headspace for salsa?", reply.GetGroups()[0].GetTexts()[1])
	require.GreaterOrEqual(t, reply.GetGroups()[0].GetLikeness(), reply.GetThreshold())
}

func TestExportAnswers(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.answeredQuestions(t)
	export := func(format stillroomv1.AnswerFormat, class string, audience stillroomv1.AnswerAudience) *stillroomv1.ExportAnswersResponse {
		reply, err := s.questions().ExportAnswers(t.Context(), &stillroomv1.ExportAnswersRequest{Parent: "kitchens/k", Format: format, Class: class, Audience: audience})
		require.NoError(t, err)
		return reply
	}
	reply := export(stillroomv1.AnswerFormat_ANSWER_FORMAT_JSON, "", 0)
	var data struct {
		Answers []struct {
			ID      string
			Sources []struct{ Title string }
		}
	}
	require.NoError(t, json.Unmarshal(reply.GetContent(), &data))
	require.Len(t, data.Answers, 2)
	require.Equal(t, "USDA AIB 539 (rev. 2015)", data.Answers[0].Sources[0].Title)
	require.EqualValues(t, 3, export(stillroomv1.AnswerFormat_ANSWER_FORMAT_CSV, theClass, stillroomv1.AnswerAudience_ANSWER_AUDIENCE_CLASS).GetAnswerCount())
	page := export(stillroomv1.AnswerFormat_ANSWER_FORMAT_MARKDOWN, theClass, stillroomv1.AnswerAudience_ANSWER_AUDIENCE_ASKERS)
	require.EqualValues(t, 4, page.GetAnswerCount())
	require.True(t, bytes.HasPrefix(page.GetContent(), []byte("# Answers: A class\n")))
	_, err := s.questions().ExportAnswers(t.Context(), &stillroomv1.ExportAnswersRequest{Parent: "kitchens/k"})
	require.Equal(t, []string{"format"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
}

func TestExportClassCalendar(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 10)
	live := testNow.AddDate(0, 0, 10)
	_, err := s.classes().UpdateClass(t.Context(), &stillroomv1.UpdateClassRequest{Class: &stillroomv1.Class{
		Name: theClass, LiveSessionTime: timestamppb.New(live), LiveSessionMinutes: 45}})
	require.NoError(t, err)
	reply, err := s.questions().ExportClassCalendar(t.Context(), &stillroomv1.ExportClassCalendarRequest{Class: theClass})
	require.NoError(t, err)
	require.Equal(t, "c.ics", reply.GetFileName())
	calendar, err := ical.NewDecoder(bytes.NewReader(reply.GetContent())).Decode()
	require.NoError(t, err)
	events := calendar.Events()
	require.Len(t, events, 3)
	start, err := events[1].DateTimeStart(time.UTC)
	require.NoError(t, err)
	require.True(t, live.Equal(start))
	end, err := events[2].DateTimeEnd(time.UTC)
	require.NoError(t, err)
	require.True(t, testNow.AddDate(0, 0, 7).Add(24*time.Hour).Equal(end), "24 hours from the class's start")
	_, err = s.questions().ExportClassCalendar(t.Context(), &stillroomv1.ExportClassCalendarRequest{Class: "kitchens/k/classes/ghost"})
	requireCode(t, codes.NotFound, err)
}

// While typing about a class, what follows from its recipes and the tables is worked out.
func TestSuggestAnswersWorksOutTheProcess(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 10)
	ctx := t.Context()
	adopted, err := stillroomv1.NewRecipeServiceClient(s.conn).AdoptRecipe(ctx, &stillroomv1.AdoptRecipeRequest{Parent: "kitchens/k", PublishedRecipe: "publishedRecipes/chile_salsa", RecipeId: "salsa"})
	require.NoError(t, err)
	_, err = s.classes().CreateBatch(ctx, &stillroomv1.CreateBatchRequest{Parent: theClass, Batch: &stillroomv1.Batch{
		Station: theClass + "/stations/a", RecipeRevision: adopted.GetName() + "/revisions/1", JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, Jars: 7}})
	require.NoError(t, err)
	ask := func(class string) *stillroomv1.SuggestAnswersResponse {
		reply, err := s.questions().SuggestAnswers(ctx, &stillroomv1.SuggestAnswersRequest{Parent: "kitchens/k", Class: class, Text: "How long do I process the salsa?"})
		require.NoError(t, err)
		return reply
	}
	reply := ask(theClass)
	require.Len(t, reply.GetComputed(), 1)
	require.Contains(t, reply.GetComputed()[0].GetText(), "No canner of the class", "a class without canners has no process")
	_, err = stillroomv1.NewEquipmentServiceClient(s.conn).CreateEquipment(ctx, &stillroomv1.CreateEquipmentRequest{Parent: "kitchens/k", EquipmentId: "canner", Equipment: &stillroomv1.Equipment{
		DisplayName: "Big canner", Kind: "canner", OwnedCount: 1, Canner: &stillroomv1.CannerDetails{
			Methods:    []stillroomv1.ProcessMethod{stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER},
			Capacities: []*stillroomv1.JarCapacity{{JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, Jars: 9}}}}})
	require.NoError(t, err)
	reply = ask(theClass)
	// USDA AIB 539 (rev. 2015), Guide 3, p. 3-21: pints 20 minutes at 1,001 to 6,000 ft; the site is at 5,280 ft.
	require.Contains(t, reply.GetComputed()[0].GetText(), "at 5,280 ft: 20 min by boiling water")
	require.Contains(t, reply.GetComputed()[0].GetSources()[0].GetLocator(), "Guide 3, p. 3-21")
	require.NotEmpty(t, reply.GetComputed()[0].GetCautions())
	require.Empty(t, ask("").GetComputed(), "without a class nothing is worked out")
	_, err = s.questions().SuggestAnswers(ctx, &stillroomv1.SuggestAnswersRequest{Parent: "kitchens/k", Class: "kitchens/k/classes/ghost", Text: "How long do I process pints?"})
	requireCode(t, codes.NotFound, err)
}
