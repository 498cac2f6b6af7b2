package main

import (
	"context"
	"net/http"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/localpg"
	"stillroom/internal/store/storetest"
)

// dial connects to a running serve.
func (p *program) dial() *grpc.ClientConn {
	p.t.Helper()
	conn, err := grpc.NewClient(p.address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(p.t, err)
	p.t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// ended is closed when serve has ended; its error is in the channel.
func (p *program) ended() <-chan error {
	ended := make(chan error, 1)
	go func() { ended <- p.serve.Wait() }()
	return ended
}

// hold makes calls that touch kitchens wait until the returned function is called.
func hold(t *testing.T, url string) (letGo func()) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close(context.WithoutCancel(t.Context())) })
	_, err = conn.Exec(t.Context(), "BEGIN; LOCK TABLE kitchens IN ACCESS EXCLUSIVE MODE")
	require.NoError(t, err)
	return func() {
		_, err := conn.Exec(t.Context(), "COMMIT")
		require.NoError(t, err)
	}
}

// awaitHeld returns when a call waits for what hold holds.
func awaitHeld(t *testing.T, url string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer func() { require.NoError(t, conn.Close(t.Context())) }()
	require.Eventually(t, func() bool {
		var waiting bool
		err := conn.QueryRow(t.Context(), `SELECT EXISTS (SELECT FROM pg_locks l JOIN pg_database d ON d.oid = l.database
			WHERE NOT l.granted AND d.datname = current_database())`).Scan(&waiting)
		return err == nil && waiting
	}, 20*time.Second, 10*time.Millisecond)
}

// heldCall makes a call that waits, and returns its result in a channel.
func heldCall(t *testing.T, p *program, url string) <-chan error {
	t.Helper()
	called := make(chan error, 1)
	conn := p.dial()
	go func() {
		_, err := stillroomv1.NewKitchenServiceClient(conn).CreateKitchen(t.Context(), &stillroomv1.CreateKitchenRequest{
			KitchenId: "k", Kitchen: &stillroomv1.Kitchen{DisplayName: "K", CurrencyCode: "USD"}})
		called <- err
	}()
	awaitHeld(t, url)
	return called
}

// TestStopDrainsARunningCall: SIGTERM first reports not-serving, by gRPC and on the admin
// listener, while a call still runs; the call then ends well, and the program with it.
func TestStopDrainsARunningCall(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	p, admin := startWithAdmin(t, "--database", url)
	ctx, leave := context.WithCancel(t.Context())
	defer leave()
	watch, err := healthpb.NewHealthClient(p.dial()).Watch(ctx, &healthpb.HealthCheckRequest{})
	require.NoError(t, err)
	said, err := watch.Recv()
	require.NoError(t, err)
	require.Equal(t, healthpb.HealthCheckResponse_SERVING, said.GetStatus())

	letGo := hold(t, url)
	called := heldCall(t, p, url)
	require.NoError(t, p.serve.Process.Signal(syscall.SIGTERM))
	ended := p.ended()
	said, err = watch.Recv()
	require.NoError(t, err)
	require.Equal(t, healthpb.HealthCheckResponse_NOT_SERVING, said.GetStatus())
	leave() // a watcher of health has no reason to stay
	code, body := get(t, admin+"/readyz")
	require.Equal(t, []any{http.StatusServiceUnavailable, "stopping\n"}, []any{code, body})
	select {
	case err := <-called:
		require.Fail(t, "the call ended before it could", "%v", err)
	case err := <-ended:
		require.Fail(t, "serve ended with a call running", "%v", err)
	default:
	}
	letGo()
	require.NoError(t, <-called)
	require.NoError(t, <-ended, "serve logged: %s", p.log)
}

// TestStopEndsWithinItsTimer: a call that does not end is cut off, and told so.
func TestStopEndsWithinItsTimer(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("it waits for the whole timer")
	}
	url := storetest.URL(t)
	p := startProgram(t, "--database", url)
	hold(t, url)
	called := heldCall(t, p, url)
	begun := time.Now()
	require.NoError(t, p.serve.Process.Signal(syscall.SIGTERM))
	require.NoError(t, <-p.ended(), "serve logged: %s", p.log)
	require.Equal(t, codes.Unavailable, status.Code(<-called))
	require.GreaterOrEqual(t, time.Since(begun), stopWithin, "the call had its time")
}

// TestPoolSurvivesARestartedPostgres: while Postgres is down calls fail with UNAVAILABLE and
// the advice to retry; when it is back, after a stop in immediate mode and a recovery, the
// same server serves again, with everything it had acknowledged.
func TestPoolSurvivesARestartedPostgres(t *testing.T) {
	t.Parallel()
	folder, err := os.MkdirTemp("", "stillroom-restart-") // t.TempDir may lie where Postgres's user cannot go
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	require.NoError(t, os.Chmod(folder, 0o755)) //nolint:gosec // Postgres's user must be able to enter it.
	options := localpg.Options{Folder: filepath.Join(folder, "data")}
	pg, err := localpg.Start(t.Context(), options)
	require.NoError(t, err)
	t.Cleanup(func() { _ = pg.Stop() })
	url, err := pg.Database(t.Context(), "restarted")
	require.NoError(t, err)

	p, admin := startWithAdmin(t, "--database", url)
	kitchens := stillroomv1.NewKitchenServiceClient(p.dial())
	create := func(id string) error {
		_, err := kitchens.CreateKitchen(t.Context(), &stillroomv1.CreateKitchenRequest{
			KitchenId: id, Kitchen: &stillroomv1.Kitchen{DisplayName: "A kitchen", CurrencyCode: "USD"}})
		return err
	}
	require.NoError(t, create("before"))
	hold(t, url)
	running := heldCall(t, p, url)

	// PostgreSQL documentation, "Shutting Down the Server": SIGQUIT is immediate shutdown mode.
	require.NoError(t, syscall.Kill(pg.PID(), syscall.SIGQUIT))
	<-pg.Done()
	require.NoError(t, pg.Stop())
	require.Equal(t, codes.Unavailable, status.Code(<-running), "the call that was running")
	st := status.Convert(create("during"))
	require.Equal(t, codes.Unavailable, st.Code(), st.Message())
	var advice *errdetails.RetryInfo
	for _, d := range st.Details() {
		if r, ok := d.(*errdetails.RetryInfo); ok {
			advice = r
		}
	}
	require.Positive(t, advice.GetRetryDelay().AsDuration())
	code, body := get(t, admin+"/readyz")
	require.Equal(t, []any{http.StatusServiceUnavailable, "the database does not answer\n"}, []any{code, body})
	code, _ = get(t, admin+"/healthz")
	require.Equal(t, http.StatusOK, code, "a restart of the server would help nobody")

	pg, err = localpg.Start(t.Context(), options)
	require.NoError(t, err)
	t.Cleanup(func() { _ = pg.Stop() })
	require.Eventually(t, func() bool { return create("after") == nil }, 30*time.Second, 20*time.Millisecond)
	_, err = kitchens.GetKitchen(t.Context(), &stillroomv1.GetKitchenRequest{Name: "kitchens/before"})
	require.NoError(t, err, "what was acknowledged is still there")
	_, err = kitchens.GetKitchen(t.Context(), &stillroomv1.GetKitchenRequest{Name: "kitchens/k"})
	require.Equal(t, codes.NotFound, status.Code(err), "what was not is not")
	code, _ = get(t, admin+"/readyz")
	require.Equal(t, http.StatusOK, code)
	p.stop()
}
