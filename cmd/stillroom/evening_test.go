package main

import (
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/store/storetest"
)

// TestAnEveningOfPlanning drives the built program from an empty database to a class
// with its shopping list, its canner loads and its questions, and compares them with
// figures worked out on paper here.
//
// The recipe is the printed pickled pepper-onion relish (USDA AIB 539, rev. 2015, Guide 6,
// p. 6-30): about 9 half-pints from 6 cups finely chopped onions, 3 cups each of finely
// chopped red and green peppers, 1-1/2 cups sugar, 6 cups vinegar and 2 tablespoons of
// canning salt, boiled 30 minutes; at 1,001 to 6,000 ft half-pints are processed 10 minutes
// in boiling water.
func TestAnEveningOfPlanning(t *testing.T) {
	t.Parallel()
	p := startProgram(t, "--database", storetest.URL(t))
	p.run("kitchen", "create", "high-meadow", "--currency", "USD")
	p.run("site", "create", "hall", "--altitude", "5,430 ft", "--zone", "America/Denver")
	p.run("class", "create", "relish", "--site", "hall", "--start", "2027-08-21 09:00", "--length", "4h", "--places", "6",
		"--questions-at", "2027-08-21 12:30", "--questions-minutes", "10")
	p.run("station", "add", "relish", "bench-1", "bench-2")
	p.run("roster", "import", "relish", p.file("roster.csv", "Name,Station\nAna,bench-1\nBo,bench-1\nCy,bench-1\nDi,bench-2\nEd,bench-2\nFlo,bench-2\nGus,\n"))
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
  - {id: burners, name: Burners, kind: burner, owned: 2}
  - {id: pots, name: Large pots, kind: large pot, owned: 2}
`))
	p.run("recipe", "adopt", "pickled_pepper_onion_relish", "--id", "relish")
	// A recipe of the kitchen's own, from a file: without a published source it is taught only.
	require.Contains(t, p.run("recipe", "import", p.file("own.yaml", ownRecipe)), "Aunt's slaw")

	batchesByHand(t, p)
	shoppingByHand(t, p)
	loadsByHand(t, p)
	questionsInOrder(t, p)
	p.stop()
}

const ownRecipe = `
recipes:
  - key: aunts_slaw
    title: Aunt's slaw
    yield: {text: About 4 pints, jar: pint, jars_min: 4, jars_max: 4}
    pack: hot
    ingredients:
      - {name: onions, amount: 2 cups, preparation: chopped, role: low_acid_vegetable}
    steps:
      - {action: simmer, text: Simmer the onions., minutes: 5}
`

// batchesByHand: six enrolled, three half-pints each: 18; a batch fills 9; 18/9 = 2 batches, nothing
// left over, one at each bench. Two benches need a burner each and the canner stands on one: 3, owned
// 2, so one is short.
func batchesByHand(t *testing.T, p *program) {
	plan := p.json("batch", "propose", "relish", "--want", "relish=3", "--apply")
	outcome := plan["outcomes"].([]any)[0].(map[string]any)
	require.EqualValues(t, 18, outcome["jars_wanted"])
	require.EqualValues(t, 2, outcome["batches"])
	require.EqualValues(t, 18, outcome["jars_filled"])
	require.NotContains(t, outcome, "jars_left_over")
	require.Len(t, plan["batches"], 2)
	short := plan["shortages"].([]any)
	require.Len(t, short, 1)
	require.Equal(t, "burner", short[0].(map[string]any)["kind"])
	require.EqualValues(t, 3, short[0].(map[string]any)["needed"])
	require.EqualValues(t, 2, short[0].(map[string]any)["available"])
	require.Len(t, short[0].(map[string]any)["stations"], 2)
}

// shoppingByHand, for 2 batches. Grams a cup and refuse: USDA National Nutrient Database for
// Standard Reference, Release 28 (2015), food numbers beside.
//
//	onions        12 cups x 160 g (NDB 11282, chopped) = 1920 g, refuse 10 %: / 0.90 = 2133.3 g; + 5 % = 2240 g
//	red peppers    6 cups x 149 g (NDB 11821, chopped) =  894 g, refuse 18 %: / 0.82 = 1090.2 g; + 5 % = 1144.8 g
//	green peppers  the same (NDB 11333)
//	sugar          3 cups x 200 g (NDB 19335)          =  600 g
//	vinegar       12 cups x 236.588 ml                 = 2839.1 ml
//	jars, lids    18, a lid and a label on each
//
// Onions at 1.10 a pound in quarter pounds: 2240 g are 4.938 lb, so 20 quarters: 5.50. Lids in boxes
// of 12 at 3.70: 2 boxes, 7.40. Vinegar in gallons (3785.4 ml) at 4.90: 1, against quarts (946.4 ml)
// at 1.85: 3 are 2839.1 ml exactly, 5.55; so the gallon.
func shoppingByHand(t *testing.T, p *program) {
	p.run("offer", "import", p.file("offers.csv", `item,kind,content,step,price,acidity
onions,loose,1 lb,0.25 lb,1.10,
lid,box,12 each,,3.70,
vinegar_white,bottle,1 quart,,1.85,5
vinegar_white,bottle,1 gallon,,4.90,5
`))
	list := p.json("shopping", "make", "relish")
	lines := map[string]map[string]any{}
	for _, l := range list["lines"].([]any) {
		line := l.(map[string]any)
		lines[line["item"].(string)] = line
	}
	amount := func(item, field string) float64 {
		require.Contains(t, lines, item)
		return lines[item][field].(map[string]any)["amount"].(float64)
	}
	require.InDelta(t, 2240.0, amount("onions", "to_buy"), 0.05)
	require.InDelta(t, 2133.3, amount("onions", "need"), 0.05)
	require.InDelta(t, 1144.8, amount("bell_peppers_red", "to_buy"), 0.05)
	require.InDelta(t, 1144.8, amount("bell_peppers_green", "to_buy"), 0.05)
	require.InDelta(t, 600.0, amount("sugar", "to_buy"), 0.05)
	require.InDelta(t, 2839.1, amount("vinegar_white", "to_buy"), 0.05)
	for _, item := range []string{"jar_half_pint", "lid", "label"} {
		require.InDelta(t, 18.0, amount(item, "to_buy"), 0, item)
	}
	cost := func(item string) string {
		return lines[item]["cost"].(map[string]any)["minor_units"].(string)
	}
	require.Equal(t, "550", cost("onions"))
	require.Equal(t, "740", cost("lid"))
	require.Equal(t, "490", cost("vinegar_white"))
	require.Equal(t, "1780", list["total"].(map[string]any)["minor_units"])
	require.Len(t, lines["onions"]["contributions"], 2, "one from each bench")
	require.Contains(t, p.run("shopping", "show", "relish"), "1.2 kg  sweet red peppers", "shown rounded up, never below the need")
}

// loadsByHand. Each bench prepares 30 min, heats 10, boils 30 (printed) and fills 9 jars at 1 min:
// its jars can be lidded at minute 79. With two burners and the canner on one of them only one bench
// cooks beside a load. The canner: load 2, come-up ceil(12 + 0.4 x 9) = 16, process 10 (table),
// rest 5, unload 2: 35 minutes.
//
//	both benches cook from 30 to 79 (two burners). The first load runs 79 to 114, the canner is
//	free again at 119, and the second load, its jars lidded then or waiting at most 15 minutes,
//	runs 119 to 154. Nothing can end sooner: two loads need 35 + 5 + 35 = 75 minutes from 79.
func loadsByHand(t *testing.T, p *program) {
	plan := p.json("loads", "plan", "relish", "--time", "5s")
	outcome := plan["outcome"].(map[string]any)
	require.EqualValues(t, 18, outcome["jars"])
	require.EqualValues(t, 154, outcome["finish_minutes"])
	require.EqualValues(t, 2, outcome["loads"])
	require.EqualValues(t, 154, outcome["bound_finish_minutes"], "proven")
	loads := plan["canners"].([]any)[0].(map[string]any)["loads"].([]any)
	require.Len(t, loads, 2)
	first := loads[0].(map[string]any)
	for field, want := range map[string]string{ // minute 0 is 09:00 in Denver, 15:00 UTC
		"in_time": "16:19", "boil_time": "16:37", "off_time": "16:47", "out_time": "16:54",
	} {
		at, err := time.Parse(time.RFC3339, first[field].(string))
		require.NoError(t, err)
		require.Equal(t, want, at.Format("15:04"), field)
	}
	require.EqualValues(t, 10, first["process"].(map[string]any)["minutes"])
	shown := p.run("loads", "show", "relish")
	require.Contains(t, shown, "Guide 6, p. 6-30")
	require.Contains(t, shown, "Local codes, current tested guidance and licensed practice come first")

	// A batch without a published source goes into no load, and the plan says so.
	p.run("batch", "add", "relish", "--station", "bench-2", "--recipe", "aunts_slaw@1", "--jars", "4", "--size", "pint")
	shown = p.run("loads", "plan", "relish", "--time", "5s", "--no-gains")
	require.Contains(t, shown, "18 jars in 2 loads")
	require.Contains(t, strings.ToLower(shown), "refrigerate or freeze")
}

// questionsInOrder: four questions; the one about an unsealed jar cannot wait (USDA AIB 539,
// Guide 1: an unsealed jar is treated within 24 hours) and comes first; two of the others are
// endorsed; in ten minutes three fit.
func questionsInOrder(t *testing.T, p *program) {
	for _, q := range [][]string{
		{"Ana", "storage", "How long does the relish keep on a shelf?"},
		{"Bo", "sugar", "May I leave the sugar out?"},
		{"Cy", "unsealed", "A jar from last night did not seal. What now?"},
		{"Di", "altitude", "Why is the process longer up here?"},
	} {
		p.run("question", "ask", q[2], "--asker", q[0], "--class", "relish", "--id", q[1])
	}
	for _, me := range [][2]string{{"altitude", "Ana"}, {"altitude", "Bo"}, {"sugar", "Cy"}} {
		p.run("question", "endorse", me[0], me[1])
	}
	p.run("question", "endorse", "altitude", "Ana") // once is once
	list := p.json("question", "list", "--class", "relish")["questions"].([]any)
	var ids []string
	for _, q := range list {
		name := q.(map[string]any)["name"].(string)
		ids = append(ids, name[strings.LastIndex(name, "/")+1:])
	}
	require.Equal(t, []string{"unsealed", "altitude", "sugar", "storage"}, ids)
	require.EqualValues(t, 2, list[1].(map[string]any)["endorsement_count"])

	order := p.run("question", "order", "relish")
	require.Contains(t, order, "it cannot wait")
	require.Less(t, strings.Index(order, "did not seal"), strings.Index(order, "longer up here"))
	p.run("question", "answer", "unsealed", "Refrigerate it, or process it again within 24 hours with a new lid.")
	require.Contains(t, p.run("question", "show", "unsealed"), "within 24 hours with a new lid")
	require.Contains(t, p.fails("question", "ask", "   ", "--asker", "Ana"), "question.text")
	require.Contains(t, p.fails("question", "ask", "Hello?", "--asker", "Nobody"), `nobody called "Nobody"`)
}

// TestTheDemonstration: it ends by itself, twice, the second time with what the first left.
func TestTheDemonstration(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	var shown [2]string
	for i := range shown {
		out, err := exec.Command(binary, "demo", "--once", "--database", url).CombinedOutput()
		require.NoError(t, err, string(out))
		shown[i] = string(out)
		for _, part := range []string{
			"16 of 16 taken, 3 waiting", "large pot       8     7", "PRODUCE", "72 jars in", "the last out at",
			"boiling water 15 min", "Local codes, current tested guidance", "$ stillroom question order", "it cannot wait",
		} {
			require.Contains(t, shown[i], part)
		}
	}
	require.NotContains(t, shown[0], "from an earlier time")
	require.Contains(t, shown[1], "from an earlier time")
	require.Contains(t, shown[1], "Stored as version 2.")
}

// TestCompletionKnowsTheCommands: the shell completion of cobra is on.
func TestCompletionKnowsTheCommands(t *testing.T) {
	t.Parallel()
	out, err := exec.Command(binary, "__complete", "ro").Output()
	require.NoError(t, err)
	require.Contains(t, string(out), "roster\t")
	out, err = exec.Command(binary, "completion", "bash").Output()
	require.NoError(t, err)
	require.Contains(t, string(out), "stillroom")
}
