package measure

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestParseUnitKnowsCooksSpellings(t *testing.T) {
	for text, want := range map[string]Unit{
		"cup": Cup, "cups": Cup, "c": Cup, "C.": Cup, "tbsp": Tablespoon, "Tbsp.": Tablespoon, "T": Tablespoon,
		"tablespoons": Tablespoon, "t": Teaspoon, "tsp": Teaspoon, "teaspoon": Teaspoon, "lb": Pound, "lbs.": Pound,
		"oz": Ounce, "fl oz": FluidOunce, "fl. oz.": FluidOunce, "fluid ounces": FluidOunce, "quart": Quart, "qt": Quart,
		"pint": Pint, "gallon": Gallon, "bushel": Bushel, "g": Gram, "kg": Kilogram, "ml": Millilitre, "mL": Millilitre,
		"l": Litre, "L": Litre, "liters": Litre, "metric cup": MetricCup, "us_cup": Cup, "us label cup": LabelCup,
		"dry pint": DryPint, "each": Each, "cloves": Clove, "stalks": Stalk, "sprig": Sprig, "bunches": Bunch,
		"can": Can, "package": Package, "heads": Head, "ears": Ear, "dozen": Dozen, "°F": "fahrenheit",
		"kJ/(kg.K)": "kilojoule_per_kilogram_kelvin",
	} {
		got, err := ParseUnit(text)
		require.NoError(t, err, text)
		require.Equal(t, want, got, text)
	}
}

func TestParseUnitSaysWhatItWouldTake(t *testing.T) {
	_, err := ParseUnit("smidgen")
	var e *Error
	require.ErrorAs(t, err, &e)
	require.Equal(t, "unit", e.Field)
	require.Equal(t, "smidgen", e.Value)
	require.Contains(t, e.WayOut, "cup")
}

func TestTheThreeCupsStayApart(t *testing.T) {
	// NIST Handbook 44 Appendix C (US cup 236.5882365 ml); 21 CFR 101.9(b)(5)(viii) (label cup 240 ml);
	// metric cup 250 ml by trade convention.
	for u, want := range map[Unit]string{Cup: "236.5882365", LabelCup: "240", MetricCup: "250"} {
		ml, err := Convert(Int(1), u, Millilitre)
		require.NoError(t, err)
		require.Equal(t, want, ml.Exact())
	}
	// A dry pint is 550.6104713575 ml, a liquid one 473.176473 ml (NIST Handbook 44).
	dry, err := Convert(Int(1), DryPint, Millilitre)
	require.NoError(t, err)
	require.Equal(t, "550.6104713575", dry.Exact())
}

func TestConvertRefusesWhatTakesAPublishedWeight(t *testing.T) {
	for _, pair := range [][2]Unit{{Cup, Gram}, {Clove, Each}, {Bunch, Gram}, {Can, Millilitre}, {Stalk, Bunch}, {Inch, Gram}} {
		_, err := Convert(Int(1), pair[0], pair[1])
		var e *Error
		require.ErrorAs(t, err, &e, pair)
	}
	_, err := Convert(Int(1), "firkin", Gram)
	require.ErrorContains(t, err, "firkin")
	two, err := Convert(Int(2), Dozen, Each)
	require.NoError(t, err)
	require.Equal(t, "24", two.String())
}

func TestTemperaturesConvertWithTheirOffset(t *testing.T) {
	// Scale definitions, NIST SP 811 Appendix B: 212 °F is 100 °C, 32 °F is 273.15 K.
	c, err := Convert(Int(212), "fahrenheit", "celsius")
	require.NoError(t, err)
	require.Equal(t, "100", c.Exact())
	k, err := Convert(Int(32), "fahrenheit", "kelvin")
	require.NoError(t, err)
	require.Equal(t, "273.15", k.Exact())
	require.InDelta(t, 180, float64(Fahrenheit(180).Celsius().Fahrenheit()), 1e-9)
}

func TestConversionIsExactBothWays(t *testing.T) {
	units := Units()
	rapid.Check(t, func(t *rapid.T) {
		from := rapid.SampledFrom(units).Draw(t, "from")
		to := rapid.SampledFrom(units).Draw(t, "to")
		n := Ratio(rapid.Int64Range(0, 1e9).Draw(t, "num"), rapid.Int64Range(1, 1e4).Draw(t, "den"))
		there, err := Convert(n, from, to)
		if !from.ConvertibleTo(to) {
			require.Error(t, err)
			return
		}
		require.NoError(t, err)
		back, err := Convert(there, to, from)
		require.NoError(t, err)
		require.True(t, n.Equal(back))
	})
}

func TestEveryUnitReadsItsOwnNames(t *testing.T) {
	for _, u := range Units() {
		require.NotEqual(t, Unknown, u.Dimension(), u)
		for _, name := range []string{string(u), u.Name(Int(1)), u.Name(Int(2)), u.Short()} {
			got, err := ParseUnit(name)
			require.NoError(t, err, "%s of %s", name, u)
			require.Equal(t, u, got, name)
		}
	}
}
