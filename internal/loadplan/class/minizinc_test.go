package class_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/loadplan/class"
	"stillroom/internal/loadplan/class/check"
	"stillroom/internal/loadplan/class/generate"
)

// TestAgainstGeneralSolver compares the first two entries of the objective with those that MiniZinc and Gecode find
// for the model in testdata/class.mzn. Without minizinc it is skipped, and fails where CI=true.
func TestAgainstGeneralSolver(t *testing.T) {
	t.Parallel()
	program, err := exec.LookPath("minizinc")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("minizinc is not installed; it is in Debian's package of that name")
		}
		t.Skip("minizinc is not installed (Debian: apt-get install minizinc), so there is nothing to compare with")
	}
	compared, leftOver := 0, 0
	for seed := uint64(1); compared < 44; seed++ {
		require.Less(t, seed, uint64(120), "too few instances were solved in time")
		spec := generate.Class(generate.Params{Stations: 1 + int(seed%3), Canners: 1 + int(seed/3%2), MostBatches: 1 + int(seed/6%2), MostJars: 3, Scale: 8,
			MostProcesses: 2, CloseFrom: 160, CloseTo: 260, WindowShare: 30}, seed)
		in, err := class.Build(spec)
		require.NoError(t, err)
		r := class.Solve(context.Background(), in, class.Options{Work: 1_000_000, Seed: seed, Enough: 2})
		require.Empty(t, check.Answer(spec, r.Answer))
		require.True(t, r.Optimal, "instance %d", seed)

		data := filepath.Join(t.TempDir(), "class.dzn")
		require.NoError(t, os.WriteFile(data, []byte(dzn(spec)), 0o600))
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		var errs bytes.Buffer
		cmd := exec.CommandContext(ctx, program, "--solver", "gecode", "--time-limit", "20000", filepath.Join("testdata", "class.mzn"), data)
		cmd.Stderr = &errs
		out, err := cmd.Output()
		cancel()
		require.NoError(t, err, errs.String())
		if !strings.Contains(string(out), "==========") {
			continue // not proven in time: nothing to compare with
		}
		text, _, _ := strings.Cut(string(out), "==========")
		lines := strings.Split(strings.TrimSpace(strings.ReplaceAll(text, "----------", "")), "\n")
		require.Equal(t, lines[len(lines)-1], fmt.Sprintf("%d %d", r.Objective.Unprocessed, r.Objective.Finish), "instance %d", seed)
		compared++
		if r.Objective.Unprocessed > 0 {
			leftOver++
		}
	}
	t.Logf("%d compared, %d of them with jars left over", compared, leftOver)
	require.Positive(t, leftOver)
	require.Less(t, leftOver, compared)
}

// dzn writes an instance as data for testdata/class.mzn.
func dzn(s class.Spec) string {
	type fam struct{ process, size string }
	index := map[fam]int{}
	var fams []fam
	for _, b := range s.Batches {
		f := fam{b.Process, b.Size}
		if _, ok := index[f]; !ok {
			fams = append(fams, f)
			index[f] = len(fams)
		}
	}
	process := map[string]class.Process{}
	for _, p := range s.Processes {
		process[p.ID] = p
	}
	most, windows := 1, 1
	for _, c := range s.Canners {
		windows = max(windows, len(c.Windows))
		for _, n := range c.Capacity {
			most = max(most, n)
		}
	}
	var capacity, length, reset, from, to []int
	shortest := s.Close
	slots := 0
	for _, c := range s.Canners {
		shortestHere := s.Close
		reset = append(reset, c.Reset)
		for w := range windows {
			switch {
			case c.Windows == nil && w == 0:
				from, to = append(from, 0), append(to, s.Close)
			case w < len(c.Windows):
				from, to = append(from, c.Windows[w].Start), append(to, c.Windows[w].End)
			default:
				from, to = append(from, 1), append(to, 0)
			}
		}
		for _, f := range fams {
			p, n := process[f.process], c.Capacity[f.size]
			supported := false
			for _, m := range c.Methods {
				supported = supported || m == p.Method
			}
			if !supported {
				n = 0
			}
			capacity = append(capacity, n)
			for j := 1; j <= most; j++ {
				l := 0
				if j <= n {
					l = 2*s.Handling + boilMinutes(c, j) + p.Minutes + s.Rest
					shortest, shortestHere = min(shortest, l), min(shortestHere, l)
				}
				length = append(length, l)
			}
		}
		slots += s.Close / shortestHere
	}
	parts := 0
	var families, jars, stage, earliest, hold, before []int
	var split []bool
	for i, b := range s.Batches {
		families, jars, stage = append(families, index[fam{b.Process, b.Size}]), append(jars, b.Jars), append(stage, b.Stage)
		earliest, hold, split = append(earliest, b.ReadyEarliest), append(hold, b.HoldMax), append(split, b.Split)
		prev := 0
		for j := range i {
			if s.Batches[j].Station == b.Station {
				prev = j + 1
			}
		}
		before = append(before, prev)
		if b.Split {
			parts += b.Jars
		} else {
			parts++
		}
	}
	var out strings.Builder
	list := func(name string, v any) {
		fmt.Fprintf(&out, "%s = %s;\n", name, strings.ReplaceAll(fmt.Sprint(v), " ", ", "))
	}
	table := func(name string, dims string, v []int) {
		fmt.Fprintf(&out, "%s = %s, %s);\n", name, dims, strings.ReplaceAll(fmt.Sprint(v), " ", ", "))
	}
	for _, x := range []struct {
		name  string
		value int
	}{{"close", s.Close}, {"handlers", s.Handlers}, {"handling", s.Handling}, {"burners", s.Burners}, {"C", len(s.Canners)}, {"F", len(fams)},
		{"B", len(s.Batches)}, {"L", max(1, min(slots, parts))}, {"N", most}, {"W", windows}} {
		list(x.name, x.value)
	}
	list("reset", reset)
	table("capacity", "array2d(1..C, 1..F", capacity)
	table("length", "array3d(1..C, 1..F, 1..N", length)
	table("window_start", "array2d(1..C, 1..W", from)
	table("window_end", "array2d(1..C, 1..W", to)
	list("family", families)
	list("jars", jars)
	list("stage", stage)
	list("earliest", earliest)
	list("hold", hold)
	list("split", split)
	list("before", before)
	return out.String()
}
