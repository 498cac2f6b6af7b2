package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestNumberPrintsAsRecipesDo(t *testing.T) {
	// The printed forms are those of the ingredient lists in USDA AIB 539 (rev. 2015), Guides 2, 3, 6 and 7.
	for want, n := range map[string]Number{
		"1-1/2": Ratio(3, 2), "1/4": Ratio(1, 4), "1-1/3": Ratio(4, 3), "7-1/2": MustDecimal("7.5"),
		"12": Int(12), "0": {}, "1/8": MustDecimal("0.125"), "-1/2": Ratio(-1, 2), "0.1": Ratio(1, 10),
		"0.1429": Ratio(1, 7),
	} {
		require.Equal(t, want, n.String())
	}
}

func TestNumberRoundsUpToSteps(t *testing.T) {
	require.Equal(t, "3", MustDecimal("2.0000000001").Ceil().String())
	require.Equal(t, "2", Int(2).Ceil().String())
	require.Equal(t, "-2", MustDecimal("-2.5").Ceil().String())
	require.Equal(t, "-3", MustDecimal("-2.5").Floor().String())
	require.Equal(t, "1-3/4", MustDecimal("1.51").CeilTo(Ratio(1, 4)).String())
}

func TestNumberFromFloatMeansWhatWasWritten(t *testing.T) {
	n, err := FromFloat(304.8)
	require.NoError(t, err)
	require.True(t, n.Equal(Ratio(3048, 10)))
	for _, f := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		_, err := FromFloat(f)
		require.Error(t, err)
	}
}

func TestExactReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := Ratio(rapid.Int64Range(-1e12, 1e12).Draw(t, "num"), rapid.Int64Range(1, 1e6).Draw(t, "den"))
		back, err := ParseExact(n.Exact())
		require.NoError(t, err)
		require.True(t, n.Equal(back), n.Exact())
	})
	for _, s := range []string{"", "1/0", "1e9", "x", "1/2/3", "--1", "."} {
		_, err := ParseExact(s)
		require.Error(t, err, s)
	}
}
