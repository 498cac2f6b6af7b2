package rpc

import (
	"context"
	"errors"
	"fmt"
	"net"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// askers is how many people ask side by side in the benchmark; each may ask ten questions a minute.
const askers = 20_000

// BenchmarkSubmit asks questions over gRPC and, in the same run, inserts rows of
// the same content with bare pgx, from as many goroutines. It reports questions
// a second of each and their ratio.
func BenchmarkSubmit(b *testing.B) {
	s := newTestServer(b)
	s.setTable(b, 1000)
	ctx := b.Context()
	pool := s.store.Pool()
	_, err := pool.Exec(ctx, `
		INSERT INTO participants (kitchen_id, id, slug, display_name, email, phone, allergies)
		SELECT k.id, gen_random_uuid(), 'b' || n, 'Person ' || n, '', '', '' FROM kitchens k, generate_series(1, $1) n`, askers)
	require.NoError(b, err)
	const side = 16
	var next atomic.Int64
	rate := func(n int, do func(i int64) error) float64 {
		var wg sync.WaitGroup
		errs := make([]error, side)
		start := time.Now()
		for w := range side {
			wg.Go(func() {
				for i := w; i < n; i += side {
					if err := do(next.Add(1)); err != nil {
						errs[w] = err
						return
					}
				}
			})
		}
		wg.Wait()
		elapsed := time.Since(start)
		require.NoError(b, errors.Join(errs...))
		return float64(n) / elapsed.Seconds()
	}
	text := "Do the rings stay on when jars are stored on the shelf?"
	submit := func(i int64) error {
		_, err := s.questions().CreateQuestion(ctx, &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k", RequestId: uuid.NewString(),
			Question: &stillroomv1.Question{Asker: fmt.Sprintf("kitchens/k/participants/b%d", 1+i%askers), Text: text}})
		return err
	}
	// The same rows: the request, the question, its event and the entry in the record of changes, in one transaction.
	var kitchen uuid.UUID
	require.NoError(b, pool.QueryRow(ctx, "SELECT id FROM kitchens").Scan(&kitchen))
	ids := make([]uuid.UUID, 0, askers)
	rows, err := pool.Query(ctx, "SELECT id FROM participants")
	require.NoError(b, err)
	for rows.Next() {
		var id uuid.UUID
		require.NoError(b, rows.Scan(&id))
		ids = append(ids, id)
	}
	require.NoError(b, rows.Err())
	response := make([]byte, 200)
	bare := func(i int64) error {
		tx, err := pool.Begin(ctx)
		if err != nil {
			return err
		}
		defer func() { _ = tx.Rollback(context.WithoutCancel(ctx)) }()
		id := uuid.Must(uuid.NewV7())
		if _, err = tx.Exec(ctx, "INSERT INTO requests (kitchen_id, request_id, method, fingerprint, response) VALUES ($1, $2, 'm', $3, $4)", kitchen, uuid.New(), response[:32], response); err != nil {
			return err
		}
		if _, err = tx.Exec(ctx, `INSERT INTO questions (kitchen_id, id, slug, topic, body, asker_id, unnamed, urgent, findings, created_at)
			VALUES ($1, $2, $3, 'band', $4, $5, false, false, '[]', now())`, kitchen, id, id.String(), text, ids[i%int64(len(ids))]); err != nil {
			return err
		}
		if _, err = tx.Exec(ctx, "INSERT INTO question_events (kitchen_id, question_id, step, actor, happened_at) VALUES ($1, $2, 'ask', 'b', now())", kitchen, id); err != nil {
			return err
		}
		if _, err = tx.Exec(ctx, `INSERT INTO audit_entries (kitchen_id, id, caller, role, method, resource, request_id)
			VALUES ($1, $2, 'operator', 'operator', 'stillroom.v1.QuestionService/CreateQuestion', 'kitchens/k', $3)`, kitchen, uuid.Must(uuid.NewV7()), id.String()); err != nil {
			return err
		}
		return tx.Commit(ctx)
	}
	// The comparison is of the same rows: a question asked leaves one in each of these tables.
	count := func() (rows [4]int) {
		require.NoError(b, pool.QueryRow(ctx, `SELECT (SELECT count(*) FROM requests), (SELECT count(*) FROM questions),
			(SELECT count(*) FROM question_events), (SELECT count(*) FROM audit_entries)`).Scan(&rows[0], &rows[1], &rows[2], &rows[3]))
		return rows
	}
	left := func(do func(int64) error) (rows [4]int) {
		before := count()
		require.NoError(b, do(next.Add(1)))
		for i, n := range count() {
			rows[i] = n - before[i]
		}
		return rows
	}
	require.Equal(b, left(submit), left(bare))
	rate(200, submit) // warm up
	rate(200, bare)
	b.ResetTimer()
	// Turn about, in parts, so that whatever else the machine does hits both.
	var served, inserted []float64
	for range 5 {
		n := max(side, b.N/5)
		served = append(served, rate(n, submit))
		inserted = append(inserted, rate(n, bare))
	}
	slices.Sort(served)
	slices.Sort(inserted)
	b.ReportMetric(served[2], "questions/s")
	b.ReportMetric(inserted[2], "bare-inserts/s")
	b.ReportMetric(served[2]/inserted[2], "ratio")
	b.ReportMetric(0, "ns/op")
}

// watchersInBench is how many watch one server.
const watchersInBench = 2000

// BenchmarkWatchers lets 2,000 watchers follow one server over loopback TCP. For
// each new question it measures the time from the call that asks it to the last
// watcher that has it; beside it a bare gRPC stream broadcasts the same bytes to
// as many streams in the same run. It reports p50 and p99 of both in
// milliseconds and what a watcher takes in memory, client and server together.
func BenchmarkWatchers(b *testing.B) {
	s := newTestServer(b)
	s.setTable(b, 1000)
	for i := range 100 {
		s.addPerson(b, fmt.Sprintf("p%d", i))
	}
	address, stop := bareBroadcast(b)
	defer stop.close()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b, err)
	go func() { _ = s.server.Serve(listener) }()

	open := func(address string) ([]grpc.ServerStreamingClient[stillroomv1.WatchQuestionsResponse], float64) {
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		var streams []grpc.ServerStreamingClient[stillroomv1.WatchQuestionsResponse]
		var conn *grpc.ClientConn
		for i := range watchersInBench {
			if i%100 == 0 { // a hundred streams to a connection, as a browser or a proxy would share one
				var err error
				conn, err = grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
				require.NoError(b, err)
				opened := conn
				b.Cleanup(func() { _ = opened.Close() })
			}
			stream, err := stillroomv1.NewQuestionServiceClient(conn).WatchQuestions(b.Context(), &stillroomv1.WatchQuestionsRequest{Parent: "kitchens/k"})
			require.NoError(b, err)
			m, err := stream.Recv()
			require.NoError(b, err)
			require.Equal(b, snapshotEnd, m.GetKind())
			streams = append(streams, stream)
		}
		runtime.GC()
		runtime.ReadMemStats(&after)
		return streams, float64(after.HeapInuse+after.StackInuse-before.HeapInuse-before.StackInuse) / watchersInBench
	}
	// receive counts what arrives at all streams, by round.
	receive := func(streams []grpc.ServerStreamingClient[stillroomv1.WatchQuestionsResponse], arrived chan<- struct{}) {
		for _, stream := range streams {
			go func() {
				for {
					m, err := stream.Recv()
					if err != nil {
						return
					}
					if m.GetKind() == changedKind {
						arrived <- struct{}{}
					}
				}
			}()
		}
	}
	watchers, memory := open(listener.Addr().String())
	bares, bareMemory := open(address)
	got, bareGot := make(chan struct{}, watchersInBench), make(chan struct{}, watchersInBench)
	receive(watchers, got)
	receive(bares, bareGot)
	round := func(got <-chan struct{}, cause func()) time.Duration {
		start := time.Now()
		cause()
		for range watchersInBench {
			<-got
		}
		return time.Since(start)
	}
	var ours, theirs []time.Duration
	b.ResetTimer()
	for i := range max(b.N, 60) {
		var q *stillroomv1.Question
		ours = append(ours, round(got, func() {
			var err error
			q, err = s.questions().CreateQuestion(b.Context(), &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k", RequestId: uuid.NewString(),
				Question: &stillroomv1.Question{Asker: fmt.Sprintf("kitchens/k/participants/p%d", i%100), Text: fmt.Sprintf("Question %d?", i)}})
			require.NoError(b, err)
		}))
		theirs = append(theirs, round(bareGot, func() {
			stop.send(&stillroomv1.WatchQuestionsResponse{Kind: changedKind, Question: q, ResumeToken: "ffffff-ffffff"})
		}))
	}
	for name, times := range map[string][]time.Duration{"": ours, "bare-": theirs} {
		slices.Sort(times)
		b.ReportMetric(float64(times[len(times)/2].Microseconds())/1000, name+"p50-ms")
		b.ReportMetric(float64(times[len(times)*99/100].Microseconds())/1000, name+"p99-ms")
	}
	b.ReportMetric(memory/1024, "KiB/watcher")
	b.ReportMetric(bareMemory/1024, "bare-KiB/watcher")
	b.ReportMetric(0, "ns/op")
}

// broadcaster serves WatchQuestions with nothing behind it: a channel to each stream.
type broadcaster struct {
	stillroomv1.UnimplementedQuestionServiceServer
	server *grpc.Server
	mu     sync.Mutex
	out    []chan *stillroomv1.WatchQuestionsResponse
}

func bareBroadcast(b *testing.B) (string, *broadcaster) {
	b.Helper()
	x := &broadcaster{server: grpc.NewServer()}
	stillroomv1.RegisterQuestionServiceServer(x.server, x)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b, err)
	go func() { _ = x.server.Serve(listener) }()
	return listener.Addr().String(), x
}

func (x *broadcaster) close() { x.server.Stop() }

func (x *broadcaster) WatchQuestions(_ *stillroomv1.WatchQuestionsRequest, stream grpc.ServerStreamingServer[stillroomv1.WatchQuestionsResponse]) error {
	out := make(chan *stillroomv1.WatchQuestionsResponse, watcherBuffer)
	x.mu.Lock()
	x.out = append(x.out, out)
	x.mu.Unlock()
	if err := stream.Send(&stillroomv1.WatchQuestionsResponse{Kind: snapshotEnd}); err != nil {
		return err
	}
	for {
		select {
		case <-stream.Context().Done():
			return nil
		case m := <-out:
			if err := stream.Send(m); err != nil {
				return err
			}
		}
	}
}

func (x *broadcaster) send(m *stillroomv1.WatchQuestionsResponse) {
	x.mu.Lock()
	defer x.mu.Unlock()
	for _, out := range x.out {
		out <- m
	}
}
