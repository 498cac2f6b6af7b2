package shopping

import (
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/measure"
)

// quantity reads "1-1/2 cups" for tests.
func quantity(t require.TestingT, s string) measure.Quantity {
	q, err := measure.ParseQuantity(s)
	require.NoError(t, err, s)
	return q
}

// lineOf is an ingredient line with published figures of its own.
func lineOf(t require.TestingT, item, key, amount, preparation, role string) Line {
	return Line{ID: item, Item: item, Name: item, Key: key, Fit: "exact", Amount: quantity(t, amount), Preparation: preparation, Role: role}
}

const lowAcid = "low_acid_vegetable"

// The row used for a preparation, in the documented order. Weights and yields are those of USDA Standard Reference
// 28 unless the case says otherwise.
func TestNearestRow(t *testing.T) {
	cases := []struct {
		why                      string
		item, amount, prep, role string
		weight, yield            string // forms of the rows; empty: none is needed
		confidence               Confidence
	}{
		{"the cut is printed", "onions", "1 cup", "thinly sliced", lowAcid, "sliced", "stem ends, sprouts and defects removed, raw", Published},
		{"diced is chopped", "onions", "1 cup", "diced in 1/4-inch pieces", lowAcid, "chopped", "stem ends, sprouts and defects removed, raw", Published},
		{"finely chopped is one step from chopped", "onions", "1 cup", "finely chopped", lowAcid, "chopped", "stem ends, sprouts and defects removed, raw", Neighbour},
		{"pieces lie between slices and chopped: the heavier buys more", "bell_peppers_red", "1 cup", "cut in 1/2-inch pieces", lowAcid, "chopped", "stem ends, seeds and core removed, raw", Neighbour},
		{"no cut named and only cut rows: the heavier", "onions", "1 cup", "", lowAcid, "chopped", "stem ends, sprouts and defects removed, raw", Neighbour},
		{"a tablespoon has a row of its own", "onions", "2 tbsp", "chopped", lowAcid, "chopped", "stem ends, sprouts and defects removed, raw", Published},
		{"a quart is cups", "onions", "1 quart", "chopped", lowAcid, "chopped", "stem ends, sprouts and defects removed, raw", Published},
		{"whole berries", "cranberries", "12 cups", "rinsed", "fruit", "whole", "stems and spoiled berries removed, raw", Neighbour},
		{"a row without a cut before one two steps away", "jicama", "3 cups", "peeled, finely chopped", lowAcid, "raw", "ends and skin removed, raw", Neighbour},
		{"peeled apples", "apples", "1 cup", "peeled, cored, sliced", "fruit", "peeled, sliced", "core, stem and skin removed (peeled), raw", Published},
		{"unpeeled apples by default", "apples", "8 lb", "washed, stemmed, quartered, cored", "fruit", "", "core and stem removed, unpeeled, raw", Published},
		{"pared cucumbers", "cucumbers", "1 cup", "peeled, sliced", lowAcid, "pared, sliced", "pared, ends and bruised spots removed, raw", Published},
		{"cucumbers keep their peel unless the line says so", "cucumbers", "4 lb", "washed, 1-inch slices", lowAcid, "", "ends removed, unpeeled, raw", Published},
		{"the cut goes before the peel", "cucumbers", "3 quarts", "chopped", lowAcid, "pared, chopped", "ends removed, unpeeled, raw", Neighbour},
		{"peeled peaches: only a recalled yield fits", "peaches", "10 cups", "peeled, pitted, sliced", "fruit", "sliced", "pitted and peeled, raw", Neighbour},
		{"peeled pears: only a recalled yield fits", "pears", "2 lb", "peeled, cored", "fruit", "", "cored and pared, raw", Neighbour},
		{"peeled onions: the read row fits, the recalled one is not used", "onions", "2 lb", "peeled, quartered", lowAcid, "", "stem ends, sprouts and defects removed, raw", Published},
		{"carrots: likewise", "carrots", "2-3/4 lb", "peeled, cut in 1/2-inch rounds", lowAcid, "", "crown, tops and scrapings removed, raw", Published},
		{"no yield of peeled tomatoes: the unpeeled one, named", "tomatoes", "5 lb", "peeled, cored, coarsely chopped", "fruit", "", "core and stem ends removed, unpeeled, raw", Neighbour},
		{"cherry tomatoes are no tomatoes", "tomatoes", "1 cup", "whole", "fruit", "chopped or sliced, unpeeled", "core and stem ends removed, unpeeled, raw", Neighbour},
		{"a count without a size is medium", "onions", "6", "peeled, thinly sliced", lowAcid, "medium (2-1/2 in), edible part", "stem ends, sprouts and defects removed, raw", Neighbour},
		{"a stated size", "onions", "2", "large, chopped", lowAcid, "large, edible part", "stem ends, sprouts and defects removed, raw", Published},
		{"a dozen is twelve", "carrots", "1 dozen", "medium", lowAcid, "medium, edible part", "crown, tops and scrapings removed, raw", Neighbour},
		{"cloves", "garlic", "6 cloves", "finely chopped", lowAcid, "clove, peeled", "knob and skin removed, raw", Published},
		{"stalks without a size are medium", "celery", "2 stalks", "", lowAcid, "medium stalk (7-1/2 to 8 in), edible part", "roots and trimmings removed, raw", Neighbour},
		{"ears", "corn", "16 ears", "medium", lowAcid, "medium ear, kernels", "kernels cut from cob, raw", Published},
		{"seeds removed, the row takes only the stem", "serrano_peppers", "1/2 cup", "stemmed, seeded, chopped", lowAcid, "chopped", "stems removed, raw", Neighbour},
		{"packed sugar", "sugar_brown", "3 cups", "packed", "sugar", "packed", "", Published},
		{"loose sugar", "sugar_brown", "3 cups", "loosely packed, unpacked", "sugar", "unpacked", "", Published},
		{"packing not stated: the heavier, and both shown", "sugar_brown", "3 cups", "", "sugar", "packed", "", Neighbour},
		{"raisins likewise", "raisins_golden", "2 cups", "", "fruit", "packed", "", Neighbour},
		{"dry goods lose nothing", "sugar_granulated", "4-1/2 cups", "", "sugar", "granulated", "", Published},
	}
	for _, c := range cases {
		t.Run(c.why, func(t *testing.T) {
			got, err := Convert(lineOf(t, c.item, c.item, c.amount, c.prep, c.role))
			require.NoError(t, err)
			require.Positive(t, got.Purchased, got.Remarks)
			form := func(f *Factor) string {
				if f == nil {
					return ""
				}
				return f.Form
			}
			require.Equal(t, c.weight, form(got.Weight))
			require.Equal(t, c.yield, form(got.Yield))
			require.Equal(t, c.confidence, got.Confidence, got.Remarks)
			require.Equal(t, c.confidence == Neighbour, len(got.Remarks) > 0, got.Remarks)
		})
	}
}
