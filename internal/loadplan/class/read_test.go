package class_test

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/loadplan/class"
	"stillroom/internal/loadplan/class/generate"
)

const good = `{"form":"class","name":"x","close":200,"handlers":1,"handling":2,"rest":5,"burners":3,
"processes":[{"id":"p","method":"boiling-water","minutes":20}],
"canners":[{"id":"c","methods":["boiling-water"],"capacity":{"pint":7},"windows":[[0,100],{"start":110,"end":200}],"come_up_base":10.2,"come_up_per_jar":0.3,"reset":4}],
"batches":[{"id":"b","station":"s","order":1,"process":"p","size":"pint","jars":6,"stage":30,"ready_earliest":35,"hold_max":10,"split":false},
{"id":"d","station":"s","order":2,"process":"p","size":"pint","jars":6,"stage":30,"ready_earliest":35,"hold_max":10,"split":true}]}`

// TestBadInput changes one thing in a sound instance and expects an error that names the field and a way out.
func TestBadInput(t *testing.T) {
	build := func(text string) error {
		s, err := class.Parse([]byte(text))
		if err == nil {
			_, err = class.Build(s)
		}
		return err
	}
	require.NoError(t, build(good))
	for _, c := range []struct{ from, to, field, value string }{
		{`"minutes":20`, `"minutes":-20`, "processes[0].minutes", "-20"},
		{`"minutes":20`, `"minutes":20.5`, "processes[0].minutes", "20.5"},
		{`"minutes":20`, `"minutes":NaN`, "minutes", "NaN"},
		{`"minutes":20`, `"minutes":"20"`, "processes[0].minutes", `"20"`},
		{`,"minutes":20`, ``, "processes[0].minutes", "(missing)"},
		{`"rest":5`, `"rest":-1`, "rest", "-1"},
		{`"close":200`, `"close":0`, "close", "0"},
		{`"close":200`, `"close":1e300`, "close", "1e300"},
		{`"handlers":1`, `"handlers":0`, "handlers", "0"},
		{`"burners":3`, `"burners":0`, "burners", "0"},
		{`"form":"class"`, `"form":"oven"`, "form", "oven"},
		{`"process":"p","size":"pint","jars":6,"stage":30,"ready_earliest":35,"hold_max":10,"split":false`, `"process":"q","size":"pint","jars":6,"stage":30,"ready_earliest":35,"hold_max":10,"split":false`, "batches[0].process", "q"},
		{`"method":"boiling-water"`, `"method":"pressure"`, "batches[0].process", "p"},
		{`"capacity":{"pint":7}`, `"capacity":{"pint":0}`, "canners[0].capacity.pint", "0"},
		{`"capacity":{"pint":7}`, `"capacity":{"quart":7}`, "batches[0].size", "pint"},
		{`"capacity":{"pint":7}`, `"capacity":{}`, "canners[0].capacity", "none"},
		{`[0,100]`, `[100,0]`, "canners[0].windows[0].end", "0"},
		{`[0,100]`, `[0]`, "canners[0].windows[0]", "[0]"},
		{`"start":110,"end":200`, `"start":110,"end":110`, "canners[0].windows[1].end", "110"},
		{`"come_up_base":10.2`, `"come_up_base":-1`, "canners[0].come_up_base", "-1"},
		{`"come_up_base":10.2`, `"come_up_base":1e999999999`, "canners[0].come_up_base", "1e999999999"},
		{`"come_up_per_jar":0.3`, `"come_up_per_jar":"x"`, "canners[0].come_up_per_jar", `"x"`},
		{`"id":"b"`, `"id":"d"`, "batches[1].id", "d"},
		{`"id":"b"`, `"id":" "`, "batches[0].id", `" "`},
		{`"order":2`, `"order":1`, "batches[1].order", "1"},
		{`"jars":6`, `"jars":1000000000`, "batches[0].jars", "1000000000"},
		{`"jars":6`, `"jars":0`, "batches[0].jars", "0"},
		{`"stage":30`, `"stage":-30`, "batches[0].stage", "-30"},
		{`"hold_max":10`, `"hold_max":-10`, "batches[0].hold_max", "-10"},
		{`"split":false`, `"split":"no"`, "batches[0].split", `"no"`},
		{`"processes":[`, `"processes":7,"x":[`, "processes", "7"},
	} {
		text := strings.Replace(good, c.from, c.to, 1)
		require.NotEqual(t, good, text)
		err := build(text)
		require.Error(t, err, c.to)
		var one *class.Invalid
		require.ErrorAs(t, err, &one, c.to)
		require.Equal(t, c.field, one.Field, "%s: %s", c.to, err)
		require.Equal(t, c.value, one.Value, "%s: %s", c.to, err)
		require.NotEmpty(t, one.Reason)
		require.NotEmpty(t, one.WayOut)
	}
}

func TestBadDone(t *testing.T) {
	sound, err := class.Parse([]byte(good))
	require.NoError(t, err)
	for field, change := range map[string]func(d *class.Done){
		"done.now":             func(d *class.Done) { d.Now = -1 },
		"done.filled.z":        func(d *class.Done) { d.Filled["z"] = 3 },
		"done.filled.d":        func(d *class.Done) { delete(d.Filled, "b"); d.Filled["d"] = 70; d.Loads = nil },
		"done.loads[0].canner": func(d *class.Done) { d.Loads[0].Canner = "z" },
		"done.loads[0].end":    func(d *class.Done) { d.Loads[0].End = 30 },
		"done.loads[0].jars.b": func(d *class.Done) { d.Loads[0].Jars["b"] = 7 },
		"done.loads[0].jars.d": func(d *class.Done) { d.Loads[0].Jars = map[string]int{"d": 1} },
		"done.loads[0].jars":   func(d *class.Done) { d.Loads[0].Jars = nil },
	} {
		s := sound.With(func(s *class.Spec) {
			s.Done = &class.Done{Now: 60, Filled: map[string]int{"b": 35}, Loads: []class.LoadSpec{{Canner: "c", Start: 36, End: 80, Jars: map[string]int{"b": 6}}}}
		})
		_, err := class.Build(s)
		require.NoError(t, err)
		change(s.Done)
		_, err = class.Build(s)
		var one *class.Invalid
		require.ErrorAs(t, err, &one, field)
		require.Equal(t, field, one.Field)
	}
}

// TestRoundTrip: what is written is read as it was, and building changes nothing.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := generate.Class(generate.Params{Stations: rapid.IntRange(1, 12).Draw(t, "stations"), Canners: rapid.IntRange(1, 5).Draw(t, "canners")}, rapid.Uint64().Draw(t, "seed"))
		var b bytes.Buffer
		require.NoError(t, s.Write(&b))
		back, err := class.Read(&b)
		require.NoError(t, err)
		require.Equal(t, s, back)
		in, err := class.Build(back)
		require.NoError(t, err)
		require.Equal(t, s, in.Spec())
	})
}

func FuzzParse(f *testing.F) {
	f.Add(good)
	f.Add(`{"close":`)
	f.Add(`[]`)
	f.Add(strings.Replace(good, "10.2", "1e-999", 1))
	f.Fuzz(func(t *testing.T, text string) {
		s, err := class.Parse([]byte(text))
		if err == nil {
			_, err = class.Build(s)
		}
		if err != nil {
			var one *class.Invalid
			if !errors.As(err, &one) || one.Field == "" || one.Reason == "" || one.WayOut == "" {
				t.Fatalf("an error that does not say what is wrong: %v", err)
			}
		}
	})
}
