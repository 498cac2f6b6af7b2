package kitchen

import (
	"stillroom/internal/recipe"
)

// FormulaOf is what the batch plan needs to know of a revision.
func FormulaOf(ref RevisionRef, r *recipe.Revision) Formula {
	f := Formula{
		Revision: ref, Title: r.Title, Jar: r.Yield.Jar, JarsMin: r.Yield.JarsMin, JarsMax: r.Yield.JarsMax,
	}
	for _, need := range recipe.Equipment(r) {
		f.Needs = append(f.Needs, Need{Kind: need.Item, Count: need.Count})
	}
	return f
}
