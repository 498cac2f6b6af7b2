package class_test

import (
	"context"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/loadplan/class"
	"stillroom/internal/loadplan/class/check"
	"stillroom/internal/loadplan/class/generate"
)

// instances is how many random instances go through search and checker: CLASS_INSTANCES, or a few hundred.
func instances(t *testing.T, usual int) int {
	t.Helper()
	text := os.Getenv("CLASS_INSTANCES")
	if text == "" {
		return usual
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err, "CLASS_INSTANCES")
	return n
}

// sized draws instances from tiny to large; most are small, so that many can be tried.
func sized(i int) generate.Params {
	switch {
	case i%200 == 199:
		return generate.Params{Stations: 60, Canners: 20}
	case i%20 == 19:
		return generate.Params{Stations: 12, Canners: 4}
	default:
		return generate.Params{Stations: 1 + i%8, Canners: 1 + i%3, WindowShare: 10 + i%40, CloseFrom: 100 + i%150}
	}
}

func TestNeverAnInvalidAnswer(t *testing.T) {
	t.Parallel()
	for i := range instances(t, 1500) {
		spec := generate.Class(sized(i), uint64(i))
		in, err := class.Build(spec)
		require.NoError(t, err)
		r := class.Solve(context.Background(), in, class.Options{Work: 300, Seed: uint64(i)})
		require.Empty(t, check.Answer(spec, r.Answer), "instance %d", i)
	}
}

// TestManySteps: a timetable from which loads have been taken out and put back thousands of times still keeps every
// rule, and the same seed leads to the same plan with several such searches at once.
func TestManySteps(t *testing.T) {
	t.Parallel()
	for i, p := range []generate.Params{{Stations: 12, Canners: 4}, {Stations: 25, Canners: 6, WindowShare: 60}, {Stations: 60, Canners: 20}} {
		for seed := range uint64(3) {
			spec := generate.Class(p, seed+300)
			in, err := class.Build(spec)
			require.NoError(t, err)
			o := class.Options{Work: 8_000, Seed: seed}
			r := class.Solve(context.Background(), in, o)
			require.Empty(t, check.Answer(spec, r.Answer), "instance %d, seed %d", i, seed)
			again := class.Solve(context.Background(), in, o)
			require.Equal(t, r.Plan, again.Plan)
			require.Equal(t, r.Bound, again.Bound)
		}
	}
}
