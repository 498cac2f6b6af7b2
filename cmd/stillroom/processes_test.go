package main

import (
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/store/storetest"
)

// TestProcessesFromTheCommandLine looks processes up as an instructor would and compares them with the printed tables.
func TestProcessesFromTheCommandLine(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	p := startProgram(t, "--database", url)
	p.run("kitchen", "create", "high-meadow", "--currency", "USD")
	p.run("site", "create", "main", "--altitude", "5,430 ft", "--zone", "America/Denver")

	// USDA AIB 539 (rev. 2015), Guide 3: crushed tomatoes, hot, pints in boiling water at 3,001-6,000 ft: 45 min, headspace 1/2 in.
	shown := p.run("process", "show", "crushed_tomatoes", "--size", "500 ml", "--pack", "hot", "--site", "main", "--steps")
	for _, text := range []string{
		"Tomatoes, crushed", "boiling water, at 1,655.1 m (5,430 ft)", "band 3,001-6,000 ft", "45", "1/2 in", "Guide 3",
		"A 500 ml jar is processed as a pint jar. (common practice)",
		"return to a vigorous boil and time the whole process again from zero",
		"! Local codes, current tested guidance and licensed practice come first",
		"! Every jar of tomatoes is acidified: bottled lemon juice, 1 tablespoon a pint",
	} {
		require.Contains(t, shown, text)
	}
	require.NotContains(t, p.run("process", "show", "crushed_tomatoes", "--size", "pint", "--pack", "hot", "--site", "main"), "time the whole process again")

	reply := p.json("process", "show", "green_beans", "--size", "quart", "--pack", "raw", "--method", "weighted", "--altitude", "1,001 ft")
	choice := reply["choices"].([]any)[0].(map[string]any)
	// Guide 4: green beans in quarts by weighted gauge, 25 min at 15 lb above 1,000 ft.
	require.EqualValues(t, 25, choice["minutes"])
	require.EqualValues(t, 15, choice["pressure_pounds"])

	require.Contains(t, p.fails("process", "show", "green_beans", "--size", "quart", "--pack", "raw", "--method", "dial", "--altitude", "8,001 ft"), "ends at 8,000 ft")
	require.Contains(t, p.fails("process", "show", "green_beans", "--size", "half-gallon", "--pack", "raw", "--method", "dial", "--site", "main"), "printed: pint, quart")
	require.Contains(t, p.fails("process", "show", "green_beans", "--size", "pint", "--method", "pressure", "--site", "main"), "use pressure_dial or pressure_weighted")
	require.Contains(t, p.fails("process", "show", "green_beans", "--size", "bucket", "--site", "main"), "is not a jar size we know")
	require.Contains(t, p.fails("process", "show", "green_beans", "--size", "pint"), "altitude")

	require.Contains(t, p.run("process", "list", "tomato", "juice"), "tomato_juice")
	require.Contains(t, p.run("process", "list", "moonstone"), "No food with a process table has all these words")

	p.run("equipment", "import", p.file("kit.yaml", `equipment:
- id: blue
  name: Blue canner
  kind: canner
  owned: 1
  canner:
    methods: [boiling water]
    holds: {pint: 9, quart: 7}
`))
	require.Contains(t, p.run("process", "come-up", "blue", "--size", "pint", "--site", "main"), "full load of 9 pint jars, from physics")

	// A class's procedure. Guide 3: chile salsa in pints 20 min at 1,001-6,000 ft; quarts are not printed for it.
	p.run("class", "create", "salsa", "--site", "main", "--start", "2027-08-21 09:00", "--length", "4h", "--places", "4")
	p.run("station", "add", "salsa", "bench-1")
	require.Contains(t, p.run("process", "class", "salsa"), "No batches yet")
	keepRecipe(t, url, "chile_salsa")
	for _, size := range []string{"500 ml", "quart"} {
		p.run("batch", "add", "salsa", "--station", "bench-1", "--recipe", "chile-salsa@1", "--jars", "3", "--size", size)
	}
	class := p.run("process", "class", "salsa")
	for _, text := range []string{"water boils at 94.5 °C", "20 min", "refrigerate or freeze", "No. 2 is refrigerated or frozen, never shelved", "[ ] Warm the canner's water to 180 °F (82 °C)", "! Local codes"} {
		require.Contains(t, class, text)
	}
	p.stop()
}
