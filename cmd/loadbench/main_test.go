package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/loadplan/oven"
)

func call(args ...string) (status int, out, errOut string) {
	var o, e bytes.Buffer
	status = run(context.Background(), args, &o, &e)
	return status, o.String(), e.String()
}

// writeOvens writes a small instance in both formats and gives the directory.
func writeOvens(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	g := oven.PublishedOptions(12, 2, 2, 3)
	in, err := oven.New(oven.Generate("small", g, 3))
	require.NoError(t, err)
	text, err := json.Marshal(in)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "a.json"), text, 0o600))
	dzn, err := os.ReadFile("../../internal/loadplan/oven/testdata/two-ovens.dzn")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "b.dzn"), dzn, 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "notes.txt"), []byte("no instance"), 0o600))
	return dir
}

func TestDirectoryGivesOneAnswerALine(t *testing.T) {
	dir := writeOvens(t)
	status, out, errOut := call("-time", "0", "-work", "50000", dir)
	require.Zero(t, status, errOut)
	require.Empty(t, errOut)
	lines := strings.Split(strings.TrimSpace(out), "\n")
	require.Len(t, lines, 2)
	for i, name := range []string{"small", "b"} {
		var a struct {
			Form, Name string
			Batches    []oven.Batch
			Objective  struct {
				Integer    int64
				Normalised float64
			}
			Bound   int64
			Optimal *bool
			Seconds *float64
		}
		require.NoError(t, json.Unmarshal([]byte(lines[i]), &a))
		require.Equal(t, "oven", a.Form)
		require.Equal(t, name, a.Name)
		require.NotEmpty(t, a.Batches)
		require.LessOrEqual(t, a.Bound, a.Objective.Integer)
		require.NotNil(t, a.Optimal)
		require.NotNil(t, a.Seconds)
	}
}

// The answer as written, read back and checked against the file it answers.
func TestWrittenAnswerPassesTheChecker(t *testing.T) {
	dir := writeOvens(t)
	status, out, errOut := call("-time", "0", "-work", "50000", filepath.Join(dir, "a.json"))
	require.Zero(t, status, errOut)
	var a struct {
		Batches   []oven.Batch
		Objective struct{ Integer int64 }
	}
	require.NoError(t, json.Unmarshal([]byte(out), &a))
	text, err := os.ReadFile(filepath.Join(dir, "a.json"))
	require.NoError(t, err)
	in, err := oven.ParseJSON("a", text)
	require.NoError(t, err)
	p := &oven.Plan{Batches: a.Batches}
	require.Empty(t, oven.Check(in, p))
	require.Equal(t, a.Objective.Integer, oven.Evaluate(in, p).Integer)
}

func TestErrorsNameFileAndField(t *testing.T) {
	dir := writeOvens(t)
	bad := filepath.Join(dir, "aa.dzn")
	require.NoError(t, os.WriteFile(bad, []byte("l=5; a=0;"), 0o600))
	status, out, errOut := call("-time", "0", "-work", "50000", dir)
	require.Equal(t, 1, status)
	require.Len(t, strings.Split(strings.TrimSpace(out), "\n"), 2, "the other files are still planned")
	require.Contains(t, errOut, "aa.dzn: setup_costs: is missing")

	odd := filepath.Join(dir, "odd.json")
	require.NoError(t, os.WriteFile(odd, []byte(`{"form":"pot"}`), 0o600))
	status, _, errOut = call(odd)
	require.Equal(t, 1, status)
	require.Contains(t, errOut, "odd.json: form")

	status, _, errOut = call(filepath.Join(dir, "nowhere.dzn"))
	require.Equal(t, 1, status)
	require.Contains(t, errOut, "nowhere.dzn")
}

func TestWrongUse(t *testing.T) {
	for _, args := range [][]string{{}, {"a", "b"}, {"-time", "-1s", "a"}, {"-time", "0", "a"}, {"-time", "soon", "a"}} {
		status, out, errOut := call(args...)
		require.Equal(t, 2, status, args)
		require.Empty(t, out)
		require.NotEmpty(t, errOut)
	}
}

func TestCompareTable(t *testing.T) {
	dir := writeOvens(t)
	csv := filepath.Join(t.TempDir(), "published.csv")
	require.NoError(t, os.WriteFile(csv, []byte(
		"file,exact_1h,proven,bound,lns,sa1_mean,sa1_best,sa5_mean,sa5_best\n"+
			"b.dzn,0.9,yes,0.01,0.9,0.9,0.9,0.9,0.9\n"), 0o600))
	status, out, errOut := call("-time", "0", "-work", "50000", "-compare", csv, dir)
	require.Zero(t, status, errOut)
	require.Contains(t, out, "b.dzn")
	require.Contains(t, out, "better")
	require.Contains(t, out, "at or below the best published: 1 of 1 (better: 1)")
	require.Contains(t, out, "above sa5 mean: 0")
	require.Contains(t, out, "equal to the proven optimum: 0 of 1")

	require.NoError(t, os.WriteFile(csv, []byte("file,exact_1h\nb.dzn,0.9\n"), 0o600))
	status, _, errOut = call("-compare", csv, dir)
	require.Equal(t, 1, status)
	require.Contains(t, errOut, "has no column bound")
}

// One batch of six jars, by hand: cooked and filled by minute 20, loaded 3, to the boil
// in 10, processed 15, rested 5, unloaded 3: out at 56.
const onePot = `{"form":"class","name":"one pot","close":180,"handlers":1,"handling":3,"rest":5,"burners":2,
"processes":[{"id":"jam","method":"boiling-water","minutes":15}],
"canners":[{"id":"pot","methods":["boiling-water"],"capacity":{"half-pint":7},"windows":[[0,180]],"come_up_base":10,"come_up_per_jar":0,"reset":5}],
"batches":[{"id":"b","station":"s","order":1,"process":"jam","size":"half-pint","jars":6,"stage":20,"ready_earliest":20,"hold_max":10,"split":true}]}`

func TestClassForm(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "pot.json"), []byte(onePot), 0o600))
	status, out, errOut := call("-time", "0", "-work", "20000", dir)
	require.Zero(t, status, errOut)
	var a struct {
		Form, Name string
		Filled     map[string]int
		Objective  struct{ Unprocessed, Finish, Loads, Hold int }
		Optimal    bool
	}
	require.NoError(t, json.Unmarshal([]byte(out), &a))
	require.Equal(t, "class", a.Form)
	require.Equal(t, "one pot", a.Name)
	require.Equal(t, map[string]int{"b": 20}, a.Filled)
	require.Equal(t, 56, a.Objective.Finish)
	require.Zero(t, a.Objective.Unprocessed)
	require.True(t, a.Optimal)

	bad := strings.Replace(onePot, `"burners":2`, `"burners":-2`, 1)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "pot.json"), []byte(bad), 0o600))
	status, _, errOut = call(dir)
	require.Equal(t, 1, status)
	require.Contains(t, errOut, "pot.json")
	require.Contains(t, errOut, "burners")
}

func TestRates(t *testing.T) {
	status, out, errOut := call("-rates", "2", "-stations", "2", "-canners", "2", "-from", "7", "-time", "20s", "-cpu")
	require.Zero(t, status, errOut)
	lines := strings.Split(out, "\n")
	require.Contains(t, lines[0], "proven after")
	require.Contains(t, lines[1], "     7  ")
	require.Contains(t, lines[2], "     8  ")
	require.Contains(t, out, "2 classes of 2 stations and 2 canners; seconds of processor time")
	require.Contains(t, out, "proven within 20.0 s: 2 (100 %)")
	require.Contains(t, out, "worst 0.0 %; jars not proven in 0")

	status, _, errOut = call("-rates", "2", "-stations", "0")
	require.Equal(t, 2, status)
	require.Contains(t, errOut, "-stations")
	status, _, _ = call("-rates", "2", "file.json")
	require.Equal(t, 2, status)
}
