package identity

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"log/slog"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"

	"stillroom/internal/access"
	"stillroom/internal/fault"
)

// longestToken bounds a token, in bytes; metadata of calls is bounded likewise.
const longestToken = 16 << 10

// Verifier finds out who an identity provider's token stands for. It is safe for
// concurrent use.
type Verifier struct {
	// byIssuer does not change.
	byIssuer map[string]*issuer
	// doors are the providers by which people sign in to the pages.
	doors []Provider
	log   *slog.Logger
	now   func() time.Time
}

// issuer is a provider's keys with the kitchens it vouches for.
type issuer struct {
	keys    keyRing
	entries []Provider
}

// New makes a verifier for providers that Read has checked. The log hears of providers
// that are away; now is the clock.
func New(providers []Provider, log *slog.Logger, now func() time.Time) *Verifier {
	v := &Verifier{byIssuer: map[string]*issuer{}, log: log, now: now}
	for _, p := range providers {
		if len(p.Algorithms) == 0 {
			p.Algorithms = usualAlgorithms
		}
		of := v.byIssuer[p.Issuer]
		if of == nil {
			of = &issuer{keys: keyRing{issuer: p.Issuer, client: newClient(p.Issuer), now: now}}
			v.byIssuer[p.Issuer] = of
		}
		of.entries = append(of.entries, p)
		if p.SignIn != nil {
			v.doors = append(v.doors, p)
		}
		for _, a := range p.Algorithms {
			if !slices.Contains(of.keys.algorithms, a) {
				of.keys.algorithms = append(of.keys.algorithms, a)
			}
		}
	}
	return v
}

// Warm asks every provider for its keys, so that the first caller need not wait, and logs
// which do not answer. It returns when all have answered or failed.
func (v *Verifier) Warm(ctx context.Context) {
	var all sync.WaitGroup
	for name, of := range v.byIssuer {
		all.Go(func() {
			if _, err := of.keys.current(ctx); err != nil {
				v.log.WarnContext(ctx, "an identity provider does not answer; its people cannot sign in until it does", "issuer", name, "error", err)
			}
		})
	}
	all.Wait()
}

// Issued says whether a bearer token has the form of an identity provider's (a JWT in
// compact form); secrets of ours hold no dots.
func Issued(token string) bool { return strings.Count(token, ".") == 2 }

// claims are what is read of a token besides what the library checks.
type claims struct {
	Issuer    string          `json:"iss"`
	NotBefore *float64        `json:"nbf"`
	Party     string          `json:"azp"`
	Client    string          `json:"client_id"`
	Events    json.RawMessage `json:"events"`
	Name      string          `json:"name"`
	Username  string          `json:"preferred_username"`
}

func refuse(format string, args ...any) *fault.Error {
	return fault.New(fault.Unauthenticated, format, args...)
}

// Caller is who a token stands for. It is Unauthenticated when the token proves nothing,
// Denied when it gives no role here, Unavailable while its provider is away. No message
// repeats anything of a token that was not verified.
func (v *Verifier) Caller(ctx context.Context, token string) (access.Caller, error) {
	if len(token) > longestToken {
		return access.Caller{}, refuse("the token is longer than %d bytes; ask your identity provider for one with fewer claims", longestToken)
	}
	head, unverified, err := peek(token)
	if err != nil {
		return access.Caller{}, refuse("the token is neither one of ours nor a signed token of an identity provider; send it whole and unchanged").Because(err)
	}
	of := v.byIssuer[unverified.Issuer]
	if of == nil {
		return access.Caller{}, refuse("the token comes from an identity provider that this server was not told of; sign in at your kitchen's, or use a token the kitchen's owner made")
	}
	if !slices.Contains(of.keys.algorithms, head.Algorithm) {
		return access.Caller{}, refuse("the token is not signed in a way that is accepted here; ask your identity provider for one signed with %s", strings.Join(of.keys.algorithms, ", "))
	}
	if !head.forAccess() {
		return access.Caller{}, refuse("the token was made for another use; send an ID token or an access token")
	}
	check := &checking{ring: &of.keys, key: head.KeyID}
	verified, err := oidc.NewVerifier(of.keys.issuer, check, &oidc.Config{
		SkipClientIDCheck:    true, // done below: an issuer may have an audience for each of its kitchens
		SupportedSigningAlgs: of.keys.algorithms, Now: v.now,
	}).Verify(ctx, token)
	if err != nil {
		return access.Caller{}, v.explain(ctx, of, check.failed, unverified, err)
	}
	return v.welcome(of, head, verified)
}

// explain says why a token was not accepted.
func (v *Verifier) explain(ctx context.Context, of *issuer, signature error, unverified claims, err error) error {
	var expired *oidc.TokenExpiredError
	var away *awayError
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.As(signature, &away):
		f := fault.New(fault.Unavailable, "your identity provider does not answer, so the token cannot be checked; try again in a moment, or use a token the kitchen's owner made").Because(away)
		f.Reason, f.RetryAfter = "IDENTITY_PROVIDER_AWAY", away.after
		return f
	case signature != nil:
		return refuse("the token is not signed with a key that its identity provider publishes; sign in there again").Because(signature)
	case errors.As(err, &expired):
		return refuse("the token has expired; sign in again at your identity provider").Because(err)
	case unverified.NotBefore != nil && float64(v.now().Unix()) < *unverified.NotBefore:
		return refuse("the token is not valid yet; compare your identity provider's clock with the server's").Because(err)
	}
	return refuse("the token cannot be accepted; sign in again at your identity provider").Because(err)
}

// welcome gives the caller of a verified token of this issuer.
func (v *Verifier) welcome(of *issuer, head header, token *oidc.IDToken) (access.Caller, error) {
	var entries []Provider
	for _, p := range of.entries {
		if slices.Contains(token.Audience, p.Audience) && slices.Contains(p.Algorithms, head.Algorithm) {
			entries = append(entries, p)
		}
	}
	if len(entries) != 1 {
		if len(entries) > 1 {
			return access.Caller{}, refuse("the token is made for several kitchens at once; ask your identity provider for one with a single audience")
		}
		return access.Caller{}, refuse("the token was made for another program; ask your identity provider for one whose audience is this service")
	}
	p := entries[0]
	var known claims
	all := map[string]any{}
	if err := errors.Join(token.Claims(&known), token.Claims(&all)); err != nil {
		return access.Caller{}, refuse("the token's claims cannot be read; ask those who run your identity provider").Because(err)
	}
	switch {
	case token.Subject == "" || len(token.Subject) > 255:
		return access.Caller{}, refuse("the token names no subject; ask those who run your identity provider")
	case len(known.Events) > 0:
		return access.Caller{}, refuse("the token was made for another use; send an ID token or an access token")
	case len(p.Clients) > 0 && !slices.Contains(p.Clients, known.Party) && !slices.Contains(p.Clients, known.Client):
		return access.Caller{}, refuse("the token was given to a program that is not accepted here; sign in through one that is")
	}
	role := access.Nobody
	for _, value := range texts(find(all, p.RoleClaim)) {
		for name, values := range p.Roles {
			if r, ok := access.ParseRole(name); ok && slices.Contains(values, value) {
				role = max(role, r)
			}
		}
	}
	if role == access.Nobody {
		return access.Caller{}, fault.New(fault.Denied, "you are signed in, but your identity provider gives you no role in kitchens/%s; ask its owner for one", p.Kitchen)
	}
	name := known.Name
	if name == "" {
		name = known.Username
	}
	return access.Caller{
		Role: role, Kitchen: p.Kitchen, Subject: subject(p, token.Subject), DisplayName: fault.Shorten(name), Until: token.Expiry,
	}, nil
}

// plainSubject is what a subject may consist of to be recorded as it is.
var plainSubject = regexp.MustCompile(`^[A-Za-z0-9_.|:-]+$`)

// subject is how the record of changes calls somebody: by the identifier that only the
// issuer can turn into a person. One that looks like an address is kept as a digest.
func subject(p Provider, sub string) string {
	place := strings.TrimSuffix(p.Issuer[strings.Index(p.Issuer, "://")+3:], "/")
	if p.DigestSubject || !plainSubject.MatchString(sub) {
		sum := sha256.Sum256([]byte(p.Issuer + "\x00" + sub))
		sub = "sha256:" + base64.RawURLEncoding.EncodeToString(sum[:18])
	}
	return place + "#" + sub
}

// find is the claim of a name, else the one that the name's dots lead to; nil when there is none.
func find(all map[string]any, name string) any {
	if v, ok := all[name]; ok {
		return v
	}
	first, rest, nested := strings.Cut(name, ".")
	if inner, ok := all[first].(map[string]any); ok && nested {
		return find(inner, rest)
	}
	return nil
}

// texts are the texts in a claim that holds one or a list of them.
func texts(claim any) []string {
	switch c := claim.(type) {
	case string:
		return []string{c}
	case []any:
		var out []string
		for _, v := range c {
			if s, ok := v.(string); ok {
				out = append(out, s)
			}
		}
		return out
	}
	return nil
}

// header is the part of a token that says how it is signed.
type header struct {
	Algorithm string `json:"alg"`
	KeyID     string `json:"kid"`
	Type      string `json:"typ"`
}

// forAccess is false for tokens that say they are for something else, such as logging out.
func (h header) forAccess() bool {
	switch strings.TrimPrefix(strings.ToLower(h.Type), "application/") {
	case "", "jwt", "at+jwt":
		return true
	}
	return false
}

// peek reads a token without believing it.
func peek(token string) (h header, c claims, err error) {
	if err := part(token, 0, &h); err != nil {
		return h, c, err
	}
	return h, c, payload(token, &c)
}

// payload reads a token's claims without checking them.
func payload(token string, into any) error { return part(token, 1, into) }

func part(token string, n int, into any) error {
	text, err := base64.RawURLEncoding.DecodeString(strings.Split(token, ".")[n])
	if err != nil {
		return err
	}
	return json.Unmarshal(text, into)
}

// checking checks the signature of one token.
type checking struct {
	ring *keyRing
	key  string
	// failed is why, in a form that the library does not flatten to text.
	failed error
}

// VerifySignature checks against the keys at hand, and when the token's key is not among
// them, against those that the provider publishes now.
func (c *checking) VerifySignature(ctx context.Context, token string) (payload []byte, err error) {
	defer func() { c.failed = err }()
	keys, err := c.ring.current(ctx)
	if err != nil {
		return nil, err
	}
	payload, err = keys.VerifySignature(ctx, token)
	if err == nil || keys.ids[c.key] {
		return payload, err
	}
	if keys, err = c.ring.newer(ctx, keys); err != nil {
		return nil, err
	}
	return keys.VerifySignature(ctx, token)
}
