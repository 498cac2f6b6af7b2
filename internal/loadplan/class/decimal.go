package class

import (
	"errors"
	"math/big"
	"strconv"
	"strings"
)

// Decimal is an exact decimal number as written, such as "0.35" or "12"; the empty string is zero. It is kept as
// text because sums of it are rounded up: a binary fraction a hair above a whole number would cost a minute.
type Decimal string

var errDecimal = errors.New("not a decimal number")

// Rat is the exact value. It refuses anything but a decimal number of ordinary size: NaN, infinities, hexadecimal,
// fractions, and exponents that would fill the memory with digits.
func (d Decimal) Rat() (*big.Rat, error) {
	if d == "" {
		return new(big.Rat), nil
	}
	text := string(d)
	if len(text) > 40 || strings.Trim(text, "0123456789.eE+-") != "" {
		return nil, errDecimal
	}
	if at := strings.IndexAny(text, "eE"); at >= 0 {
		if exp, err := strconv.Atoi(text[at+1:]); err != nil || exp < -30 || exp > 30 {
			return nil, errDecimal
		}
	}
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		return nil, errDecimal
	}
	return r, nil
}

// MarshalJSON writes the number as it is, without quotes.
func (d Decimal) MarshalJSON() ([]byte, error) {
	if d == "" {
		return []byte("0"), nil
	}
	if _, err := d.Rat(); err != nil {
		return nil, err
	}
	return []byte(d), nil
}

// comeUpTable is ceil(base + perJar*n) for n = 0..most, of the exact sums.
func comeUpTable(base, perJar *big.Rat, most int) []int {
	table := make([]int, most+1)
	sum := new(big.Rat).Set(base)
	for n := range table {
		q, r := new(big.Int).QuoRem(sum.Num(), sum.Denom(), new(big.Int))
		table[n] = int(q.Int64())
		if r.Sign() > 0 {
			table[n]++
		}
		sum.Add(sum, perJar)
	}
	return table
}
