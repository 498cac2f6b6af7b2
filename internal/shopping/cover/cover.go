// Package cover chooses packs: given how a thing is sold and how much of it is needed, it finds the cheapest
// combination of whole packs that holds at least the need, breaking ties by least surplus and then fewest packs.
//
// This is the unbounded covering knapsack with a lexicographic objective. The argument that the answer is exact:
//
//  1. Let b be the pack with the lowest price per content (of equals, the largest). If some packs that are not b
//     hold together a whole multiple of b's content, swapping them for that many b keeps the content, does not
//     raise the cost, and where the cost stays equal does not raise the number of packs (they were no larger
//     than b). So some best combination has no such sub-collection.
//  2. Call a collection of packs without b a label: content w, cost c, packs k. Any combination is one label plus
//     some number of b. If two labels leave the same remainder modulo b's content, and the lighter one, topped up
//     with b to the content of the heavier, costs no more (and at equal cost has no more packs), the heavier is
//     never needed: whatever completes it completes the topped-up one as well. Only labels that no other makes
//     needless are grown.
//  3. When cost comes first, a label is also needless if another one, topped up with b to at least its content, costs
//     strictly less: whatever completes the one completes the other, for less money. To find the lowest cost alone,
//     no more is enough; then at most one label is kept for each price below that of b, and a few for each number of
//     b inside. So the cost is found first, and the ties are searched among baskets of that cost.
//  4. A label that lacks r of the need costs at least c + min(price of a pack that holds r or more, r times the
//     best price per content among smaller packs), rounded up because prices are whole. A label whose bound is
//     worse than the best combination found so far is dropped.
//
// Nothing in this depends on the order in which labels are grown; best bound first only makes it quick. Counts of
// b are computed, never stepped through, so a need of 10 tonnes in packs of 0.1 g costs no more than a small one.
// By (2) the labels kept at once are bounded by b's content in units of the packs' common measure. [Solve] stops
// at a fixed number of labels all the same; an answer reached that way says what is not proven.
package cover

import (
	"cmp"
	"container/heap"
	"errors"
	"math"
	"math/bits"
	"slices"
)

// Pack is one way a thing is sold. Content is in any one unit shared with the need and is above zero; Price is in
// any one unit of money shared by all packs and is not negative.
type Pack struct{ Content, Price int64 }

// Aim says what makes one combination better than another.
type Aim int

const (
	// LeastCost wants the lowest cost, then the least surplus, then the fewest packs.
	LeastCost Aim = iota
	// LeastSurplus wants the least surplus, then the lowest cost, then the fewest packs.
	LeastSurplus
)

// Basket is a combination of packs.
type Basket struct {
	// Counts says how many of each pack of the problem to buy, by its index.
	Counts []int64
	// Content, Cost and Packs are the sums over Counts.
	Content, Cost, Packs int64
	// Proven says that no combination costs less (or, when surplus comes first, leaves less). It is false only when
	// the search reached its limit.
	Proven bool
	// Settled says that the ties are proven too: none that equals this one in what comes first is better in what
	// comes after. Ties are given up earlier than the search itself: telling equally cheap baskets of pounds and
	// grams apart to the microgram is worth nobody's time.
	Settled bool
}

// ErrNoPacks means there is a need and nothing to cover it with.
var ErrNoPacks = errors.New("nothing to choose from")

// ErrTooLarge means that the cost of every combination leaves the range of a 64-bit integer.
var ErrTooLarge = errors.New("the cost is too large to count")

// ErrBadPack means that a pack has no content or a negative price; callers check this first.
var ErrBadPack = errors.New("a pack must hold something and must not cost less than nothing")

// mostLabels bounds the memory of one search, to about 40 MB; tieLabels is when ties are given up, and mostFront bounds
// the labels that others are held against.
const (
	mostLabels = 400_000
	tieLabels  = 20_000
	mostFront  = 4_096
)

// Solve finds the best basket for a need. A need of zero or less is covered by nothing.
func Solve(need int64, packs []Pack, aim Aim) (Basket, error) {
	return solve(need, packs, aim, mostLabels)
}

func solve(need int64, packs []Pack, aim Aim, limit int) (Basket, error) {
	counts := make([]int64, len(packs))
	if need <= 0 {
		return Basket{Counts: counts, Proven: true, Settled: true}, nil
	}
	if len(packs) == 0 {
		return Basket{}, ErrNoPacks
	}
	for _, p := range packs {
		if p.Content <= 0 || p.Price < 0 {
			return Basket{}, ErrBadPack
		}
	}
	s := newSearch(need, packs, aim)
	s.limit = limit
	var b Basket
	if aim == LeastCost {
		// First the cost alone, which is quick; then the ties among baskets of that cost.
		s.costOnly = true
		b.Proven = s.run()
		s.take(counts)
		s.costOnly, s.labels, s.front, s.queue = false, nil, nil, labelQueue{}
		s.limit = min(limit, tieLabels)
		b.Settled = s.run() && b.Proven
	} else {
		b.Proven = s.run()
		b.Settled = b.Proven
	}
	if !s.found {
		return Basket{}, ErrTooLarge
	}
	s.take(counts)
	b.Counts, b.Cost, b.Packs = counts, s.best.cost, s.best.packs
	for i, n := range counts {
		b.Content += n * packs[i].Content // no overflow: see offer, which saturates and refuses
	}
	return b, nil
}

// take writes the best combination found in this run into counts, and leaves them alone when the best is still that of
// the run before.
func (s *search) take(counts []int64) {
	if !s.found || s.best.label == beforeThisRun {
		return
	}
	clear(counts)
	for l := s.best.label; l >= 0; l = s.labels[l].parent {
		if i := s.labels[l].item; i >= 0 {
			counts[s.items[i].index]++
		}
	}
	counts[s.items[s.base].index] += s.best.baseCount
	if s.best.fill >= 0 {
		counts[s.items[s.best.fill].index] += s.best.fillCount
	}
	s.best.label = beforeThisRun
}

// beforeThisRun marks a best combination whose labels are gone.
const beforeThisRun = -2

type item struct {
	w, c  int64 // content in common measures, price
	index int   // in the caller's packs
}

type label struct {
	w, c, k int64
	bound   int64 // least cost of any completion
	parent  int32
	item    int16 // the pack added to the parent, -1 for the root
	dead    bool  // made needless by a later label
}

// combination is a label, some of the base pack, and some of one other pack.
type combination struct {
	label                int32
	baseCount, fillCount int64
	fill                 int
	surplus, cost, packs int64
}

type search struct {
	aim  Aim
	need int64 // in common measures
	// measure is the greatest common measure of the packs' contents.
	measure int64
	items   []item
	base    int
	limit   int
	labels  []label
	byRest  map[int64][]int32
	front   []step
	queue   labelQueue
	best    combination
	found   bool
	// costOnly leaves ties alone: one of the cheapest combinations is enough.
	costOnly bool

	// items are in order of content. cheapest[i] is the item with the best price per content among items[:i];
	// lowest[i] is the lowest price among items[i:].
	cheapest []int
	lowest   []int64
	largest  int64
}

func newSearch(need int64, packs []Pack, aim Aim) *search {
	measure := int64(0)
	for _, p := range packs {
		measure = gcd(measure, p.Content)
	}
	s := &search{aim: aim, need: (need-1)/measure + 1, measure: measure}
	for i, p := range packs {
		s.items = append(s.items, item{w: p.Content / measure, c: p.Price, index: i})
	}
	s.dropNeedless()
	for i, it := range s.items {
		if i == 0 || lowerUnitPrice(it, s.items[s.base]) || !lowerUnitPrice(s.items[s.base], it) && it.w > s.items[s.base].w {
			s.base = i
		}
	}
	n := len(s.items)
	s.cheapest, s.lowest = make([]int, n+1), make([]int64, n+1)
	s.cheapest[0], s.lowest[n] = -1, math.MaxInt64
	for i, it := range s.items {
		s.cheapest[i+1] = s.cheapest[i]
		if c := s.cheapest[i]; c < 0 || lowerUnitPrice(it, s.items[c]) {
			s.cheapest[i+1] = i
		}
	}
	for i := n - 1; i >= 0; i-- {
		s.lowest[i] = min(s.lowest[i+1], s.items[i].c)
	}
	s.largest = s.items[n-1].w
	return s
}

// dropNeedless sorts the packs by content and drops those that whole numbers of another pack always replace: at
// the same content for no more money and no more packs, or, when cost comes first, at no less content for less.
func (s *search) dropNeedless() {
	all := s.items
	// Insertion sort: a thing is sold in a handful of ways. Order: content, price, the caller's order.
	for i := 1; i < len(all); i++ {
		for j := i; j > 0 && before(all[j], all[j-1]); j-- {
			all[j], all[j-1] = all[j-1], all[j]
		}
	}
	kept := make([]item, 0, len(all))
	for i, it := range all {
		needless := false
		for j, other := range all {
			if i == j {
				continue
			}
			k := (it.w-1)/other.w + 1
			cost := saturatedMul(k, other.c)
			switch {
			case cost < it.c && (s.aim == LeastCost || k*other.w == it.w):
				needless = true
			case cost == it.c && other.w == it.w && j < i:
				needless = true
			}
		}
		if !needless {
			kept = append(kept, it)
		}
	}
	s.items = kept
}

func before(a, b item) bool {
	if a.w != b.w {
		return a.w < b.w
	}
	if a.c != b.c {
		return a.c < b.c
	}
	return a.index < b.index
}

func (s *search) run() (proven bool) {
	s.byRest = make(map[int64][]int32)
	s.grow(-1, -1, 0, 0, 0)
	for len(s.queue.order) > 0 {
		at := heap.Pop(&s.queue).(int32)
		l := s.labels[at]
		if l.dead || s.hopeless(l) {
			continue
		}
		for i, it := range s.items {
			if i == s.base {
				continue
			}
			if s.need-l.w <= it.w {
				continue // the combination was weighed when the label was made
			}
			if len(s.labels) >= s.limit {
				return false
			}
			s.grow(at, i, l.w+it.w, saturatedAdd(l.c, it.c), l.k+1)
		}
	}
	return true
}

// grow makes a label, weighs the combinations it completes to, and queues it unless it is needless.
func (s *search) grow(parent int32, added int, w, c, k int64) {
	if c == math.MaxInt64 {
		return
	}
	l := label{w: w, c: c, k: k, parent: parent, item: int16(added), bound: s.bound(w, c)}
	if s.hopeless(l) {
		return
	}
	base := s.items[s.base]
	rest := w % base.w
	if s.aim == LeastCost && s.undercut(step{rest: rest, whole: w / base.w, cost: c - w/base.w*base.c}) {
		return
	}
	peers := s.byRest[rest]
	for _, p := range peers {
		if a := s.labels[p]; a.w <= w && s.replaces(a, l) {
			return
		}
	}
	kept := peers[:0]
	for _, p := range peers {
		if a := &s.labels[p]; a.w >= w && s.replaces(l, *a) {
			a.dead = true
			continue
		}
		kept = append(kept, p)
	}
	at := int32(len(s.labels))
	s.byRest[rest] = append(kept, at)
	s.labels = append(s.labels, l)
	s.weigh(at)
	s.queue.labels = s.labels
	heap.Push(&s.queue, at)
}

// step is a label's content and cost less the base packs that would fit into it: whole of them, leaving rest.
type step struct{ rest, whole, cost int64 }

// undercut says whether some label, topped up with the base pack to at least the content of x, costs strictly less
// (or, while cost alone counts, no more); if not, x joins the labels that others are held against. The front is kept in order of rest, and where it can be in
// order of cost: a step with no more content and no less cost than its successor is of no use in it.
func (s *search) undercut(x step) bool {
	at, _ := slices.BinarySearchFunc(s.front, x, func(a, b step) int { return cmp.Compare(a.rest, b.rest) })
	// With at least as much left over, and no more base packs inside.
	for i := at; i < len(s.front) && i < at+frontReach; i++ {
		if a := s.front[i]; a.whole <= x.whole && (a.cost < x.cost || s.costOnly && a.cost == x.cost) {
			return true
		}
	}
	// With less left over, one more base pack makes up for it.
	base := s.items[s.base].c
	for i := 0; i < at && i < frontReach; i++ {
		if a := s.front[i]; a.whole <= x.whole+1 && (a.cost+base < x.cost || s.costOnly && a.cost+base == x.cost) {
			return true
		}
	}
	for at < len(s.front) && s.front[at].rest == x.rest && s.front[at].cost < x.cost {
		at++
	}
	// What x makes useless lies before it.
	from := at
	for from > 0 && s.front[from-1].cost >= x.cost && s.front[from-1].whole >= x.whole {
		from--
	}
	if len(s.front) < mostFront || from < at {
		s.front = slices.Replace(s.front, from, at, x)
	}
	return false
}

// frontReach bounds how far along the front a label is held against others; missing one only costs time.
const frontReach = 8

// replaces says whether the lighter label a, topped up with the base pack, does whatever b does.
func (s *search) replaces(a, b label) bool {
	base := s.items[s.base]
	m := (b.w - a.w) / base.w
	cost := saturatedAdd(a.c, saturatedMul(m, base.c))
	return cost < b.c || cost == b.c && a.k+m <= b.k
}

// weigh offers the completions of a label by the base pack, by one more pack of any kind, and by the base pack
// with one other kind for the last bit.
func (s *search) weigh(at int32) {
	l, base := s.labels[at], s.items[s.base]
	lack := s.need - l.w
	s.offer(combination{label: at, baseCount: (lack-1)/base.w + 1, fill: -1})
	whole := lack / base.w
	for i, it := range s.items {
		if i == s.base {
			continue
		}
		s.offer(combination{label: at, fill: i, fillCount: (lack-1)/it.w + 1})
		if left := lack - whole*base.w; whole > 0 && left > 0 {
			s.offer(combination{label: at, baseCount: whole, fill: i, fillCount: (left-1)/it.w + 1})
		}
	}
}

func (s *search) offer(x combination) {
	l, base := s.labels[x.label], s.items[s.base]
	x.cost = saturatedAdd(l.c, saturatedMul(x.baseCount, base.c))
	x.packs = l.k + x.baseCount + x.fillCount
	content := saturatedAdd(l.w, saturatedMul(x.baseCount, base.w))
	if x.fill >= 0 {
		x.cost = saturatedAdd(x.cost, saturatedMul(x.fillCount, s.items[x.fill].c))
		content = saturatedAdd(content, saturatedMul(x.fillCount, s.items[x.fill].w))
	}
	if x.cost == math.MaxInt64 || saturatedMul(content, s.measure) == math.MaxInt64 {
		return
	}
	x.surplus = content - s.need
	if !s.found || s.better(x, s.best) {
		s.best, s.found = x, true
	}
}

func (s *search) better(a, b combination) bool {
	first, second := [2]int64{a.cost, b.cost}, [2]int64{a.surplus, b.surplus}
	if s.aim == LeastSurplus {
		first, second = second, first
	}
	switch {
	case first[0] != first[1]:
		return first[0] < first[1]
	case second[0] != second[1]:
		return second[0] < second[1]
	default:
		return a.packs < b.packs
	}
}

// hopeless says that no completion of the label beats the best combination found so far.
func (s *search) hopeless(l label) bool {
	if !s.found {
		return false
	}
	if s.aim == LeastSurplus && s.best.surplus > 0 {
		return false
	}
	if l.bound != s.best.cost {
		return l.bound > s.best.cost
	}
	if s.costOnly {
		return true
	}
	return s.best.surplus == 0 && l.k+(s.need-l.w-1)/s.largest+1 >= s.best.packs
}

// bound is the least any completion of a label can cost.
func (s *search) bound(w, c int64) int64 {
	lack := s.need - w
	smaller := 0
	for smaller < len(s.items) && s.items[smaller].w < lack {
		smaller++
	}
	least := s.lowest[smaller]
	if i := s.cheapest[smaller]; i >= 0 {
		hi, lo := bits.Mul64(uint64(lack), uint64(s.items[i].c))
		if hi < uint64(s.items[i].w) {
			q, r := bits.Div64(hi, lo, uint64(s.items[i].w))
			if r > 0 {
				q++
			}
			if q < uint64(least) {
				least = int64(q)
			}
		}
	}
	return saturatedAdd(c, least)
}

// lowerUnitPrice says a costs less per content than b.
func lowerUnitPrice(a, b item) bool {
	ah, al := bits.Mul64(uint64(a.c), uint64(b.w))
	bh, bl := bits.Mul64(uint64(b.c), uint64(a.w))
	return ah < bh || ah == bh && al < bl
}

func saturatedAdd(a, b int64) int64 {
	if a > math.MaxInt64-b {
		return math.MaxInt64
	}
	return a + b
}

func saturatedMul(a, b int64) int64 {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	if hi != 0 || lo > math.MaxInt64 {
		return math.MaxInt64
	}
	return int64(lo)
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// labelQueue orders labels by bound, then packs, then age, so that runs repeat.
type labelQueue struct {
	labels []label
	order  []int32
}

func (q *labelQueue) Len() int { return len(q.order) }

func (q *labelQueue) Less(i, j int) bool {
	a, b := q.labels[q.order[i]], q.labels[q.order[j]]
	switch {
	case a.bound != b.bound:
		return a.bound < b.bound
	case a.k != b.k:
		return a.k < b.k
	default:
		return q.order[i] < q.order[j]
	}
}

func (q *labelQueue) Swap(i, j int) { q.order[i], q.order[j] = q.order[j], q.order[i] }

func (q *labelQueue) Push(x any) { q.order = append(q.order, x.(int32)) }

func (q *labelQueue) Pop() any {
	last := q.order[len(q.order)-1]
	q.order = q.order[:len(q.order)-1]
	return last
}
