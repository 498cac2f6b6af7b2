package anytime_test

import (
	"cmp"
	"context"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/loadplan/anytime"
)

type clock struct{ t time.Time }

func (c *clock) now() time.Time { return c.t }

func lexicographic(a, b [2]int) int {
	if c := cmp.Compare(a[0], b[0]); c != 0 {
		return c
	}
	return cmp.Compare(a[1], b[1])
}

func TestIncumbentAndBoundMeet(t *testing.T) {
	c := &clock{t: time.Unix(0, 0)}
	var heard []anytime.Progress[string, [2]int]
	s := anytime.New(context.Background(), lexicographic, anytime.Limits{}, func(p anytime.Progress[string, [2]int]) {
		heard = append(heard, p)
	}, anytime.WithClock(c.now))

	require.True(t, s.RaiseBound([2]int{0, 3}))
	require.False(t, s.RaiseBound([2]int{0, 2}), "a weaker bound is no news")
	c.t = c.t.Add(time.Second)
	require.True(t, s.Offer("poor", [2]int{1, 0}))
	require.False(t, s.Offer("as poor", [2]int{1, 0}), "a tie keeps the first")
	require.False(t, s.Result().Optimal)
	require.True(t, s.Spend(1))
	c.t = c.t.Add(time.Second)
	require.True(t, s.Offer("good", [2]int{0, 4}))
	require.False(t, s.Stopped())
	c.t = c.t.Add(time.Second)
	require.True(t, s.RaiseBound([2]int{0, 4}))
	require.True(t, s.Stopped())
	require.False(t, s.Spend(1))

	r := s.Result()
	require.Equal(t, "good", r.Solution)
	require.True(t, r.Optimal)
	require.Equal(t, anytime.Met, r.Why)
	require.Equal(t, 2*time.Second, r.At)
	require.Len(t, heard, 4)
	require.Equal(t, time.Second, heard[1].Elapsed)
	require.False(t, heard[0].Found)
	require.Equal(t, [2]int{0, 4}, heard[3].Bound)
}

func TestLimits(t *testing.T) {
	compare := cmp.Compare[int]

	s := anytime.New[int, int](context.Background(), compare, anytime.Limits{Work: 3}, nil)
	require.True(t, s.Spend(2))
	require.False(t, s.Spend(1))
	require.Equal(t, anytime.WorkLimit, s.Result().Why)

	c := &clock{t: time.Unix(0, 0)}
	s = anytime.New[int, int](context.Background(), compare, anytime.Limits{Time: time.Minute}, nil, anytime.WithClock(c.now))
	require.False(t, s.Stopped())
	c.t = c.t.Add(time.Minute)
	require.True(t, s.Stopped())
	require.Equal(t, anytime.TimeLimit, s.Result().Why)
	s.Offer(5, 5)
	s.RaiseBound(5)
	require.Equal(t, anytime.Met, s.Result().Why, "a proof that arrives late is still a proof")

	ctx, cancel := context.WithCancel(context.Background())
	s = anytime.New[int, int](ctx, compare, anytime.Limits{}, nil)
	s.Offer(7, 7)
	cancel()
	require.True(t, s.Stopped())
	require.Equal(t, anytime.Cancelled, s.Result().Why)
	require.Equal(t, 7, s.Result().Solution, "cancelled, it keeps the best so far")
}

// walker draws numbers and offers each; every hundred draws it raises the bound a little.
type walker struct {
	random *rand.Rand
	seen   []int // what it saw of the others at the start of each round
}

func (w *walker) Round(view *anytime.View[int, int], _ int64) bool {
	_, v, _ := view.Best()
	w.seen = append(w.seen, v)
	for view.Spend(1) {
		x := w.random.IntN(1_000_000_000)
		view.Offer(x, x)
	}
	return false
}

func TestRoundsRepeat(t *testing.T) {
	run := func() ([]int, anytime.Result[int, int]) {
		a := &walker{random: rand.New(rand.NewPCG(1, 1))}
		b := &walker{random: rand.New(rand.NewPCG(1, 2))}
		s := anytime.New(context.Background(), cmp.Compare[int], anytime.Limits{Work: 10_000}, func(anytime.Progress[int, int]) {})
		s.Rounds(100, a, b)
		return append(a.seen, b.seen...), s.Result()
	}
	seen, first := run()
	require.Equal(t, anytime.WorkLimit, first.Why)
	require.InDelta(t, 10_000, first.Work, 2)
	for range 20 {
		again, r := run()
		require.Equal(t, seen, again)
		require.Equal(t, first.Solution, r.Solution)
		require.Equal(t, first.Work, r.Work)
	}
}

// finisher proves 10 to be the least in its third round.
type finisher struct{ rounds int }

func (f *finisher) Round(view *anytime.View[int, int], _ int64) bool {
	f.rounds++
	if f.rounds == 3 {
		view.Offer(10, 10)
		view.RaiseBound(10)
	}
	return f.rounds == 3
}

func TestRoundsEnd(t *testing.T) {
	f, w := &finisher{}, &walker{random: rand.New(rand.NewPCG(1, 1))}
	s := anytime.New[int, int](context.Background(), cmp.Compare[int], anytime.Limits{}, nil)
	s.RaiseBound(0)
	s.Rounds(10, f, w)
	require.Equal(t, 3, f.rounds)
	require.Len(t, w.seen, 3)
	require.True(t, s.Result().Optimal)

	s = anytime.New[int, int](context.Background(), cmp.Compare[int], anytime.Limits{}, nil)
	s.Rounds(10, &finisher{rounds: 2}, &finisher{rounds: 2})
	require.True(t, s.Result().Optimal)
	s = anytime.New[int, int](context.Background(), cmp.Compare[int], anytime.Limits{}, nil)
	s.Rounds(10)
	require.Equal(t, anytime.Exhausted, s.Result().Why)
}

type breaking struct{}

func (breaking) Round(*anytime.View[string, int], int64) bool { panic("no more jars") }

type idle struct{}

func (idle) Round(*anytime.View[string, int], int64) bool { return true }

// TestAWorkersPanicCanBeRecoveredFrom: in whichever goroutine it happens, it reaches the caller of Rounds.
func TestAWorkersPanicCanBeRecoveredFrom(t *testing.T) {
	for _, workers := range [][]anytime.Worker[string, int]{{breaking{}, idle{}}, {idle{}, breaking{}}, {breaking{}, breaking{}}} {
		s := anytime.New(context.Background(), cmp.Compare[int], anytime.Limits{}, func(anytime.Progress[string, int]) {})
		func() {
			defer func() { require.ErrorContains(t, recover().(error), "no more jars") }()
			s.Rounds(100, workers...)
		}()
	}
}
