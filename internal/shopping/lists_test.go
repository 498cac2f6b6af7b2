package shopping

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/canning"
	"stillroom/internal/recipe"
)

// printed is a printed recipe as a formula that contributions name by its key.
func printed(t require.TestingT, key string) *Formula {
	r, err := recipe.Published(key)
	require.NoError(t, err)
	f := FormulaOf(r, key)
	f.Title = ""
	return f
}

func batchOf(t require.TestingT, id, key string, count int64, size canning.JarSize, jars int64) Batch {
	return Batch{ID: id, Formula: printed(t, key), Count: count, JarSize: size, Jars: jars}
}

func stocked(t require.TestingT, id, item, content string, used bool) OnHand {
	return OnHand{ID: id, Item: item, Content: quantity(t, content), Used: used}
}

// handOffers are what the hand-worked lists buy from.
func handOffers(t require.TestingT) []Offer {
	offers := []Offer{
		loose(t, "tomatoes-loose", "tomatoes", "", "1 kg", "100 g", 299), pack(t, "tomato-lug", "tomatoes", "", "5 kg", Case, 999),
		loose(t, "onions-loose", "onions", "", "1 kg", "100 g", 240), pack(t, "onions-bag", "onions", "", "2 kg", InBag, 180),
		pack(t, "mango-each", "mangoes", "", "1 each", Single, 119),
		pack(t, "white-vinegar", "vinegar_white", "", "1 l", Bottle, 250), pack(t, "half-pints", "jar_half_pint", "", "12", Case, 999),
		pack(t, "pints", "jar_pint", "", "1 dozen", Case, 1149), pack(t, "lids", "lid", "", "12", Box, 329),
	}
	offers[4].AverageWeight = quantity(t, "310 g")
	offers[5].Acidity = 50
	return offers
}

// The sheets in testdata were worked by hand, line by line: each says which published figure it takes and shows the
// arithmetic. Every line of the computed list must be on the sheet, and the other way round, to a hundredth of a
// gram, millilitre or piece; so must the packs and their cost where the sheet buys any.
func TestHandWorkedLists(t *testing.T) {
	cases := []struct {
		sheet   string
		request Request
	}{
		{"class_salsa_saturday.csv", Request{
			Classes: []Class{classOf("a", "2026-08-22",
				stationOf("1", 2, batchOf(t, "b1", "chile_salsa", 2, canning.Pint, 14)),
				stationOf("2", 2, batchOf(t, "b1", "tomato_green_chile_salsa", 1, canning.Pint, 3)),
				stationOf("3", 2, batchOf(t, "b1", "mango_salsa", 1, canning.HalfPint, 6)))},
			Offers: handOffers(t),
			OnHand: []OnHand{
				stocked(t, "sugar", "sugar_brown", "100 g", false), stocked(t, "lids", "lid", "5", false), stocked(t, "old-lids", "lid", "40", true),
				stocked(t, "bands", "band", "60", true), stocked(t, "jars", "jar_pint", "4", true),
			},
		}},
		{"class_pickle_day.csv", Request{
			Classes: []Class{classOf("b", "2026-09-05",
				stationOf("1", 2, batchOf(t, "b1", "bread_and_butter_pickles", 2, canning.Pint, 16)),
				stationOf("2", 2, batchOf(t, "b1", "pickled_carrots", 1, canning.Pint, 4)),
				stationOf("3", 2, batchOf(t, "b1", "pickled_dilled_beans", 1, canning.Pint, 8)))},
			Offers: append(handOffers(t),
				loose(t, "cucumbers-loose", "pickling_cucumbers", "", "1 kg", "100 g", 450), pack(t, "cucumber-bushel", "pickling_cucumbers", "", "48 lb", Case, 2400),
				pack(t, "carrots-2lb", "carrots", "", "2 lb", InBag, 199), pack(t, "salt-box", "salt_canning", "", "3 lb", Box, 299),
				vinegarGallon(t), pack(t, "sugar-1kg", "sugar", "", "1 kg", InBag, 179), pack(t, "sugar-4lb", "sugar", "", "4 lb", InBag, 399)),
			OnHand:           []OnHand{stocked(t, "salt", "salt_canning", "200 g", false), stocked(t, "sugar", "sugar", "1 kg", false)},
			AllowanceBP:      map[string]int64{"pickling_cucumbers": 750},
			LeaveOutOptional: true,
		}},
		{"class_autumn_preserves.csv", Request{
			Classes: []Class{classOf("c", "2026-10-10",
				stationOf("1", 2, batchOf(t, "b1", "apple_butter", 1, canning.Pint, 8), batchOf(t, "b2", "cranberry_orange_chutney", 2, canning.HalfPint, 16)),
				stationOf("2", 2, batchOf(t, "b1", "golden_pepper_jelly", 2, canning.HalfPint, 10)))},
			Offers: append(handOffers(t)[5:7:7], pack(t, "lids", "lid", "", "12", Box, 329),
				pack(t, "apples-3lb", "apples", "", "3 lb", InBag, 399), pack(t, "sugar-1kg", "sugar", "", "1 kg", InBag, 179),
				pack(t, "sugar-4lb", "sugar", "", "4 lb", InBag, 399), pack(t, "cranberries-12oz", "cranberries", "", "12 oz", InBag, 299)),
			Choices: []Choice{{Group: "sweet_peppers", Parts: []Part{{"bell_peppers_red", 2}, {"bell_peppers_yellow", 1}}}},
		}},
	}
	for _, c := range cases {
		t.Run(c.sheet, func(t *testing.T) {
			compareWithSheet(t, compute(t, c.request), c.sheet)
		})
	}
}

func vinegarGallon(t require.TestingT) Offer {
	o := pack(t, "white-gallon", "vinegar_white", "", "1 gallon", Bottle, 449)
	o.Acidity = 50
	return o
}

func compareWithSheet(t *testing.T, l *List, sheet string) {
	file, err := os.Open(filepath.Join("testdata", sheet))
	require.NoError(t, err)
	defer func() { _ = file.Close() }()
	records, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	column := map[string]int{}
	for i, name := range records[0] {
		column[name] = i
	}
	seen := map[string]bool{}
	lines := 0
	for n, r := range records[1:] {
		get := func(name string) string { return r[column[name]] }
		number := func(name string) float64 {
			f, err := strconv.ParseFloat(get(name), 64)
			require.NoError(t, err, "row %d, %s", n+2, name)
			return f
		}
		where := fmt.Sprintf("row %d, %s", n+2, get("item"))
		it := itemOf(t, l, get("item"))
		switch get("kind") {
		case "line":
			lines++
			var amount, prepared Fine
			for _, contribution := range it.Contributions {
				if l.Conversions[contribution.Conversion].Recipe == get("recipe") {
					amount += contribution.Amount
					prepared += contribution.Prepared
				}
			}
			require.InDelta(t, number("need"), amount.Float64(), 0.01, where)
			if get("yield") != "" {
				require.InDelta(t, number("prepared"), prepared.Float64(), 0.01, where)
			}
		case "item":
			seen[it.Item] = true
			require.Equal(t, get("unit"), string(it.Unit), where)
			require.InDelta(t, number("need"), it.Need.Float64(), 0.01, where)
			require.InDelta(t, number("allowance"), it.Allowance.Float64(), 0.01, where)
			require.InDelta(t, number("on_hand"), it.OnHand.Float64(), 0.01, where)
			require.InDelta(t, number("to_buy"), it.ToBuy.Float64(), 0.01, where)
			var basket []string
			for _, p := range it.Basket {
				basket = append(basket, fmt.Sprintf("%s x%d", p.Offer, p.Count))
			}
			slices.Sort(basket)
			expected := strings.Split(get("basket"), "; ")
			slices.Sort(expected)
			require.Equal(t, strings.Join(expected, "; "), strings.Join(basket, "; "), where)
			if get("cost") != "" {
				require.Equal(t, get("cost"), strconv.FormatInt(it.Cost.Minor, 10), where)
			}
		default:
			require.Fail(t, "unknown kind of row", where)
		}
	}
	contributed := map[[2]string]bool{}
	for _, it := range l.Items {
		require.True(t, seen[it.Item], "%s is on the list and not on the sheet", it.Item)
		for _, c := range it.Contributions {
			if recipe := l.Conversions[c.Conversion].Recipe; recipe != "" {
				contributed[[2]string{it.Item, recipe}] = true
			}
		}
	}
	require.Len(t, contributed, lines, "recipe lines on the list and on the sheet")
}
