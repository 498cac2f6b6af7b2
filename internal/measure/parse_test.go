package measure

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestParseAmount(t *testing.T) {
	for text, want := range map[string][2]Number{
		"3":          {Int(3), Int(3)},
		"1-1/2":      {Ratio(3, 2), Ratio(3, 2)},
		"1 1/2":      {Ratio(3, 2), Ratio(3, 2)},
		"1½":         {Ratio(3, 2), Ratio(3, 2)},
		"1 ½":        {Ratio(3, 2), Ratio(3, 2)},
		"1-½":        {Ratio(3, 2), Ratio(3, 2)},
		"1⁄3":        {Ratio(1, 3), Ratio(1, 3)},
		"⅔":          {Ratio(2, 3), Ratio(2, 3)},
		"0.5":        {Ratio(1, 2), Ratio(1, 2)},
		".5":         {Ratio(1, 2), Ratio(1, 2)},
		"1,200":      {Int(1200), Int(1200)},
		"1,234,567":  {Int(1234567), Int(1234567)},
		"2 to 3":     {Int(2), Int(3)},
		"2 TO 3":     {Int(2), Int(3)},
		"4-6":        {Int(4), Int(6)},
		"4–6":        {Int(4), Int(6)},
		"4 - 6":      {Int(4), Int(6)},
		"2 or 3":     {Int(2), Int(3)},
		"1/2-3/4":    {Ratio(1, 2), Ratio(3, 4)},
		"1-1/2 to 2": {Ratio(3, 2), Int(2)},
		"1-1/2-2":    {Ratio(3, 2), Int(2)},
		"0-1/2":      {Int(0), Ratio(1, 2)},
		"8 to 16":    {Int(8), Int(16)},
	} {
		got, err := ParseAmount(text)
		require.NoError(t, err, text)
		require.True(t, got.Low.Equal(want[0]) && got.High.Equal(want[1]), "%s read as %s", text, got)
	}
}

func TestParseAmountRefuses(t *testing.T) {
	for text, reason := range map[string]string{
		"":             "empty",
		"   ":          "empty",
		"-1":           "negative",
		"−2":           "negative",
		"1,5":          "thousands mark",
		"12,34":        "thousands mark",
		"1234,567":     "thousands mark",
		"1/0":          "divides by zero",
		"3 to 2":       "below its lower end",
		"2 to":         "not part of it",
		"2-":           "without an upper end",
		"abc":          "does not begin with a number",
		"1.2.3":        "only one way",
		"½½":           "only one way",
		"1/2/3":        "only one way",
		"1 2":          "not part of it",
		"1e9":          "not part of it",
		"0x10":         "not part of it",
		"9999999999":   "too large",
		"0.1234567891": "decimals",
		"1 - 1/2":      "below its lower end",
		"\xff":         "UTF-8",
		"11111111111111111111111111111111111111111111111111111111111111111111111111111111111111": "too long",
	} {
		_, err := ParseAmount(text)
		var e *Error
		require.ErrorAs(t, err, &e, text)
		require.Contains(t, e.Reason, reason, text)
		require.NotEmpty(t, e.WayOut, text)
	}
}

func TestParseQuantity(t *testing.T) {
	for text, want := range map[string]string{
		"1-1/2 cups":     "1-1/2 cups",
		"1½ c":           "1-1/2 cups",
		"2 to 3 lb":      "2 to 3 pounds",
		"1 lb 4 oz":      "1-1/4 pounds",
		"1 lb. 4 oz.":    "1-1/4 pounds",
		"1 lb, 4 oz":     "1-1/4 pounds",
		"1 lb and 4 oz":  "1-1/4 pounds",
		"1 lb .5 oz":     "1.0313 pounds",
		"1 quart 2 cups": "1-1/2 quarts",
		"250g":           "250 grams",
		"1.5 l":          "1-1/2 litres",
		"4":              "4",
		"2 cloves":       "2 cloves",
		"1/2 T":          "1/2 tablespoon",
		"8 to 16":        "8 to 16",
		"3 dozen":        "3 dozen",
		"5 gal":          "5 gallons",
	} {
		got, err := ParseQuantity(text)
		require.NoError(t, err, text)
		require.Equal(t, want, got.String(), text)
	}
	for _, text := range []string{"1 smidgen", "1 lb 4", "1 lb 2 cups", "2 to 3 lb 4 oz", "cups", "1 cup / 2", "- 1 cup", "1 cup -1 cup", "1.5.5 cups"} {
		_, err := ParseQuantity(text)
		var e *Error
		require.ErrorAs(t, err, &e, text)
	}
}

func TestPrintedQuantityReadsBack(t *testing.T) {
	units := Units()
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.SampledFrom(units).Filter(func(u Unit) bool {
			return u.Dimension() == Mass || u.Dimension() == Volume || u.Dimension() == Count
		}).Draw(t, "unit")
		low := Ratio(rapid.Int64Range(0, 1e6).Draw(t, "low"), rapid.SampledFrom(cookDenominators).Draw(t, "den"))
		high := low.Add(Int(rapid.Int64Range(0, 50).Draw(t, "more")))
		q := Quantity{Amount: Between(low, high), Unit: u}
		back, err := ParseQuantity(q.String())
		require.NoError(t, err, q.String())
		require.Equal(t, u, back.Unit, q.String())
		require.True(t, back.Amount.Low.Equal(low) && back.Amount.High.Equal(high), q.String())
	})
}

func FuzzParseQuantity(f *testing.F) {
	for _, s := range []string{"1-1/2", "1½", "2 to 3", "1 lb 4 oz", "0.5", "1,5", "1,500 g", "½-¾ cup", "1⁄2", "4–6 cloves", "-1 cup", "1 lb .5 oz", "", "1/0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		q, err := ParseQuantity(s)
		if err != nil {
			var e *Error
			require.ErrorAs(t, err, &e)
			require.NotEmpty(t, e.Reason)
			return
		}
		require.True(t, q.Unit.Known())
		require.GreaterOrEqual(t, q.Amount.Low.Sign(), 0)
		require.GreaterOrEqual(t, q.Amount.High.Cmp(q.Amount.Low), 0)
		again, err := ParseQuantity(q.Amount.Low.Decimal(9) + " " + q.Unit.Name(q.Amount.Low))
		if err == nil {
			// Nine decimals are enough for what the parser accepts, except where a fraction does not end.
			off := q.Amount.Low.Sub(again.Amount.Low)
			require.LessOrEqual(t, off.Cmp(MustDecimal("0.000000001")), 0)
			require.GreaterOrEqual(t, off.Cmp(MustDecimal("-0.000000001")), 0)
		}
	})
}

func FuzzParseAltitude(f *testing.F) {
	for _, s := range []string{"1600 m", "5,280 ft", "1 mi", "-50 m", "1.6 km", "1000.5 ft", "1,000.5'", "9000 m", "-431 m", "1600", "ft", "1600 m above sea level"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := ParseAltitude(s)
		if err != nil {
			var e *Error
			require.ErrorAs(t, err, &e)
			require.Equal(t, "altitude", e.Field)
			require.NotEmpty(t, e.WayOut)
			return
		}
		require.GreaterOrEqual(t, a.Metres().Cmp(Int(LowestMetres)), 0)
		require.LessOrEqual(t, a.Metres().Cmp(Int(HighestMetres)), 0)
		exact, err := AltitudeInMetres(a.Metres())
		require.NoError(t, err)
		require.Zero(t, a.Cmp(exact))
	})
}
