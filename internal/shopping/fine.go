package shopping

import (
	"fmt"
	"math"
	"math/bits"
	"sync"

	"stillroom/internal/measure"
)

// Fine is a quantity in whole fine units of its dimension: 128ths of a microgram for mass, of a nanolitre for
// volume, of a millionth of a piece for counts. Ounces, pounds and teaspoons and their halves, quarters and
// eighths are whole numbers of fine units, and so is every decimal of a gram down to a microgram, so a need of
// 1-3/4 oz is met exactly by a pack of 1-3/4 oz. Sums do not depend on their order, and 10 tonnes leave room
// for six thousand times as much.
//
// Needs round up to a fine unit and contents round down, so nothing is ever short.
type Fine int64

// FinePerUnit is the fine units in one gram, one millilitre or one piece.
const FinePerUnit = 128_000_000

// mostFine is the largest need a list accepts for one thing: a thousand tonnes, cubic metres times a thousand,
// or thousand million pieces. It keeps every sum and product below within 64 bits.
const mostFine Fine = 1_000_000_000 * FinePerUnit

// grace is a tenth of a milligram (a ten-thousandth of a millilitre or of a piece). Rounding each contribution up to
// a fine unit adds less than that over thousands of them, and no kitchen scale shows it: a need of 56 oz that came
// out a few millionths of a gram above is met by 56 oz, and is called 56 oz.
const grace Fine = FinePerUnit / 10_000

var finePerUnit = measure.Int(FinePerUnit)

// finePer is the fine units in one of each unit of weight, volume and count, with the base unit it becomes: gram,
// millilitre, or the count unit itself (dozens become pieces).
var finePer = sync.OnceValue(func() map[measure.Unit]perUnitFine {
	table := map[measure.Unit]perUnitFine{}
	for _, u := range measure.Units() {
		base := u
		switch u.Dimension() {
		case measure.Mass:
			base = measure.Gram
		case measure.Volume:
			base = measure.Millilitre
		case measure.Count:
			if u == measure.Dozen {
				base = measure.Each
			}
		default:
			continue
		}
		if n, err := measure.Convert(finePerUnit, u, base); err == nil {
			table[u] = perUnitFine{n, base, n.Div(finePerUnit).Float64()}
		}
	}
	return table
})

type perUnitFine struct {
	fine measure.Number
	base measure.Unit
	// size is one of the unit in its base unit.
	size float64
}

// fineOf is a quantity's high end in fine units, and its base unit. It fails for units that measure neither weight,
// volume nor count, for amounts below zero, and for more than a list accepts.
func fineOf(q measure.Quantity, round func(measure.Number) (Fine, bool)) (Fine, measure.Unit, error) {
	per, ok := finePer()[q.Unit]
	if !ok {
		return 0, "", fmt.Errorf("%s measures neither weight, volume nor count", q.Unit)
	}
	f, ok := round(q.Amount.High.Mul(per.fine))
	if !ok {
		return 0, "", fmt.Errorf("%s is out of range", q)
	}
	return f, per.base, nil
}

// roundUp is n fine units as a need.
func roundUp(n measure.Number) (Fine, bool) {
	i, ok := n.Ceil().Int64()
	return Fine(i), ok && i >= 0 && Fine(i) <= mostFine
}

// roundDown is n fine units as a content.
func roundDown(n measure.Number) (Fine, bool) {
	i, ok := n.Floor().Int64()
	return Fine(i), ok && i >= 0 && Fine(i) <= mostFine
}

// needFine is n grams, millilitres or pieces, rounded up.
func needFine(n measure.Number) (Fine, bool) { return roundUp(n.Mul(finePerUnit)) }

// contentFine is n grams, millilitres or pieces, rounded down.
func contentFine(n measure.Number) (Fine, bool) { return roundDown(n.Mul(finePerUnit)) }

// Number is the quantity in grams, millilitres or pieces, exactly.
func (f Fine) Number() measure.Number { return measure.Ratio(int64(f), FinePerUnit) }

// Float64 is the quantity in grams, millilitres or pieces.
func (f Fine) Float64() float64 { return float64(f) / FinePerUnit }

// times is f n times over; ok is false when that is more than a list accepts.
func (f Fine) times(n int64) (Fine, bool) {
	hi, lo := bits.Mul64(uint64(f), uint64(n))
	if f < 0 || n < 0 || hi != 0 || lo > uint64(mostFine) {
		return 0, false
	}
	return Fine(lo), true
}

// share is f times part over whole, rounded up; part and whole are not negative and whole is above zero.
func (f Fine) share(part, whole int64) Fine {
	hi, lo := bits.Mul64(uint64(f), uint64(part))
	q, r := bits.Div64(hi, lo, uint64(whole))
	if r > 0 {
		q++
	}
	return Fine(q)
}

// Money is a whole number of minor units (cents) of a currency.
type Money struct {
	Minor    int64  `json:"minor"`
	Currency string `json:"currency"`
}

// String is e.g. "12.40 USD". Currencies without a minor unit of a hundredth are printed by [MinorDigits].
func (m Money) String() string {
	digits := MinorDigits(m.Currency)
	sign, n := "", m.Minor
	if n < 0 {
		sign, n = "-", -n
	}
	if digits == 0 {
		return fmt.Sprintf("%s%d %s", sign, n, m.Currency)
	}
	unit := int64(math.Pow10(digits))
	return fmt.Sprintf("%s%d.%0*d %s", sign, n/unit, digits, n%unit, m.Currency)
}

// MinorDigits is how many decimals a currency has: 2 except where ISO 4217 gives another exponent.
func MinorDigits(currency string) int {
	switch currency {
	case "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF", "XPF":
		return 0
	case "BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND":
		return 3
	}
	return 2
}

// apportion splits total into whole shares in proportion to weights, adding up to total exactly: each share is
// rounded down, and what is left goes one by one to the largest remainders, earlier entries first among equals.
// Weights are not negative; when all are zero the split is even.
func apportion(total int64, weights []int64) []int64 {
	shares := make([]int64, len(weights))
	if len(weights) == 0 {
		return shares
	}
	var sum uint64
	for _, w := range weights {
		sum += uint64(w)
	}
	even := sum == 0
	if even {
		sum = uint64(len(weights))
	}
	left := total
	rest := make([]uint64, len(weights))
	for i, w := range weights {
		if even {
			w = 1
		}
		hi, lo := bits.Mul64(uint64(total), uint64(w))
		q, r := bits.Div64(hi, lo, sum)
		shares[i], rest[i] = int64(q), r
		left -= int64(q)
	}
	for ; left > 0; left-- {
		best := -1
		for i, r := range rest {
			if r > 0 && (best < 0 || r > rest[best]) {
				best = i
			}
		}
		if best < 0 {
			best = 0
		}
		shares[best]++
		rest[best] = 0
	}
	return shares
}
