package identity

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"os"
	"slices"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/oauth2"

	"stillroom/internal/fault"
)

// SignIn says how people sign in to the pages by a provider: by the authorization code flow
// with PKCE (OpenID Connect Core 1.0, section 3.1; RFC 7636). The client id is the
// provider's audience.
type SignIn struct {
	// Title is what people know the provider by.
	Title string `yaml:"title"`
	// SecretVariable names the environment variable that holds the client's secret; empty for a client that
	// has none.
	SecretVariable string `yaml:"secret_variable"`
	// Scopes are asked for besides openid and profile.
	Scopes []string `yaml:"scopes"`
}

// attempt is what is kept at the browser of somebody who is signing in: what makes the
// answer theirs.
type attempt struct {
	Issuer   string `json:"i"`
	Audience string `json:"a"`
	State    string `json:"s"`
	Nonce    string `json:"n"`
	Verifier string `json:"v"`
	Back     string `json:"b"`
}

// Titles are the providers by which people may sign in to the pages, in the order of the file.
func (v *Verifier) Titles() []string {
	titles := make([]string, len(v.doors))
	for i, p := range v.doors {
		titles[i] = p.SignIn.Title
	}
	return titles
}

// Begin gives the address of a provider where somebody signs in, who is sent back to a
// page of ours, and what to keep at their browser until Finish.
func (v *Verifier) Begin(ctx context.Context, which int, back string) (address, keep string, err error) {
	if which < 0 || which >= len(v.doors) {
		return "", "", fault.New(fault.NotFound, "there is no such identity provider to sign in by")
	}
	p := v.doors[which]
	config, err := v.client(ctx, p, back)
	if err != nil {
		return "", "", err
	}
	a := attempt{Issuer: p.Issuer, Audience: p.Audience, State: rand.Text(), Nonce: rand.Text(), Verifier: oauth2.GenerateVerifier(), Back: back}
	text, err := json.Marshal(a)
	if err != nil {
		return "", "", err
	}
	address = config.AuthCodeURL(a.State, oidc.Nonce(a.Nonce), oauth2.S256ChallengeOption(a.Verifier))
	return address, base64.RawURLEncoding.EncodeToString(text), nil
}

// Finish gives the token of somebody who came back from their provider with a code.
func (v *Verifier) Finish(ctx context.Context, keep, state, code string) (token string, err error) {
	again := func(cause error) error {
		return refuse("signing in at your identity provider came to nothing; begin again").Because(cause)
	}
	var a attempt
	text, err := base64.RawURLEncoding.DecodeString(keep)
	if err == nil {
		err = json.Unmarshal(text, &a)
	}
	if err != nil || a.State == "" || subtle.ConstantTimeCompare([]byte(a.State), []byte(state)) != 1 || code == "" {
		return "", again(err)
	}
	which := slices.IndexFunc(v.doors, func(p Provider) bool { return p.Issuer == a.Issuer && p.Audience == a.Audience })
	if which < 0 {
		return "", again(nil)
	}
	p := v.doors[which]
	config, err := v.client(ctx, p, a.Back)
	if err != nil {
		return "", err
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	got, err := config.Exchange(oidc.ClientContext(ctx, v.byIssuer[p.Issuer].keys.client), code, oauth2.VerifierOption(a.Verifier))
	if err != nil {
		return "", again(err)
	}
	token, _ = got.Extra("id_token").(string)
	if !Issued(token) {
		return "", again(nil)
	}
	// Who it is for is checked with the rest when the token is used; that it answers this attempt, here.
	if _, err := v.Caller(ctx, token); err != nil {
		return "", err
	}
	var answered struct {
		Nonce string `json:"nonce"`
	}
	if err := payload(token, &answered); err != nil || subtle.ConstantTimeCompare([]byte(answered.Nonce), []byte(a.Nonce)) != 1 {
		return "", again(err)
	}
	return token, nil
}

// client is what we are to a provider.
func (v *Verifier) client(ctx context.Context, p Provider, back string) (*oauth2.Config, error) {
	keys, err := v.byIssuer[p.Issuer].keys.current(ctx)
	if err != nil {
		return nil, v.explain(ctx, v.byIssuer[p.Issuer], err, claims{}, err)
	}
	return &oauth2.Config{
		ClientID: p.Audience, ClientSecret: os.Getenv(p.SignIn.SecretVariable), Endpoint: keys.endpoint, RedirectURL: back,
		Scopes: append([]string{oidc.ScopeOpenID, "profile"}, p.SignIn.Scopes...),
	}, nil
}
