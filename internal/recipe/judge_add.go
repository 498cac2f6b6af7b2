package recipe

import (
	"slices"

	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// figure is the number of a fact whose key is written in this package.
func figure(key string) measure.Number {
	n, err := reference.MustFact(key).Number()
	if err != nil {
		panic("recipe: " + err.Error())
	}
	return n
}

// addition judges a new line.
func (j *judge) addition(d difference) Finding {
	in := d.after.Ingredient
	if f, bad := j.neverIn(in); bad {
		return f
	}
	if j.isJamFlavour(in) {
		return j.jamFlavour(in)
	}
	switch d.after.Role {
	case DrySpice:
		return j.addSpice(in)
	case FreshHerb:
		if j.family == SalsaFamily {
			return forbidden("fresh herbs are low-acid food; the salsas take no more of them before canning", serveIt, "salsa_extra_fresh_cilantro", "only_tested_proportions")
		}
		return notCovered("no published statement lets fresh herbs be added", serveIt, "only_tested_proportions")
	case LowAcid:
		if j.family == MixedVegetables {
			return j.mixedVegetable(in)
		}
		if j.family == TomatoVegetableJuice {
			return j.juiceVegetable(d)
		}
		if j.family.isLowAcid() && j.family != SpaghettiSauce {
			return notCovered("the process was not tested with it", serveIt, "only_tested_proportions")
		}
		return forbidden("more low-acid food dilutes the acid that keeps it safe, and the process was not tested with it", serveIt, j.lowAcidKeys(in.Family, nil)...)
	case Acid:
		return notCovered("added acid is not dangerous by itself, but no published statement lets the proportions change", "add it when serving", j.acidRule(Line{Ingredient: in})...)
	case Salt:
		return notCovered("no published statement lets salt be added to this recipe", "salt it when serving", "only_tested_proportions")
	case Sugar:
		if j.family == PieFilling {
			return toTaste("sugar may be adjusted", cite("pie_filling_lemon_juice"))
		}
		return notCovered("no published statement lets sugar be added to this recipe", "sweeten it when serving", "only_tested_proportions")
	case Thickener:
		return j.thickener(in)
	case Fruit:
		if j.family == SweetSpread {
			return notCovered("another fruit is another recipe", "use a tested recipe for that fruit", "only_tested_proportions")
		}
		return notCovered("no published statement lets it be added, and the process was not tested with it", serveIt, "only_tested_proportions")
	}
	if in.Family == FamWater {
		return forbidden("more water dilutes the acid that keeps it safe", "keep the water as printed", "proportions_vinegar_food_water")
	}
	return notCovered("no published statement lets it be added, and the process was not tested with it", serveIt, "only_tested_proportions")
}

// neverIn finds what no boiling-water recipe takes: meat, fish, dairy, oil, starch, pasta and the like.
func (j *judge) neverIn(in Ingredient) (Finding, bool) {
	lowAcidReason := []string{"low_acid_method", "ph_acid_boundary", "only_tested_proportions"}
	switch in.Family {
	case FamStarch:
		return j.thickener(in), true
	case FamPastaGrain, FamDairy:
		if j.family == Soup {
			return forbidden("it keeps heat from reaching the middle of the jar", serveIt, "soup_additions_forbidden"), true
		}
		return forbidden("it is low-acid food and thickens, so that heat and acid do not reach the middle of the jar", serveIt, lowAcidReason...), true
	case FamSeafood:
		if j.family == Soup {
			if j.base.ProcessKey == "soups_with_seafood" {
				return notCovered("the table is for soups with seafood, and what else goes in is another recipe", serveIt, "soup_with_seafood_process"), true
			}
			f := allowed("soups with seafood have a process of their own", cite("soup_with_seafood_process"))
			f.Consequence, f.ProcessKey = AnotherProcess, "soups_with_seafood"
			return f, true
		}
		return forbidden("fish is low-acid food and this process is not for it", serveIt, lowAcidReason...), true
	case FamMeat:
		if j.family == Soup {
			return notCovered("no published statement seen speaks of adding it to this soup", serveIt, "only_tested_proportions"), true
		}
		if j.base.ProcessKey == "spaghetti_sauce_without_meat" {
			return notCovered("the sauce with meat is a recipe of its own with its own process", "use the printed recipe with meat", "only_tested_proportions"), true
		}
		return forbidden("meat is low-acid food and this process is not for it", serveIt, lowAcidReason...), true
	case FamOil:
		return forbidden("oil beyond the recipe is low-acid food, and keeps acid, heat and air from what it coats", serveIt, "only_tested_proportions", "botulinum_oxygen_below"), true
	case FamLowAcidOther, FamDriedBeans, FamCreamCorn:
		if j.family == MixedVegetables {
			return j.mixedVegetable(in), true
		}
		return forbidden("it is low-acid food and the process was not tested with it", serveIt, append(j.lowAcidKeys(in.Family, nil), lowAcidReason...)...), true
	case UnknownFamily:
		return notCovered("this program does not know the ingredient, and treats it as low-acid food", serveIt, "only_tested_proportions"), true
	}
	return Finding{}, false
}

// thickener judges starch and pectin.
func (j *judge) thickener(in Ingredient) Finding {
	if in.Family == FamPectin {
		return notCovered("pectin is measured for one tested recipe", "use a tested recipe with added pectin", "only_tested_proportions")
	}
	keys := []string{"only_tested_proportions"}
	switch j.family {
	case SalsaFamily, FruitSalsaFamily:
		keys = []string{"salsa_thickener_before_canning"}
	case Soup:
		keys = []string{"soup_additions_forbidden"}
	}
	return forbidden("starch keeps heat from reaching the middle of the jar", "thicken it when serving, or refrigerate or freeze this version", keys...)
}

// addSpice judges an added dried spice.
func (j *judge) addSpice(in Ingredient) Finding {
	switch j.family {
	case SalsaFamily, FruitSalsaFamily:
		for _, l := range j.base.Lines {
			if l.Role == DrySpice && l.Vary == Free {
				return toTaste("dried spices are left to the cook, in kind and in amount", cite(append(slices.Clone(l.VaryBy), "salsa_only_safe_changes_msu")...))
			}
		}
	case Chutney:
		if j.base.ProcessKey == "cranberry_orange_chutney" {
			return toTaste("other dried spices may be added", cite("chutney_dried_spices_cranberry"))
		}
	case PieFilling:
		return toTaste("spice may be adjusted", cite("pie_filling_lemon_juice"))
	}
	return notCovered("no published statement seen lets "+in.Name+" be added here", "season when serving", "only_tested_proportions")
}

// isJamFlavour says an ingredient could be the small amount of flavouring a tested fruit jam or jelly may take.
func (j *judge) isJamFlavour(in Ingredient) bool {
	if j.family != SweetSpread {
		return false
	}
	for _, l := range j.base.Lines {
		// The statement is on fruit jams and jellies, not on pepper jelly.
		if l.Role == LowAcid {
			return false
		}
	}
	return in.Family == FamDrySpice || in.Family == FamFreshHerb || in.Family == FamFlavouring
}

// flavoursJam says a printed line is such a flavouring.
func (j *judge) flavoursJam(l Line) bool {
	return slices.Contains(l.VaryBy, "jam_flavouring_max") && j.isJamFlavour(l.Ingredient)
}

// jamFlavour judges the flavouring of a fruit jam: all that was added together stays within the published amount.
func (j *judge) jamFlavour(in Ingredient) Finding {
	most := figure("jam_flavouring_max")
	sum := measure.Int(0)
	for i := range j.changed.Lines {
		a := &j.changed.Lines[i]
		if !j.isJamFlavour(a.Ingredient) {
			continue
		}
		q, err := a.PerBatch(j.changed.Yield).In(measure.Teaspoon)
		if err != nil {
			return notCovered("the published amount is in teaspoons and this is not", "give it in teaspoons", "jam_flavouring_max")
		}
		more := q.Amount.High
		if b := findLine(j.base, a.ID); b != nil {
			printed, err := b.PerBatch(j.base.Yield).In(measure.Teaspoon)
			if err != nil {
				return notCovered("the printed amount is not in teaspoons", "keep it as printed", "jam_flavouring_max")
			}
			if more = more.Sub(printed.Amount.High); more.Sign() < 0 {
				more = measure.Int(0)
			}
		}
		sum = sum.Add(more)
	}
	if most.Less(sum) {
		return forbidden("all added flavouring together is "+sum.String()+" teaspoons for a batch, and the most is "+most.String(), "add no more than "+most.String()+" teaspoon in all", "jam_flavouring_max")
	}
	return allowed("a small amount of herb or other flavouring may go into a tested fruit jam", cite("jam_flavouring_max"))
}

// mixedVegetable judges another vegetable in pressure-canned mixed vegetables.
func (j *judge) mixedVegetable(in Ingredient) Finding {
	switch in.Family {
	case FamLeafyGreens, FamDriedBeans, FamCreamCorn, FamWinterSquash, FamSweetPotato:
		return forbidden("this vegetable is among those named as not to be used", "leave it out, or can it by its own process", "mixed_vegetables_proportions")
	case FamVegetable, FamPepperMild, FamPepperHot, FamOnion, FamGarlic, FamOnionOther:
		if in.Item == "pumpkin" || in.Item == "yellow_summer_squash" || in.Item == "zucchini" {
			return forbidden("squash is among the vegetables named as not to be used", "leave it out", "mixed_vegetables_proportions")
		}
		return allowed("proportions may change and other vegetables be used", cite("mixed_vegetables_proportions"))
	}
	return notCovered("no published statement lets it be used", "leave it out", "mixed_vegetables_proportions")
}

// juiceVegetable judges vegetables in a tomato-vegetable juice blend, whose total is limited for each 22 lb of
// tomatoes.
func (j *judge) juiceVegetable(difference) Finding {
	var cups, pounds measure.Number
	for _, l := range j.changed.Lines {
		switch {
		case l.Role == LowAcid:
			q, err := l.PerBatch(j.changed.Yield).In(measure.Cup)
			if err != nil {
				return notCovered("the limit is in cups and "+l.ID+" is not", "give it in cups", "tomato_juice_blend_vegetables_max")
			}
			cups = cups.Add(q.Amount.High)
		case l.Ingredient.Family == FamTomato:
			q, err := l.PerBatch(j.changed.Yield).In(measure.Pound)
			if err != nil {
				return notCovered("the limit is for a weight of tomatoes and "+l.ID+" has none", "give the tomatoes in pounds", "tomato_juice_blend_vegetables_max")
			}
			pounds = pounds.Add(q.Amount.Low)
		}
	}
	const tomatoPounds = 22
	most := figure("tomato_juice_blend_vegetables_max").Mul(pounds).Div(measure.Int(tomatoPounds))
	if most.Less(cups) {
		return forbidden("all vegetables together are "+cups.String()+" cups, and the most for these tomatoes is "+most.String(), "use fewer vegetables", "tomato_juice_blend_vegetables_max")
	}
	return allowed("all vegetables together stay within the published limit", cite("tomato_juice_blend_vegetables_max"))
}
