package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/durationpb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/webtest"
)

// Ximena and Tobiah share a bench of the class of SetUp.
const ximena, tobiah = "Ximena Okoro-Vale", "Tobiah Lindqvist-Rao"

// planned makes a load plan of the class of SetUp.
func planned(t *testing.T, k *webtest.Kitchen) *stillroomv1.LoadPlan {
	t.Helper()
	stream, err := stillroomv1.NewLoadServiceClient(k.Conn).PlanLoads(t.Context(), &stillroomv1.PlanLoadsRequest{
		Parent: webtest.Class, WorkLimit: 2000, TimeLimit: durationpb.New(30 * time.Second), SkipGains: true})
	require.NoError(t, err)
	for {
		m, err := stream.Recv()
		require.NoError(t, err)
		if plan := m.GetLoadPlan(); plan != nil {
			return plan
		}
	}
}

// TestAParticipantsPath goes from the link of an invitation to the seal check on a telephone.
func TestAParticipantsPath(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	plan := planned(t, k)
	_, err := stillroomv1.NewShoppingServiceClient(k.Conn).CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{
		Parent: webtest.Class, Settings: &stillroomv1.ShoppingSettings{BringOwn: []string{"jar_pint", "jar_half_pint"}}})
	require.NoError(t, err)
	secret := k.Invite(ximena)

	b := k.Browser("")
	b.Phone()
	b.Open("/join/" + secret)
	b.Sees("Your place")
	require.Equal(t, "/my", b.Path())
	require.NotContains(t, b.Value("location.href + document.referrer + document.documentElement.outerHTML"), secret)
	require.Equal(t, "2", b.Value("history.length"), "the blank page and this one: the link is not in between")
	b.Sees("bench-1")
	b.Sees("You share it with 1 other.")
	b.Sees("half-pint jars")
	b.Sees("Next: The class opens")
	b.Accessible()
	b.Screenshot("my-class")

	b.Click("Card")
	b.Sees("Spicy Cranberry Salsa")
	var cook string
	zone, err := time.LoadLocation("America/Denver")
	require.NoError(t, err)
	for _, p := range plan.GetBatches() {
		if strings.HasSuffix(p.GetStation(), "/bench-1") {
			cook = p.GetCookTime().AsTime().In(zone).Format("15:04")
			b.Sees(cook)
			b.Sees(p.GetLiddedTime().AsTime().In(zone).Format("15:04"))
		}
	}
	require.NotEmpty(t, cook)
	// Spicy Cranberry Salsa: 6 cups chopped red onion (University of Wisconsin / NCHFP sheet in the library of recipes).
	b.Sees("6 cups")
	b.Accessible()
	b.Screenshot("my-card")

	b.Click("Jars")
	b.Sees("Leave them undisturbed")
	b.Accessible()

	b.Click("At home")
	// Her home, 5,430 ft, is on the roster; the class stands at 5,430 ft too.
	b.Click("Look it up")
	b.Sees("Boiling water")
	// Pickled pepper-onion relish and cranberry salsa both print 1,001 to 6,000 ft.
	b.Sees("1,001-6,000 ft")
	b.Accessible()
	b.Screenshot("my-home")
	b.Fill("altitude", "eleven")
	b.Click("Look it up")
	b.Sees("Write your altitude as a number")
	b.Accessible()
	b.Fill("altitude", "7,050")
	b.Fill("unit", "ft")
	b.Click("Look it up")
	b.Sees("above 6,000 ft")
	b.Click("Remember this altitude")
	b.Sees("is kept with your name")
	person, err := stillroomv1.NewRosterServiceClient(k.Conn).GetParticipant(t.Context(), &stillroomv1.GetParticipantRequest{Name: k.Participant(ximena)})
	require.NoError(t, err)
	require.InDelta(t, 2148.84, person.GetHomeAltitude().GetMetres(), 1e-9, "7,050 ft of 0.3048 m")

	// The day after: thirteen hours after the last jar is out.
	k.SetNow(plan.GetOutcome().GetFinishTime().AsTime().Add(13 * time.Hour))
	b.Click("Jars")
	b.Sees("Did each jar seal?")
	b.Accessible()
	b.Screenshot("my-jars")
	batch := b.Value(`document.querySelector("section.label[id^=batch-] form").closest("section").id`)
	first := `document.getElementById("` + batch + `")`
	b.Value(first + `.querySelectorAll("input[value=yes]").forEach(i => i.click())`)
	b.Value(first + `.querySelector("input[value=no]").click()`)
	b.Value(first + `.querySelector("button").click()`)
	b.Sees("1 jar did not seal")
	b.Sees("may be reprocessed within 24 hours")
	b.Sees("USDA AIB 539 (rev. 2015), Guide 1, p. 1-26")
	b.Accessible()
	b.Screenshot("my-seals")
	told, err := stillroomv1.NewSealServiceClient(k.Conn).ListSealChecks(t.Context(), &stillroomv1.ListSealChecksRequest{Parent: webtest.Class})
	require.NoError(t, err)
	require.Len(t, told.GetSealChecks(), 1)
	require.EqualValues(t, 1, told.GetSealChecks()[0].GetUnsealedJars())
	require.Equal(t, k.Participant(ximena), told.GetSealChecks()[0].GetParticipant())

	// Two days after, the advice is another.
	k.SetNow(plan.GetOutcome().GetFinishTime().AsTime().Add(48 * time.Hour))
	b.Open("/my/jars")
	b.Sees("are over")
	b.Sees("not tasted")
}

// TestAskingIsSeenElsewhere: what one participant asks, the instructors' queue and another's telephone show, also after the
// server went away and came back.
func TestAskingIsSeenElsewhere(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	asks, watches := k.Browser(""), k.Browser("")
	for b, who := range map[*webtest.Browser]string{asks: ximena, watches: tobiah} {
		b.Phone()
		b.Open("/join/" + k.Invite(who))
		b.Sees("Your place")
		b.Open("/my/questions")
		b.Sees("What others want to know")
	}
	asks.Fill("text", "One of my jars has not sealed and it is the next morning. What now?")
	asks.Click("Keep my name")
	asks.Click("Send it")
	asks.Sees("marked as one that cannot wait")
	asks.Sees("Until your instructor answers:")
	asks.Accessible()
	asks.Screenshot("my-questions")
	watches.Sees("has not sealed and it is the next morning")
	watches.SeesNot("Ximena")
	queue := func() *stillroomv1.Question {
		list, err := stillroomv1.NewQuestionServiceClient(k.Conn).ListQuestions(t.Context(), &stillroomv1.ListQuestionsRequest{Parent: webtest.Name})
		require.NoError(t, err)
		require.Len(t, list.GetQuestions(), 1)
		return list.GetQuestions()[0]
	}
	require.True(t, queue().GetUrgent())
	require.Equal(t, ximena, queue().GetAskerDisplayName(), "the instructor knows")
	watches.Click("Me too")
	watches.Sees("You want to know too.")
	watches.Accessible()
	require.EqualValues(t, 1, queue().GetEndorsementCount())
	asks.Sees("2 people want to know")

	// The server goes away while somebody types; nothing is lost, and it is asked once.
	k.Stop()
	asks.Fill("text", "And how hot must the water be?")
	asks.Click("Send it")
	asks.Sees("It was not sent: there is no connection.")
	k.Start()
	asks.Click("Send it")
	asks.Sees("Your question is in the queue.")
	watches.Sees("how hot must the water be")
	_, err := stillroomv1.NewQuestionServiceClient(k.Conn).AnswerQuestion(t.Context(), &stillroomv1.AnswerQuestionRequest{Name: queueOf(t, k, "hot must").GetName(),
		Answer: &stillroomv1.Answer{Text: "At a rolling boil.", AnsweredBy: "Ines"}})
	require.NoError(t, err)
	asks.Sees("At a rolling boil.")
	watches.SeesNot("how hot must the water be") // an answer for askers alone
	_, err = stillroomv1.NewQuestionServiceClient(k.Conn).PublishAnswer(t.Context(), &stillroomv1.PublishAnswerRequest{
		Name: queueOf(t, k, "hot must").GetName(), Audience: stillroomv1.AnswerAudience_ANSWER_AUDIENCE_CLASS, Reviewer: "Ines"})
	require.NoError(t, err)
	watches.Sees("At a rolling boil.")
	asks.Click("Take it back")
	asks.Sees("Your question is taken back.")
	watches.SeesNot("next morning")
}

// queueOf is the question whose text holds some words.
func queueOf(t *testing.T, k *webtest.Kitchen, words string) *stillroomv1.Question {
	t.Helper()
	list, err := stillroomv1.NewQuestionServiceClient(k.Conn).ListQuestions(t.Context(), &stillroomv1.ListQuestionsRequest{Parent: webtest.Name})
	require.NoError(t, err)
	for _, q := range list.GetQuestions() {
		if strings.Contains(q.GetText(), words) {
			return q
		}
	}
	require.Fail(t, "no such question", words)
	return nil
}

// TestWithoutScripts: reading, looking for an answer, asking and telling of seals need no script.
func TestWithoutScripts(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	plan := planned(t, k)
	secret := k.Invite(ximena)
	b := k.Browser("")
	b.Phone()
	b.WithoutScripts()
	b.Open("/join/" + secret)
	b.Sees("Your place")
	b.Click("Ask")
	b.Fill("text", "How long do I process pints of the cranberry salsa?")
	b.Click("Is it answered already?")
	b.Sees("Ask all the same.")
	b.Click("Send it")
	b.Sees("Your question is in the queue.")
	b.Sees("What you asked")
	b.Click("Card")
	b.Sees("Start cooking")
	k.SetNow(plan.GetOutcome().GetFinishTime().AsTime().Add(13 * time.Hour))
	b.Click("Jars")
	b.Sees("Did each jar seal?")
	b.Click("sealed")
	b.Click("Tell the kitchen")
	b.Sees("You said: 1 sealed")
	plain := k.Client(secret)
	page, _ := read(t, plain, k.URL+"/my/questions")
	require.Contains(t, page, `name="request"`)
	page, _ = send(t, plain, k.URL+"/my/questions", url.Values{"text": {"How long do I process pints of the cranberry salsa?"}, "do": {"look"}, "request": {"x"}})
	require.Contains(t, page, "How long do I process pints of the cranberry salsa?</textarea>", "what was typed stays")
	require.Contains(t, page, `class="answer"`)
	page, _ = send(t, plain, k.URL+"/my/questions", url.Values{"text": {strings.Repeat("a", 2001)}, "request": {"x"}})
	require.Contains(t, page, strings.Repeat("a", 2001)+"</textarea>")
	require.Contains(t, page, `class="problem"`)
	page, _ = send(t, plain, k.URL+"/my/questions", url.Values{"text": {"May I use my own jars?"}, "request": {"2b1c8a52-1111-4222-8333-944455556677"}})
	require.Contains(t, page, "Your question is in the queue.")
	send(t, plain, k.URL+"/my/questions", url.Values{"text": {"May I use my own jars?"}, "request": {"2b1c8a52-1111-4222-8333-944455556677"}})
	list, err := stillroomv1.NewQuestionServiceClient(k.Conn).ListQuestions(t.Context(), &stillroomv1.ListQuestionsRequest{Parent: webtest.Name})
	require.NoError(t, err)
	require.Len(t, list.GetQuestions(), 2, "sent twice, asked once")

	// The database goes away: the words stay, with the request that makes sending again harmless.
	k.Store.Close()
	page, code := send(t, plain, k.URL+"/my/questions", url.Values{"text": {"Are my words <lost>?"}, "unnamed": {"yes"}, "request": {"2b1c8a52-1111-4222-8333-944455556678"}})
	require.GreaterOrEqual(t, code, http.StatusInternalServerError)
	require.Contains(t, page, "Are my words &lt;lost&gt;?</textarea>")
	require.Contains(t, page, `value="2b1c8a52-1111-4222-8333-944455556678"`)
	require.Contains(t, page, `name="unnamed" value="yes" checked`)
}
