package rpc

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/access"
	"stillroom/internal/limit"
)

// TestSearchesQueue: a search waits for the one that runs and is told so; when the queue is
// full the next is turned away with the queue's name and when to come again; who gives up
// makes room.
func TestSearchesQueue(t *testing.T) {
	t.Parallel()
	b := behindTheDoor(t, Limits{Searches: 1, SearchesWaiting: 2})
	s := &loadService{backend: b}
	quiet := func(*stillroomv1.PlanProgress) error { return nil }
	done, err := s.takeTurn(t.Context(), "meadow", quiet)
	require.NoError(t, err)

	told := make(chan *stillroomv1.PlanProgress, 1)
	ctx, giveUp := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		_, err := s.takeTurn(ctx, "meadow", func(p *stillroomv1.PlanProgress) error { told <- p; return nil })
		ended <- err
	}()
	p := <-told
	require.NotNil(t, p.WaitingBehind)
	require.Zero(t, p.GetWaitingBehind())

	_, err = s.takeTurn(t.Context(), "meadow", quiet)
	which, wait, violations := advice(t, err)
	require.Equal(t, "searches", which)
	require.Equal(t, "searches", violations[0].GetSubject())
	require.Equal(t, 2*searchEach, wait)
	require.ErrorContains(t, err, "your kitchen has its share of the queue of searches, in which 1 run and 1 wait; try again in 20 seconds")

	other := make(chan func(), 1)
	go func() {
		done, err := s.takeTurn(t.Context(), "brook", func(p *stillroomv1.PlanProgress) error { told <- p; return nil })
		if err == nil {
			other <- done
		}
	}()
	require.EqualValues(t, 1, (<-told).GetWaitingBehind())
	_, err = s.takeTurn(t.Context(), "hill", quiet)
	advice(t, err)
	require.ErrorContains(t, err, "the queue of searches is full: 1 run and 2 wait; try again in 30 seconds")

	giveUp()
	require.ErrorIs(t, <-ended, context.Canceled)
	require.Zero(t, (<-told).GetWaitingBehind(), "the other moves up")
	done()
	(<-other)()
	require.Zero(t, b.door.searches.Running())
	require.Zero(t, b.door.searches.Waiting())
}

// TestLongCallsQueue: expensive calls have a queue of their own, so that others go on.
func TestLongCallsQueue(t *testing.T) {
	t.Parallel()
	b := behindTheDoor(t, Limits{LongCalls: 1, LongCallsWaiting: 1})
	inside, let := make(chan struct{}), make(chan struct{})
	call := func(method string, handler grpc.UnaryHandler) error {
		_, err := b.authoriseUnary(from(t.Context(), "192.0.2.1:4000"), &stillroomv1.ImportRosterRequest{Parent: "kitchens/k/classes/c"}, &grpc.UnaryServerInfo{FullMethod: method}, handler)
		return err
	}
	hold := func(context.Context, any) (any, error) { inside <- struct{}{}; <-let; return nil, nil }
	var all sync.WaitGroup
	all.Go(func() { _ = call(stillroomv1.RosterService_ImportRoster_FullMethodName, hold) })
	<-inside
	all.Go(func() { _ = call(stillroomv1.RosterService_ImportRoster_FullMethodName, hold) })
	require.Eventually(t, func() bool { return b.door.long.Waiting() == 1 }, time.Minute, time.Millisecond)
	at := func(context.Context, any) (any, error) { return nil, nil }
	err := call(stillroomv1.QuestionService_SuggestGroups_FullMethodName, at)
	which, _, _ := advice(t, err)
	require.Equal(t, "long calls", which)
	require.NoError(t, call(stillroomv1.RosterService_ExportRoster_FullMethodName, at), "a call that is not long does not queue")
	close(let)
	<-inside
	all.Wait()
}

// TestLongCallsExist holds the list of long calls to the contract.
func TestLongCallsExist(t *testing.T) {
	t.Parallel()
	b := behindTheDoor(t, Limits{})
	for method := range longCalls {
		require.Contains(t, b.rules, method)
	}
}

// TestPlanningIsToldWhenTheQueueIsFull drives the call itself.
func TestPlanningIsToldWhenTheQueueIsFull(t *testing.T) {
	t.Parallel()
	s := kitchenToPlan(t, "salsa", "corn")
	door := s.server.queue.door
	door.searches = limit.NewQueue(1, 1)
	done, err := door.searches.Enter(t.Context(), "other", nil)
	require.NoError(t, err)
	ctx, giveUp := context.WithCancel(t.Context())
	waiting := make(chan error, 1)
	in := make(chan int, 1)
	go func() {
		_, err := door.searches.Enter(ctx, "other", func(ahead int) error { in <- ahead; return nil })
		waiting <- err
	}()
	<-in
	_, _, err = s.planned(t.Context(), planRequest())
	which, _, _ := advice(t, err)
	require.Equal(t, "searches", which)
	giveUp()
	require.ErrorIs(t, <-waiting, context.Canceled)

	planned := make(chan []*stillroomv1.PlanProgress, 1)
	go func() {
		_, progress, _ := s.planned(t.Context(), planRequest())
		planned <- progress
	}()
	require.Eventually(t, func() bool { return door.searches.Waiting() == 1 }, time.Minute, time.Millisecond)
	done()
	progress := <-planned
	require.NotNil(t, progress[0].WaitingBehind, "the stream begins with the place in the queue")
	require.Zero(t, progress[0].GetWaitingBehind())
	require.Nil(t, progress[len(progress)-1].WaitingBehind)
}

// BenchmarkDoor is what the limits add to a call of a known caller: its rate, its place
// and whose address it is, beside the whole chain of interceptors but the database.
func BenchmarkDoor(b *testing.B) {
	info := &grpc.UnaryServerInfo{FullMethod: stillroomv1.KitchenService_GetKitchen_FullMethodName}
	req := &stillroomv1.GetKitchenRequest{Name: "kitchens/k"}
	at := func(context.Context, any) (any, error) { return nil, nil }
	wide := DefaultLimits()
	wide.CallerRate, wide.CallerBurst = 1e9, 1e9
	for name, l := range map[string]Limits{"without": {}, "with": wide} {
		b.Run("chain/"+name, func(b *testing.B) {
			back := behindTheDoor(b, l)
			ctx := from(b.Context(), "192.0.2.1:4000")
			for b.Loop() {
				_, _ = back.guardUnary(ctx, req, info, func(ctx context.Context, req any) (any, error) { return back.authoriseUnary(ctx, req, info, at) })
			}
		})
	}
	b.Run("known", func(b *testing.B) {
		door := behindTheDoor(b, wide).door
		ctx := from(b.Context(), "192.0.2.1:4000")
		caller := access.Caller{Role: access.Instructor, Kitchen: "k", Token: "t"}
		for b.Loop() {
			_, key, err := door.identified(ctx, "secret", func() (access.Caller, error) { return caller, nil })
			require.NoError(b, err)
			leave, err := door.enter(ctx, key, false)
			require.NoError(b, err)
			leave()
		}
	})
}

// TestACrashIsOneInternal: through the whole server, a handler that panics costs its call,
// and the next is served.
func TestACrashIsOneInternal(t *testing.T) {
	t.Parallel()
	b := behindTheDoor(t, DefaultLimits())
	info := &grpc.UnaryServerInfo{FullMethod: stillroomv1.KitchenService_GetKitchen_FullMethodName}
	req := &stillroomv1.GetKitchenRequest{Name: "kitchens/k"}
	ctx := from(t.Context(), "192.0.2.1:4000")
	for range 2 * DefaultLimits().CallerCalls {
		_, err := b.guardUnary(ctx, req, info, func(ctx context.Context, req any) (any, error) {
			return b.authoriseUnary(ctx, req, info, func(context.Context, any) (any, error) { panic("no such pot") })
		})
		requireCode(t, codes.Internal, err)
	}
	_, err := b.authoriseUnary(ctx, req, info, func(context.Context, any) (any, error) { return nil, nil })
	require.NoError(t, err, "a crash gives its place back")
}
