package reference

import (
	"math"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/measure"
)

// gnuNames are the names that GNU units gives to the units of the published factors. A unit missing here would be
// a factor nobody checked, so the test wants all of them.
var gnuNames = map[string]string{
	"us_gallon": "usgallon", "us_quart": "usquart", "us_pint": "uspint", "us_cup": "uscup", "us_fluid_ounce": "usfloz",
	"us_tablespoon": "ustablespoon", "us_teaspoon": "usteaspoon", "us_bushel": "usbushel", "us_peck": "uspeck",
	"us_dry_quart": "dryquart", "us_dry_pint": "drypint", "us_label_cup": "240 mL", "us_label_tablespoon": "15 mL",
	"us_label_teaspoon": "5 mL", "metric_cup": "metriccup", "metric_tablespoon": "15 mL", "metric_teaspoon": "5 mL",
	"australian_tablespoon": "australiatablespoon", "imperial_gallon": "brgallon", "imperial_quart": "brquart",
	"imperial_pint": "brpint", "imperial_fluid_ounce": "brfloz", "millilitre": "milliliter", "litre": "liter",
	"cubic_metre": "m^3", "cubic_inch": "in^3", "pound": "pound", "ounce": "ounce", "gram": "gram", "kilogram": "kilogram",
	"us_short_ton": "shortton", "grain": "grain", "inch": "inch", "foot": "foot", "metre": "meter", "millimetre": "millimeter",
	"square_foot": "ft^2", "square_metre": "m^2", "psi": "psi", "pascal": "pascal", "kilopascal": "kilopascal",
	"hectopascal": "hectopascal", "bar": "bar", "standard_atmosphere": "atm", "btu_it": "btu_IT", "joule": "joule",
	"btu_it_per_hour": "btu_IT/hour", "watt": "watt", "kilowatt": "kilowatt", "kilowatt_hour": "kilowatt hour",
	"btu_it_per_pound_degf": "btu_IT/(pound degF)", "kilojoule_per_kilogram_kelvin": "kJ/(kg K)",
	"btu_it_per_square_foot_hour": "btu_IT/(ft^2 hour)", "watt_per_square_metre": "W/m^2",
	"btu_it_per_square_foot_hour_degf": "btu_IT/(ft^2 hour degF)", "watt_per_square_metre_kelvin": "W/(m^2 K)",
	"calorie_it": "calorie_IT", "hour": "hour", "minute": "minute", "second": "second",
	"fahrenheit_difference": "degF", "kelvin_difference": "K",
}

// Our conversions agree with GNU units, an independent reading of the same definitions, to the digits it prints.
func TestUnitRegistryAgreesWithGNUUnits(t *testing.T) {
	if _, err := exec.LookPath("units"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("GNU units is not installed; in CI the comparison must run (Debian package units)")
		}
		t.Skip("GNU units is not installed (Debian package units): the comparison did not run")
	}
	for _, f := range UnitFactors() {
		if f.From.Dimension() == measure.Temperature {
			continue // scales with an offset are not factors
		}
		from, to := gnuNames[string(f.From)], gnuNames[string(f.To)]
		require.NotEmpty(t, from, f.From)
		require.NotEmpty(t, to, f.To)
		out, err := exec.Command("units", "--terse", "--output-format", "%.15g", "1 "+from, to).CombinedOutput()
		require.NoError(t, err, "units %q %q: %s", from, to, out)
		want, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
		require.NoError(t, err, string(out))
		got, err := measure.Convert(measure.Int(1), f.From, f.To)
		require.NoError(t, err)
		require.Less(t, math.Abs(got.Float64()/want-1), 1e-13, "%s to %s: %s, GNU units %s", f.From, f.To, got.Exact(), out)
	}
}
