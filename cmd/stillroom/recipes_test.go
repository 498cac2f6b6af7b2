package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/store/storetest"
)

func TestRecipesFromTheCommandLine(t *testing.T) {
	t.Parallel()
	p := startProgram(t, "--database", storetest.URL(t))
	p.run("kitchen", "create", "high-meadow", "--currency", "USD")

	library := p.run("recipe", "library", "--ingredient", "tomatillos", "--season", "summer")
	require.Contains(t, library, "published/tomatillo_green_salsa")
	require.Contains(t, library, "Guide 3, pp. 3-22 to 3-23")
	require.Contains(t, library, "2 recipes")
	require.Len(t, p.json("recipe", "library")["published_recipes"], 35)
	require.Contains(t, p.fails("recipe", "library", "--season", "monsoon"), `"monsoon": is not a season`)

	// Guide 3, p. 3-21: chile salsa, hot pack, pints: 15, 20 and 25 minutes.
	printed := p.run("recipe", "print", "published/chile_salsa")
	for _, want := range []string{"5 pounds", "15 min", "20 min", "25 min", "Guide 3, p. 3-21", "Cautions"} {
		require.Contains(t, printed, want)
	}

	require.Contains(t, p.run("recipe", "adopt", "chile_salsa", "--id", "salsa"), "salsa@1")
	require.Contains(t, p.fails("recipe", "adopt", "chile_salsa", "--id", "salsa"), "has a recipe with that id already")

	review := p.run("recipe", "review", "salsa", "--raise", "onions=2 lb", "--omit", "salt")
	require.Contains(t, review, "onions: 1 pound to 2 pounds: FORBIDDEN; refrigerate or freeze only")
	require.Contains(t, review, "salt: left out: ALLOWED TO TASTE; still shelf-stable")
	require.Contains(t, review, "Red, yellow and white onions may replace each other")
	require.Contains(t, review, "14.9 %", "238 g of vinegar to 3 lb of peppers and onions")
	require.Contains(t, p.fails("recipe", "review", "salsa"), "what is to be changed?")
	require.Contains(t, p.fails("recipe", "review", "salsa", "--raise", "onions"), `--raise "onions": write it like`)
	require.Contains(t, p.fails("recipe", "review", "salsa", "--omit", "lemon"), "changes[0].line_id")

	require.Contains(t, p.run("recipe", "revise", "salsa", "--swap", "vinegar=bottled lemon juice"), "salsa@2")
	require.Contains(t, p.run("recipe", "revise", "salsa", "--from", "1", "--reduce", "vinegar=1/2 cup"), "refrigerate or freeze")
	revisions := p.run("recipe", "revisions", "salsa")
	require.Less(t, strings.Index(revisions, "salsa@3"), strings.Index(revisions, "salsa@1"), "newest first")
	require.Contains(t, p.run("recipe", "show", "salsa@2"), "lemon juice")

	yaml := p.run("recipe", "export", "salsa@2")
	file := p.file("again.yaml", strings.Replace(yaml, "key: chile_salsa", "key: again", 1))
	require.Contains(t, p.run("recipe", "import", file), "shelf-stable")
	require.Contains(t, p.fails("recipe", "import", file), `has a recipe "again" already`)
	web := p.file("web.json", `{"@type":"Recipe","name":"Web jam","recipeYield":"4 half-pints","recipeIngredient":["2 lb strawberries","1 kg sugar"]}`)
	require.Contains(t, p.run("recipe", "import", web), "refrigerate or freeze")
	bad := p.file("bad.yaml", "title: X\nyield: {jar: pint, jars_min: 1}\ningredients:\n- {name: onions, amount: 3 smidgens}\n")
	require.Contains(t, p.fails("recipe", "import", bad), `line 4, ingredients[0].amount: "smidgens" is not a unit we know`)

	require.Contains(t, p.run("recipe", "list", "--text", "salsa"), "salsa@3")
	require.Contains(t, p.run("recipe", "rename", "salsa", "House salsa"), "House salsa")
	require.Equal(t, "recipe web_jam is removed\n", p.run("recipe", "delete", "web_jam"))
	p.stop()
}

func TestChangeFlags(t *testing.T) {
	f := changeFlags{swap: []string{"carrots=baby carrots, 8-1/2 cups", "cucumbers=pickling cucumbers, small"}, batches: "2", unsterile: true}
	changes, err := f.changes()
	require.NoError(t, err)
	require.Len(t, changes, 4)
	require.Equal(t, "baby carrots", changes[0].GetIngredient())
	require.Equal(t, "8-1/2 cups", changes[0].GetAmount())
	require.Equal(t, "pickling cucumbers, small", changes[1].GetIngredient())
	require.Empty(t, changes[1].GetAmount())
	require.Equal(t, stillroomv1.ChangeKind_CHANGE_KIND_BATCHES, changes[2].GetKind())
}
