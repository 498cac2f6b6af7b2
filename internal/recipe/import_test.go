package recipe

import (
	"bytes"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

const ownYAML = `title: Green tomato salsa of ours
yield: {jar: pint, jars_min: 4, jars_max: 5}
ingredients:
- {name: green tomatoes, amount: 3 lb, preparation: chopped}
- {name: moon dust, amount: 1 tsp, role: dry_spice}
- {name: bottled lime juice, amount: 1/2 cup}
steps:
- {text: Boil it., action: boil, minutes: 5 to 10}
`

func TestImportYAML(t *testing.T) {
	all, err := ImportYAML(strings.NewReader("\ufeff" + ownYAML))
	require.NoError(t, err)
	require.Len(t, all, 1)
	r := all[0]
	require.Equal(t, "green_tomato_salsa_of_ours", r.Key)
	require.Equal(t, Yield{Jar: canning.Pint, JarsMin: 4, JarsMax: 5}, r.Yield)
	require.Equal(t, "green_tomatoes", r.Lines[0].ID)
	require.Equal(t, measure.Q(measure.Int(3), measure.Pound), r.Lines[0].Amount)
	require.Equal(t, DrySpice, r.Lines[1].Role)
	require.Equal(t, Step{Order: 1, Action: "boil", Text: "Boil it.", Timed: true, MinutesMin: 5, MinutesMax: 10, Burner: true, Hands: 1}, r.Steps[0])
	ok, why := ShelfStable(r)
	require.False(t, ok)
	require.Equal(t, "it has no published process; refrigerate or freeze", why)
}

// What a file says may vary is not believed, nor a role that the ingredient table knows better.
func TestImportBelievesNoPermission(t *testing.T) {
	all, err := ImportYAML(strings.NewReader(`title: Trick
based_on: chile_salsa
yield: {jar: pint, jars_min: 6, jars_max: 8}
ingredients:
- {name: tomatoes, amount: 5 lb, preparation: "peeled, cored, coarsely chopped"}
- {name: chile peppers, amount: 2 lb, preparation: "blistered, peeled, seeded, chopped"}
- {id: onions, name: onions, amount: 3 lb, preparation: chopped, role: acid, may_vary: "yes", vary_by: [salsa_dried_spices_herbs]}
- {name: vinegar (5%), amount: 1 cup}
- {name: salt, amount: 3 tsp}
- {name: pepper, amount: 1/2 tsp}
`))
	require.NoError(t, err)
	l, ok := all[0].Line("onions")
	require.True(t, ok)
	require.Equal(t, LowAcid, l.Role)
	require.Equal(t, KindOnly, l.Vary)
	rv := ReviewOf(all[0])
	require.Equal(t, Forbidden, rv.Verdict)
	ok, _ = ShelfStable(all[0])
	require.False(t, ok)
}

func TestYAMLRoundTripOfTheLibrary(t *testing.T) {
	data, err := ExportYAML(Library()...)
	require.NoError(t, err)
	back, err := ImportYAML(bytes.NewReader(data))
	require.NoError(t, err)
	require.Len(t, back, 35)
	for i, r := range Library() {
		require.Equal(t, diffText(r), diffText(back[i]))
		require.Empty(t, ReviewOf(back[i]).Findings, r.Key)
		ok, why := ShelfStable(back[i])
		require.True(t, ok, "%s: %s", r.Key, why)
		one, err := ExportYAML(r)
		require.NoError(t, err)
		alone, err := ImportYAML(bytes.NewReader(one))
		require.NoError(t, err)
		require.Equal(t, string(one), diffText(alone[0]))
	}
}

func TestJSONLDRoundTripOfTheLibrary(t *testing.T) {
	for _, r := range Library() {
		data, err := ExportJSONLD(r)
		require.NoError(t, err)
		back, err := ImportJSONLD(bytes.NewReader(data))
		require.NoError(t, err)
		require.Len(t, back, 1)
		require.Empty(t, ReviewOf(back[0]).Findings, r.Key)
		ok, why := ShelfStable(back[0])
		require.True(t, ok, "%s: %s", r.Key, why)
		// The same without our identifier is somebody's recipe.
		stripped := bytes.ReplaceAll(data, []byte("stillroom:based_on"), []byte("other"))
		back, err = ImportJSONLD(bytes.NewReader(stripped))
		require.NoError(t, err)
		ok, _ = ShelfStable(back[0])
		require.False(t, ok, r.Key)
		require.Len(t, back[0].Lines, len(r.Lines))
	}
}

// A page of the web in the shapes schema.org/Recipe allows: @graph, HowToSection, text for lists, no amounts.
const webJSONLD = `{
  "@context": "https://schema.org",
  "@graph": [
    {"@type": "WebPage", "name": "A page"},
    {
      "@type": ["Recipe", "Thing"],
      "name": "Corner shop chutney",
      "url": "https://example.org/chutney",
      "author": {"@type": "Person", "name": "Somebody"},
      "recipeYield": ["5", "Makes about 5 to 6 half-pints"],
      "recipeIngredient": ["1 1/2 lb plums, pitted", "2 cups of cider vinegar (5%)", "1&frac12; tsp salt", "3 onions, chopped", "black pepper to taste", "1 cup walnuts (optional)"],
      "recipeInstructions": [
        {"@type": "HowToSection", "name": "Cook", "itemListElement": [{"@type": "HowToStep", "text": "Simmer all."}, "Stir."]},
        "Fill jars.\nEat."
      ]
    }
  ]
}`

func TestImportJSONLDOfTheWeb(t *testing.T) {
	all, err := ImportJSONLD(strings.NewReader(webJSONLD))
	require.NoError(t, err)
	require.Len(t, all, 1)
	r := all[0]
	require.Equal(t, "Corner shop chutney", r.Title)
	require.Equal(t, canning.HalfPint, r.Yield.Jar)
	require.Equal(t, [2]int{5, 6}, [2]int{r.Yield.JarsMin, r.Yield.JarsMax})
	var lines []string
	for _, l := range r.Lines {
		lines = append(lines, l.ID+": "+l.String())
	}
	require.Equal(t, []string{
		"plums: 1-1/2 pounds plums, pitted", "vinegar_cider: 2 cups cider vinegar (5%)", "salt: 1-1/2 teaspoons salt",
		"onions: 3 onions, chopped", "black_pepper_to_taste: 0 black pepper to taste", "nuts: 1 cup walnuts (optional)",
	}, lines)
	require.Equal(t, "no amount stated", r.Lines[4].Note)
	require.Len(t, r.Steps, 4)
	require.Contains(t, r.Notes, "https://example.org/chutney")
	ok, why := ShelfStable(r)
	require.False(t, ok)
	require.Contains(t, why, "no published process")
}

func TestBadYAMLNamesLineAndField(t *testing.T) {
	bad := func(old, replacement string) string { return strings.Replace(ownYAML, old, replacement, 1) }
	laughs := "a: &a [x,x,x,x,x,x,x,x,x]\n"
	for i := 'b'; i <= 'i'; i++ {
		laughs += fmt.Sprintf("%c: &%c [%s]\n", i, i, strings.TrimSuffix(strings.Repeat(fmt.Sprintf("*%c,", i-1), 9), ","))
	}
	for name, c := range map[string]struct{ text, want string }{
		"empty":              {"", "file: is empty"},
		"only spaces":        {" \n\t\n", "file: is empty"},
		"no title":           {bad("title: Green tomato salsa of ours", "key: x"), "line 1, title: is missing; name the recipe"},
		"no jars":            {bad("yield: {jar: pint, jars_min: 4, jars_max: 5}\n", ""), "yield: is missing: a recipe with no jars fills nothing"},
		"no jar count":       {bad(", jars_min: 4, jars_max: 5", ""), "line 2, yield.jars_min: is missing"},
		"zero jars":          {bad("jars_min: 4", "jars_min: 0"), `line 2, yield.jars_min "0": is not a number of jars`},
		"jars reversed":      {bad("jars_max: 5", "jars_max: 3"), "line 2, yield.jars_max \"3\": is below jars_min"},
		"unknown jar":        {bad("jar: pint", "jar: bucket"), `line 2, yield.jar "bucket": is not a jar size`},
		"negative amount":    {bad("3 lb", "-3 lb"), `line 4, ingredients[0].amount "-3 lb": is negative`},
		"unknown unit":       {bad("3 lb", "3 smidgens"), `line 4, ingredients[0].amount "smidgens": is not a unit we know`},
		"wrong unit":         {bad("1/2 cup", "3 cloves"), `line 6, ingredients[2].amount "3 cloves": is in cloves, which cannot measure bottled lime juice`},
		"nothing of it":      {bad("1/2 cup", "0 cups"), `line 6, ingredients[2].amount "0 cups": is nothing`},
		"unknown process":    {ownYAML + "process_key: salsa\n", `line 9, process_key "salsa": is not a product of the process tables`},
		"unknown base":       {ownYAML + "based_on: salsa\n", `line 9, based_on "salsa": is not a recipe of the printed library`},
		"unknown field":      {ownYAML + "colour: green\n", "line 9, colour: is not a field of this file"},
		"field twice":        {ownYAML + "title: Again\n", "line 9, title: is given twice"},
		"unknown role":       {bad("role: dry_spice", "role: magic"), `line 5, ingredients[1].role "magic": is not a role`},
		"list for text":      {bad("Green tomato salsa of ours", "[a, b]"), "line 1, title: is a list where text belongs"},
		"text for list":      {bad("steps:\n- {text: Boil it., action: boil, minutes: 5 to 10}", "steps: boil"), "steps: is a single value where a list belongs"},
		"bad minutes":        {bad("5 to 10", "10 to 5"), `line 8, steps[0].minutes "10 to 5": has a range whose upper end is below`},
		"id twice":           {bad("{name: moon dust", "{id: a, name: moon dust") + "- {text: x}\n", ""},
		"syntax":             {"title: [", "is not YAML that can be read"},
		"tabs":               {"title:\n\tx: y", "is not YAML that can be read"},
		"second document":    {ownYAML + "---\ntitle: x\n", "begins a second document"},
		"anchor":             {bad("title: Green", "title: &a Green"), "uses an anchor or alias"},
		"billion laughs":     {laughs, "uses an anchor or alias"},
		"merge key":          {"a: &b {c: d}\n<<: *b\n", "uses an anchor or alias"},
		"deep flow":          {"title: " + strings.Repeat("[", 5000) + strings.Repeat("]", 5000), "nests deeper than a recipe can"},
		"deeper than parser": {strings.Repeat("[", 200_000), "is not YAML that can be read"},
		"deep block":         {deepBlock(300), "nests deeper than a recipe can"},
		"too large":          {"title: " + strings.Repeat("x", 10<<20), "is larger than 512 KB"},
		"UTF-16":             {"\xff\xfet\x00i\x00", "is UTF-16 text; save it as UTF-8"},
		"Latin-1":            {"title: Jalape\xf1o\n", "line 1: is not UTF-8 text; save the file as UTF-8"},
		"NUL":                {"title: a\x00b\n", "line 1: holds a NUL byte"},
		"control":            {"title: \"a\\x07b\"\n", "holds control characters"},
		"binary":             {bad("title: Green tomato salsa of ours", "title: !!binary aGVsbG8="), "is binary"},
		"long title":         {"title: " + strings.Repeat("x", 300), "is too long"},
		"list at the top":    {"- a\n- b\n", "line 1, recipe: is a list where a mapping belongs"},
		"only comments":      {"# a\n# b\n", "file: holds nothing but comments"},
		"empty list":         {"recipes: []\n", "is empty; put at least one recipe in it"},
		"many lines":         {manyLines(MostLines + 1), `ingredients "201": has too many entries`},
	} {
		t.Run(name, func(t *testing.T) {
			all, err := ImportYAML(strings.NewReader(c.text))
			if c.want == "" {
				require.NoError(t, err)
				return
			}
			require.Nil(t, all)
			require.Equal(t, fault.Invalid, fault.KindOf(err), "%v", err)
			require.ErrorContains(t, err, c.want)
			require.Less(t, len(err.Error()), 20_000)
		})
	}
}

func deepBlock(depth int) string {
	var b strings.Builder
	for i := range depth {
		b.WriteString(strings.Repeat(" ", i) + "a:\n")
	}
	return b.String()
}

func manyLines(n int) string {
	return "title: x\nyield: {jar: pint, jars_min: 1}\ningredients:\n" + strings.Repeat("- {name: onions, amount: 1}\n", n)
}

func TestTwoLinesMayNotShareAnID(t *testing.T) {
	_, err := ImportYAML(strings.NewReader("title: x\nyield: {jar: pint, jars_min: 1}\ningredients:\n- {id: a, name: onions, amount: 1}\n- {id: a, name: garlic, amount: 1 clove}\n"))
	require.ErrorContains(t, err, `line 5, ingredients[1].id "a": is the id of two lines`)
}

func TestBadJSONLDNamesLineAndField(t *testing.T) {
	good := `{
 "@type": "Recipe",
 "name": "X",
 "recipeYield": "4 pints",
 "recipeIngredient": ["1 cup onions"]
}`
	bad := func(old, replacement string) string { return strings.Replace(good, old, replacement, 1) }
	_, err := ImportJSONLD(strings.NewReader(good))
	require.NoError(t, err)
	for name, c := range map[string]struct{ text, want string }{
		"empty":          {"", "file: is empty"},
		"not JSON":       {"title: x", "line 1: is not JSON that can be read"},
		"cut short":      {good[:40], "line 4: is not JSON that can be read: unexpected EOF"},
		"no end":         {`{"name": "x",`, "ends before the JSON value does"},
		"two values":     {good + good, "has something after the end"},
		"no recipe":      {`{"@type": "WebPage"}`, "holds no schema.org Recipe"},
		"no name":        {bad(`"name": "X",`, ``), "line 1, name: is missing"},
		"no ingredients": {bad(`["1 cup onions"]`, `[]`), "recipeIngredient: is missing"},
		"no yield":       {bad(` "recipeYield": "4 pints",`, ``), "recipeYield: is missing: a recipe with no jars"},
		"servings":       {bad("4 pints", "4 servings"), `line 4, recipeYield "4 servings": names no jars`},
		"length":         {bad("1 cup onions", "3 inches ginger"), `line 5, recipeIngredient[0] "3 inches": is length, which cannot measure`},
		"negative":       {bad("1 cup onions", "-1 cup onions"), `line 5, recipeIngredient[0] "-1 cup onions": is negative`},
		"cloves of acid": {bad("1 cup onions", "2 cloves vinegar (5%)"), `is in cloves, which cannot measure vinegar (5%)`},
		"object":         {bad(`"1 cup onions"`, `{"a": 1}`), "line 5, recipeIngredient[0]: is a mapping where an ingredient belongs"},
		"key twice":      {bad(`"name": "X",`, `"name": "X", "name": "Y",`), "line 3, name: is given twice"},
		"deep":           {strings.Repeat("[", 100_000), "nests deeper than a recipe can"},
		"deep objects":   {strings.Repeat(`{"@graph":`, 40_000), "nests deeper than a recipe can"},
		"too large":      {`{"name": "` + strings.Repeat("x", 10<<20), "is larger than 512 KB"},
		"UTF-16":         {"\xfe\xff\x00{", "is UTF-16 text"},
		"unknown base":   {bad(`"name": "X",`, `"name": "X", "identifier": {"propertyID": "stillroom:based_on", "value": "x"},`), "is not a recipe of the printed library"},
	} {
		t.Run(name, func(t *testing.T) {
			all, err := ImportJSONLD(strings.NewReader(c.text))
			require.Nil(t, all)
			require.Equal(t, fault.Invalid, fault.KindOf(err), "%v", err)
			require.ErrorContains(t, err, c.want)
		})
	}
}

// A JSON-LD file that says it comes from a printed recipe and differs is reviewed like any change.
func TestJSONLDOfAChangedRecipeIsReviewed(t *testing.T) {
	r, err := Published("chile_salsa")
	require.NoError(t, err)
	data, err := ExportJSONLD(r)
	require.NoError(t, err)
	back, err := ImportJSONLD(bytes.NewReader(bytes.Replace(data, []byte("1 cup vinegar (5%)"), []byte("1/2 cup vinegar (5%)"), 1)))
	require.NoError(t, err)
	ok, why := ShelfStable(back[0])
	require.False(t, ok)
	require.Contains(t, why, "vinegar: 1 cup to 1/2 cup is forbidden")
}

func fuzzSeeds(f *testing.F, files ...string) {
	for _, name := range files {
		data, err := os.ReadFile(name)
		require.NoError(f, err)
		f.Add(data)
	}
}

// FuzzImportYAML: no panic, no hang, and what is read can be written, read again and reviewed.
func FuzzImportYAML(f *testing.F) {
	f.Add([]byte(ownYAML))
	f.Add([]byte("a: &a [*a]"))
	f.Add([]byte("recipes:\n- {title: x, yield: {jar: pint, jars_min: 1}, based_on: chile_salsa, ingredients: [{name: vinegar, amount: 1 to 2 cups, per_jar: pint}]}"))
	fuzzSeeds(f, "testdata/formulas.yaml")
	f.Fuzz(func(t *testing.T, data []byte) {
		all, err := ImportYAML(bytes.NewReader(data))
		if err != nil {
			require.Equal(t, fault.Invalid, fault.KindOf(err))
			return
		}
		for _, r := range all {
			checkImported(t, r)
		}
		out, err := ExportYAML(all...)
		require.NoError(t, err)
		back, err := ImportYAML(bytes.NewReader(out))
		require.NoError(t, err, string(out))
		require.Len(t, back, len(all))
	})
}

// FuzzImportJSONLD: no panic, no hang, and never shelf-stable without a printed recipe behind it.
func FuzzImportJSONLD(f *testing.F) {
	f.Add([]byte(webJSONLD))
	f.Add([]byte(`[{"@type":"Recipe","name":"x","recipeYield":6,"recipeIngredient":"1 to 2 cups onions"}]`))
	r, err := Published("marinated_peppers")
	require.NoError(f, err)
	data, err := ExportJSONLD(r)
	require.NoError(f, err)
	f.Add(data)
	f.Fuzz(func(t *testing.T, data []byte) {
		all, err := ImportJSONLD(bytes.NewReader(data))
		if err != nil {
			require.Equal(t, fault.Invalid, fault.KindOf(err))
			return
		}
		for _, r := range all {
			checkImported(t, r)
			if r.BasedOn == "" {
				ok, _ := ShelfStable(r)
				require.False(t, ok)
			}
		}
	})
}

func checkImported(t *testing.T, r *Revision) {
	t.Helper()
	require.NotEmpty(t, r.Title)
	require.NotEmpty(t, r.Lines)
	require.Positive(t, r.Yield.JarsMin)
	ids := map[string]bool{}
	for _, l := range r.Lines {
		require.False(t, ids[l.ID], l.ID)
		ids[l.ID] = true
	}
	rv := ReviewOf(r)
	ok, why := ShelfStable(r)
	require.NotEmpty(t, why)
	if ok && r.BasedOn != "" {
		require.True(t, rv.Verdict.OK())
	}
	require.NotEmpty(t, Text(r))
	stored, err := Marshal(r)
	require.NoError(t, err)
	_, err = Unmarshal(stored)
	require.NoError(t, err)
}

// The YAML of the README is one that can be imported, and what it says of it holds.
func TestReadmeShowsTheShape(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	_, block, ok := strings.Cut(string(readme), "## Recipe files")
	require.True(t, ok)
	_, block, ok = strings.Cut(block, "```yaml\n")
	require.True(t, ok)
	block, _, ok = strings.Cut(block, "```\n")
	require.True(t, ok)
	all, err := ImportYAML(strings.NewReader(block))
	require.NoError(t, err)
	stable, why := ShelfStable(all[0])
	require.True(t, stable, why)
	var changes []string
	for _, f := range ReviewOf(all[0]).Findings {
		changes = append(changes, f.Change+": "+f.Verdict.String())
	}
	require.Equal(t, []string{
		"tomatillos: 5 cups green tomatoes in place of 5 cups tomatillos: allowed", "cumin_ground: left out: allowed to taste",
		"oregano_dried: left out: allowed to taste", "salt: 1 tablespoon to 2 teaspoons: allowed to taste",
	}, changes)
}
