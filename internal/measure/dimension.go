package measure

// Dimension is what a unit measures. Units of different dimensions never convert.
type Dimension int

// The dimensions of the registered units; the base unit of each is in parentheses.
const (
	// Unknown is the dimension of what is not a registered unit.
	Unknown Dimension = iota
	// Mass (gram).
	Mass
	// Volume (millilitre).
	Volume
	// Count units have a name and no size; only each and dozen convert into one another.
	Count
	// Length (metre).
	Length
	// Area (square metre).
	Area
	// Temperature (kelvin), a reading on a scale; converts with an offset.
	Temperature
	// TemperatureDifference (kelvin), a step between two readings.
	TemperatureDifference
	// Time (second).
	Time
	// Pressure (pascal).
	Pressure
	// Energy (joule).
	Energy
	// Power (watt).
	Power
	// HeatFlux (watt per square metre).
	HeatFlux
	// HeatTransfer (watt per square metre and kelvin).
	HeatTransfer
	// SpecificHeat (kilojoule per kilogram and kelvin).
	SpecificHeat
)

var dimensionNames = [...]string{
	Unknown: "unknown", Mass: "mass", Volume: "volume", Count: "count", Length: "length", Area: "area",
	Temperature: "temperature", TemperatureDifference: "temperature difference", Time: "time",
	Pressure: "pressure", Energy: "energy", Power: "power", HeatFlux: "heat flux",
	HeatTransfer: "heat transfer coefficient", SpecificHeat: "specific heat",
}

// String is the dimension in plain words.
func (d Dimension) String() string {
	if d < 0 || int(d) >= len(dimensionNames) {
		return dimensionNames[Unknown]
	}
	return dimensionNames[d]
}
