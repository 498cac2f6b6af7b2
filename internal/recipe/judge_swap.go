package recipe

import (
	_ "embed"
	"fmt"
	"slices"
	"sync"

	"stillroom/internal/measure"
)

//go:embed data/alternatives.csv
var alternativesCSV string

// alternative is another ingredient that a printed recipe itself names for a line.
type alternative struct {
	recipe, line, item string
	// amount is the printed amount of the alternative; nil when it is the same.
	amount *measure.Quantity
	// processKey is the product whose process holds then; empty when it is the same.
	processKey string
	statement  string
}

var alternatives = sync.OnceValue(func() []alternative {
	var all []alternative
	for _, row := range mustRows(alternativesCSV, "recipe_key", "line_name", "alternative", "amount_rule", "amount_text", "unit", "process_key", "statement") {
		in, ok := FindIngredient(row[2])
		if !ok {
			panic(fmt.Sprintf("recipe: the ingredient table does not list the alternative %q", row[2]))
		}
		a := alternative{recipe: row[0], line: row[1], item: in.Item, processKey: row[6], statement: row[7]}
		if row[3] == "stated" {
			q, err := measure.ParseQuantity(row[4] + " " + row[5])
			if err != nil {
				panic("recipe: alternative " + row[2] + ": " + err.Error())
			}
			a.amount = &q
		}
		all = append(all, a)
	}
	return all
})

// swap judges another ingredient in a line's place.
func (j *judge) swap(d difference) Finding {
	f := j.swapped(d)
	if f.Verdict.OK() {
		// A permitted swap does not bring a forbidden preparation along.
		if p := j.preparation(d); p.Verdict == Forbidden {
			return p
		}
		if d.after.Role == Acid && d.after.Preparation != "" {
			return notCovered("no published statement speaks of acid prepared some other way", "use it as it comes", j.acidRule(*d.before)...)
		}
	}
	return f
}

func (j *judge) swapped(d difference) Finding {
	if f, ok := j.printedAlternative(d); ok {
		return f
	}
	was, now := d.before.Ingredient.Family, d.after.Ingredient.Family
	if d.before.Role == Acid || d.after.Role == Acid {
		return j.swapAcid(d)
	}
	switch {
	case was.isPepper() && now.isPepper():
		return j.swapPepper(d)
	case (was == FamOnion || was == FamOnionOther) && (now == FamOnion || now == FamOnionOther):
		return j.swapOnion(d)
	case was.isPepper() && now == FamOnion && j.family == SalsaFamily:
		return forbidden("the publications disagree: one Extension service lets hot peppers give way to as much onion, the guide does not let the onions rise; the stricter holds",
			"use as much of a milder pepper instead", "salsa_onion_substitution", "salsa_only_safe_changes_msu")
	case was == FamTomato && (now == FamGreenTomato || now == FamTomatillo) && slices.Contains(d.before.VaryBy, "salsa_green_tomato_or_tomatillo_for_tomato"):
		return j.likeForLike(d, "green tomatoes and tomatillos may replace ripe tomatoes in these salsas", "salsa_green_tomato_or_tomatillo_for_tomato")
	case d.before.Role == Salt && d.after.Role == Salt:
		return j.swapSalt(d)
	case d.before.Role == DrySpice && now == FamDrySpice && j.spicesFree(*d.before):
		return toTaste("dried spices are left to the cook", cite(append(slices.Clone(keysOf(*d.before)), "salsa_only_safe_changes_msu")...))
	case d.before.Role == Sugar && d.after.Role == Sugar:
		return notCovered("the published statements let sugar be cut or left out, and none seen lets another sweetener take its place", "keep the sugar as printed, or cut it where the recipe allows it", keysOf(*d.before)...)
	case j.family == MixedVegetables && d.before.Role == LowAcid && d.after.Role == LowAcid:
		return j.mixedVegetable(d.after.Ingredient)
	}
	if f, bad := j.neverIn(d.after.Ingredient); bad {
		return f
	}
	if d.before.Role == DrySpice || d.before.Role == FreshHerb {
		return notCovered("no published statement seen lets another take its place here", "keep it as printed and season when serving", keysOf(*d.before)...)
	}
	keys := append(slices.Clone(keysOf(*d.before)), "only_tested_proportions")
	if d.before.Vary == Fixed {
		return forbidden("another ingredient in its place is another recipe, and this one was tested as printed", serveIt, keys...)
	}
	return notCovered("no published statement lets this ingredient take its place", serveIt, keys...)
}

// printedAlternative is a swap that the printed recipe itself names.
func (j *judge) printedAlternative(d difference) (Finding, bool) {
	printed := published(j.base.Key)
	if printed == nil || j.base.BasedOn != j.base.Key {
		return Finding{}, false
	}
	line, ok := printed.Line(d.before.ID)
	if !ok {
		return Finding{}, false
	}
	for _, a := range alternatives() {
		if a.recipe != j.base.Key || a.line != line.Ingredient.Name || a.item != d.after.Ingredient.Item {
			continue
		}
		most := *d.before
		if a.amount != nil {
			most.Amount = *a.amount
			if j.factor != nil {
				most.Amount = most.Amount.Times(*j.factor)
			}
		}
		cmp, commensurate := compareLines(most, *d.after)
		if !commensurate || cmp != 0 {
			return notCovered("the recipe names this alternative, in the amount of "+most.amountText(), "use "+most.amountText()), true
		}
		f := allowed("the recipe itself names this alternative", []Citation{citeRecipe(j.base, a.statement+".")})
		f.likeForLike, f.asPrinted = a.amount == nil, a.amount != nil
		if a.processKey != "" {
			f.Consequence, f.ProcessKey = AnotherProcess, a.processKey
			f.Because += "; its process is printed as " + a.processKey
		}
		return f, true
	}
	return Finding{}, false
}

// likeForLike allows a swap whose amount, in the printed measure, does not rise.
func (j *judge) likeForLike(d difference, because string, keys ...string) Finding {
	if !d.commensurate {
		// A count cannot be repeated in another kind: then the masses must be known and not rise. Otherwise the
		// printed measure is there to be used.
		if d.before.Amount.Unit.Dimension() != measure.Count {
			return notCovered("the amount is in another measure than the printed one", "give it in "+d.before.Amount.Unit.Name(measure.Int(2)), keys...)
		}
		was, now := WeightOf(*d.before, j.base.Yield), WeightOf(*d.after, j.changed.Yield)
		switch {
		case !was.Known || !now.Known:
			return notCovered("the amounts cannot be compared by any published figure", "give it in "+d.before.Amount.Unit.Name(measure.Int(2)), keys...)
		case was.Grams.Cmp(now.Grams) < 0:
			return forbidden(fmt.Sprintf("%s weighs %s and the printed %s %s, and the total may not rise", d.after.amountText(), now.Grams, d.before.amountText(), was.Grams), "use no more than "+was.Grams.String(), keys...)
		}
		return allowed(because, cite(keys...))
	}
	if d.cmp > 0 {
		return forbidden("one kind may replace another, but the total may not rise", "use no more than "+d.before.amountText(), keys...)
	}
	if d.cmp < 0 && d.before.Role == LowAcid {
		return notCovered("the publications disagree on using less: two Extension services let low-acid vegetables be reduced, the guide keeps tested proportions; the stricter holds",
			"use as much as printed", append(slices.Clone(keys), "reduce_low_acid_vegetables_uw", "reduce_low_acid_vegetables_ndsu")...)
	}
	if d.cmp < 0 {
		return notCovered("it may replace the printed ingredient in the same amount, and nothing published speaks of less", "use as much as printed", keys...)
	}
	f := allowed(because, cite(keys...))
	f.likeForLike = true
	return f
}

// swapPepper judges one pepper for another.
func (j *judge) swapPepper(d difference) Finding {
	l := *d.before
	if l.Vary != KindOnly {
		return forbidden("this recipe was tested with the pepper it names", "use the pepper as printed", keysOf(l)...)
	}
	if j.family == SalsaFamily && slices.Contains(l.VaryBy, "salsa_pepper_substitution") {
		keys := []string{"salsa_pepper_substitution"}
		if d.after.Ingredient.Family == FamPepperCanned {
			keys = append(keys, "salsa_canned_chiles_for_fresh")
		}
		if j.redistributed(l) && d.commensurate && d.cmp < 0 {
			return allowed("another pepper line is larger by as much and their total has not risen", cite(keys...))
		}
		if l.Amount.Unit.Dimension() == measure.Count && d.after.Amount.Unit.Dimension() == measure.Count {
			return j.pepperCount(d, keys)
		}
		return j.likeForLike(d, "one pepper may replace another, mild for hot, as long as the total does not rise", keys...)
	}
	// Marinated peppers mix hot and mild; golden pepper jelly keeps sweet for sweet and hot for hot.
	was, now := l.Ingredient.Family, d.after.Ingredient.Family
	if was == now || was == FamPepperMixed && now != FamPepperCanned {
		f := j.likeForLike(d, "the recipe lets another pepper of this kind be used", keysOf(l)...)
		if f.Verdict.OK() && l.Note != "" {
			f.Citations = append([]Citation{citeRecipe(j.base, "On this line: "+l.Note+".")}, f.Citations...)
		}
		return f
	}
	return notCovered("the recipe lets a pepper of the same kind be used and says nothing of this one", "use a pepper of the same kind", keysOf(l)...)
}

// pepperCount judges peppers counted in pieces: a count of large ones may not replace a count of small ones.
func (j *judge) pepperCount(d difference, keys []string) Finding {
	was, now := WeightOf(*d.before, j.base.Yield), WeightOf(*d.after, j.changed.Yield)
	if !was.Known || !now.Known || was.Grams.Cmp(now.Grams) < 0 {
		return forbidden("a count of large peppers may not replace a count of small ones", "weigh the printed peppers and use no more of the other", keys...)
	}
	return allowed("one pepper may replace another, and these weigh no more", cite(keys...))
}

// swapOnion judges one onion for another.
func (j *judge) swapOnion(d difference) Finding {
	l := *d.before
	if l.Vary == KindOnly && slices.Contains(l.VaryBy, "salsa_onion_substitution") && d.after.Ingredient.Family == FamOnion {
		return j.likeForLike(d, "red, yellow and white onions may replace each other, as long as the total does not rise", "salsa_onion_substitution")
	}
	// "Onions" names no colour: any dry onion is what is printed.
	if l.Ingredient.Item == "onions" && d.after.Ingredient.Family == FamOnion && d.commensurate && d.cmp == 0 {
		f := allowed("the recipe prints onions and names no colour", []Citation{citeRecipe(j.base, "Prints "+l.Ingredient.Name+", with no colour.")})
		f.likeForLike = true
		return f
	}
	if l.Vary == Fixed {
		return forbidden("this recipe was tested with the onion it names", "use the onion as printed", keysOf(l)...)
	}
	return notCovered("the published statement speaks of red, yellow and white onions", "use red, yellow or white onions", keysOf(l)...)
}

// swapAcid judges a swap with acid on either side.
func (j *judge) swapAcid(d difference) Finding {
	was, now := d.before.Ingredient.Family, d.after.Ingredient.Family
	if d.before.Role != Acid {
		return notCovered("acid in place of a food changes tested proportions", "keep the recipe as printed", append(slices.Clone(keysOf(*d.before)), "only_tested_proportions")...)
	}
	if d.after.Role != Acid {
		f := forbidden("acid keeps this food safe, and nothing else takes its place", "keep the acid as printed", j.acidRule(*d.before)...)
		f.WayOut = "keep the acid; offset tartness with sugar where the recipe allows it"
		return f
	}
	switch now {
	case FamVinegarUnknown:
		keys := []string{"vinegar_unknown_acidity", "vinegar_acidity_recommended"}
		if j.family == SalsaFamily {
			keys = append(keys, "homemade_vinegar_in_salsa")
		}
		return forbidden("its acidity is not known", "use commercial vinegar that states 5 percent acidity", keys...)
	case FamVinegarWeak:
		return forbidden("it is weaker than 5 percent", "use vinegar that states 5 percent acidity", "vinegar_acidity_recommended")
	case FamCitrusFresh:
		return forbidden("the acidity of fresh juice is not known", "use bottled juice", append([]string{"homemade_vinegar_in_salsa"}, j.acidRule(*d.before)...)...)
	}
	if f, ok := j.tomatoAcid(d); ok {
		return f
	}
	less := func() (Finding, bool) {
		if !d.commensurate {
			return notCovered("the amounts cannot be compared", "give it in "+d.before.Amount.Unit.Name(measure.Int(2)), j.acidRule(*d.before)...), true
		}
		if d.cmp < 0 {
			return forbidden("less acid takes away what keeps this food safe", "use as much as printed", j.acidRule(*d.before)...), true
		}
		return Finding{}, false
	}
	switch {
	case was == FamVinegar5 && now == FamCitrusBottled && slices.Contains(d.before.VaryBy, "salsa_lemon_for_vinegar"):
		if f, bad := less(); bad {
			return f
		}
		if d.cmp > 0 {
			return notCovered("bottled lemon juice may replace vinegar in equal amount, not in more", "use as much as printed", "salsa_lemon_for_vinegar")
		}
		return allowed("bottled lemon juice may replace vinegar in equal amount", cite("salsa_lemon_for_vinegar", "salsa_acid_reduce"))
	case (was == FamCitrusBottled || was == FamCitrusEither || was == FamLimeBottled) && now == FamVinegar5:
		if j.family == SalsaFamily {
			return forbidden("vinegar is weaker than lemon juice", "keep the lemon juice", "salsa_vinegar_for_lemon", "salsa_acid_reduce")
		}
		return forbidden("vinegar is weaker than lemon juice", "keep the lemon juice", append([]string{"salsa_vinegar_for_lemon"}, j.acidRule(*d.before)...)...)
	case was == FamVinegar5 && now == FamVinegar5 && d.before.Ingredient.Item == "vinegar":
		if f, bad := less(); bad {
			return f
		}
		if d.cmp == 0 {
			return allowed("the recipe prints 5 percent vinegar and names no kind", append([]Citation{citeRecipe(j.base, "Prints "+d.before.Ingredient.Name+", with no kind.")}, cite("vinegar_acidity_recommended")...))
		}
	}
	if j.family == PieFilling {
		return forbidden("the lemon juice of a pie filling is not altered", "keep it as printed", "pie_filling_lemon_juice")
	}
	return notCovered("no published statement lets this acid take the place of that one", "use the acid as printed", j.acidRule(*d.before)...)
}

// tomatoAcid judges one acidifier for another where the guide prints their equivalents for each quart.
func (j *judge) tomatoAcid(d difference) (Finding, bool) {
	doses, ok := acidDoses[j.base.ProcessKey]
	if !ok {
		return Finding{}, false
	}
	was, okWas := doses[d.before.Ingredient.Family]
	now, okNow := doses[d.after.Ingredient.Family]
	if !okWas || !okNow {
		return Finding{}, false
	}
	a, okA := acidifies(doses, *d.before, j.base.Yield)
	b, okB := acidifies(doses, *d.after, j.base.Yield)
	if !okA || !okB || b.Less(a) {
		return forbidden("it acidifies fewer quarts than the printed acid does", "use the printed amount for each quart", was, now), true
	}
	if a.Less(b) {
		return notCovered("it is more than the printed amount for each quart", "use the printed amount for each quart", was, now), true
	}
	f := allowed("the guide prints this acid, in this amount, as an equivalent", cite(was, now))
	f.asPrinted = true
	return f, true
}

// swapSalt judges one salt for another.
func (j *judge) swapSalt(d difference) Finding {
	now := d.after.Ingredient.Family
	if j.family == Fermented && now == FamSaltReduced {
		return forbidden("fermented pickles need their salt", "use canning salt", "reduced_sodium_salt_fermented", "salt_fermented")
	}
	switch now {
	case FamSaltFlake:
		return notCovered("flake salt is not recommended because its density varies", "use canning salt, or weigh it", "salt_type")
	case FamSaltReduced:
		return notCovered("no published statement seen lets reduced-sodium salt take its place here", "cut the salt instead, where the recipe allows it", "salt_type")
	}
	if !d.commensurate || d.cmp > 0 {
		if d.before.Vary == Free && d.commensurate {
			return toTaste("the amount is left to the cook", cite("salt_type", "salsa_dried_spices_herbs"))
		}
		return notCovered("another salt may be used in the printed amount or less", "use the printed amount", "salt_type")
	}
	if d.cmp < 0 && (d.before.Vary == Fixed || d.before.Vary == NotStated) {
		return notCovered("no published statement seen lets the salt of this recipe be cut", "use the printed amount", "salt_type")
	}
	return allowed("table salt is safe, though it may cloud the brine", cite("salt_type"))
}

// spicesFree says dried spices of this recipe are left to the cook.
func (j *judge) spicesFree(l Line) bool {
	return l.Vary == Free && (j.family == SalsaFamily || j.family == FruitSalsaFamily)
}
