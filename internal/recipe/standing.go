package recipe

import (
	"fmt"
	"strings"

	"stillroom/internal/canning"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// WithProcess gives a changed formula the process its changes take: fish in soup is processed as soup with seafood.
// It returns r itself when no change takes another product's process, and never touches r.
func WithProcess(r *Revision) *Revision {
	for _, f := range ReviewOf(r).Findings {
		if f.Verdict.OK() && f.ProcessKey != "" && f.ProcessKey != r.ProcessKey {
			c := r.Clone()
			c.ProcessKey = f.ProcessKey
			return c
		}
	}
	return r
}

// ShelfStable says whether jars of a revision may be shelf-stable, and why or why not. Nothing stored is believed: it
// sets the formula against the printed one afresh. What is not shelf-stable may be taught and bought for; its
// jars are "refrigerate or freeze". Whether a given jar has a process at a given altitude is for the canning room.
func ShelfStable(r *Revision) (bool, string) {
	if baseOf(r) == nil {
		return attestedStanding(r)
	}
	if r.Base != nil {
		if ok, why := attestedStanding(r.Base); !ok {
			return false, why
		}
	}
	rv := ReviewOf(r)
	for _, f := range rv.Findings {
		if f.Verdict == rv.Verdict && !f.Verdict.OK() || f.Consequence == ColdOnly {
			return false, f.Change + " is " + f.Verdict.String() + ": " + f.Because
		}
		if f.ProcessKey != "" && f.ProcessKey != r.ProcessKey {
			return false, f.Change + " takes the process of " + f.ProcessKey + ", and the recipe names that of " + r.ProcessKey
		}
	}
	if len(rv.Findings) == 0 {
		return true, "as printed in " + rv.Base.Source.String()
	}
	return true, "changed only as the publications allow; printed in " + rv.Base.Source.String()
}

// LoadRefusal says why jars of a revision may not be put in a canner load; empty when they may. Besides what is not
// shelf-stable it refuses what the process tables, which loads are planned by, do not print.
func LoadRefusal(r *Revision) string {
	if ok, why := ShelfStable(r); !ok {
		return why
	}
	if r.Method != "" && !tabledMethod(r.Method) {
		return "it is processed by " + strings.ReplaceAll(r.Method, "_", " ") + ", which loads are not planned for"
	}
	if base := baseOf(r); base != nil && base.SterileJars && !r.SterileJars && base.Family() == SweetSpread {
		return "unsterile jars of a sweet spread take a longer process that is not printed by altitude; sterilise the jars"
	}
	return ""
}

// attestedStanding says whether a formula outside the library stands on somebody's word that it is printed: it must
// name a product of the process table, and the same publication as that table, since a process is tested with
// its formula, and a place in it.
func attestedStanding(r *Revision) (bool, string) {
	switch {
	case r.ProcessKey == "":
		return false, "it has no published process; refrigerate or freeze"
	case !hasProcess(r.ProcessKey):
		return false, fmt.Sprintf("the process tables have no product %q; refrigerate or freeze", r.ProcessKey)
	case r.Source.Publication == "" || r.Source.Locator == "":
		return false, "it names no published source with a place in it; refrigerate or freeze"
	case !samePublication(r.Source.Publication, r.ProcessKey):
		return false, fmt.Sprintf("its source is not the publication of the process of %q, and a process holds only for the formula it was tested with; refrigerate or freeze", r.ProcessKey)
	case printedFor(r.ProcessKey) != "":
		// The program has this page: a formula that claims to be on it is set against it.
		return false, fmt.Sprintf("the program holds the printed recipe of this process; say that yours is based on %q to have it reviewed against that", printedFor(r.ProcessKey))
	case strings.TrimSpace(r.Attested.By) == "":
		return false, "nobody has said that the formula is as printed in " + r.Source.String() + "; refrigerate or freeze"
	case r.Method != "":
		return false, "it is not processed as the tables print; refrigerate or freeze"
	}
	if ok, why := jarInTable(r.ProcessKey, r.Pack, r.Yield.Jar); !ok {
		return false, why
	}
	if p, err := jarProcess(r.ProcessKey, r.Pack, r.Yield.Jar); err == nil {
		if c := p.Choices[0]; r.Headspace != 0 && c.HeadspacePrinted && c.Headspace != r.Headspace {
			return false, "its headspace is " + r.Headspace.String() + " and " + c.Headspace.String() + " is printed for this jar; refrigerate or freeze"
		}
	}
	if why := tooLittleAcid(r); why != "" {
		return false, why
	}
	return true, "on the word of " + r.Attested.By + " that the formula is as printed in " + r.Source.String() + "; this program has not seen that page"
}

// printedFor is the key of the printed recipe that the library has for a process, empty for none.
func printedFor(processKey string) string {
	for _, p := range printedLibrary() {
		if p.ProcessKey == processKey {
			return p.Key
		}
	}
	return ""
}

// acidDoses are the products that the guides acidify by the quart, with the facts that say how much of each acid.
var acidDoses = map[string]map[Family]string{}

func init() {
	tomato := map[Family]string{FamCitrusBottled: "tomato_lemon_juice_per_quart", FamCitricAcid: "tomato_citric_acid_per_quart", FamVinegar5: "tomato_vinegar_per_quart"}
	for _, key := range []string{
		"crushed_tomatoes", "standard_tomato_sauce", "tomatoes_whole_in_juice", "tomatoes_whole_in_water", "tomatoes_whole_raw_no_liquid",
		"tomatillos", "tomato_juice", "tomato_vegetable_juice_blend",
	} {
		acidDoses[key] = tomato
	}
	acidDoses["figs"] = map[Family]string{FamCitrusBottled: "fig_lemon_juice_per_quart", FamCitricAcid: "fig_citric_acid_per_quart"}
	acidDoses["asian_pears"] = map[Family]string{FamCitrusBottled: "asian_pear_lemon_juice_per_quart"}
}

// tooLittleAcid says why the acid of a product that is acidified by the quart does not reach for all of its jars,
// whoever attests it; empty when it does, and for other products.
func tooLittleAcid(r *Revision) string {
	doses, ok := acidDoses[r.ProcessKey]
	if !ok {
		return ""
	}
	var quarts measure.Number
	for _, l := range r.Lines {
		if q, ok := acidifies(doses, l, r.Yield); ok {
			quarts = quarts.Add(q)
		}
	}
	filled := r.Yield.Jar.Trade().Volume().Number().Mul(measure.Int(int64(r.Yield.JarsMax))).Div(canning.Quart.Volume().Number())
	if quarts.Less(filled) {
		return fmt.Sprintf("its acid is enough for %s quarts and its jars hold %s: %s", quarts.Decimal(2), filled.Decimal(2), cite(doses[FamCitrusBottled])[0])
	}
	return ""
}

// acidifies is how many quarts a line of acid is enough for.
func acidifies(doses map[Family]string, l Line, y Yield) (measure.Number, bool) {
	key, ok := doses[l.Ingredient.Family]
	if !ok {
		return measure.Number{}, false
	}
	unit, err := measure.ParseUnit(reference.MustFact(key).Unit)
	if err != nil {
		panic("recipe: " + key + ": " + err.Error())
	}
	q, err := l.PerBatch(y).In(unit)
	if err != nil {
		return measure.Number{}, false
	}
	return q.Amount.Low.Div(figure(key)), true
}
