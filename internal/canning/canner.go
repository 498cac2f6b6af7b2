package canning

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// Canner is a vessel that takes a load of jars.
type Canner struct {
	Name    string
	Methods []Method
	// Racks says how many jars of a size fit; sizes of one trade size share a line.
	Racks  []RackSpace
	Vessel Vessel
	Burner Burner
	// Record holds observed come-ups; three or more of them win over physics.
	Record []Observation
}

// RackSpace is how many jars of a size a canner holds at once.
type RackSpace struct {
	Jar  JarSize
	Jars int
}

// Material is what a vessel is made of.
type Material string

// The usual materials of canners.
const (
	EnamelledSteel Material = "enamelled_steel"
	StainlessSteel Material = "stainless_steel"
	Aluminium      Material = "aluminium"
)

// specificHeat is in J/(kg K), from the thermal facts; ok is false for an unknown material.
func (m Material) specificHeat() (cp float64, ok bool) {
	switch m {
	case EnamelledSteel:
		return 1000 * reference.MustFigure("cp_mild_steel"), true
	case StainlessSteel:
		return 1000 * reference.MustFigure("cp_stainless_steel_austenitic"), true
	case Aluminium:
		return 1000 * reference.MustFigure("cp_aluminium"), true
	}
	return 0, false
}

// Vessel is the pot itself.
type Vessel struct {
	// Litres is the brimful volume.
	Litres float64
	// DiameterMetres is the inner diameter.
	DiameterMetres float64
	// Kilograms is the mass with lid and rack.
	Kilograms float64
	Material  Material
}

// StandardVessel is the usual seven-quart enamelled canner. Volume and mass are general trade knowledge
// (thermal facts canner_volume_7qt_class and canner_mass_7qt_enamel); the diameter is common practice.
func StandardVessel() Vessel {
	quart := Quart.Volume().Float64() / 1000
	return Vessel{
		Litres:         reference.MustFigure("canner_volume_7qt_class") * quart,
		DiameterMetres: 0.33,
		Kilograms:      reference.MustFigure("canner_mass_7qt_enamel"),
		Material:       EnamelledSteel,
	}
}

// BurnerKind is how a burner heats.
type BurnerKind string

// The kinds of burner.
const (
	GasBurner       BurnerKind = "gas"
	ElectricBurner  BurnerKind = "electric"
	InductionBurner BurnerKind = "induction"
)

// Watts is a power.
type Watts float64

// Burner is what the canner stands on.
type Burner struct {
	Kind BurnerKind
	// Rated is the power put in; for gas the heat input.
	Rated Watts
}

// efficiencyFact is the published share of the input that reaches the pot. Where sources disagree it is the
// lowest, which gives the longest time.
func (k BurnerKind) efficiencyFact() (fact reference.Fact, ok bool) {
	switch k {
	case GasBurner:
		return reference.MustFact("efficiency_gas_energy_star"), true
	case ElectricBurner:
		return reference.MustFact("efficiency_electric_doe"), true
	case InductionBurner:
		return reference.MustFact("efficiency_induction_measured_small_pan"), true
	}
	return reference.Fact{}, false
}

// Effective is the power that reaches the pot.
func (b Burner) Effective() (Watts, error) {
	f, ok := b.Kind.efficiencyFact()
	if !ok {
		return 0, fault.Field("burner.kind", string(b.Kind), "is not a kind of burner we know", "use gas, electric or induction")
	}
	share, err := f.Float64()
	return b.Rated * Watts(share), err
}

// Limits of what a canner and its record can be; outside them a figure is a slip of the keyboard.
const (
	mostJarsInCanner    = 200
	mostVesselLitres    = 500
	mostVesselDiameter  = 2
	mostVesselKilograms = 200
	mostBurnerWatts     = 50_000
	// longestComeUp is in minutes.
	longestComeUp = 240
)

// Check reports every field of the canner that cannot be, as one Invalid fault.
func (c Canner) Check() error {
	var v fault.Collector
	if len(c.Methods) == 0 {
		v.Add("methods", "", "are missing", "name at least one method, such as boiling_water")
	}
	for i, m := range c.Methods {
		if _, ok := m.printed(); !ok {
			v.Add(fmt.Sprintf("methods[%d]", i), string(m), "is not a canning method we know", "use boiling_water, atmospheric_steam, pressure_dial or pressure_weighted")
		}
	}
	if len(c.Racks) == 0 {
		v.Add("racks", "", "are missing", "say how many jars of at least one size the canner holds")
	}
	seen := map[JarSize]bool{}
	for i, r := range c.Racks {
		field := fmt.Sprintf("racks[%d]", i)
		switch trade := r.Jar.Trade(); {
		case !r.Jar.Known():
			v.Add(field+".jar", string(r.Jar), "is not a jar size we know", "use one of "+joinSizes(JarSizes()))
		case seen[trade]:
			v.Add(field+".jar", string(r.Jar), "is given twice (metric jars share the line of their US size)", "keep one line for each size")
		default:
			seen[trade] = true
		}
		if r.Jars < 1 || r.Jars > mostJarsInCanner {
			v.Add(field+".jars", strconv.Itoa(r.Jars), "is not a number of jars a canner holds", fmt.Sprintf("give 1 to %d", mostJarsInCanner))
		}
	}
	positive := func(field string, value, most float64, unit string) {
		if !(value > 0) || value > most {
			v.Add(field, strconv.FormatFloat(value, 'g', -1, 64), "is not possible", fmt.Sprintf("give more than 0 and at most %g %s", most, unit))
		}
	}
	positive("vessel.litres", c.Vessel.Litres, mostVesselLitres, "litres")
	positive("vessel.diameter_metres", c.Vessel.DiameterMetres, mostVesselDiameter, "metres")
	positive("vessel.kilograms", c.Vessel.Kilograms, mostVesselKilograms, "kilograms")
	if _, ok := c.Vessel.Material.specificHeat(); !ok {
		v.Add("vessel.material", string(c.Vessel.Material), "is not a material we know", "use enamelled_steel, stainless_steel or aluminium")
	}
	if _, ok := c.Burner.Kind.efficiencyFact(); !ok {
		v.Add("burner.kind", string(c.Burner.Kind), "is not a kind of burner we know", "use gas, electric or induction")
	}
	positive("burner.rated", float64(c.Burner.Rated), mostBurnerWatts, "watts")
	for i, o := range c.Record {
		field := fmt.Sprintf("record[%d].", i)
		v.AddErr(field, o.check(c))
	}
	return v.Err()
}

// Supports says whether the canner can run a method.
func (c Canner) Supports(m Method) bool { return slices.Contains(c.Methods, m) }

// Holds is how many jars of a size fit at once: what is given for its trade size, else what is given for the
// next larger size, since a smaller jar needs no more room; 0 when nothing given is as large.
func (c Canner) Holds(jar JarSize) int {
	most := 0
	var next JarSize
	for _, r := range c.Racks {
		given := r.Jar.Trade()
		if given == jar.Trade() {
			return r.Jars
		}
		if CompareJars(given, jar.Trade()) > 0 && (next == "" || CompareJars(given, next) < 0) {
			next, most = given, r.Jars
		}
	}
	return most
}

// TooSmallForPressure says whether a canner for pressure is below the published least size, and cites it.
func (c Canner) TooSmallForPressure() (reference.Fact, bool) {
	rule := reference.MustFact("pressure_canner_min_size")
	least := int(reference.MustFigure("pressure_canner_min_size"))
	return rule, slices.ContainsFunc(c.Methods, Method.IsPressure) && c.Holds(Quart) < least
}

// crossSection is the inner area of the vessel in square metres.
func (v Vessel) crossSection() float64 { return math.Pi / 4 * v.DiameterMetres * v.DiameterMetres }

// outerArea is the wall and the lid in square metres, for heat lost to the room.
func (v Vessel) outerArea() float64 {
	height := v.Litres / 1000 / v.crossSection()
	return math.Pi*v.DiameterMetres*height + v.crossSection()
}

// Observation is one come-up a kitchen timed, from lid on to the boil (for pressure and steam, to a steady flow
// of steam).
type Observation struct {
	Load    HeatLoad
	Minutes float64
}

func (o Observation) check(c Canner) error {
	var v fault.Collector
	v.AddErr("", o.Load.check(c))
	if !(o.Minutes > 0) || o.Minutes > longestComeUp {
		v.Add("minutes", strconv.FormatFloat(o.Minutes, 'g', -1, 64), "is not a possible come-up", fmt.Sprintf("give more than 0 and at most %d minutes", longestComeUp))
	}
	return v.Err()
}

// HeatLoad is what has to come to the boil.
type HeatLoad struct {
	Method Method
	Jar    JarSize
	Pack   reference.Pack
	// Jars may be 0: the canner with its water alone.
	Jars     int
	Altitude measure.Altitude
	// Water is the temperature of the canner's water when the jars go in; nil means the published preheat for
	// the pack.
	Water *measure.Celsius
	// Room is the air temperature; nil means 20 °C.
	Room *measure.Celsius
}

func (l HeatLoad) check(c Canner) error {
	var v fault.Collector
	if _, ok := l.Method.printed(); !ok || !c.Supports(l.Method) {
		v.Add("method", string(l.Method), "is not a method of this canner", "use one of the canner's methods")
	}
	if _, err := ParsePack(string(l.Pack)); err != nil {
		v.AddErr("", err)
	}
	switch most := c.Holds(l.Jar); {
	case !l.Jar.Known():
		v.Add("jar", string(l.Jar), "is not a jar size we know", "use one of "+joinSizes(JarSizes()))
	case most == 0:
		v.Add("jar", string(l.Jar), "does not fit this canner", "use a size the canner has a rack for")
	case l.Jars < 0 || l.Jars > most:
		v.Add("jars", strconv.Itoa(l.Jars), "is more than the canner holds", fmt.Sprintf("give 0 to %d", most))
	}
	for _, given := range []struct {
		field string
		t     *measure.Celsius
	}{{"water", l.Water}, {"room", l.Room}} {
		if given.t != nil && (!(*given.t >= 0) || *given.t > 100) {
			v.Add(given.field, given.t.String(), "is not a possible temperature", "give 0 °C to 100 °C")
		}
	}
	return v.Err()
}
