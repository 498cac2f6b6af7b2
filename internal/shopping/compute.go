package shopping

import (
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// Compute makes the list for a request. Its faults name the item, class or field that is wrong; nothing is
// half-computed. The same request always gives the same list, whatever the order of its classes and batches.
func Compute(r Request) (*List, error) {
	if err := r.validate(); err != nil {
		return nil, err
	}
	g, err := gather(r)
	if err != nil {
		return nil, err
	}
	currency := ""
	if len(r.Offers) > 0 {
		currency = r.Offers[0].Price.Currency
	}
	k := larder{stock: newStock(r.OnHand), gathering: g, classCosts: make([]int64, len(g.classes)), offers: offersByItem(r)}
	slices.SortFunc(g.slots, func(a, b slot) int { return strings.Compare(a.item, b.item) })
	var wrong fault.Collector
	for i := range g.slots {
		k.line(&g.slots[i], &wrong)
	}
	if err := wrong.Err(); err != nil {
		return nil, err
	}
	g.list.Sheets = k.sheets.ordered()
	g.list.finish(currency, k.classCosts)
	g.list.Notes = append(g.list.Notes, k.notes...)
	return g.list, nil
}

// larder turns slots into lines, one after another, drawing down the stock.
type larder struct {
	*gathering
	stock      *stock
	offers     map[string][]*Offer
	classCosts []int64
	sheets     sheets
	notes      []string
}

// line adds the line or lines of a slot: one in the unit it is bought in, and one for each unit of what no figure
// converts.
func (k *larder) line(s *slot, wrong *fault.Collector) {
	if len(s.contributions) == 0 {
		return
	}
	offers := k.offersFor(s)
	b, ok := k.chooseBasis(s, offers)
	if slices.Contains(k.request.BringOwn, s.item) {
		s.contributions = k.bring(s, b, ok, wrong)
	}
	kept, rest := s.contributions[:0], []Contribution(nil)
	var in amounts
	for i := range s.contributions {
		c := s.contributions[i]
		if ok {
			if amount, fits := in.amountIn(k.list.Conversions, c.Conversion, b); fits {
				if c.Amount, fits = c.of(amount); !fits {
					wrong.Add("need of "+s.item, "", "is too large", "a list counts up to a thousand tonnes of one thing")
					return
				}
				kept = append(kept, c)
				continue
			}
		}
		rest = append(rest, c)
	}
	if len(kept) > 0 {
		k.bought(s, b, kept, offers, wrong)
	}
	k.unconverted(s, rest, len(offers) > 0, wrong)
}

// of is a conversion's amount for one batch (or jar) times what the contribution counts, and its part of a choice.
// Parts of one contribution add up to the whole.
func (c *Contribution) of(amount Fine) (Fine, bool) {
	times := c.Times
	if c.perQuarters > 0 {
		times *= c.quarters
	}
	total, ok := amount.times(times)
	if !ok {
		return 0, false
	}
	if c.perQuarters > 0 {
		total = total.share(1, c.perQuarters)
	}
	if c.Of == 1 {
		return total, true
	}
	return total.share(c.from+c.Part, c.Of) - total.share(c.from, c.Of), true
}

// amounts remembers the last conversions asked for, since the batches of one formula ask for the same.
type amounts struct{ known map[int]amount }

type amount struct {
	fine Fine
	ok   bool
}

func (a *amounts) amountIn(conversions []Conversion, i int, b basis) (Fine, bool) {
	if known, ok := a.known[i]; ok {
		return known.fine, known.ok
	}
	fine, ok := amountIn(&conversions[i], b)
	if b.unit == measure.Millilitre && conversions[i].OwnUnit != b.unit { // the only costly case
		if a.known == nil {
			a.known = map[int]amount{}
		}
		a.known[i] = amount{fine, ok}
	}
	return fine, ok
}

// amountIn is what a conversion asks for in the unit of a basis.
func amountIn(c *Conversion, b basis) (Fine, bool) {
	switch {
	case b.unit == measure.Gram:
		return c.Purchased, c.Purchased > 0
	case c.OwnUnit == b.unit:
		return c.Own, true
	case b.unit == measure.Millilitre && c.goods.liquid && c.Purchased > 0:
		if density, ok := figuresOf(c.key).density(); ok {
			return needFine(c.Purchased.Number().Div(density))
		}
	}
	return 0, false
}

// confidenceIn is how well founded that is: an amount bought in the unit it is stated in needs no figure.
func confidenceIn(c *Conversion, b basis) (Confidence, []string) {
	if c.OwnUnit == b.unit && b.unit != measure.Gram {
		return Published, nil
	}
	return c.Confidence, c.Remarks
}

// chooseBasis picks the unit a thing is bought in: the first of weight, volume and counts (volume first for
// liquids) in which some line can be stated and, if the thing is on offer, some offer is stated. Spoons and counts
// of dry goods are a basis only where an offer is stated so.
func (k *larder) chooseBasis(s *slot, offers []*Offer) (basis, bool) {
	order := []basis{{measure.Gram}, {measure.Millilitre}}
	if s.goods.liquid {
		order[0], order[1] = order[1], order[0]
	}
	if s.goods.supply {
		order = nil
	}
	for _, u := range k.countUnits(s) {
		order = append(order, basis{u})
	}
	for _, b := range order {
		stated := false
		for i := range s.contributions {
			if _, ok := amountIn(&k.list.Conversions[s.contributions[i].Conversion], b); ok {
				stated = true
				break
			}
		}
		if !stated {
			continue
		}
		natural := b.unit == measure.Gram || b.unit == measure.Millilitre && s.goods.liquid || s.goods.supply
		if len(offers) == 0 && natural {
			return b, true
		}
		for _, o := range offers {
			if _, native, ok := o.contentIn(b, s.key); ok && (native || b.unit == measure.Gram) {
				return b, true
			}
		}
	}
	// Nothing is sold in a unit the lines can be stated in; state what can be stated by weight or volume anyway.
	for _, b := range order[:min(2, len(order))] {
		if b.unit == measure.Millilitre && !s.goods.liquid {
			continue
		}
		for i := range s.contributions {
			if _, ok := amountIn(&k.list.Conversions[s.contributions[i].Conversion], b); ok {
				return b, true
			}
		}
	}
	return basis{}, false
}

// countUnits are the units of count the lines of a slot are stated in, sorted.
func (k *larder) countUnits(s *slot) []measure.Unit {
	var units []measure.Unit
	for i := range s.contributions {
		u := k.list.Conversions[s.contributions[i].Conversion].OwnUnit
		if u != measure.Gram && u != measure.Millilitre && !slices.Contains(units, u) {
			units = append(units, u)
		}
	}
	slices.Sort(units)
	return units
}

// bought adds the line of what is bought in a basis.
func (k *larder) bought(s *slot, b basis, contributions []Contribution, offers []*Offer, wrong *fault.Collector) {
	it := Item{
		Item: s.item, Name: s.name, Section: s.goods.section, Unit: b.unit, Proven: true,
		AllowanceBP: k.allowance(s), Contributions: contributions,
	}
	prepared := true
	var remarks remarkSet
	perClass := make([]int64, len(k.classes))
	for i := range contributions {
		c := &contributions[i]
		conversion := &k.list.Conversions[c.Conversion]
		it.Need += c.Amount
		perClass[c.class] += int64(c.Amount)
		if it.Need > mostFine {
			wrong.Add("need of "+s.item, "", "is too large", "a list counts up to a thousand tonnes of one thing")
			return
		}
		if conversion.Prepared > 0 && b.unit == measure.Gram {
			c.Prepared, _ = c.of(conversion.Prepared)
			it.Prepared += c.Prepared
		} else {
			prepared = false
		}
		it.Acidity = max(it.Acidity, conversion.Acidity)
		if conversion.AcidityAssumed {
			it.Confidence = max(it.Confidence, Neighbour)
			remarks.add("the recipe does not state the strength of the vinegar; 5 % is asked for")
		}
		confidence, why := confidenceIn(conversion, b)
		it.Confidence = max(it.Confidence, confidence)
		for _, r := range why {
			remarks.add(r)
		}
	}
	if !prepared {
		it.Prepared = 0
	}
	if it.Acidity > 0 {
		remarks.add(fmt.Sprintf("at least %s acidity, on the label", percent(int64(it.Acidity), 10)))
	}
	k.useStock(&it, s, b, wrong, &remarks)
	if !s.goods.tap {
		k.fill(&it, s, b, offers, wrong, &remarks)
		it.About = about(s, it)
	}
	for i, share := range apportion(it.Cost.Minor, perClass) {
		k.classCosts[i] += share
	}
	it.Remarks = remarks.list
	k.list.Items = append(k.list.Items, it)
}

// unconverted adds a line for each unit of what no published figure brings into the unit the thing is bought in.
func (k *larder) unconverted(s *slot, contributions []Contribution, sold bool, wrong *fault.Collector) {
	lines := map[measure.Unit]*Item{}
	var order []measure.Unit
	remarks := map[measure.Unit]*remarkSet{}
	for _, c := range contributions {
		conversion := &k.list.Conversions[c.Conversion]
		u := conversion.OwnUnit
		it := lines[u]
		if it == nil {
			it = &Item{Item: s.item, Name: s.name, Section: s.goods.section, Unit: u, Proven: true, Confidence: Unconverted}
			if s.goods.tap {
				it.Confidence = Published // nobody buys it, so nothing needs converting
			}
			lines[u], remarks[u] = it, &remarkSet{}
			order = append(order, u)
		}
		var ok bool
		if c.Amount, ok = c.of(conversion.Own); !ok || it.Need+c.Amount > mostFine {
			wrong.Add("need of "+s.item, "", "is too large", "a list counts up to a thousand tonnes of one thing")
			return
		}
		it.Need += c.Amount
		it.Contributions = append(it.Contributions, c)
		it.Acidity = max(it.Acidity, conversion.Acidity)
		if len(conversion.Remarks) == 0 && !s.goods.tap {
			remarks[u].add("no published figure states it in the unit it is sold in")
		}
		for _, r := range conversion.Remarks {
			remarks[u].add(r)
		}
	}
	slices.Sort(order)
	for _, u := range order {
		it := lines[u]
		k.useStock(it, s, basis{u}, nil, remarks[u])
		if sold {
			remarks[u].add("it is on offer; judge how many packs hold this")
		}
		it.Remarks = remarks[u].list
		k.list.Items = append(k.list.Items, *it)
	}
}

// defaultAllowanceBP is 5 % for produce (an instructor's usual margin for spoiled pieces), nothing for the rest.
const defaultAllowanceBP = 500

func (k *larder) allowance(s *slot) int64 {
	if bp, ok := k.request.AllowanceBP[s.item]; ok {
		return bp
	}
	if s.goods.produce {
		return defaultAllowanceBP
	}
	return 0
}

// about is what a line buys as a count of pieces, where the weight of one is published.
func about(s *slot, it Item) string {
	if it.Unit != measure.Gram || !s.goods.produce || it.ToBuy == 0 {
		return ""
	}
	f := figuresOf(s.key)
	w, ok := f.weight(measure.Each, form{})
	if !ok || w.row.form.kinds != 0 {
		return ""
	}
	y, ok := f.yield(form{})
	if !ok {
		return ""
	}
	each := w.row.Grams.Number().Div(y.row.Fraction)
	return measure.AboutCount(max(1, it.ToBuy-grace).Number().Div(each), w.row.form.size)
}

// remarkSet keeps remarks once each, in the order they came.
type remarkSet struct{ list []string }

func (r *remarkSet) add(s string) {
	if !slices.Contains(r.list, s) {
		r.list = append(r.list, s)
	}
}

// percent formats n parts, of each per to a percent: percent(50, 10) is "5 %".
func percent(n, per int64) string {
	return measure.Ratio(n, per).Decimal(2) + " %"
}
