package kitchen

import (
	"fmt"
	"math"
	"strconv"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
)

// AsEntered is the basis of an estimate that repeats what the kitchen entered.
const AsEntered canning.Basis = "as entered"

// EstimateComeUp says how long a load takes to come to the boil in this canner: from its record when that holds
// three or more come-ups, else as the kitchen entered it, else from physics. load.Jars is ignored. It fails with an
// Invalid fault when the load does not fit the canner.
func (k Canner) EstimateComeUp(name string, load canning.HeatLoad) (canning.Estimate, error) {
	physical := k.Physical(name)
	physical.Record = k.usable(name)
	if !k.ComeUp.Known() || len(physical.Record) >= canning.LeastObservations {
		e, err := physical.ComeUp(load)
		if err == nil && k.Burner == nil && e.Basis == canning.FromPhysics {
			e.Assumptions = append(e.Assumptions, "Nobody said what heats this canner; a usual gas burner of a household range is assumed (common practice).")
		}
		return e, asCallersSay(err)
	}
	load.Jars = 0
	if _, err := physical.Balance(load); err != nil {
		return canning.Estimate{}, asCallersSay(err)
	}
	base, errBase := strconv.ParseFloat(k.ComeUp.Base, 64)
	perJar, errPerJar := strconv.ParseFloat(k.ComeUp.PerJar, 64)
	if errBase != nil || errPerJar != nil || math.IsInf(base+perJar, 0) {
		return canning.Estimate{}, fault.New(fault.Internal, "the entered come-up of %s is not a pair of numbers", name)
	}
	return canning.Estimate{
		Basis: AsEntered, Base: base, PerJar: perJar,
		Assumptions: []string{fmt.Sprintf("The kitchen entered this come-up; %d recorded come-ups would replace it (%d are recorded).",
			canning.LeastObservations, len(physical.Record))},
	}, nil
}

// usable are the recorded come-ups that still go with the canner: after its racks or methods were changed, what
// no longer fits says nothing any more.
func (k Canner) usable(name string) []canning.Observation {
	var fits []canning.Observation
	for _, o := range k.Record {
		if k.CheckComeUp(name, o) == nil {
			fits = append(fits, o.Observation)
		}
	}
	return fits
}
