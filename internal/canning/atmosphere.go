package canning

import (
	"math"

	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// Constants of the US Standard Atmosphere 1976 (the same as ISO 2533 below 11 km), from the thermal facts.
var (
	seaLevelPressure    = reference.MustFigure("isa_p0")           // Pa
	seaLevelTemperature = reference.MustFigure("isa_t0")           // K
	lapseRate           = reference.MustFigure("isa_lapse_rate")   // K/m
	earthRadius         = reference.MustFigure("isa_earth_radius") // m
	// pressureExponent is g0*M/(R*L); the constants are those of the model, not today's.
	pressureExponent = reference.MustFigure("isa_g0") * reference.MustFigure("isa_m0") / (reference.MustFigure("isa_gas_constant") * lapseRate)
)

// GeopotentialHeight is the height at which the model's uniform gravity gives the potential of a geometric
// height z: r*z/(r+z).
func GeopotentialHeight(z measure.Metres) measure.Metres {
	return measure.Metres(earthRadius * float64(z) / (earthRadius + float64(z)))
}

// StandardPressure is the standard atmosphere's pressure at a geopotential height below 11 km.
func StandardPressure(h measure.Metres) measure.Pascals {
	return measure.Pascals(seaLevelPressure * math.Pow(1-lapseRate*float64(h)/seaLevelTemperature, pressureExponent))
}

// PressureAt is the standard pressure at a site. Weather moves the real one by about two percent.
func PressureAt(a measure.Altitude) measure.Pascals {
	return StandardPressure(GeopotentialHeight(measure.Metres(a.Metres().Float64())))
}

// BoilingPoint is the temperature at which water boils at a site under the standard pressure.
func BoilingPoint(a measure.Altitude) measure.Celsius {
	// A site lies between -430 m and 9,000 m, far inside the range of the saturation line.
	return SaturationTemperature(PressureAt(a)).Celsius()
}
