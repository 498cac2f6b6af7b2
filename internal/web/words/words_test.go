package words_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/words"
)

// Decimals of currencies are those of ISO 4217.
func TestMoney(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		currency string
		minor    int64
		want     string
	}{{"USD", 6128, "61.28 USD"}, {"USD", 5, "0.05 USD"}, {"EUR", -150, "−1.50 EUR"}, {"JPY", 980, "980 JPY"}, {"BHD", 1234, "1.234 BHD"}} {
		require.Equal(t, c.want, words.Money(&stillroomv1.Money{CurrencyCode: c.currency, MinorUnits: c.minor}))
	}
	require.Empty(t, words.Money(nil))
}

// An inch is 25.4 mm exactly (NIST Handbook 44, appendix C).
func TestInches(t *testing.T) {
	t.Parallel()
	for in, want := range map[float64]string{0.25: "1/4 in (6 mm)", 0.5: "1/2 in (13 mm)", 1: "1 in (25 mm)", 1.5: "1-1/2 in (38 mm)", 0.625: "5/8 in (16 mm)", 0.3: "0.3 in (8 mm)"} {
		require.Equal(t, want, words.Inches(in))
	}
}

func TestProcess(t *testing.T) {
	t.Parallel()
	require.Equal(t, "boiling water, 15 min, at 1,001-6,000 ft", words.Process(&stillroomv1.LoadProcess{
		Method: stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER, Minutes: 15, AltitudeBand: "1,001-6,000 ft"}))
	require.Equal(t, "pressure, dial gauge, 25 min at 11 lb, at 0-2,000 ft", words.Process(&stillroomv1.LoadProcess{
		Method: stillroomv1.ProcessMethod_PROCESS_METHOD_PRESSURE_DIAL, Minutes: 25, PressurePounds: 11, AltitudeBand: "0-2,000 ft"}))
	require.Empty(t, words.Process(nil))
	// Every size and method of the contract has a word.
	for n := range stillroomv1.JarSize_name {
		require.Equal(t, n == 0, words.Jar(stillroomv1.JarSize(n)) == "")
	}
	for n := range stillroomv1.ProcessMethod_name {
		require.Equal(t, n == 0, words.Method(stillroomv1.ProcessMethod(n)) == "")
	}
}

func TestClockAndAltitude(t *testing.T) {
	t.Parallel()
	denver, err := time.LoadLocation("America/Denver")
	require.NoError(t, err)
	at := time.Date(2027, 8, 21, 15, 0, 0, 0, time.UTC)
	require.Equal(t, "09:00", words.Clock(timestamppb.New(at), denver))
	require.Equal(t, "–", words.Clock(nil, denver))
	require.Equal(t, "Sat 21 Aug 2027", words.Day(at, denver))
	require.Equal(t, "1,655 m (5,430 ft)", words.Altitude(&stillroomv1.Altitude{Metres: 1655.064}))
	require.Equal(t, "1 pint jar", words.Jars(1, stillroomv1.JarSize_JAR_SIZE_PINT))
}
