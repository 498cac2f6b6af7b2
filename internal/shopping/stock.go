package shopping

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// stock is what is on hand and not yet spoken for.
type stock struct {
	items []OnHand
	// left is what remains of each, in its own base unit; whole is what there was.
	left, whole []Fine
}

func newStock(items []OnHand) *stock {
	s := &stock{items: slices.Clone(items)}
	slices.SortStableFunc(s.items, func(a, b OnHand) int {
		// What keeps is used last; of the rest, what goes off first is used first.
		if a.BestBefore != b.BestBefore && (a.BestBefore == "" || b.BestBefore == "") {
			if a.BestBefore == "" {
				return 1
			}
			return -1
		}
		return cmp.Or(strings.Compare(string(a.BestBefore), string(b.BestBefore)), strings.Compare(a.ID, b.ID))
	})
	for _, it := range s.items {
		whole, _, err := fineOf(it.Content, roundDown)
		if err != nil {
			whole = 0 // validated before
		}
		s.left, s.whole = append(s.left, whole), append(s.whole, whole)
	}
	return s
}

// useStock fills the allowance, what is on hand, and what is left to buy. Needs are served day by day, each from the
// stock that goes off soonest and is still good on that day; no other order uses more of the stock.
func (k *larder) useStock(it *Item, s *slot, b basis, wrong *fault.Collector, remarks *remarkSet) {
	var days []dayNeed
	for _, c := range it.Contributions {
		day := k.classes[c.class].Day
		if n := len(days); n == 0 || days[n-1].day != day {
			days = append(days, dayNeed{day: day})
		}
		days[len(days)-1].need += c.Amount
	}
	used := make([]Fine, len(k.stock.items))
	available := make([]Fine, len(k.stock.items))
	for i, h := range k.stock.items {
		available[i] = k.available(i, s, b, wrong, remarks)
		if h.Item == ItemLid && s.item == ItemLid && h.Used {
			available[i] = 0
			remarks.add("used lids on hand are not counted: lids are always new")
		}
	}
	for _, d := range days {
		allowance := d.need.share(it.AllowanceBP, 10_000)
		it.Allowance += allowance
		lack := d.need + allowance
		for i, h := range k.stock.items {
			if available[i] == 0 || h.BestBefore != "" && h.BestBefore < d.day {
				continue
			}
			take := min(lack, available[i]-used[i])
			used[i] += take
			lack -= take
			it.OnHand += take
		}
		it.ToBuy += lack
	}
	for i, h := range k.stock.items {
		if used[i] > 0 {
			it.StockUsed = append(it.StockUsed, StockUse{Stock: orElse(h.ID, h.Item), Used: used[i]})
			k.stock.draw(i, used[i], available[i])
		} else if available[i] > 0 && h.BestBefore != "" && h.BestBefore < days[len(days)-1].day {
			remarks.add(fmt.Sprintf("%s on hand is past its best-before (%s) and is not counted", orElse(h.ID, "stock"), h.BestBefore))
		}
	}
}

type dayNeed struct {
	day  Day
	need Fine
}

// available is what is left of a stock item in a basis, rounded down; zero when it is another thing.
func (k *larder) available(i int, s *slot, b basis, wrong *fault.Collector, remarks *remarkSet) Fine {
	h := k.stock.items[i]
	if !serves(h.Item, s.item) || k.stock.left[i] == 0 {
		return 0
	}
	var whole Fine
	if n, err := measure.Convert(h.Content.Amount.High, h.Content.Unit, b.unit); err == nil {
		whole, _ = contentFine(n)
	} else if n, ok := restate(h.Content, b, s.key); ok {
		whole, _ = contentFine(n)
	} else if wrong == nil {
		remarks.add(fmt.Sprintf("on hand: %s (%s); judge how far it goes", h.Content, orElse(h.ID, h.Item)))
		return 0
	} else {
		wrong.Add("on hand ("+orElse(h.ID, h.Item)+")", h.Content.String(),
			fmt.Sprintf("is in a unit that cannot measure %s, which is bought by the %s", s.name, b.unit), "state it in that unit")
		return 0
	}
	if k.stock.left[i] == k.stock.whole[i] {
		return whole
	}
	used := whole.share(int64(k.stock.whole[i]-k.stock.left[i]), int64(k.stock.whole[i]))
	return whole - used
}

// draw takes used of available off a stock item's own remainder.
func (s *stock) draw(i int, used, available Fine) {
	if used == available {
		s.left[i] = 0
		return
	}
	s.left[i] -= min(s.left[i], s.left[i].share(int64(used), int64(available)))
}
