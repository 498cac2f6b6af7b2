package recipe

import (
	"fmt"

	"stillroom/internal/measure"
)

// compareAmounts orders b against a: +1 when b is more. commensurate is false where no conversion exists. An amount
// within a printed range is as printed; one that reaches above it is more, whatever its lower end.
func compareAmounts(a, b measure.Quantity) (cmp int, commensurate bool) {
	in, err := b.In(a.Unit)
	if err != nil {
		return 0, false
	}
	switch {
	case a.Amount.High.Less(in.Amount.High):
		return 1, true
	case in.Amount.Low.Less(a.Amount.Low):
		return -1, true
	}
	return 0, true
}

// unitMisfit says why a unit cannot measure an ingredient; empty when it can.
func unitMisfit(in Ingredient, u measure.Unit) string {
	switch u.Dimension() {
	case measure.Mass, measure.Volume:
		return ""
	case measure.Count:
	default:
		return fmt.Sprintf("is %s, which cannot measure an ingredient", u.Dimension())
	}
	fits := true
	switch u {
	case measure.Clove:
		fits = in.Family == FamGarlic || in.Family == UnknownFamily
	case measure.Ear:
		fits = in.Item == "corn" || in.Family == UnknownFamily
	case measure.Sprig:
		fits = in.Family == FamFreshHerb || in.Family == UnknownFamily
	case measure.Stalk:
		fits = in.Family == FamVegetable || in.Family == FamFruit || in.Family == FamOnionOther || in.Family == UnknownFamily
	case measure.Head, measure.Bunch:
		role := in.Family.defaultRole()
		fits = role == LowAcid || role == FreshHerb || in.Family == UnknownFamily
	}
	switch in.Family.defaultRole() {
	case Acid, Salt:
		fits = false
	}
	if in.Family == FamWater || in.Family == FamOil {
		fits = false
	}
	if fits {
		return ""
	}
	return fmt.Sprintf("is in %s, which cannot measure %s", u.Name(measure.Int(2)), in.Name)
}
