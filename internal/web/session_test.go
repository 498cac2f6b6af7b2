package web_test

import (
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/webtest"
)

func TestMain(m *testing.M) { webtest.Main(m) }

// Who is not signed in is asked to, and comes back to the page that was wanted; the
// address of a page elsewhere is not gone on to.
func TestSignIn(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	b := k.Browser("")
	b.Open("/" + webtest.Name)
	b.Sees("Sign in")
	b.Accessible()
	b.Screenshot("sign-in")
	b.Fill("token", "stillroom_none")
	b.Click("Sign in")
	b.Sees("This token lets nobody in")
	b.Accessible()
	b.Fill("token", k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	b.Click("Sign in")
	b.Sees("Salsa and relish on Saturday")
	require.Equal(t, "/"+webtest.Name, b.Path())
	b.Accessible()
	b.Screenshot("classes")
	b.Click("Sign out")
	b.Sees("You are signed out.")
	b.Open("/")
	b.Sees("Your token")
}

func TestSignInGoesNowhereElse(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	c := k.Client("")
	c.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	for _, then := range []string{"https://elsewhere.example/", "//elsewhere.example", `/\elsewhere.example`, "javascript:alert(1)", "/\r\nSet-Cookie: a=b", "kitchens"} {
		reply, err := c.PostForm(k.URL+"/sign-in", url.Values{"token": {k.Token(stillroomv1.Role_ROLE_ASSISTANT)}, "then": {then}})
		require.NoError(t, err)
		require.NoError(t, reply.Body.Close())
		require.Equal(t, http.StatusSeeOther, reply.StatusCode)
		require.Equal(t, "/", reply.Header.Get("Location"), then)
	}
}

// An invitation's address holds its secret; what is shown after it does not, and no other
// site is told. Once taken back it opens nothing.
func TestInvitation(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	secret := k.Invite("Ximena Okoro-Vale")
	c := k.Client("")
	c.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	reply, err := c.Get(k.URL + "/join/" + secret)
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	require.Equal(t, http.StatusSeeOther, reply.StatusCode)
	require.NotContains(t, reply.Header.Get("Location"), secret)
	require.Equal(t, "no-referrer", reply.Header.Get("Referrer-Policy"))
	require.Equal(t, "no-store", reply.Header.Get("Cache-Control"))
	cookie := reply.Cookies()[0]
	require.True(t, cookie.HttpOnly)
	require.Equal(t, http.SameSiteLaxMode, cookie.SameSite)

	// An instructor who opens somebody's invitation is asked first.
	other := k.Client(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	reply, err = other.Get(k.URL + "/join/" + secret)
	require.NoError(t, err)
	text, err := io.ReadAll(reply.Body)
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	require.Contains(t, string(text), "Open the invitation?")

	all, err := stillroomv1.NewAccessServiceClient(k.Conn).ListTokens(t.Context(), &stillroomv1.ListTokensRequest{Parent: webtest.Name})
	require.NoError(t, err)
	for _, token := range all.GetTokens() {
		_, err = stillroomv1.NewAccessServiceClient(k.Conn).RevokeToken(t.Context(), &stillroomv1.RevokeTokenRequest{Name: token.GetName()})
		require.NoError(t, err)
	}
	reply, err = c.Get(k.URL + "/join/" + secret)
	require.NoError(t, err)
	text, err = io.ReadAll(reply.Body)
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	require.Equal(t, http.StatusNotFound, reply.StatusCode)
	require.Contains(t, string(text), "opens nothing any more")
}

// A form that another site sends is refused, whatever cookie goes with it, and changes nothing.
func TestFormsOfOtherSites(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	c := k.Client(k.Token(stillroomv1.Role_ROLE_OWNER))
	for name, value := range map[string]string{"Sec-Fetch-Site": "cross-site", "Origin": "https://elsewhere.example"} {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, k.URL+"/sign-out", strings.NewReader(""))
		require.NoError(t, err)
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		req.Header.Set(name, value)
		reply, err := c.Do(req)
		require.NoError(t, err)
		require.NoError(t, reply.Body.Close())
		require.Equal(t, http.StatusForbidden, reply.StatusCode)
	}
	reply, err := c.Get(k.URL + "/" + webtest.Name)
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	require.Equal(t, http.StatusOK, reply.StatusCode, "still signed in")
}

func TestEveryAnswerIsGuarded(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	c := k.Client(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	for _, path := range []string{"/", "/sign-in", "/nowhere", "/join/none", "/" + webtest.Class} {
		reply, err := c.Get(k.URL + path)
		require.NoError(t, err)
		require.NoError(t, reply.Body.Close())
		policy := reply.Header.Get("Content-Security-Policy")
		for _, part := range []string{"default-src 'none'", "script-src 'self'", "style-src 'self'", "form-action 'self'", "frame-ancestors 'none'", "base-uri 'none'"} {
			require.Contains(t, policy, part, path)
		}
		require.NotContains(t, policy, "unsafe", path)
		require.Equal(t, "nosniff", reply.Header.Get("X-Content-Type-Options"), path)
		require.Equal(t, "no-store", reply.Header.Get("Cache-Control"), path)
		require.Contains(t, []string{"same-origin", "no-referrer"}, reply.Header.Get("Referrer-Policy"), path)
	}
}

// An owner makes an invitation from the roster; who opens its link is the one who was invited.
func TestInviteFromTheRoster(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	b := k.Browser(k.Token(stillroomv1.Role_ROLE_OWNER))
	b.Open("/" + webtest.Class)
	b.Click("Place of Ximena Okoro-Vale")
	b.Click("Make an invitation")
	b.Sees("Send this link to Ximena Okoro-Vale")
	b.Accessible()
	link := b.Value(`document.getElementById("link").value`)
	require.True(t, strings.HasPrefix(link, k.URL+"/join/stillroom_"), link)
	guest := k.Client("")
	guest.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	reply, err := guest.Get(link)
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	reply, err = guest.Get(k.URL + "/")
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	require.Equal(t, "/my", reply.Header.Get("Location"))
	// An instructor may not, and is not offered it.
	other := k.Browser(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	other.Open("/" + webtest.Class)
	other.Click("Place of Ximena Okoro-Vale")
	other.SeesNot("Make an invitation")
}
