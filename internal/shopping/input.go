package shopping

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"time"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// Day is a civil date at a class's site, "2026-08-22". Days compare as strings do.
type Day string

// check adds a violation unless the day is one.
func (d Day) check(c *fault.Collector, field string) {
	if _, err := time.Parse(time.DateOnly, string(d)); err != nil {
		c.Add(field, string(d), "is not a date", "write it like 2026-08-22")
	}
}

// Line is one ingredient line of a formula, as shopping needs it.
type Line struct {
	// ID names the line within its formula.
	ID string
	// Item names the thing to buy; lines with the same item are bought together.
	Item string
	// Name is the ingredient as the recipe prints it.
	Name string
	// Key is the ingredient_key of the published weights and yields, empty when none fits.
	Key string
	// NearKey is the key of a near kind, for measures and preparations not printed for Key; mostly empty.
	NearKey string
	// Fit says how well Key fits: "exact", "kind" (a near kind), "stand_in" or "none"; FitNote says why.
	Fit, FitNote string
	// Amount is for one whole batch, or for each jar when PerJar names a jar size. The high end of a range is bought.
	Amount measure.Quantity
	// PerJar is the jar size the amount is printed for, or empty.
	PerJar canning.JarSize
	// Preparation is how it goes in ("peeled, thinly sliced"); may be empty.
	Preparation string
	// Note is the source's remark, such as "about 1 medium".
	Note string
	// AlsoPrinted is the weight the source prints for the same amount, as bought; its unit is empty when it prints
	// none.
	AlsoPrinted measure.Quantity
	// Role is what it does in the recipe, in the words of the recipe room ("acid", "salt", …).
	Role string
	// Optional says the recipe marks the line optional.
	Optional bool
}

// Formula is the lines of one recipe revision, with the changes made for the class already in them. Batches of
// the same revision may share one Formula; each is then converted once.
type Formula struct {
	// Recipe is the resource or key that names the revision, and Title what people call it.
	Recipe, Title string
	Lines         []Line
}

// Batch is a number of whole published batches of one formula at a station.
type Batch struct {
	ID      string
	Formula *Formula
	// Count is how many whole batches.
	Count int64
	// JarSize is the size of jar; Jars is how many are filled in all.
	JarSize canning.JarSize
	Jars    int64
}

// Participant is somebody enrolled at a station.
type Participant struct{ ID, Name string }

// Station is a bench with its participants and batches.
type Station struct {
	ID, Name     string
	Participants []Participant
	Batches      []Batch
}

// Class is one teaching event.
type Class struct {
	ID, Title string
	// Day is its date at its site.
	Day      Day
	Stations []Station
}

// Choice says how an interchangeable group is bought: the total of its lines is kept and split over Parts.
type Choice struct {
	// Group is the key of a group (see [Groups]).
	Group string
	// Parts are the items to buy and their shares, e.g. 2 parts red to 1 part green.
	Parts []Part
}

// Part is one item of a choice with its share in whole parts.
type Part struct {
	Item  string
	Parts int64
}

// OnHand is something the kitchen already has, as bought.
type OnHand struct {
	ID, Item string
	// Content is how much there is.
	Content measure.Quantity
	// BestBefore is the last day it may be used in class; empty when it keeps.
	BestBefore Day
	// Used marks jars, bands and lids that were used before. Used lids are never counted.
	Used bool
	// Note is where it is kept, or anything else to remember.
	Note string
	// Version rises with every edit of a stored item.
	Version int64
}

// Validate reports every wrong field of something on hand.
func (h *OnHand) Validate() error {
	var c fault.Collector
	if h.BestBefore != "" {
		h.BestBefore.check(&c, "best_before")
	}
	checkContent(&c, "content", h.Content, true)
	return c.Err()
}

// QuantityText writes a quantity so that it reads back exactly: "1.75 oz", "2 kg", "1/3 cup".
func QuantityText(q measure.Quantity) string {
	if q.Unit == "" {
		return ""
	}
	return q.Amount.High.Exact() + " " + q.Unit.Short()
}

// Aim says which of the baskets that cover a need is bought.
type Aim int

const (
	// LeastCost buys at the lowest cost, then with the least surplus, then in the fewest packs.
	LeastCost Aim = iota
	// LeastSurplus buys with the least surplus (to a tenth of a gram or millilitre), then at the lowest cost.
	LeastSurplus
)

// Scope says which part of the classes a list is for. The zero value is everything given.
type Scope struct {
	// From and To bound the days of classes, both ends included; empty means open.
	From, To Day
	// Classes names classes by ID; empty means all.
	Classes []string
	// Station names one station by ID; empty means all. It needs exactly one class.
	Station string
	// Participant names one participant by ID, who repeats at home what their station makes: one whole batch of
	// each recipe, with its jars. It needs exactly one class.
	Participant string
}

// Request is everything a list is computed from.
type Request struct {
	Scope   Scope
	Classes []Class
	Offers  []Offer
	OnHand  []OnHand
	Choices []Choice
	// AllowanceBP is the allowance per item in hundredths of a percent, where it differs from the default (5 %
	// for produce, nothing for the rest).
	AllowanceBP map[string]int64
	// BringOwn are the items that participants bring, such as "jar_pint" or "towel".
	BringOwn []string
	// LeaveOutOptional leaves out lines the recipe marks optional.
	LeaveOutOptional bool
	// Aim and Shop say how to choose packs; an empty Shop allows all.
	Aim  Aim
	Shop string
	// Supplies says what a class needs beside its recipes; nil means [UsualSupplies].
	Supplies *Supplies
}

const (
	mostBatches     = 10_000
	mostJars        = 1_000_000
	mostAllowanceBP = 10_000
)

// validate reports every wrong field of the request at once.
func (r Request) validate() error {
	var c fault.Collector
	if r.Scope.From != "" {
		r.Scope.From.check(&c, "scope.from")
	}
	if r.Scope.To != "" {
		r.Scope.To.check(&c, "scope.to")
	}
	if r.Scope.From != "" && r.Scope.To != "" && r.Scope.To < r.Scope.From {
		c.Add("scope.to", string(r.Scope.To), "is before the first day, "+string(r.Scope.From), "give the days in order")
	}
	for i, class := range r.Classes {
		class.validate(&c, fmt.Sprintf("classes[%d]", i))
	}
	for i := range r.Offers {
		r.Offers[i].validate(&c, fmt.Sprintf("offers[%d]", i))
	}
	oneCurrency(&c, r.Offers)
	for i, h := range r.OnHand {
		field := fmt.Sprintf("on_hand[%d] (%s)", i, h.Item)
		if h.BestBefore != "" {
			h.BestBefore.check(&c, field+".best_before")
		}
		checkContent(&c, field+".content", h.Content, true)
	}
	for i, choice := range r.Choices {
		choice.validate(&c, fmt.Sprintf("choices[%d]", i))
	}
	for _, item := range slices.Sorted(maps.Keys(r.AllowanceBP)) {
		if bp := r.AllowanceBP[item]; bp < 0 || bp > mostAllowanceBP {
			c.Add("allowance of "+item, strconv.FormatInt(bp, 10), "is not an allowance in hundredths of a percent", "give 0 to 10000 (100 %)")
		}
	}
	return c.Err()
}

func (class Class) validate(c *fault.Collector, field string) {
	class.Day.check(c, field+" ("+class.ID+").day")
	for _, s := range class.Stations {
		for _, b := range s.Batches {
			at := fmt.Sprintf("%s (%s), station %s, batch %s", field, class.ID, s.ID, b.ID)
			if b.Formula == nil {
				c.Add(at, "", "has no recipe", "choose a recipe revision")
			}
			if b.Count <= 0 || b.Count > mostBatches {
				c.Add(at+", count", strconv.FormatInt(b.Count, 10), "is not a number of whole batches", "give 1 to "+strconv.Itoa(mostBatches))
			}
			if b.Jars < 0 || b.Jars > mostJars {
				c.Add(at+", jars", strconv.FormatInt(b.Jars, 10), "is not a number of jars", "give 0 to "+strconv.Itoa(mostJars))
			}
			if b.Jars > 0 && !b.JarSize.Known() {
				c.Add(at+", jar size", string(b.JarSize), "is not a jar size", "give one of "+jarSizeList())
			}
		}
	}
}

func (ch Choice) validate(c *fault.Collector, field string) {
	g, ok := groupByKey[ch.Group]
	if !ok {
		c.Add(field+".group", ch.Group, "is not an interchangeable group", "give one of "+groupList())
		return
	}
	if len(ch.Parts) == 0 {
		c.Add(field+".parts", "", "is empty", "name at least one of "+g.list())
	}
	for _, p := range ch.Parts {
		if !g.has(p.Item) {
			c.Add(field+".parts", p.Item, "is not in the group "+g.Name, "name one of "+g.list())
		}
		if p.Parts <= 0 || p.Parts > 1_000_000 {
			c.Add(field+".parts of "+p.Item, strconv.FormatInt(p.Parts, 10), "is not a number of parts", "give a whole number from 1")
		}
	}
}

// checkContent adds a violation when q cannot say how much of something there is.
func checkContent(c *fault.Collector, field string, q measure.Quantity, zeroOK bool) {
	switch q.Unit.Dimension() {
	case measure.Mass, measure.Volume, measure.Count:
	default:
		c.Add(field, q.String(), fmt.Sprintf("is in a unit of %s, which cannot measure an ingredient", q.Unit.Dimension()),
			"use a weight, a volume or a count, such as 500 g, 1 l or 12 each")
		return
	}
	if q.Amount.IsRange() {
		c.Add(field, q.String(), "is a range", "give one figure")
		return
	}
	if sign := q.Amount.High.Sign(); sign < 0 || sign == 0 && !zeroOK {
		c.Add(field, q.String(), "is not above zero", "give how much there is")
		return
	}
	if f, _, err := fineOf(q, roundDown); err != nil {
		c.Add(field, q.String(), "is too much to count", "give less than a thousand tonnes, or a million litres")
	} else if f == 0 && !zeroOK {
		c.Add(field, q.String(), "is too little to count", "give at least a microgram")
	}
}
