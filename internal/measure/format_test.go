package measure

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestDisplayForCooks(t *testing.T) {
	for _, c := range []struct{ in, metric, us string }{
		// 1.25 kg is 44.092 oz, so 45 oz: 2 lb 13 oz.
		{"1.25 kg", "1.3 kg", "2 lb 13 oz"},
		{"1300 g", "1.3 kg", "2 lb 14 oz"}, // 45.856 oz
		{"1 lb 4 oz", "567 g", "1 lb 4 oz"},
		{"3 lb", "1.4 kg", "3 lb"},
		{"999.2 g", "1 kg", "2 lb 4 oz"},
		{"2.31 g", "2.4 g", "1/4 oz"},
		{"4 cups", "947 ml", "1 qt"},
		{"6-1/4 cups", "1.5 l", "1 qt 2-1/4 cups"},
		{"5 quarts", "4.8 l", "1 gal 1 qt"},
		{"1/3 cup", "79 ml", "1/2 cup"},
		{"3 tbsp", "45 ml", "3 tbsp"},
		{"1-1/2 tsp", "7.4 ml", "1-1/2 tsp"},
		{"2 to 3 lb", "908 g to 1.4 kg", "2 lb to 3 lb"},
		{"12 cloves", "12 cloves", "12 cloves"},
	} {
		q, err := ParseQuantity(c.in)
		require.NoError(t, err)
		require.Equal(t, c.metric, q.Metric(), c.in)
		require.Equal(t, c.us, q.USCustomary(), c.in)
	}
	require.Equal(t, "about 12 medium", AboutCount(MustDecimal("11.2"), "medium"))
	require.Equal(t, "1/2 in", Inches(0.5).String())
	require.Equal(t, "1-1/4 in", Inches(1.25).String())
	require.Equal(t, "1,001 ft", Feet(1001).String())
}

func TestDisplayIsNeverBelowTheNeed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.SampledFrom([]Unit{Gram, Kilogram, Pound, Ounce, Millilitre, Litre, Cup, Teaspoon, Gallon, MetricCup}).Draw(t, "unit")
		q := Q(Ratio(rapid.Int64Range(0, 1e7).Draw(t, "num"), rapid.Int64Range(1, 1e4).Draw(t, "den")), u)
		base := Gram
		if u.Dimension() == Volume {
			base = Millilitre
		}
		need, err := q.In(base)
		require.NoError(t, err)
		for _, text := range []string{q.Metric(), q.USCustomary()} {
			shown, err := ParseQuantity(text)
			require.NoError(t, err, text)
			in, err := shown.In(base)
			require.NoError(t, err, text)
			require.False(t, in.Amount.High.Less(need.Amount.High), "%s is below %s", text, need)
			// Nor is it lavish: at most a tenth above, or the smallest step of the measure (a quarter cup).
			most := need.Amount.High.Mul(MustDecimal("1.1")).Add(MustDecimal("60"))
			require.False(t, most.Less(in.Amount.High), "%s is far above %s", text, need)
		}
	})
}
