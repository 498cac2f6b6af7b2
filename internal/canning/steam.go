package canning

import (
	"fmt"
	"slices"

	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// steam turns a boiling-water answer into one for an atmospheric steam canner, or refuses it. The published
// conditions: acid food only, a time within the limit after the altitude adjustment, the listed jar sizes.
//
// That a food is acid is read off its table: low-acid food is processed in a pressure canner only, so what
// has a printed boiling-water time is acid or acidified food.
func steam(p Process) (Process, error) {
	limit := measure.Minutes(reference.MustFigure("steam_canner_max_process"))
	p.Choices = slices.DeleteFunc(p.Choices, func(c Choice) bool { return c.Minutes > limit })
	if len(p.Choices) == 0 {
		return Process{}, &Refusal{Why: SteamConditions, Request: p.Request, Field: "method", Value: AtmosphericSteam.Name(),
			Reason: fmt.Sprintf("the boiling-water time of %s at %s is over the %s allowed in steam", p.Product.Name, p.Request.Altitude, limit),
			Has:    []string{string(BoilingWater)},
			Rules:  []reference.Fact{reference.MustFact("steam_canner_max_process")}}
	}
	sizes := reference.MustFact("steam_canner_jar_sizes")
	if jar := p.Request.Jar.Trade(); !slices.Contains(sizes.List(), string(jar)) {
		return Process{}, &Refusal{Why: SteamConditions, Request: p.Request, Field: "jar", Value: p.Request.Jar.Name(),
			Reason: "the jar size is not among those approved for a steam canner",
			Has:    sizes.List(), Rules: []reference.Fact{sizes}}
	}
	for _, key := range []string{
		"low_acid_method", "steam_canner_ph_max", "steam_canner_max_process", "steam_canner_times_source", "steam_canner_jar_sizes",
		"steam_canner_jars_preheated", "steam_canner_timing_starts_at", "steam_canner_open_during_process", "steam_canner_status_in_aib539_2015",
	} {
		p.Notes = append(p.Notes, factNote(key))
	}
	return p, nil
}
