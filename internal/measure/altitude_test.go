package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestParseAltitude(t *testing.T) {
	// One foot is exactly 0.3048 m (NIST SP 811, Appendix B).
	for text, metres := range map[string]string{
		"1600 m": "1600", "1,600 metres": "1600", "5,280 ft": "1609.344", "5280ft": "1609.344", "5280 feet": "1609.344",
		"1 mi": "1609.344", "1.6 km": "1600", "-50 m": "-50", "−430 m": "-430", "9000 m": "9000", "0 ft": "0",
		"1000.5 ft": "304.9524", "5,280'": "1609.344", "1600 m above sea level": "1600", "+10 m": "10",
	} {
		a, err := ParseAltitude(text)
		require.NoError(t, err, text)
		require.Equal(t, metres, a.Metres().Exact(), text)
	}
	for text, reason := range map[string]string{
		"1600": "no unit", "-431 m": "on land", "9001 m": "on land", "30,000 ft": "on land", "-1,500 ft": "on land",
		"high": "does not begin", "1600 cups": "not in metres", "1,6 km": "thousands mark", "": "empty", "1600 furlongs": "do not know", "--5 m": "negative",
	} {
		_, err := ParseAltitude(text)
		var e *Error
		require.ErrorAs(t, err, &e, text)
		require.Equal(t, "altitude", e.Field)
		require.Contains(t, e.Reason, reason, text)
	}
}

func TestAltitudeIsComparedInExactFeet(t *testing.T) {
	for text, above := range map[string]bool{
		"1000 ft": false, "304.8 m": false, "1000.5 ft": true, "304.800001 m": true, "1001 ft": true, "304.79 m": false,
	} {
		a, err := ParseAltitude(text)
		require.NoError(t, err)
		require.Equal(t, above, a.Above(1000), text)
	}
	a, err := AltitudeFromFloat(304.8)
	require.NoError(t, err)
	require.False(t, a.Above(1000))
	for _, f := range []float64{math.NaN(), math.Inf(1), -431, 9000.1} {
		_, err := AltitudeFromFloat(f)
		require.Error(t, err)
	}
	require.Equal(t, "1,609.3 m (5,280 ft)", mustAltitude(t, "5280 ft").String())
	require.Equal(t, "305 m (1,000.5 ft)", mustAltitude(t, "1000.5 ft").String())
}

func TestAltitudeSurvivesAFloatOfMetres(t *testing.T) {
	// A site's altitude goes over the wire and into the database as metres; a whole number of feet must come
	// back on its own side of every band edge.
	rapid.Check(t, func(t *rapid.T) {
		feet := rapid.Int64Range(-1400, 29000).Draw(t, "feet")
		a, err := AltitudeInFeet(Int(feet))
		require.NoError(t, err)
		back, err := AltitudeFromFloat(a.Metres().Float64())
		require.NoError(t, err)
		require.Zero(t, a.Cmp(back))
		require.True(t, back.Feet().Equal(Int(feet)))
	})
}

func mustAltitude(t *testing.T, s string) Altitude {
	t.Helper()
	a, err := ParseAltitude(s)
	require.NoError(t, err)
	return a
}
