package kitchen

import (
	"slices"

	"stillroom/internal/canning"
	"stillroom/internal/measure"
	"stillroom/internal/recipe"
)

// Procedure is what a class needs to know at its canners: the processes of its batches and the checklist and cautions
// that belong to them.
type Procedure struct {
	// Fillings are the formulas and jars of the class, in the order of its batches.
	Fillings []Filling
	// Steps is the checklist in working order, and Cautions what must be printed with it. Their For counts
	// among the processes of all fillings, in order.
	Steps    []canning.ChecklistItem
	Cautions []canning.ChecklistItem
}

// Filling is a formula in a size of jar.
type Filling struct {
	Revision RevisionRef
	Title    string
	Jar      canning.JarSize
	// Batches are the ids of the batches that fill it.
	Batches []string
	// Processes are its published processes, one for each method that a canner of the class can run.
	Processes []canning.Process
	// Refrigerate is why its jars are not shelved but refrigerated or frozen; empty when Processes has any.
	Refrigerate string
}

// ProcedureOf works out the procedure of a class from its batches, their formulas, the canners it can use and the
// altitude of its site.
func ProcedureOf(batches []Batch, formulas map[RevisionRef]*recipe.Revision, canners []Canner, altitude measure.Altitude) Procedure {
	var out Procedure
	for _, b := range batches {
		i := slices.IndexFunc(out.Fillings, func(f Filling) bool { return f.Revision == b.Revision && f.Jar == b.JarSize })
		if i < 0 {
			i = len(out.Fillings)
			f := Filling{Revision: b.Revision, Jar: b.JarSize, Refrigerate: b.NotForShelf}
			if formula := formulas[b.Revision]; formula != nil {
				f.Title = formula.Title
				if f.Refrigerate == "" {
					f.Processes, f.Refrigerate = processesOf(formula, b.JarSize, canners, altitude)
				}
			}
			out.Fillings = append(out.Fillings, f)
		}
		out.Fillings[i].Batches = append(out.Fillings[i].Batches, b.ID)
	}
	var all []canning.Process
	for _, f := range out.Fillings {
		all = append(all, f.Processes...)
	}
	out.Steps, out.Cautions = canning.Checklist(all), canning.CautionsOf(all)
	return out
}

// processesOf looks up the process of a formula in a jar for every method the canners can run with it. When there is
// none it says why: no published process, or no canner for one.
func processesOf(r *recipe.Revision, jar canning.JarSize, canners []Canner, altitude measure.Altitude) (found []canning.Process, why string) {
	if r.ProcessKey == "" {
		return nil, "it names no published process"
	}
	why = "no canner of the class takes these jars by a method with a published process"
	published := false
	for _, method := range canning.Methods() {
		p, err := canning.Published().LookUp(canning.Request{ProductKey: r.ProcessKey, Pack: r.Pack, Jar: jar, Method: method, Altitude: altitude})
		if err != nil {
			// The first refusal, of boiling water, says most: later ones only add that there is no pressure table.
			if method == canning.BoilingWater {
				why = err.Error()
			}
			continue
		}
		published = true
		if slices.ContainsFunc(canners, func(k Canner) bool {
			physical := k.Physical("")
			return physical.Supports(method) && physical.Holds(jar) > 0
		}) {
			found = append(found, p)
		}
	}
	if len(found) > 0 {
		return found, ""
	}
	if published {
		why = "no canner of the class takes these jars by a method with a published process"
	}
	return nil, why
}
