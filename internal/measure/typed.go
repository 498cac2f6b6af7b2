package measure

import "fmt"

// Grams is an exact mass.
type Grams struct{ n Number }

// NewGrams is n grams.
func NewGrams(n Number) Grams { return Grams{n} }

// Number is the mass in grams.
func (g Grams) Number() Number { return g.n }

// Float64 is the mass in grams, rounded to a float64.
func (g Grams) Float64() float64 { return g.n.Float64() }

// Add is g + h.
func (g Grams) Add(h Grams) Grams { return Grams{g.n.Add(h.n)} }

// Sub is g - h.
func (g Grams) Sub(h Grams) Grams { return Grams{g.n.Sub(h.n)} }

// Times is the mass k times over.
func (g Grams) Times(k Number) Grams { return Grams{g.n.Mul(k)} }

// Over is the mass divided by k (not 0), e.g. by a yield.
func (g Grams) Over(k Number) Grams { return Grams{g.n.Div(k)} }

// Cmp orders masses.
func (g Grams) Cmp(h Grams) int { return g.n.Cmp(h.n) }

// Quantity is the mass as a quantity in grams.
func (g Grams) Quantity() Quantity { return Quantity{Amount: One(g.n), Unit: Gram} }

// String is the mass for a cook, rounded up: "850 g", "1.3 kg".
func (g Grams) String() string { return g.Quantity().Metric() }

// Millilitres is an exact volume.
type Millilitres struct{ n Number }

// NewMillilitres is n millilitres.
func NewMillilitres(n Number) Millilitres { return Millilitres{n} }

// Number is the volume in millilitres.
func (v Millilitres) Number() Number { return v.n }

// Float64 is the volume in millilitres, rounded to a float64.
func (v Millilitres) Float64() float64 { return v.n.Float64() }

// Add is v + w.
func (v Millilitres) Add(w Millilitres) Millilitres { return Millilitres{v.n.Add(w.n)} }

// Sub is v - w.
func (v Millilitres) Sub(w Millilitres) Millilitres { return Millilitres{v.n.Sub(w.n)} }

// Times is the volume k times over.
func (v Millilitres) Times(k Number) Millilitres { return Millilitres{v.n.Mul(k)} }

// Cmp orders volumes.
func (v Millilitres) Cmp(w Millilitres) int { return v.n.Cmp(w.n) }

// Quantity is the volume as a quantity in millilitres.
func (v Millilitres) Quantity() Quantity { return Quantity{Amount: One(v.n), Unit: Millilitre} }

// String is the volume for a cook, rounded up: "240 ml", "1.2 l".
func (v Millilitres) String() string { return v.Quantity().Metric() }

// Minutes is a whole number of minutes, as process tables print them.
type Minutes int

// String is e.g. "15 min".
func (m Minutes) String() string { return fmt.Sprintf("%d min", int(m)) }

// Feet is a whole number of feet, as altitude bands are printed.
type Feet int

// String is e.g. "1,001 ft".
func (f Feet) String() string { return groupThousands(int64(f)) + " ft" }

// Metres is a length for physics; an altitude is an [Altitude].
type Metres float64

// Inches is a headspace or a depth of water. Printed values are eighths, which a float64 holds exactly.
type Inches float64

// String is e.g. "1/2 in" or "1-1/4 in".
func (i Inches) String() string {
	n, err := FromFloat(float64(i))
	if err != nil {
		return "unknown"
	}
	return n.String() + " in"
}

// Celsius is a temperature in degrees Celsius.
type Celsius float64

// Kelvin is the same temperature in kelvin.
func (c Celsius) Kelvin() Kelvin { return Kelvin(c + 273.15) }

// Fahrenheit is the same temperature in degrees Fahrenheit.
func (c Celsius) Fahrenheit() Fahrenheit { return Fahrenheit(c*9/5 + 32) }

// String is e.g. "94.6 °C".
func (c Celsius) String() string { return fmt.Sprintf("%.1f °C", float64(c)) }

// Fahrenheit is a temperature in degrees Fahrenheit.
type Fahrenheit float64

// Celsius is the same temperature in degrees Celsius.
func (f Fahrenheit) Celsius() Celsius { return Celsius((f - 32) * 5 / 9) }

// String is e.g. "180 °F".
func (f Fahrenheit) String() string { return fmt.Sprintf("%.0f °F", float64(f)) }

// Kelvin is a temperature in kelvin.
type Kelvin float64

// Celsius is the same temperature in degrees Celsius.
func (k Kelvin) Celsius() Celsius { return Celsius(k - 273.15) }

// Pascals is an absolute pressure.
type Pascals float64

// GaugePounds is a gauge pressure in pounds per square inch, as canner tables print it.
type GaugePounds int

// String is e.g. "11 lb".
func (p GaugePounds) String() string { return fmt.Sprintf("%d lb", int(p)) }
