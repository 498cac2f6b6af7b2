package class

import (
	"math"
	"slices"
)

// How many jars can be out of a canner by minute T at most?
//
// Leave out hands and waiting times, and keep: a canner takes one load at a time, a load is of one family and within
// capacity and window, its length grows with its jars, no jar is loaded before the earliest minute at which its batch
// can be filled, a batch that may not be split is loaded whole, of batch b there are only left[b] jars and they need
// its stage and the stages before it at the station, and at minute t there are burners[t] burners. What ties canners
// and stations together is the last two alone. Put a price l[b] >= 0 on every jar of batch b and a price m[t] >= 0 on
// a burner for minute t (Lagrangian relaxation). Each canner buys jars and burners and may take a batch as often as
// it likes; each station chooses how many of its batches to make, buys burners and sells jars. Whatever the prices,
// the jars of any plan number at most
//
//	L(l, m) =  sum over stations of  max over k of sum over its first k batches b of ( l[b]*left[b] - cost[b] )
//	         + sum over canners c of G_c(start)
//	         + sum over t of m[t]*burners[t]
//
// where G_c(t) is the most that canner c can gain from minute t on, and cost[b] the least that the burner for the
// stage of b can cost. For if a plan loads x[b] jars, then sum x = sum l*x + sum (1-l)*x; x[b] is at most left[b],
// and 0 if b is not made; and the burners that the plan uses cost at most sum m*burners.
//
// G_c follows from the back: at each minute wait for the next, or load the best of what is ready,
//
//	G_c(t) = max( G_c(t+1), max over families f and jars n of gain_f(t, n) - sum of m over the load + G_c(t + length + reset) )
//
// with gain_f(t, n) the best choice of n jars ready at t. Prices are moved towards what is taken too often (subgradient
// method: M. Held, P. Wolfe and H. Crowder, "Validation of subgradient optimization", Mathematical Programming 6,
// 1974). At the best prices L is the bound of the linear program over all timetables of single canners and stations.
//
// Where every jar must be loaded, "at most left[b]" becomes "exactly left[b]": prices may be negative, and every
// station makes all.
type prices struct {
	in       *Instance
	heads    []int
	members  [][]int   // by family, batches with jars left
	steps    [][][]int // by canner and family, the numbers of jars at which one more takes longer
	shortest int       // the shortest load there can be
	all      bool      // every jar must be loaded
	jar      []int     // l, by batch, in the unit of whole
	burner   []int     // m, by minute
	upTo     []int     // sums of m: upTo[t] is the price of a burner over [0, t)
	effort   int64
}

const whole = 10_000 // a jar in the unit of prices

// blockMinutes is how long the price of a burner stays the same, to keep the prices few.
const blockMinutes = 12

func newPrices(in *Instance) *prices {
	p := &prices{in: in, heads: in.earliestFillings(), members: make([][]int, len(in.families)), jar: make([]int, len(in.batches)),
		burner: make([]int, in.close+1), upTo: make([]int, in.close+2), shortest: in.close}
	for b := range in.batches {
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
	}
	return p
}

// option is one kind of load that a canner may take.
type option struct {
	from, until int // at these minutes, before more is ready
	length      int
	gain        int
	shares      []Share
}

// options lists the loads worth taking in canner c at the prices of jars: for each family, each set of batches that
// are ready, and each number of jars at a step of the length.
func (p *prices) options(c, deadline int) []option {
	k := &p.in.canners[c]
	var out []option
	for f, members := range p.members {
		steps := p.steps[c][f]
		if len(steps) == 0 {
			continue
		}
		levels := make([]int, 0, len(members))
		for _, b := range members {
			if whole > p.jar[b] && !slices.Contains(levels, p.heads[b]) {
				levels = append(levels, p.heads[b])
			}
		}
		slices.Sort(levels)
		for i, from := range levels {
			until := deadline
			if i+1 < len(levels) {
				until = levels[i+1]
			}
			if from >= deadline {
				break
			}
			gains, choices := p.bestChoice(f, from, steps[len(steps)-1])
			last := 0
			for _, n := range steps {
				if gains[n] > last {
					last = gains[n]
					out = append(out, option{from: from, until: until, length: k.lengths[f][n], gain: gains[n], shares: choices(n)})
				}
			}
		}
	}
	return out
}

// bestChoice is, by number of jars up to most, the best gain from at most so many jars of a family that are ready at
// minute t, and a function that tells which they are: a knapsack in which batches that may not be split come whole.
func (p *prices) bestChoice(f, t, most int) ([]int, func(n int) []Share) {
	var ready []int
	for _, b := range p.members[f] {
		if p.heads[b] <= t && p.jar[b] < whole {
			ready = append(ready, b)
		}
	}
	gains := make([]int, most+1)
	taken := make([][]int16, len(ready))
	for i, b := range ready {
		bb := &p.in.batches[b]
		taken[i] = make([]int16, most+1)
		each := whole - p.jar[b]
		for n := most; n > 0; n-- {
			if !bb.split {
				if n >= bb.left && gains[n-bb.left]+bb.left*each > gains[n] {
					gains[n], taken[i][n] = gains[n-bb.left]+bb.left*each, int16(bb.left)
				}
				continue
			}
			for x := 1; x <= min(n, bb.left); x++ {
				if g := gains[n-x] + x*each; g > gains[n] {
					gains[n], taken[i][n] = g, int16(x)
				}
			}
		}
	}
	p.effort += int64(most*len(ready)) / 8
	return gains, func(n int) (out []Share) {
		for i := len(ready) - 1; i >= 0; i-- {
			if x := int(taken[i][n]); x > 0 {
				out = append(out, Share{ready[i], x})
				n -= x
			}
		}
		return out
	}
}

// usage is what canners and stations take at some prices.
type usage struct {
	jars    []int // by batch, taken less there
	burners []int // by minute, taken less there
}

// potential is G_c for every minute up to the deadline, at which it is 0. If u is not nil, a best timetable of the
// canner is added to it.
func (p *prices) potential(c, deadline int, u *usage) []int {
	k := &p.in.canners[c]
	opts := p.options(c, deadline)
	best := make([]int, deadline+1)
	choice := make([]int16, deadline+1)
	from := p.in.now
	for _, w := range k.busy {
		if w.Start <= p.in.now { // others are left out, which only helps
			from = max(from, w.End)
		}
	}
	for t := deadline - 1; t >= 0; t-- {
		best[t], choice[t] = best[t+1], -1
		end := -1
		for _, w := range k.windows {
			if w.Start <= t && t < w.End {
				end = max(end, min(w.End, deadline))
			}
		}
		if end < 0 || t < from {
			continue
		}
		for i := range opts {
			o := &opts[i]
			if t < o.from || t >= o.until || t+o.length > end {
				continue
			}
			gain := o.gain - p.upTo[t+o.length] + p.upTo[t]
			if next := t + o.length + k.reset; next < deadline {
				gain += best[next]
			}
			if gain > best[t] {
				best[t], choice[t] = gain, int16(i)
			}
		}
	}
	p.effort += int64(deadline*(len(opts)+8)) / 100
	if u == nil {
		return best
	}
	for t := 0; t < deadline; {
		if choice[t] < 0 {
			t++
			continue
		}
		o := &opts[choice[t]]
		for _, x := range o.shares {
			u.jars[x.Batch] += x.Jars
		}
		use(u.burners, t, t+o.length, 1)
		t += o.length + k.reset
	}
	return best
}

// stageCost is the least that a burner for the stage of b can cost if a jar of it or of a later batch is out by the
// deadline, and the minute of filling at which it does. It reports false if that cannot be.
func (p *prices) stageCost(b, deadline int) (cost, at int, ok bool) {
	bb := &p.in.batches[b]
	if bb.filled != open {
		return 0, bb.filled, true
	}
	cost = math.MaxInt
	for t := p.heads[b]; t <= deadline-p.shortest; t++ {
		if c := p.upTo[t] - p.upTo[t-bb.stage]; c < cost {
			cost, at = c, t
		}
	}
	return cost, at, cost < math.MaxInt
}

// worth is what station st earns by making batch b: l*left - cost.
func (p *prices) worth(b, deadline int) (worth, at int, ok bool) {
	cost, at, ok := p.stageCost(b, deadline)
	return p.jar[b]*p.in.batches[b].left - cost, at, ok
}

// bound is L at the present prices and what is taken at them.
func (p *prices) bound(deadline int, u *usage) int {
	total := 0
	for b := range u.jars {
		u.jars[b] = 0
	}
	for t := range u.burners {
		free := 0
		if t < deadline {
			free = p.in.burners - p.in.burnerUsed[t]
		}
		total += free * p.burner[t]
		u.burners[t] = -free
	}
	for c := range p.in.canners {
		total += p.potential(c, deadline, u)[0]
	}
	for _, list := range p.in.stations {
		sum, best, made := 0, 0, 0
		for k, b := range list {
			worth, _, ok := p.worth(b, deadline)
			if !ok {
				break
			}
			if sum += worth; sum > best || p.all || p.in.batches[b].filled != open {
				best, made = sum, k+1
			}
		}
		total += best
		for _, b := range list[:made] {
			_, at, _ := p.stageCost(b, deadline)
			u.jars[b] -= p.in.batches[b].left
			if p.in.batches[b].filled == open {
				use(u.burners, at-p.in.batches[b].stage, at, 1)
			}
		}
	}
	return total
}

// improve moves the prices to make the bound at the deadline as low as it can in the given number of rounds, or
// until it is below target jars. It leaves the best prices found and returns their bound in jars.
func (p *prices) improve(deadline, target, rounds int, all bool) int {
	if p.all && !all {
		for b := range p.jar {
			p.jar[b] = max(0, p.jar[b])
		}
	}
	p.all = all
	blocks := p.in.close/blockMinutes + 1
	u := &usage{jars: make([]int, len(p.in.batches)), burners: make([]int, p.in.close+1)}
	scarce := p.in.burners < len(p.in.stations)+len(p.in.canners)

	jar, burner := make([]float64, len(p.jar)), make([]float64, blocks)
	load := func() {
		for b := range jar {
			jar[b] = float64(p.jar[b])
		}
		for k := range burner {
			burner[k] = float64(p.burner[k*blockMinutes])
		}
	}
	store := func() {
		for b := range jar {
			p.jar[b] = int(math.Round(jar[b]))
		}
		for t := range p.burner {
			p.burner[t] = int(math.Round(burner[t/blockMinutes]))
			p.upTo[t+1] = p.upTo[t] + p.burner[t]
		}
	}
	const weight = 0.1 // of a burner-minute against a jar, in the direction of a move
	best := math.MaxInt
	var keptJar, keptBurner []int
	pace, stale := 1.0, 0
	load()
	for range rounds {
		store()
		value := p.bound(deadline, u)
		if value < best {
			best, stale = value, 0
			keptJar, keptBurner = append(keptJar[:0], p.jar...), append(keptBurner[:0], p.burner...)
			if best < target*whole {
				break
			}
		} else if stale++; stale >= 6 {
			pace, stale = pace*0.6, 0
		}
		norm := 0.0
		for _, e := range u.jars {
			norm += float64(e * e)
		}
		over := make([]float64, blocks)
		if scarce {
			for t, e := range u.burners {
				over[t/blockMinutes] += float64(e)
			}
			for k := range over {
				if over[k] < 0 && burner[k] <= 0 {
					over[k] = 0
				}
				norm += weight * weight * over[k] * over[k]
			}
		}
		if norm == 0 {
			break
		}
		aim := float64(value-target*whole) + whole/2
		step := pace * aim / norm
		for b, e := range u.jars {
			jar[b] += step * float64(e)
			if !all {
				jar[b] = max(0, jar[b])
			}
		}
		for k := range over {
			burner[k] = max(0, burner[k]+step*weight*weight*over[k])
		}
	}
	if keptJar != nil {
		copy(p.jar, keptJar)
		copy(p.burner, keptBurner)
		load()
		store()
	}
	return int(math.Floor(float64(best) / whole))
}
