package shopping

import (
	"fmt"
	"strings"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// Confidence says how well a figure is founded.
type Confidence int

const (
	// Published: from figures printed for this ingredient and preparation, or counted as it stands.
	Published Confidence = iota
	// Neighbour: from the nearest printed preparation, a near kind, or a recalled figure; the line says which.
	Neighbour
	// Unconverted: no published figure fits; the line is in its own unit and needs a person.
	Unconverted
)

// String is the confidence in a word or two.
func (c Confidence) String() string {
	switch c {
	case Published:
		return "published"
	case Neighbour:
		return "neighbour"
	}
	return "needs a person"
}

// MarshalText writes "published", "neighbour" or "unconverted".
func (c Confidence) MarshalText() ([]byte, error) {
	return []byte([...]string{"published", "neighbour", "unconverted"}[c]), nil
}

// UnmarshalText reads what MarshalText writes.
func (c *Confidence) UnmarshalText(text []byte) error {
	switch string(text) {
	case "published":
		*c = Published
	case "neighbour":
		*c = Neighbour
	case "unconverted":
		*c = Unconverted
	default:
		return fmt.Errorf("%q is not a confidence", text)
	}
	return nil
}

// Factor is a published figure with its source.
type Factor struct {
	// Kind is "weight" or "yield".
	Kind string `json:"kind"`
	// Key is the ingredient_key of the row, and Form the form or preparation it prints.
	Key  string `json:"key"`
	Form string `json:"form"`
	// Measure is the unit of which one weighs Value grams; empty for a yield.
	Measure string `json:"measure,omitempty"`
	// Value is grams per measure, or the edible fraction, as an exact decimal.
	Value string `json:"value"`
	// Publication and Locator say where it is printed, Checked how it was read ("yes", "computed", "memory").
	Publication string `json:"publication"`
	Locator     string `json:"locator"`
	Checked     string `json:"checked"`
}

// String is the factor for people: `1 cup, sliced = 115 g`, `yield 0.9 (stem ends removed, raw)`.
func (f Factor) String() string {
	if f.Kind == "yield" {
		return fmt.Sprintf("yield %s (%s)", f.Value, f.Form)
	}
	return fmt.Sprintf("1 %s, %s = %s g", unitWords(measure.Unit(f.Measure)), f.Form, f.Value)
}

// Conversion is one recipe line brought from what it says to what it takes as purchased, for one batch (or, when
// PerJar is set, for each jar of that size).
type Conversion struct {
	Line   string `json:"line"`
	Recipe string `json:"recipe"`
	Item   string `json:"item"`
	Name   string `json:"name"`
	// Text is the line as a recipe prints it.
	Text string `json:"text"`
	// PerJar is the jar size the amounts are for, or empty.
	PerJar canning.JarSize `json:"per_jar,omitempty"`
	// Own is the amount as stated, in grams, millilitres or OwnUnit.
	Own     Fine         `json:"own"`
	OwnUnit measure.Unit `json:"own_unit"`
	// Prepared is the edible portion in grams, zero when no published weight gives it.
	Prepared Fine `json:"prepared,omitempty"`
	// Purchased is what that takes as bought, in grams, zero when no published figure gives it.
	Purchased Fine `json:"purchased,omitempty"`
	// Weight and Yield are the figures used; Also are others in print that were not used.
	Weight *Factor  `json:"weight,omitempty"`
	Yield  *Factor  `json:"yield,omitempty"`
	Also   []Factor `json:"also,omitempty"`
	// Confidence says how well Purchased is founded, and Remarks why it is no better.
	Confidence Confidence `json:"confidence"`
	Remarks    []string   `json:"remarks,omitempty"`
	// Acidity is the vinegar's acidity the line asks for, in tenths of a percent; zero for other things.
	// AcidityAssumed says the recipe does not state it.
	Acidity        int  `json:"acidity,omitempty"`
	AcidityAssumed bool `json:"acidity_assumed,omitempty"`

	optional bool
	key      string // ingredient_key behind the figures
	goods    goods
}

// Convert brings one line from prepared to purchased.
func Convert(l Line) (Conversion, error) {
	c := Conversion{Line: l.ID, Item: l.Item, Name: l.Name, Text: lineText(l), PerJar: l.PerJar, optional: l.Optional, key: l.Key}
	if l.Item == "" {
		return c, fault.Field("item", l.Name, "does not say what to buy", "name the thing to buy")
	}
	c.goods = goodsOf(l.Item, l.Key, l.Role)
	if c.goods.vinegar {
		c.Acidity = acidityOf(l.Name)
		if c.Acidity == 0 {
			c.Acidity, c.AcidityAssumed = usualAcidity, true
		}
	}
	if l.Amount.Amount.High.Sign() < 0 {
		return c, fault.Field("amount of "+l.Name, l.Amount.String(), "is below zero", "give how much goes in")
	}
	tooLarge := func() error {
		return fault.Field("amount of "+l.Name, l.Amount.String(), "is too large", "give less than a thousand tonnes")
	}
	per, ok := finePer()[l.Amount.Unit]
	if !ok {
		return c, fault.Field("amount of "+l.Name, l.Amount.String(), "is in a unit that cannot measure an ingredient", "use a weight, a volume or a count")
	}
	own := l.Amount.Amount.High.Mul(per.fine)
	c.OwnUnit = per.base
	if c.Own, ok = roundUp(own); !ok {
		return c, tooLarge()
	}
	if l.Fit == "kind" || l.Fit == "stand_in" {
		c.remark(Neighbour, orElse(l.FitNote, "the figures are those of a near kind"))
	}
	asked := readLine(l)
	prepared, ok := c.prepared(l, own, asked)
	if !ok {
		return c, nil
	}
	if c.Prepared, ok = roundUp(prepared); !ok {
		return c, tooLarge()
	}
	if c.goods.produce {
		fraction, ok := c.yield(l, asked)
		if !ok {
			return c, nil
		}
		prepared = prepared.Div(fraction)
	}
	if c.Purchased, ok = roundUp(prepared); !ok {
		return c, tooLarge()
	}
	c.heedPrinted(l)
	return c, nil
}

// heedPrinted sets the weight that the recipe prints beside a line against the one computed; the one that buys more
// is used, and both are said.
func (c *Conversion) heedPrinted(l Line) {
	if l.AlsoPrinted.Unit == "" {
		return
	}
	printed, _, err := fineOf(l.AlsoPrinted, roundUp)
	if err != nil || printed == c.Purchased {
		return
	}
	if printed > c.Purchased {
		c.Remarks = append(c.Remarks, fmt.Sprintf("the recipe prints %s where the published weights give %s; the recipe's is used", l.AlsoPrinted, grams(c.Purchased)))
		c.Purchased = printed
		return
	}
	c.Remarks = append(c.Remarks, fmt.Sprintf("the recipe also prints %s; the published weights give %s, which buys more", l.AlsoPrinted, grams(c.Purchased)))
}

// prepared is the edible portion in fine grams; own is the amount in fine units of its own.
func (c *Conversion) prepared(l Line, own measure.Number, asked form) (measure.Number, bool) {
	if c.OwnUnit == measure.Gram {
		return own, true
	}
	if l.Key == "" {
		c.remark(Unconverted, orElse(l.FitNote, "no published figure covers "+l.Name))
		return measure.Number{}, false
	}
	found, from, ok := nearestWeight(l, asked)
	if !ok {
		c.remark(Unconverted, fmt.Sprintf("no weight is printed for %s by the %s", l.Name, unitWords(l.Amount.Unit)))
		return measure.Number{}, false
	}
	if from != l.Key {
		c.remark(Neighbour, fmt.Sprintf("no weight is printed for %s in this form by the %s; that of %s is used",
			l.Name, unitWords(l.Amount.Unit), strings.ReplaceAll(from, "_", " ")))
	}
	c.Weight = found.row.factor
	for _, o := range found.others {
		c.Also = append(c.Also, *o.factor)
	}
	for _, r := range found.remarks {
		c.remark(Neighbour, r)
	}
	if found.row.Measure == l.Amount.Unit {
		return l.Amount.Amount.High.Mul(found.row.fineGrams), true
	}
	return own.Mul(found.row.perUnit), true
}

// yield is the edible fraction that fits the preparation.
func (c *Conversion) yield(l Line, asked form) (measure.Number, bool) {
	found, ok := figuresOf(l.Key).yield(asked)
	if near, fits := figuresOf(l.NearKey).yield(asked); fits && (!ok || compareRanks(near.rank[:], found.rank[:]) < 0) {
		found, ok = near, true
		c.remark(Neighbour, fmt.Sprintf("no yield is printed for %s in this form; that of %s is used", l.Name, strings.ReplaceAll(l.NearKey, "_", " ")))
	}
	if !ok {
		c.remark(Unconverted, fmt.Sprintf("no yield is printed for %s; %s of it prepared", l.Name, grams(c.Prepared)))
		return measure.Number{}, false
	}
	c.Yield = found.row.factor
	for _, o := range found.others {
		c.Also = append(c.Also, *o.factor)
	}
	for _, r := range found.remarks {
		c.remark(Neighbour, r)
	}
	return found.row.Fraction, true
}

// nearestWeight is the nearest weight among those of the ingredient and of its near kind, whichever is nearer; only
// where neither prints the measure, among the other kinds of an interchangeable group, the one that buys most. from
// is the key of the row.
func nearestWeight(l Line, asked form) (found foundWeight, from string, ok bool) {
	found, ok = figuresOf(l.Key).weight(l.Amount.Unit, asked)
	from = l.Key
	if near, fits := figuresOf(l.NearKey).weight(l.Amount.Unit, asked); fits && (!ok || compareRanks(near.rank[:], found.rank[:]) < 0) {
		return near, l.NearKey, true
	}
	if ok {
		return found, from, true
	}
	for _, g := range groups {
		if !g.has(l.Key) {
			continue
		}
		for _, other := range g.Members {
			if w, fits := figuresOf(other).weight(l.Amount.Unit, asked); fits && (!ok || w.row.perUnit.Cmp(found.row.perUnit) > 0) {
				found, from, ok = w, other, true
			}
		}
	}
	return found, from, ok
}

// unitWords names a unit in a remark: "cup", "piece", "dry pint".
func unitWords(u measure.Unit) string {
	if u == measure.Each {
		return "piece"
	}
	return u.Name(measure.Int(1))
}

func (c *Conversion) remark(confidence Confidence, why string) {
	c.Confidence = max(c.Confidence, confidence)
	c.Remarks = append(c.Remarks, why)
}

func grams(f Fine) string { return measure.Q(f.Number(), measure.Gram).Metric() }

// lineText is the line as a recipe prints it.
func lineText(l Line) string {
	s := l.Amount.String()
	if l.PerJar != "" {
		s += " per " + l.PerJar.Name() + " jar"
	}
	s += " " + l.Name
	if l.Preparation != "" {
		s += ", " + l.Preparation
	}
	return s
}

// readLine is the form a line asks for: its preparation, with the size and kind its name gives, and the cut of its
// name ("diced tomatoes") when the preparation names none.
func readLine(l Line) form {
	f := readForm(l.Preparation)
	n := readForm(l.Name)
	if len(f.cuts) == 0 {
		f.cuts = n.cuts
	}
	if f.size == "" {
		f.size = n.size
	}
	f.kinds |= n.kinds
	if f.packed == unsaid {
		f.packed = n.packed
	}
	f.juice = f.juice || n.juice
	return f
}

func orElse(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}
