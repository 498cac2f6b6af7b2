package rpc

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/fault"
)

// TestEveryFaultHasItsCode walks all kinds; a new kind without a code fails here.
func TestEveryFaultHasItsCode(t *testing.T) {
	want := map[fault.Kind]codes.Code{
		fault.Internal:        codes.Internal,
		fault.Invalid:         codes.InvalidArgument,
		fault.NotFound:        codes.NotFound,
		fault.AlreadyExists:   codes.AlreadyExists,
		fault.Precondition:    codes.FailedPrecondition,
		fault.Conflict:        codes.Aborted,
		fault.Exhausted:       codes.ResourceExhausted,
		fault.Unavailable:     codes.Unavailable,
		fault.Denied:          codes.PermissionDenied,
		fault.Unauthenticated: codes.Unauthenticated,
	}
	for kind := fault.Internal; kind <= fault.Unauthenticated; kind++ {
		st := toStatus(fmt.Errorf("wrapped: %w", fault.New(kind, "words for people").Because(errors.New("SELECT secret"))))
		require.Equal(t, want[kind], st.Code(), "kind %d", kind)
		require.NotContains(t, st.Message(), "SELECT", "kind %d", kind)
		if kind != fault.Internal {
			require.Equal(t, "words for people", st.Message())
		}
	}
	require.Len(t, codeOf, len(want))
}

func TestDetailsTravelWithTheStatus(t *testing.T) {
	var c fault.Collector
	c.Add("batch.jars", "-3", "is negative", "give 1 or more")
	c.Add("batch.station", "", "is missing", "name a station")
	st := toStatus(c.Err())
	var bad *errdetails.BadRequest
	for _, d := range st.Details() {
		if b, ok := d.(*errdetails.BadRequest); ok {
			bad = b
		}
	}
	require.NotNil(t, bad)
	require.Len(t, bad.GetFieldViolations(), 2)
	require.Equal(t, "batch.jars", bad.GetFieldViolations()[0].GetField())
	require.Equal(t, `"-3" is negative; give 1 or more`, bad.GetFieldViolations()[0].GetDescription())

	away := fault.New(fault.Unavailable, "the database is away")
	away.RetryAfter = 2 * time.Second
	var retry *errdetails.RetryInfo
	for _, d := range toStatus(away).Details() {
		if r, ok := d.(*errdetails.RetryInfo); ok {
			retry = r
		}
	}
	require.NotNil(t, retry)
	require.Equal(t, 2*time.Second, retry.GetRetryDelay().AsDuration())
}

func TestStrangeErrorsTellNothing(t *testing.T) {
	st := toStatus(&pgconn.PgError{Code: "42P01", Message: `relation "secret" does not exist`})
	require.Equal(t, codes.Internal, st.Code())
	require.Equal(t, internalMessage, st.Message())
	require.Equal(t, codes.DeadlineExceeded, toStatus(fmt.Errorf("x: %w", context.DeadlineExceeded)).Code())
	require.Equal(t, codes.Canceled, toStatus(context.Canceled).Code())
}

// TestWhatCannotBeKeptIsRefused: by the name of its field, before anything is looked up.
func TestWhatCannotBeKeptIsRefused(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	_, err := s.rosters().UpdateParticipant(t.Context(), &stillroomv1.UpdateParticipantRequest{Participant: &stillroomv1.Participant{
		Name: "kitchens/k/participants/ana", Allergies: "a\x00b"}})
	require.Equal(t, []string{"participant.allergies"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	_, err = s.equipment().ListReservations(t.Context(), &stillroomv1.ListReservationsRequest{Parent: "kitchens/k/equipment/e",
		FromTime: &timestamppb.Timestamp{Seconds: -210866803200}})
	require.Equal(t, []string{"from_time"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	_, err = s.equipment().ListReservations(t.Context(), &stillroomv1.ListReservationsRequest{Parent: "kitchens/k/equipment/e",
		FromTime: &timestamppb.Timestamp{Nanos: -1}})
	require.Equal(t, []string{"from_time"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
}
