package oven

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A try is a proposed move with its evaluation and, if taken, its application, at a
// temperature of the middle of a run; the baseline evaluates the whole plan once for
// every try.
func BenchmarkTries(b *testing.B) {
	for _, size := range []struct{ jobs, machines, attributes int }{{25, 2, 2}, {100, 5, 2}, {500, 5, 5}, {5000, 12, 5}} {
		in, err := New(Generate("bench", PublishedOptions(size.jobs, size.machines, size.attributes, 2), 2))
		require.NoError(b, err)
		name := fmt.Sprintf("n%d-k%d-a%d", size.jobs, size.machines, size.attributes)
		b.Run("incremental/"+name, func(b *testing.B) { benchTries(b, in) })
		b.Run("full/"+name, func(b *testing.B) {
			st := construct(in)
			b.ResetTimer()
			for i := 0; i < b.N; i++ {
				st.retime()
			}
		})
	}
}

func benchTries(b *testing.B, in *Instance) {
	a := &anneal{st: construct(in), moves: &wholeChooser, r: newRNG(1), hot: float64(in.tardyWeight) / 10, cold: float64(in.tardyWeight) / 10, bestCost: exactNone}
	b.ResetTimer()
	a.run(func(tries int64) float64 {
		if tries >= int64(b.N) {
			return 1
		}
		return 0
	})
	b.ReportMetric(float64(a.tries)/b.Elapsed().Seconds(), "tries/s")
}

// The same on the published instances, where STILLROOM_INSTANCES says they are.
func BenchmarkPublished(b *testing.B) {
	dir := os.Getenv("STILLROOM_INSTANCES")
	if dir == "" {
		b.Skip("set STILLROOM_INSTANCES to the directory of the published .dzn files")
	}
	files, err := filepath.Glob(filepath.Join(dir, "*.dzn"))
	require.NoError(b, err)
	require.NotEmpty(b, files, "no .dzn file in STILLROOM_INSTANCES")
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(b, err)
		in, err := ParseDZN(filepath.Base(file), string(text))
		require.NoError(b, err)
		b.Run(filepath.Base(file), func(b *testing.B) { benchTries(b, in) })
	}
}
