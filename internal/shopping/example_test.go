package shopping_test

import (
	"fmt"
	"os"

	"stillroom/internal/measure"
	"stillroom/internal/recipe"
	"stillroom/internal/shopping"
)

// Two batches of a printed salsa for one station, with onions sold in bags and loose.
func ExampleCompute() {
	salsa, err := recipe.Published("chile_salsa")
	if err != nil {
		fmt.Println(err)
		return
	}
	list, err := shopping.Compute(shopping.Request{
		Classes: []shopping.Class{{ID: "salsa-day", Title: "Salsa day", Day: "2026-08-22", Stations: []shopping.Station{{
			ID:           "bench-1",
			Participants: []shopping.Participant{{ID: "ana"}, {ID: "bo"}},
			Batches:      []shopping.Batch{{ID: "1", Formula: shopping.FormulaOf(salsa, salsa.Key), Count: 2, JarSize: "pint", Jars: 12}},
		}}}},
		Offers: []shopping.Offer{
			{ID: "bag", Item: "onions", Kind: shopping.InBag, Content: measure.Q(measure.Int(1), measure.Kilogram), Price: shopping.Money{Minor: 110, Currency: "USD"}},
			{ID: "loose", Item: "onions", Kind: shopping.Loose, Content: measure.Q(measure.Int(1), measure.Kilogram),
				Step: measure.Q(measure.Int(100), measure.Gram), Price: shopping.Money{Minor: 240, Currency: "USD"}},
		},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, line := range list.Items {
		if line.Item == "onions" {
			fmt.Println("need", shopping.Metric.Amount(line.Need, line.Unit), "as bought")
			fmt.Println("buy", line.BasketText(shopping.Metric), "for", line.Cost)
			for _, c := range line.Contributions {
				conversion := list.Conversions[c.Conversion]
				fmt.Println(c.Times, "x", conversion.Text, "-", conversion.Yield)
			}
		}
	}
	// Output:
	// need 1.1 kg as bought
	// buy 1 × bag of 1 kilogram + 100 g loose, onions for 1.34 USD
	// 2 x 1 pound onions, chopped - yield 0.9 (stem ends, sprouts and defects removed, raw)
}

// The list as a terminal shows it, in US customary units.
func ExampleList_WriteTable() {
	jelly, err := recipe.Published("golden_pepper_jelly")
	if err != nil {
		fmt.Println(err)
		return
	}
	list, err := shopping.Compute(shopping.Request{Classes: []shopping.Class{{ID: "jelly-day", Title: "Jelly day", Day: "2026-09-12",
		Stations: []shopping.Station{{ID: "bench-1", Batches: []shopping.Batch{
			{ID: "1", Formula: shopping.FormulaOf(jelly, jelly.Key), Count: 1, JarSize: "half_pint", Jars: 5}}}}}}})
	if err != nil {
		fmt.Println(err)
		return
	}
	if err := list.WriteTable(os.Stdout, shopping.Customary, false); err != nil {
		fmt.Println(err)
	}
	// Output:
	// 2026-09-12  Jelly day  0 participants  5 jars
	//
	// PRODUCE
	// BUY        ITEM                   NEED       + ALLOWANCE  - ON HAND  AS SOLD        LEFT OVER  COST
	// 2-1/4 oz   Serrano chile peppers  2 oz       1/4 oz                  about 10                        ~
	// 2 lb 2 oz  yellow bell peppers    2 lb 1 oz  1-3/4 oz                about 5 large                   ~
	//
	// DRY GOODS AND SPICES
	// BUY        ITEM           NEED       + ALLOWANCE  - ON HAND  AS SOLD  LEFT OVER  COST
	// 3 oz       liquid pectin  3 oz
	// 2 lb 4 oz  sugar          2 lb 4 oz
	//
	// VINEGAR, JUICE AND OIL
	// BUY         ITEM                          NEED        + ALLOWANCE  - ON HAND  AS SOLD  LEFT OVER  COST
	// 1-1/2 cups  white distilled vinegar (5%)  1-1/2 cups
	//
	// JARS AND SUPPLIES
	// BUY  ITEM            NEED  + ALLOWANCE  - ON HAND  AS SOLD  LEFT OVER  COST
	// 5    bands           5
	// 2    clean towels    2
	// 5    half-pint jars  5
	// 5    labels          5
	// 5    lids, new       5
	//
	// 10 lines: 8 by published figures, 2 by a near figure (~), 0 need a person (?)
	// 10 lines without an offer: serrano_peppers, bell_peppers_yellow, pectin_liquid, sugar, vinegar_white, band, towel, jar_half_pint, label, lid
	//   white distilled vinegar (5%): at least 5 % acidity, on the label
}
