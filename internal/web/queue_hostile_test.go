package web_test

import (
	"net/http"
	"net/url"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/webtest"
)

// What people ask, answer and call themselves stays text on the board, among the questions
// and in the live session; so do the names of recipes, stations, canners and classes.
func TestHostileQuestionsAndTitlesStayText(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	ctx := t.Context()
	classes, client := stillroomv1.NewClassServiceClient(k.Conn), stillroomv1.NewQuestionServiceClient(k.Conn)
	_, err := classes.UpdateClass(ctx, &stillroomv1.UpdateClassRequest{Class: &stillroomv1.Class{Name: webtest.Class, DisplayName: "C" + hostile[:40] + "\u202e"}})
	require.NoError(t, err)
	_, err = classes.UpdateStation(ctx, &stillroomv1.UpdateStationRequest{Station: &stillroomv1.Station{Name: webtest.Class + "/stations/bench-1", DisplayName: "B" + hostile[:40] + "\u202e"}})
	require.NoError(t, err)
	_, err = stillroomv1.NewRecipeServiceClient(k.Conn).UpdateRecipe(ctx, &stillroomv1.UpdateRecipeRequest{Recipe: &stillroomv1.Recipe{Name: webtest.Relish, Title: "R" + hostile}})
	require.NoError(t, err)
	equipment := stillroomv1.NewEquipmentServiceClient(k.Conn)
	_, err = equipment.UpdateEquipment(ctx, &stillroomv1.UpdateEquipmentRequest{Equipment: &stillroomv1.Equipment{Name: webtest.Name + "/equipment/wide-canner", DisplayName: "W" + hostile[:40] + "\u202e"}})
	require.NoError(t, err)
	_, err = stillroomv1.NewRosterServiceClient(k.Conn).UpdateParticipant(ctx, &stillroomv1.UpdateParticipantRequest{Participant: &stillroomv1.Participant{
		Name: k.Participant("Bashir Thornquist"), DisplayName: "P" + hostile}})
	require.NoError(t, err)
	planClass(t, k)
	askOne(t, k, "first", "Bashir Thornquist", "Q1 jar did not seal"+hostile)
	askOne(t, k, "second", "Isolde Prakash-Winter", "Q2"+hostile)
	askOne(t, k, "third", "Horatio Mbeki-Lunde", "Q3"+hostile)
	_, err = client.UpdateQuestion(ctx, &stillroomv1.UpdateQuestionRequest{Question: &stillroomv1.Question{Name: webtest.Name + "/questions/second", Topic: "T" + hostile[:40] + "\u202e"}})
	require.NoError(t, err)
	_, err = client.MergeQuestions(ctx, &stillroomv1.MergeQuestionsRequest{Name: webtest.Name + "/questions/second", Others: []string{webtest.Name + "/questions/third"}})
	require.NoError(t, err)
	_, err = client.AnswerQuestion(ctx, &stillroomv1.AnswerQuestionRequest{Name: webtest.Name + "/questions/second", Answer: &stillroomv1.Answer{
		Text: "A" + hostile + "\rdata: x\n\nevent: swap", AnsweredBy: "H" + hostile, Sources: []*stillroomv1.Source{{Publication: "S" + hostile, Locator: hostile}}}})
	require.NoError(t, err)
	_, err = client.CreateSession(ctx, &stillroomv1.CreateSessionRequest{Parent: webtest.Class, SessionId: "s", Host: "H" + hostile})
	require.NoError(t, err)
	_, err = client.TakeNextQuestion(ctx, &stillroomv1.TakeNextQuestionRequest{Session: webtest.Class + "/sessions/s", Host: "H" + hostile})
	require.NoError(t, err)

	b := k.Browser(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	for _, at := range [][2]string{
		{"/board", "B\"'><x-hostile"}, {"/board/1", "W\"'><x-hostile"}, {"/questions", "Q1 jar did not seal\"'><x-hostile"},
		{"/question/second", "A\"'><x-hostile"}, {"/question/first", "Q1 jar"}, {"/live", "H\"'><x-hostile"}, {"/live?watch=yes", "Q1 jar"},
	} {
		path, sees := at[0], at[1]
		b.Open("/" + webtest.Class + path)
		b.WaitFor(`document.body && document.body.textContent.includes(` + strconv.Quote(sees) + `)`)
		require.Empty(t, b.Value(inertHere), path)
		// The same once the parts that are live have come.
		askOne(t, k, "", "Isolde Prakash-Winter", "Q"+path+hostile)
		if path == "/questions" || path == "/live" {
			b.WaitFor(`document.body.textContent.includes(` + strconv.Quote("Q"+path+"\"'><x-hostile") + `)`)
			require.Empty(t, b.Value(inertHere), path)
		}
		b.Accessible()
	}

	// What comes in by forms, and comes back in a refusal.
	c := k.Client(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	for path, form := range map[string]url.Values{
		"/board/1/replan":        {"now": {hostile}, "lost": {hostile}, "load-1-1-in": {hostile}},
		"/board/1/what-if":       {"prepare_minutes": {hostile}, "seconds": {hostile}},
		"/question/first/edit":   {"text": {hostile}, "topic": {hostile}, "minutes": {hostile}, "order": {hostile}},
		"/question/first/step":   {"do": {hostile}},
		"/questions/order":       {"minutes": {hostile}},
		"/question/first/answer": {"text": {""}, "host": {hostile}, "publication-1": {hostile}},
	} {
		page := sendForm(t, c, http.StatusUnprocessableEntity, k.URL+"/"+webtest.Class+path, form)
		require.NotContains(t, page, "<x-hostile", path)
		require.NotContains(t, page, "<script>window", path)
	}
}
