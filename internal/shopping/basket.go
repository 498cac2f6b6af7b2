package shopping

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/shopping/cover"
)

// offersByItem are the offers a request allows, by item, in an order that does not depend on the request's.
func offersByItem(r Request) map[string][]*Offer {
	by := map[string][]*Offer{}
	for i := range r.Offers {
		if o := &r.Offers[i]; r.Shop == "" || o.Shop == r.Shop {
			by[o.Item] = append(by[o.Item], o)
		}
	}
	for _, offers := range by {
		slices.SortStableFunc(offers, func(a, b *Offer) int { return strings.Compare(a.ID, b.ID) })
	}
	return by
}

// offersFor are the offers that can serve a slot.
func (k *larder) offersFor(s *slot) []*Offer {
	if s.goods.tap {
		return nil
	}
	group, ok := genericItems[s.item]
	if !ok {
		return k.offers[s.item]
	}
	var found []*Offer
	for _, member := range groupByKey[group].Members {
		found = append(found, k.offers[member]...)
	}
	return found
}

// mostSharedSteps bounds the common denominator in which the prices of loose goods are compared.
const mostSharedSteps = 1_000_000

// fill covers what a line has to buy by whole packs.
//
// Prices of loose goods are compared exactly, in parts of a minor unit; the line's cost is rounded up once, to a
// whole minor unit, and split over the packs bought so that the parts add up.
func (k *larder) fill(it *Item, s *slot, b basis, offers []*Offer, wrong *fault.Collector, remarks *remarkSet) {
	if it.ToBuy == 0 || len(offers) == 0 {
		if it.ToBuy > 0 && k.request.Shop != "" {
			remarks.add("not sold at " + k.request.Shop)
		}
		return
	}
	packs := make([]cover.Pack, 0, len(offers))
	sold := make([]*Offer, 0, len(offers))
	shared := int64(1)
	for _, o := range offers {
		if s.goods.vinegar && o.Acidity < it.Acidity {
			remarks.add(fmt.Sprintf("%s is left out: its acidity (%s) is not %s or more", o.name(), acidityText(o.Acidity), percent(int64(it.Acidity), 10)))
			continue
		}
		content, native, ok := o.contentIn(b, s.key)
		if !ok {
			wrong.Add("offer ("+o.name()+").content", o.Content.String(),
				fmt.Sprintf("is in a unit that cannot measure %s, which is bought by the %s", s.name, b.unit),
				"state the content in that unit, or give the average weight of one")
			continue
		}
		if !native {
			remarks.add("what " + o.name() + " holds is reckoned by a published weight")
			it.Confidence = max(it.Confidence, Neighbour)
		}
		steps, _ := o.steps() // validated before
		if shared = lcm(shared, steps); shared > mostSharedSteps {
			wrong.Add("offer ("+o.name()+").step", o.Step.String(), "makes prices that cannot be compared exactly with the other offers of "+s.name,
				"sell loose goods in simple parts of what the price is for, such as 100 g of 1 kg")
			return
		}
		packs = append(packs, cover.Pack{Content: int64(content)})
		sold = append(sold, o)
	}
	if len(sold) == 0 {
		return
	}
	for i, o := range sold {
		steps, _ := o.steps()
		packs[i].Price = o.Price.Minor * (shared / steps)
	}
	basket, err := solve(max(1, it.ToBuy-grace), packs, k.request.Aim, b)
	if err != nil {
		reason := "cannot be bought: " + err.Error()
		if errors.Is(err, cover.ErrTooLarge) {
			reason = "costs more than can be counted"
		}
		wrong.Add("offers of "+s.item, "", reason, "offer larger packs or check the prices")
		return
	}
	it.Proven = basket.Proven
	if !basket.Proven {
		remarks.add("the search for the best packs reached its limit; this basket covers the need and may not be the best")
	}
	it.Cost.Minor = ceilDiv(basket.Cost, shared)
	weights := make([]int64, 0, len(packs))
	for i, n := range basket.Counts {
		if n == 0 {
			continue
		}
		o := sold[i]
		content := Fine(packs[i].Content)
		it.Basket = append(it.Basket, Purchase{
			Offer: o.ID, Label: o.describe(s.name), Shop: o.Shop, Kind: o.Kind, Count: n, Each: content, Content: content * Fine(n),
			Cost: Money{Currency: o.Price.Currency},
		})
		weights = append(weights, n*packs[i].Price)
		it.Content += content * Fine(n)
		if o.Section != "" {
			it.Section = o.Section
		}
	}
	for i, share := range apportion(it.Cost.Minor, weights) {
		it.Basket[i].Cost.Minor = share
	}
	it.Surplus = max(0, it.Content-it.ToBuy)
}

// solve chooses packs. Least surplus is judged to a tenth of a gram or millilitre: nobody weighs finer, and it keeps
// pounds beside kilograms from being told apart by micrograms.
func solve(need Fine, packs []cover.Pack, aim Aim, b basis) (cover.Basket, error) {
	if aim == LeastCost {
		return cover.Solve(int64(need), packs, cover.LeastCost)
	}
	const tenth = FinePerUnit / 10
	coarse := slices.Clone(packs)
	for i := range coarse {
		coarse[i].Content /= tenth
		if coarse[i].Content == 0 || b.unit != measure.Gram && b.unit != measure.Millilitre {
			return cover.Solve(int64(need), packs, cover.LeastSurplus)
		}
	}
	return cover.Solve(ceilDiv(int64(need), tenth), coarse, cover.LeastSurplus)
}

// describe is what the shelf says, or else how it is packed: "bottle of 1 litre".
func (o *Offer) describe(thing string) string {
	switch {
	case o.Label != "":
		return o.Label
	case o.Kind == Loose || o.Kind == Single:
		return thing
	case o.Content.Unit == measure.Each || string(o.Content.Unit) == string(o.Kind):
		return string(o.Kind) + " of " + o.Content.Amount.String()
	}
	return string(o.Kind) + " of " + o.Content.String()
}

// name is what an offer is called in messages.
func (o *Offer) name() string {
	s := orElse(o.Label, orElse(o.ID, o.Item))
	if o.Shop != "" {
		s += " at " + o.Shop
	}
	return s
}

func acidityText(tenths int) string {
	if tenths == 0 {
		return "not stated"
	}
	return percent(int64(tenths), 10)
}

func lcm(a, b int64) int64 {
	x, y := a, b
	for y != 0 {
		x, y = y, x%y
	}
	return a / x * b
}
