package kitchen

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/canning"
	"stillroom/internal/measure"
	"stillroom/internal/recipe"
	"stillroom/internal/reference"
)

func TestProcedureOfAClass(t *testing.T) {
	formulas := map[RevisionRef]*recipe.Revision{}
	ref := func(key string) RevisionRef {
		r, err := recipe.Published(key)
		require.NoError(t, err)
		formulas[RevisionRef{Recipe: key, Number: 1}] = r
		return RevisionRef{Recipe: key, Number: 1}
	}
	salsa, relish := ref("chile_salsa"), ref("piccalilli")
	adapted := RevisionRef{Recipe: "chile_salsa", Number: 2}
	formulas[adapted] = formulas[salsa]
	batches := []Batch{
		{ID: "a1", Revision: salsa, JarSize: canning.Pint, Jars: 6},
		{ID: "a2", Revision: relish, JarSize: canning.HalfPint, Jars: 5},
		{ID: "b1", Revision: salsa, JarSize: canning.Pint, Jars: 6},
		{ID: "b2", Revision: adapted, JarSize: canning.Pint, Jars: 6, NotForShelf: "more onions than the source permits"},
		{ID: "b3", Revision: salsa, JarSize: canning.Quart, Jars: 3},
	}
	canners := []Canner{
		{Methods: []canning.Method{canning.BoilingWater}, Holds: []canning.RackSpace{{Jar: canning.Pint, Jars: 9}}},
		{Methods: []canning.Method{canning.AtmosphericSteam}, Holds: []canning.RackSpace{{Jar: canning.Quart, Jars: 7}}},
	}
	altitude, err := measure.ParseAltitude("5,430 ft")
	require.NoError(t, err)

	p := ProcedureOf(batches, formulas, canners, altitude)
	require.Len(t, p.Fillings, 4)
	require.Equal(t, []string{"a1", "b1"}, p.Fillings[0].Batches)
	// USDA AIB 539 (rev. 2015), Guide 3: chile salsa in pints 20 min at 1,001-6,000 ft; in steam the same (NCHFP).
	require.Equal(t, []canning.Method{canning.BoilingWater, canning.AtmosphericSteam}, methodsOf(p.Fillings[0]))
	require.Equal(t, measure.Minutes(20), p.Fillings[0].Processes[0].Choices[0].Minutes)
	// Guide 6: piccalilli in half-pints 10 min at 1,001-6,000 ft.
	require.Equal(t, measure.Minutes(10), p.Fillings[1].Processes[0].Choices[0].Minutes)
	require.Equal(t, "more onions than the source permits", p.Fillings[2].Refrigerate)
	require.Empty(t, p.Fillings[2].Processes)
	require.Contains(t, p.Fillings[3].Refrigerate, "larger than the largest jar printed")

	// Of the four processes, the two in boiling water take water over the jars, the two in steam do not.
	i := slices.IndexFunc(p.Steps, func(s canning.ChecklistItem) bool { return s.Key == "bw_water_over_jars_min" })
	require.GreaterOrEqual(t, i, 0)
	require.Equal(t, []int{0, 2}, p.Steps[i].For)
	i = slices.IndexFunc(p.Steps, func(s canning.ChecklistItem) bool { return s.Key == "cool_undisturbed_min" })
	require.Equal(t, []int{0, 1, 2, 3}, p.Steps[i].For)
	require.Equal(t, canning.AuthorityFirst, p.Cautions[0].Text)
	seen := map[string]bool{}
	for _, s := range p.Steps {
		require.False(t, seen[s.Text], "a class reads each line once: %s", s.Text)
		seen[s.Text] = true
	}
}

func methodsOf(f Filling) []canning.Method {
	var ms []canning.Method
	for _, p := range f.Processes {
		ms = append(ms, p.Request.Method)
	}
	return ms
}

func TestProcedureSaysWhatIsMissing(t *testing.T) {
	salsa, err := recipe.Published("chile_salsa")
	require.NoError(t, err)
	ref := RevisionRef{Recipe: "chile-salsa", Number: 1}
	batches := []Batch{{ID: "a1", Revision: ref, JarSize: canning.Pint, Jars: 6}}
	formulas := map[RevisionRef]*recipe.Revision{ref: salsa}

	p := ProcedureOf(batches, formulas, nil, measure.Altitude{})
	require.Contains(t, p.Fillings[0].Refrigerate, "no canner of the class")
	require.Len(t, p.Cautions, 1, "the general caution stands even without a process")
	require.Empty(t, p.Steps)

	taught := *salsa
	taught.ProcessKey = ""
	formulas[ref] = &taught
	canners := []Canner{{Methods: []canning.Method{canning.BoilingWater}, Holds: []canning.RackSpace{{Jar: canning.Pint, Jars: 9}}}}
	p = ProcedureOf(batches, formulas, canners, measure.Altitude{})
	require.Contains(t, p.Fillings[0].Refrigerate, "names no published process")
	require.Equal(t, reference.HotPack, salsa.Pack)
}
