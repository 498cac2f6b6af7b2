package main

import (
	"fmt"
	"html"
	"io"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/identity/identitytest"
	"stillroom/internal/store/storetest"
)

// TestAnIdentityProviderSignsPeopleIn: the server starts while the provider is away, and
// commands take the provider's tokens where they take ours.
func TestAnIdentityProviderSignsPeopleIn(t *testing.T) {
	t.Parallel()
	provider := identitytest.Start(t)
	provider.Away(true)
	data := t.TempDir()
	file := filepath.Join(data, "identity.yaml")
	require.NoError(t, os.WriteFile(file, fmt.Appendf(nil,
		"providers:\n- {issuer: %q, audience: stillroom, kitchen: high-meadow, role_claim: groups, roles: {instructor: [teachers]}}\n", provider.Issuer), 0o600))
	p := startProgram(t, "--open=false", "--database", storetest.URL(t), "--data", data, "--identity", file)
	text, err := os.ReadFile(filepath.Join(data, operatorFile))
	require.NoError(t, err)
	said, err := p.as(shownSecret.FindString(string(text)), "kitchen", "create", "high-meadow", "--currency", "USD")
	require.NoError(t, err, said)

	token := provider.Sign(t, map[string]any{
		"iss": provider.Issuer, "aud": "stillroom", "sub": "248289761001", "exp": time.Now().Add(time.Hour).Unix(), "groups": "teachers", "name": "Ines"})
	said, err = p.as(token, "token", "who", "--timeout", "2s")
	require.Error(t, err)
	require.Contains(t, said, "your identity provider does not answer")
	require.NotContains(t, said, token)

	provider.Away(false)
	require.Eventually(t, func() bool {
		said, err = p.as(token, "token", "who")
		return err == nil
	}, time.Minute, time.Second, "the server asks again")
	require.Contains(t, said, "instructor (Ines) in high-meadow, recorded as 127.0.0.1:")
	said, err = p.as(token, "token", "list")
	require.Error(t, err)
	require.Contains(t, said, "an instructor may not call AccessService/ListTokens")
}

// TestABrowserSignsInByAProvider: from the page that was wanted to the provider and back
// to it, on the program as it runs.
func TestABrowserSignsInByAProvider(t *testing.T) {
	t.Parallel()
	provider := identitytest.Start(t)
	data := t.TempDir()
	file := filepath.Join(data, "identity.yaml")
	require.NoError(t, os.WriteFile(file, fmt.Appendf(nil, "providers:\n- {issuer: %q, audience: stillroom, kitchen: high-meadow, role_claim: groups, "+
		"roles: {instructor: [teachers]}, sign_in: {title: Meadow account}}\n", provider.Issuer), 0o600))
	p := startProgram(t, "--open=false", "--web", "127.0.0.1:0", "--database", storetest.URL(t), "--data", data, "--identity", file)
	text, err := os.ReadFile(filepath.Join(data, operatorFile))
	require.NoError(t, err)
	said, err := p.as(shownSecret.FindString(string(text)), "kitchen", "create", "high-meadow", "--name", "High Meadow kitchen", "--currency", "USD")
	require.NoError(t, err, said)
	pages := p.pages()

	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	browser := &http.Client{Jar: jar}
	get := func(address string) (shown, path string) {
		t.Helper()
		reply, err := browser.Get(address)
		require.NoError(t, err)
		body, err := io.ReadAll(reply.Body)
		require.NoError(t, err)
		require.NoError(t, reply.Body.Close())
		return string(body), reply.Request.URL.Path
	}
	claims := map[string]any{
		"iss": provider.Issuer, "aud": "stillroom", "sub": "248289761001", "exp": time.Now().Add(time.Hour).Unix(), "groups": "teachers", "name": "Ines"}
	provider.Person("", claims)
	shown, path := get(pages + "/kitchens/high-meadow")
	require.Equal(t, "/sign-in", path)
	link := regexp.MustCompile(`href="(/sign-in/by/0[^"]*)">Sign in by Meadow account`).FindStringSubmatch(shown)
	require.NotNil(t, link, shown)
	shown, path = get(pages + html.UnescapeString(link[1]))
	require.Equal(t, "/kitchens/high-meadow", path, "to the page that was wanted")
	require.Contains(t, shown, "High Meadow kitchen")

	shown, path = get(pages + "/signed-in?code=guessed&state=guessed")
	require.Equal(t, "/signed-in", path)
	require.Contains(t, shown, "Signing in at your identity provider came to nothing; begin again.")
	claims["groups"] = "choir"
	provider.Person("", claims)
	shown, _ = get(pages + "/sign-in/by/0")
	require.Contains(t, shown, "gives you no role in kitchens/high-meadow")
	shown, _ = get(pages + "/sign-in/by/7")
	require.Contains(t, shown, "Nothing here")
}

func TestABrokenIdentityFileStopsTheStart(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "identity.yaml")
	require.NoError(t, os.WriteFile(file, []byte("providers: [{issuer: 'http://login.example.org'}]"), 0o600))
	for _, c := range []struct {
		o     serverOptions
		words string
	}{
		{serverOptions{listen: "127.0.0.1:0", identity: file}, `providers[0].issuer "http://login.example.org": is not reached by https`},
		{serverOptions{listen: "127.0.0.1:0", identity: file + ".none"}, "no such file"},
		{serverOptions{listen: "127.0.0.1:0", identity: file, open: true}, "--identity and --open exclude each other"},
	} {
		_, err := startServer(t.Context(), c.o)
		require.ErrorContains(t, err, c.words)
	}
}
