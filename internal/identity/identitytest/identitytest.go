// Package identitytest is an identity provider for tests: it publishes its keys over
// HTTP as OpenID Connect Discovery 1.0 has it, signs what it is told to, and can be
// switched off.
package identitytest

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/go-jose/go-jose/v4"
	"github.com/stretchr/testify/require"
)

// Provider is an identity provider on loopback until the test ends.
type Provider struct {
	// Issuer is its URL.
	Issuer string
	// Readings counts how often its keys were asked for, answered or not.
	Readings atomic.Int64

	away atomic.Bool
	mu   sync.Mutex
	keys []jose.JSONWebKey
	// person and secret are who signs in and what the client must show; codes are those given out.
	person map[string]any
	secret string
	codes  map[string]url.Values
}

// Start starts a provider that signs with an RSA key called "first".
func Start(t testing.TB) *Provider {
	t.Helper()
	p := &Provider{}
	server := httptest.NewServer(http.HandlerFunc(p.serve))
	t.Cleanup(server.Close)
	p.Issuer = server.URL
	p.Rotate(t, "first")
	return p
}

// Away switches the provider off or on.
func (p *Provider) Away(away bool) { p.away.Store(away) }

// Rotate replaces the keys by one new RSA key with this id.
func (p *Provider) Rotate(t testing.TB, id string) {
	t.Helper()
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	require.NoError(t, err)
	p.Use(jose.JSONWebKey{Key: key, KeyID: id, Algorithm: "RS256", Use: "sig"})
}

// RotateToCurve replaces the keys by one new key on the curve P-256 without an id.
func (p *Provider) RotateToCurve(t testing.TB) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	p.Use(jose.JSONWebKey{Key: key, Algorithm: "ES256"})
}

// Use replaces the keys; the first signs.
func (p *Provider) Use(keys ...jose.JSONWebKey) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.keys = keys
}

// Person signs in whoever is sent to the provider from now on with these claims; the
// client must show a secret.
func (p *Provider) Person(secret string, claims map[string]any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.person, p.secret, p.codes = claims, secret, map[string]url.Values{}
}

// authorize signs somebody in at once and sends them back (OpenID Connect Core 1.0, section 3.1.2).
func (p *Provider) authorize(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	back, err := url.Parse(q.Get("redirect_uri"))
	if err != nil || q.Get("response_type") != "code" || q.Get("code_challenge_method") != "S256" || q.Get("nonce") == "" ||
		!slices.Contains(strings.Fields(q.Get("scope")), "openid") {
		http.Error(w, "not a request of the authorization code flow with PKCE", http.StatusBadRequest)
		return
	}
	code := rand.Text()
	p.mu.Lock()
	p.codes[code] = q
	p.mu.Unlock()
	back.RawQuery = url.Values{"code": {code}, "state": {q.Get("state")}}.Encode()
	http.Redirect(w, r, back.String(), http.StatusFound)
}

// token gives the token for a code, once, to the client that asked for it.
func (p *Provider) token(w http.ResponseWriter, r *http.Request) {
	id, secret, _ := r.BasicAuth()
	secret, _ = url.QueryUnescape(secret) // RFC 6749, section 2.3.1
	p.mu.Lock()
	asked, known := p.codes[r.PostFormValue("code")]
	delete(p.codes, r.PostFormValue("code"))
	challenge := sha256.Sum256([]byte(r.PostFormValue("code_verifier"))) // RFC 7636, section 4.6
	fits := known && id == asked.Get("client_id") && secret == p.secret && r.PostFormValue("redirect_uri") == asked.Get("redirect_uri") &&
		base64.RawURLEncoding.EncodeToString(challenge[:]) == asked.Get("code_challenge")
	key, claims := p.keys[0], maps.Clone(p.person)
	p.mu.Unlock()
	if !fits {
		http.Error(w, `{"error":"invalid_grant"}`, http.StatusBadRequest)
		return
	}
	if _, set := claims["nonce"]; !set {
		claims["nonce"] = asked.Get("nonce")
	}
	signed, err := sign(jose.SignatureAlgorithm(key.Algorithm), key.Key, key.KeyID, "JWT", claims)
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(map[string]any{"access_token": "opaque", "token_type": "Bearer", "id_token": signed})
}

func (p *Provider) serve(w http.ResponseWriter, r *http.Request) {
	var answer any
	switch r.URL.Path {
	case "/authorize":
		p.authorize(w, r)
		return
	case "/token":
		p.token(w, r)
		return
	case "/.well-known/openid-configuration":
		answer = map[string]any{
			"issuer": p.Issuer, "jwks_uri": p.Issuer + "/keys", "authorization_endpoint": p.Issuer + "/authorize",
			"token_endpoint": p.Issuer + "/token", "id_token_signing_alg_values_supported": []string{"RS256", "ES256"},
		}
	case "/keys":
		p.Readings.Add(1)
		var set jose.JSONWebKeySet
		p.mu.Lock()
		for _, k := range p.keys {
			set.Keys = append(set.Keys, k.Public())
		}
		p.mu.Unlock()
		answer = set
	}
	if p.away.Load() || answer == nil {
		http.Error(w, "away", http.StatusServiceUnavailable)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(answer)
}

// Sign signs claims with the first key.
func (p *Provider) Sign(t testing.TB, claims map[string]any) string {
	t.Helper()
	p.mu.Lock()
	key := p.keys[0]
	p.mu.Unlock()
	return SignWith(t, jose.SignatureAlgorithm(key.Algorithm), key.Key, key.KeyID, "JWT", claims)
}

// SignWith signs claims with any key, by any algorithm and with any header.
func SignWith(t testing.TB, algorithm jose.SignatureAlgorithm, key any, id, kind string, claims map[string]any) string {
	t.Helper()
	token, err := sign(algorithm, key, id, kind, claims)
	require.NoError(t, err)
	return token
}

func sign(algorithm jose.SignatureAlgorithm, key any, id, kind string, claims map[string]any) (string, error) {
	options := (&jose.SignerOptions{}).WithType(jose.ContentType(kind))
	signer, err := jose.NewSigner(jose.SigningKey{Algorithm: algorithm, Key: jose.JSONWebKey{Key: key, KeyID: id}}, options)
	if err != nil {
		return "", err
	}
	payload, err := json.Marshal(claims)
	if err != nil {
		return "", err
	}
	signed, err := signer.Sign(payload)
	if err != nil {
		return "", err
	}
	return signed.CompactSerialize()
}

// Unsigned makes a token with the algorithm "none" (RFC 7519, section 6).
func Unsigned(t testing.TB, claims map[string]any) string {
	t.Helper()
	payload, err := json.Marshal(claims)
	require.NoError(t, err)
	return base64.RawURLEncoding.EncodeToString([]byte(`{"alg":"none","typ":"JWT"}`)) + "." +
		base64.RawURLEncoding.EncodeToString(payload) + "."
}

// PublicBytes is the public half of the first key as it is published in certificates:
// what an attacker would use as the secret of an HMAC.
func (p *Provider) PublicBytes(t testing.TB) []byte {
	t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	signer, ok := p.keys[0].Key.(crypto.Signer)
	require.True(t, ok)
	text, err := x509.MarshalPKIXPublicKey(signer.Public())
	require.NoError(t, err)
	return text
}
