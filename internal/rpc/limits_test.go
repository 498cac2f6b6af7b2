package rpc

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	sdkmetric "go.opentelemetry.io/otel/sdk/metric"
	"go.opentelemetry.io/otel/sdk/metric/metricdata"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/test/bufconn"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/access"
	"stillroom/internal/fault"
)

// limited changes the limits of a guarded server, which begin with none.
func limited(l Limits) func(*guarded, *Options) {
	return func(_ *guarded, o *Options) { o.Limits = l }
}

// advice is what the refusal of a limit tells a program: which limit, and when to come again.
func advice(t *testing.T, err error) (which string, wait time.Duration, violations []*errdetails.QuotaFailure_Violation) {
	t.Helper()
	for _, d := range requireCode(t, codes.ResourceExhausted, err).Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			which = d.GetMetadata()["limit"]
		case *errdetails.RetryInfo:
			wait = d.GetRetryDelay().AsDuration()
		case *errdetails.QuotaFailure:
			violations = d.GetViolations()
		}
	}
	require.NotEmpty(t, which)
	require.Positive(t, wait)
	require.Len(t, violations, 1)
	return which, wait, violations
}

// TestACallerHasARate: who calls too often is told when to come again, which suffices;
// another caller notices nothing.
func TestACallerHasARate(t *testing.T) {
	t.Parallel()
	reader := sdkmetric.NewManualReader()
	g := newGuarded(t, limited(Limits{CallerRate: 2, CallerBurst: 20}), func(_ *guarded, o *Options) {
		o.Meters = sdkmetric.NewMeterProvider(sdkmetric.WithReader(reader))
	})
	busy, token := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_INSTRUCTOR})
	quiet, _ := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_ASSISTANT})
	get := func(ctx context.Context) error {
		_, err := g.kitchens().GetKitchen(ctx, &stillroomv1.GetKitchenRequest{Name: "kitchens/k"})
		return err
	}
	for range 20 {
		require.NoError(t, get(busy))
	}
	err := get(busy)
	which, wait, violations := advice(t, err)
	require.Equal(t, "rate", which)
	require.Equal(t, 500*time.Millisecond, wait)
	require.Equal(t, "k/tokens/"+last(token.GetName()), violations[0].GetSubject())
	require.ErrorContains(t, err, "you may make 2 calls a second, and 20 at once; try again in a second")
	for range 20 {
		require.NoError(t, get(quiet), "another of the same kitchen and address")
	}
	g.clock = g.clock.Add(wait)
	require.NoError(t, get(busy))
	advice(t, get(busy))
	require.EqualValues(t, 2, refusals(t, reader)["rate"])
}

func last(name string) string {
	var k, id string
	if err := parseName("name", name, tokenPattern, &k, &id); err != nil {
		panic(err)
	}
	return id
}

// refusals are the counts of the metric by limit.
func refusals(t *testing.T, reader *sdkmetric.ManualReader) map[string]int64 {
	t.Helper()
	var all metricdata.ResourceMetrics
	require.NoError(t, reader.Collect(t.Context(), &all))
	out := map[string]int64{}
	for _, scope := range all.ScopeMetrics {
		for _, m := range scope.Metrics {
			if sum, ok := m.Data.(metricdata.Sum[int64]); ok && m.Name == "stillroom.refusals" {
				for _, p := range sum.DataPoints {
					value, _ := p.Attributes.Value("limit")
					out[value.AsString()] = p.Value
				}
			}
		}
	}
	require.Len(t, out, 7, "every limit is counted from the start")
	return out
}

// TestWhatACallerHasUnderWay: watches beyond the limit are refused until one ends, and
// another caller's are not.
func TestWhatACallerHasUnderWay(t *testing.T) {
	t.Parallel()
	g := newGuarded(t, limited(Limits{CallerStreams: 2}))
	ana, _ := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_INSTRUCTOR})
	bo, _ := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_INSTRUCTOR})
	watch := func(ctx context.Context) (stillroomv1.QuestionService_WatchQuestionsClient, error) {
		stream, err := stillroomv1.NewQuestionServiceClient(g.conn).WatchQuestions(ctx, &stillroomv1.WatchQuestionsRequest{Parent: "kitchens/k"})
		require.NoError(t, err)
		_, err = stream.Recv()
		return stream, err
	}
	first, leave := context.WithCancel(ana)
	stream, err := watch(first)
	require.NoError(t, err)
	_, err = watch(ana)
	require.NoError(t, err)
	_, err = watch(ana)
	which, _, _ := advice(t, err)
	require.Equal(t, "streams", which)
	require.ErrorContains(t, err, "you have 2 streams (watches and searches) under way, as many as you may; let one end first")
	_, err = watch(bo)
	require.NoError(t, err)

	leave()
	_, err = stream.Recv()
	requireCode(t, codes.Canceled, err)
	require.Eventually(t, func() bool { _, err := watch(ana); return err == nil }, 30*time.Second, time.Millisecond, "the server hears of it a moment later")
}

// TestCallsUnderWay holds two calls in the handler.
func TestCallsUnderWay(t *testing.T) {
	t.Parallel()
	b := behindTheDoor(t, Limits{CallerCalls: 2})
	info := &grpc.UnaryServerInfo{FullMethod: stillroomv1.KitchenService_GetKitchen_FullMethodName}
	req := &stillroomv1.GetKitchenRequest{Name: "kitchens/k"}
	call := func(address string, handler grpc.UnaryHandler) error {
		_, err := b.authoriseUnary(from(t.Context(), address), req, info, handler)
		return err
	}
	inside, let, done := make(chan struct{}), make(chan struct{}), make(chan error)
	for range 2 {
		go func() {
			done <- call("192.0.2.1:4000", func(context.Context, any) (any, error) { inside <- struct{}{}; <-let; return nil, nil })
		}()
		<-inside
	}
	at := func(context.Context, any) (any, error) { return nil, nil }
	which, _, _ := advice(t, call("192.0.2.1:4001", at))
	require.Equal(t, "calls", which)
	require.NoError(t, call("192.0.2.2:4000", at))
	close(let)
	require.NoError(t, <-done)
	require.NoError(t, <-done)
	require.NoError(t, call("192.0.2.1:4001", at))
}

// behindTheDoor is an open server's interceptors without a server.
func behindTheDoor(t testing.TB, l Limits) *backend {
	t.Helper()
	srv, err := NewServer(Options{Open: true, Limits: l, Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return testNow }})
	require.NoError(t, err)
	t.Cleanup(srv.Stop)
	return srv.queue.backend
}

func from(ctx context.Context, address string) context.Context {
	return peer.NewContext(ctx, &peer.Peer{Addr: net.TCPAddrFromAddrPort(netip.MustParseAddrPort(address))})
}

// TestWrongTokensAreCountedByAddress: who shows wrong ones is slowed down; those who were
// in before are not, though they share the address, nor is a right token when there is time.
func TestWrongTokensAreCountedByAddress(t *testing.T) {
	t.Parallel()
	g := newGuarded(t, limited(Limits{PeerFailures: 60}))
	in, _ := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_INSTRUCTOR})
	late, _ := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_INSTRUCTOR})
	get := func(ctx context.Context) error {
		_, err := g.kitchens().GetKitchen(ctx, &stillroomv1.GetKitchenRequest{Name: "kitchens/k"})
		return err
	}
	require.NoError(t, get(in))
	for i := range 60 {
		requireCode(t, codes.Unauthenticated, get(withToken(t.Context(), fmt.Sprint("wrong-", i))))
	}
	err := get(withToken(t.Context(), "wrong"))
	which, wait, violations := advice(t, err)
	require.Equal(t, "failures", which)
	require.Equal(t, time.Second, wait)
	require.Equal(t, "peer", violations[0].GetSubject())
	require.NoError(t, get(in))
	advice(t, get(late))
	for range 1000 {
		requireCode(t, codes.Unauthenticated, get(metadata.AppendToOutgoingContext(t.Context(), "nothing", "")))
	}
	g.clock = g.clock.Add(wait)
	require.NoError(t, get(late), "calls without any token counted nothing")
	require.NoError(t, get(late))

	pages := func(visitor string) context.Context {
		return metadata.AppendToOutgoingContext(late, visitorKey, visitor)
	}
	for i := range 60 {
		requireCode(t, codes.Unauthenticated, get(metadata.AppendToOutgoingContext(withToken(t.Context(), fmt.Sprint("bad-", i)), visitorKey, "192.0.2.9")))
	}
	advice(t, get(metadata.AppendToOutgoingContext(withToken(t.Context(), "bad"), visitorKey, "192.0.2.9")))
	requireCode(t, codes.Unauthenticated, get(metadata.AppendToOutgoingContext(withToken(t.Context(), "bad"), visitorKey, "192.0.2.10")))
	require.NoError(t, get(pages("192.0.2.9")))
}

// TestARevokedTokenIsNotRememberedAsGood.
func TestARevokedTokenIsNotRememberedAsGood(t *testing.T) {
	t.Parallel()
	g := newGuarded(t, limited(DefaultLimits()))
	in, token := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_INSTRUCTOR})
	get := func() error {
		_, err := g.kitchens().GetKitchen(in, &stillroomv1.GetKitchenRequest{Name: "kitchens/k"})
		return err
	}
	require.NoError(t, get())
	_, err := stillroomv1.NewAccessServiceClient(g.conn).RevokeToken(t.Context(), &stillroomv1.RevokeTokenRequest{Name: token.GetName()})
	require.NoError(t, err)
	requireCode(t, codes.Unauthenticated, get())
}

// TestAClassMeetsNoDefaultLimit: sixty phones behind one address open their pages in the
// same second, a dozen calls and a watch each, and go on to call once a second for a minute.
func TestAClassMeetsNoDefaultLimit(t *testing.T) {
	t.Parallel()
	clock := testNow
	srv, err := NewServer(Options{Open: true, Limits: DefaultLimits(), Now: func() time.Time { return clock }})
	require.NoError(t, err)
	t.Cleanup(srv.Stop)
	door := srv.queue.door
	ctx := from(t.Context(), "192.0.2.1:4000")
	for phone := range 60 {
		_, err := door.enter(ctx, "192.0.2.1", true) // a watch that stays open
		require.NoError(t, err)
		for call := range 12 {
			require.NoError(t, door.ask(ctx, "192.0.2.1"), "phone %d, call %d: they are one caller on an open server", phone, call)
		}
	}
	for range 60 {
		clock = clock.Add(time.Second)
		for range 60 {
			require.NoError(t, door.ask(ctx, "192.0.2.1"))
			leave, err := door.enter(ctx, "192.0.2.1", false)
			require.NoError(t, err)
			leave()
		}
	}
	for phone := range 60 {
		secret := fmt.Sprint("mistyped ", phone)
		_, _, err := door.identified(ctx, secret, func() (access.Caller, error) { return access.Caller{}, fault.New(fault.Unauthenticated, "no") })
		requireCode(t, codes.Unauthenticated, toStatus(err).Err())
	}
}

func TestPeersAreTheirNetworks(t *testing.T) {
	t.Parallel()
	for address, want := range map[string]string{
		"192.0.2.1:4000": "192.0.2.1", "[::ffff:192.0.2.1]:4000": "192.0.2.1", "[2001:db8:1:2:3:4:5:6]:4000": "2001:db8:1:2::/64",
		"[2001:db8:1:2::9]:1": "2001:db8:1:2::/64", "[fe80::1%eth0]:1": "fe80::/64",
	} {
		require.Equal(t, want, peerOf(from(t.Context(), address)), address)
	}
	require.Equal(t, "unknown", peerOf(t.Context()))
	pages := peer.NewContext(t.Context(), &peer.Peer{Addr: bufconn.Listen(1).Addr()})
	require.Equal(t, "inside", peerOf(pages))
	told := func(ctx context.Context, visitor string) context.Context {
		return metadata.NewIncomingContext(ctx, metadata.Pairs(visitorKey, visitor))
	}
	require.Equal(t, "198.51.100.7", peerOf(told(pages, "198.51.100.7:1234")))
	require.Equal(t, "unknown", peerOf(told(pages, "nonsense")))
	require.Equal(t, "192.0.2.1", peerOf(told(from(t.Context(), "192.0.2.1:4000"), "198.51.100.7")), "from elsewhere nobody may say so")
}

// TestACallHasItsTime: what takes longer is ended by the server and told so, also when it
// is the request that never comes; a watch is told to resume.
func TestACallHasItsTime(t *testing.T) {
	t.Parallel()
	g := newGuarded(t)
	g.server.queue.door.CallTime, g.server.queue.door.WatchTime, g.server.queue.door.SearchTime = time.Nanosecond, time.Nanosecond, time.Nanosecond
	_, err := g.kitchens().GetKitchen(t.Context(), &stillroomv1.GetKitchenRequest{Name: "kitchens/k"})
	requireCode(t, codes.DeadlineExceeded, err)

	g.server.queue.door.WatchTime = 50 * time.Millisecond
	ana, _ := g.tokenOpen(t, "k", stillroomv1.Role_ROLE_INSTRUCTOR)
	silent, err := g.conn.NewStream(ana, &grpc.StreamDesc{ServerStreams: true}, stillroomv1.QuestionService_WatchQuestions_FullMethodName)
	require.NoError(t, err)
	requireCode(t, codes.DeadlineExceeded, silent.RecvMsg(&stillroomv1.WatchQuestionsResponse{}))

	stream, err := stillroomv1.NewQuestionServiceClient(g.conn).WatchQuestions(ana, &stillroomv1.WatchQuestionsRequest{Parent: "kitchens/k"})
	require.NoError(t, err)
	for err == nil {
		_, err = stream.Recv()
	}
	st := requireCode(t, codes.Unavailable, err)
	require.Contains(t, st.Message(), "watch again with the last resume_token")
}

// tokenOpen makes a token whatever time calls have at present.
func (g *guarded) tokenOpen(t *testing.T, kitchen string, role stillroomv1.Role) (context.Context, *stillroomv1.Token) {
	t.Helper()
	door := g.server.queue.door
	was := door.CallTime
	door.CallTime = 0
	defer func() { door.CallTime = was }()
	return g.token(t, kitchen, &stillroomv1.Token{Role: role})
}

// TestAStreamEndsWithItsToken: a watch does not outlast what let its caller in.
func TestAStreamEndsWithItsToken(t *testing.T) {
	t.Parallel()
	g := newGuarded(t)
	ana, token := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_INSTRUCTOR})
	g.clock = token.GetExpireTime().AsTime().Add(-100 * time.Millisecond)
	stream, err := stillroomv1.NewQuestionServiceClient(g.conn).WatchQuestions(ana, &stillroomv1.WatchQuestionsRequest{Parent: "kitchens/k"})
	require.NoError(t, err)
	for err == nil {
		_, err = stream.Recv()
	}
	st := requireCode(t, codes.Unauthenticated, err)
	require.Contains(t, st.Message(), "what let you in has expired")
}

// TestHealthIsAlwaysAnswered: who asks too often does not make the server look ill.
func TestHealthIsAlwaysAnswered(t *testing.T) {
	t.Parallel()
	g := newGuarded(t, limited(Limits{CallerRate: 1, CallerBurst: 20}))
	for range 100 {
		reply, err := healthpb.NewHealthClient(g.conn).Check(t.Context(), &healthpb.HealthCheckRequest{})
		require.NoError(t, err)
		require.Equal(t, healthpb.HealthCheckResponse_SERVING, reply.GetStatus())
	}
}

// TestALargeRequestIsRefused: gRPC itself refuses it, before it is read.
func TestALargeRequestIsRefused(t *testing.T) {
	t.Parallel()
	g := newGuarded(t, limited(Limits{RequestBytes: 64 << 10}))
	_, err := g.kitchens().GetKitchen(t.Context(), &stillroomv1.GetKitchenRequest{Name: string(make([]byte, 65<<10))})
	st := requireCode(t, codes.ResourceExhausted, err)
	require.Contains(t, st.Message(), "larger than max")
	_, err = g.kitchens().GetKitchen(t.Context(), &stillroomv1.GetKitchenRequest{Name: "kitchens/k"})
	require.NoError(t, err)
	_, err = g.kitchens().GetKitchen(metadata.AppendToOutgoingContext(t.Context(), "long", string(make([]byte, 65<<10))), &stillroomv1.GetKitchenRequest{Name: "kitchens/k"})
	require.Error(t, err, "metadata is bounded too")
}
