package canning

import (
	"fmt"
	"math"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// Balance is a lumped energy balance: everything in the canner is one body at one temperature, heated by the
// burner and cooled by the room,
//
//	C dT/dt = P - K (T - Troom)
//
// from the mixture's starting temperature to the boiling point.
type Balance struct {
	// HeatCapacity is C, in J/K.
	HeatCapacity float64
	// Loss is K, in W/K.
	Loss float64
	// Start is the temperature of water, jars, contents and vessel once mixed; Boil the boiling point at the site.
	Start, Boil, Room measure.Celsius
}

// Minutes is how long a power that reaches the pot takes. It fails with a Precondition fault when the power only
// makes up for the loss before the boil.
func (b Balance) Minutes(power Watts) (float64, error) {
	if b.Start >= b.Boil {
		return 0, nil
	}
	atStart := float64(power) - b.Loss*float64(b.Start-b.Room)
	atBoil := float64(power) - b.Loss*float64(b.Boil-b.Room)
	if atBoil <= 0 {
		return 0, fault.New(fault.Precondition, "a burner that gives the pot %.0f W never brings this load to the boil: %.0f W are lost at %s",
			float64(power), b.Loss*float64(b.Boil-b.Room), b.Boil)
	}
	if b.Loss == 0 {
		return b.HeatCapacity * float64(b.Boil-b.Start) / float64(power) / 60, nil
	}
	return b.HeatCapacity / b.Loss * math.Log(atStart/atBoil) / 60, nil
}

// power is the inverse of Minutes: the power that takes just so long (above 0).
func (b Balance) power(minutes float64) Watts {
	// (P - a) / (P - c) = e with a < c has one solution.
	a, c := b.Loss*float64(b.Start-b.Room), b.Loss*float64(b.Boil-b.Room)
	if b.Loss == 0 {
		return Watts(b.HeatCapacity * float64(b.Boil-b.Start) / (60 * minutes))
	}
	e := math.Exp(60 * minutes * b.Loss / b.HeatCapacity)
	return Watts((e*c - a) / (e - 1))
}

// defaultRoom is the air of a kitchen where none is given (common practice).
const defaultRoom measure.Celsius = 20

// kelvinJoules is a specific heat of the thermal facts, printed in kJ/(kg K), in J/(kg K).
func kelvinJoules(key string) float64 { return 1000 * reference.MustFigure(key) }

// glassMass is the mass of an empty jar in kilograms. Three sizes are known; others scale with their volume.
func glassMass(jar JarSize) float64 {
	switch jar.Trade() {
	case HalfPint:
		return reference.MustFigure("jar_mass_half_pint")
	case Pint:
		return reference.MustFigure("jar_mass_pint")
	case Quart:
		return reference.MustFigure("jar_mass_quart")
	}
	nearest, key := HalfPint, "jar_mass_half_pint"
	if CompareJars(jar, Pint) > 0 {
		nearest, key = Quart, "jar_mass_quart"
	}
	return reference.MustFigure(key) * jar.Volume().Float64() / nearest.Volume().Float64()
}

// Balance sets up the energy balance of a load. The load must fit the canner (Invalid fault otherwise).
//
// What goes into it: for boiling water, half a canner of water at the preheat for the pack, and boiling water
// poured in for every jar the load is short of a full one; for pressure and steam, three inches of water.
// Each jar is preheated glass, a lid and band, and its nominal volume of food, which for a hot pack
// starts at the hot-pack preheat and for a raw pack halfway between the room and boiling liquid. The
// vessel starts with its water. Heat is lost through wall and covered top at the published bare-wall rate.
func (c Canner) Balance(l HeatLoad) (Balance, error) {
	if err := l.check(c); err != nil {
		return Balance{}, err
	}
	vesselCp, ok := c.Vessel.Material.specificHeat()
	if !ok {
		return Balance{}, fault.Field("vessel.material", string(c.Vessel.Material), "is not a material we know", "use enamelled_steel, stainless_steel or aluminium")
	}
	boil := BoilingPoint(l.Altitude)
	room := defaultRoom
	if l.Room != nil {
		room = *l.Room
	}
	jarStart := measure.Fahrenheit(reference.MustFigure("jar_preheat")).Celsius()
	water := preheat(l.Pack)
	if l.Water != nil {
		water = *l.Water
	}
	food := preheat(reference.HotPack)
	if l.Pack != reference.HotPack {
		food = (room + boil) / 2
	}

	var mixed mixture
	waterCp := kelvinJoules("water_mean_cp_20c_to_boil")
	density := reference.MustFigure("water_density_60c") // kg/m3
	if l.Method == BoilingWater {
		half := c.Vessel.Litres / 1000 * reference.MustFigure("bw_initial_fill_fraction")
		mixed.add(half*density*waterCp, water)
		// Boiling water tops up what a full load would displace (fact bw_top_up_with).
		missing := float64(c.Holds(l.Jar)-l.Jars) * displacement(l.Jar)
		mixed.add(missing*density*waterCp, boil)
	} else {
		depth := reference.MustFigure("pc_water_max") * 0.0254
		mixed.add(depth*c.Vessel.crossSection()*density*waterCp, water)
	}
	mixed.add(c.Vessel.Kilograms*vesselCp, water)
	n := float64(l.Jars)
	mixed.add(n*glassMass(l.Jar)*kelvinJoules("cp_glass"), jarStart)
	mixed.add(n*reference.MustFigure("jar_lid_and_band_mass")*kelvinJoules("cp_mild_steel"), room)
	mixed.add(n*contents(l.Jar)*kelvinJoules("cp_pickles_dill_estimate"), food)

	return Balance{
		HeatCapacity: mixed.capacity,
		Loss:         reference.MustFigure("loss_bare_wall_u_210f") * c.Vessel.outerArea(),
		Start:        mixed.temperature(),
		Boil:         boil,
		Room:         room,
	}, nil
}

// preheat is the published temperature of the canner's water for a pack.
func preheat(pack reference.Pack) measure.Celsius {
	key := "bw_preheat_raw_pack"
	if pack == reference.HotPack {
		key = "bw_preheat_hot_pack"
	}
	return measure.Fahrenheit(reference.MustFigure(key)).Celsius()
}

// contents is the mass of food in a jar in kilograms: its nominal volume at 1 kg/l.
func contents(jar JarSize) float64 { return jar.Volume().Float64() / 1000 }

// displacement is the outer volume of a jar in cubic metres.
func displacement(jar JarSize) float64 {
	return jar.Volume().Float64()/1e6 + glassMass(jar)/reference.MustFigure("density_soda_lime_glass")
}

// mixture adds up bodies that end at one temperature.
type mixture struct{ capacity, energy float64 }

func (m *mixture) add(capacity float64, t measure.Celsius) {
	m.capacity += capacity
	m.energy += capacity * float64(t)
}

func (m *mixture) temperature() measure.Celsius { return measure.Celsius(m.energy / m.capacity) }

// Basis says what an estimate rests on.
type Basis string

const (
	// FromPhysics rests on the energy balance with assumed figures.
	FromPhysics Basis = "from physics"
	// FromRecord rests on the canner's own observed come-ups.
	FromRecord Basis = "from the canner's record"
)

// Estimate is the come-up of a canner for one size, pack and method: at least Base + PerJar*n minutes for n jars.
type Estimate struct {
	Basis Basis
	// Base and PerJar are minutes, rounded up to a hundredth. The line through them lies nowhere below the
	// balance for 1 jar to a full load.
	Base, PerJar float64
	// Power is the power that reaches the pot.
	Power Watts
	// Observations is how many come-ups were fitted; 0 from physics.
	Observations int
	// ErrorMinutes is the standard deviation of the observed come-ups about the fit, and PowerError the standard
	// error of Power; both 0 from physics, where nothing measured them.
	ErrorMinutes float64
	PowerError   Watts
	// Assumptions are what the estimate takes for granted, in sentences.
	Assumptions []string
}

// Minutes is the come-up for n jars, rounded up to whole minutes.
func (e Estimate) Minutes(n int) measure.Minutes {
	// The tolerance absorbs the rounding of the sum, not a hundredth of a minute.
	return measure.Minutes(math.Ceil(e.Base + e.PerJar*float64(n) - 1e-9))
}

// FromPhysics estimates the come-up from the canner's burner and vessel. load.Jars is ignored.
func (c Canner) FromPhysics(load HeatLoad) (Estimate, error) {
	power, err := c.Burner.Effective()
	if err != nil {
		return Estimate{}, err
	}
	e, err := c.line(load, power)
	if err != nil {
		return Estimate{}, err
	}
	e.Basis = FromPhysics
	share, _ := c.Burner.Kind.efficiencyFact()
	e.Assumptions = append(c.assumptions(load), fmt.Sprintf("%s of %.0f W reach the pot (%s).", percent(share), float64(c.Burner.Rated), share.Source))
	return e, nil
}

func percent(share reference.Fact) string {
	f, err := share.Float64()
	if err != nil {
		return share.Value
	}
	return fmt.Sprintf("%.0f %%", 100*f)
}

// assumptions says what the balance takes for granted.
func (c Canner) assumptions(l HeatLoad) []string {
	water := preheat(l.Pack)
	if l.Water != nil {
		water = *l.Water
	}
	var list []string
	if l.Method == BoilingWater {
		list = append(list, fmt.Sprintf("Half the canner (%.1f l) is water at %s when the jars go in; boiling water makes up for missing jars.", c.Vessel.Litres/2, water))
	} else {
		list = append(list, fmt.Sprintf("The canner holds three inches of water at %s when the jars go in; the estimate ends at a steady flow of steam.", water))
	}
	if l.Pack == reference.HotPack {
		list = append(list, fmt.Sprintf("Jars are filled hot, at %s, into jars at the same temperature.", preheat(reference.HotPack)))
	} else {
		list = append(list, "Raw-packed jars start halfway between the room and the boiling liquid poured over.")
	}
	return append(list,
		fmt.Sprintf("Water boils at %s at %s (standard atmosphere).", BoilingPoint(l.Altitude), l.Altitude),
		"Empty jars and the canner weigh what is usual (general trade knowledge); food heats like a dill pickle; the lid is on.")
}

// line draws the come-up line for a power: the steepest chord from 1 jar to a full load, raised until it lies
// nowhere below the balance.
func (c Canner) line(load HeatLoad, power Watts) (Estimate, error) {
	full := c.Holds(load.Jar)
	minutes := make([]float64, 0, full)
	for n := 1; n <= max(full, 1); n++ {
		load.Jars = n
		b, err := c.Balance(load)
		if err != nil {
			return Estimate{}, err
		}
		m, err := b.Minutes(power)
		if err != nil {
			return Estimate{}, err
		}
		minutes = append(minutes, m)
	}
	perJar := 0.0
	if full > 1 {
		perJar = max(0, ceilHundredth((minutes[full-1]-minutes[0])/float64(full-1)))
	}
	base := 0.0
	for i, m := range minutes {
		base = max(base, m-perJar*float64(i+1))
	}
	return Estimate{Base: ceilHundredth(base), PerJar: perJar, Power: power}, nil
}

func ceilHundredth(f float64) float64 { return math.Ceil(f*100-1e-9) / 100 }
