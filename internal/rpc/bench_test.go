package rpc

import (
	"crypto/sha256"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/store/db"
)

// The benchmarks below make a call and then run the statements that the call runs
// through bare pgx, turn by turn in one run, and report how many times longer the
// call takes ("rpc/pgx"). The call goes through a connection in memory, so the
// ratio holds what we add: gRPC, validation, names, the domain's types.

// BenchmarkWrite adds a participant with a request_id.
func BenchmarkWrite(b *testing.B) {
	s := newTestServer(b)
	s.setTable(b, 16)
	kitchenID := s.kitchenUUID(b)
	var call, bare time.Duration
	for b.Loop() {
		req := &stillroomv1.CreateParticipantRequest{
			Parent: "kitchens/k", RequestId: uuid.NewString(), Participant: &stillroomv1.Participant{DisplayName: "Somebody", Phone: "555 0100"}}
		start := time.Now()
		created, err := s.rosters().CreateParticipant(b.Context(), req)
		call += time.Since(start)
		require.NoError(b, err)

		wire, err := proto.Marshal(created)
		require.NoError(b, err)
		fingerprint := sha256.Sum256(wire)
		start = time.Now()
		err = pgx.BeginFunc(b.Context(), s.store.Pool(), func(tx pgx.Tx) error {
			q := db.New(tx)
			request, person := uuid.New(), uuid.Must(uuid.NewV7())
			if _, err := q.InsertRequest(b.Context(), db.InsertRequestParams{KitchenID: kitchenID, RequestID: request, Method: "bench", Fingerprint: fingerprint[:]}); err != nil {
				return err
			}
			if _, err := q.InsertParticipant(b.Context(), db.InsertParticipantParams{
				KitchenID: kitchenID, ID: person, Slug: person.String(), DisplayName: "Somebody", Phone: "555 0100"}); err != nil {
				return err
			}
			if err := q.FinishRequest(b.Context(), db.FinishRequestParams{KitchenID: kitchenID, RequestID: request, Response: wire}); err != nil {
				return err
			}
			return q.InsertAuditEntry(b.Context(), db.InsertAuditEntryParams{KitchenID: kitchenID, ID: uuid.Must(uuid.NewV7()), At: start,
				Caller: "operator", Role: "operator", Method: "stillroom.v1.RosterService/CreateParticipant", Resource: "kitchens/k", RequestID: request.String()})
		})
		bare += time.Since(start)
		require.NoError(b, err)
	}
	reportRatio(b, call, bare)
}

// BenchmarkRead fetches a class.
func BenchmarkRead(b *testing.B) {
	s := newTestServer(b)
	s.setTable(b, 16)
	kitchenID := s.kitchenUUID(b)
	var call, bare time.Duration
	for b.Loop() {
		start := time.Now()
		_, err := s.classes().GetClass(b.Context(), &stillroomv1.GetClassRequest{Name: theClass})
		call += time.Since(start)
		require.NoError(b, err)

		start = time.Now()
		err = pgx.BeginFunc(b.Context(), s.store.Pool(), func(tx pgx.Tx) error {
			_, err := db.New(tx).GetClass(b.Context(), db.GetClassParams{KitchenID: kitchenID, Slug: "c"})
			return err
		})
		bare += time.Since(start)
		require.NoError(b, err)
	}
	reportRatio(b, call, bare)
}

func reportRatio(b *testing.B, call, bare time.Duration) {
	b.ReportMetric(float64(call)/float64(bare), "rpc/pgx")
	b.ReportMetric(float64(call.Microseconds())/float64(b.N), "rpc-µs/op")
	b.ReportMetric(float64(bare.Microseconds())/float64(b.N), "pgx-µs/op")
	b.ReportMetric(0, "ns/op") // the sum of both says nothing
}

func (s *testServer) kitchenUUID(b *testing.B) uuid.UUID {
	row, err := db.New(s.store.Pool()).GetKitchen(b.Context(), "k")
	require.NoError(b, err)
	return row.ID
}
