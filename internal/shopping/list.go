package shopping

import (
	"cmp"
	"slices"
	"strings"

	"stillroom/internal/measure"
)

// List is what to buy, with where every figure comes from. It is plain data and never edited: a new computation
// is a new list.
type List struct {
	// Scope is the part of the classes it is for.
	Scope Scope `json:"scope"`
	// Classes are the classes covered, in order of day, with their shares.
	Classes []ClassShare `json:"classes"`
	// Items are the lines, in the order of the shop's sections, then by name.
	Items []Item `json:"items"`
	// Sheets say what each participant brings.
	Sheets []Sheet `json:"sheets,omitempty"`
	// Conversions are the recipe lines behind the contributions, which name them by index.
	Conversions []Conversion `json:"conversions"`
	// Sections are the totals by section, in the order of Items.
	Sections []SectionTotal `json:"sections"`
	// Total is the sum of the priced lines.
	Total Money `json:"total"`
	// Jars and Participants are counted over the classes; PerJar and PerParticipant are Total over each, rounded
	// up to a whole minor unit so that what is collected never falls short. Zero when there are none.
	Jars           int64 `json:"jars"`
	Participants   int64 `json:"participants"`
	PerJar         Money `json:"per_jar"`
	PerParticipant Money `json:"per_participant"`
	// Confidence counts lines by how well they are founded.
	Confidence ConfidenceCount `json:"confidence"`
	// Unpriced counts lines to buy that no offer covers.
	Unpriced int `json:"unpriced"`
	// Notes are remarks on the whole list.
	Notes []string `json:"notes,omitempty"`
}

// ConfidenceCount counts lines.
type ConfidenceCount struct {
	Published   int `json:"published"`
	Neighbour   int `json:"neighbour"`
	Unconverted int `json:"unconverted"`
}

// ClassShare is one class's part of a list.
type ClassShare struct {
	ID           string `json:"id"`
	Title        string `json:"title"`
	Day          Day    `json:"day"`
	Jars         int64  `json:"jars"`
	Participants int64  `json:"participants"`
	// Cost is its share of every line, in proportion to its need; the shares of all classes add up to the total.
	Cost           Money `json:"cost"`
	PerJar         Money `json:"per_jar"`
	PerParticipant Money `json:"per_participant"`
}

// SectionTotal is the cost of one section.
type SectionTotal struct {
	Section string `json:"section"`
	Lines   int    `json:"lines"`
	Cost    Money  `json:"cost"`
}

// Item is one line of the list: one thing to buy.
type Item struct {
	Item    string `json:"item"`
	Name    string `json:"name"`
	Section string `json:"section"`
	// Unit is what all quantities of this line are in: gram, millilitre, or a unit of count.
	Unit measure.Unit `json:"unit"`
	// Prepared is the edible portion in grams, where it is known for all contributions.
	Prepared Fine `json:"prepared,omitempty"`
	// Need is as purchased; Allowance is added to it, at AllowanceBP hundredths of a percent; OnHand is taken
	// off; ToBuy is the rest.
	Need        Fine  `json:"need"`
	AllowanceBP int64 `json:"allowance_bp"`
	Allowance   Fine  `json:"allowance"`
	OnHand      Fine  `json:"on_hand"`
	ToBuy       Fine  `json:"to_buy"`
	// About is ToBuy as a count, "about 12 medium", where a weight of one is published.
	About string `json:"about,omitempty"`
	// Basket is what covers ToBuy, holding Content, of which Surplus is left. Empty when nothing is sold.
	Basket  []Purchase `json:"basket,omitempty"`
	Content Fine       `json:"content,omitempty"`
	Surplus Fine       `json:"surplus,omitempty"`
	Cost    Money      `json:"cost"`
	// Proven says no basket of these offers costs less (or, when asked for, leaves less). False only where the
	// search reached its limit.
	Proven bool `json:"proven"`
	// Acidity is the least acidity a vinegar must have, in tenths of a percent.
	Acidity    int        `json:"acidity,omitempty"`
	Confidence Confidence `json:"confidence"`
	// Remarks say why the line is no better founded, and what to watch for.
	Remarks       []string       `json:"remarks,omitempty"`
	StockUsed     []StockUse     `json:"stock_used,omitempty"`
	Contributions []Contribution `json:"contributions"`
}

// Purchase is one kind of pack in a basket.
type Purchase struct {
	Offer string    `json:"offer"`
	Label string    `json:"label"`
	Shop  string    `json:"shop"`
	Kind  OfferKind `json:"kind"`
	// Count is how many packs, or how many steps of loose goods.
	Count int64 `json:"count"`
	// Each is what one pack or step holds, Content what all hold, in the unit of the line.
	Each    Fine `json:"each"`
	Content Fine `json:"content"`
	// Cost is this purchase's part of the line's cost; the parts add up.
	Cost Money `json:"cost"`
}

// StockUse is how much of a stock item a line uses.
type StockUse struct {
	Stock string `json:"stock"`
	Used  Fine   `json:"used"`
}

// Contribution is what one recipe line of one batch adds to a list line.
type Contribution struct {
	Class   string `json:"class"`
	Station string `json:"station"`
	Batch   string `json:"batch,omitempty"`
	// Conversion is the index of the recipe line in the list's Conversions.
	Conversion int `json:"conversion"`
	// Times is how many batches (or jars, or stations) it counts for.
	Times int64 `json:"times"`
	// Part of Of is the share that a choice of kinds gives to this line; both are 1 without a choice.
	Part int64 `json:"part"`
	Of   int64 `json:"of"`
	// Amount is as purchased, in the unit of the line; Prepared is in grams.
	Amount   Fine `json:"amount"`
	Prepared Fine `json:"prepared,omitempty"`

	class int   // index of the class
	from  int64 // parts of Of before this one
	// For amounts per jar, the batch's jar and the jar the amount is printed for, in quarters of a half-pint;
	// zero for amounts per batch.
	quarters, perQuarters int64
}

// Sheet is what one participant brings to one class.
type Sheet struct {
	Class       string      `json:"class"`
	Station     string      `json:"station"`
	Participant string      `json:"participant"`
	Name        string      `json:"name"`
	Lines       []SheetLine `json:"lines"`
}

// SheetLine is one thing a participant brings.
type SheetLine struct {
	Item   string       `json:"item"`
	Name   string       `json:"name"`
	Amount Fine         `json:"amount"`
	Unit   measure.Unit `json:"unit"`
}

// Summary is the list without its lines, sheets and conversions, and with its totals and counts.
func (l *List) Summary() *List {
	s := *l
	s.Items, s.Sheets, s.Conversions = nil, nil, nil
	return &s
}

// Lines is how many lines the list has, also when it is a summary without them.
func (l *List) Lines() int {
	return l.Confidence.Published + l.Confidence.Neighbour + l.Confidence.Unconverted
}

// finish orders the lines and fills the totals.
func (l *List) finish(currency string, classCosts []int64) {
	slices.SortStableFunc(l.Items, func(a, b Item) int {
		return cmp.Or(cmp.Compare(sectionRank(a.Section), sectionRank(b.Section)), strings.Compare(a.Section, b.Section),
			strings.Compare(a.Name, b.Name), strings.Compare(a.Item, b.Item), strings.Compare(string(a.Unit), string(b.Unit)))
	})
	l.Total = Money{Currency: currency}
	for i := range l.Items {
		it := &l.Items[i]
		it.Cost.Currency = currency
		if n := len(l.Sections); n == 0 || l.Sections[n-1].Section != it.Section {
			l.Sections = append(l.Sections, SectionTotal{Section: it.Section, Cost: Money{Currency: currency}})
		}
		s := &l.Sections[len(l.Sections)-1]
		s.Lines++
		s.Cost.Minor += it.Cost.Minor
		l.Total.Minor += it.Cost.Minor
		if it.unpriced() {
			l.Unpriced++
		}
		switch it.Confidence {
		case Published:
			l.Confidence.Published++
		case Neighbour:
			l.Confidence.Neighbour++
		default:
			l.Confidence.Unconverted++
		}
	}
	for i := range l.Classes {
		c := &l.Classes[i]
		c.Cost = Money{classCosts[i], currency}
		c.PerJar = Money{ceilDiv(c.Cost.Minor, c.Jars), currency}
		c.PerParticipant = Money{ceilDiv(c.Cost.Minor, c.Participants), currency}
		l.Jars += c.Jars
		l.Participants += c.Participants
	}
	l.PerJar = Money{ceilDiv(l.Total.Minor, l.Jars), currency}
	l.PerParticipant = Money{ceilDiv(l.Total.Minor, l.Participants), currency}
}

func (it *Item) unpriced() bool {
	return it.ToBuy > 0 && len(it.Basket) == 0 && it.Section != SectionTap
}

func sectionRank(s string) int {
	if i := slices.Index(sectionOrder, s); i >= 0 {
		return i
	}
	if s == SectionTap {
		return len(sectionOrder) + 1
	}
	return len(sectionOrder)
}

func ceilDiv(a, b int64) int64 {
	if b == 0 {
		return 0
	}
	return (a + b - 1) / b
}
