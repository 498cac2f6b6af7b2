package main

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"stillroom/internal/recipe"
	"stillroom/internal/store/storetest"
)

// TestShoppingFromTheCommandLine records offers and stock, makes a list, adds a batch and compares.
func TestShoppingFromTheCommandLine(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	p := startProgram(t, "--database", url)
	p.run("kitchen", "create", "high-meadow", "--currency", "USD", "--name", "High Meadow")
	p.run("site", "create", "main", "--altitude", "5,430 ft", "--zone", "America/Denver")
	p.run("class", "create", "salsa", "--site", "main", "--start", "2027-08-21 09:00", "--length", "4h", "--places", "4", "--name", "Salsa morning")
	p.run("station", "add", "salsa", "bench-1")
	keepRecipe(t, url, "chile_salsa")
	p.run("batch", "add", "salsa", "--station", "bench-1", "--recipe", "chile-salsa@1", "--jars", "6", "--size", "pint")

	require.Contains(t, p.fails("shopping", "show", "salsa"), `no shopping list named "latest"`)
	offers := p.file("offers.csv", "\xef\xbb\xbfITEM,kind,content,step,price,shop,acidity\r\n"+
		"onions,loose,1 kg,100 g,2.40,greengrocer,\r\n"+
		"vinegar_white,bottle,1 l,,2.50,market,5\r\n"+
		"lid,box,1 dozen,,3.29,market,\r\n")
	require.Contains(t, p.run("offer", "import", offers), "1 kg by 100 g")
	bad := p.file("bad.csv", "item,kind,content,price\nonions,heap,1 kg,2.40\nonions,bag,1 kg,two\n")
	complaint := p.fails("offer", "import", bad)
	require.Contains(t, complaint, `line 2: kind "heap"`)
	require.Contains(t, complaint, `line 3: price "two"`)
	// All or none: the server refuses the second line, and the first is not there either.
	half := p.file("half.csv", "item,kind,content,price\ncelery,bunch,1 each,1.10\nonions,bag,0 kg,2.40\n")
	complaint = p.fails("offer", "import", half)
	require.Contains(t, complaint, "no offer was recorded")
	require.Regexp(t, `offers\[1\].*content: "0 kilogram" is not above zero`, complaint)
	require.NotContains(t, p.run("offer", "list"), "celery")
	require.Contains(t, p.fails("offer", "add", "onions", "--kind", "bag", "--content", "0 kg", "--price", "1"), "not above zero")
	p.run("offer", "add", "jar_pint", "--id", "pints", "--kind", "case", "--content", "12 each", "--price", "11.49", "--shop", "market")
	require.Contains(t, p.run("offer", "price", "pints", "10.99"), "10.99 USD")
	p.run("stock", "add", "jar_pint", "2 each", "--used", "--id", "old-pints")
	require.Contains(t, p.run("stock", "list"), "2 each, used")

	// 1 lb chopped onions: 453.592 g / 0.90 x 1.05 = 529.2 g as bought, so 6 steps of 100 g at 2.40 a kilogram: 1.44.
	out := p.run("shopping", "make", "salsa", "--explain")
	require.Contains(t, out, "600 g loose, onions (greengrocer)")
	require.Contains(t, out, "1.44 USD")
	require.Contains(t, out, "yield 0.9 (stem ends, sprouts and defects removed, raw)")
	require.Contains(t, out, "Stored as version 1.")
	us := p.run("shopping", "show", "salsa", "--units", "us")
	require.Contains(t, us, "1 lb 3 oz")

	p.run("batch", "add", "salsa", "--station", "bench-1", "--recipe", "chile-salsa@1", "--jars", "6", "--size", "pint")
	p.run("shopping", "make", "salsa", "--bring", "jar_pint", "--choose", "onions=onions_red", "--allow", "tomatoes=7.5")
	changes := p.run("shopping", "compare", "salsa", "1", "latest")
	require.Contains(t, changes, "onions: no longer needed")
	require.Contains(t, changes, "onions red: new")
	require.Contains(t, p.fails("shopping", "make", "salsa", "--choose", "herbs=basil"), "herbs")
	require.Contains(t, p.run("shopping", "list", "salsa"), "VERSION")

	list := p.json("shopping", "show", "salsa", "--version", "1")
	require.Equal(t, "kitchens/high-meadow/classes/salsa/shoppingLists/1", list["name"])
	file := filepath.Join(t.TempDir(), "list.csv")
	p.run("shopping", "export", "salsa", "--version", "1", "--file", file)
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	records, err := csv.NewReader(strings.NewReader(string(data))).ReadAll()
	require.NoError(t, err)
	require.Equal(t, "section", records[0][0])
	require.Len(t, records, 1+len(list["lines"].([]any)))
	p.stop()
}

// keepRecipe puts a printed recipe into the kitchen as revision 1.
func keepRecipe(t *testing.T, url, key string) {
	t.Helper()
	r, err := recipe.Published(key)
	require.NoError(t, err)
	document, err := recipe.Marshal(r)
	require.NoError(t, err)
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer func() { _ = conn.Close(t.Context()) }()
	_, err = conn.Exec(t.Context(), `
		WITH r AS (INSERT INTO recipes (kitchen_id, id, slug, title, published_key)
		           SELECT id, gen_random_uuid(), $1, $2, $3 FROM kitchens RETURNING *)
		INSERT INTO recipe_revisions (kitchen_id, id, recipe_id, number, document)
		SELECT kitchen_id, gen_random_uuid(), id, 1, $4 FROM r`, strings.ReplaceAll(key, "_", "-"), r.Title, key, document)
	require.NoError(t, err)
}
