// Package words says what the contract holds as people write it, for pages and for sheets alike.
package words

import (
	"fmt"
	"math"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// Last is the last segment of a resource name.
func Last(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// minorDigits are the decimals of currencies that do not have two (ISO 4217).
var minorDigits = map[string]int{
	"BIF": 0, "CLP": 0, "DJF": 0, "GNF": 0, "ISK": 0, "JPY": 0, "KMF": 0, "KRW": 0, "PYG": 0, "RWF": 0, "UGX": 0, "UYI": 0, "VND": 0,
	"VUV": 0, "XAF": 0, "XOF": 0, "XPF": 0, "BHD": 3, "IQD": 3, "JOD": 3, "KWD": 3, "LYD": 3, "OMR": 3, "TND": 3,
}

// Money is an amount with its currency: "61.28 USD".
func Money(m *stillroomv1.Money) string {
	if m == nil {
		return ""
	}
	digits, ok := minorDigits[m.GetCurrencyCode()]
	if !ok {
		digits = 2
	}
	sign, units := "", m.GetMinorUnits()
	if units < 0 {
		sign, units = "−", -units
	}
	text := fmt.Sprintf("%0*d", digits+1, units)
	if digits > 0 {
		text = text[:len(text)-digits] + "." + text[len(text)-digits:]
	}
	return sign + text + " " + m.GetCurrencyCode()
}

var jars = map[stillroomv1.JarSize]string{
	stillroomv1.JarSize_JAR_SIZE_HALF_PINT: "half-pint", stillroomv1.JarSize_JAR_SIZE_PINT: "pint", stillroomv1.JarSize_JAR_SIZE_QUART: "quart",
	stillroomv1.JarSize_JAR_SIZE_ML_250: "250 ml", stillroomv1.JarSize_JAR_SIZE_ML_500: "500 ml", stillroomv1.JarSize_JAR_SIZE_L_1: "1 l",
	stillroomv1.JarSize_JAR_SIZE_TWELVE_OUNCE: "12 oz", stillroomv1.JarSize_JAR_SIZE_HALF_GALLON: "half-gallon",
	stillroomv1.JarSize_JAR_SIZE_FOUR_OUNCE: "4 oz", stillroomv1.JarSize_JAR_SIZE_ONE_AND_HALF_PINT: "1½ pint",
	stillroomv1.JarSize_JAR_SIZE_TWENTY_FOUR_OUNCE: "24 oz", stillroomv1.JarSize_JAR_SIZE_TWENTY_EIGHT_OUNCE: "28 oz",
}

// Jar is a size of jar.
func Jar(s stillroomv1.JarSize) string { return jars[s] }

// Jars is a number of jars of a size: "9 half-pint jars".
func Jars(n any, s stillroomv1.JarSize) string {
	return Count(n, strings.TrimSpace(Jar(s)+" jar"), strings.TrimSpace(Jar(s)+" jars"))
}

// Count is a number with its word: Count(1, "place", "places").
func Count(n any, one, many string) string {
	word := many
	if fmt.Sprint(n) == "1" {
		word = one
	}
	return strings.TrimSpace(fmt.Sprintf("%v %s", n, word))
}

// feetPerMetre is the international foot's, exactly 0.3048 m.
const feetPerMetre = 1 / 0.3048

// Altitude is a height in both units: "1,655 m (5,430 ft)".
func Altitude(a *stillroomv1.Altitude) string {
	if a == nil {
		return ""
	}
	return fmt.Sprintf("%s m (%s ft)", thousands(a.GetMetres()), thousands(a.GetMetres()*feetPerMetre))
}

func thousands(f float64) string {
	s := fmt.Sprintf("%.0f", f)
	if at := len(s) - 3; at > 0 && s[at-1] != '-' {
		s = s[:at] + "," + s[at:]
	}
	return s
}

// Method is a way of processing: "boiling water".
func Method(m stillroomv1.ProcessMethod) string {
	switch m {
	case stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER:
		return "boiling water"
	case stillroomv1.ProcessMethod_PROCESS_METHOD_ATMOSPHERIC_STEAM:
		return "atmospheric steam"
	case stillroomv1.ProcessMethod_PROCESS_METHOD_PRESSURE_DIAL:
		return "pressure, dial gauge"
	case stillroomv1.ProcessMethod_PROCESS_METHOD_PRESSURE_WEIGHTED:
		return "pressure, weighted gauge"
	default:
		return ""
	}
}

// Process is a load's process: "boiling water, 15 min, at 1,001-6,000 ft".
func Process(p *stillroomv1.LoadProcess) string {
	if p == nil {
		return ""
	}
	text := fmt.Sprintf("%s, %d min", Method(p.GetMethod()), p.GetMinutes())
	if p.GetPressurePounds() > 0 {
		text += fmt.Sprintf(" at %d lb", p.GetPressurePounds())
	}
	if p.GetAltitudeBand() != "" {
		text += ", at " + p.GetAltitudeBand()
	}
	return text
}

// Source is a publication with the place in it.
func Source(s *stillroomv1.Source) string {
	return strings.TrimPrefix(strings.TrimSuffix(s.GetPublication()+", "+s.GetLocator(), ", "), ", ")
}

// Clock is a time of day by the clock of a site: "09:30"; a dash when it is not known.
func Clock(t *timestamppb.Timestamp, zone *time.Location) string {
	if t == nil {
		return "–"
	}
	return t.AsTime().In(zone).Format("15:04")
}

// Day is a date with its day of the week: "Sat 5 Dec 2026".
func Day(t time.Time, zone *time.Location) string { return t.In(zone).Format("Mon 2 Jan 2006") }

// Inches is a printed length with its metric counterpart, in the eighths that rulers have: "1/4 in (6 mm)".
func Inches(in float64) string {
	eighths := math.Round(in * 8)
	text := fmt.Sprintf("%g in", in)
	if math.Abs(in*8-eighths) < 1e-9 {
		whole, part, of := int(eighths)/8, int(eighths)%8, 8
		for part > 0 && part%2 == 0 {
			part, of = part/2, of/2
		}
		switch {
		case part == 0:
			text = fmt.Sprintf("%d in", whole)
		case whole == 0:
			text = fmt.Sprintf("%d/%d in", part, of)
		default:
			text = fmt.Sprintf("%d-%d/%d in", whole, part, of)
		}
	}
	return fmt.Sprintf("%s (%.0f mm)", text, in*25.4)
}
