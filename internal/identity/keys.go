package identity

import (
	"context"
	"crypto"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"github.com/go-jose/go-jose/v4"
	"golang.org/x/oauth2"
)

const (
	// fresh is how long keys are used before they are read again, behind the back of callers.
	fresh = 10 * time.Minute
	// stale is how long keys are used at most while the provider is away. Then a key that it may have
	// withdrawn opens nothing any more.
	stale = 24 * time.Hour
	// pause is between two readings, so that tokens with invented keys do not make us a nuisance.
	pause = 10 * time.Second
	// patience is how long a provider has to answer one reading.
	patience = 5 * time.Second
	// mostDocument bounds what a provider may send, in bytes.
	mostDocument = 1 << 20
)

// keyRing holds the public keys of one issuer. It is safe for concurrent use.
type keyRing struct {
	issuer     string
	algorithms []string
	client     *http.Client
	now        func() time.Time

	mu sync.Mutex
	// keys were read at readAt; nil before the first success.
	keys   *published
	readAt time.Time
	// triedAt is when the last reading began, and failed what came of it.
	triedAt time.Time
	failed  error
	// reading is closed when the reading that runs has ended; nil when none runs.
	reading chan struct{}
}

// published is what an issuer published at one time; it does not change.
type published struct {
	oidc.StaticKeySet
	ids map[string]bool
	// endpoint is where people sign in.
	endpoint oauth2.Endpoint
}

// errAway says that there are no keys to go by.
var errAway = errors.New("the identity provider does not answer")

// awayError is errAway with its cause, which is for the log, and when to ask again.
type awayError struct {
	cause error
	after time.Duration
}

func (e *awayError) Error() string        { return errAway.Error() + ": " + e.cause.Error() }
func (e *awayError) Unwrap() error        { return e.cause }
func (e *awayError) Is(target error) bool { return target == errAway }

// current gives the keys to check tokens with. It waits for the provider only when there
// are none, or when they are too old.
func (r *keyRing) current(ctx context.Context) (*published, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if age := r.now().Sub(r.readAt); r.keys != nil && age < stale {
		if age >= fresh {
			r.begin()
		}
		return r.keys, nil
	}
	return r.wait(ctx)
}

// newer gives the keys published after the old ones, for a token whose key is not among
// those: providers change keys without telling (OpenID Connect Core 1.0, section 10.1.1).
func (r *keyRing) newer(ctx context.Context, old *published) (*published, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.keys != old {
		return r.keys, nil
	}
	return r.wait(ctx)
}

// wait reads the keys anew and gives them, or says when that may be tried again. The lock
// is held, but for the time of waiting.
func (r *keyRing) wait(ctx context.Context) (*published, error) {
	done := r.begin()
	if done == nil {
		cause := r.failed
		if cause == nil {
			cause = errors.New("its keys were read a moment ago")
		}
		return nil, &awayError{cause: cause, after: max(time.Second, pause-r.now().Sub(r.triedAt))}
	}
	r.mu.Unlock()
	select {
	case <-ctx.Done():
	case <-done:
	}
	r.mu.Lock()
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if r.failed != nil {
		return nil, &awayError{cause: r.failed, after: max(time.Second, pause-r.now().Sub(r.triedAt))}
	}
	return r.keys, nil
}

// begin starts reading unless that was tried a moment ago, and gives what is closed when
// the reading that now runs has ended; nil when none runs. The lock is held.
func (r *keyRing) begin() <-chan struct{} {
	if r.reading != nil {
		return r.reading
	}
	if now := r.now(); r.triedAt.IsZero() || now.Sub(r.triedAt) >= pause {
		r.triedAt = now
		done := make(chan struct{})
		r.reading = done
		go r.read(done)
		return done
	}
	return nil
}

func (r *keyRing) read(done chan struct{}) {
	// The reading serves whoever waits, so it does not end with the caller that began it.
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	keys, err := r.fetch(ctx)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.failed = err
	if err == nil {
		r.keys, r.readAt = keys, r.now()
	}
	r.reading = nil
	close(done)
}

// fetch reads the discovery document and the keys that it points to.
func (r *keyRing) fetch(ctx context.Context) (*published, error) {
	provider, err := oidc.NewProvider(oidc.ClientContext(ctx, r.client), r.issuer)
	if err != nil {
		return nil, fmt.Errorf("reading the discovery document: %w", err)
	}
	var document struct {
		Keys string `json:"jwks_uri"`
	}
	if err := provider.Claims(&document); err != nil {
		return nil, fmt.Errorf("reading the discovery document: %w", err)
	}
	if err := checkURL(document.Keys); err != nil {
		return nil, fmt.Errorf("the discovery document's jwks_uri %w", err)
	}
	if strings.HasPrefix(r.issuer, "https:") && !strings.HasPrefix(document.Keys, "https:") {
		return nil, errors.New("the discovery document's jwks_uri leads away from https")
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, document.Keys, nil)
	if err != nil {
		return nil, err
	}
	response, err := r.client.Do(request)
	if err != nil {
		return nil, fmt.Errorf("reading the keys: %w", err)
	}
	defer func() { _ = response.Body.Close() }()
	if response.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("reading the keys: %s", response.Status)
	}
	var set struct {
		Keys []json.RawMessage `json:"keys"`
	}
	if err := json.NewDecoder(response.Body).Decode(&set); err != nil {
		return nil, fmt.Errorf("reading the keys: %w", err)
	}
	out, err := r.sort(set.Keys)
	if err == nil {
		out.endpoint = provider.Endpoint()
	}
	return out, err
}

// sort keeps the keys that may check a signature. One that is not understood is no reason
// to do without the others (RFC 7517, section 5).
func (r *keyRing) sort(raw []json.RawMessage) (*published, error) {
	out := &published{ids: map[string]bool{}}
	for _, text := range raw {
		var key jose.JSONWebKey
		if err := json.Unmarshal(text, &key); err != nil || !key.Valid() || !key.IsPublic() {
			continue
		}
		if key.Use == "enc" || key.Algorithm != "" && !slices.Contains(r.algorithms, key.Algorithm) {
			continue
		}
		out.PublicKeys = append(out.PublicKeys, crypto.PublicKey(key.Key))
		if key.KeyID != "" {
			out.ids[key.KeyID] = true
		}
	}
	if len(out.PublicKeys) == 0 {
		return nil, errors.New("the provider publishes no key that signs with an allowed algorithm")
	}
	return out, nil
}

// boundedTransport cuts off answers that are too long.
type boundedTransport struct{ http.RoundTripper }

func (t boundedTransport) RoundTrip(request *http.Request) (*http.Response, error) {
	response, err := t.RoundTripper.RoundTrip(request)
	if err == nil {
		response.Body = struct {
			io.Reader
			io.Closer
		}{io.LimitReader(response.Body, mostDocument), response.Body}
	}
	return response, err
}

// newClient reaches a provider: it follows no redirect away from https.
func newClient(issuer string) *http.Client {
	return &http.Client{
		Timeout:   patience,
		Transport: boundedTransport{http.DefaultTransport},
		CheckRedirect: func(request *http.Request, via []*http.Request) error {
			if len(via) > 3 || request.URL.Scheme != "https" && strings.HasPrefix(issuer, "https:") {
				return errors.New("the provider redirects away from https, or too often")
			}
			return nil
		},
	}
}
