package recipe

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func change(t *testing.T, key string, changes ...Change) *Revision {
	t.Helper()
	changed, _, err := ReviewChanges(formula(t, key), changes)
	require.NoError(t, err)
	return changed
}

// What may be shelf-stable may still have no process that loads can be planned by.
func TestLoadRefusal(t *testing.T) {
	for name, c := range map[string]struct {
		r    *Revision
		want string
	}{
		"as printed":             {formula(t, "chile_salsa"), ""},
		"allowed":                {change(t, "chile_salsa", Change{Kind: Omit, Line: "salt"}), ""},
		"forbidden":              {change(t, "chile_salsa", Change{Kind: Omit, Line: "vinegar"}), "vinegar: left out is forbidden"},
		"steam":                  {change(t, "chile_salsa", Change{Kind: Method, To: "steam canner"}), ""},
		"pasteurised":            {change(t, "bread_and_butter_pickles", Change{Kind: Method, To: "low-temperature pasteurisation"}), "which loads are not planned for"},
		"jam, jars not sterile":  {change(t, "pear_apple_jam", Change{Kind: UnsterileJars}), "longer process that is not printed by altitude"},
		"peach salsa":            {change(t, "mango_salsa", Change{Kind: Swap, Line: "mangoes", Ingredient: "hard underripe yellow peaches"}), ""},
		"soup with fish":         {change(t, "t_vegetable_soup", Change{Kind: Add, Ingredient: "fish", Amount: "1 lb"}), ""},
		"attested":               {formula(t, "t_sauerkraut"), ""},
		"quarts of chile salsa":  {change(t, "chile_salsa", Change{Kind: JarSize, To: "quart"}), "larger jar"},
		"allowed on top of that": {change(t, "t_crushed_tomatoes", Change{Kind: Omit, Line: "salt_canning"}), ""},
	} {
		t.Run(name, func(t *testing.T) {
			got := LoadRefusal(c.r)
			if c.want == "" {
				require.Empty(t, got)
				return
			}
			require.Contains(t, got, c.want)
		})
	}
}

// A change that takes another product's process gets it, or its jars stay out of loads.
func TestWithProcess(t *testing.T) {
	soup := formula(t, "t_vegetable_soup")
	fish, err := Apply(soup, []Change{{Kind: Add, Ingredient: "fish", Amount: "1 lb"}})
	require.NoError(t, err)
	fish.Base = soup
	stable, why := ShelfStable(fish)
	require.False(t, stable, "it still names the process of soup without seafood")
	require.Contains(t, why, "takes the process of soups_with_seafood")
	fish = WithProcess(fish)
	require.Equal(t, "soups_with_seafood", fish.ProcessKey)
	stable, why = ShelfStable(fish)
	require.True(t, stable, why)
	require.Equal(t, AnotherProcess, ReviewOf(fish).Consequence)

	// Naming another process without such a change is no way to one.
	r := formula(t, "chile_salsa")
	r.ProcessKey = "apple_butter"
	stable, _ = ShelfStable(r)
	require.False(t, stable)
}

func TestReviewRoundTrip(t *testing.T) {
	for _, c := range reviewCases(t) {
		_, rv := reviewCaseOf(t, c)
		data, err := MarshalReview(rv)
		require.NoError(t, err)
		back, err := UnmarshalReview(data)
		require.NoError(t, err)
		again, err := MarshalReview(back)
		require.NoError(t, err)
		require.JSONEq(t, string(data), string(again))
		require.Equal(t, rv.Verdict, back.Verdict)
		require.Equal(t, rv.AcidAfter.String(), back.AcidAfter.String())
		require.Len(t, back.Findings, len(rv.Findings))
	}
	none, err := UnmarshalReview([]byte(`{}`))
	require.NoError(t, err)
	require.Equal(t, "not known", none.AcidAfter.String())
	_, err = UnmarshalReview([]byte(`{"findings":[{"verdict":9}]}`))
	require.Error(t, err)
}
