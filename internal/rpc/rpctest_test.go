package rpc

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/localpg/pgtest"
	"stillroom/internal/store"
	"stillroom/internal/store/storetest"
)

// TestMain fails when the tests leave a goroutine behind: a watcher, a search, a server.
func TestMain(m *testing.M) {
	code := pgtest.Run(m)
	if err := goleak.Find(); err != nil && code == 0 {
		fmt.Fprintln(os.Stderr, err)
		code = 1
	}
	os.Exit(code)
}

// testServer is a server on a database of the test's own, with a connection to it.
type testServer struct {
	conn   *grpc.ClientConn
	store  *store.Store
	server *Server
}

// testNow is the clock of test servers.
var testNow = time.Date(2027, 8, 14, 16, 0, 0, 0, time.UTC)

func newTestServer(t testing.TB) *testServer {
	t.Helper()
	return serveStore(t, storetest.Open(t))
}

// serveStore serves a store over an in-memory connection until the test ends.
func serveStore(t testing.TB, st *store.Store) *testServer {
	t.Helper()
	srv, err := NewServer(Options{Store: st, Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Now: func() time.Time { return testNow }, Open: true})
	require.NoError(t, err)
	listener := bufconn.Listen(1 << 20)
	go func() { _ = srv.Serve(listener) }()
	t.Cleanup(srv.Stop)
	conn, err := grpc.NewClient("passthrough:///test",
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	return &testServer{conn: conn, store: st, server: srv}
}

func (s *testServer) kitchens() stillroomv1.KitchenServiceClient {
	return stillroomv1.NewKitchenServiceClient(s.conn)
}
func (s *testServer) classes() stillroomv1.ClassServiceClient {
	return stillroomv1.NewClassServiceClient(s.conn)
}
func (s *testServer) rosters() stillroomv1.RosterServiceClient {
	return stillroomv1.NewRosterServiceClient(s.conn)
}

// setTable makes kitchen "k" with site "main" at 5,280 ft and class "c" of the given
// capacity with stations "a" and "b".
func (s *testServer) setTable(t testing.TB, capacity int32) {
	t.Helper()
	ctx := t.Context()
	_, err := s.kitchens().CreateKitchen(ctx, &stillroomv1.CreateKitchenRequest{
		KitchenId: "k", Kitchen: &stillroomv1.Kitchen{DisplayName: "A kitchen", CurrencyCode: "USD"}})
	require.NoError(t, err)
	_, err = s.kitchens().CreateSite(ctx, &stillroomv1.CreateSiteRequest{Parent: "kitchens/k", SiteId: "main", Site: &stillroomv1.Site{
		DisplayName: "Main room", Altitude: &stillroomv1.Altitude{Metres: 1609.344}, TimeZone: "America/Denver"}})
	require.NoError(t, err)
	_, err = s.classes().CreateClass(ctx, &stillroomv1.CreateClassRequest{Parent: "kitchens/k", ClassId: "c", Class: &stillroomv1.Class{
		DisplayName: "A class", Site: "kitchens/k/sites/main", StartTime: timestamppb.New(testNow.AddDate(0, 0, 7)),
		DurationMinutes: 240, Capacity: capacity}})
	require.NoError(t, err)
	for _, id := range []string{"a", "b"} {
		_, err = s.classes().CreateStation(ctx, &stillroomv1.CreateStationRequest{
			Parent: "kitchens/k/classes/c", StationId: id, Station: &stillroomv1.Station{DisplayName: "Bench " + id}})
		require.NoError(t, err)
	}
}

// addPerson adds participant id to kitchen "k".
func (s *testServer) addPerson(t testing.TB, id string) {
	t.Helper()
	_, err := s.rosters().CreateParticipant(t.Context(), &stillroomv1.CreateParticipantRequest{
		Parent: "kitchens/k", ParticipantId: id, Participant: &stillroomv1.Participant{DisplayName: "Person " + id}})
	require.NoError(t, err)
}

// requireCode checks the code of an error and returns its status.
func requireCode(t testing.TB, code codes.Code, err error) *status.Status {
	t.Helper()
	require.Error(t, err)
	st, ok := status.FromError(err)
	require.True(t, ok, "not a status: %v", err)
	require.Equal(t, code, st.Code(), st.Message())
	return st
}

// badFields are the fields named in a status's BadRequest details.
func badFields(t testing.TB, st *status.Status) []string {
	t.Helper()
	var fields []string
	for _, d := range st.Details() {
		if bad, ok := d.(*errdetails.BadRequest); ok {
			for _, v := range bad.GetFieldViolations() {
				fields = append(fields, v.GetField())
			}
		}
	}
	return fields
}
