package canning

import (
	"strconv"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// Phase is one part of a load's time in the canner, in order.
type Phase struct {
	Name string
	// Part says which of the load plan's spans the phase belongs to.
	Part LoadPart
	// Minutes is the length to plan with: where a range is published, its long end. It is 0 for the heating
	// itself, which depends on the canner and the jars (see Estimate).
	Minutes measure.Minutes
	// Key is the published fact; empty for the heating and the process itself.
	Key    string
	Source reference.Source
}

// LoadPart is a span of a planned load.
type LoadPart string

// The spans of a load between loading and unloading.
const (
	ComeUpPart       LoadPart = "come-up"
	VentPart         LoadPart = "vent"
	ProcessPart      LoadPart = "process"
	DepressurisePart LoadPart = "depressurise"
	RestPart         LoadPart = "rest"
)

// Phases are what a load of p goes through by one of its choices: heating, for pressure venting and coming up to
// pressure, the process, and the rest or depressurising with its waits.
func Phases(p Process, c Choice) []Phase {
	phases := []Phase{{Name: "heat to the boil", Part: ComeUpPart}}
	add := func(name string, part LoadPart, key string) {
		f := reference.MustFact(key)
		phases = append(phases, Phase{Name: name, Part: part, Minutes: measure.Minutes(reference.MustFigure(key)), Key: key, Source: f.Source})
	}
	process := Phase{Name: "process", Part: ProcessPart, Minutes: c.Minutes, Source: c.Source}
	if !p.Request.Method.IsPressure() {
		if p.Request.Method == AtmosphericSteam {
			phases[0].Name = "heat to pure steam"
		}
		phases = append(phases, process)
		add("rest with the heat off and the lid removed", RestPart, "bw_rest_after_process")
		return phases
	}
	phases[0].Name = "heat to a steady flow of steam"
	add("vent", VentPart, "pc_vent_minutes")
	add("come up to pressure", VentPart, "pc_pressurise_minutes_max")
	phases = append(phases, process)
	add("depressurise on its own", DepressurisePart, "pc_cool_down_max")
	add("wait after the weight is off or the petcock open", DepressurisePart, "pc_wait_after_weight_removed")
	return phases
}

// LoadTimes are the minutes of a load in the words of the load plan, besides those of the canner itself.
type LoadTimes struct {
	// Vent is between the boil and the start of timing: venting and coming up to pressure; 0 without pressure.
	Vent    measure.Minutes
	Process measure.Minutes
	// Depressurise is between the end of the process and an opened lid: cooling on its own and the wait after; 0
	// without pressure.
	Depressurise measure.Minutes
	// Rest is how long jars stand in the open canner before they are lifted out; 0 under pressure, where
	// depressurising does as much.
	Rest measure.Minutes
}

// Times sums the phases of a choice.
func Times(p Process, c Choice) LoadTimes {
	var t LoadTimes
	for _, phase := range Phases(p, c) {
		switch phase.Part {
		case VentPart:
			t.Vent += phase.Minutes
		case ProcessPart:
			t.Process += phase.Minutes
		case DepressurisePart:
			t.Depressurise += phase.Minutes
		case RestPart:
			t.Rest += phase.Minutes
		}
	}
	return t
}

// Choose picks the choice of a process that runs at a pressure; 0 picks the first, which has the lowest pressure
// (and for boiling water is the only one). It fails with an Invalid fault when the pressure is not printed.
func (p Process) Choose(pressure measure.GaugePounds) (Choice, error) {
	if pressure == 0 {
		return p.Choices[0], nil
	}
	printed := ""
	for _, c := range p.Choices {
		if c.Pressure == pressure {
			return c, nil
		}
		printed += ", " + c.String()
	}
	return Choice{}, fault.Field("pressure", strconv.Itoa(int(pressure))+" lb", "is not printed for "+p.Product.Name, "printed: "+printed[2:])
}
