package rpc

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/exaring/otelpgx"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/require"
	sdkmetric "go.opentelemetry.io/otel/sdk/metric"
	"go.opentelemetry.io/otel/sdk/metric/metricdata"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/test/bufconn"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/fault"
	"stillroom/internal/store"
	"stillroom/internal/store/storetest"
	"stillroom/internal/telemetry"
)

// sharedBuffer is a buffer that a server writes and a test reads.
type sharedBuffer struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (b *sharedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.Write(p)
}

func (b *sharedBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.String()
}

// watched is a server that asks for tokens and whose log, spans and measures a test reads.
type watched struct {
	*guarded
	log    *sharedBuffer
	spans  *tracetest.InMemoryExporter
	reader *sdkmetric.ManualReader
}

func newWatched(t *testing.T) *watched {
	t.Helper()
	w := &watched{log: &sharedBuffer{}, spans: tracetest.NewInMemoryExporter(), reader: sdkmetric.NewManualReader()}
	traces := sdktrace.NewTracerProvider(sdktrace.WithSyncer(w.spans))
	st, err := store.Open(t.Context(), storetest.URL(t), store.WithTracer(otelpgx.NewTracer(otelpgx.WithTracerProvider(traces))))
	require.NoError(t, err)
	t.Cleanup(st.Close)
	srv, err := NewServer(Options{
		Store: st, Now: func() time.Time { return testNow }, OperatorSecret: testOperator,
		Log:    slog.New(telemetry.Traced(slog.NewJSONHandler(w.log, &slog.HandlerOptions{Level: slog.LevelDebug}))),
		Traces: traces, Meters: sdkmetric.NewMeterProvider(sdkmetric.WithReader(w.reader)), Propagator: telemetry.Propagator,
	})
	require.NoError(t, err)
	listener := bufconn.Listen(1 << 20)
	go func() { _ = srv.Serve(listener) }()
	t.Cleanup(srv.Stop)
	conn, err := grpc.NewClient("passthrough:///test",
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithUnaryInterceptor(func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
			if md, _ := metadata.FromOutgoingContext(ctx); len(md.Get("authorization")) == 0 {
				ctx = withToken(ctx, testOperator)
			}
			return invoke(ctx, method, req, reply, cc, opts...)
		}))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	w.guarded = &guarded{testServer: &testServer{conn: conn, store: st, server: srv}, clock: testNow}
	return w
}

// lines are the lines of the log so far.
func (w *watched) lines(t *testing.T) (lines []map[string]any) {
	t.Helper()
	scanner := bufio.NewScanner(strings.NewReader(w.log.String()))
	scanner.Buffer(nil, 1<<20)
	for scanner.Scan() {
		var line map[string]any
		require.NoError(t, json.Unmarshal(scanner.Bytes(), &line))
		lines = append(lines, line)
	}
	return lines
}

// last waits for the line of a method with a code, and returns the last such line. A
// call's line is written after its reply.
func (w *watched) last(t *testing.T, method string, code codes.Code) (found map[string]any) {
	t.Helper()
	require.Eventually(t, func() bool {
		for _, line := range w.lines(t) {
			if line["method"] == "stillroom.v1."+method && line["code"] == code.String() {
				found = line
			}
		}
		return found != nil
	}, 10*time.Second, 5*time.Millisecond, "no line of %s with %s", method, code)
	return found
}

// What a person might write about themselves; none of it may show outside the database.
var personal = struct{ name, email, phone, allergies, question string }{
	"Wilhelmina Quistgaard", "wilhelmina@quistgaard.example", "+1 555 014 2233", "sesame & hazelnuts", "Would my rhubarb chutney harm a diabetic neighbour?",
}

// requireImpersonal checks that a text holds nothing of the person.
func requireImpersonal(t *testing.T, what, text string) {
	t.Helper()
	for _, word := range []string{"wilhelmina", "quistgaard", "014 2233", "sesame", "hazelnut", "rhubarb", "diabetic"} {
		require.NotContains(t, strings.ToLower(text), word, what)
	}
}

// busy runs calls of every outcome that carry what a person wrote.
func (w *watched) busy(t *testing.T) {
	t.Helper()
	ctx := t.Context()
	w.setTable(t, 1)
	person := &stillroomv1.Participant{DisplayName: personal.name, Email: personal.email, Phone: personal.phone, Allergies: personal.allergies}
	_, err := w.rosters().CreateParticipant(ctx, &stillroomv1.CreateParticipantRequest{Parent: "kitchens/k", ParticipantId: "p", Participant: person})
	require.NoError(t, err)
	_, err = w.rosters().CreateParticipant(ctx, &stillroomv1.CreateParticipantRequest{Parent: "kitchens/k", ParticipantId: "q", Participant: person})
	requireCode(t, codes.AlreadyExists, err)
	_, err = w.rosters().CreateParticipant(ctx, &stillroomv1.CreateParticipantRequest{Parent: "kitchens/k", ParticipantId: personal.name, Participant: person})
	requireCode(t, codes.InvalidArgument, err)
	_, err = w.rosters().GetParticipant(ctx, &stillroomv1.GetParticipantRequest{Name: "kitchens/k/participants/" + personal.name})
	require.Error(t, err)
	_, err = w.rosters().GetParticipant(ctx, &stillroomv1.GetParticipantRequest{Name: "kitchens/" + personal.name + "/participants/p"})
	require.Error(t, err)
	csv := fmt.Sprintf("name,email,allergies,station\n%s,%s,%s,\n%s,not an address %s,,nowhere\n", personal.name, personal.email, personal.allergies, personal.name, personal.email)
	_, err = w.rosters().ImportRoster(ctx, &stillroomv1.ImportRosterRequest{Parent: "kitchens/k/classes/c", Csv: []byte(csv)})
	requireCode(t, codes.InvalidArgument, err)
	_, err = w.rosters().ImportRoster(ctx, &stillroomv1.ImportRosterRequest{Parent: "kitchens/k/classes/c", Csv: []byte(csv), SkipBad: true})
	require.NoError(t, err)
	queue := stillroomv1.NewQuestionServiceClient(w.conn)
	question := &stillroomv1.Question{Text: personal.question, Asker: "kitchens/k/participants/p", Class: "kitchens/k/classes/c"}
	_, err = queue.CreateQuestion(ctx, &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k", QuestionId: "one", Question: question})
	require.NoError(t, err)
	_, err = queue.CreateQuestion(ctx, &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k", QuestionId: "one", Question: question})
	requireCode(t, codes.AlreadyExists, err)
	_, err = queue.AnswerQuestion(ctx, &stillroomv1.AnswerQuestionRequest{Name: "kitchens/k/questions/" + personal.question})
	require.Error(t, err)
	_, err = w.rosters().GetParticipant(withToken(ctx, personal.name), &stillroomv1.GetParticipantRequest{Name: "kitchens/k/participants/p"})
	requireCode(t, codes.Unauthenticated, err)

	// A table that is gone is what nobody foresaw; the statement carries the person's values.
	_, err = w.store.Pool().Exec(ctx, "ALTER TABLE participants RENAME TO away")
	require.NoError(t, err)
	_, err = w.rosters().CreateParticipant(ctx, &stillroomv1.CreateParticipantRequest{Parent: "kitchens/k", ParticipantId: "r", Participant: person})
	requireCode(t, codes.Internal, err)
	_, err = w.store.Pool().Exec(ctx, "ALTER TABLE away RENAME TO participants")
	require.NoError(t, err)
}

// TestNothingPersonalIsSeenFromOutside: after a busy run with calls of every outcome,
// neither the log, nor a span, nor a label holds what a person wrote.
func TestNothingPersonalIsSeenFromOutside(t *testing.T) {
	t.Parallel()
	w := newWatched(t)
	w.busy(t)
	failed := w.last(t, "RosterService/CreateParticipant", codes.Internal)
	require.Equal(t, "ERROR", failed["level"])
	require.Contains(t, failed["cause"], "42P01", "the log says what went wrong: PostgreSQL's SQLSTATE for an undefined table")
	require.Len(t, failed["trace_id"], 32)
	require.Greater(t, len(w.lines(t)), 15)
	requireImpersonal(t, "log", w.log.String())

	spans := w.spans.GetSpans()
	require.NotEmpty(t, spans)
	for _, s := range spans {
		requireImpersonal(t, "span", fmt.Sprint(s.Name, s.Attributes, s.Events, s.Status))
	}
	var measures metricdata.ResourceMetrics
	require.NoError(t, w.reader.Collect(t.Context(), &measures))
	text, err := json.Marshal(measures)
	require.NoError(t, err)
	require.Contains(t, string(text), "CreateParticipant")
	requireImpersonal(t, "measures", string(text))
}

// TestLinesSayWhoseCallFailed: a line has the method, the code, the caller's role and the kitchen.
func TestLinesSayWhoseCallFailed(t *testing.T) {
	t.Parallel()
	w := newWatched(t)
	w.setTable(t, 1)
	assistant, _ := w.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_ASSISTANT})
	_, err := w.kitchens().CreateSite(assistant, &stillroomv1.CreateSiteRequest{Parent: "kitchens/k", SiteId: "x", Site: &stillroomv1.Site{DisplayName: "X"}})
	requireCode(t, codes.PermissionDenied, err)
	line := w.last(t, "KitchenService/CreateSite", codes.PermissionDenied)
	require.Equal(t, []any{"INFO", "call failed", "assistant", "k"}, []any{line["level"], line["msg"], line["role"], line["kitchen"]})
	require.Positive(t, line["duration"])

	line = w.last(t, "ClassService/CreateClass", codes.OK)
	require.Equal(t, []any{"DEBUG", "call", "operator", "k"}, []any{line["level"], line["msg"], line["role"], line["kitchen"]})

	stream, err := stillroomv1.NewQuestionServiceClient(w.conn).WatchQuestions(assistant, &stillroomv1.WatchQuestionsRequest{Parent: "kitchens/nobodys"})
	require.NoError(t, err)
	_, err = stream.Recv()
	requireCode(t, codes.PermissionDenied, err)
	line = w.last(t, "QuestionService/WatchQuestions", codes.PermissionDenied)
	require.Equal(t, []any{"assistant", "k"}, []any{line["role"], line["kitchen"]})
}

// TestCallsContinueTheirCallersTrace: a call belongs to the trace that its caller names as the W3C
// recommendation "Trace Context" says, and so do its statements and its line. The header is the
// recommendation's example (section 3.2.3.4).
func TestCallsContinueTheirCallersTrace(t *testing.T) {
	t.Parallel()
	w := newWatched(t)
	w.setTable(t, 1)
	const theirs = "4bf92f3577b34da6a3ce929d0e0e4736"
	ctx := metadata.AppendToOutgoingContext(t.Context(), "traceparent", "00-"+theirs+"-00f067aa0ba902b7-01")
	_, err := w.kitchens().GetKitchen(ctx, &stillroomv1.GetKitchenRequest{Name: "kitchens/k"})
	require.NoError(t, err)
	require.Equal(t, theirs, w.last(t, "KitchenService/GetKitchen", codes.OK)["trace_id"])
	var call, statements int
	require.Eventually(t, func() bool {
		call, statements = 0, 0
		for _, s := range w.spans.GetSpans() {
			switch {
			case s.SpanContext.TraceID().String() != theirs:
			case s.Name == "stillroom.v1.KitchenService/GetKitchen":
				call++
				require.Equal(t, "00f067aa0ba902b7", s.Parent.SpanID().String())
			default:
				statements++
			}
		}
		return call == 1
	}, 10*time.Second, 5*time.Millisecond)
	require.Positive(t, statements)
}

// TestUnknownMethodsDoNotMakeLabels: anybody may call a method that does not exist, and
// must not fill the memory with labels by it.
func TestUnknownMethodsDoNotMakeLabels(t *testing.T) {
	t.Parallel()
	w := newWatched(t)
	for i := range 20 {
		err := w.conn.Invoke(t.Context(), fmt.Sprintf("/stillroom.v1.KitchenService/Wilhelmina%d", i), &stillroomv1.GetKitchenRequest{}, &stillroomv1.Kitchen{})
		requireCode(t, codes.Unimplemented, err)
	}
	var measures metricdata.ResourceMetrics
	require.NoError(t, w.reader.Collect(t.Context(), &measures))
	text, err := json.Marshal(measures)
	require.NoError(t, err)
	requireImpersonal(t, "measures", string(text))
}

// TestAPanicIsLoggedWithoutValues: a handler's panic becomes one INTERNAL, with its stack and its trace in the log.
func TestAPanicIsLoggedWithoutValues(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	b := &backend{log: slog.New(telemetry.Traced(slog.NewJSONHandler(&out, nil)))}
	info := &grpc.UnaryServerInfo{FullMethod: "/stillroom.v1.ClassService/GetClass"}
	// The identifiers are those of the example in W3C Trace Context, section 3.2.
	traceID, err := trace.TraceIDFromHex("4bf92f3577b34da6a3ce929d0e0e4736")
	require.NoError(t, err)
	ctx := trace.ContextWithSpanContext(t.Context(), trace.NewSpanContext(trace.SpanContextConfig{TraceID: traceID, SpanID: trace.SpanID{1}}))
	_, err = b.observeUnary(ctx, &stillroomv1.GetClassRequest{}, info, func(ctx context.Context, req any) (any, error) {
		return b.guardUnary(ctx, req, info, func(context.Context, any) (any, error) { panic(fmt.Sprintf("no place for %q", personal.name)) })
	})
	requireCode(t, codes.Internal, err)
	require.Contains(t, out.String(), `no place for \"…\"`)
	require.Contains(t, out.String(), "observe_test.go")
	require.Equal(t, 2, strings.Count(out.String(), "\n"), "the panic, and the call that failed")
	require.Equal(t, 2, strings.Count(out.String(), `"trace_id":"4bf92f3577b34da6a3ce929d0e0e4736"`))
	requireImpersonal(t, "log", out.String())
}

func TestCausesLoseTheirQuotedValues(t *testing.T) {
	t.Parallel()
	// PostgreSQL documentation, appendix A: 22P02 is invalid_text_representation; the form of its message
	// is what the server prints.
	wrong := &pgconn.PgError{Severity: "ERROR", Code: "22P02", Message: `invalid input syntax for type uuid: "Wilhelmina"`}
	for _, c := range []struct {
		err  error
		want string
	}{
		{errors.New("plain"), "plain"},
		{fmt.Errorf("reading %q: %w", "a \"b\" c", errors.New("gone")), `reading "…": gone`},
		{errors.New(`never closed "Wilhelmina`), `never closed "…"`},
		{errors.New("the server's pool isn't open"), "the server's pool isn't open"},
		{errors.New("host 'Wilhelmina' and `Wilhelmina` and “Wilhelmina”"), `host "…" and "…" and "…"`},
		{fmt.Errorf("adding: %w", wrong), `adding: ERROR: invalid input syntax for type uuid: "…" (SQLSTATE 22P02)`},
		{fault.New(fault.Unavailable, "away").Because(errors.New("refused")), "away: refused"},
	} {
		require.Equal(t, c.want, explainCause(c.err))
	}
}
