package class_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/loadplan/class"
)

// three is three stations with a batch of four jars each, filled at minute 10 at the earliest, and one canner for
// four jars in which a load takes 20 minutes (1 + 8 + 10 + 1), with 5 minutes between loads.
func three(burners int) class.Spec {
	s := class.Spec{Close: 90, Handlers: 1, Handling: 1, Burners: burners, Processes: []class.Process{{ID: "p", Method: "m", Minutes: 10}},
		Canners: []class.Canner{{ID: "c", Methods: []string{"m"}, Capacity: map[string]int{"pint": 4}, ComeUpBase: "8", ComeUpPerJar: "0", Reset: 5}}}
	for _, id := range []string{"x", "y", "z"} {
		s.Batches = append(s.Batches, class.Batch{ID: id, Station: id, Process: "p", Size: "pint", Jars: 4, Stage: 10, ReadyEarliest: 10, HoldMax: 30})
	}
	return s
}

// TestBoundByHand: the loads can be at 10-30, 35-55 and 60-80, so that with jars free of charge the canner gains 4 by
// minute 30, 8 by 55 and 12 by 80, and nothing in the minute before.
func TestBoundByHand(t *testing.T) {
	in, err := class.Build(three(9))
	require.NoError(t, err)
	free := []int{0, 0, 0}
	for deadline, jars := range map[int]int{29: 0, 30: 4, 54: 4, 55: 8, 79: 8, 80: 12, 90: 12} {
		require.Equal(t, jars*10_000, class.BoundAt(in, deadline, free, 0), "by %d", deadline)
	}
	// With one burner a load of four jars takes it for 10 + 20 minutes, so 59 minutes are worth 59/30*4 = 7.9 jars. The
	// prices that say so: 4/30 of a jar (1334 rounded up) for a minute, and for a jar a quarter of its stage's ten
	// minutes, 3335. Then a station earns 4*3335 - 10*1334 = 0 and a load gains 4*6665 - 20*1334 < 0.
	in, err = class.Build(three(1))
	require.NoError(t, err)
	require.Equal(t, 59*1334, class.BoundAt(in, 59, []int{3335, 3335, 3335}, 1334))
	require.Equal(t, 7, class.MostJarsBy(in, 59, 400, true), "and the method finds prices that are about as good")
	// Indeed x, then y can be cooked and processed in 60 minutes, one thing at a time.
	r := class.Solve(context.Background(), in, class.Options{Work: 200_000, Enough: 2})
	require.True(t, r.Optimal)
	require.Equal(t, class.Value{Finish: 90, Loads: 3}, class.Value{Unprocessed: r.Objective.Unprocessed, Finish: r.Objective.Finish, Loads: r.Objective.Loads})
}

// TestBoundOfJarsFilledBefore: of jars lidded before the present minute, those whose wait is over are lost, and the
// others can be loaded at once: x, lidded at -5, at 0-20; z, lidded at 10, at 25-45; y, lidded at -40, has waited its 30
// minutes at -10.
func TestBoundOfJarsFilledBefore(t *testing.T) {
	for _, long := range []int{-40, -20_000} {
		s := three(9)
		s.Done = &class.Done{Filled: map[string]int{"x": -5, "y": long}}
		in, err := class.Build(s)
		require.NoError(t, err)
		for _, coarse := range []bool{false, true} {
			require.GreaterOrEqual(t, class.MostJarsBy(in, 20, 400, coarse), 4)
			require.GreaterOrEqual(t, class.MostJarsBy(in, 45, 400, coarse), 8)
		}
		require.Less(t, class.MostJarsBy(in, 44, 400, false), 8)
		r := class.Solve(context.Background(), in, class.Options{Work: 200_000})
		require.Equal(t, []int{4, 45, 2}, []int{r.Objective.Unprocessed, r.Objective.Finish, r.Objective.Loads})
		require.True(t, r.Optimal)
	}
}

// TestBoundsHold: prices never promise fewer jars than some plan loads, however far they have been moved.
func TestBoundsHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spec := tiny(uint64(rapid.IntRange(0, 1<<20).Draw(t, "seed")))
		in, err := class.Build(spec)
		require.NoError(t, err)
		best := bruteForce(spec).best
		jars := -best[0]
		for _, b := range spec.Batches {
			jars += b.Jars
		}
		rounds := rapid.IntRange(1, 60).Draw(t, "rounds")
		coarse := rapid.Bool().Draw(t, "coarse")
		require.GreaterOrEqual(t, class.MostJarsBy(in, spec.Close, rounds, coarse), jars)
		require.GreaterOrEqual(t, class.MostJarsBy(in, max(best[1], 1), rounds, coarse), jars, "by the end of the best plan")
		var price []int
		for range spec.Batches {
			price = append(price, rapid.IntRange(0, 12_000).Draw(t, "price"))
		}
		require.GreaterOrEqual(t, class.BoundAt(in, spec.Close, price, rapid.IntRange(0, 5000).Draw(t, "burner")), jars*10_000)
	})
}
