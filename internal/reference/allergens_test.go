package reference

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestAllergensAreThoseOfTheLaw holds the table to the two lists it is from.
func TestAllergensAreThoseOfTheLaw(t *testing.T) {
	t.Parallel()
	// Regulation (EU) No 1169/2011, Annex II, points 1 to 14.
	annex := map[string]string{
		"Annex II, point 1": "gluten", "Annex II, point 2": "crustaceans", "Annex II, point 3": "eggs", "Annex II, point 4": "fish",
		"Annex II, point 5": "peanuts", "Annex II, point 6": "soybeans", "Annex II, point 7": "milk", "Annex II, point 8": "tree_nuts",
		"Annex II, point 9": "celery", "Annex II, point 10": "mustard", "Annex II, point 11": "sesame", "Annex II, point 12": "sulphites",
		"Annex II, point 13": "lupin", "Annex II, point 14": "molluscs",
	}
	// 21 USC 321(qq)(1): milk, egg, fish, Crustacean shellfish, tree nuts, wheat, peanuts, soybeans, and sesame.
	major := []string{"crustaceans", "eggs", "fish", "gluten", "milk", "peanuts", "sesame", "soybeans", "tree_nuts"}

	points := map[string]string{}
	var groups []string
	for _, a := range Allergens() {
		require.NotEmpty(t, a.Word)
		require.NotEmpty(t, a.Name)
		require.NotEmpty(t, a.Source.Publication)
		switch a.Basis {
		case InLaw:
			require.Equal(t, Read, a.Source.Checked, a.Word)
			if a.Source.Locator == "(1)" {
				groups = append(groups, a.Group)
			} else {
				points[a.Source.Locator] = a.Group
			}
		case ByKind, OftenHolds:
			require.Equal(t, Recalled, a.Source.Checked, a.Word)
			require.Contains(t, a.Source.Publication, "common practice")
		default:
			require.Fail(t, "unknown basis", a.Basis)
		}
	}
	require.Equal(t, annex, points)
	slices.Sort(groups)
	require.Equal(t, major, slices.Compact(groups))
}
