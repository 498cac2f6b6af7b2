package web_test

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/webtest"
)

const livePath = "/" + webtest.Class + "/live"

// A live session from opening to closing with the keyboard alone, while a co-host watches in large type.
func TestLiveSessionByKeyboard(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	askAll(t, k)
	b := k.Browser(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	watcher := k.Browser(k.Token(stillroomv1.Role_ROLE_ASSISTANT))
	watcher.Open(livePath + "?watch=yes")
	watcher.Sees("No live session is open")
	b.Open(livePath)
	b.Accessible()
	b.TabTo("for a test")
	runScript(b, `document.activeElement.select()`)
	b.Press("Ines", kb.Tab, kb.Enter)
	b.Sees("The live session is open.")
	watcher.Sees("open since")

	// Tab leads to the button; from then on keys are enough.
	b.TabTo("Take the next question")
	b.Press(kb.Enter)
	b.WaitFor(`document.querySelector(".now-text")`)
	urgent := question(t, k, "unsealed")
	require.Equal(t, urgent.GetText(), b.Value(`document.querySelector(".now-text").textContent`), "what cannot wait comes first")
	require.Equal(t, "Ines", urgent.GetHost())
	watcher.WaitFor(`document.querySelector(".now-text") && document.querySelector(".now-text").textContent.startsWith("One jar")`)
	require.Equal(t, "0", watcher.Value(`document.querySelectorAll("#live-view button").length`), "who watches has nothing to press")
	b.Accessible()
	watcher.Accessible()
	b.Screenshot("live")

	b.Press("a")
	require.Equal(t, "TEXTAREA", b.Value(`document.activeElement.tagName`))
	runScript(b, `document.activeElement.value = ""`) // the protocol types the letter too, although the page took the key
	b.Press("Keep it cold. Reprocess within 24 hours with a new lid, or refrigerate it.")
	b.Run(chromedp.KeyEvent(kb.Enter, chromedp.KeyModifiers(2)))
	b.WaitFor(`document.getElementById("live-answered").textContent === "1"`)
	b.WaitFor(`document.querySelector(".now-text") && !document.querySelector(".now-text").textContent.startsWith("One jar")`)
	watcher.WaitFor(`document.getElementById("live-answered").textContent === "1"`)
	answer := question(t, k, "unsealed").GetAnswer()
	require.Equal(t, "Keep it cold. Reprocess within 24 hours with a new lid, or refrigerate it.", answer.GetText())
	require.Equal(t, "Ines", answer.GetAnsweredBy())
	require.True(t, answer.GetSpoken())

	// The notes are gone with their question; the focus goes to the button that is always there.
	b.WaitFor(`document.activeElement.id === "take-next"`)
	taken := takenBy(t, k, "Ines")
	watcher.WaitFor(`document.getElementById("now-` + taken + `")`)
	b.WaitFor(`document.getElementById("now-` + taken + `")`)
	b.Press("p")
	b.WaitFor(`!document.querySelector(".now")`)
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_PARKED, question(t, k, taken).GetState())
	b.WaitFor(`document.activeElement.id === "take-next"`)
	b.Press("n")
	b.WaitFor(`document.querySelector(".now")`)
	back := takenBy(t, k, "Ines")
	watcher.WaitFor(`document.getElementById("now-` + back + `")`)
	b.WaitFor(`document.getElementById("now-` + back + `")`)
	b.Press("b")
	b.WaitFor(`!document.querySelector(".now")`)
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_ASKED, question(t, k, back).GetState())
	b.TabTo("Close the session")
	b.Press(kb.Enter)
	b.Sees("The live session is closed: 1 question was answered.")
	watcher.Sees("No live session is open")
	b.Accessible()
}

// takenBy is the id of the question that a host is answering.
func takenBy(t testing.TB, k *webtest.Kitchen, host string) string {
	t.Helper()
	reply, err := stillroomv1.NewQuestionServiceClient(k.Conn).ListQuestions(t.Context(), &stillroomv1.ListQuestionsRequest{
		Parent: webtest.Name, Class: webtest.Class, States: []stillroomv1.QuestionState{stillroomv1.QuestionState_QUESTION_STATE_TAKEN}})
	require.NoError(t, err)
	require.Len(t, reply.GetQuestions(), 1)
	require.Equal(t, host, reply.GetQuestions()[0].GetHost())
	name := reply.GetQuestions()[0].GetName()
	return name[len(webtest.Name+"/questions/"):]
}

// The server is stopped in the middle, a question is asked and another answered
// elsewhere, and the server is started again: the page that watches shows both, by itself.
func TestLiveViewOutlivesTheServer(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	askAll(t, k)
	client := stillroomv1.NewQuestionServiceClient(k.Conn)
	_, err := client.CreateSession(t.Context(), &stillroomv1.CreateSessionRequest{Parent: webtest.Class, SessionId: "evening", Host: "Ines"})
	require.NoError(t, err)
	_, err = client.TakeNextQuestion(t.Context(), &stillroomv1.TakeNextQuestionRequest{Session: webtest.Class + "/sessions/evening", Host: "Ines"})
	require.NoError(t, err)
	b := k.Browser(k.Token(stillroomv1.Role_ROLE_ASSISTANT))
	b.Open(livePath + "?watch=yes")
	b.WaitFor(`document.querySelector(".now-text").textContent.startsWith("One jar")`)
	askOne(t, k, "lids", "Kalliope Brightwater", "Can I reuse the lids from last year?")
	b.Sees("Can I reuse the lids from last year?")
	runScript(b, `window.sameVisit = true; window.opened = []; const Old = EventSource; window.EventSource = class extends Old { constructor(u) { super(u); window.opened.push(String(u)); } }`)

	k.Stop()
	b.Sees("The connection is lost; trying again…")
	k.Start()
	// Before the browser is back, which waits a second at least, things go on.
	_, err = stillroomv1.NewQuestionServiceClient(k.Conn).AnswerQuestion(t.Context(), &stillroomv1.AnswerQuestionRequest{
		Name: webtest.Name + "/questions/unsealed", Answer: &stillroomv1.Answer{Text: "Keep it cold.", AnsweredBy: "Ines"}})
	require.NoError(t, err)
	askOne(t, k, "empty", "Isolde Prakash-Winter", "Do I have to boil the empty jars first?")
	b.Sees("Do I have to boil the empty jars first?")
	b.WaitFor(`!document.querySelector(".now-text")`)
	b.WaitFor(`document.getElementById("live-answered").textContent === "1"`)
	b.SeesNot("The connection is lost")
	require.Equal(t, "true", b.Value("window.sameVisit"), "the page was not loaded anew")
	require.Regexp(t, `after=[0-9a-f]+-[0-9a-f]+$`, b.Value("window.opened[window.opened.length - 1]"), "it went on from the watch's token")
}

// Two hosts never get the same question, and a session is run with plain forms.
func TestLiveSessionWithoutScripts(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	askAll(t, k)
	ines, omar := k.Client(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR)), k.Client(k.Token(stillroomv1.Role_ROLE_ASSISTANT))
	at := k.URL + livePath
	says(t, sendForm(t, ines, http.StatusOK, at+"/open", url.Values{"host": {"Ines"}}), "The live session is open.")
	says(t, sendForm(t, omar, http.StatusConflict, at+"/open", url.Values{"host": {"Omar"}}), "Not as things stand")
	sessions, err := stillroomv1.NewQuestionServiceClient(k.Conn).ListSessions(t.Context(), &stillroomv1.ListSessionsRequest{Parent: webtest.Class})
	require.NoError(t, err)
	require.Len(t, sessions.GetSessions(), 1)
	session := sessions.GetSessions()[0].GetName()
	id := session[len(webtest.Class)+len("/sessions/"):]
	hosts := map[string]bool{}
	for range 2 {
		says(t, sendForm(t, ines, http.StatusOK, at+"/"+id+"/next", url.Values{"host": {"Ines"}}), "Here is the next question.")
		says(t, sendForm(t, omar, http.StatusOK, at+"/"+id+"/next", url.Values{"host": {"Omar"}}), "Here is the next question.")
	}
	for _, q := range asked {
		got := question(t, k, q.id)
		require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_TAKEN, got.GetState())
		hosts[got.GetHost()] = true
	}
	require.Len(t, hosts, 2)
	says(t, sendForm(t, omar, http.StatusOK, at+"/"+id+"/next", url.Values{}), "No question is left.")
	says(t, sendForm(t, omar, http.StatusOK, k.URL+"/"+webtest.Class+"/question/pots/answer",
		url.Values{"text": {"A year."}, "next": {session}, "host": {"Omar"}}), "The answer is recorded. No question is left.")
	says(t, sendForm(t, ines, http.StatusOK, at+"/"+id+"/close", url.Values{}), "The live session is closed: 1 question was answered.")
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_ASKED, question(t, k, "higher").GetState())
}
