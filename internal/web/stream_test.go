package web_test

import (
	"bufio"
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/webtest"
)

// heard reads one server-sent event (WHATWG HTML, "Event stream interpretation"): its kind
// and its data.
func heard(t *testing.T, lines *bufio.Scanner) (kind, data string) {
	t.Helper()
	var all []string
	for lines.Scan() {
		name, value, _ := strings.Cut(lines.Text(), ":")
		value = strings.TrimPrefix(value, " ")
		switch {
		case lines.Text() == "" && kind != "":
			return kind, strings.Join(all, "\n")
		case name == "event":
			kind = value
		case name == "data":
			all = append(all, value)
		}
	}
	return "", ""
}

// listen opens the live part of the class's first list.
func listen(t *testing.T, k *webtest.Kitchen, c *http.Client) *bufio.Scanner {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, k.URL+"/"+webtest.Class+"/shopping/1/live", nil)
	require.NoError(t, err)
	reply, err := c.Do(req)
	require.NoError(t, err)
	t.Cleanup(func() { _ = reply.Body.Close() })
	require.Equal(t, "text/event-stream; charset=utf-8", reply.Header.Get("Content-Type"))
	require.Empty(t, reply.Header.Get("Content-Encoding"), "a compressed stream comes in lumps")
	return bufio.NewScanner(reply.Body)
}

// A stream tells what there is, then what changes, and lets the server stop at once.
func TestStream(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	shopping := stillroomv1.NewShoppingServiceClient(k.Conn)
	list, err := shopping.CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: webtest.Class})
	require.NoError(t, err)
	lines := listen(t, k, k.Client(k.Token(stillroomv1.Role_ROLE_ASSISTANT)))
	kind, data := heard(t, lines)
	require.Equal(t, "swap", kind)
	require.Contains(t, data, `id="tick-onions-gram"`)
	require.Contains(t, data, "0 of 18 lines bought")
	_, err = shopping.TickShoppingLine(t.Context(), &stillroomv1.TickShoppingLineRequest{Name: list.GetName(), Item: "onions"})
	require.NoError(t, err)
	kind, data = heard(t, lines)
	require.Equal(t, "swap", kind)
	require.Contains(t, data, "1 of 18 lines bought")

	start := time.Now()
	k.Stop()
	kind, _ = heard(t, lines)
	require.Empty(t, kind, "the stream ends without a word, so that browsers come back")
	require.Less(t, time.Since(start), 9*time.Second, "an open page held up the stop")
}

// Who may not see it is told so in the stream, so that the page stops asking.
func TestStreamOfNobody(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	_, err := stillroomv1.NewShoppingServiceClient(k.Conn).CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: webtest.Class})
	require.NoError(t, err)
	guest := k.Client("")
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, k.URL+"/join/"+k.Invite("Ximena Okoro-Vale"), nil)
	require.NoError(t, err)
	reply, err := guest.Do(req)
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	kind, data := heard(t, listen(t, k, guest))
	require.Equal(t, "ended", kind)
	require.Contains(t, data, "Not for you to open")
}

// A form works without a script, and a repeated one changes nothing.
func TestFormsWithoutScript(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	c := k.Client(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	for range 2 {
		reply, err := c.PostForm(k.URL+"/"+webtest.Class+"/shopping", map[string][]string{"request_id": {"5f0c2a34-66b5-4d0d-9c0e-0a2f7c4d9f10"}})
		require.NoError(t, err)
		require.NoError(t, reply.Body.Close())
		require.Equal(t, "/"+webtest.Class+"/shopping", reply.Request.URL.Path)
	}
	lists, err := stillroomv1.NewShoppingServiceClient(k.Conn).ListShoppingLists(t.Context(), &stillroomv1.ListShoppingListsRequest{Parent: webtest.Class})
	require.NoError(t, err)
	require.Len(t, lists.GetShoppingLists(), 1)
	for i, to := range []string{"on", "on", "off", "off"} {
		reply, err := c.PostForm(k.URL+"/"+webtest.Class+"/shopping/1/ticks", map[string][]string{"item": {"onions"}, "unit": {"gram"}, "to": {to}})
		require.NoError(t, err)
		require.NoError(t, reply.Body.Close())
		require.Equal(t, http.StatusOK, reply.StatusCode)
		ticks, err := stillroomv1.NewShoppingServiceClient(k.Conn).GetShoppingTicks(t.Context(), &stillroomv1.GetShoppingTicksRequest{Name: webtest.Class + "/shoppingLists/1"})
		require.NoError(t, err)
		require.Len(t, ticks.GetTicks(), []int{1, 1, 0, 0}[i])
	}
}
