package canning

import (
	"time"

	"stillroom/internal/reference"
)

// SealTest is when the seals of jars are tested and until when one that did not seal may
// be processed again.
type SealTest struct {
	// From is when the last jars have stood for the shorter of the published times.
	From time.Time
	// Until is when the published window for processing again ends for the first jars.
	Until time.Time
}

// SealTestOf is the seal test of jars that came out of a canner between first and last.
// Where only bounds of these are known, the earliest first and the latest last are the
// cautious ones.
func SealTestOf(first, last time.Time) SealTest {
	hours := func(fact string) time.Duration {
		return time.Duration(reference.MustFigure(fact) * float64(time.Hour))
	}
	t := SealTest{From: last.Add(hours("cool_undisturbed_min")), Until: first.Add(hours("reprocess_unsealed_within"))}
	if t.From.After(t.Until) {
		t.From = t.Until // jars of one batch so far apart that the window closes before the last have stood
	}
	return t
}

// SealSteps are the published steps from the canner to the tested seal.
func SealSteps() []Step {
	return ofEveryProcess(Cooling, CheckingSeals)
}

// UnsealedSteps are what is published about a jar that did not seal: while it may still
// be processed again, and after that.
func UnsealedSteps(late bool) []Step {
	if !late {
		return ofEveryProcess(Unsealed)
	}
	return []Step{
		line(Unsealed, "reprocess_unsealed_within", "The {reprocess_unsealed_within} within which an unsealed jar may be reprocessed are over.").step(),
		says(Unsealed, "taste_suspect_food").step(),
		line(Unsealed, "detoxify_suspect_boil", "Unsealed, open or leaking suspect low-acid containers are boiled for {detoxify_suspect_boil}, with at least {detoxify_water_over} of water above them, before they are discarded.").step(),
	}
}

// ofEveryProcess are the lines of the checklist at some stages that hold for every process.
func ofEveryProcess(stages ...Stage) []Step {
	var steps []Step
	for _, stage := range stages {
		for _, r := range checklist {
			if r.applies == nil && r.stage == stage {
				steps = append(steps, r.step())
			}
		}
	}
	return steps
}

// SealCautions are what must be printed beside the test of seals, the general one first.
func SealCautions() []Step {
	return []Step{general(), says(Caution, "taste_suspect_food").step()}
}
