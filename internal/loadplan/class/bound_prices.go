package class

import (
	"math"
	"slices"
)

// How many jars can be out of a canner by minute T at most?
//
// Leave out hands, and keep: a canner takes one load at a time, a load is of one family and within capacity and
// window, its length grows with its jars, a batch that may not be split is loaded whole; a station does its batches
// in order, each stage taking its time, each batch filled no earlier than it can be and loaded no later than its jars
// may wait; of batch b there are only left[b] jars, and at minute t there are burners[t] burners. What ties canners
// and stations together is that canners load, minute by minute, what stations have to offer, and that both need
// burners. Put a price l[b,t] >= 0 on every jar of batch b loaded at minute t and a price m[t] >= 0 on a burner for
// minute t (Lagrangian relaxation). Canners buy jars and burners, and may take a batch as often as they like;
// stations choose when to fill and how many of their batches to make, buy burners, and sell jars. Whatever the prices,
// the jars of any plan number at most
//
//	L(l, m) =  sum over stations of the most that they can earn
//	         + sum over canners c of G_c(start)
//	         + sum over t of m[t]*burners[t]
//
// where a batch filled at F earns left[b] times the highest l[b,t] with F <= t <= F + hold, less the burner for its
// stage, and G_c(t) is the most that canner c can gain from minute t on, each jar of b loaded at t counting
// 1 - l[b,t]. For every jar of a plan counts 1 = (1-l) + l: the canner gains the first part, the station has earned the
// second; and the burners that the plan uses cost at most sum m*burners.
//
// G_c follows from the back: at each minute wait for the next, or load the best of what is ready,
//
//	G_c(t) = max( G_c(t+1), max over families f and jars n of gain_f(t, n) - sum of m over the load + G_c(t + length + reset) )
//
// with gain_f(t, n) the best choice of at most n jars at t. What a station can earn follows in the same way, batch by
// batch from its last. Prices are moved towards what is taken too often (subgradient method: M. Held, P. Wolfe and
// H. Crowder, "Validation of subgradient optimization", Mathematical Programming 6, 1974). At the best prices L is the
// bound of the linear program over all timetables of single canners and stations. Prices are kept equal within blocks
// of a few minutes, which weakens the bound a little and makes them few; coarse prices of jars do not depend on time.
//
// Where every jar must be loaded, what is loaded equals what is offered: prices of jars may be negative, and every
// station makes all.
type prices struct {
	in       *Instance
	from, to []int    // by batch, the minutes at which it may be filled
	barred   [][]bool // by canner and batch, not to be loaded there
	members  [][]int  // by family, batches with jars left
	steps    [][][]int
	most     []int // by family, the most jars in any load
	shortest int   // the shortest load there can be
	blocks   int
	all      bool    // every jar must be loaded
	coarse   bool    // a jar costs the same at all times
	scarce   bool    // burners can run out
	jar      [][]int // l, by batch and block, in the unit of whole
	burner   []int   // m, by minute
	upTo     []int   // sums of m: upTo[t] is the price of a burner over [0, t)
	effort   int64
	taken    []take // by the canners, at all prices tried in the last call of improve

	allowed int64 // effort after which improve stops early; 0 for none
	moves   int   // rounds made by the last call of improve

	ready  []int // of choose
	filled []int16
}

// take is jars of a batch in a load that some canner would choose.
type take struct{ canner, batch, at, jars int }

const whole = 10_000 // a jar in the unit of prices

// blockMinutes is how long prices stay the same.
const blockMinutes = 10

func newPrices(in *Instance) *prices {
	p := &prices{in: in, from: in.earliestFillings(), to: make([]int, len(in.batches)), members: make([][]int, len(in.families)), coarse: true,
		jar: make([][]int, len(in.batches)), burner: make([]int, in.close+1), upTo: make([]int, in.close+2), shortest: in.close,
		blocks: in.close/blockMinutes + 1, most: make([]int, len(in.families)), scarce: in.burners < len(in.stations)+len(in.canners)}
	for b := range in.batches {
		p.jar[b] = make([]int, p.blocks)
		p.to[b] = max(in.close, p.from[b])
		if bb := in.batches[b]; bb.left > 0 {
			p.members[bb.family] = append(p.members[bb.family], b)
		}
	}
	for c := range in.canners {
		k := &in.canners[c]
		steps := make([][]int, len(in.families))
		for f, members := range p.members {
			jars := 0
			for _, b := range members {
				jars += in.batches[b].left
			}
			most := min(k.capacity[f], jars)
			p.most[f] = max(p.most[f], most)
			for n := 1; n <= most; n++ {
				if n == most || k.lengths[f][n+1] > k.lengths[f][n] {
					steps[f] = append(steps[f], n)
				}
			}
			if most > 0 {
				p.shortest = min(p.shortest, k.lengths[f][1])
			}
		}
		p.steps = append(p.steps, steps)
		p.barred = append(p.barred, make([]bool, len(in.batches)))
	}
	return p
}

// offer is what a canner could load of one family during a span of time: the gain from at most n jars, for every n.
type offer struct {
	from, until int
	gains       []int
}

// offers lists, by family, spans in which neither prices nor what is ready change.
func (p *prices) offers(c, deadline int) [][]offer {
	out := make([][]offer, len(p.members))
	for f, members := range p.members {
		if len(p.steps[c][f]) == 0 {
			continue
		}
		first := deadline
		changes := []int{deadline}
		still := func(t int) int { return min(max(t, p.in.now), deadline) } // batches may have been filled long ago
		for _, b := range members {
			if !p.barred[c][b] {
				first = min(first, still(p.from[b]))
				changes = append(changes, still(p.from[b]), still(p.to[b]+p.in.batches[b].hold+1))
			}
		}
		if !p.coarse {
			for t := first - first%blockMinutes + blockMinutes; t < deadline; t += blockMinutes {
				changes = append(changes, t)
			}
		}
		slices.Sort(changes)
		changes = slices.Compact(changes)
		for i, from := range changes[:len(changes)-1] {
			gains := p.choose(c, f, from, p.most[f], nil)
			if gains[len(gains)-1] > 0 {
				out[f] = append(out[f], offer{from, changes[i+1], gains})
			}
		}
	}
	return out
}

// choose is, by number of jars up to most, the best gain from at most so many jars of a family that can be loaded at
// minute t in canner c: a knapsack in which batches that may not be split come whole. If shares is not nil, the
// choice for most jars is appended to it.
func (p *prices) choose(c, f, t, most int, shares *[]Share) []int {
	block := t / blockMinutes
	p.ready = p.ready[:0]
	for _, b := range p.members[f] {
		if p.from[b] <= t && t <= p.to[b]+p.in.batches[b].hold && p.jar[b][block] < whole && !p.barred[c][b] {
			p.ready = append(p.ready, b)
		}
	}
	gains := make([]int, most+1)
	row := most + 1
	if need := row * len(p.ready); shares != nil && len(p.filled) < need {
		p.filled = make([]int16, need)
	}
	for i, b := range p.ready {
		left, each := p.in.batches[b].left, whole-p.jar[b][block]
		for n := most; n > 0; n-- {
			best, x := gains[n], 0
			if !p.in.batches[b].split {
				if n >= left && gains[n-left]+left*each > best {
					best, x = gains[n-left]+left*each, left
				}
			} else {
				for y := 1; y <= min(n, left); y++ {
					if g := gains[n-y] + y*each; g > best {
						best, x = g, y
					}
				}
			}
			gains[n] = best
			if shares != nil {
				p.filled[i*row+n] = int16(x)
			}
		}
	}
	p.effort += int64(most*len(p.ready))/8 + 1
	if shares != nil {
		n := most
		for i := len(p.ready) - 1; i >= 0 && n > 0; i-- {
			if x := int(p.filled[i*row+n]); x > 0 {
				*shares = append(*shares, Share{p.ready[i], x})
				n -= x
			}
		}
	}
	return gains
}

// usage is what is taken at some prices, less what there is.
type usage struct {
	jars    [][]int // by batch and block
	burners []int   // by minute
}

// end is the latest minute by which a load that begins at t in canner c must be out, -1 if none may begin.
func (p *prices) end(c, t, deadline int) int {
	end := -1
	for _, w := range p.in.canners[c].windows {
		if w.Start <= t && t < w.End {
			end = max(end, min(w.End, deadline))
		}
	}
	return end
}

// free is when canner c is out of what is done. Loads entered for later are left out, which only helps.
func (p *prices) free(c int) int {
	from := p.in.now
	for _, w := range p.in.canners[c].busy {
		if w.Start <= p.in.now {
			from = max(from, w.End)
		}
	}
	return from
}

// potential is G_c for every minute up to the deadline, at which it is 0. If u is not nil, a best timetable of the
// canner is added to it.
func (p *prices) potential(c, deadline int, offers [][]offer, u *usage) []int {
	k := &p.in.canners[c]
	best := make([]int, deadline+1)
	type pick struct{ family, jars int16 }
	choice := make([]pick, deadline+1)
	from := p.free(c)
	at := make([]int, len(offers))
	for f := range offers {
		at[f] = len(offers[f]) - 1
	}
	for t := deadline - 1; t >= 0; t-- {
		best[t] = best[t+1]
		end := p.end(c, t, deadline)
		if end < 0 || t < from {
			continue
		}
		for f := range offers {
			for at[f] >= 0 && offers[f][at[f]].from > t {
				at[f]--
			}
			if at[f] < 0 || t >= offers[f][at[f]].until {
				continue
			}
			gains := offers[f][at[f]].gains
			for _, n := range p.steps[c][f] {
				length := k.lengths[f][n]
				if t+length > end {
					break
				}
				gain := gains[n] - p.upTo[t+length] + p.upTo[t]
				if next := t + length + k.reset; next < deadline {
					gain += best[next]
				}
				if gain > best[t] {
					best[t], choice[t] = gain, pick{int16(f), int16(n)}
				}
			}
		}
	}
	p.effort += int64(deadline) * int64(len(offers)) / 20
	if u == nil {
		return best
	}
	var shares []Share
	for t := 0; t < deadline; {
		n := int(choice[t].jars)
		if n == 0 {
			t++
			continue
		}
		f := int(choice[t].family)
		shares = shares[:0]
		p.choose(c, f, t, n, &shares)
		for _, x := range shares {
			u.jars[x.Batch][t/blockMinutes] += x.Jars
			p.taken = append(p.taken, take{c, x.Batch, t, x.Jars})
		}
		length := k.lengths[f][n]
		use(u.burners, t, t+length, 1)
		t += length + k.reset
	}
	return best
}

// before is, for every minute up to the deadline, the most that canner c can gain from loads that leave it free by
// then, resets included: the potential looked at from the other end.
func (p *prices) before(c, deadline int, offers [][]offer) []int {
	k := &p.in.canners[c]
	best := make([]int, deadline+1)
	from := p.free(c)
	for t := range deadline {
		best[t+1] = max(best[t+1], best[t])
		end := p.end(c, t, deadline)
		if end < 0 || t < from {
			continue
		}
		for f := range offers {
			for _, o := range offers[f] {
				if t < o.from || t >= o.until {
					continue
				}
				for _, n := range p.steps[c][f] {
					length := k.lengths[f][n]
					if t+length > end {
						break
					}
					if next := t + length + k.reset; next <= deadline {
						best[next] = max(best[next], best[t]+o.gains[n]-p.upTo[t+length]+p.upTo[t])
					}
				}
			}
		}
	}
	p.effort += int64(deadline) * int64(len(offers)) / 20
	return best
}

// sells reports whether jars of batch b, filled at minute t, can still be loaded before the deadline.
func (p *prices) sells(b, t, deadline int) bool {
	return p.in.batches[b].left > 0 && t < deadline && t+p.in.batches[b].hold >= p.in.now
}

// earns is what batch b, which sells, earns when it is filled at minute t, and the block in which its jars are sold.
func (p *prices) earns(b, t, deadline int) (value, block int) {
	bb := &p.in.batches[b]
	high := math.MinInt
	for j := max(t, p.in.now) / blockMinutes; j <= min(t+bb.hold, deadline)/blockMinutes; j++ {
		if l := p.jar[b][j]; l > high {
			high, block = l, j
		}
	}
	value = bb.left * high
	if bb.filled == open {
		value -= p.upTo[t] - p.upTo[t-bb.stage]
	}
	return value, block
}

// span is the minutes at which b can be filled if it, or a batch after it, is to be out by the deadline.
func (p *prices) span(b, deadline int) (from, to int) {
	if f := p.in.batches[b].filled; f != open {
		return f, f
	}
	return p.from[b], min(p.to[b], deadline-p.shortest)
}

const never = math.MinInt / 4

// stationEarns is the most that a station can earn; never if it cannot make what it must. If u is not nil, what it
// offers and the burners it needs are put into it.
func (p *prices) stationEarns(list []int, deadline int, u *usage) int {
	// after[k][t]: the most from batches k on if the one before was filled at t, and choice[k][t] when to fill k, -1 to
	// stop there.
	n := len(list)
	after := make([]int, deadline+2) // for the batch behind the last: nothing
	choices := make([][]int, n)
	for k := n - 1; k >= 0; k-- {
		b := list[k]
		bb := &p.in.batches[b]
		from, to := p.span(b, deadline)
		must := p.all || bb.filled != open
		if bb.filled != open { // it is done; those before it are too
			rest := 0
			if k+1 < n && p.in.batches[list[k+1]].filled == open {
				rest = after[min(max(bb.filled, 0), deadline)]
			} else if k+1 < n {
				rest = after[0]
			}
			value := 0
			if p.sells(b, bb.filled, deadline) {
				value, _ = p.earns(b, bb.filled, deadline)
			}
			for t := range after {
				after[t] = value + rest
			}
			choices[k] = nil
			continue
		}
		best, at := never, -1
		now, choice := make([]int, deadline+2), make([]int, deadline+2)
		floor := 0
		if must {
			floor = never
		}
		t := deadline // the minute before which the one before was filled
		for f := to; ; f-- {
			// before f is tried, settle those t for which only later minutes are possible: t + stage > f
			for t >= 0 && max(t+bb.stage, from) > f {
				now[t], choice[t] = floor, -1
				if best > floor {
					now[t], choice[t] = best, at
				}
				t--
			}
			if f < from || t < 0 {
				break
			}
			value, _ := p.earns(b, f, deadline)
			if value += after[f]; value >= best {
				best, at = value, f
			}
		}
		after, choices[k] = now, choice
	}
	p.effort += int64(n*deadline) / 40
	total := after[0]
	if u == nil || total <= never/2 {
		return total
	}
	t := 0
	for k, b := range list {
		bb := &p.in.batches[b]
		at := bb.filled
		if at == open {
			if at = choices[k][min(max(t, 0), deadline)]; at < 0 {
				break
			}
			use(u.burners, at-bb.stage, at, 1)
		}
		if p.sells(b, at, deadline) {
			_, block := p.earns(b, at, deadline)
			u.jars[b][block] -= bb.left
		}
		t = at
	}
	return total
}

// bound is L at the present prices, never if there can be no plan, and what is taken at them.
func (p *prices) bound(deadline int, u *usage) int {
	total := 0
	for b := range u.jars {
		clear(u.jars[b])
	}
	for t := range u.burners {
		free := 0
		if t < deadline {
			free = p.in.burners - p.in.burnerUsed[t]
		}
		total += free * p.burner[t]
		u.burners[t] = -free
	}
	var offers [][]offer
	for c := range p.in.canners {
		if c == 0 || !slices.Equal(p.barred[c], p.barred[c-1]) || p.fewer(c) {
			offers = p.offers(c, deadline)
		}
		total += p.potential(c, deadline, offers, u)[0]
	}
	for _, list := range p.in.stations {
		earns := p.stationEarns(list, deadline, u)
		if earns <= never/2 {
			return never
		}
		total += earns
	}
	return total
}

// fewer reports whether canner c takes other families than the one before, so that its offers must be listed anew.
func (p *prices) fewer(c int) bool {
	for f := range p.members {
		if (len(p.steps[c][f]) == 0) != (len(p.steps[c-1][f]) == 0) {
			return true
		}
	}
	return false
}

// worth is a bound on what batch b adds to the earnings of its station at coarse prices. It reports false if b cannot
// be made in time.
func (p *prices) worth(b, deadline int) (int, bool) {
	from, to := p.span(b, deadline)
	cost := math.MaxInt
	if p.in.batches[b].filled != open {
		cost = 0
	} else {
		for t := from; t <= to; t++ {
			cost = min(cost, p.upTo[t]-p.upTo[t-p.in.batches[b].stage])
		}
	}
	return p.in.batches[b].left*p.jar[b][0] - cost, cost < math.MaxInt
}
