package web_test

import (
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/webtest"
)

var myPaths = []string{"/my", "/my/card", "/my/jars", "/my/home", "/my/questions"}

// read gives a page's text and its code.
func read(t *testing.T, c *http.Client, address string) (string, int) {
	t.Helper()
	reply, err := c.Get(address)
	require.NoError(t, err)
	text, err := io.ReadAll(reply.Body)
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	return string(text), reply.StatusCode
}

// send sends a form and gives the text and the code of the page that follows.
func send(t *testing.T, c *http.Client, address string, values url.Values) (string, int) {
	t.Helper()
	reply, err := c.PostForm(address, values)
	require.NoError(t, err)
	text, err := io.ReadAll(reply.Body)
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	return string(text), reply.StatusCode
}

// TestMyPagesFitATelephone: by day and by night and in letters of twice the size nothing
// runs out of the screen, and axe-core finds nothing.
func TestMyPagesFitATelephone(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	plan := planned(t, k)
	questions := stillroomv1.NewQuestionServiceClient(k.Conn)
	for who, text := range map[string]string{ximena: "How much headspace does the relish need?", tobiah: "One of my jars did not seal overnight. Can I still save it?"} {
		_, err := questions.CreateQuestion(t.Context(), &stillroomv1.CreateQuestionRequest{Parent: webtest.Name, Question: &stillroomv1.Question{
			Text: text, Asker: k.Participant(who), Class: webtest.Class}})
		require.NoError(t, err)
	}
	b := k.Browser("")
	b.Phone()
	b.Open("/join/" + k.Invite(ximena))
	b.Sees("Your place")
	k.SetNow(plan.GetOutcome().GetFinishTime().AsTime().Add(13 * time.Hour))
	fits := func() {
		require.Empty(t, b.Value(`[...document.querySelectorAll("body *")].filter(e => e.checkVisibility() && e.getBoundingClientRect().right > 391 && !e.closest(".unseen, .skip")).map(e => e.outerHTML.slice(0, 120)).join("\n")`), b.Path())
		b.Accessible()
	}
	look := append([]string{"/my/home?altitude=5430&unit=ft&jar=recipes%2Fcranberry-salsa%2Frevisions%2F1+2"}, myPaths...)
	for _, path := range look {
		name := strings.NewReplacer("/", "-", "?", "").Replace(strings.SplitN(path, "=", 2)[0][1:])
		b.Open(path)
		fits()
		b.Screenshot("day-" + name)
		b.LargeText()
		fits()
		b.Screenshot("large-" + name)
	}
	b.Dark()
	for _, path := range look {
		b.Open(path)
		fits()
		b.Screenshot("night-" + strings.NewReplacer("/", "-", "?", "").Replace(strings.SplitN(path, "=", 2)[0][1:]))
	}
}

// TestOnlyOnesOwn: a participant's pages hold nothing of another participant, and the
// addresses of others, of the class and of the kitchen open nothing.
func TestOnlyOnesOwn(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	planned(t, k)
	rosters := stillroomv1.NewRosterServiceClient(k.Conn)
	_, err := rosters.UpdateParticipant(t.Context(), &stillroomv1.UpdateParticipantRequest{
		Participant: &stillroomv1.Participant{Name: k.Participant(tobiah), Phone: "+1 555 010 9917"}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"phone"}}})
	require.NoError(t, err)
	asked, err := stillroomv1.NewQuestionServiceClient(k.Conn).CreateQuestion(t.Context(), &stillroomv1.CreateQuestionRequest{Parent: webtest.Name,
		Question: &stillroomv1.Question{Text: "Is this for everybody?", Asker: k.Participant(tobiah), Class: webtest.Class}})
	require.NoError(t, err)
	all, err := rosters.ListParticipants(t.Context(), &stillroomv1.ListParticipantsRequest{Parent: webtest.Name, PageSize: 1000})
	require.NoError(t, err)
	require.Greater(t, len(all.GetParticipants()), 10)

	c := k.Client(k.Invite(ximena))
	for _, path := range myPaths {
		text, code := read(t, c, k.URL+path)
		require.Equal(t, http.StatusOK, code, path)
		for _, p := range all.GetParticipants() {
			if p.GetDisplayName() == ximena {
				continue
			}
			require.NotContains(t, text, p.GetDisplayName(), path)
			require.NotContains(t, text, p.GetEmail(), path)
			require.NotContains(t, text, p.GetName(), path)
		}
		require.NotContains(t, text, "celery", "%s: an allergy", path)
		require.NotContains(t, text, "555 010 9917", path)
	}
	text, _ := read(t, c, k.URL+"/my/questions")
	require.Contains(t, text, "Is this for everybody?")

	for _, path := range []string{
		"/" + webtest.Name, "/" + webtest.Class, "/" + webtest.Class + "/shopping", "/" + webtest.Class + "/questions", "/" + webtest.Class + "/live",
		"/" + webtest.Class + "/live?watch=yes", "/" + webtest.Class + "/question/q", "/" + webtest.Class + "/sheets/sign-in", "/" + webtest.Class + "/enrol",
		"/" + webtest.Name + "/classes/another", "/" + k.Participant(tobiah), "/my/tobiah", "/my/jars/b1", "/my/questions/" + asked.GetName(),
	} {
		text, code := read(t, c, k.URL+path)
		require.GreaterOrEqual(t, code, 400, path)
		require.NotContains(t, text, tobiah, path)
	}
	for path, values := range map[string]url.Values{
		"/my/questions/" + asked.GetName()[strings.LastIndexByte(asked.GetName(), '/')+1:] + "/withdraw": nil,
		"/my/jars/no-batch": {"unsealed": {"1"}},
	} {
		reply, err := c.PostForm(k.URL+path, values)
		require.NoError(t, err)
		require.NoError(t, reply.Body.Close())
	}
	still, err := stillroomv1.NewQuestionServiceClient(k.Conn).GetQuestion(t.Context(), &stillroomv1.GetQuestionRequest{Name: asked.GetName()})
	require.NoError(t, err)
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_ASKED, still.GetState(), "another's question stays")

	// What is for all to see names nobody.
	for _, path := range []string{"/board", "/sheets/stations", "/sheets/seal-check"} {
		text, code := read(t, c, k.URL+"/"+webtest.Class+path)
		require.Equal(t, http.StatusOK, code, path)
		for _, p := range all.GetParticipants() {
			if p.GetDisplayName() != ximena {
				require.NotContains(t, text, p.GetDisplayName(), path)
			}
		}
	}

	// Whoever is no participant has no such pages.
	text, code := read(t, k.Client(k.Token(stillroomv1.Role_ROLE_OWNER)), k.URL+"/my")
	require.Equal(t, http.StatusForbidden, code)
	require.Contains(t, text, "open with the link of an invitation")
}

// TestARevokedInvitation says kindly what happened and whom to ask, at the link and in the middle of it.
func TestARevokedInvitation(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	secret := k.Invite(ximena)
	b := k.Browser("")
	b.Phone()
	b.Open("/join/" + secret)
	b.Sees("Your place")
	access := stillroomv1.NewAccessServiceClient(k.Conn)
	tokens, err := access.ListTokens(t.Context(), &stillroomv1.ListTokensRequest{Parent: webtest.Name})
	require.NoError(t, err)
	for _, token := range tokens.GetTokens() {
		_, err := access.RevokeToken(t.Context(), &stillroomv1.RevokeTokenRequest{Name: token.GetName()})
		require.NoError(t, err)
	}
	b.Sees("Your invitation opens nothing any more; ask the instructor who invited you for a new link.") // by the live part
	b.Click("Jars")
	b.Sees("This invitation opens nothing any more")
	b.Sees("ask the instructor who invited you")
	b.Accessible()
	b.Screenshot("invitation-over")
	b.Open("/join/" + secret)
	b.Sees("ask the instructor who invited you")
	// The cookie went with it.
	b.Open("/my")
	b.Sees("ask the instructor who invited you")

	// So does one that has run out: invitations last 90 days unless told otherwise.
	late := k.Client(k.Invite(tobiah))
	_, code := read(t, late, k.URL+"/my")
	require.Equal(t, http.StatusOK, code)
	k.SetNow(webtest.Morning.AddDate(0, 0, 91))
	text, code := read(t, late, k.URL+"/my")
	require.Equal(t, http.StatusUnauthorized, code)
	require.Contains(t, text, "ask the instructor who invited you")

	c := k.Client("")
	text, code = read(t, c, k.URL+"/join/nonsense")
	require.Equal(t, http.StatusNotFound, code)
	require.Contains(t, text, "ask the instructor who invited you")
	text, code = read(t, c, k.URL+"/my/questions")
	require.Equal(t, http.StatusUnauthorized, code)
	require.Contains(t, text, "ask the instructor who invited you")
}

// TestAnInvitationBesideASession: the link is out of the address before anything is asked.
func TestAnInvitationBesideASession(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	secret := k.Invite(ximena)
	b := k.Browser(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	b.Open("/join/" + secret)
	b.Sees("Open the invitation?")
	require.NotContains(t, b.Value("location.href"), secret)
	b.Accessible()
	b.Click("Open the invitation")
	b.Sees("Your place")
	b.Open("/join")
	b.Sees("Your place")
}

// TestHostileTextOnMyPages puts markup, scripts and controls of direction into every text that a participant's pages show.
func TestHostileTextOnMyPages(t *testing.T) {
	t.Parallel()
	const hostile = `<script>document.title="taken"</script><img src=x onerror="document.title='taken'">"'>{{.}}` + "\u202e gnol"
	k := webtest.Open(t)
	k.SetUp()
	classes := stillroomv1.NewClassServiceClient(k.Conn)
	_, err := classes.UpdateClass(t.Context(), &stillroomv1.UpdateClassRequest{Class: &stillroomv1.Class{Name: webtest.Class, DisplayName: hostile}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"display_name"}}})
	require.NoError(t, err)
	_, err = classes.UpdateStation(t.Context(), &stillroomv1.UpdateStationRequest{Station: &stillroomv1.Station{Name: webtest.Class + "/stations/bench-1", DisplayName: hostile}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"display_name"}}})
	require.NoError(t, err)
	planned(t, k)
	questions := stillroomv1.NewQuestionServiceClient(k.Conn)
	for id, who := range map[string]string{"mine": ximena, "theirs": tobiah} {
		_, err := questions.CreateQuestion(t.Context(), &stillroomv1.CreateQuestionRequest{Parent: webtest.Name, QuestionId: id,
			Question: &stillroomv1.Question{Text: id + " " + hostile, Asker: k.Participant(who), Class: webtest.Class}})
		require.NoError(t, err)
	}
	_, err = questions.AnswerQuestion(t.Context(), &stillroomv1.AnswerQuestionRequest{Name: webtest.Name + "/questions/mine", Answer: &stillroomv1.Answer{
		Text: hostile, AnsweredBy: hostile[:60], Sources: []*stillroomv1.Source{{Publication: hostile[:60], Locator: hostile[:60]}}}})
	require.NoError(t, err)
	b := k.Browser("")
	b.Phone()
	b.Open("/join/" + k.Invite(ximena))
	b.Sees("Your place")
	for _, path := range append([]string{"/my/home?altitude=" + url.QueryEscape(hostile) + "&jar=" + url.QueryEscape(hostile)}, myPaths...) {
		b.Open(path)
		b.WaitFor(`document.querySelector("footer")`)
		require.NotEqual(t, "taken", b.Value("document.title"), path)
		require.Equal(t, "0", b.Value(`document.querySelectorAll("main script, main img").length`), path)
		// What people wrote stands apart from the direction of the text around it.
		require.Equal(t, "0", b.Value(`(() => { let bare = 0; const w = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
			while (w.nextNode()) if (w.currentNode.data.includes("\u202e") && !w.currentNode.parentElement.closest("bdi, [dir=auto], textarea, input, option")) bare++; return bare })()`), path)
	}
}

// TestAPlaceThatComesFree: who waits sees their turn, and the place when it is theirs, without opening the page again.
func TestAPlaceThatComesFree(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	rosters := stillroomv1.NewRosterServiceClient(k.Conn)
	roster, err := rosters.ListEnrolments(t.Context(), &stillroomv1.ListEnrolmentsRequest{Parent: webtest.Class, PageSize: 100})
	require.NoError(t, err)
	var first, second, holder *stillroomv1.Enrolment
	for _, e := range roster.GetEnrolments() {
		switch {
		case e.GetWaitingPosition() == 1:
			first = e
		case e.GetWaitingPosition() == 2:
			second = e
		case holder == nil:
			holder = e
		}
	}
	b, after := k.Browser(""), k.Browser("")
	b.Phone()
	after.Phone()
	b.Open("/join/" + k.Invite(first.GetParticipantDisplayName()))
	b.Sees("Waiting list, number 1")
	b.Accessible()
	b.Open("/my/jars")
	b.Sees("Jars come with a place in the class.")
	b.Open("/my")
	after.Open("/join/" + k.Invite(second.GetParticipantDisplayName()))
	after.Sees("Waiting list, number 2")
	_, err = rosters.CancelEnrolment(t.Context(), &stillroomv1.CancelEnrolmentRequest{Name: holder.GetName()})
	require.NoError(t, err)
	b.Sees("You have a place. Your bench is not chosen yet.")
	after.Sees("Waiting list, number 1")
	// Who gave a place back reads so, and keeps what the link opens.
	gone := k.Client(k.Invite(holder.GetParticipantDisplayName()))
	text, code := read(t, gone, k.URL+"/my")
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, text, "You hold no place in this class.")
	for _, path := range myPaths {
		_, code := read(t, gone, k.URL+path)
		require.Equal(t, http.StatusOK, code, path)
	}
}

// TestSealsBeforeTheirTime: the day of the class says when; a lid that plainly did not hold can be told of, a sealed one not.
func TestSealsBeforeTheirTime(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	plan := planned(t, k)
	c := k.Client(k.Invite(ximena))
	k.SetNow(plan.GetOutcome().GetFinishTime().AsTime().Add(time.Hour))
	text, _ := read(t, c, k.URL+"/my/jars")
	require.Contains(t, text, "Leave them undisturbed.")
	require.Contains(t, text, "A lid plainly did not hold")
	require.NotContains(t, text, "Did each jar seal?")
	e, err := stillroomv1.NewRosterServiceClient(k.Conn).FindEnrolment(t.Context(), &stillroomv1.FindEnrolmentRequest{Parent: webtest.Class, Participant: k.Participant(ximena)})
	require.NoError(t, err)
	home, err := stillroomv1.NewSealServiceClient(k.Conn).GetTakeHome(t.Context(), &stillroomv1.GetTakeHomeRequest{Name: e.GetName()})
	require.NoError(t, err)
	batch := home.GetJars()[0].GetBatch()
	id := batch[strings.LastIndexByte(batch, '/')+1:]
	post := func(values url.Values) (string, int) { return send(t, c, k.URL+"/my/jars/"+id, values) }
	text, code := post(url.Values{"jar-" + id + "-1": {"yes"}})
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, text, "Jars stand undisturbed before their seals are tested")
	text, code = post(url.Values{"unsealed": {"99"}})
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, text, "Your share of this batch is at most")
	text, code = post(url.Values{})
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, text, "Say of one jar at least whether it sealed.")
	text, code = post(url.Values{"unsealed": {"1"}})
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, text, "1 jar did not seal")
	require.Contains(t, text, "may be reprocessed within 24 hours")
}

// TestProcessAtHome compares the pages with USDA AIB 539 (rev. 2015), Guide 2, p. 2-23, Spicy Cranberry Salsa, hot
// pack, pints in boiling water: 10 minutes at 0 to 1,000 ft, 15 at 1,001 to 6,000 ft, 20 above 6,000 ft. An altitude
// between two printed bands belongs to the higher one.
func TestProcessAtHome(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	c := k.Client(k.Invite(tobiah))
	ask := func(altitude, unit, method string) (string, int) {
		return read(t, c, k.URL+"/my/home?"+url.Values{"altitude": {altitude}, "unit": {unit}, "method": {method}, "jar": {"recipes/cranberry-salsa/revisions/1 2"}}.Encode())
	}
	for altitude, minutes := range map[string]string{"0": "10", "1000": "10", "1000.5": "15", "6,000": "15", "6000.1": "20", "11000": "20"} {
		text, code := ask(altitude, "ft", "boiling")
		require.Equal(t, http.StatusOK, code)
		require.Contains(t, text, `<p class="minutes">`+minutes+` <small>min</small></p>`, altitude)
		require.Contains(t, text, "Guide 2, p. 2-23", altitude)
		require.Contains(t, text, "Local codes, current tested guidance and licensed practice come first.", altitude)
	}
	text, _ := ask("304.8", "m", "boiling") // 1,000 ft
	require.Contains(t, text, `<p class="minutes">10 `)
	text, code := ask("5430", "ft", "dial")
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, text, "does not print this method")
	require.NotContains(t, text, `class="minutes"`)
	text, code = ask("40000", "ft", "boiling")
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, text, `value="40000"`, "what was typed stays")
}
