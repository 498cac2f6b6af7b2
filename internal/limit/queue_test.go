package limit

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/require"
)

// line is a queue with what is known of those in it.
type line struct {
	*Queue
	t *testing.T
	// got are those who got a place, in order.
	got []string
	end map[string]func()
}

func newLine(t *testing.T, places, waiting int) *line {
	return &line{Queue: NewQueue(places, waiting), t: t, end: map[string]func(){}}
}

// come has somebody of a key come; once everything is quiet they run or wait.
func (l *line) come(ctx context.Context, key, name string) {
	go func() {
		leave, err := l.Enter(ctx, key, nil)
		if err != nil {
			return
		}
		l.got = append(l.got, name)
		l.end[name] = leave
	}()
	synctest.Wait()
}

func (l *line) leaves(name string) {
	l.t.Helper()
	require.Contains(l.t, l.end, name)
	l.end[name]()
	synctest.Wait()
}

func TestFirstComeFirstServed(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		l := newLine(t, 1, 8)
		for _, name := range []string{"a", "b", "c", "d"} {
			l.come(t.Context(), "k", name)
		}
		require.Equal(t, 1, l.Running())
		require.Equal(t, 3, l.Waiting())
		for _, name := range []string{"a", "b", "c", "d"} {
			l.leaves(name)
		}
		require.Equal(t, []string{"a", "b", "c", "d"}, l.got)
		require.Zero(t, l.Running())
		require.Empty(t, l.running)
	})
}

// TestAFullQueueSaysSo, and a key that has its share is told that it is that.
func TestAFullQueueSaysSo(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		l := newLine(t, 1, 3)
		l.come(t.Context(), "meadow", "m1")
		l.come(t.Context(), "meadow", "m2")
		l.come(t.Context(), "meadow", "m3")
		_, err := l.Enter(t.Context(), "meadow", nil)
		var full *Full
		require.ErrorAs(t, err, &full)
		require.Equal(t, Full{Running: 1, Waiting: 2, Own: true}, *full)
		l.come(t.Context(), "brook", "b1")
		require.Equal(t, 3, l.Waiting(), "the last place is for another")
		_, err = l.Enter(t.Context(), "hill", nil)
		require.ErrorAs(t, err, &full)
		require.Equal(t, Full{Running: 1, Waiting: 3}, *full)
		require.ErrorContains(t, full, "1 run and 3 wait")

		l.leaves("m1")
		require.Equal(t, []string{"m1", "m2"}, l.got, "nobody of either runs, so who came first is next")
		l.leaves("m2")
		l.leaves("m3")
		l.leaves("b1")
	})
}

// TestNobodyStarves: with two places, a kitchen that asked for many does not keep another
// waiting for all of them.
func TestNobodyStarves(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		l := newLine(t, 2, 10)
		for i := range 6 {
			l.come(t.Context(), "busy", fmt.Sprint("busy-", i))
		}
		l.come(t.Context(), "quiet", "quiet")
		l.leaves("busy-0")
		require.Equal(t, []string{"busy-0", "busy-1", "quiet"}, l.got)
		l.leaves("quiet")
		l.leaves("busy-1")
		require.Equal(t, []string{"busy-0", "busy-1", "quiet", "busy-2", "busy-3"}, l.got)
		for i := 2; i < 6; i++ {
			l.leaves(fmt.Sprint("busy-", i))
		}
		require.Zero(t, l.Running())
	})
}

// TestWhoGivesUpFreesTheirPlace, in the line as well as in the moment they would be next.
func TestWhoGivesUpFreesTheirPlace(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		l := newLine(t, 1, 2)
		l.come(t.Context(), "a", "first")
		ctx, cancel := context.WithCancel(t.Context())
		l.come(ctx, "b", "gives up")
		l.come(t.Context(), "c", "last")
		_, err := l.Enter(t.Context(), "d", nil)
		require.Error(t, err, "full")
		cancel()
		synctest.Wait()
		require.Equal(t, 1, l.Waiting())
		l.come(t.Context(), "d", "takes the place")
		l.leaves("first")
		l.leaves("last")
		l.leaves("takes the place")
		require.Equal(t, []string{"first", "last", "takes the place"}, l.got)
		require.Zero(t, l.Running())

		_, err = l.Enter(ctx, "b", nil)
		require.ErrorIs(t, err, context.Canceled, "who has left already does not even enter")
		require.Zero(t, l.Running())
	})
}

func TestWhoWaitsIsToldHowManyAreBefore(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		l := newLine(t, 1, 10)
		l.come(t.Context(), "a", "a")
		l.come(t.Context(), "b", "b")
		l.come(t.Context(), "c", "c")
		var told []int
		entered := make(chan func(), 1)
		go func() {
			leave, err := l.Enter(t.Context(), "d", func(ahead int) error {
				told = append(told, ahead)
				return nil
			})
			require.NoError(t, err)
			entered <- leave
		}()
		synctest.Wait()
		l.leaves("a")
		l.leaves("b")
		l.leaves("c")
		require.Equal(t, []int{2, 1, 0}, told)
		(<-entered)()

		l.come(t.Context(), "a", "again")
		gone := errors.New("nobody listens")
		_, err := l.Enter(t.Context(), "b", func(int) error { return gone })
		require.ErrorIs(t, err, gone)
		require.Zero(t, l.Waiting())
		l.leaves("again")
	})
}

// TestManyAtOnce: however they come, leave and give up, no more run than there are places,
// and in the end everything is free. Run with the race detector.
func TestManyAtOnce(t *testing.T) {
	t.Parallel()
	q := NewQueue(3, 20)
	var mu sync.Mutex
	running, most := 0, 0
	var all sync.WaitGroup
	for i := range 400 {
		all.Go(func() {
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			if i%5 == 0 {
				go cancel()
			}
			leave, err := q.Enter(ctx, fmt.Sprint(i%7), func(int) error { return nil })
			if err != nil {
				return
			}
			mu.Lock()
			running++
			most = max(most, running)
			mu.Unlock()
			mu.Lock()
			running--
			mu.Unlock()
			leave()
		})
	}
	all.Wait()
	require.LessOrEqual(t, most, 3)
	require.Zero(t, q.Running())
	require.Zero(t, q.Waiting())
	require.Empty(t, q.running)
}
