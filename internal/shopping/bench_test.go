package shopping

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// season is a kitchen's season: 60 classes, 480 batches of 32 formulas, 7,200 ingredient lines, 300 offers.
// shared says whether batches of the same revision share one Formula, as they do when read from the store.
func season(t require.TestingT, shared bool) Request {
	type thing struct{ item, key, amount, prep, role string }
	things := []thing{
		{"onions", "onions", "4 cups", "chopped", lowAcid}, {"onions_red", "onions", "6 cups", "thinly sliced", lowAcid},
		{"bell_peppers_red", "bell_peppers_red", "2 cups", "diced", lowAcid}, {"bell_peppers_green", "bell_peppers_green", "1-1/2 lb", "coarsely grated", lowAcid},
		{"tomatoes", "tomatoes", "10 cups", "peeled, cored, chopped", "fruit"}, {"green_tomatoes", "green_tomatoes", "6 cups", "washed, chopped", "fruit"},
		{"carrots", "carrots", "2-3/4 lb", "peeled, cut in 1/2-inch rounds", lowAcid}, {"celery", "celery", "2-1/2 cups", "chopped", lowAcid},
		{"cucumbers", "cucumbers", "6 lb", "washed, 3/16-inch slices", lowAcid}, {"cauliflower", "cauliflower", "12 cups", "flowerets", lowAcid},
		{"garlic", "garlic", "6 cloves", "finely chopped", lowAcid}, {"jalapeno_peppers", "jalapeno_peppers", "1/2 cup", "seeded, finely chopped", lowAcid},
		{"apples", "apples", "8 lb", "cored", "fruit"}, {"pears", "pears", "2 cups", "peeled, cored, finely chopped", "fruit"},
		{"cranberries", "cranberries", "12 cups", "rinsed", "fruit"}, {"zucchini", "zucchini", "16 cups", "sliced", lowAcid},
		{"vinegar_white", "vinegar_white", "4 cups", "", "acid"}, {"vinegar_cider", "vinegar_cider", "2-1/4 cups", "", "acid"},
		{"sugar", "sugar_granulated", "4-1/2 cups", "", "sugar"}, {"sugar_brown", "sugar_brown", "3 cups", "packed", "sugar"},
		{"salt_canning", "salt_table", "1/2 cup", "", "salt"}, {"mustard_seed", "", "2 tbsp", "", "dry_spice"},
		{"celery_seed", "celery_seed", "1 tbsp", "", "dry_spice"}, {"turmeric", "turmeric_ground", "1 tsp", "", "dry_spice"},
		{"lemon_juice_bottled", "lemon_juice_bottled", "1 cup", "", "acid"}, {"water", "water", "4 cups", "", "other"},
	}
	formula := func(n int) *Formula {
		f := &Formula{Recipe: fmt.Sprintf("recipe-%d", n)}
		for i := range 15 {
			th := things[(n*7+i)%len(things)]
			l := lineOf(t, th.item, th.key, th.amount, th.prep, th.role)
			l.ID = fmt.Sprint(i)
			f.Lines = append(f.Lines, l)
		}
		return f
	}
	formulas := make([]*Formula, 32)
	for n := range formulas {
		formulas[n] = formula(n)
	}
	var r Request
	for c := range 60 {
		var stations []Station
		for s := range 8 {
			n := (c*8 + s) % len(formulas)
			f := formulas[n]
			if !shared {
				f = formula(n)
			}
			stations = append(stations, stationOf(fmt.Sprintf("s%d", s), 2, Batch{ID: fmt.Sprintf("c%d-s%d", c, s), Formula: f, Count: 1, JarSize: "pint", Jars: 8}))
		}
		r.Classes = append(r.Classes, classOf(fmt.Sprintf("c%02d", c), Day(fmt.Sprintf("2026-%02d-%02d", 5+c/10, 1+c%10*2)), stations...))
	}
	for n := range 300 {
		th := things[n%len(things)]
		switch content := n / len(things) % 5; {
		case th.item == "water":
			r.Offers = append(r.Offers, pack(t, fmt.Sprintf("o%d", n), fmt.Sprintf("lid-%d", n), "shop", "12", Box, 329))
		case th.role == "acid":
			o := pack(t, fmt.Sprintf("o%d", n), th.item, "shop", fmt.Sprintf("%d ml", 500*(content+1)), Bottle, int64(150+120*content+n%7))
			o.Acidity = 50
			r.Offers = append(r.Offers, o)
		case th.key == "":
			r.Offers = append(r.Offers, pack(t, fmt.Sprintf("o%d", n), th.item, "shop", fmt.Sprintf("%d ml", 60*(content+1)), Bottle, int64(150+120*content)))
		case content == 0:
			r.Offers = append(r.Offers, loose(t, fmt.Sprintf("o%d", n), th.item, "shop", "1 kg", "100 g", int64(240+n%11)))
		default:
			r.Offers = append(r.Offers, pack(t, fmt.Sprintf("o%d", n), th.item, "shop", fmt.Sprintf("%d g", 500*content+n%3*250), InBag, int64(120*content+90+n%13)))
		}
	}
	return r
}

func TestSeasonIsASeason(t *testing.T) {
	r := season(t, true)
	batches, lines := 0, 0
	for _, c := range r.Classes {
		for _, s := range c.Stations {
			batches += len(s.Batches)
			for _, b := range s.Batches {
				lines += len(b.Formula.Lines)
			}
		}
	}
	require.Equal(t, []int{60, 480, 7_200, 300}, []int{len(r.Classes), batches, lines, len(r.Offers)})
	l := compute(t, r)
	require.Equal(t, int64(480*8), l.Jars)
	for _, it := range l.Items {
		require.True(t, it.Proven, it.Item)
	}
}

// BenchmarkSeason computes the list of a whole season. "own" gives every batch a formula of its own, so that
// nothing is converted once and used again.
func BenchmarkSeason(b *testing.B) {
	for _, c := range []struct {
		name   string
		shared bool
	}{{"shared", true}, {"own", false}} {
		b.Run(c.name, func(b *testing.B) {
			r := season(b, c.shared)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Compute(r); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
