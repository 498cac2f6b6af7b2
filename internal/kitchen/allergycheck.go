package kitchen

import (
	"slices"

	"stillroom/internal/recipe"
)

// Guest is somebody with a place in a class, and what they wrote about their allergies.
type Guest struct {
	Participant, Name string
	Allergies         string
	// Station is where they work; empty while they are not placed.
	Station string
}

// AllergyWarning says that an ingredient of a batch meets what a participant wrote.
type AllergyWarning struct {
	Guest Guest
	// Batch is the batch, and Station where it is made.
	Batch, Station string
	Revision       RevisionRef
	AllergyMatch
}

// AllergyCheck is what comparing a class's allergies with its batches gives.
type AllergyCheck struct {
	// Warnings are by batch in the order given, then by guest.
	Warnings []AllergyWarning
	// Unmatched are guests who wrote something that met no ingredient. That makes none safe.
	Unmatched []Guest
}

// CheckAllergies compares the allergies of those who work at a station with the recipes
// made there; those who are placed nowhere yet, with all recipes of the class.
func CheckAllergies(guests []Guest, batches []Batch, formulas map[RevisionRef]*recipe.Revision) AllergyCheck {
	var out AllergyCheck
	met := map[string]bool{}
	for _, b := range batches {
		formula := formulas[b.Revision]
		if formula == nil {
			continue
		}
		var names []string
		for _, line := range formula.Lines {
			if !slices.Contains(names, line.Ingredient.Name) {
				names = append(names, line.Ingredient.Name)
			}
		}
		for _, g := range guests {
			if g.Allergies == "" || (g.Station != "" && g.Station != b.Station) {
				continue
			}
			for _, m := range CompareAllergies(g.Allergies, names) {
				met[g.Participant] = true
				out.Warnings = append(out.Warnings, AllergyWarning{Guest: g, Batch: b.ID, Station: b.Station, Revision: b.Revision, AllergyMatch: m})
			}
		}
	}
	for _, g := range guests {
		if g.Allergies != "" && !met[g.Participant] {
			out.Unmatched = append(out.Unmatched, g)
		}
	}
	return out
}
