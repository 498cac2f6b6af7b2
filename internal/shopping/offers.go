package shopping

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// OfferKind is how a thing is packed.
type OfferKind string

// The kinds of offers. Only loose goods are sold in parts of what the price is for.
const (
	Loose  OfferKind = "loose"
	Single OfferKind = "each"
	InBag  OfferKind = "bag"
	Bunch  OfferKind = "bunch"
	Can    OfferKind = "can"
	Tube   OfferKind = "tube"
	Bottle OfferKind = "bottle"
	Case   OfferKind = "case"
	Box    OfferKind = "box"
)

// OfferKinds are all kinds, in the order they are documented.
var OfferKinds = []OfferKind{Loose, Single, InBag, Bunch, Can, Tube, Bottle, Case, Box}

// Offer is one way a thing is sold.
type Offer struct {
	ID, Item string
	// Label is what the shelf says, such as "yellow onions, 2 kg net"; may be empty.
	Label string
	Shop  string
	// Section overrides the section the item is listed under; may be empty.
	Section string
	Kind    OfferKind
	// Content is what Price buys: one pack, or for loose goods the quantity the price is stated for (1 kg).
	// For canned goods it is the content that counts for the recipe (drained, where the recipe drains it).
	Content measure.Quantity
	// Step is the smallest quantity in which loose goods are sold; it divides Content. Unset for packs.
	Step measure.Quantity
	// AverageWeight is what one pack weighs, for packs whose content is a count (an onion, a bunch).
	AverageWeight measure.Quantity
	Price         Money
	// Acidity is a vinegar's, in tenths of a percent (50 = 5 %); zero for other things.
	Acidity int
	// Version rises with every edit of a stored offer.
	Version int64
}

// MostPrice is the largest price of one pack, in minor units.
const MostPrice = 1_000_000_000

// mostSteps bounds how finely loose goods are sold.
const mostSteps = 10_000

// Validate reports every wrong field of an offer.
func (o *Offer) Validate() error {
	var c fault.Collector
	o.validate(&c, "offer")
	return c.Err()
}

func (o *Offer) validate(c *fault.Collector, field string) {
	field += " (" + orElse(o.Label, orElse(o.Item, o.ID)) + ")"
	if o.Item == "" {
		c.Add(field+".item", "", "does not say what is sold", `name the item, such as "onions" or "jar_pint"`)
	}
	known := false
	for _, k := range OfferKinds {
		known = known || k == o.Kind
	}
	if !known {
		c.Add(field+".kind", string(o.Kind), "is not a way things are sold", "give one of loose, each, bag, bunch, can, tube, bottle, case, box")
	}
	checkContent(c, field+".content", o.Content, false)
	if o.Price.Currency == "" {
		c.Add(field+".price", strconv.FormatInt(o.Price.Minor, 10), "has no currency", `give the ISO 4217 code, such as "USD"`)
	} else if !currencyCode.MatchString(o.Price.Currency) {
		c.Add(field+".price", o.Price.Currency, "is not a currency code", `give the ISO 4217 code, such as "USD"`)
	}
	if o.Price.Minor < 0 || o.Price.Minor > MostPrice {
		c.Add(field+".price", strconv.FormatInt(o.Price.Minor, 10), "is not a price", fmt.Sprintf("give whole minor units from 0 to %d", MostPrice))
	}
	if o.AverageWeight.Unit != "" {
		if o.AverageWeight.Unit.Dimension() != measure.Mass {
			c.Add(field+".average_weight", o.AverageWeight.String(), "is not a weight", "give it in g, kg, oz or lb")
		} else {
			checkContent(c, field+".average_weight", o.AverageWeight, false)
		}
	}
	if o.Kind == Loose {
		if _, err := o.steps(); err != nil {
			c.AddErr(field+".", err)
		}
	} else if o.Step.Unit != "" {
		c.Add(field+".step", o.Step.String(), "is given for a pack", "only loose goods are sold in steps")
	}
	if o.Acidity < 0 || o.Acidity > 1000 {
		c.Add(field+".acidity", strconv.Itoa(o.Acidity), "is not an acidity in tenths of a percent", "give 50 for 5 %")
	}
}

// steps is how many steps what the price is for makes: 10 for a price per kilogram sold by 100 g.
func (o *Offer) steps() (int64, error) {
	if o.Kind != Loose {
		return 1, nil
	}
	const wayOut = "give a step that goes into the quantity of the price a whole number of times, such as 100 g into 1 kg"
	if o.Step.Unit == "" {
		return 0, fault.Field("step", "", "is not given for loose goods", wayOut)
	}
	if o.Step.Amount.High.Sign() <= 0 {
		return 0, fault.Field("step", o.Step.String(), "is not above zero", wayOut)
	}
	content, err := measure.Convert(o.Content.Amount.High, o.Content.Unit, o.Step.Unit)
	if err != nil {
		return 0, fault.Field("step", o.Step.String(), "does not measure the same as "+o.Content.String(), wayOut)
	}
	n, whole := content.Div(o.Step.Amount.High).Int64()
	if !whole || n <= 0 || n > mostSteps {
		return 0, fault.Field("step", o.Step.String(), fmt.Sprintf("does not go into %s a whole number of times (at most %d)", o.Content, mostSteps), wayOut)
	}
	return n, nil
}

var currencyCode = regexp.MustCompile(`^[A-Z]{3}$`)

func oneCurrency(c *fault.Collector, offers []Offer) {
	for i := range offers {
		o := &offers[i]
		if first := offers[0].Price.Currency; o.Price.Currency != first && o.Price.Currency != "" && first != "" {
			c.Add("offers ("+orElse(o.Label, o.Item)+").price", o.Price.Currency, "is not "+first+", the currency of the other prices",
				"keep one list in one currency")
			return
		}
	}
}

// usualAcidity is 5 %, in tenths: what the published recipes ask for.
const usualAcidity = 50

var acidityPattern = regexp.MustCompile(`(\d+)(?:\.(\d))?\s*(?:%|percent)`)

// acidityOf reads "(5%)" or "4.5 percent" in a name, in tenths of a percent; zero when none is stated.
func acidityOf(name string) int {
	m := acidityPattern.FindStringSubmatch(strings.ToLower(name))
	if m == nil || len(m[1]) > 2 {
		return 0
	}
	whole, _ := strconv.Atoi(m[1])
	tenths, _ := strconv.Atoi(orElse(m[2], "0"))
	return whole*10 + tenths
}

// basis is the dimension and unit an item is bought in.
type basis struct {
	// unit is gram, millilitre, or a count unit.
	unit measure.Unit
}

// contentIn is what one pack (or one step of loose goods) holds in a basis. native says that no published figure
// was needed for it. ok is false when the offer cannot be stated in the basis.
func (o *Offer) contentIn(b basis, key string) (content Fine, native, ok bool) {
	steps, err := o.steps()
	if err != nil {
		return 0, false, false
	}
	state := func(n measure.Number) (Fine, bool) {
		if steps > 1 {
			n = n.Div(measure.Int(steps))
		}
		f, fits := contentFine(n)
		return f, fits && f > 0
	}
	if per, ok := finePer()[o.Content.Unit]; ok && per.base == b.unit {
		n := o.Content.Amount.High.Mul(per.fine)
		if steps > 1 {
			n = n.Div(measure.Int(steps))
		}
		content, ok = roundDown(n)
		return content, true, ok && content > 0
	}
	if b.unit == measure.Gram && o.AverageWeight.Unit != "" {
		if g, err := o.AverageWeight.Grams(); err == nil {
			content, ok = state(g.Number())
			return content, true, ok
		}
	}
	n, ok := restate(o.Content, b, key)
	if !ok {
		return 0, false, false
	}
	content, ok = state(n)
	return content, false, ok
}

// restate brings a quantity into a basis of another dimension by published figures: between volume and weight by
// the printed weight of a measure, from a count by the printed weight of one, as purchased.
func restate(q measure.Quantity, b basis, key string) (measure.Number, bool) {
	figures := figuresOf(key)
	switch d := q.Unit.Dimension(); {
	case b.unit == measure.Millilitre && d == measure.Mass:
		if g, ok := figures.density(); ok {
			n, err := measure.Convert(q.Amount.High, q.Unit, measure.Gram)
			return n.Div(g), err == nil
		}
	case b.unit == measure.Gram && d == measure.Volume && len(figures.yields) == 0:
		if g, ok := figures.density(); ok {
			n, err := measure.Convert(q.Amount.High, q.Unit, measure.Millilitre)
			return n.Mul(g), err == nil
		}
	case b.unit == measure.Gram && d == measure.Count:
		w, ok := figures.weight(q.Unit, form{})
		if !ok {
			break
		}
		count, err := measure.Convert(q.Amount.High, q.Unit, w.row.Measure)
		if err != nil {
			count = q.Amount.High // a head or an ear is printed as each
		}
		n := count.Mul(w.row.Grams.Number())
		if len(figures.yields) == 0 {
			return n, true
		}
		// The printed weight is of the edible part; the least yield would overstate what a whole one weighs, so
		// the greatest is used.
		most := figures.yields[0].Fraction
		for _, y := range figures.yields {
			if most.Less(y.Fraction) {
				most = y.Fraction
			}
		}
		return n.Div(most), true
	}
	return measure.Number{}, false
}
