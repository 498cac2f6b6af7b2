package web_test

import (
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/durationpb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/sheets/sheettest"
	"stillroom/internal/web/webtest"
)

// readyForPaper makes the list and the plan of the class of SetUp.
func readyForPaper(t *testing.T, k *webtest.Kitchen) {
	t.Helper()
	_, err := stillroomv1.NewShoppingServiceClient(k.Conn).CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: webtest.Class})
	require.NoError(t, err)
	stream, err := stillroomv1.NewLoadServiceClient(k.Conn).PlanLoads(t.Context(), &stillroomv1.PlanLoadsRequest{
		Parent: webtest.Class, WorkLimit: 500, SkipGains: true, TimeLimit: durationpb.New(20 * time.Second)})
	require.NoError(t, err)
	for plan := false; !plan; {
		m, err := stream.Recv()
		require.NoError(t, err)
		plan = m.GetLoadPlan() != nil
	}
}

// An instructor finds all sheets from the class, looks at each, and chooses paper and measures.
func TestSheetsAreFoundAndLookedAt(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	readyForPaper(t, k)
	b := k.Browser(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	b.Open("/" + webtest.Class)
	b.Click("On paper")
	b.Sees("Jar labels")
	b.Accessible()
	b.Screenshot("sheets")
	b.Fill("units", "us")
	b.Fill("paper", "letter")
	b.Click("Use these")
	b.WaitFor(`location.search.includes("letter")`)
	b.Click("Shopping list on the screen")
	b.Sees("16 participants and 72 jars")
	require.Equal(t, "paper=letter&units=us", strings.TrimPrefix(b.Value("location.search"), "?"))
	b.Sees(" lb ")
	b.Accessible()
	b.Click("metric")
	b.Sees(" kg")
	for _, sheet := range []string{"stations", "board", "sign-in", "seal-check", "labels"} {
		b.Open("/" + webtest.Class + "/sheets/" + sheet)
		b.Sees("Salsa and relish on Saturday")
		b.Accessible()
		b.Screenshot("sheet-" + sheet)
	}
}

func TestSheetsAsFiles(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	readyForPaper(t, k)
	instructor, participant, nobody := k.Client(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR)), k.Client(k.Invite("Ximena Okoro-Vale")), k.Client("")
	type answer struct {
		code   int
		header http.Header
	}
	get := func(c *http.Client, path string) (answer, []byte) {
		t.Helper()
		reply, err := c.Get(k.URL + "/" + webtest.Class + "/sheets/" + path)
		require.NoError(t, err)
		body, err := io.ReadAll(reply.Body)
		require.NoError(t, err)
		require.NoError(t, reply.Body.Close())
		return answer{reply.StatusCode, reply.Header}, body
	}
	for _, sheet := range []string{"shopping", "stations", "board", "sign-in", "seal-check", "labels"} {
		reply, body := get(instructor, sheet+".pdf?paper=letter")
		require.Equal(t, http.StatusOK, reply.code, sheet)
		require.Equal(t, "application/pdf", reply.header.Get("Content-Type"))
		require.Equal(t, `inline; filename="salsa-saturday-`+sheet+`.pdf"`, reply.header.Get("Content-Disposition"))
		_, again := get(instructor, sheet+".pdf?paper=letter")
		require.Equal(t, body, again, "the same content is the same file")
		page := sheettest.Pages(t, body)[0]
		require.InDelta(t, 215.9+279.4, page.Width+page.Height, 0.5)
		reply, body = get(nobody, sheet+".pdf")
		require.NotEqual(t, "application/pdf", reply.header.Get("Content-Type"))
		require.NotContains(t, string(body), "cranberry")
	}
	// A participant gets the cards without the others' names, the board, and the seal check; not the roster, not the shopping.
	reply, body := get(participant, "stations.pdf")
	require.Equal(t, http.StatusOK, reply.code)
	text := ""
	for _, p := range sheettest.Pages(t, body) {
		text += p.Text()
	}
	require.Contains(t, text, "Spicy cranberry salsa")
	require.NotContains(t, text, "Lindqvist")
	for sheet, code := range map[string]int{"board": http.StatusOK, "seal-check": http.StatusOK, "sign-in": http.StatusForbidden, "shopping": http.StatusForbidden} {
		reply, _ := get(participant, sheet)
		require.Equal(t, code, reply.code, sheet)
	}
	// Nonsense is answered in words.
	for path, words := range map[string]string{
		"menu": "there are shopping, sign-in", "board?paper=a5": "choose a4 or letter", "shopping?units=stone": "choose metric or us",
		"labels.pdf?start=99": "positions 1 to 21", "labels.pdf?labels=7-7x7": "on A4 there are 21-63.5x38.1",
	} {
		reply, body := get(instructor, path)
		require.GreaterOrEqual(t, reply.code, 400, path)
		require.Less(t, reply.code, 500, path)
		require.Contains(t, string(body), words, path)
	}
	reply, body = get(instructor, "labels.pdf?test=yes")
	require.Equal(t, http.StatusOK, reply.code)
	require.Len(t, sheettest.Pages(t, body), 1)
}
