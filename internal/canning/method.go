package canning

import (
	"strings"

	"stillroom/internal/fault"
	"stillroom/internal/reference"
)

// Method is how jars are processed.
type Method string

// The methods. Atmospheric steam has no printed table: it runs by the boiling-water table where the published
// conditions hold.
const (
	BoilingWater     Method = "boiling_water"
	AtmosphericSteam Method = "atmospheric_steam"
	PressureDial     Method = "pressure_dial"
	PressureWeighted Method = "pressure_weighted"
)

// Methods are all methods.
func Methods() []Method {
	return []Method{BoilingWater, AtmosphericSteam, PressureDial, PressureWeighted}
}

// ParseMethod reads a method: its key, or words such as "water bath", "steam", "dial gauge".
func ParseMethod(s string) (Method, error) {
	switch strings.ReplaceAll(strings.ToLower(strings.TrimSpace(s)), "-", " ") {
	case "boiling_water", "boiling water", "water bath":
		return BoilingWater, nil
	case "atmospheric_steam", "atmospheric steam", "steam":
		return AtmosphericSteam, nil
	case "pressure_dial", "pressure dial", "dial", "dial gauge":
		return PressureDial, nil
	case "pressure_weighted", "pressure weighted", "weighted", "weighted gauge":
		return PressureWeighted, nil
	case "pressure":
		return "", fault.Field("method", s, "does not say which gauge; the two have tables of their own", "use pressure_dial or pressure_weighted")
	}
	return "", fault.Field("method", s, "is not a canning method we know", "use boiling_water, atmospheric_steam, pressure_dial or pressure_weighted")
}

// Name is the method in words.
func (m Method) Name() string {
	switch m {
	case BoilingWater:
		return "boiling water"
	case AtmosphericSteam:
		return "atmospheric steam"
	case PressureDial:
		return "pressure, dial gauge"
	case PressureWeighted:
		return "pressure, weighted gauge"
	}
	return string(m)
}

// IsPressure says whether the method works under pressure.
func (m Method) IsPressure() bool { return m == PressureDial || m == PressureWeighted }

// printed is the method whose table m runs by.
func (m Method) printed() (reference.Method, bool) {
	switch m {
	case BoilingWater, AtmosphericSteam:
		return reference.BoilingWater, true
	case PressureDial:
		return reference.PressureDial, true
	case PressureWeighted:
		return reference.PressureWeighted, true
	}
	return "", false
}

// ParsePack reads a pack: hot or raw, or any for food whose table prints both together.
func ParsePack(s string) (reference.Pack, error) {
	switch p := reference.Pack(strings.ToLower(strings.TrimSpace(s))); p {
	case reference.HotPack, reference.RawPack, reference.AnyPack:
		return p, nil
	}
	return "", fault.Field("pack", s, "is not a pack we know", "use hot or raw")
}
