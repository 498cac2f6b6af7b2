package web_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/webtest"
)

const boardPath = "/" + webtest.Class + "/board"

// wall is a time of the site's wall in a test: 09:00 is when the class opens.
func wall(t testing.TB, at time.Time) string {
	t.Helper()
	zone, err := time.LoadLocation("America/Denver")
	require.NoError(t, err)
	return at.In(zone).Format("15:04")
}

// newestPlan is the newest plan as the service gives it.
func newestPlan(t testing.TB, k *webtest.Kitchen) *stillroomv1.LoadPlan {
	t.Helper()
	reply, err := stillroomv1.NewLoadServiceClient(k.Conn).ListLoadPlans(t.Context(), &stillroomv1.ListLoadPlansRequest{Parent: webtest.Class, PageSize: 1})
	require.NoError(t, err)
	require.NotEmpty(t, reply.GetLoadPlans())
	return reply.GetLoadPlans()[0]
}

// planClass makes a plan of the class by a call.
func planClass(t testing.TB, k *webtest.Kitchen) *stillroomv1.LoadPlan {
	t.Helper()
	stream, err := stillroomv1.NewLoadServiceClient(k.Conn).PlanLoads(t.Context(), &stillroomv1.PlanLoadsRequest{Parent: webtest.Class, SkipGains: true, WorkLimit: 3000})
	require.NoError(t, err)
	for {
		m, err := stream.Recv()
		require.NoError(t, err)
		if m.GetLoadPlan() != nil {
			return m.GetLoadPlan()
		}
	}
}

// figuresOnBoard compares what the page shows with the plan that the service gives.
func figuresOnBoard(t testing.TB, b *webtest.Browser, plan *stillroomv1.LoadPlan) {
	t.Helper()
	o := plan.GetOutcome()
	require.Equal(t, fmt.Sprint(o.GetJars()), b.Value(`document.getElementById("plan-jars").textContent`))
	require.Equal(t, fmt.Sprintf("%d loads", o.GetLoads()), b.Value(`document.getElementById("plan-loads").textContent`))
	require.Equal(t, wall(t, o.GetFinishTime().AsTime()), b.Value(`document.getElementById("plan-finish").textContent`))
	for i, c := range plan.GetCanners() {
		for j, l := range c.GetLoads() {
			ref := fmt.Sprintf("load-%d-%d", i+1, j+1)
			row := b.Value(`document.getElementById("row-` + ref + `").innerText`)
			name := b.Value(`document.querySelector('[data-ref="` + ref + `"]').getAttribute("aria-label")`)
			for _, text := range []string{row, name} {
				require.Contains(t, text, c.GetDisplayName())
				for _, at := range []time.Time{l.GetInTime().AsTime(), l.GetBoilTime().AsTime(), l.GetClockTime().AsTime(), l.GetOffTime().AsTime(), l.GetOutTime().AsTime()} {
					require.Contains(t, text, wall(t, at))
				}
				require.Contains(t, text, fmt.Sprintf("boiling water, %d min, at %s", l.GetProcess().GetMinutes(), l.GetProcess().GetAltitudeBand()))
			}
			for _, jars := range l.GetJars() {
				require.Contains(t, name, fmt.Sprintf("%d of %s", jars.GetJars(), jars.GetTitle()))
				require.Contains(t, b.Value(`document.querySelector(".sources").innerText`), jars.GetSource().GetLocator(), "what prints a process prints its source")
			}
		}
	}
	for i, batch := range plan.GetBatches() {
		row := b.Value(fmt.Sprintf(`document.getElementById("row-batch-%d").innerText`, i+1))
		require.Contains(t, row, wall(t, batch.GetCookTime().AsTime()))
		require.Contains(t, row, wall(t, batch.GetLiddedTime().AsTime()))
	}
	for _, c := range plan.GetCautions() {
		require.Contains(t, b.Value(`document.querySelector(".cautions").innerText`), c.GetText())
	}
}

// The whole way of an instructor with a board: the first plan with its progress, the
// class under way, a canner lost, the rest planned again, another browser that sees it all.
func TestBoardFromFirstPlanToALostCanner(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	instructor := k.Token(stillroomv1.Role_ROLE_INSTRUCTOR)
	b := k.Browser(instructor)
	b.Open(boardPath)
	b.Sees("No plan yet")
	b.Accessible()
	watching := k.Browser(k.Token(stillroomv1.Role_ROLE_ASSISTANT))
	watching.Open(boardPath)
	watching.Sees("No plan yet")
	require.Equal(t, "0", watching.Value(`document.querySelectorAll("form[data-search]").length`), "an assistant makes no plans")

	// The bar is watched from before the search begins, since a search may be quick.
	runScript(watching, `window.bars = 0; new MutationObserver(() => { if (document.getElementById("search-bar")) window.bars++; }).observe(document.getElementById("board-live"), {childList: true, subtree: true})`)
	b.Fill("seconds-anew", "2")
	b.Press(kb.Enter)
	b.WaitFor(`document.querySelector("#board-plan[data-plan='1']")`)
	watching.WaitFor(`document.querySelector("#board-plan[data-plan='1']")`)
	watching.WaitFor(`window.bars > 0`)
	first := newestPlan(t, k)
	require.Equal(t, webtest.Class+"/loadPlans/1", first.GetName())
	figuresOnBoard(t, b, first)
	figuresOnBoard(t, watching, first)
	b.Accessible()
	b.Screenshot("board")

	// In the middle of the first load: what is next stands in large type, and the line for now on the chart.
	var inside *stillroomv1.PlannedLoad
	for _, c := range first.GetCanners() {
		for _, l := range c.GetLoads() {
			if inside == nil || l.GetClockTime().AsTime().Before(inside.GetClockTime().AsTime()) {
				inside = l
			}
		}
	}
	now := inside.GetClockTime().AsTime().Add(time.Minute)
	k.SetNow(now)
	b.Open(boardPath)
	next := b.Value(`document.querySelector(".next-at").getAttribute("datetime")`)
	at, err := time.Parse(time.RFC3339, next)
	require.NoError(t, err)
	require.True(t, at.After(now), "%s is not after %s", at, now)
	b.WaitFor(`/^in \d+:\d\d (min|h)$/.test(document.querySelector(".next-in").textContent)`)
	require.Equal(t, "1", b.Value(`document.querySelectorAll(".chart-now").length`))
	require.Contains(t, b.Value(`document.getElementById("board-next").innerText`), "processing")

	// A canner is lost: what has begun stays, nothing more goes into it.
	lost := first.GetCanners()[0]
	b.Click("Something happened?")
	b.Click(lost.GetDisplayName())
	b.Fill("seconds-replan", "2")
	b.Click("Plan the rest again")
	b.WaitFor(`document.querySelector("#board-plan[data-plan='2']")`)
	watching.WaitFor(`document.querySelector("#board-plan[data-plan='2']")`)
	second := newestPlan(t, k)
	require.Equal(t, webtest.Class+"/loadPlans/2", second.GetName())
	for _, c := range second.GetCanners() {
		if c.GetDisplayName() != lost.GetDisplayName() {
			continue
		}
		for _, l := range c.GetLoads() {
			require.True(t, l.GetInTime().AsTime().Before(now), "a load goes into the lost canner at %s", l.GetInTime().AsTime())
		}
	}
	figuresOnBoard(t, b, second)
	figuresOnBoard(t, watching, second)
	b.Accessible()

	// Stored plans can be looked at again; the page says that a newer one is there.
	b.Open(boardPath + "/1")
	b.Sees("This is plan 1, not the newest.")
	figuresOnBoard(t, b, first)
	b.Accessible()
	b.Click("Show plan 2, the newest")
	b.Sees("Plan 2, made")
}

// Every load is reached by arrow keys, has a name, and shows where the focus is.
func TestBoardByKeyboard(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	plan := planClass(t, k)
	b := k.Browser(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	b.Open(boardPath)
	first := b.Value(`document.querySelector(".chart-load").getAttribute("aria-label")`)
	require.Equal(t, "1", b.Value(`document.querySelectorAll(".chart-load[tabindex='0']").length`), "one stop of Tab for the chart")
	runScript(b, `document.getElementById("chart-room").previousElementSibling.querySelector("a").focus()`)
	b.Press(kb.Tab)
	require.Equal(t, first, b.Value(`document.activeElement.getAttribute("aria-label")`))
	require.NotEqual(t, "none", b.Value(`getComputedStyle(document.activeElement.querySelector(".chart-frame")).stroke`), "the focus shows")
	require.Equal(t, first, b.Value(`document.getElementById("load-words").textContent`), "what it says stands below for those who see")
	seen := map[string]bool{}
	rows := len(plan.GetCanners()) + int(mustInt(t, b.Value(`new Set([...document.querySelectorAll("#chart-room .chart-row")].slice(`+fmt.Sprint(len(plan.GetCanners()))+`)).size`)))
	for range rows {
		b.Press(kb.Home)
		for {
			name := b.Value(`document.activeElement.getAttribute("aria-label")`)
			seen[name] = true
			b.Press(kb.ArrowRight)
			if b.Value(`document.activeElement.getAttribute("aria-label")`) == name {
				break
			}
		}
		b.Press(kb.ArrowDown)
	}
	require.Len(t, seen, int(mustInt(t, b.Value(`document.querySelectorAll(".chart-load").length`))), "every load is reached")
	b.Press(kb.Enter)
	require.Equal(t, "TR", b.Value(`document.activeElement.tagName`), "Enter leads to the row of the table")
}

// runScript runs a script in the page for what it does.
func runScript(b *webtest.Browser, script string) { b.Value("(() => { " + script + "; return 0 })()") }

func mustInt(t testing.TB, text string) (n int64) {
	t.Helper()
	_, err := fmt.Sscan(text, &n)
	require.NoError(t, err)
	return n
}

// A telephone's page does not scroll sideways; only the chart does, with its rows' names in sight. The same holds at 200 % of a small desktop.
func TestBoardOnSmallScreens(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	planClass(t, k)
	k.SetNow(webtest.Opens.Add(110 * time.Minute))
	b := k.Browser(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	b.Phone()
	b.Open(boardPath)
	require.Equal(t, "true", b.Value(`document.documentElement.scrollWidth <= innerWidth`))
	require.Equal(t, "true", b.Value(`(() => { const r = document.getElementById("chart-room"); return r.scrollWidth > r.clientWidth && r.scrollLeft > 0 })()`), "it is scrolled to now")
	require.Equal(t, "true", b.Value(`(() => { const room = document.getElementById("chart-room").getBoundingClientRect();
		return [...document.querySelectorAll(".chart-name")].every(n => { const r = n.getBoundingClientRect(); return r.left >= room.left - 2 && r.left < room.right }) })()`))
	b.Accessible()
	b.Screenshot("board-phone")
	b.Run(chromedp.EmulateViewport(640, 450))
	b.Open(boardPath)
	require.Equal(t, "true", b.Value(`document.documentElement.scrollWidth <= innerWidth`))
}

// What needs no browser: a form without scripts waits for the plan, nonsense is refused by name, and the page says nothing that the plan does not.
func TestBoardWithoutScripts(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	c := k.Client(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	says(t, fetchPage(t, c, k.URL+boardPath), "No plan yet")
	page := sendForm(t, c, http.StatusOK, k.URL+boardPath+"/plan", url.Values{"seconds": {"5"}, "request": {"6b3dfd0e-5d6f-4bd0-9f0f-3f2f1f3b7b3a"}})
	says(t, page, "Plan 1 is made.")
	says(t, page, `<h2 id="plan-title">Plan 1, made`)
	page = sendForm(t, c, http.StatusOK, k.URL+boardPath+"/plan", url.Values{"seconds": {"5"}, "request": {"6b3dfd0e-5d6f-4bd0-9f0f-3f2f1f3b7b3a"}})
	says(t, page, "Plan 1 is made.")

	for _, bad := range []struct {
		path, says string
		form       url.Values
	}{
		{"/plan", "How long to search is 1 to 60 seconds.", url.Values{"seconds": {"61"}}},
		{"/1/what-if", "This is whole minutes, 0 to 480.", url.Values{"prepare_minutes": {"1e3"}}},
		{"/1/what-if", "Choose one of the methods.", url.Values{"method-bench-1-1": {"77"}}},
		{"/1/replan", "Say from which time on to plan.", url.Values{}},
		{"/1/replan", "is no time of day: write it as 14:05", url.Values{"now": {"half past"}}},
		{"/1/replan", "Minutes lost are whole minutes, 0 to 480.", url.Values{"now": {"10:00"}, "lost": {"-1"}}},
		{"/1/replan", "It cannot have gone in after the time to plan from.", url.Values{"now": {"10:00"}, "load-1-1-in": {"10:30"}}},
		{"/1/replan", "It came out after it went in.", url.Values{"now": {"11:00"}, "load-1-1-in": {"10:30"}, "load-1-1-out": {"10:29"}}},
		{"/1/replan", "It is out, so say when it went in.", url.Values{"now": {"09:30"}, "load-1-1-out": {"09:20"}}},
		{"/together", "Choose at least one other class.", url.Values{}},
	} {
		says(t, sendForm(t, c, http.StatusUnprocessableEntity, k.URL+boardPath+bad.path, bad.form), bad.says)
	}
	require.Equal(t, webtest.Class+"/loadPlans/1", newestPlan(t, k).GetName(), "nothing was stored")
	sendForm(t, c, http.StatusNotFound, k.URL+boardPath+"/99/replan", url.Values{"now": {"10:00"}})
	assistant := k.Client(k.Token(stillroomv1.Role_ROLE_ASSISTANT))
	sendForm(t, assistant, http.StatusForbidden, k.URL+boardPath+"/plan", url.Values{})

	// Other working times make another plan, stored beside the first.
	page = sendForm(t, c, http.StatusOK, k.URL+boardPath+"/1/what-if", url.Values{"prepare_minutes": {"45"}, "keep": {"yes"}, "seconds": {"5"}})
	says(t, page, "Plan 2 is made.")
	require.Equal(t, int32(45), newestPlan(t, k).GetAssumptions().GetPrepareMinutes())
}

// What happened is read from the form as the plan was followed, but for what the form says.
func TestBoardReplanKeepsWhatHappened(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	first := planClass(t, k)
	load := first.GetCanners()[0].GetLoads()[0]
	in := load.GetInTime().AsTime().Add(4 * time.Minute)
	now := in.Add(2 * time.Minute)
	k.SetNow(now)
	c := k.Client(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	page := sendForm(t, c, http.StatusOK, k.URL+boardPath+"/1/replan", url.Values{
		"now": {wall(t, now)}, "load-1-1-in": {wall(t, in)}, "lost": {"3"}, "seconds": {"5"}})
	says(t, page, "Plan 2 is made.")
	second := newestPlan(t, k)
	require.True(t, second.GetCanners()[0].GetLoads()[0].GetInTime().AsTime().Equal(in), "it went in when the form says")
	// What was in other canners by then is as it was, three minutes late in coming out.
	for i, canner := range first.GetCanners()[1:] {
		for j, l := range canner.GetLoads() {
			if l.GetInTime().AsTime().Before(now) {
				after := second.GetCanners()[i+1].GetLoads()[j]
				require.True(t, after.GetInTime().AsTime().Equal(l.GetInTime().AsTime()))
				require.True(t, after.GetOutTime().AsTime().Equal(l.GetOutTime().AsTime().Add(3*time.Minute)), "%s and %s", after.GetOutTime().AsTime(), l.GetOutTime().AsTime())
			}
		}
	}
}

// says checks that a page holds a text, without printing the page.
func says(t testing.TB, page, text string) {
	t.Helper()
	if strings.Contains(page, text) {
		return
	}
	_, main, _ := strings.Cut(page, "<main")
	require.Fail(t, "the page does not say "+text, "%.3000s", main)
}

// fetchPage fetches a page.
func fetchPage(t testing.TB, c *http.Client, address string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	require.NoError(t, err)
	return pageOf(t, c, http.StatusOK, req)
}

// sendForm sends a form and gives the page it ends at.
func sendForm(t testing.TB, c *http.Client, code int, address string, form url.Values) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, address, strings.NewReader(form.Encode()))
	require.NoError(t, err)
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return pageOf(t, c, code, req)
}

func pageOf(t testing.TB, c *http.Client, code int, req *http.Request) string {
	t.Helper()
	reply, err := c.Do(req)
	require.NoError(t, err)
	defer func() { _ = reply.Body.Close() }()
	page, err := io.ReadAll(reply.Body)
	require.NoError(t, err)
	require.Equal(t, code, reply.StatusCode, "%s", page)
	return string(page)
}

// In the dark, narrow, in large type and without scripts the pages stay readable and whole.
func TestBoardAndQuestionsAdapt(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	planClass(t, k)
	k.SetNow(webtest.Opens.Add(110 * time.Minute))
	client := askAll(t, k)
	_, err := client.CreateSession(t.Context(), &stillroomv1.CreateSessionRequest{Parent: webtest.Class, SessionId: "s", Host: "Ines"})
	require.NoError(t, err)
	_, err = client.TakeNextQuestion(t.Context(), &stillroomv1.TakeNextQuestionRequest{Session: webtest.Class + "/sessions/s", Host: "Ines"})
	require.NoError(t, err)
	b := k.Browser(k.Token(stillroomv1.Role_ROLE_OWNER))
	b.Dark()
	for _, path := range []string{"/board", "/questions", "/question/unsealed", "/live", "/live?watch=yes"} {
		b.Open("/" + webtest.Class + path)
		// What is closed must keep its contrast too.
		runScript(b, `for (const d of document.querySelectorAll("details")) d.open = true`)
		b.Accessible()
		b.Reflows()
		b.Accessible()
		b.Screen("dark-narrow" + strings.NewReplacer("/", "-", "?", "-", "=", "-").Replace(path))
	}
	b.WithoutScripts()
	b.Open(boardPath)
	require.Equal(t, "true", b.Value(`document.querySelectorAll(".chart-load[tabindex='0']").length > 10`), "every load is a stop of Tab")
	b.Open(queuePath)
	b.Sees("Merge the picked questions")
}

// A page with all it uses weighs less than 100 kB before it is compressed.
func TestBoardAndQuestionsAreLight(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	c := k.Client(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	page := sendForm(t, c, http.StatusOK, k.URL+boardPath+"/plan", url.Values{"seconds": {"2"}})
	says(t, page, "What a little more of something would gain")
	askAll(t, k)
	for _, path := range []string{"/board", "/questions", "/live"} {
		size, page := weigh(t, c, k.URL+"/"+webtest.Class+path, false)
		wire, _ := weigh(t, c, k.URL+"/"+webtest.Class+path, true)
		for _, use := range uses.FindAllStringSubmatch(page, -1) {
			plain, _ := weigh(t, c, k.URL+use[1], false)
			zipped, _ := weigh(t, c, k.URL+use[1], true)
			size, wire = size+plain, wire+zipped
		}
		t.Logf("%s: %d bytes, %d on the wire", path, size, wire)
		require.Less(t, size, 100_000, path)
	}
}

// A browser that comes back to a server that knows nothing of the search it followed is told so, and that nothing changed.
func TestBoardTellsOfALostSearch(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	c := k.Client(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, k.URL+boardPath+"/live?plan=0", nil)
	require.NoError(t, err)
	req.Header.Set("Last-Event-ID", "0-6b3dfd0e-5d6f-4bd0-9f0f-3f2f1f3b7b3a")
	reply, err := c.Do(req)
	require.NoError(t, err)
	defer func() { _ = reply.Body.Close() }()
	kind, data := heard(t, bufio.NewScanner(reply.Body))
	require.Equal(t, "swap", kind)
	says(t, data, "The server was started again while it made a plan")
	says(t, sendForm(t, c, http.StatusOK, k.URL+boardPath+"/stop", url.Values{}), "No search was under way.")
}

// Two classes in the room at once are planned together from the board of one.
func TestBoardPlansClassesTogether(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	classes := stillroomv1.NewClassServiceClient(k.Conn)
	first, err := classes.GetClass(t.Context(), &stillroomv1.GetClassRequest{Name: webtest.Class})
	require.NoError(t, err)
	c := k.Client(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	require.NotContains(t, fetchPage(t, c, k.URL+boardPath), "Classes that share the room")
	const other = webtest.Name + "/classes/relish-noon"
	first.DisplayName = "Relish at noon"
	_, err = classes.CreateClass(t.Context(), &stillroomv1.CreateClassRequest{Parent: webtest.Name, ClassId: "relish-noon", Class: first})
	require.NoError(t, err)
	_, err = classes.CreateStation(t.Context(), &stillroomv1.CreateStationRequest{Parent: other, StationId: "a", Station: &stillroomv1.Station{DisplayName: "Bench a"}})
	require.NoError(t, err)
	_, err = classes.CreateBatch(t.Context(), &stillroomv1.CreateBatchRequest{Parent: other, Batch: &stillroomv1.Batch{
		Station: other + "/stations/a", RecipeRevision: webtest.Relish + "/revisions/1", JarSize: stillroomv1.JarSize_JAR_SIZE_HALF_PINT, Jars: 9}})
	require.NoError(t, err)
	says(t, fetchPage(t, c, k.URL+boardPath), "Classes that share the room")
	says(t, sendForm(t, c, http.StatusOK, k.URL+boardPath+"/together", url.Values{"class": {other}, "seconds": {"10"}}), "2 plans are made; this is plan 1 of this class.")
	plans := stillroomv1.NewLoadServiceClient(k.Conn)
	second, err := plans.GetLoadPlan(t.Context(), &stillroomv1.GetLoadPlanRequest{Name: other + "/loadPlans/1"})
	require.NoError(t, err)
	require.Equal(t, []string{webtest.Class + "/loadPlans/1"}, second.GetAroundPlans())
	says(t, fetchPage(t, c, k.URL+"/"+other+"/board"), "another class has it from")
}
