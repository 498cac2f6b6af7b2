package classload

import (
	"fmt"
	"strconv"
	"time"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/recipe"
)

// Input is everything a plan is computed from.
type Input struct {
	Class    kitchen.Class
	Altitude measure.Altitude
	// Stations are in the order of the room, Batches by station and turn.
	Stations []kitchen.Station
	Batches  []kitchen.Batch
	// Recipes holds the revision of every batch.
	Recipes map[kitchen.RevisionRef]*recipe.Revision
	// Units are the pieces of equipment the class can use.
	Units []kitchen.Unit
	// Assume says how long work takes where no publication prints it.
	Assume Assumptions
	// Choices override the method or the pressure of single batches, by batch id.
	Choices map[string]Choice
	// Happened is what has taken place already, when a class under way is planned again.
	Happened *Happened
	// Previous is an earlier plan of the class to stay close to.
	Previous *Plan
	// Around are plans of other classes that use the same canners and burners. They stay
	// as they are; what they take is taken. The hands of each class are its own.
	Around []Plan
}

// Choice picks among the published processes of a batch.
type Choice struct {
	// Method is empty for the program's own choice.
	Method canning.Method `json:"method,omitempty"`
	// Pressure in pounds is 0 for the quickest printed.
	Pressure measure.GaugePounds `json:"pressure,omitempty"`
}

// Happened is what has taken place in a class under way.
type Happened struct {
	// Now is the moment from which there is still something to decide.
	Now time.Time
	// Filled says when the jars of batches were lidded, or will be for those that are cooking.
	Filled map[string]time.Time
	// Loads are out or in a canner.
	Loads []HappenedLoad
	// Gone are units, as plans name them, that cannot be used any more.
	Gone []string
}

// HappenedLoad is a load that went into a canner.
type HappenedLoad struct {
	// Unit is the canner as plans name it.
	Unit       string
	Start, End time.Time
	// Jars by batch id.
	Jars map[string]int
}

// Assumptions are working times that no publication prints. They are the
// program's own starting points, for the instructor to change.
type Assumptions struct {
	// Prepare is washing, peeling and cutting before the first pot, for two people.
	Prepare measure.Minutes `json:"prepare_minutes"`
	// Heat is bringing a pot to the boil or simmer, for each step at a burner.
	Heat measure.Minutes `json:"heat_minutes"`
	// FillPerJar is filling, wiping, lidding, for each jar, by two people.
	FillPerJar measure.Minutes `json:"fill_minutes_per_jar"`
	// Unprinted is a step for which no time is printed, besides heating and filling.
	Unprinted measure.Minutes `json:"unprinted_step_minutes"`
	// BeforeClass is the length from which a standing time (a soak, a night in the
	// refrigerator) is taken to be done before the class.
	BeforeClass measure.Minutes `json:"before_class_minutes"`
}

// DefaultAssumptions are what a plan assumes when nobody says otherwise.
func DefaultAssumptions() Assumptions {
	return Assumptions{Prepare: 30, Heat: 10, FillPerJar: 1, Unprinted: 5, BeforeClass: 60}
}

// mostAssumed bounds each of them, in minutes.
const mostAssumed = 480

func (a Assumptions) check() error {
	var c fault.Collector
	for _, f := range []struct {
		field string
		value measure.Minutes
	}{
		{"prepare_minutes", a.Prepare}, {"heat_minutes", a.Heat}, {"fill_minutes_per_jar", a.FillPerJar},
		{"unprinted_step_minutes", a.Unprinted}, {"before_class_minutes", a.BeforeClass},
	} {
		if f.value < 0 || f.value > mostAssumed {
			c.Add("assumptions."+f.field, strconv.Itoa(int(f.value)), "is not a possible length", fmt.Sprintf("give 0 to %d minutes", mostAssumed))
		}
	}
	return c.Err()
}
