package canning

import (
	"math"

	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// saturation holds the coefficients n1 to n10 of the saturation line (region 4) of IAPWS-IF97, at index 1 to 10.
var saturation = [11]float64{
	1: reference.MustFigure("if97_region4_n1"), 2: reference.MustFigure("if97_region4_n2"),
	3: reference.MustFigure("if97_region4_n3"), 4: reference.MustFigure("if97_region4_n4"),
	5: reference.MustFigure("if97_region4_n5"), 6: reference.MustFigure("if97_region4_n6"),
	7: reference.MustFigure("if97_region4_n7"), 8: reference.MustFigure("if97_region4_n8"),
	9: reference.MustFigure("if97_region4_n9"), 10: reference.MustFigure("if97_region4_n10"),
}

const pascalsPerMegapascal = 1e6

// SaturationPressure is the pressure at which water boils at a temperature between 273.15 K and 647.096 K
// (IAPWS R7-97(2012), equation 30).
func SaturationPressure(t measure.Kelvin) measure.Pascals {
	n := saturation
	v := float64(t) + n[9]/(float64(t)-n[10])
	a := v*v + n[1]*v + n[2]
	b := n[3]*v*v + n[4]*v + n[5]
	c := n[6]*v*v + n[7]*v + n[8]
	return measure.Pascals(math.Pow(2*c/(-b+math.Sqrt(b*b-4*a*c)), 4) * pascalsPerMegapascal)
}

// SaturationTemperature is the temperature at which water boils under a pressure between 611.213 Pa and
// 22.064 MPa (IAPWS R7-97(2012), equation 31).
func SaturationTemperature(p measure.Pascals) measure.Kelvin {
	n := saturation
	beta := math.Pow(float64(p)/pascalsPerMegapascal, 0.25)
	e := beta*beta + n[3]*beta + n[6]
	f := n[1]*beta*beta + n[4]*beta + n[7]
	g := n[2]*beta*beta + n[5]*beta + n[8]
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	return measure.Kelvin((n[10] + d - math.Sqrt((n[10]+d)*(n[10]+d)-4*(n[9]+n[10]*d))) / 2)
}
