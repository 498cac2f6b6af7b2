package main

import (
	"fmt"
	"os"
	"path/filepath"
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
