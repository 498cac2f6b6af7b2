package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/store/storetest"
)

// Two classes open together and have one canner between them: the program plans both, and the second load goes in when
// the first is out and the canner has been reset for its five minutes, or later.
func TestTwoClassesFromTheCommandLine(t *testing.T) {
	t.Parallel()
	p := startProgram(t, "--database", storetest.URL(t))
	p.run("kitchen", "create", "high-meadow", "--currency", "USD")
	p.run("site", "create", "hall", "--altitude", "5,430 ft", "--zone", "America/Denver")
	p.run("equipment", "import", p.file("equipment.yaml", `
equipment:
  - id: pot
    name: Canner
    kind: canner
    owned: 1
    canner:
      methods: [boiling water]
      holds: {half_pint: 9}
      come_up: {base: 12, per_jar: 0.4}
      reset: 5
  - {id: burners, name: Burners, kind: burner, owned: 3}
`))
	p.run("recipe", "adopt", "pickled_pepper_onion_relish", "--id", "relish")
	for _, class := range []string{"relish-day", "relish-too"} {
		p.run("class", "create", class, "--site", "hall", "--start", "2027-08-21 09:00", "--length", "4h", "--places", "2")
		p.run("station", "add", class, "bench-1")
		p.run("batch", "add", class, "--station", "bench-1", "--recipe", "relish", "--jars", "9", "--size", "half_pint")
	}
	require.Contains(t, p.run("loads", "together", "relish-day", "relish-too"), "2 classes together: 18 jars in loads, 0 find no room")
	plans := p.json("loads", "together", "relish-day", "relish-too")["load_plans"].([]any)
	require.Len(t, plans, 2)
	var in, out []time.Time
	for _, plan := range plans {
		loads := plan.(map[string]any)["canners"].([]any)[0].(map[string]any)["loads"].([]any)
		require.Len(t, loads, 1)
		load := loads[0].(map[string]any)
		for at, list := range map[string]*[]time.Time{"in_time": &in, "out_time": &out} {
			moment, err := time.Parse(time.RFC3339, load[at].(string))
			require.NoError(t, err)
			*list = append(*list, moment)
		}
	}
	const reset = 5 * time.Minute
	require.True(t, !in[1].Before(out[0].Add(reset)) || !in[0].Before(out[1].Add(reset)), "in %v, out %v", in, out)
}
