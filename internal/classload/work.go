package classload

import (
	"fmt"
	"math"

	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/recipe"
)

// Part is a piece of a batch's work before its jars are lidded.
type Part struct {
	What    string          `json:"what"`
	Minutes measure.Minutes `json:"minutes"`
	// Assumed marks a length that is the program's own and no publication's.
	Assumed bool `json:"assumed"`
}

// Work is how long a batch takes until its last jar is lidded.
type Work struct {
	// Before is done before the class opens: long soaks and nights in the refrigerator.
	Before []Part `json:"before,omitempty"`
	// Preparing needs the station but no burner; Cooking is the stage of the load
	// plan, cooking and filling, which holds a burner.
	Preparing []Part `json:"preparing"`
	Cooking   []Part `json:"cooking"`
	// Burner says that the stage holds one of the room's burners. Its steps follow one
	// another, so one suffices although a recipe may use several pots.
	Burner bool `json:"burner"`
}

// Ready is the minutes of preparing.
func (w Work) Ready() measure.Minutes { return sum(w.Preparing) }

// Stage is the minutes of cooking and filling.
func (w Work) Stage() measure.Minutes { return sum(w.Cooking) }

func sum(parts []Part) (m measure.Minutes) {
	for _, p := range parts {
		m += p.Minutes
	}
	return m
}

// pair is how many people the assumed lengths are for.
const pair = 2

// workOf works out a batch's work from its recipe's steps. Where a step prints a
// range its long end counts; where it prints nothing, the assumption does. Steps up
// to the first at a burner are preparing, the rest cooking.
//
// One person alone takes twice the assumed times of two (common practice); more
// than two are no faster. A station with nobody placed counts as two.
func workOf(r *recipe.Revision, b kitchen.Batch, people int, a Assumptions) Work {
	slower := measure.Minutes(1)
	if people == 1 {
		slower = pair
	}
	w := Work{Burner: recipe.Burners(r) > 0}
	if a.Prepare > 0 {
		w.Preparing = append(w.Preparing, Part{What: "wash, peel, cut", Minutes: a.Prepare * slower, Assumed: true})
	}
	hot, filled := false, false
	for _, s := range r.Steps {
		printed := measure.Minutes(math.Ceil(s.MinutesMax))
		if s.Timed && s.Hands == 0 && printed >= a.BeforeClass && a.BeforeClass > 0 {
			w.Before = append(w.Before, Part{What: s.Action, Minutes: printed})
			continue
		}
		var parts []Part
		if s.Burner && a.Heat > 0 {
			parts = append(parts, Part{What: "bring to the heat for: " + s.Action, Minutes: a.Heat, Assumed: true})
		}
		switch {
		case s.Timed:
			parts = append(parts, Part{What: s.Action, Minutes: printed})
		case s.Action == "fill":
			parts = append(parts, Part{What: fmt.Sprintf("fill %d jars", b.Jars), Minutes: a.FillPerJar * measure.Minutes(b.Jars) * slower, Assumed: true})
		case !s.Burner && a.Unprinted > 0:
			parts = append(parts, Part{What: s.Action, Minutes: a.Unprinted, Assumed: true})
		}
		hot = hot || s.Burner
		filled = filled || s.Action == "fill"
		if hot || s.Action == "fill" {
			w.Cooking = append(w.Cooking, parts...)
		} else {
			w.Preparing = append(w.Preparing, parts...)
		}
	}
	if !filled {
		w.Cooking = append(w.Cooking, Part{What: fmt.Sprintf("fill %d jars", b.Jars), Minutes: a.FillPerJar * measure.Minutes(b.Jars) * slower, Assumed: true})
	}
	return w
}
