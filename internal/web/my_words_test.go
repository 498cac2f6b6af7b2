package web

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func TestFraction(t *testing.T) {
	t.Parallel()
	for f, want := range map[float64]string{0.5: "1/2", 1.5: "1-1/2", 3: "3", 1. / 3 * 2: "2/3", 2.75: "2-3/4", 0.25: "1/4", 1.1: "1.1"} {
		require.Equal(t, want, fraction(f))
	}
}

func TestTimesAmount(t *testing.T) {
	t.Parallel()
	line := func(amount string, low, high float64, unit string) *stillroomv1.IngredientLine {
		return &stillroomv1.IngredientLine{Amount: amount, AmountMin: low, AmountMax: high, Unit: unit}
	}
	require.Equal(t, "2 × 1-1/2 cups = 3 cups", timesAmount(2, line("1-1/2 cups", 1.5, 1.5, "us_cup")))
	require.Equal(t, "2 × 1/2 teaspoon = 1 teaspoon", timesAmount(2, line("1/2 teaspoon", 0.5, 0.5, "us_teaspoon")))
	require.Equal(t, "3 × 2 to 3 pounds = 6 to 9 pounds", timesAmount(3, line("2 to 3 pounds", 2, 3, "pound")))
	require.Equal(t, "2 × 4 large", timesAmount(2, line("4 large", 4, 4, "each")), "what has no unit is not multiplied out")
}

func TestReadAltitude(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		text, unit string
		metres     float64
	}{{"5,430", "ft", 1655.064}, {"1655", "m", 1655}, {" 1000.5 ft ", "m", 304.9524}, {"300 metres", "ft", 300}, {"-5", "m", -5}} {
		metres, problem := readAltitude(c.text, c.unit)
		require.Empty(t, problem, c.text)
		require.InDelta(t, c.metres, metres, 1e-9, c.text)
	}
	for _, text := range []string{"", "high", "1e9", "NaN", "Inf", "9001", "-431", "1 2", "0x1p-2ft", "５"} {
		_, problem := readAltitude(text, "m")
		require.NotEmpty(t, problem, text)
	}
	rapid.Check(t, func(t *rapid.T) {
		metres, problem := readAltitude(rapid.String().Draw(t, "text"), rapid.SampledFrom([]string{"ft", "m", ""}).Draw(t, "unit"))
		if problem == "" {
			require.False(t, math.IsNaN(metres) || metres < -430 || metres > 9000, "what the contract takes")
		}
	})
}
