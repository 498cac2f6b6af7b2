package recipe

import (
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/canning"
	"stillroom/internal/measure"
)

// serveIt is the usual safe way with a low-acid addition.
const serveIt = "can the recipe as printed and add it when serving, or refrigerate or freeze this version"

// judge finds the verdict on each difference between a printed formula and a changed one.
type judge struct {
	base, changed *Revision
	family        ProductFamily
	diffs         []difference
	factor        *measure.Number
}

func newJudge(base, changed *Revision) *judge {
	j := &judge{base: base, changed: changed, family: base.Family(), diffs: diff(base, changed)}
	for i := range j.diffs {
		if j.diffs[i].kind == BatchFactor {
			j.factor = &j.diffs[i].factor
		}
	}
	return j
}

// finding answers one difference.
func (j *judge) finding(d difference) Finding {
	var f Finding
	switch d.kind {
	case Swap:
		f = j.swap(d)
	case Omit, Reduce:
		f = j.less(d)
	case Raise:
		f = j.more(d)
	case Add:
		f = j.addition(d)
	case Prepare:
		f = j.preparation(d)
	case JarSize:
		f = j.jar(d)
	case Pack:
		f = j.pack(d)
	case BatchFactor:
		f = j.batches(d)
	case Headspace:
		f = j.headspace()
	case StepsChanged:
		f = notCovered("how it is made, and for how long it boils, is part of what was tested", "keep the printed steps, and put remarks in the notes")
	case UnsterileJars:
		f = j.unsterile()
	case Method:
		f = j.method(d)
	}
	f.Kind = d.kind
	f.Change = j.describe(d)
	if d.after != nil {
		f.LineID = d.after.ID
	} else if d.before != nil {
		f.LineID = d.before.ID
	}
	return f
}

func (j *judge) describe(d difference) string {
	switch d.kind {
	case Swap:
		return fmt.Sprintf("%s: %s %s in place of %s %s", d.after.ID, d.after.amountText(), d.after.Ingredient.Name, d.before.amountText(), d.before.Ingredient.Name)
	case Omit:
		return d.before.ID + ": left out"
	case Reduce, Raise:
		return fmt.Sprintf("%s: %s to %s", d.before.ID, d.before.amountText(), d.after.amountText())
	case Add:
		return fmt.Sprintf("%s: %s %s added", d.after.ID, d.after.amountText(), d.after.Ingredient.Name)
	case Prepare:
		return fmt.Sprintf("%s: prepared %q in place of %q", d.before.ID, d.after.Preparation, d.before.Preparation)
	case BatchFactor:
		return d.factor.String() + " batches at once"
	case JarSize:
		return jarsName(canning.JarSize(d.to), 2) + " in place of " + jarsName(canning.JarSize(d.from), 2)
	case Pack:
		return d.to + " pack in place of " + d.from
	case Headspace:
		return d.to + " headspace in place of " + d.from
	case UnsterileJars:
		return "jars not sterilised"
	case StepsChanged:
		return "steps other than the printed ones"
	}
	if d.to == "" {
		return "the process as printed"
	}
	return "processed by " + strings.ReplaceAll(d.to, "_", " ")
}

func allowed(because string, cs []Citation) Finding {
	return Finding{Verdict: Allowed, Because: because, Citations: cs}
}

func toTaste(because string, cs []Citation) Finding {
	return Finding{Verdict: AllowedToTaste, Because: because, Citations: cs}
}

func notCovered(because, wayOut string, keys ...string) Finding {
	return Finding{Verdict: NotCovered, Consequence: ColdOnly, Because: because, WayOut: wayOut, Citations: cite(keys...)}
}

func forbidden(because, wayOut string, keys ...string) Finding {
	return Finding{Verdict: Forbidden, Consequence: ColdOnly, Because: because, WayOut: wayOut, Citations: cite(keys...)}
}

// acidRule names the published statements that keep a recipe's acid as it is.
func (j *judge) acidRule(l Line) []string {
	switch j.family {
	case SalsaFamily:
		return []string{"salsa_acid_reduce"}
	case PieFilling:
		return []string{"pie_filling_lemon_juice"}
	case TomatoProduct, TomatoVegetableJuice:
		if j.base.Family() == TomatoProduct && slices.Contains(l.VaryBy, "proportions_vinegar_food_water") {
			return l.VaryBy
		}
		return []string{"tomato_lemon_juice_per_quart", "tomato_citric_acid_per_quart", "tomato_vinegar_per_quart", "tomato_acid_needed_when_pressure_canned"}
	case FruitProduct:
		switch j.base.ProcessKey {
		case "figs":
			return []string{"fig_lemon_juice_per_quart", "fig_citric_acid_per_quart"}
		case "asian_pears":
			return []string{"asian_pear_lemon_juice_per_quart"}
		}
	}
	return []string{"proportions_vinegar_food_water", "only_tested_proportions"}
}

// keysOf are the published statements behind a line's permission, or the general rule when it names none.
func keysOf(l Line) []string {
	if len(l.VaryBy) > 0 {
		return l.VaryBy
	}
	return []string{"only_tested_proportions"}
}

// less judges an omitted or a reduced line.
func (j *judge) less(d difference) Finding {
	l := *d.before
	verb := "leaving out"
	if d.kind == Reduce {
		verb = "reducing"
	}
	switch l.Vary {
	case Free:
		return toTaste("the amount is left to the cook", cite(keysOf(l)...))
	case ReduceOnly:
		return allowed("it may be cut or left out without loss of safety, though quality may suffer", cite(keysOf(l)...))
	case OmitOK:
		keys := keysOf(l)
		return allowed("the recipe itself marks it optional", append([]Citation{citeRecipe(j.base, l.Ingredient.Name+" is marked optional in this recipe.")}, cite(keys...)...))
	}
	switch l.Role {
	case Acid:
		return forbidden(verb+" acid takes away what keeps this food safe", "keep the acid; offset tartness with sugar where the recipe allows it", j.acidRule(l)...)
	case Salt:
		if l.Vary == Fixed {
			return forbidden("salt controls the fermentation", "keep the salt; rinse the finished product before eating", "salt_fermented")
		}
		return notCovered("no published statement seen lets the salt of this recipe change", "keep the salt as printed")
	case Sugar:
		if l.Vary == Fixed {
			return forbidden("sugar makes the gel and keeps a traditional spread", "use a tested reduced-sugar recipe", "sugar_traditional_jam")
		}
		return notCovered("no published statement seen lets the sugar of this recipe change", "keep the sugar as printed")
	case LowAcid:
		if j.redistributed(l) {
			return allowed("the peppers taken from this line are in another and their total has not risen", cite("salsa_pepper_substitution"))
		}
		keys := append(slices.Clone(keysOf(l)), "reduce_low_acid_vegetables_uw", "reduce_low_acid_vegetables_ndsu")
		because := "the publications disagree: two Extension services let low-acid vegetables be reduced, the guide itself keeps tested proportions as printed; the stricter holds"
		if l.Vary == Fixed {
			return forbidden(because, "keep the amount as printed", keys...)
		}
		return notCovered(because, "keep the amount as printed, or swap one kind for another", keys...)
	case Thickener:
		if l.Ingredient.Family == FamPectin {
			return forbidden("the set depends on it", "keep the pectin as printed", keysOf(l)...)
		}
	case DrySpice:
		return notCovered("no published statement seen lets this spice change here", "keep it as printed and season when serving")
	}
	if l.Vary == Fixed {
		return forbidden(verb+" it changes tested proportions", "keep the amount as printed", keysOf(l)...)
	}
	return notCovered("no published statement seen lets it change", "keep the amount as printed", l.VaryBy...)
}

// more judges a raised line, or one whose new amount cannot be compared.
func (j *judge) more(d difference) Finding {
	l := *d.before
	if !d.commensurate {
		return notCovered("the new amount cannot be compared with the printed one", "give it in "+l.Amount.Unit.Name(measure.Int(2)), keysOf(l)...)
	}
	switch {
	case l.Vary == Free && l.Role != LowAcid:
		return toTaste("the amount is left to the cook", cite(keysOf(l)...))
	case l.Vary == Free:
		return allowed("proportions may change", cite(keysOf(l)...))
	case j.flavoursJam(l):
		return j.jamFlavour(l.Ingredient)
	}
	switch l.Role {
	case Acid:
		return notCovered("no published statement lets the acid be raised; it is not dangerous by itself, but the proportions are no longer the tested ones", "offset blandness when serving", j.acidRule(l)...)
	case LowAcid:
		if j.redistributed(l) {
			return allowed("another pepper line is smaller by as much and their total has not risen", cite("salsa_pepper_substitution"))
		}
		return forbidden("more low-acid food dilutes the acid that keeps it safe", serveIt, j.lowAcidKeys(l.Ingredient.Family, l.VaryBy)...)
	case FreshHerb:
		if j.family == SalsaFamily {
			return forbidden("fresh herbs are low-acid food", serveIt, "salsa_extra_fresh_cilantro", "only_tested_proportions")
		}
		return notCovered("no published statement lets fresh herbs be raised", serveIt, keysOf(l)...)
	case Salt, Sugar:
		return notCovered("the published statement lets it be cut or left out, not raised", "keep to the printed amount or less", l.VaryBy...)
	case DrySpice:
		return notCovered("no published statement seen lets this spice change here", "keep it as printed and season when serving", l.VaryBy...)
	case Thickener:
		return j.thickener(l.Ingredient)
	}
	if l.Ingredient.Family == FamWater {
		return forbidden("more water dilutes the acid that keeps it safe", "keep the water as printed", keysOf(l)...)
	}
	if l.Ingredient.Family == FamOil {
		return forbidden("oil beyond the recipe is low-acid food, and keeps acid and heat from what it coats", serveIt, keysOf(l)...)
	}
	if l.Vary == KindOnly || l.Vary == NotStated {
		return notCovered("no published statement lets it be raised", "keep the amount as printed", keysOf(l)...)
	}
	return forbidden("raising it changes tested proportions", "keep the amount as printed", keysOf(l)...)
}

// lowAcidKeys are the statements against more of a low-acid food in this family.
func (j *judge) lowAcidKeys(fam Family, own []string) []string {
	var keys []string
	switch j.family {
	case SalsaFamily:
		switch {
		case fam.isPepper():
			keys = []string{"salsa_pepper_substitution"}
		case fam == FamOnion || fam == FamOnionOther:
			keys = []string{"salsa_onion_substitution"}
		}
	case SpaghettiSauce:
		keys = []string{"spaghetti_sauce_vegetables"}
	case SweetSpread, ReducedSugarSpread:
		keys = []string{"jam_low_acid_additions"}
	case TomatoVegetableJuice:
		keys = []string{"tomato_juice_blend_vegetables_max"}
	}
	keys = append(keys, own...)
	return append(keys, "only_tested_proportions", "reduce_low_acid_vegetables_uw")
}

// redistributed says a changed pepper line of a salsa is one of several whose total, in one measure, is what it
// was: the published rule is on the total of peppers. Less than the printed total is another matter.
func (j *judge) redistributed(l Line) bool {
	if j.family != SalsaFamily || !l.Ingredient.Family.isPepper() || !slices.Contains(l.VaryBy, "salsa_pepper_substitution") {
		return false
	}
	var before, after *measure.Quantity
	total := func(sum *measure.Quantity, q measure.Quantity) (*measure.Quantity, bool) {
		if sum == nil {
			return &q, true
		}
		s, err := sum.Add(q)
		return &s, err == nil
	}
	factor := measure.Int(1)
	if j.factor != nil {
		factor = *j.factor
	}
	for i := range j.base.Lines {
		b := &j.base.Lines[i]
		if !b.Ingredient.Family.isPepper() {
			continue
		}
		a := findLine(j.changed, b.ID)
		var ok bool
		if before, ok = total(before, b.Amount.Times(factor)); !ok {
			return false
		}
		if a == nil {
			continue
		}
		if !a.Ingredient.Family.isPepper() {
			return false
		}
		if after, ok = total(after, a.Amount); !ok {
			return false
		}
	}
	for i := range j.changed.Lines {
		if a := &j.changed.Lines[i]; a.Ingredient.Family.isPepper() && findLine(j.base, a.ID) == nil {
			return false
		}
	}
	if before == nil || after == nil {
		return false
	}
	cmp, ok := compareAmounts(*before, *after)
	return ok && cmp == 0
}

// acidFall is the finding when the acid share falls, or cannot be shown not to.
func (j *judge) acidFall(before, after Share, weighAs map[string]Line) (Finding, bool) {
	if j.family.isLowAcid() {
		// Pressure-canned food is not kept by its acid.
		return Finding{}, false
	}
	f := Finding{Kind: AcidShareFall, Verdict: Forbidden, Consequence: ColdOnly, WayOut: "keep the acid and the low-acid food as printed",
		Citations: cite("proportions_vinegar_food_water", "only_tested_proportions")}
	if before.Known() && after.Known() {
		if !after.exact().Less(before.exact()) {
			return Finding{}, false
		}
		f.Change = fmt.Sprintf("acid share: %s to %s", before, after)
		f.Because = "the acid share falls, and that is never allowed"
		return f, true
	}
	if before.total().Sign() == 0 && len(before.Unweighed) == 0 && after.total().Sign() == 0 && len(after.Unweighed) == 0 {
		return Finding{}, false
	}
	// Some lines cannot be weighed: then no acid line may be less and no low-acid line more than before.
	if line, worse := j.dominated(weighAs); worse {
		f.Change = "acid share: not known"
		f.Because = fmt.Sprintf("no published figure weighs every line, and with %s changed it cannot be shown that the acid share does not fall", line)
		return f, true
	}
	return Finding{}, false
}

// dominated finds a line that may have lowered the acid share where not every line can be weighed.
func (j *judge) dominated(weighAs map[string]Line) (string, bool) {
	factor := measure.Int(1)
	if j.factor != nil {
		factor = *j.factor
	}
	for i := range j.base.Lines {
		b := j.base.Lines[i]
		if b.PerJar == "" {
			b.Amount = b.Amount.Times(factor)
		}
		a := findLine(j.changed, b.ID)
		if as, ok := weighAs[b.ID]; ok && a != nil {
			a = &as
		}
		if countsAsAcid(b) {
			if a == nil || !countsAsAcid(*a) {
				return b.ID, true
			}
			if cmp, ok := compareLines(b, *a); !ok || cmp < 0 {
				return b.ID, true
			}
		}
		if a != nil && countsAsLowAcid(*a) {
			if !countsAsLowAcid(b) {
				return b.ID, true
			}
			if cmp, ok := compareLines(b, *a); !ok || cmp > 0 {
				return b.ID, true
			}
		}
	}
	for i := range j.changed.Lines {
		if a := j.changed.Lines[i]; findLine(j.base, a.ID) == nil && countsAsLowAcid(a) {
			return a.ID, true
		}
	}
	return "", false
}
