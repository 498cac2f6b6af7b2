package reference

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestPrintsKnowsTheWordsOfTheTrade(t *testing.T) {
	t.Parallel()
	// USDA AIB 539 (2015) prints the first two, the USDA National Nutrient Database (Release 28) the third.
	for _, words := range []string{"Canning  Salt", "boiling water", "Bay LEAF"} {
		require.True(t, Prints(words), words)
	}
	for _, words := range []string{"", " ", "Delphine Aster"} {
		require.False(t, Prints(words), words)
	}
}
