package web_test

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/webtest"
)

var uses = regexp.MustCompile(`(?:href|src)="(/assets/[^"]+)"`)

// A page with all it uses weighs less than 100 kB as it is, and less than that on the wire.
func TestPagesAreLight(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	_, err := stillroomv1.NewShoppingServiceClient(k.Conn).CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: webtest.Class})
	require.NoError(t, err)
	c := k.Client(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	for _, path := range []string{"/sign-in", "/" + webtest.Name, "/" + webtest.Class, "/" + webtest.Class + "/shopping", "/" + webtest.Class + "/enrol"} {
		plain, wire := 0, 0
		text := ""
		for _, gzip := range []bool{false, true} {
			size, page := weigh(t, c, k.URL+path, gzip)
			if !gzip {
				text = page
			}
			seen := map[string]bool{}
			for _, use := range uses.FindAllStringSubmatch(text, -1) {
				if !seen[use[1]] {
					seen[use[1]] = true
					asset, _ := weigh(t, c, k.URL+use[1], gzip)
					size += asset
				}
			}
			require.GreaterOrEqual(t, len(seen), 3, path)
			if gzip {
				wire = size
			} else {
				plain = size
			}
		}
		t.Logf("%s: %d bytes, %d on the wire", path, plain, wire)
		require.Less(t, plain, 100_000, path)
		require.Less(t, wire, plain, path)
	}
}

func weigh(t *testing.T, c *http.Client, address string, gzip bool) (int, string) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, address, nil)
	require.NoError(t, err)
	req.Header.Set("Accept-Encoding", "identity")
	if gzip {
		req.Header.Set("Accept-Encoding", "gzip")
	}
	reply, err := c.Do(req)
	require.NoError(t, err)
	data, err := io.ReadAll(reply.Body)
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	require.Equal(t, http.StatusOK, reply.StatusCode, address)
	return len(data), string(data)
}

// BenchmarkPages is the server's time for one page of a class of sixteen, database and all.
func BenchmarkPages(b *testing.B) {
	k := webtest.Open(b)
	k.SetUp()
	_, err := stillroomv1.NewShoppingServiceClient(k.Conn).CreateShoppingList(b.Context(), &stillroomv1.CreateShoppingListRequest{Parent: webtest.Class})
	require.NoError(b, err)
	planClass(b, k)
	askAll(b, k)
	token := k.Token(stillroomv1.Role_ROLE_INSTRUCTOR)
	for _, path := range []string{"/" + webtest.Name, "/" + webtest.Class, "/" + webtest.Class + "/shopping",
		"/" + webtest.Class + "/board", "/" + webtest.Class + "/questions", "/" + webtest.Class + "/live"} {
		b.Run(path[strings.LastIndexByte(path, '/')+1:], func(b *testing.B) {
			for b.Loop() {
				r := httptest.NewRequest(http.MethodGet, path, nil)
				r.Header.Set("Accept-Encoding", "gzip")
				r.AddCookie(&http.Cookie{Name: "stillroom-session", Value: token})
				w := httptest.NewRecorder()
				k.Pages.ServeHTTP(w, r)
				if w.Code != http.StatusOK {
					b.Fatal(fmt.Sprint(path, " answered ", w.Code))
				}
			}
		})
	}
}
