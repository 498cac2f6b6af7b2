package main

import (
	"context"
	"errors"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/types/known/durationpb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// busy refuses calls so many times with advice, and then serves them.
type busy struct {
	stillroomv1.UnimplementedKitchenServiceServer
	stillroomv1.UnimplementedLoadServiceServer
	refusals, calls int
	advice          time.Duration
}

func (b *busy) refuse() error {
	if b.calls++; b.calls > b.refusals {
		return nil
	}
	st := status.New(codes.ResourceExhausted, "the queue is full")
	if b.advice > 0 {
		st, _ = st.WithDetails(&errdetails.RetryInfo{RetryDelay: durationpb.New(b.advice)})
	}
	return st.Err()
}

func (b *busy) GetKitchen(context.Context, *stillroomv1.GetKitchenRequest) (*stillroomv1.Kitchen, error) {
	return &stillroomv1.Kitchen{Name: "kitchens/k"}, b.refuse()
}

func (b *busy) PlanLoads(req *stillroomv1.PlanLoadsRequest, stream grpc.ServerStreamingServer[stillroomv1.PlanLoadsResponse]) error {
	if err := b.refuse(); err != nil {
		return err
	}
	return stream.Send(&stillroomv1.PlanLoadsResponse{Content: &stillroomv1.PlanLoadsResponse_LoadPlan{LoadPlan: &stillroomv1.LoadPlan{Name: req.GetParent() + "/loadPlans/1"}}})
}

// callBusy serves b to a client whose pauses are noted instead of waited for.
func callBusy(t *testing.T, b *busy) (conn *grpc.ClientConn, pauses *[]time.Duration) {
	t.Helper()
	srv := grpc.NewServer()
	stillroomv1.RegisterKitchenServiceServer(srv, b)
	stillroomv1.RegisterLoadServiceServer(srv, b)
	listener := bufconn.Listen(1 << 16)
	go func() { _ = srv.Serve(listener) }()
	t.Cleanup(srv.Stop)
	pauses = &[]time.Duration{}
	p := patience{notice: func(string) {}, pause: func(ctx context.Context, d time.Duration) error {
		*pauses = append(*pauses, d)
		return ctx.Err()
	}}
	conn, err := grpc.NewClient("passthrough:///busy",
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithUnaryInterceptor(p.unary), grpc.WithStreamInterceptor(p.stream))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	return conn, pauses
}

// TestARefusedCallIsMadeAgainAsAdvised: after the time the server said or a little more,
// three times at most, and never when it did not say.
func TestARefusedCallIsMadeAgainAsAdvised(t *testing.T) {
	t.Parallel()
	const advice = 4 * time.Second
	get := func(ctx context.Context, conn *grpc.ClientConn) error {
		_, err := stillroomv1.NewKitchenServiceClient(conn).GetKitchen(ctx, &stillroomv1.GetKitchenRequest{})
		return err
	}
	plan := func(ctx context.Context, conn *grpc.ClientConn) error {
		stream, err := stillroomv1.NewLoadServiceClient(conn).PlanLoads(ctx, &stillroomv1.PlanLoadsRequest{Parent: "kitchens/k/classes/c"})
		if err != nil {
			return err
		}
		message, err := stream.Recv()
		if err == nil && message.GetLoadPlan().GetName() != "kitchens/k/classes/c/loadPlans/1" {
			return errors.New("the request was not sent again whole")
		}
		return err
	}
	for name, call := range map[string]func(context.Context, *grpc.ClientConn) error{"call": get, "stream": plan} {
		t.Run(name, func(t *testing.T) {
			b := &busy{refusals: 2, advice: advice}
			conn, pauses := callBusy(t, b)
			require.NoError(t, call(t.Context(), conn))
			require.Equal(t, 3, b.calls)
			require.Len(t, *pauses, 2)
			for _, d := range *pauses {
				require.GreaterOrEqual(t, d, advice)
				require.LessOrEqual(t, d, advice*5/4)
			}

			b = &busy{refusals: 100, advice: advice}
			conn, pauses = callBusy(t, b)
			require.Equal(t, codes.ResourceExhausted, status.Code(call(t.Context(), conn)))
			require.Equal(t, 1+tries, b.calls)
			require.Len(t, *pauses, tries)

			b = &busy{refusals: 1}
			conn, pauses = callBusy(t, b)
			require.Equal(t, codes.ResourceExhausted, status.Code(call(t.Context(), conn)), "too large a request stays too large")
			require.Empty(t, *pauses)

			b = &busy{refusals: 1, advice: time.Hour}
			conn, pauses = callBusy(t, b)
			ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
			defer cancel()
			require.ErrorContains(t, call(ctx, conn), "the queue is full", "what would come too late is not waited for")
			require.Empty(t, *pauses)
		})
	}
}

func TestLimitsThatLetNobodyInAreRefused(t *testing.T) {
	t.Parallel()
	for flag, words := range map[string]string{
		"--call-time=10ms":        "--call-time 10ms is too short",
		"--watch-time=-1s":        "--watch-time -1s is too short",
		"--request-bytes=5":       "--request-bytes 5 is too small",
		"--caller-rate=-1":        "lets nobody in",
		"--caller-burst=0":        "lets nobody in",
		"--searches=-1":           "--searches -1 is negative",
		"--long-calls-waiting=-2": "--long-calls-waiting -2 is negative",
	} {
		s := &session{}
		cmd := newServe(s)
		cmd.SetArgs([]string{flag})
		cmd.SilenceUsage, cmd.SilenceErrors = true, true
		require.ErrorContains(t, cmd.Execute(), words, flag)
	}
}
