package measure

import (
	"strconv"
	"strings"
)

// Altitude is a height above sea level. It is held exactly in metres, and compared exactly with the whole
// feet that process tables print.
type Altitude struct{ metres Number }

// Lowest and highest altitude anyone can teach at: the Dead Sea shore is about -430 m, Everest's top 8,849 m.
const (
	LowestMetres  = -430
	HighestMetres = 9000
)

const altitudeWayOut = "give metres or feet, like 1600 m or 5,280 ft, between -430 m and 9,000 m"

// AltitudeInMetres is the altitude of n metres. It fails below -430 m or above 9,000 m.
func AltitudeInMetres(n Number) (Altitude, error) {
	if n.Less(Int(LowestMetres)) || Int(HighestMetres).Less(n) {
		return Altitude{}, wrong("altitude", n.Decimal(2)+" m", "is not the altitude of a place on land", altitudeWayOut)
	}
	return Altitude{n}, nil
}

// AltitudeInFeet is the altitude of n feet of exactly 0.3048 m. It fails as AltitudeInMetres does.
func AltitudeInFeet(n Number) (Altitude, error) {
	a, err := AltitudeInMetres(n.Mul(footMetre))
	if err != nil {
		return Altitude{}, wrong("altitude", n.Decimal(2)+" ft", "is not the altitude of a place on land", altitudeWayOut)
	}
	return a, nil
}

// AltitudeFromFloat is the altitude of metres as a wire or a database gives them: 304.8 means exactly 304.8.
func AltitudeFromFloat(metres float64) (Altitude, error) {
	n, err := FromFloat(metres)
	if err != nil {
		return Altitude{}, wrong("altitude", strconv.FormatFloat(metres, 'g', -1, 64), "is not a number", altitudeWayOut)
	}
	return AltitudeInMetres(n)
}

// ParseAltitude reads metres or feet: "1600 m", "5,280 ft", "1.6 km", "1 mi", "-50 m". The unit is
// required, because 1,000 m and 1,000 ft are different processes.
func ParseAltitude(s string) (Altitude, error) {
	trimmed := strings.TrimSpace(s)
	negative := false
	for _, sign := range []string{"-", "−", "+"} {
		if rest, ok := strings.CutPrefix(trimmed, sign); ok {
			trimmed, negative = strings.TrimSpace(rest), sign != "+"
			break
		}
	}
	r, err := newReader("altitude", trimmed)
	if err != nil {
		return Altitude{}, wrong("altitude", s, err.(*Error).Reason, altitudeWayOut)
	}
	n, err := r.number()
	if err != nil {
		return Altitude{}, wrong("altitude", s, err.(*Error).Reason, altitudeWayOut)
	}
	unit, err := altitudeUnit(r.rest)
	if err != nil {
		return Altitude{}, wrong("altitude", s, err.(*Error).Reason, altitudeWayOut)
	}
	if negative {
		n = n.Neg()
	}
	metres, err := Convert(n, unit, Metre)
	if err != nil {
		return Altitude{}, err
	}
	a, err := AltitudeInMetres(metres)
	if err != nil {
		return Altitude{}, wrong("altitude", s, "is not the altitude of a place on land", altitudeWayOut)
	}
	return a, nil
}

func altitudeUnit(s string) (Unit, error) {
	s = strings.TrimSpace(s)
	lower := strings.ToLower(s)
	for _, tail := range []string{"above sea level", "asl"} {
		lower = strings.TrimSpace(strings.TrimSuffix(lower, tail))
	}
	if lower == "" {
		return "", wrong("altitude", s, "has no unit", altitudeWayOut)
	}
	u, err := ParseUnit(lower)
	switch {
	case err != nil:
		return "", wrong("altitude", s, "has a unit we do not know", altitudeWayOut)
	case u == Metre || u == Foot || u == Mile || u == "kilometre":
		return u, nil
	}
	return "", wrong("altitude", s, "is not in metres, kilometres, feet or miles", altitudeWayOut)
}

// Metres is the altitude in metres, exactly.
func (a Altitude) Metres() Number { return a.metres }

// Feet is the altitude in feet, exactly.
func (a Altitude) Feet() Number { return a.metres.Div(footMetre) }

// Above says whether the altitude is above a printed number of feet: 1,000.5 ft is above 1,000 ft.
func (a Altitude) Above(f Feet) bool { return a.metres.Cmp(Int(int64(f)).Mul(footMetre)) > 0 }

// Cmp orders altitudes.
func (a Altitude) Cmp(b Altitude) int { return a.metres.Cmp(b.metres) }

// String gives both, metres first, rounded up in feet so that a band's end is not hidden:
// "1,609.3 m (5,280 ft)".
func (a Altitude) String() string {
	return grouped(a.metres.Decimal(1)) + " m (" + grouped(a.Feet().CeilTo(Ratio(1, 10)).Decimal(1)) + " ft)"
}

func groupThousands(n int64) string { return grouped(strconv.FormatInt(n, 10)) }

// grouped puts thousands marks into the whole part of a decimal.
func grouped(s string) string {
	whole, fraction, hasPoint := strings.Cut(s, ".")
	sign := ""
	if strings.HasPrefix(whole, "-") {
		sign, whole = "-", whole[1:]
	}
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if hasPoint {
		whole += "." + fraction
	}
	return sign + whole
}
