// Package webtest serves the pages of a kitchen on a database of the test's own, and
// looks at them with a browser:
//
//	func TestMain(m *testing.M) { webtest.Main(m) }
//
//	func TestRoster(t *testing.T) {
//		t.Parallel()
//		k := webtest.Open(t)
//		k.SetUp()
//		b := k.Browser(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
//		b.Open("/" + webtest.Class)
//		b.Click("text of a button or link")
//		b.Sees("what must appear")
//		b.Accessible()
//	}
package webtest

import (
	"context"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/test/bufconn"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/access"
	"stillroom/internal/localpg/pgtest"
	"stillroom/internal/rpc"
	"stillroom/internal/store"
	"stillroom/internal/store/storetest"
	"stillroom/internal/web"
)

// Main runs a package's tests, and ends the database and the browser after them.
func Main(m *testing.M) {
	code := pgtest.Run(m)
	closeChromium()
	os.Exit(code)
}

// Morning is what the clock says at first: two hours before the class of SetUp opens.
var Morning = time.Date(2027, 8, 21, 13, 0, 0, 0, time.UTC)

// Kitchen is a server with its pages.
type Kitchen struct {
	// URL is the address of the pages; Conn calls the services as the operator.
	URL   string
	Conn  *grpc.ClientConn
	Store *store.Store
	// Pages answers without a network, for benchmarks.
	Pages http.Handler

	t        testing.TB
	operator string
	address  string

	mu     sync.Mutex
	now    time.Time
	stop   func()
	people map[string]string
}

// Open serves on a database with no rows in it, until the test ends.
func Open(t testing.TB) *Kitchen {
	t.Helper()
	k := &Kitchen{t: t, Store: storetest.Open(t), operator: access.NewSecret(), address: "127.0.0.1:0", now: Morning, people: map[string]string{}}
	k.Start()
	t.Cleanup(func() { k.Stop() })
	return k
}

// Now is the clock of the server; SetNow sets it.
func (k *Kitchen) Now() time.Time {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.now
}

// SetNow sets the clock of the server.
func (k *Kitchen) SetNow(now time.Time) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.now = now
}

// Start serves again after Stop, on the same address.
func (k *Kitchen) Start() {
	k.t.Helper()
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	if testing.Verbose() {
		log = slog.New(slog.NewTextHandler(k.t.Output(), &slog.HandlerOptions{Level: slog.LevelError}))
	}
	server, err := rpc.NewServer(rpc.Options{Store: k.Store, Log: log, Now: k.Now, OperatorSecret: k.operator})
	require.NoError(k.t, err)
	through := bufconn.Listen(1 << 20)
	go func() { _ = server.Serve(through) }()
	dial := func(more ...grpc.DialOption) *grpc.ClientConn {
		conn, err := grpc.NewClient("passthrough:///test", append(more,
			grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return through.DialContext(ctx) }),
			grpc.WithTransportCredentials(insecure.NewCredentials()))...)
		require.NoError(k.t, err)
		return conn
	}
	own := dial()
	k.Conn = dial(grpc.WithUnaryInterceptor(func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
		return invoke(metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+k.operator), method, req, reply, cc, opts...)
	}), grpc.WithStreamInterceptor(func(ctx context.Context, desc *grpc.StreamDesc, cc *grpc.ClientConn, method string, streamer grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
		return streamer(metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+k.operator), desc, cc, method, opts...)
	}))
	pages, err := web.New(web.Options{Services: own, Log: log, Now: k.Now})
	require.NoError(k.t, err)
	k.Pages = pages
	listener, err := net.Listen("tcp", k.address)
	require.NoError(k.t, err)
	k.address = listener.Addr().String()
	k.URL = "http://" + k.address
	front := &http.Server{Handler: pages, ReadHeaderTimeout: time.Minute}
	front.RegisterOnShutdown(pages.EndStreams)
	go func() { _ = front.Serve(listener) }()
	k.stop = func() {
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		if front.Shutdown(ctx) != nil {
			_ = front.Close()
		}
		_ = own.Close()
		_ = k.Conn.Close()
		server.EndWatches()
		server.Stop()
	}
}

// Stop ends the server as Ctrl-C does; the database stays.
func (k *Kitchen) Stop() {
	if k.stop != nil {
		k.stop()
		k.stop = nil
	}
}

// Token makes a token of a role in the kitchen of SetUp and gives its secret.
func (k *Kitchen) Token(role stillroomv1.Role) string {
	k.t.Helper()
	if role == stillroomv1.Role_ROLE_OPERATOR {
		return k.operator
	}
	reply, err := stillroomv1.NewAccessServiceClient(k.Conn).CreateToken(k.t.Context(), &stillroomv1.CreateTokenRequest{
		Parent: Name, Token: &stillroomv1.Token{DisplayName: "for a test", Role: role}})
	require.NoError(k.t, err)
	return reply.GetSecret()
}

// Invite makes a participant's token for the class of SetUp, by the name on the roster.
func (k *Kitchen) Invite(displayName string) string {
	k.t.Helper()
	reply, err := stillroomv1.NewAccessServiceClient(k.Conn).CreateToken(k.t.Context(), &stillroomv1.CreateTokenRequest{
		Parent: Name, Token: &stillroomv1.Token{
			DisplayName: "invitation", Role: stillroomv1.Role_ROLE_PARTICIPANT, Participant: k.Participant(displayName), Class: Class}})
	require.NoError(k.t, err)
	return reply.GetSecret()
}

// Client calls the pages without a browser, signed in with a token; redirects are followed.
func (k *Kitchen) Client(token string) *http.Client {
	k.t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(k.t, err)
	c := &http.Client{Jar: jar}
	k.t.Cleanup(c.CloseIdleConnections)
	if token != "" {
		reply, err := c.PostForm(k.URL+"/sign-in", map[string][]string{"token": {token}})
		require.NoError(k.t, err)
		_ = reply.Body.Close()
	}
	return c
}
