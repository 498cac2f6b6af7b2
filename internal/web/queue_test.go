package web_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/webtest"
)

const queuePath = "/" + webtest.Class + "/questions"

// asked are questions of people on the roster, by the id they get.
var asked = []struct{ id, who, text string }{
	{"higher", "Bashir Thornquist", "Why does the process get longer higher up?"},
	{"altitude", "Isolde Prakash-Winter", "Why is the process longer higher up?"},
	{"unsealed", "Ximena Okoro-Vale", "One jar from last week did not seal overnight, the lid still clicks. What do I do with it?"},
	{"pots", "Horatio Mbeki-Lunde", "How big a pot do I need at home?"},
}

func askAll(t testing.TB, k *webtest.Kitchen) stillroomv1.QuestionServiceClient {
	t.Helper()
	client := stillroomv1.NewQuestionServiceClient(k.Conn)
	for _, q := range asked {
		askOne(t, k, q.id, q.who, q.text)
	}
	return client
}

func askOne(t testing.TB, k *webtest.Kitchen, id, who, text string) *stillroomv1.Question {
	t.Helper()
	q, err := stillroomv1.NewQuestionServiceClient(k.Conn).CreateQuestion(t.Context(), &stillroomv1.CreateQuestionRequest{
		Parent: webtest.Name, QuestionId: id, Question: &stillroomv1.Question{Class: webtest.Class, Asker: k.Participant(who), Text: text}})
	require.NoError(t, err)
	return q
}

func question(t testing.TB, k *webtest.Kitchen, id string) *stillroomv1.Question {
	t.Helper()
	q, err := stillroomv1.NewQuestionServiceClient(k.Conn).GetQuestion(t.Context(), &stillroomv1.GetQuestionRequest{Name: webtest.Name + "/questions/" + id})
	require.NoError(t, err)
	return q
}

// Triage stands on top with the rule and its source as the service says, and two browsers see what the other does: merging by keyboard, splitting, answering, publishing.
func TestQueueInTwoBrowsers(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	askAll(t, k)
	instructor := k.Token(stillroomv1.Role_ROLE_INSTRUCTOR)
	b, other := k.Browser(instructor), k.Browser(k.Token(stillroomv1.Role_ROLE_ASSISTANT))
	b.Open(queuePath)
	other.Open(queuePath)
	b.Sees("Cannot wait")
	require.Equal(t, "q-unsealed", b.Value(`document.querySelector("#queue-list [data-question]").id`), "what cannot wait is on top")
	notice := question(t, k, "unsealed").GetNotices()[0]
	card := b.Value(`document.getElementById("q-unsealed").textContent`)
	for _, text := range []string{notice.GetTitle(), notice.GetReason(), notice.GetAdvice(), notice.GetCaution(), notice.GetFacts()[0].GetStatement(),
		notice.GetFacts()[0].GetSource().GetPublication(), notice.GetFacts()[0].GetSource().GetLocator(), "Within 24 hours"} {
		require.Contains(t, card, text)
	}
	b.Accessible()
	b.Screenshot("questions")

	// Pick two that ask the same and merge them, by keys alone.
	at := func() string { return b.Value(`document.activeElement.id`) }
	runScript(b, `document.getElementById("queue-list").querySelector("[tabindex='0']").focus()`)
	require.Equal(t, "q-unsealed", at())
	b.Press(kb.ArrowDown)
	first := at()
	require.Contains(t, []string{"q-higher", "q-altitude"}, first)
	b.Press(" ", "j")
	second := at()
	require.Contains(t, []string{"q-higher", "q-altitude"}, second)
	b.Press(" ")
	require.Equal(t, "2 questions picked", b.Value(`document.getElementById("queue-say").textContent`))
	b.Press("m")
	into := strings.TrimPrefix(second, "q-")
	b.WaitFor(`document.querySelector("#` + second + ` .merged")`)
	other.WaitFor(`document.querySelector("#` + second + ` .merged")`)
	require.Equal(t, int32(2), question(t, k, into).GetAskerCount())
	merged := question(t, k, strings.TrimPrefix(first, "q-"))
	require.Equal(t, webtest.Name+"/questions/"+into, merged.GetMergedInto())
	b.WaitFor(`document.activeElement.id === "` + second + `"`)
	require.Contains(t, b.Value(`document.getElementById("`+second+`").innerText`), "2 people want to know")

	// Split it again, and set another aside.
	b.Press("s")
	b.WaitFor(`document.getElementById("` + first + `")`)
	other.WaitFor(`document.getElementById("` + first + `")`)
	require.Empty(t, question(t, k, strings.TrimPrefix(first, "q-")).GetMergedInto())
	runScript(b, `document.getElementById("q-pots").focus()`)
	b.Press("p")
	b.WaitFor(`document.getElementById("parked-title")`)
	other.WaitFor(`document.querySelector("[aria-labelledby=parked-title] #q-pots")`)
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_PARKED, question(t, k, "pots").GetState())
	b.WaitFor(`document.activeElement.id === "q-pots"`)
	b.Press("r")
	b.WaitFor(`!document.getElementById("parked-title")`)
	other.WaitFor(`!document.getElementById("parked-title")`)

	// Letter keys can be turned off; arrows go on.
	b.Click("Keys")
	b.Click("Letter keys are on")
	runScript(b, `document.getElementById("q-pots").focus()`)
	b.Press("p")
	b.Press(kb.ArrowUp)
	require.NotEqual(t, "q-pots", at())
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_ASKED, question(t, k, "pots").GetState())

	// The other browser answers from a draft; the first sees the answer and publishes it.
	other.Open("/" + webtest.Class + "/question/altitude")
	other.Click("Start from this")
	other.Sees("in the form below")
	require.NotEmpty(t, other.Value(`document.getElementById("publication-1").value`))
	other.Accessible()
	other.Screenshot("question")
	other.Fill("host", "Omar")
	other.Click("Record the answer")
	other.Sees("The answer is recorded.")
	b.WaitFor(`document.querySelector("[aria-labelledby=answered-title] #q-altitude")`)
	answer := question(t, k, "altitude").GetAnswer()
	require.Equal(t, "Omar", answer.GetAnsweredBy())
	require.NotEmpty(t, answer.GetSources())
	b.Open("/" + webtest.Class + "/question/altitude")
	b.Fill("reviewer", "Ines")
	b.Fill("audience", "library")
	b.Click("Publish")
	b.Sees("The answer is published.")
	require.Equal(t, stillroomv1.AnswerAudience_ANSWER_AUDIENCE_LIBRARY, question(t, k, "altitude").GetAnswer().GetAudience())
	b.Accessible()

	// Telephones.
	b.Phone()
	b.Open(queuePath)
	require.Equal(t, "true", b.Value(`document.documentElement.scrollWidth <= innerWidth`))
	b.Accessible()
	b.Screenshot("questions-phone")
}

// Everything works with plain forms, and what the service refuses is said in words.
func TestQueueWithoutScripts(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	client := askAll(t, k)
	c := k.Client(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	name := func(id string) string { return webtest.Name + "/questions/" + id }
	at := k.URL + queuePath
	one := func(id string) string { return k.URL + "/" + webtest.Class + "/question/" + id }

	page := sendForm(t, c, http.StatusOK, at, url.Values{"asker": {k.Participant("Gudrun Balasubramanian-Frye")}, "text": {"May I leave the sugar out?"}})
	says(t, page, "Asked.")
	says(t, sendForm(t, c, http.StatusUnprocessableEntity, at, url.Values{"asker": {k.Participant("Gudrun Balasubramanian-Frye")}, "text": {""}}), "problem")
	says(t, sendForm(t, c, http.StatusOK, at+"/merge", url.Values{"pick": {name("higher"), name("altitude")}}), "2 questions are in one now; 2 people want to know.")
	require.Equal(t, name("higher"), question(t, k, "altitude").GetMergedInto())
	says(t, sendForm(t, c, http.StatusUnprocessableEntity, at+"/merge", url.Values{"pick": {name("pots")}}), "pick at least two questions")
	says(t, sendForm(t, c, http.StatusOK, one("altitude")+"/step", url.Values{"do": {"split"}}), "It is a question of its own again.")
	says(t, sendForm(t, c, http.StatusConflict, one("altitude")+"/step", url.Values{"do": {"split"}}), "Not as things stand")
	says(t, sendForm(t, c, http.StatusUnprocessableEntity, one("altitude")+"/step", url.Values{"do": {"dance"}}), "choose what to do")
	says(t, sendForm(t, c, http.StatusOK, one("pots")+"/step", url.Values{"do": {"park"}}), "It is set aside.")
	says(t, sendForm(t, c, http.StatusOK, one("pots")+"/step", url.Values{"do": {"reopen"}}), "It is back in the queue.")

	// Edited, so that the running order takes it and gives it seven minutes.
	says(t, sendForm(t, c, http.StatusOK, one("pots")+"/edit", url.Values{"text": {"How big a pot do I need?"}, "topic": {"pots"}, "minutes": {"7"}, "order": {"in"}}), "The question is changed.")
	q := question(t, k, "pots")
	require.Equal(t, "How big a pot do I need?", q.GetText())
	require.Equal(t, int32(420), q.GetAnswerSeconds())
	require.True(t, q.GetPinned())
	says(t, sendForm(t, c, http.StatusUnprocessableEntity, one("pots")+"/edit", url.Values{"text": {"x"}, "minutes": {"soon"}}), "Answering takes 0 to 720 minutes")
	says(t, sendForm(t, c, http.StatusUnprocessableEntity, one("pots")+"/edit", url.Values{"text": {"x"}, "etag": {"old"}}), "problem")

	// The order on the page is the service's.
	order, err := client.PlanRunningOrder(t.Context(), &stillroomv1.PlanRunningOrderRequest{Class: webtest.Class, SessionMinutes: 12})
	require.NoError(t, err)
	page = fetchPage(t, c, at+"?minutes=12")
	_, section, _ := strings.Cut(page, `id="queue-order"`)
	for _, p := range order.GetPositions() {
		says(t, section, fmt.Sprintf(`<td class="number">%d:%02d</td><td class="number">%d:%02d</td>`, p.GetStartSeconds()/60, p.GetStartSeconds()%60, p.GetShareSeconds()/60, p.GetShareSeconds()%60))
	}
	says(t, section, fmt.Sprintf("%d:%02d of 12:00 minutes are used", order.GetUsedSeconds()/60, order.GetUsedSeconds()%60))
	says(t, fetchPage(t, c, at+"?minutes=-3"), "The time for questions is 1 to 720 minutes.")
	says(t, sendForm(t, c, http.StatusOK, at+"/order", url.Values{"minutes": {"12"}}), fmt.Sprintf("The order of %d questions is stored", len(order.GetPositions())))

	// An answer, its file, and the calendar, with names that are safe to keep.
	says(t, sendForm(t, c, http.StatusUnprocessableEntity, one("higher")+"/answer", url.Values{"text": {""}}), "problem")
	says(t, sendForm(t, c, http.StatusOK, one("higher")+"/answer", url.Values{"text": {"Water boils cooler."}, "publication-1": {"IAPWS-IF97"}, "locator-1": {"region 4"}}), "The answer is recorded.")
	says(t, fetchPage(t, c, at+"/export?format=csv&audience=askers"), "Water boils cooler.")
	reply, err := c.Get(at + "/export?format=markdown&audience=askers")
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	require.Equal(t, "text/markdown; charset=utf-8", reply.Header.Get("Content-Type"))
	require.Regexp(t, `^attachment; filename="?[a-z0-9.-]+"?$`, reply.Header.Get("Content-Disposition"))
	says(t, fetchPage(t, c, at+"/calendar"), "BEGIN:VCALENDAR")

	// What is open goes over to the general questions.
	says(t, sendForm(t, c, http.StatusOK, at+"/carry", url.Values{}), "4 questions were carried over.")
	require.Empty(t, question(t, k, "pots").GetClass())
	says(t, fetchPage(t, c, at), "Questions of the kitchen about no class (4)")
	says(t, fetchPage(t, c, one("pots")), "carried over from another class")
}
