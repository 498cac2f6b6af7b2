package canning

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// The check values of IAPWS R7-97(2012), Table 35 (saturation pressure) and Table 36 (saturation temperature), to all
// nine printed digits.
func TestSaturationLineMeetsTheVerificationValues(t *testing.T) {
	for k, want := range map[measure.Kelvin]string{300: "3.53658941e+03", 500: "2.63889776e+06", 600: "1.23443146e+07"} {
		require.Equal(t, want, fmt.Sprintf("%.8e", float64(SaturationPressure(k))))
	}
	for p, want := range map[measure.Pascals]string{0.1e6: "372.755919", 1e6: "453.035632", 10e6: "584.149488"} {
		require.Equal(t, want, fmt.Sprintf("%.6f", float64(SaturationTemperature(p))))
	}
	// One standard atmosphere: 99.9743 °C, as the thermal facts print it.
	require.Equal(t, reference.MustFact("water_tsat_101325pa").Value, fmt.Sprintf("%.4f", float64(SaturationTemperature(101325).Celsius())))
}

func TestSaturationEquationsAreInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.Float64Range(273.16, 640).Draw(t, "K")
		// The two equations of the release agree to within a few millionths of a kelvin.
		require.InDelta(t, k, float64(SaturationTemperature(SaturationPressure(measure.Kelvin(k)))), 1e-4)
	})
}

// US Standard Atmosphere 1976 by geopotential height, and the boiling points that follow, to the printed digits; and
// the same in feet against tables as printed elsewhere.
func TestStandardAtmosphereAndBoilingPointsAgainstTables(t *testing.T) {
	pressures, boiling := 0, 0
	for _, f := range reference.ThermalFacts() {
		value, err := f.Float64()
		if err != nil {
			continue
		}
		var metres, ft int
		switch {
		case scan(f.Key, "isa_pressure_%dm", &metres):
			pressures++
			require.Equal(t, f.Value, fmt.Sprintf("%.1f", float64(StandardPressure(measure.Metres(metres)))), f.Key)
		case scan(f.Key, "isa_pressure_%dft_printed", &ft):
			pressures++
			psi := float64(StandardPressure(measure.Metres(float64(ft)*0.3048))) / 6894.757293168361
			// The tables' prints are within 0.002 psi of the equation; that for 4,000 ft is a misprint, 0.010 low.
			tolerance := 0.0025
			if ft == 4000 {
				tolerance = 0.0105
			}
			require.InDelta(t, value, psi, tolerance, f.Key)
		case scan(f.Key, "boiling_point_isa_%dm", &metres):
			boiling++
			require.Equal(t, f.Value, fmt.Sprintf("%.2f", float64(SaturationTemperature(StandardPressure(measure.Metres(metres))).Celsius())), f.Key)
		case scan(f.Key, "boiling_point_isa_%dft", &ft):
			boiling++
			require.Equal(t, f.Value, fmt.Sprintf("%.1f", float64(SaturationTemperature(StandardPressure(measure.Metres(float64(ft)*0.3048))).Celsius().Fahrenheit())), f.Key)
		case scan(f.Key, "boiling_point_noaa_%dft", &ft):
			boiling++
			require.InDelta(t, value, float64(BoilingPoint(inFeet(t, measure.Int(int64(ft)))).Fahrenheit()), 0.2, f.Key)
		}
	}
	require.Equal(t, 13+11, pressures)
	require.Equal(t, 13+11+8, boiling)
	// ICAO table as printed: 700 hPa at 3,012 m.
	require.InDelta(t, 70000, float64(StandardPressure(3012)), 10)
	// USDA AIB 539 (2015), Guide 1, p. 1-10: whole degrees at 0 to 10,000 ft.
	for ft, want := range map[int64]string{0: "boiling_point_0ft", 2000: "boiling_point_2000ft", 4000: "boiling_point_4000ft", 6000: "boiling_point_6000ft", 8000: "boiling_point_8000ft", 10000: "boiling_point_10000ft"} {
		require.InDelta(t, reference.MustFigure(want), float64(BoilingPoint(inFeet(t, measure.Int(ft))).Fahrenheit()), 0.8, want)
	}
}

// scan reads a key of the form of a pattern, wholly.
func scan(key, pattern string, n *int) bool {
	if _, err := fmt.Sscanf(key, pattern, n); err != nil {
		return false
	}
	return strings.ReplaceAll(pattern, "%d", fmt.Sprint(*n)) == key
}

func TestBoilingPointFallsWithAltitude(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.IntRange(-430, 8990).Draw(t, "low, m")
		high := rapid.IntRange(low+1, 9000).Draw(t, "high, m")
		a, err := measure.AltitudeInMetres(measure.Int(int64(low)))
		require.NoError(t, err)
		b, err := measure.AltitudeInMetres(measure.Int(int64(high)))
		require.NoError(t, err)
		require.Greater(t, BoilingPoint(a), BoilingPoint(b))
	})
}

func TestGeopotentialHeight(t *testing.T) {
	// r*z/(r+z) with r = 6,356,766 m (US Standard Atmosphere 1976): 9,000 m is 9000*6356766/6365766 = 8,987.28 m.
	require.InDelta(t, 8987.28, float64(GeopotentialHeight(9000)), 0.005)
	require.Zero(t, GeopotentialHeight(0))
}
