package measure

import (
	"math/big"
	"slices"
	"strconv"
	"strings"
)

// Number is an exact rational. The zero value is 0. Numbers are immutable.
type Number struct{ r *big.Rat }

var zeroRat = new(big.Rat)

func (n Number) rat() *big.Rat {
	if n.r == nil {
		return zeroRat
	}
	return n.r
}

// Int is the whole number i.
func Int(i int64) Number { return Number{new(big.Rat).SetInt64(i)} }

// Ratio is num/den; den must not be 0.
func Ratio(num, den int64) Number { return Number{big.NewRat(num, den)} }

// Decimal reads a plain decimal such as "0.45359237" or "-12"; no exponent, at most 40 characters.
// Text people type goes through [ParseAmount] instead.
func Decimal(s string) (Number, error) {
	ok := len(s) > 0 && len(s) <= 40
	digits := 0
	for i := 0; ok && i < len(s); i++ {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
			digits++
		case c == '.', (c == '-' || c == '+') && i == 0:
		default:
			ok = false
		}
	}
	if ok && digits > 0 {
		if r, read := new(big.Rat).SetString(s); read {
			return Number{r}, nil
		}
	}
	return Number{}, wrong("number", s, "is not a decimal number", "write it like 12.5")
}

// MustDecimal is Decimal for constants in code; it panics on what is not a decimal.
func MustDecimal(s string) Number {
	n, err := Decimal(s)
	if err != nil {
		panic(err)
	}
	return n
}

// FromFloat is the number a float64 is written as: the shortest decimal that reads back as f.
// So 304.8 becomes exactly 3048/10, which is what was meant. f must be finite.
func FromFloat(f float64) (Number, error) {
	r, ok := new(big.Rat).SetString(strconv.FormatFloat(f, 'f', -1, 64))
	if !ok {
		return Number{}, wrong("number", strconv.FormatFloat(f, 'g', -1, 64), "is not a finite number", "give an ordinary number")
	}
	return Number{r}, nil
}

// Add is n + m.
func (n Number) Add(m Number) Number { return Number{new(big.Rat).Add(n.rat(), m.rat())} }

// Sub is n - m.
func (n Number) Sub(m Number) Number { return Number{new(big.Rat).Sub(n.rat(), m.rat())} }

// Mul is n * m.
func (n Number) Mul(m Number) Number { return Number{new(big.Rat).Mul(n.rat(), m.rat())} }

// Div is n / m; m must not be 0.
func (n Number) Div(m Number) Number { return Number{new(big.Rat).Quo(n.rat(), m.rat())} }

// Neg is -n.
func (n Number) Neg() Number { return Number{new(big.Rat).Neg(n.rat())} }

// Cmp is -1, 0 or +1 as n is below, equal to or above m.
func (n Number) Cmp(m Number) int { return n.rat().Cmp(m.rat()) }

// Less says n < m.
func (n Number) Less(m Number) bool { return n.Cmp(m) < 0 }

// Equal says n == m.
func (n Number) Equal(m Number) bool { return n.Cmp(m) == 0 }

// Sign is -1, 0 or +1.
func (n Number) Sign() int { return n.rat().Sign() }

// IsZero says n is 0.
func (n Number) IsZero() bool { return n.Sign() == 0 }

// IsInt says n is a whole number.
func (n Number) IsInt() bool { return n.rat().IsInt() }

// Float64 is the nearest float64.
func (n Number) Float64() float64 {
	f, _ := n.rat().Float64()
	return f
}

// Ceil is the smallest whole number not below n.
func (n Number) Ceil() Number {
	r := n.rat()
	if r.IsInt() {
		return n
	}
	whole, rest := new(big.Int).QuoRem(r.Num(), r.Denom(), new(big.Int))
	if rest.Sign() > 0 {
		whole.Add(whole, big.NewInt(1))
	}
	return Number{new(big.Rat).SetInt(whole)}
}

// Floor is the largest whole number not above n.
func (n Number) Floor() Number { return n.Neg().Ceil().Neg() }

// CeilTo is the smallest multiple of step (above 0) that is not below n.
func (n Number) CeilTo(step Number) Number {
	q := new(big.Rat).Quo(n.rat(), step.rat())
	whole, rest := new(big.Int).QuoRem(q.Num(), q.Denom(), new(big.Int))
	if rest.Sign() > 0 {
		whole.Add(whole, big.NewInt(1))
	}
	return Number{new(big.Rat).Mul(new(big.Rat).SetInt(whole), step.rat())}
}

// Int64 is n as an int64 when it is whole and fits.
func (n Number) Int64() (int64, bool) {
	if !n.rat().IsInt() || !n.rat().Num().IsInt64() {
		return 0, false
	}
	return n.rat().Num().Int64(), true
}

// Exact is n as a decimal when it ends ("1.25"), else as a fraction ("1/3"); [ParseExact] reads it back.
func (n Number) Exact() string {
	r := n.rat()
	if places, ends := r.FloatPrec(); ends {
		return r.FloatString(places)
	}
	return r.String()
}

// ParseExact reads what Exact writes.
func ParseExact(s string) (Number, error) {
	num, den, isFraction := strings.Cut(s, "/")
	if !isFraction {
		return Decimal(s)
	}
	a, errA := Decimal(num)
	b, errB := Decimal(den)
	if errA != nil || errB != nil || b.IsZero() {
		return Number{}, wrong("number", s, "is not a fraction", "write it like 1/3")
	}
	return a.Div(b), nil
}

// Decimal is n rounded half away from zero to at most places decimals, without trailing zeros.
func (n Number) Decimal(places int) string {
	s := n.rat().FloatString(places)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		s = "0"
	}
	return s
}

// cookDenominators are the fractions found on spoons, cups and in printed recipes.
var cookDenominators = []int64{2, 3, 4, 8, 16}

// String is n as recipes print it where it has a spoon-and-cup fraction ("1-1/2", "3/4"),
// otherwise a decimal of at most four places.
func (n Number) String() string {
	if n.IsInt() {
		return n.rat().Num().String()
	}
	sign, abs := "", n
	if n.Sign() < 0 {
		sign, abs = "-", n.Neg()
	}
	// A rational is kept in lowest terms, so it has a spoon-and-cup fraction when its denominator is one.
	if d := abs.rat().Denom(); d.IsInt64() && slices.Contains(cookDenominators, d.Int64()) {
		whole := abs.Floor()
		part := abs.Sub(whole).rat().String()
		if whole.IsZero() {
			return sign + part
		}
		return sign + whole.rat().Num().String() + "-" + part
	}
	return n.Decimal(4)
}
