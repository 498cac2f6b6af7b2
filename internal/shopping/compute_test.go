package shopping

import (
	"encoding/json"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// relish is a small formula for tests of counting; its amounts are round.
func relish(t require.TestingT) *Formula {
	return &Formula{Recipe: "relish", Title: "Relish", Lines: []Line{
		lineOf(t, "onions", "onions", "1 lb", "peeled, chopped", lowAcid),
		lineOf(t, "bell_peppers_red", "bell_peppers_red", "2 cups", "chopped", lowAcid),
		{ID: "vinegar", Item: "vinegar", Name: "vinegar (5%)", Key: "vinegar_white", Fit: "exact", Amount: quantity(t, "2 cups"), Role: "acid"},
		lineOf(t, "sugar", "sugar_granulated", "1 cup", "", "sugar"),
		{ID: "mustard", Item: "mustard_seed", Name: "mustard seed", Amount: quantity(t, "2 tbsp"), Role: "dry_spice", FitNote: "No measure is printed for whole mustard seed", Fit: "none"},
	}}
}

func classOf(id string, day Day, stations ...Station) Class {
	return Class{ID: id, Title: "Class " + id, Day: day, Stations: stations}
}

func stationOf(id string, people int, batches ...Batch) Station {
	s := Station{ID: id, Name: "Station " + id, Batches: batches}
	for i := range people {
		s.Participants = append(s.Participants, Participant{ID: fmt.Sprintf("%s-p%d", id, i+1), Name: fmt.Sprintf("Person %d", i+1)})
	}
	return s
}

func pack(t require.TestingT, id, item, shop, content string, kind OfferKind, price int64) Offer {
	return Offer{ID: id, Item: item, Label: id, Shop: shop, Kind: kind, Content: quantity(t, content), Price: Money{price, "USD"}}
}

func loose(t require.TestingT, id, item, shop, content, step string, price int64) Offer {
	o := pack(t, id, item, shop, content, Loose, price)
	o.Step = quantity(t, step)
	return o
}

func itemOf(t require.TestingT, l *List, item string) Item {
	for _, it := range l.Items {
		if it.Item == item {
			return it
		}
	}
	require.Fail(t, "no line", item)
	return Item{}
}

func fine(t require.TestingT, s string) Fine {
	f, _, err := fineOf(quantity(t, s), roundUp)
	require.NoError(t, err)
	return f
}

func compute(t require.TestingT, r Request) *List {
	l, err := Compute(r)
	require.NoError(t, err)
	return l
}

func TestOunceFractionsAreWholeFineUnits(t *testing.T) {
	for _, s := range []string{"1 oz", "1-3/4 oz", "1/8 oz", "3/8 lb", "1/4 tsp", "1/3 tbsp"} {
		q := quantity(t, s)
		up, _, err := fineOf(q, roundUp)
		require.NoError(t, err)
		down, _, err := fineOf(q, roundDown)
		require.NoError(t, err)
		require.Equal(t, up, down, "%s: a need is met exactly by a pack of the same size", s)
	}
}

// The arithmetic of one line, end to end, by hand:
//
//	2 batches x 1 lb peeled onions = 2 x 453.59237 g = 907.18474 g prepared
//	yield 0.90 (SR 28): 907.18474 / 0.9 = 1007.98304 g as purchased
//	allowance 5 %: 50.39915 g; on hand 300 g; to buy 758.38220 g
//	sold loose at 2.40 a kilogram by 100 g: 8 steps, 1.92; in bags of 2 kg at 1.80: one bag
func TestLineByHand(t *testing.T) {
	r := Request{
		Classes: []Class{classOf("sat", "2026-08-22", stationOf("1", 2, Batch{ID: "b1", Formula: relish(t), Count: 2, JarSize: "pint", Jars: 8}))},
		Offers: []Offer{
			loose(t, "loose-onions", "onions", "greengrocer", "1 kg", "100 g", 240),
			pack(t, "bag-onions", "onions", "market", "2 kg", InBag, 180),
		},
		OnHand: []OnHand{{ID: "cellar", Item: "onions", Content: quantity(t, "300 g")}},
	}
	it := itemOf(t, compute(t, r), "onions")
	require.InDelta(t, 907.18474, it.Prepared.Float64(), 1e-5)
	require.InDelta(t, 1007.98304, it.Need.Float64(), 1e-5)
	require.InDelta(t, 50.39915, it.Allowance.Float64(), 1e-5)
	require.Equal(t, fine(t, "300 g"), it.OnHand)
	require.InDelta(t, 758.38220, it.ToBuy.Float64(), 1e-5)
	require.Len(t, it.Basket, 1)
	require.Equal(t, "bag-onions", it.Basket[0].Offer, "a bag of 2 kg costs less than 800 g loose")
	require.Equal(t, Money{180, "USD"}, it.Cost)

	r.Shop = "greengrocer"
	it = itemOf(t, compute(t, r), "onions")
	require.Equal(t, int64(8), it.Basket[0].Count)
	require.Equal(t, Money{192, "USD"}, it.Cost)
	require.InDelta(t, 800-758.38220, it.Surplus.Float64(), 1e-5)
	require.Equal(t, "760 g", Metric.Amount(fine(t, "759.1 g"), measure.Gram))

	r.Shop, r.Aim = "", LeastSurplus
	require.Equal(t, "loose-onions", itemOf(t, compute(t, r), "onions").Basket[0].Offer)
}

// 3 lb of chopped onions at a yield of 0.9 with 5 % on top are 3.5 lb exactly, though thirds and ninths of grams lie
// on the way.
func TestRoundingOnTheWayIsNotBought(t *testing.T) {
	f := &Formula{Recipe: "r", Lines: []Line{lineOf(t, "onions", "onions", "1 lb", "chopped", lowAcid)}}
	r := Request{
		Classes: []Class{classOf("a", "2026-08-22", stationOf("1", 0, Batch{ID: "b", Formula: f, Count: 3}))},
		Offers:  []Offer{pack(t, "bag", "onions", "shop", "3.5 lb", InBag, 399)},
	}
	it := itemOf(t, compute(t, r), "onions")
	require.Equal(t, int64(1), it.Basket[0].Count)
	require.Equal(t, "3 lb 8 oz", Customary.Amount(it.ToBuy, it.Unit))
	require.Equal(t, "none", Metric.AtMost(it.Surplus, it.Unit))
}

func TestLinesThatDifferOnlyInPreparationAreBoughtTogether(t *testing.T) {
	f := &Formula{Recipe: "both", Lines: []Line{
		lineOf(t, "onions", "onions", "1 cup", "diced", lowAcid),
		lineOf(t, "onions", "onions", "1 cup", "sliced", lowAcid),
	}}
	f.Lines[1].ID = "onions-2"
	it := itemOf(t, compute(t, Request{Classes: []Class{classOf("a", "2026-08-22", stationOf("1", 0, Batch{ID: "b", Formula: f, Count: 1}))}}), "onions")
	require.Len(t, it.Contributions, 2)
	require.InDelta(t, 160+115, it.Prepared.Float64(), 1e-6, "a cup chopped is 160 g, sliced 115 g (SR 28)")
	require.InDelta(t, 275/0.9, it.Need.Float64(), 1e-6)
	require.Equal(t, "about 3 medium", it.About, "(275 / 0.9) x 1.05 = 320.8 g at 110 / 0.9 = 122.2 g each")
}

func TestNothingFitsSoTheLineStaysInItsOwnUnit(t *testing.T) {
	r := Request{Classes: []Class{classOf("a", "2026-08-22", stationOf("1", 0, Batch{ID: "b", Formula: relish(t), Count: 3}))}}
	l := compute(t, r)
	it := itemOf(t, l, "mustard_seed")
	require.Equal(t, Unconverted, it.Confidence)
	require.Equal(t, measure.Millilitre, it.Unit)
	require.InDelta(t, 6*14.78676478125, it.Need.Float64(), 1e-6)
	require.Equal(t, []string{"No measure is printed for whole mustard seed"}, it.Remarks)
	require.Equal(t, 1, l.Confidence.Unconverted)

	// Stock by the spoon is taken off; stock by weight is left to judgement.
	r.OnHand = []OnHand{{ID: "jar", Item: "mustard_seed", Content: quantity(t, "1 tbsp")}, {ID: "bag", Item: "mustard_seed", Content: quantity(t, "50 g")}}
	it = itemOf(t, compute(t, r), "mustard_seed")
	require.InDelta(t, 5*14.78676478125, it.ToBuy.Float64(), 1e-6)
	require.Contains(t, it.Remarks, "on hand: 50 grams (bag); judge how far it goes")
	r.OnHand = nil

	// An offer by weight does not help; one by the spoon does, and needs no figure.
	r.Offers = []Offer{pack(t, "mustard-bag", "mustard_seed", "shop", "100 g", InBag, 199)}
	require.Equal(t, Unconverted, itemOf(t, compute(t, r), "mustard_seed").Confidence)
	r.Offers = []Offer{pack(t, "mustard-jar", "mustard_seed", "shop", "60 ml", Bottle, 199)}
	it = itemOf(t, compute(t, r), "mustard_seed")
	require.Equal(t, Published, it.Confidence)
	require.Equal(t, int64(2), it.Basket[0].Count, "88.7 ml takes two of 60 ml")
}

// Three small cans may be covered by tubes: packs of the same thing are compared by what they hold.
//
//	3 cans x 170 g (6 oz can, NDB 11887) = 510 g; four tubes of 130 g at 0.89 are 3.56, three cans at 1.29 are 3.87
func TestPacksAreComparedByContent(t *testing.T) {
	f := &Formula{Recipe: "s", Lines: []Line{lineOf(t, "tomato_paste", "tomato_paste", "3 cans", "", "other")}}
	r := Request{
		Classes: []Class{classOf("a", "2026-08-22", stationOf("1", 0, Batch{ID: "b", Formula: f, Count: 1}))},
		Offers:  []Offer{pack(t, "can", "tomato_paste", "shop", "1 can", Can, 129), pack(t, "tube", "tomato_paste", "shop", "130 g", Tube, 89)},
	}
	it := itemOf(t, compute(t, r), "tomato_paste")
	require.Equal(t, []string{"tube"}, []string{it.Basket[0].Offer})
	require.Equal(t, int64(4), it.Basket[0].Count)
	require.Equal(t, Money{356, "USD"}, it.Cost)
	require.Contains(t, it.Remarks, "what can at shop holds is reckoned by a published weight")
}

func TestQuantityTextReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.SampledFrom(measure.Units()).Filter(func(u measure.Unit) bool { _, ok := finePer()[u]; return ok }).Draw(t, "unit")
		q := measure.Q(measure.Ratio(rapid.Int64Range(1, 9_999).Draw(t, "n"), rapid.SampledFrom([]int64{1, 2, 3, 4, 8, 10, 100}).Draw(t, "d")), unit)
		back, err := measure.ParseQuantity(QuantityText(q))
		require.NoError(t, err, QuantityText(q))
		require.Equal(t, unit, back.Unit)
		require.True(t, q.Amount.High.Equal(back.Amount.High))
	})
}

func TestSuppliesAreCompleteAndLidsAlwaysNew(t *testing.T) {
	r := Request{
		Classes: []Class{classOf("a", "2026-08-22",
			stationOf("1", 2, Batch{ID: "b1", Formula: relish(t), Count: 1, JarSize: "pint", Jars: 5}),
			stationOf("2", 2, Batch{ID: "b2", Formula: relish(t), Count: 1, JarSize: "half_pint", Jars: 9}))},
		OnHand: []OnHand{
			{ID: "old-lids", Item: "lid", Content: quantity(t, "20"), Used: true},
			{ID: "new-lids", Item: "lid", Content: quantity(t, "3")},
			{ID: "bands", Item: "band", Content: quantity(t, "10"), Used: true},
			{ID: "pints", Item: "jar_pint", Content: quantity(t, "4"), Used: true},
		},
		Offers: []Offer{
			pack(t, "box-of-lids", "lid", "shop", "12", Box, 329),
			pack(t, "case-of-pints", "jar_pint", "shop", "12", Case, 1149),
		},
	}
	l := compute(t, r)
	each := func(item string) (need, toBuy int64) {
		it := itemOf(t, l, item)
		return int64(it.Need) / FinePerUnit, int64(it.ToBuy) / FinePerUnit
	}
	for item, want := range map[string][2]int64{
		"jar_pint": {5, 1}, "jar_half_pint": {9, 9}, "lid": {14, 11}, "band": {14, 4}, "label": {14, 14}, "towel": {4, 4},
	} {
		need, toBuy := each(item)
		require.Equal(t, want, [2]int64{need, toBuy}, item)
	}
	require.Contains(t, itemOf(t, l, "lid").Remarks, "used lids on hand are not counted: lids are always new")
	require.Equal(t, int64(1), itemOf(t, l, "lid").Basket[0].Count)
}

func TestBestBeforeIsRespectedDayByDay(t *testing.T) {
	f := &Formula{Recipe: "s", Lines: []Line{lineOf(t, "sugar", "sugar_granulated", "1 kg", "", "sugar")}}
	batch := func(id string) Station { return stationOf("1", 0, Batch{ID: id, Formula: f, Count: 1}) }
	r := Request{
		Classes: []Class{classOf("a", "2026-08-01", batch("x")), classOf("b", "2026-08-08", batch("y")), classOf("c", "2026-08-15", batch("z"))},
		OnHand: []OnHand{
			{ID: "keeps", Item: "sugar", Content: quantity(t, "400 g")},
			{ID: "week", Item: "sugar", Content: quantity(t, "1.5 kg"), BestBefore: "2026-08-09"},
			{ID: "gone", Item: "sugar", Content: quantity(t, "9 kg"), BestBefore: "2026-07-31"},
		},
	}
	it := itemOf(t, compute(t, r), "sugar")
	// 1.5 kg serve the 1st and half of the 8th; the 400 g that keep serve the rest of the 8th; 1.1 kg are bought.
	require.Equal(t, fine(t, "1.9 kg"), it.OnHand)
	require.Equal(t, fine(t, "1.1 kg"), it.ToBuy)
	require.Contains(t, it.Remarks[0], "gone on hand is past its best-before")
}

func TestVinegarMustBeStrongEnough(t *testing.T) {
	r := Request{
		Classes: []Class{classOf("a", "2026-08-22", stationOf("1", 0, Batch{ID: "b", Formula: relish(t), Count: 2}))},
		Offers:  []Offer{pack(t, "rice", "vinegar", "shop", "1 l", Bottle, 100), pack(t, "white", "vinegar_white", "shop", "1 l", Bottle, 250)},
	}
	r.Offers[0].Acidity, r.Offers[1].Acidity = 42, 50
	it := itemOf(t, compute(t, r), "vinegar")
	require.Equal(t, "white", it.Basket[0].Offer)
	require.Equal(t, int64(1), it.Basket[0].Count, "4 cups are 946 ml")
	require.Equal(t, 50, it.Acidity)
	require.Contains(t, it.Remarks, "at least 5 % acidity, on the label")
	require.Contains(t, it.Remarks, "rice at shop is left out: its acidity (4.2 %) is not 5 % or more")
}

func TestInterchangeableKindsAreBoughtAsChosen(t *testing.T) {
	r := Request{Classes: []Class{classOf("a", "2026-08-22", stationOf("1", 0, Batch{ID: "b", Formula: relish(t), Count: 7}))}}
	total := itemOf(t, compute(t, r), "bell_peppers_red").Need
	r.Choices = []Choice{{Group: "sweet_peppers", Parts: []Part{{"bell_peppers_yellow", 2}, {"bell_peppers_green", 1}}}}
	l := compute(t, r)
	yellow, green := itemOf(t, l, "bell_peppers_yellow"), itemOf(t, l, "bell_peppers_green")
	require.Equal(t, total, yellow.Need+green.Need)
	require.InDelta(t, 2, yellow.Need.Float64()/green.Need.Float64(), 1e-9)
	for _, it := range l.Items {
		require.NotEqual(t, "bell_peppers_red", it.Item)
	}
}

func TestWhatParticipantsBringMovesToTheirSheets(t *testing.T) {
	r := Request{
		Classes:  []Class{classOf("a", "2026-08-22", stationOf("1", 2, Batch{ID: "b", Formula: relish(t), Count: 1, JarSize: "pint", Jars: 5}))},
		BringOwn: []string{"jar_pint", "towel"},
	}
	l := compute(t, r)
	require.Len(t, l.Sheets, 2)
	got := map[string]string{}
	for _, sheet := range l.Sheets {
		for _, line := range sheet.Lines {
			got[sheet.Name+" "+line.Name] = Metric.Amount(line.Amount, line.Unit)
		}
	}
	require.Equal(t, map[string]string{
		"Person 1 pint jars": "3", "Person 2 pint jars": "2", "Person 1 clean towels": "1", "Person 2 clean towels": "1",
	}, got)
	for _, it := range l.Items {
		require.NotContains(t, r.BringOwn, it.Item)
	}
}

func TestScopes(t *testing.T) {
	f := relish(t)
	r := Request{Classes: []Class{
		classOf("a", "2026-08-01", stationOf("1", 2, Batch{ID: "b1", Formula: f, Count: 2, JarSize: "pint", Jars: 10}), stationOf("2", 1, Batch{ID: "b2", Formula: f, Count: 1, JarSize: "pint", Jars: 5})),
		classOf("b", "2026-08-08", stationOf("1", 3, Batch{ID: "b3", Formula: f, Count: 1, JarSize: "pint", Jars: 5})),
		classOf("c", "2026-08-15", stationOf("1", 3)),
	}}
	lids := func(s Scope) float64 {
		r.Scope = s
		return itemOf(t, compute(t, r), "lid").Need.Float64()
	}
	require.Equal(t, 20.0, lids(Scope{}), "class c has no batches: a note, not an error")
	require.Len(t, compute(t, r).Notes, 1)
	require.Equal(t, 15.0, lids(Scope{Classes: []string{"a"}}))
	require.Equal(t, 5.0, lids(Scope{From: "2026-08-02", To: "2026-08-31"}))
	require.Equal(t, 5.0, lids(Scope{Classes: []string{"a"}, Station: "2"}))
	require.Equal(t, 5.0, lids(Scope{Classes: []string{"a"}, Participant: "1-p2"}), "at home: one whole batch of what the station makes two of")
}

func TestPerJarAmountsFollowTheJar(t *testing.T) {
	f := &Formula{Recipe: "p", Lines: []Line{{ID: "salt", Item: "salt", Name: "salt", Key: "salt_table", Fit: "exact", Amount: quantity(t, "1/4 tsp"), PerJar: "half_pint", Role: "salt"}}}
	for size, want := range map[canning.JarSize]float64{"half_pint": 9 * 1.5, "pint": 9 * 3, "quart": 9 * 6} {
		l := compute(t, Request{Classes: []Class{classOf("a", "2026-08-22", stationOf("1", 0, Batch{ID: "b", Formula: f, Count: 1, JarSize: size, Jars: 9}))}})
		// A teaspoon of table salt is 6 g (SR 28): 1.5 g a half-pint, 3 g a pint, as the recipe prints.
		require.InDelta(t, want, itemOf(t, l, "salt").Need.Float64(), 1e-6, size)
	}
}

func TestBadInputNamesTheItem(t *testing.T) {
	good := func() Request {
		return Request{
			Classes: []Class{classOf("a", "2026-08-22", stationOf("1", 0, Batch{ID: "b", Formula: relish(t), Count: 1, JarSize: "pint", Jars: 4}))},
			Offers:  []Offer{pack(t, "bag", "onions", "shop", "2 kg", InBag, 180)},
		}
	}
	cases := []struct {
		why   string
		spoil func(*Request)
		kind  fault.Kind
		says  []string
	}{
		{"empty pack", func(r *Request) { r.Offers[0].Content = measure.Q(measure.Int(0), measure.Gram) }, fault.Invalid, []string{"bag", "content", "not above zero"}},
		{"negative pack", func(r *Request) { r.Offers[0].Content = measure.Q(measure.Int(-2), measure.Kilogram) }, fault.Invalid, []string{"bag", "-2", "not above zero"}},
		{"no currency", func(r *Request) { r.Offers[0].Price.Currency = "" }, fault.Invalid, []string{"bag", "price", "no currency"}},
		{"negative price", func(r *Request) { r.Offers[0].Price.Minor = -1 }, fault.Invalid, []string{"bag", "-1"}},
		{"two currencies", func(r *Request) {
			r.Offers = append(r.Offers, pack(t, "sack", "onions", "shop", "5 kg", InBag, 400))
			r.Offers[1].Price.Currency = "CAD"
		}, fault.Invalid, []string{"sack", "CAD", "USD"}},
		{"a unit of length", func(r *Request) { r.Offers[0].Content = measure.Q(measure.Int(2), measure.Metre) }, fault.Invalid, []string{"bag", "length", "cannot measure"}},
		{"a bunch without a weight", func(r *Request) { r.Offers[0].Content, r.Offers[0].Kind = quantity(t, "1 bunch"), Bunch }, fault.Invalid, []string{"bag", "cannot measure onions", "average weight"}},
		{"litres of onions", func(r *Request) { r.Offers[0].Content = quantity(t, "2 l") }, fault.Invalid, []string{"bag", "cannot measure onions"}},
		{"loose without a step", func(r *Request) { r.Offers[0].Kind = Loose }, fault.Invalid, []string{"bag", "step"}},
		{"a step that does not divide", func(r *Request) { r.Offers[0].Kind, r.Offers[0].Step = Loose, quantity(t, "300 g") }, fault.Invalid, []string{"bag", "step", "whole number of times"}},
		{"no batches", func(r *Request) { r.Classes[0].Stations[0].Batches = nil }, fault.Precondition, []string{"Class a", "no batches"}},
		{"no classes in range", func(r *Request) { r.Scope = Scope{From: "2027-01-01", To: "2027-02-01"} }, fault.Precondition, []string{"2027-01-01", "no class"}},
		{"days in the wrong order", func(r *Request) { r.Scope = Scope{From: "2027-01-01", To: "2026-02-01"} }, fault.Invalid, []string{"scope.to", "2026-02-01"}},
		{"not a day", func(r *Request) { r.Scope = Scope{From: "next week"} }, fault.Invalid, []string{"scope.from", "next week"}},
		{"an unknown class", func(r *Request) { r.Scope = Scope{Classes: []string{"z"}} }, fault.NotFound, []string{"class", "z"}},
		{"an unknown station", func(r *Request) { r.Scope = Scope{Station: "9"} }, fault.NotFound, []string{"station", "9"}},
		{"an unknown participant", func(r *Request) { r.Scope = Scope{Participant: "nobody"} }, fault.NotFound, []string{"participant", "nobody"}},
		{"no whole batch", func(r *Request) { r.Classes[0].Stations[0].Batches[0].Count = 0 }, fault.Invalid, []string{"batch b", "0"}},
		{"an unknown jar", func(r *Request) { r.Classes[0].Stations[0].Batches[0].JarSize = "thimble" }, fault.Invalid, []string{"thimble"}},
		{"an unknown group", func(r *Request) { r.Choices = []Choice{{Group: "herbs"}} }, fault.Invalid, []string{"herbs"}},
		{"a stranger in a group", func(r *Request) { r.Choices = []Choice{{Group: "sweet_peppers", Parts: []Part{{"garlic", 1}}}} }, fault.Invalid, []string{"garlic"}},
		{"an allowance above all", func(r *Request) { r.AllowanceBP = map[string]int64{"onions": 10_001} }, fault.Invalid, []string{"onions", "10001"}},
		{"stock in a unit that cannot measure it", func(r *Request) { r.OnHand = []OnHand{{ID: "x", Item: "onions", Content: quantity(t, "3 stalks")}} }, fault.Invalid, []string{"x", "3 stalks", "cannot measure"}},
		{"stock of negative content", func(r *Request) {
			r.OnHand = []OnHand{{ID: "x", Item: "onions", Content: measure.Q(measure.Int(-1), measure.Gram)}}
		}, fault.Invalid, []string{"onions", "-1"}},
	}
	_, err := Compute(good())
	require.NoError(t, err)
	for _, c := range cases {
		t.Run(c.why, func(t *testing.T) {
			r := good()
			c.spoil(&r)
			l, err := Compute(r)
			require.Error(t, err)
			require.Nil(t, l)
			require.Equal(t, c.kind, fault.KindOf(err), err)
			for _, s := range c.says {
				require.Contains(t, err.Error(), s)
			}
		})
	}
}

func TestTenTonnesAndATenthOfAGram(t *testing.T) {
	f := &Formula{Recipe: "much", Lines: []Line{lineOf(t, "sugar", "sugar_granulated", "10000 kg", "", "sugar")}}
	r := Request{
		Classes: []Class{classOf("a", "2026-08-22", stationOf("1", 0, Batch{ID: "b", Formula: f, Count: 1}))},
		Offers: []Offer{
			pack(t, "grain", "sugar", "shop", "0.1 g", InBag, 1), pack(t, "sachet", "sugar", "shop", "4.5 g", InBag, 3),
			pack(t, "sack", "sugar", "shop", "50 lb", InBag, 2_199), pack(t, "bag", "sugar", "shop", "1 kg", InBag, 99),
		},
	}
	for _, aim := range []Aim{LeastCost, LeastSurplus} {
		r.Aim = aim
		it := itemOf(t, compute(t, r), "sugar")
		require.GreaterOrEqual(t, it.Content+grace, it.ToBuy)
		require.Less(t, it.Surplus.Float64(), 50*453.6)
	}
	// Too much to count is said, not wrapped around.
	r.Classes[0].Stations[0].Batches[0].Count = 1_000
	_, err := Compute(r)
	require.ErrorContains(t, err, "need of sugar")
}

// drawRequest makes a random request over the relish and a few ways to buy.
func drawRequest(t *rapid.T) Request {
	f := relish(t)
	var r Request
	for i := range rapid.IntRange(1, 4).Draw(t, "classes") {
		var stations []Station
		for s := range rapid.IntRange(1, 3).Draw(t, "stations") {
			var batches []Batch
			for b := range rapid.IntRange(1, 3).Draw(t, "batches") {
				batches = append(batches, Batch{
					ID: fmt.Sprintf("c%d-s%d-b%d", i, s, b), Formula: f, Count: rapid.Int64Range(1, 5).Draw(t, "count"),
					JarSize: rapid.SampledFrom([]canning.JarSize{canning.Pint, canning.HalfPint}).Draw(t, "size"), Jars: rapid.Int64Range(0, 40).Draw(t, "jars"),
				})
			}
			stations = append(stations, stationOf(fmt.Sprintf("s%d", s), rapid.IntRange(0, 3).Draw(t, "people"), batches...))
		}
		r.Classes = append(r.Classes, classOf(fmt.Sprintf("c%d", i), Day(fmt.Sprintf("2026-08-%02d", 1+7*i)), stations...))
	}
	price := rapid.Int64Range(1, 2000)
	r.Offers = []Offer{
		loose(t, "onions-loose", "onions", "a", "1 kg", "50 g", price.Draw(t, "onions loose")), pack(t, "onions-bag", "onions", "b", "3 lb", InBag, price.Draw(t, "onions bag")),
		loose(t, "peppers", "bell_peppers_red", "a", "1 lb", "1 oz", price.Draw(t, "peppers")), pack(t, "peppers-3", "bell_peppers_red", "b", "500 g", InBag, price.Draw(t, "peppers bag")),
		pack(t, "sugar-1", "sugar", "a", "1 kg", InBag, price.Draw(t, "sugar 1")), pack(t, "sugar-4", "sugar", "b", "4 lb", InBag, price.Draw(t, "sugar 4")),
		pack(t, "lids", "lid", "a", "12", Box, price.Draw(t, "lids")), pack(t, "jars", "jar_pint", "a", "12", Case, price.Draw(t, "jars")),
		pack(t, "vinegar", "vinegar", "a", "1 gallon", Bottle, price.Draw(t, "vinegar")),
	}
	r.Offers[len(r.Offers)-1].Acidity = 50
	return r
}

func TestComputeProperties(t *testing.T) {
	t.Run("scaling batches scales needs", rapid.MakeCheck(func(t *rapid.T) {
		r := drawRequest(t)
		n := rapid.Int64Range(2, 6).Draw(t, "n")
		before := compute(t, r)
		for i := range r.Classes {
			for j := range r.Classes[i].Stations {
				for k := range r.Classes[i].Stations[j].Batches {
					b := &r.Classes[i].Stations[j].Batches[k]
					b.Count, b.Jars = b.Count*n, b.Jars*n
				}
			}
		}
		after := compute(t, r)
		for _, it := range before.Items {
			if it.Item != ItemTowel {
				require.Equal(t, it.Need*Fine(n), itemOf(t, after, it.Item).Need, it.Item)
			}
		}
	}))
	t.Run("the order of classes, stations, batches and offers does not matter", rapid.MakeCheck(func(t *rapid.T) {
		r := drawRequest(t)
		before, err := json.Marshal(compute(t, r))
		require.NoError(t, err)
		r.Classes = rapid.Permutation(r.Classes).Draw(t, "classes")
		for i := range r.Classes {
			r.Classes[i].Stations = rapid.Permutation(r.Classes[i].Stations).Draw(t, "stations")
			for j := range r.Classes[i].Stations {
				s := &r.Classes[i].Stations[j]
				s.Batches = rapid.Permutation(s.Batches).Draw(t, "batches")
			}
		}
		r.Offers = rapid.Permutation(r.Offers).Draw(t, "offers")
		after, err := json.Marshal(compute(t, r))
		require.NoError(t, err)
		require.JSONEq(t, string(before), string(after))
	}))
	t.Run("buying never falls short, and every sum adds up", rapid.MakeCheck(func(t *rapid.T) {
		r := drawRequest(t)
		r.Aim = rapid.SampledFrom([]Aim{LeastCost, LeastSurplus}).Draw(t, "aim")
		l := compute(t, r)
		var sections, classes int64
		for _, it := range l.Items {
			var contributed Fine
			for _, c := range it.Contributions {
				contributed += c.Amount
			}
			require.Equal(t, it.Need, contributed, it.Item)
			require.Equal(t, it.Need+it.Allowance-it.OnHand, it.ToBuy, it.Item)
			if len(it.Basket) > 0 {
				var content Fine
				var cost int64
				for _, p := range it.Basket {
					content += p.Content
					cost += p.Cost.Minor
				}
				require.GreaterOrEqual(t, content+grace, it.ToBuy, it.Item)
				require.Equal(t, max(0, content-it.ToBuy), it.Surplus, it.Item)
				require.Equal(t, it.Cost.Minor, cost, it.Item)
				require.True(t, it.Proven)
			}
		}
		for _, s := range l.Sections {
			sections += s.Cost.Minor
		}
		for _, c := range l.Classes {
			classes += c.Cost.Minor
		}
		require.Equal(t, l.Total.Minor, sections)
		require.Equal(t, l.Total.Minor, classes)
		require.GreaterOrEqual(t, l.PerJar.Minor*l.Jars, l.Total.Minor*min(l.Jars, 1))
		require.Equal(t, len(l.Items), l.Confidence.Published+l.Confidence.Neighbour+l.Confidence.Unconverted)
	}))
	t.Run("more on hand never costs more", rapid.MakeCheck(func(t *rapid.T) {
		r := drawRequest(t)
		before := compute(t, r)
		for i, item := range []string{"onions", "sugar", "bell_peppers_red"} {
			if rapid.Bool().Draw(t, item) {
				h := OnHand{ID: fmt.Sprint(i), Item: item, Content: measure.Q(measure.Int(rapid.Int64Range(0, 5000).Draw(t, "grams")), measure.Gram)}
				if rapid.Bool().Draw(t, "goes off") {
					h.BestBefore = Day(fmt.Sprintf("2026-08-%02d", rapid.IntRange(1, 28).Draw(t, "day")))
				}
				r.OnHand = append(r.OnHand, h)
			}
		}
		require.LessOrEqual(t, compute(t, r).Total.Minor, before.Total.Minor)
	}))
	t.Run("buying class by class never costs less than together", rapid.MakeCheck(func(t *rapid.T) {
		r := drawRequest(t)
		together := compute(t, r).Total.Minor
		var apart int64
		for _, class := range r.Classes {
			r.Scope = Scope{Classes: []string{class.ID}}
			apart += compute(t, r).Total.Minor
		}
		require.LessOrEqual(t, together, apart)
	}))
	t.Run("a list reads back from JSON as it was", rapid.MakeCheck(func(t *rapid.T) {
		l := compute(t, drawRequest(t))
		raw, err := json.Marshal(l)
		require.NoError(t, err)
		var back List
		require.NoError(t, json.Unmarshal(raw, &back))
		again, err := json.Marshal(&back)
		require.NoError(t, err)
		require.JSONEq(t, string(raw), string(again))
		require.Empty(t, Compare(l, &back).Lines)
	}))
}
