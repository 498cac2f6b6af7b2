package rpc

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"os"
	"os/signal"
	"regexp"
	"runtime"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/store"
	"stillroom/internal/store/storetest"
)

// The variables that make a long run of TestRandomCalls: how many calls, from which seed
// on, and by how many callers at once. The short run has one caller, so that its seed
// repeats it.
const (
	callsVariable   = "STILLROOM_RANDOM_CALLS"
	seedVariable    = "STILLROOM_RANDOM_SEED"
	callersVariable = "STILLROOM_RANDOM_CALLERS"
)

// callsPerWorld is how many calls are made to one server and one database before they are
// thrown away; lists would grow without end.
const callsPerWorld = 12_000

// TestRandomCalls calls every method of the contract with random requests. Whatever is
// asked, the answer is no INTERNAL and no UNKNOWN, no handler panics, no caller is shown
// anything of another kitchen, and neither a goroutine nor a connection stays behind.
func TestRandomCalls(t *testing.T) {
	count := number(t, callsVariable, 1500)
	seed := uint64(number(t, seedVariable, 1))
	callers := number(t, callersVariable, 1)
	long := count > callsPerWorld
	ctx, done := signal.NotifyContext(t.Context(), syscall.SIGTERM) // a long run may be ended early, and tells what it has seen
	defer done()
	tally := &tally{long: long, codes: map[string]map[codes.Code]int{}, slowest: map[string]time.Duration{}}
	begun := time.Now()
	for made := 0; made < count && ctx.Err() == nil; seed++ {
		calls := min(callsPerWorld, count-made)
		t.Run(fmt.Sprintf("seed=%d", seed), func(t *testing.T) { randomCalls(ctx, t, seed, calls, callers, tally) })
		made += calls
		if long {
			fmt.Printf("%d of %d calls after %s\n", made, count, time.Since(begun).Round(time.Second))
		}
		if t.Failed() {
			break
		}
	}
	t.Log(tally.table(time.Since(begun)))
	for cause, text := range tally.wrong {
		t.Errorf("%s\n%s", cause, text)
	}
	for method, outcomes := range tally.codes {
		if count >= 10*callsPerWorld && ctx.Err() == nil {
			require.Positive(t, outcomes[codes.OK], "no call of %s succeeded: %v", method, outcomes)
		}
	}
}

func number(t *testing.T, variable string, otherwise int) int {
	text := os.Getenv(variable)
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err, variable)
	return n
}

// randomWorld is a server with two kitchens, and what is called on it.
type randomWorld struct {
	conn     *grpc.ClientConn
	store    *store.Store
	log      *errorLines
	methods  map[string]protoreflect.MethodDescriptor
	names    []string
	operator *caller
	clock    atomic.Int64 // seconds of the server's clock
	north    *larder
	south    *larder
}

func randomCalls(ctx context.Context, t *testing.T, seed uint64, calls, callers int, tally *tally) {
	url := storetest.URL(t)
	before := runtime.NumGoroutine()
	st, err := store.Open(t.Context(), url)
	require.NoError(t, err)
	w := &randomWorld{store: st, log: &errorLines{}, methods: map[string]protoreflect.MethodDescriptor{}, operator: &caller{role: stillroomv1.Role_ROLE_OPERATOR, secret: testOperator}}
	srv, err := NewServer(Options{Store: st, Log: slog.New(w.log), Now: func() time.Time { return time.Unix(w.clock.Load(), 0).UTC() }, OperatorSecret: testOperator})
	require.NoError(t, err)
	listener := &countingListener{}
	listener.Listener, err = net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	go func() { _ = srv.Serve(listener) }()
	w.conn, err = grpc.NewClient(listener.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(64<<20)))
	require.NoError(t, err)
	ourMethods(t, &guarded{testServer: &testServer{store: st}}, func(method string, d protoreflect.MethodDescriptor) {
		short := strings.TrimPrefix(method, "/"+ourPackage)
		w.methods[short] = d
		w.names = append(w.names, short)
	})
	sort.Strings(w.names)
	for _, l := range []**larder{&w.north, &w.south} {
		*l = &larder{words: map[string][]string{}, good: map[string][]proto.Message{}}
	}
	w.north.kitchen, w.north.mark = "kitchens/north", "~north~"
	w.south.kitchen, w.south.mark = "kitchens/south", "~south~"
	w.furnish(t, w.north)
	w.furnish(t, w.south)
	if seed%2 == 1 {
		w.clock.Store(testNow.Unix()) // before the classes, and not after them
	}

	var working sync.WaitGroup
	var left atomic.Int64
	left.Store(int64(calls))
	for c := range callers {
		working.Go(func() {
			m := &maker{Rand: rand.New(rand.NewPCG(seed, uint64(c)))}
			for left.Add(-1) >= 0 && !t.Failed() && ctx.Err() == nil {
				w.callAtRandom(t, m, tally)
			}
		})
	}
	working.Wait()

	await(t, func() bool { return st.Pool().Stat().AcquiredConns() == 0 }, "connections to the database are still taken")
	require.NoError(t, w.conn.Close())
	await(t, func() bool { return listener.open.Load() == 0 }, "connections of callers are still open")
	srv.Stop()
	st.Close()
	for _, line := range w.log.all() {
		tally.blame("logged", line[:min(len(line), 60)], line)
	}
	await(t, func() bool { return runtime.NumGoroutine() <= before }, "goroutines stay behind: %s", stacks{})
}

// await waits for what must come, in this goroutine, since goroutines are counted.
func await(t *testing.T, come func() bool, otherwise string, args ...any) {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); !come(); time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			require.Fail(t, fmt.Sprintf(otherwise, args...))
		}
	}
}

// stacks are the running goroutines, written when somebody wants to read them.
type stacks struct{}

func (stacks) String() string {
	all := make([]byte, 1<<20)
	return string(all[:runtime.Stack(all, true)])
}

// callAtRandom makes one call and judges the answer.
func (w *randomWorld) callAtRandom(t *testing.T, m *maker, tally *tally) {
	m.own, m.foreign = w.north, w.south
	if m.oneIn(2) {
		m.own, m.foreign = w.south, w.north
	}
	c := w.operator
	switch n := m.IntN(100); {
	case n < 55:
		c = m.own.callers[0]
	case n < 80:
		c = m.own.callers[1+m.IntN(len(m.own.callers)-1)]
	case n < 82:
		c = &caller{secret: pick(m, []string{"", "x", "stillroom_", strings.Repeat("y", 5000), testOperator + " "})}
	}
	method := pick(m, w.names)
	req := m.request(method, w.methods[method])
	for (strings.Contains(method, "/Delete") || strings.Contains(method, "/Erase")) && m.own.furnished[resourceOf(req)] && !m.oneIn(100) {
		method = pick(m, w.names) // what many others stand on stays for a while
		req = m.request(method, w.methods[method])
	}
	if c == w.operator && segmentAfter(resourceOf(req), "kitchens") == strings.TrimPrefix(m.foreign.kitchen, "kitchens/") {
		return // an operator may write anything there
	}
	patience := 5 * time.Second
	if m.oneIn(100) {
		patience = time.Duration(m.IntN(3000)) * time.Microsecond // a caller who leaves
	}
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	begun := time.Now()
	reply, err := w.call(ctx, c, method, req)
	tally.count(method, status.Code(err), time.Since(begun))
	text := func() string { return fmt.Sprintf("%s as %s: %v\n%.4000s", method, c.role, err, prototext.Format(req)) }
	switch code := status.Code(err); code {
	case codes.OK:
		if len(mentions(namesIn(req.ProtoReflect(), nil), m.foreign)) == 0 {
			m.own.served(method, req, reply)
		}
		shown := namesIn(reply.ProtoReflect(), nil)
		others, own := mentions(shown, m.foreign), mentions(shown, m.own)
		if c.role != stillroomv1.Role_ROLE_OPERATOR {
			require.Empty(t, mentions(resourcesOf(req.ProtoReflect(), nil), m.foreign), "a call that names the other kitchen was served: %s", text())
			require.Empty(t, others, "shown to the other kitchen's caller: %s", text())
		} else if !strings.HasSuffix(method, "/ListKitchens") {
			require.False(t, len(others) > 0 && len(own) > 0, "%q and %q in one answer: %s", others, own, text())
		}
	case codes.Internal, codes.Unknown, codes.DataLoss, codes.Unavailable:
		w.log.mu.Lock()
		defer w.log.mu.Unlock()
		cause := fmt.Sprint(code)
		if n := len(w.log.lines); n > 0 {
			cause = w.log.lines[n-1]
		}
		tally.blame(method, regexp.MustCompile(`duration=\S+|0x[0-9a-f]+|goroutine \d+`).ReplaceAllString(cause, ""), text())
	case codes.Unimplemented:
		require.Fail(t, "a method of the contract without a handler", text())
	case codes.Unauthenticated:
		if slices.Contains(m.own.callers, c) {
			_ = w.letIn(t.Context(), m.own, c) // in vain when the participant or the class is gone
		}
	}
}

// call makes a call by the method's short name; a stream is read to its end, or for a
// moment when it has none.
func (w *randomWorld) call(ctx context.Context, c *caller, method string, req proto.Message) (proto.Message, error) {
	c.mu.Lock()
	ctx = withToken(ctx, c.secret)
	c.mu.Unlock()
	d := w.methods[method]
	reply := newMessage(d.Output())
	var err error
	if d.IsStreamingServer() {
		err = w.read(ctx, "/"+ourPackage+method, req, reply, strings.HasSuffix(method, "/WatchQuestions"))
	} else {
		err = w.conn.Invoke(ctx, "/"+ourPackage+method, req, reply)
	}
	return reply, err
}

func (w *randomWorld) read(ctx context.Context, method string, req, reply proto.Message, endless bool) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := w.conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, method)
	if err != nil {
		return err
	}
	if err := stream.SendMsg(req); err != nil {
		return err
	}
	if err := stream.CloseSend(); err != nil {
		return err
	}
	for {
		if err := stream.RecvMsg(reply); err != nil {
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
		if endless {
			return nil
		}
	}
}

// namesIn gathers the texts of a message.
func namesIn(m protoreflect.Message, texts []string) []string {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap():
			v.Map().Range(func(k protoreflect.MapKey, v protoreflect.Value) bool {
				texts = append(texts, k.String(), v.String())
				return true
			})
		case f.IsList() && f.Message() != nil:
			for i := range v.List().Len() {
				texts = namesIn(v.List().Get(i).Message(), texts)
			}
		case f.IsList():
			for i := range v.List().Len() {
				texts = append(texts, v.List().Get(i).String())
			}
		case f.Message() != nil:
			texts = namesIn(v.Message(), texts)
		case f.Kind() == protoreflect.StringKind:
			texts = append(texts, v.String())
		case f.Kind() == protoreflect.BytesKind:
			texts = append(texts, string(v.Bytes()))
		}
		return true
	})
	return texts
}

// mentions are those texts that show something of a kitchen.
func mentions(texts []string, l *larder) (found []string) {
	for _, text := range texts {
		if strings.Contains(text, l.mark) || strings.Contains(text+"/", l.kitchen+"/") {
			found = append(found, text)
		}
	}
	return found
}

// countingListener counts the connections that are open.
type countingListener struct {
	net.Listener
	open atomic.Int64
}

func (l *countingListener) Accept() (net.Conn, error) {
	conn, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	l.open.Add(1)
	return &countedConn{Conn: conn, open: &l.open}, nil
}

type countedConn struct {
	net.Conn
	once sync.Once
	open *atomic.Int64
}

func (c *countedConn) Close() error {
	c.once.Do(func() { c.open.Add(-1) })
	return c.Conn.Close()
}

// tally counts outcomes.
type tally struct {
	mu      sync.Mutex
	codes   map[string]map[codes.Code]int
	slowest map[string]time.Duration
	wrong   map[string]string
	// long runs tell at once what is wrong.
	long bool
}

func (a *tally) count(method string, code codes.Code, took time.Duration) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.codes[method] == nil {
		a.codes[method] = map[codes.Code]int{}
	}
	a.codes[method][code]++
	a.slowest[method] = max(a.slowest[method], took)
}

// blame keeps the first of each sort of answers that must not be.
func (a *tally) blame(method, cause, text string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.wrong == nil {
		a.wrong = map[string]string{}
	}
	if key := method + " " + cause; a.wrong[key] == "" {
		a.wrong[key] = text
		if a.long {
			fmt.Println("WRONG", key, text)
		}
	}
}

// table gives the outcomes by code and method.
func (a *tally) table(took time.Duration) string {
	total, sums := 0, map[codes.Code]int{}
	var methods []string
	for method, outcomes := range a.codes {
		methods = append(methods, method)
		for code, n := range outcomes {
			sums[code] += n
			total += n
		}
	}
	sort.Strings(methods)
	var out strings.Builder
	fmt.Fprintf(&out, "%d calls of %d methods in %s, %.0f a second\n", total, len(methods), took.Round(time.Millisecond), float64(total)/took.Seconds())
	line := func(name string, outcomes map[codes.Code]int, slowest time.Duration) {
		var known []codes.Code
		for code := range outcomes {
			known = append(known, code)
		}
		slices.Sort(known)
		fmt.Fprintf(&out, "%-40s", name)
		for _, code := range known {
			fmt.Fprintf(&out, "  %s %d", code, outcomes[code])
		}
		if slowest > 0 {
			fmt.Fprintf(&out, "  (slowest %s)", slowest.Round(time.Millisecond))
		}
		out.WriteByte('\n')
	}
	line("all", sums, 0)
	for _, method := range methods {
		line(method, a.codes[method], a.slowest[method])
	}
	return out.String()
}
