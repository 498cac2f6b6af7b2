package identity

import (
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/access"
	"stillroom/internal/fault"
)

const back = "http://127.0.0.1:7418/signed-in"

// walk goes to the provider as a browser does, and gives what it is sent back with.
func walk(t *testing.T, address string) url.Values {
	t.Helper()
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	reply, err := client.Get(address)
	require.NoError(t, err)
	text, err := io.ReadAll(reply.Body)
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	require.Equal(t, http.StatusFound, reply.StatusCode, string(text))
	sent, err := url.Parse(reply.Header.Get("Location"))
	require.NoError(t, err)
	require.Equal(t, back, (&url.URL{Scheme: sent.Scheme, Host: sent.Host, Path: sent.Path}).String())
	return sent.Query()
}

// TestSigningInByAProvider walks the flow; the provider of the test checks PKCE, the client
// and where it sends people.
func TestSigningInByAProvider(t *testing.T) {
	t.Setenv("MEADOW_SECRET", "what only the client knows")
	s := set(t, func(p *Provider) {
		p.SignIn = &SignIn{Title: "Meadow account", SecretVariable: "MEADOW_SECRET", Scopes: []string{"groups"}}
	})
	s.Person("what only the client knows", s.claims(nil))
	require.Equal(t, []string{"Meadow account"}, s.verifier.Titles())
	address, keep, err := s.verifier.Begin(t.Context(), 0, back)
	require.NoError(t, err)
	require.Contains(t, address, "scope=openid+profile+groups")
	require.NotContains(t, address, "what only the client knows")
	answer := walk(t, address)
	token, err := s.verifier.Finish(t.Context(), keep, answer.Get("state"), answer.Get("code"))
	require.NoError(t, err)
	c, err := s.call(t, token)
	require.NoError(t, err)
	require.Equal(t, access.Instructor, c.Role)

	_, err = s.verifier.Finish(t.Context(), keep, answer.Get("state"), answer.Get("code"))
	refused(t, fault.Unauthenticated, token, err, "begin again")

	// Another's answer, slipped into somebody's browser, does not sign them in as the other.
	_, mine, err := s.verifier.Begin(t.Context(), 0, back)
	require.NoError(t, err)
	address, _, err = s.verifier.Begin(t.Context(), 0, back)
	require.NoError(t, err)
	theirs := walk(t, address)
	for name, c := range map[string]struct{ keep, state, code string }{
		"another's state": {mine, theirs.Get("state"), theirs.Get("code")},
		"no state":        {mine, "", theirs.Get("code")},
		"no code":         {mine, theirs.Get("state"), ""},
		"nothing kept":    {"", "", theirs.Get("code")},
		"nonsense kept":   {"e30", "", theirs.Get("code")},
		"no base64":       {"!", theirs.Get("state"), theirs.Get("code")},
	} {
		_, err = s.verifier.Finish(t.Context(), c.keep, c.state, c.code)
		require.Equal(t, fault.Unauthenticated, fault.KindOf(err), name)
	}

	// A token that was made for another attempt.
	s.Person("what only the client knows", s.claims(map[string]any{"nonce": "of another attempt"}))
	address, keep, err = s.verifier.Begin(t.Context(), 0, back)
	require.NoError(t, err)
	answer = walk(t, address)
	_, err = s.verifier.Finish(t.Context(), keep, answer.Get("state"), answer.Get("code"))
	refused(t, fault.Unauthenticated, "", err, "begin again")

	// Somebody without a role learns so; the wrong secret of ours lets nobody in.
	s.Person("what only the client knows", s.claims(map[string]any{"groups": "choir"}))
	address, keep, err = s.verifier.Begin(t.Context(), 0, back)
	require.NoError(t, err)
	answer = walk(t, address)
	_, err = s.verifier.Finish(t.Context(), keep, answer.Get("state"), answer.Get("code"))
	refused(t, fault.Denied, "", err, "no role in kitchens/meadow")
	s.Person("another secret", s.claims(nil))
	address, keep, err = s.verifier.Begin(t.Context(), 0, back)
	require.NoError(t, err)
	answer = walk(t, address)
	_, err = s.verifier.Finish(t.Context(), keep, answer.Get("state"), answer.Get("code"))
	refused(t, fault.Unauthenticated, "", err, "begin again")

	_, _, err = s.verifier.Begin(t.Context(), 1, back)
	require.Equal(t, fault.NotFound, fault.KindOf(err))
	_, _, err = s.verifier.Begin(t.Context(), -1, back)
	require.Equal(t, fault.NotFound, fault.KindOf(err))
}

func TestNobodySignsInWhileTheProviderIsAway(t *testing.T) {
	t.Parallel()
	s := set(t, func(p *Provider) { p.SignIn = &SignIn{Title: "Meadow account"} })
	s.Away(true)
	_, _, err := s.verifier.Begin(t.Context(), 0, back)
	refused(t, fault.Unavailable, "", err, "does not answer")
}

func TestReadSignIn(t *testing.T) {
	t.Parallel()
	const text = "providers: [{issuer: 'https://login.example.org', audience: a, kitchen: k, role_claim: g, roles: {owner: [o]}, sign_in: {%}}]"
	_, err := Read(strings.NewReader(strings.Replace(text, "%", "scopes: [groups]", 1)))
	require.ErrorContains(t, err, "providers[0].sign_in.title: is missing")
	_, err = Read(strings.NewReader(strings.Replace(text, "%", "title: Meadow, secret_variable: NO_SUCH_VARIABLE_HERE", 1)))
	require.ErrorContains(t, err, "is not set in the environment")
	list, err := Read(strings.NewReader(strings.Replace(text, "%", "title: Meadow", 1)))
	require.NoError(t, err)
	require.Equal(t, &SignIn{Title: "Meadow"}, list[0].SignIn)
}
