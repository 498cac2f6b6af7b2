package web

import (
	"fmt"
	"math"
	"strconv"
)

// Exact sizes of US customary units (NIST Handbook 44, Appendix C).
const (
	gramsPerOunce            = 28.349523125
	ouncesPerPound           = 16
	millilitresPerFluidOunce = 29.5735295625
	fluidOuncesPerCup        = 8
	fluidOuncesPerQuart      = 32
)

// amountWords is an amount in the unit of a line, to three figures or so: what makes up a
// need is shown for its size, and nobody buys by it.
func amountWords(amount float64, unit string, us bool) string {
	switch {
	case unit == "gram" && us:
		ounces := amount / gramsPerOunce
		if ounces >= ouncesPerPound {
			return figures(ounces/ouncesPerPound) + " lb"
		}
		return figures(ounces) + " oz"
	case unit == "gram" && amount >= 1000:
		return figures(amount/1000) + " kg"
	case unit == "gram":
		return figures(amount) + " g"
	case unit == "millilitre" && us:
		ounces := amount / millilitresPerFluidOunce
		switch {
		case ounces >= fluidOuncesPerQuart:
			return figures(ounces/fluidOuncesPerQuart) + " qt"
		case ounces >= fluidOuncesPerCup:
			return figures(ounces/fluidOuncesPerCup) + " cups"
		}
		return figures(ounces) + " fl oz"
	case unit == "millilitre" && amount >= 1000:
		return figures(amount/1000) + " l"
	case unit == "millilitre":
		return figures(amount) + " ml"
	case unit == "each":
		return figures(amount)
	}
	return figures(amount) + " " + unit
}

// figures is a number to three figures, whole numbers whole.
func figures(f float64) string {
	if f >= 100 || f == math.Trunc(f) {
		return strconv.FormatFloat(math.Round(f), 'f', -1, 64)
	}
	rounded, err := strconv.ParseFloat(fmt.Sprintf("%.3g", f), 64)
	if err != nil {
		return fmt.Sprint(f)
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}
