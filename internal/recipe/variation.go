package recipe

// defaultVariation is what may vary in a line of a formula outside the printed library, by what the publications say
// of its product. It never says more than the printed recipes of that family do.
func defaultVariation(family ProductFamily, l Line) (Variation, []string) {
	tested := []string{"proportions_vinegar_food_water", "only_tested_proportions"}
	only := []string{"only_tested_proportions"}
	if l.Optional && (l.Role == LowAcid || l.Role == FreshHerb || l.Role == DrySpice) {
		return OmitOK, only
	}
	switch family {
	case SalsaFamily:
		return salsaVariation(l)
	case PieFilling:
		switch l.Role {
		case Acid:
			return Fixed, []string{"pie_filling_lemon_juice"}
		case Sugar, DrySpice:
			return Free, []string{"pie_filling_lemon_juice"}
		}
	case MixedVegetables:
		if l.Role == LowAcid {
			return Free, []string{"mixed_vegetables_proportions"}
		}
	case SpaghettiSauce:
		if l.Role == LowAcid {
			return Fixed, []string{"spaghetti_sauce_vegetables"}
		}
	}
	switch l.Role {
	case Acid:
		if family == TomatoProduct || family == TomatoVegetableJuice {
			return Fixed, []string{"tomato_acid_needed_when_pressure_canned"}
		}
		if family == FruitProduct {
			return Fixed, only
		}
		return Fixed, tested
	case Salt:
		switch family {
		case Fermented:
			return Fixed, []string{"salt_fermented"}
		case QuickPickle, TomatoProduct, TomatoVegetable, TomatoVegetableJuice, SpaghettiSauce, VegetableProduct, MixedVegetables:
			return ReduceOnly, []string{"salt_quick_pickles"}
		}
		return NotStated, nil
	case Sugar:
		switch family {
		case SweetSpread:
			return Fixed, []string{"sugar_traditional_jam"}
		case QuickPickle, FruitProduct, TomatoProduct, TomatoVegetable, SpaghettiSauce:
			return ReduceOnly, []string{"sugar_quick_pickles"}
		}
		return NotStated, nil
	case DrySpice:
		if family == SweetSpread {
			return NotStated, []string{"jam_flavouring_max"}
		}
		return NotStated, nil
	case FreshHerb:
		return NotStated, nil
	case Thickener:
		return Fixed, only
	}
	if family == NoFamily {
		return NotStated, nil
	}
	return Fixed, tested
}

// salsaVariation follows the statements on the salsa recipes of Guide 3.
func salsaVariation(l Line) (Variation, []string) {
	fam := l.Ingredient.Family
	switch {
	case fam.isPepper():
		return KindOnly, []string{"salsa_pepper_substitution"}
	case fam == FamOnion:
		return KindOnly, []string{"salsa_onion_substitution"}
	case fam == FamTomato:
		return KindOnly, []string{"salsa_green_tomato_or_tomatillo_for_tomato", "salsa_drain_tomatoes"}
	case fam == FamVinegar5:
		return KindOnly, []string{"salsa_acid_reduce", "salsa_lemon_for_vinegar"}
	case l.Role == Acid:
		return Fixed, []string{"salsa_acid_reduce", "salsa_vinegar_for_lemon"}
	case l.Role == Salt, l.Role == DrySpice:
		return Free, []string{"salsa_dried_spices_herbs"}
	case l.Role == FreshHerb:
		return NotStated, []string{"salsa_extra_fresh_cilantro"}
	case l.Role == Sugar:
		return NotStated, nil
	}
	return Fixed, []string{"proportions_vinegar_food_water", "only_tested_proportions"}
}
