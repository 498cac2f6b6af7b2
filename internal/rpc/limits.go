package rpc

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"net"
	"net/netip"
	"strings"
	"sync"
	"time"

	"github.com/hashicorp/golang-lru/v2/simplelru"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/metric"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	"stillroom/internal/access"
	"stillroom/internal/fault"
	"stillroom/internal/limit"
)

// Limits bound what callers may ask of a server. A limit that is zero does not hold, but
// for the sizes, which then are DefaultLimits'.
type Limits struct {
	// RequestBytes bounds a request; the largest is an imported file of 10 MiB with its envelope.
	RequestBytes int
	// CallTime, SearchTime and WatchTime are how long a call, a search for a plan and a watch may take.
	CallTime, SearchTime, WatchTime time.Duration
	// CallerRate is how many calls a second one caller may make on the long run, CallerBurst at once. A
	// caller is a token or a person of an identity provider; where nobody says who they are, an address.
	CallerRate  float64
	CallerBurst int
	// CallerCalls and CallerStreams are how many calls and streams one caller may have under way.
	CallerCalls, CallerStreams int
	// PeerFailures is how many times a minute one address may fail to say who it is.
	PeerFailures int
	// Searches, LongCalls and their Waiting are the places of the queues for expensive work. Zero places
	// are as many as there are processors, and twice as many for long calls.
	Searches, SearchesWaiting   int
	LongCalls, LongCallsWaiting int
}

// DefaultLimits are wide enough for a class of sixty behind one address, each with the
// pages open.
func DefaultLimits() Limits {
	return Limits{
		RequestBytes: 12 << 20,
		CallTime:     2 * time.Minute, SearchTime: 10 * time.Minute, WatchTime: 12 * time.Hour,
		CallerRate: 200, CallerBurst: 2000, CallerCalls: 200, CallerStreams: 1000,
		PeerFailures:    120,
		SearchesWaiting: 16, LongCallsWaiting: 64,
	}
}

// remembered bounds how many callers and addresses the limits know at a time. Whoever is
// forgotten has been quiet longest.
const remembered = 20_000

// doorman holds the limits of a server. It is safe for concurrent use.
type doorman struct {
	Limits
	now func() time.Time

	rates    *limit.Rates
	calls    *limit.Places
	streams  *limit.Places
	failures *limit.Rates
	searches *limit.Queue
	long     *limit.Queue
	refusals metric.Int64Counter

	mu sync.Mutex
	// known are the callers behind secrets that let somebody in lately, by the secrets' hashes. They let
	// nobody in; they say whose rate a call counts on before it is looked up, and keep those who were in
	// from suffering by others at their address.
	known *simplelru.LRU[string, string]
}

func newDoorman(l Limits, now func() time.Time, processors int, meters metric.MeterProvider) (*doorman, error) {
	d := &doorman{
		Limits: l, now: now,
		rates: limit.NewRates(l.CallerRate, l.CallerBurst, remembered),
		calls: limit.NewPlaces(l.CallerCalls), streams: limit.NewPlaces(l.CallerStreams),
		failures: limit.NewRates(float64(l.PeerFailures)/60, l.PeerFailures, remembered),
		searches: limit.NewQueue(cmp.Or(l.Searches, processors), cmp.Or(l.SearchesWaiting, math.MaxInt32)),
		long:     limit.NewQueue(cmp.Or(l.LongCalls, 2*processors), cmp.Or(l.LongCallsWaiting, math.MaxInt32)),
	}
	var err error
	if d.known, err = simplelru.NewLRU[string, string](remembered, nil); err != nil {
		return nil, err
	}
	d.refusals, err = meters.Meter("stillroom/internal/rpc").Int64Counter("stillroom.refusals",
		metric.WithDescription("Calls that a limit refused or cut off, by the limit."))
	if err != nil {
		return nil, err
	}
	for _, l := range []string{"rate", "calls", "streams", "failures", "searches", "long calls", "time"} {
		d.refusals.Add(context.Background(), 0, metric.WithAttributes(attribute.String("limit", l)))
	}
	return d, nil
}

// refuse is the status of a call that a limit refuses: whose limit, and when to try again.
func (d *doorman) refuse(ctx context.Context, which, subject string, wait time.Duration, sentence string) error {
	d.count(ctx, which)
	st, err := status.New(codes.ResourceExhausted, sentence).WithDetails(
		&errdetails.ErrorInfo{
			Reason: "LIMIT_REACHED", Domain: errorDomain, Metadata: map[string]string{"limit": which},
		},
		&errdetails.QuotaFailure{Violations: []*errdetails.QuotaFailure_Violation{{Subject: subject, Description: sentence}}},
		&errdetails.RetryInfo{RetryDelay: durationpb.New(wait)},
	)
	if err != nil {
		return err
	}
	return st.Err()
}

func (d *doorman) count(ctx context.Context, which string) {
	d.refusals.Add(ctx, 1, metric.WithAttributes(attribute.String("limit", which)))
}

// ask counts a call on a caller's rate.
func (d *doorman) ask(ctx context.Context, key string) error {
	wait := d.rates.Take(key, d.now())
	if wait == 0 {
		return nil
	}
	return d.refuse(ctx, "rate", key, wait, fmt.Sprintf("you may make %g calls a second, and %d at once; try again in %s", d.CallerRate, d.CallerBurst, inWords(wait)))
}

// enter takes a place among what a caller has under way; leave gives it back.
func (d *doorman) enter(ctx context.Context, key string, stream bool) (leave func(), err error) {
	places, which, noun := d.calls, "calls", "calls"
	if stream {
		places, which, noun = d.streams, "streams", "streams (watches and searches)"
	}
	if places.Enter(key) {
		return func() { places.Leave(key) }, nil
	}
	return nil, d.refuse(ctx, which, key, time.Second, fmt.Sprintf("you have %d %s under way, as many as you may; let one end first", places.Most(), noun))
}

// identified wraps identify: calls count on their caller's rate, and secrets that let
// nobody in on their address's failures.
func (d *doorman) identified(ctx context.Context, secret string, identify func() (access.Caller, error)) (access.Caller, string, error) {
	from := peerOf(ctx)
	hash := string(access.Hash(secret))
	key, known := d.recall(hash)
	if known {
		if err := d.ask(ctx, key); err != nil {
			return access.Caller{}, "", err
		}
	} else if wait := d.failures.Wait(from, d.now()); wait > 0 {
		return access.Caller{}, "", d.refuse(ctx, "failures", "peer", wait,
			fmt.Sprintf("too many calls from your address showed a token that lets nobody in; try again in %s", inWords(wait)))
	}
	caller, err := identify()
	if fault.KindOf(err) == fault.Unauthenticated {
		d.failures.Take(from, d.now())
		d.forget(hash)
	}
	if err != nil {
		return access.Caller{}, "", err
	}
	if now := keyOf(caller); now != key {
		key = now
		d.remember(hash, key)
		if err := d.ask(ctx, key); err != nil {
			return access.Caller{}, "", err
		}
	}
	return caller, key, nil
}

// keyOf is whose limits a caller has.
func keyOf(c access.Caller) string {
	if c.Kitchen == "" {
		return c.Name()
	}
	return c.Kitchen + "/" + c.Name()
}

func (d *doorman) recall(hash string) (string, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.known.Get(hash)
}

func (d *doorman) remember(hash, key string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.known.Add(hash, key)
}

func (d *doorman) forget(hash string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.known.Remove(hash)
}

// visitorKey is where the program's own pages say whose address a call comes from.
const visitorKey = "stillroom-visitor"

// peerOf is the address a call comes from, without its port. Of an IPv6 address only the
// network counts, the first 64 bits, since a subscriber has all of it (RFC 6177). Pages in
// the same program, which call through memory, pass on the address of their visitor.
func peerOf(ctx context.Context) string {
	p, ok := peer.FromContext(ctx)
	if !ok || p.Addr == nil {
		return "unknown"
	}
	address := p.Addr.String()
	if p.Addr.Network() == "bufconn" {
		visitor := metadata.ValueFromIncomingContext(ctx, visitorKey)
		if len(visitor) != 1 {
			return "inside"
		}
		address = visitor[0]
	}
	if host, _, err := net.SplitHostPort(address); err == nil {
		address = host
	}
	ip, err := netip.ParseAddr(address)
	if err != nil {
		return "unknown"
	}
	if ip = ip.Unmap().WithZone(""); ip.Is6() {
		network, _ := ip.Prefix(64)
		return network.String()
	}
	return ip.String()
}

// inWords is a time to wait, rounded up so that waiting it suffices.
func inWords(wait time.Duration) string {
	if wait <= time.Second {
		return "a second"
	}
	return fmt.Sprintf("%d seconds", int(math.Ceil(wait.Seconds())))
}

// longCalls are calls that keep a processor busy for a good part of a second at their largest:
// files of megabytes, thousands of questions against each other, a season's list.
var longCalls = map[string]bool{
	"/stillroom.v1.EquipmentService/ImportEquipment":   true,
	"/stillroom.v1.QuestionService/PlanRunningOrder":   true,
	"/stillroom.v1.QuestionService/SuggestGroups":      true,
	"/stillroom.v1.RecipeService/ImportRecipes":        true,
	"/stillroom.v1.RosterService/ImportRoster":         true,
	"/stillroom.v1.ShoppingService/CreateShoppingList": true,
}

// queueing waits for a turn in a queue of expensive work. Who comes first is decided
// between kitchens.
func (d *doorman) queueing(ctx context.Context, q *limit.Queue, which, kitchen string, each time.Duration, moved func(ahead int) error) (done func(), err error) {
	done, err = q.Enter(ctx, kitchen, moved)
	var full *limit.Full
	if !errors.As(err, &full) {
		return done, err
	}
	wait := each * time.Duration(1+full.Waiting/q.Places())
	sentence := fmt.Sprintf("the queue of %s is full: %d run and %d wait", which, full.Running, full.Waiting)
	if full.Own {
		sentence = fmt.Sprintf("your kitchen has its share of the queue of %s, in which %d run and %d wait", which, full.Running, full.Waiting)
	}
	return nil, d.refuse(ctx, which, which, wait, sentence+"; try again in "+inWords(wait))
}

// watches are streams that last as long as somebody looks.
var watches = []string{"/stillroom.v1.QuestionService/WatchQuestions", "/grpc.health.v1.Health/Watch", "/grpc.reflection."}

// timeFor is how long a call to a method may take; zero for as long as it likes.
func (d *doorman) timeFor(method string, stream bool) time.Duration {
	if !stream {
		return d.CallTime
	}
	for _, w := range watches {
		if strings.HasPrefix(method, w) {
			return d.WatchTime
		}
	}
	return d.SearchTime
}

// cutOff is why a server ended a call before it was done.
type cutOff struct{ st *status.Status }

func (c *cutOff) Error() string { return c.st.Message() }

// tooLong is the cause of ending what took the time it may take.
func tooLong(method string, stream bool, after time.Duration) *cutOff {
	if stream && strings.HasPrefix(method, watches[0]) {
		st, err := status.New(codes.Unavailable, fmt.Sprintf("a watch lasts at most %s here; watch again with the last resume_token", after)).WithDetails(
			&errdetails.ErrorInfo{Reason: "WATCH_ENDED", Domain: errorDomain}, &errdetails.RetryInfo{RetryDelay: durationpb.New(time.Second)})
		if err == nil {
			return &cutOff{st}
		}
	}
	return &cutOff{status.Newf(codes.DeadlineExceeded, "the server gives this call %s at most, and it was not done; ask for less at once", after)}
}

// expired is the cause of ending a stream whose caller is let in no longer.
var expired = &cutOff{status.New(codes.Unauthenticated, "what let you in has expired; sign in again")}

// whyEnded is the server's own reason for ending a call, nil when it had none.
func whyEnded(ctx context.Context) *cutOff {
	var c *cutOff
	if errors.As(context.Cause(ctx), &c) {
		return c
	}
	return nil
}
