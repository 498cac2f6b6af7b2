package oven

import (
	"math"
	"slices"
)

// pathBound is the strongest of the lower bounds: a Lagrangian relaxation whose
// subproblem is a cheapest path through time on each machine (time-indexed, as J. van
// den Akker, C. Hurkens, M. Savelsbergh, "Time-indexed formulations for machine
// scheduling problems: column generation", INFORMS J. on Computing 12 (2000); the
// relaxation and its subgradient method after M. Held and R. Karp (1971), M. Fisher
// (1981)).
//
// Relaxed is that every job is in a batch. For prices y_j >= 0 the cost of a plan is at
// least
//
//	sum of y_j  +  for each machine, the least over its possible schedules of
//	               (its runtime, late jobs and set-ups, less the prices of its jobs),
//
// because a plan pays each price once and takes it off once. A machine's least is a
// cheapest path through the states (minute, family last on the machine): an arc waits
// a minute, or sets up and runs one batch for P minutes, and then the batch's jobs are
// a knapsack problem of the jobs that fit family, machine, P and minute. A job in it
// is worth y_j if it ends by its due time and y_j - tardyWeight if late.
//
// Two liberties keep it small, and both only lower the bound. Late jobs fill a batch
// whether or not they are released (they may even be in it on time as well). And the
// path ends at the last minute at which any job can still be on time: prices are kept
// at most tardyWeight + what latePrices gives, so a batch of late jobs alone is never
// worth more than it costs, neither afterwards nor on the way.
//
// All arithmetic of the bound is in whole numbers, prices in thousandths, so that no
// rounding can lift it above the truth.
type pathBound struct {
	in       *Instance
	ceiling  []int64 // the highest price of each job, in thousandths
	price    []int64
	machines []pathMachine
	units    int64 // work of one evaluation, in tries

	bestPrice []int64
	best      int64 // thousandths
	// direction of the last step, for smoothing
	direction []float64
	step      float64
	stale     int
	rounds    int

	value []int64
	taken [][]bool
	// schedule is what the last evaluation's paths hold: machine by machine, last batch
	// first, the jobs of each batch that would be on time.
	schedule [][][]int32
}

const milli = 1000

// pathMachine is one machine's graph.
type pathMachine struct {
	index    int
	horizon  int32 // last minute at which a job can be on time here
	families []pathFamily
	// state of the dynamic program, minute by family
	cost []int64
	from []pathArc
	rows int // families, and one more for the initial state
}

// pathArc remembers how a state was reached: by waiting (start < 0), or by a batch.
type pathArc struct {
	start   int32
	runtime int32 // index into the family's runtimes
	before  int32 // row of the family before
}

type pathFamily struct {
	jobs     []int32 // eligible here
	runtimes []pathRuntime
}

// pathRuntime is all batches of one family that run for a given time, cut into
// stretches of start minutes in which the same jobs could be on time.
type pathRuntime struct {
	runtime   int32
	fit       []int32 // jobs that bear this runtime, late or not
	stretches []stretch
	base      []int64 // knapsack of late jobs, by capacity
}

type stretch struct {
	from, to int32 // start minutes, to exclusive
	active   []int32
	worth    int64
}

// newPathBound builds the graphs, or returns nil if one evaluation would take more
// elementary steps than limit.
func newPathBound(in *Instance, late []float64, limit int64) *pathBound {
	b := &pathBound{in: in, step: 1, best: math.MinInt64}
	scale := float64(milli)
	for j := range in.jobs {
		b.ceiling = append(b.ceiling, in.tardyWeight*milli+int64(math.Floor(late[j]*scale)))
	}
	b.price = slices.Clone(b.ceiling)
	b.direction = make([]float64, len(in.jobs))
	size := int64(0)
	largest := int32(0)
	for m := range in.machines {
		if in.machines[m].capacity > knapsackCapacity {
			return nil
		}
		largest = max(largest, in.machines[m].capacity)
		pm := b.machine(m, &size, limit)
		if size > limit {
			return nil
		}
		if pm.horizon > 0 {
			b.machines = append(b.machines, pm)
		}
	}
	b.value = make([]int64, largest+1)
	b.units = size/stepsPerTry + 1
	return b
}

const (
	// pathLimit is the largest number of elementary steps of one evaluation.
	pathLimit = int64(400_000_000)
	// stepsPerTry is how many of them take about as long as one try of a move.
	stepsPerTry = 25
)

func (b *pathBound) machine(m int, size *int64, limit int64) pathMachine {
	in := b.in
	mc := &in.machines[m]
	pm := pathMachine{index: m, rows: in.families + 1}
	if len(mc.intervals) == 0 {
		return pm
	}
	first := mc.intervals[0].start
	type candidate struct{ job, from, to int32 }
	for f := int32(0); int(f) < in.families; f++ {
		pf := pathFamily{}
		wait, _ := in.leastSetup(f)
		var runtimes []int32
		for j := range in.jobs {
			jb := &in.jobs[j]
			if jb.family == f && jb.machines&(1<<uint(m)) != 0 && jb.size <= mc.capacity {
				pf.jobs = append(pf.jobs, int32(j))
				runtimes = append(runtimes, jb.minTime)
			}
		}
		slices.Sort(runtimes)
		for _, p := range slices.Compact(runtimes) {
			pr := pathRuntime{runtime: p}
			var open []candidate
			var cuts []int32
			for _, j := range pf.jobs {
				jb := &in.jobs[j]
				if jb.minTime > p || p > jb.maxTime {
					continue
				}
				pr.fit = append(pr.fit, j)
				c := candidate{j, max(jb.release, first+wait), jb.due - p + 1}
				if c.from < c.to {
					open = append(open, c)
					cuts = append(cuts, c.from, c.to)
					pm.horizon = max(pm.horizon, jb.due)
				}
			}
			slices.Sort(cuts)
			cuts = slices.Compact(cuts)
			for k := 0; k+1 < len(cuts); k++ {
				s := stretch{from: cuts[k], to: cuts[k+1]}
				if !overlaps(mc.intervals, s.from, s.to-1+p) {
					continue
				}
				for _, c := range open {
					if c.from <= s.from && s.to <= c.to {
						s.active = append(s.active, c.job)
					}
				}
				*size += int64(len(s.active))*int64(mc.capacity)/4 + 10
				pr.stretches = append(pr.stretches, s)
			}
			*size += int64(len(pr.fit)) * int64(mc.capacity) / 4
			if *size > limit {
				return pm
			}
			pr.base = make([]int64, mc.capacity+1)
			pf.runtimes = append(pf.runtimes, pr)
		}
		pm.families = append(pm.families, pf)
	}
	arcs := int64(0)
	for f := range pm.families {
		arcs += int64(pm.rows + len(pm.families[f].runtimes))
	}
	*size += arcs * int64(pm.horizon) * 3
	if *size > limit {
		return pm
	}
	if pm.horizon > 0 {
		states := (int(pm.horizon) + 1) * pm.rows
		pm.cost, pm.from = make([]int64, states), make([]pathArc, states)
	}
	return pm
}

// overlaps tells whether minutes [from, to) meet an interval.
func overlaps(intervals []interval, from, to int32) bool {
	for _, iv := range intervals {
		if iv.start < to && from < iv.end {
			return true
		}
	}
	return false
}

// improve makes one step of the subgradient method towards target, an integer
// objective, and returns the best bound so far, rounded up to a whole objective.
func (b *pathBound) improve(target int64) int64 {
	total := int64(0)
	for _, p := range b.price {
		total += p
	}
	covered := make([]int32, len(b.price))
	b.schedule = make([][][]int32, len(b.in.machines))
	for k := range b.machines {
		total += b.path(&b.machines[k], covered)
	}
	b.rounds++
	if total > b.best {
		if b.best != math.MinInt64 && total-b.best < (target*milli-b.best)/5000 {
			b.stale++ // hardly an improvement
		} else {
			b.stale = 0
		}
		b.best = total
		b.bestPrice = append(b.bestPrice[:0], b.price...)
	} else {
		b.stale++
	}
	if b.stale >= 8 {
		b.stale = 0
		b.step /= 1.6
		copy(b.price, b.bestPrice)
	}
	b.move(target, total, covered)
	return ceilDiv(b.best, milli)
}

// restart takes long steps again, from the best prices.
func (b *pathBound) restart() {
	b.step, b.stale = 1, 0
	copy(b.price, b.bestPrice)
	clear(b.direction)
}

func ceilDiv(a, b int64) int64 {
	q := a / b
	if a%b > 0 {
		q++
	}
	return q
}

// move changes the prices: up for jobs in no batch, down for jobs in several, within
// zero and the ceiling; smoothed over the last steps.
func (b *pathBound) move(target, total int64, covered []int32) {
	const keep = 0.65
	norm := 0.0
	for j, c := range covered {
		g := 1 - float64(c)
		if g > 0 && b.price[j] >= b.ceiling[j] {
			g = 0 // it is covered by a batch of late jobs
		}
		d := g + keep*b.direction[j]
		if d > 0 && b.price[j] >= b.ceiling[j] || d < 0 && b.price[j] <= 0 {
			d = 0
		}
		b.direction[j] = d
		norm += d * d
	}
	if norm == 0 {
		return
	}
	length := b.step * max(float64(target)*milli-float64(total), milli) / norm
	for j, d := range b.direction {
		if d != 0 {
			b.price[j] = min(max(b.price[j]+int64(math.Round(length*d)), 0), b.ceiling[j])
		}
	}
}

const unreached = int64(1) << 60

// path solves one machine and counts in covered how often its cheapest schedule holds
// each job.
func (b *pathBound) path(pm *pathMachine, covered []int32) int64 {
	in := b.in
	mc := &in.machines[pm.index]
	for f := range pm.families {
		for k := range pm.families[f].runtimes {
			b.worths(mc.capacity, &pm.families[f].runtimes[k])
		}
	}
	rows := pm.rows
	for i := range pm.cost {
		pm.cost[i] = unreached
		pm.from[i].start = -1
	}
	// The row after the families stands for the initial state.
	pm.cost[rows-1] = 0
	setup := func(before int, f int32) (int32, int32) {
		if before == rows-1 {
			return in.setup(mc.initial, f)
		}
		return in.setup(int32(before), f)
	}
	at := make([][]int, len(pm.families))
	for f := range at {
		at[f] = make([]int, len(pm.families[f].runtimes))
	}
	runtimeWeight, setupWeight := in.runtimeWeight*milli, in.setupWeight*milli
	iv := 0
	for s := int32(0); s <= pm.horizon; s++ {
		here := int(s) * rows
		if s > 0 {
			for g := 0; g < rows; g++ {
				if c := pm.cost[here-rows+g]; c < pm.cost[here+g] {
					pm.cost[here+g] = c
					pm.from[here+g] = pathArc{start: -1}
				}
			}
		}
		for iv < len(mc.intervals) && mc.intervals[iv].end <= s {
			iv++
		}
		if iv == len(mc.intervals) || s < mc.intervals[iv].start {
			continue
		}
		open, shut := mc.intervals[iv].start, min(mc.intervals[iv].end, pm.horizon)
		for f := range pm.families {
			pf := &pm.families[f]
			if len(pf.runtimes) == 0 {
				continue
			}
			cheapest, before := unreached, int32(-1)
			for g := 0; g < rows; g++ {
				wait, cost := setup(g, int32(f))
				t := s - wait
				if t < open {
					continue
				}
				if c := pm.cost[int(t)*rows+g]; c < unreached && c+setupWeight*int64(cost) < cheapest {
					cheapest, before = c+setupWeight*int64(cost), int32(g)
				}
			}
			if before < 0 {
				continue
			}
			for k := range pf.runtimes {
				pr := &pf.runtimes[k]
				end := s + pr.runtime
				if end > shut {
					break
				}
				for at[f][k] < len(pr.stretches) && pr.stretches[at[f][k]].to <= s {
					at[f][k]++
				}
				worth := pr.base[mc.capacity]
				if x := at[f][k]; x < len(pr.stretches) && pr.stretches[x].from <= s {
					worth = pr.stretches[x].worth
				}
				c := cheapest + runtimeWeight*int64(pr.runtime) - worth
				if to := int(end)*rows + f; c < pm.cost[to] {
					pm.cost[to] = c
					pm.from[to] = pathArc{s, int32(k), before}
				}
			}
		}
	}
	last := int(pm.horizon) * rows
	best, row := int64(0), rows-1
	for g := 0; g < rows; g++ {
		if c := pm.cost[last+g]; c < best {
			best, row = c, g
		}
	}
	b.trace(pm, row, covered)
	return best
}

// worths computes what the best batch is worth in every stretch.
func (b *pathBound) worths(capacity int32, pr *pathRuntime) {
	late := b.in.tardyWeight * milli
	clear(pr.base)
	for _, j := range pr.fit {
		b.pack(pr.base, b.in.jobs[j].size, b.price[j]-late)
	}
	for k := range pr.stretches {
		s := &pr.stretches[k]
		if len(s.active) == 0 {
			s.worth = pr.base[capacity]
			continue
		}
		value := b.value[:capacity+1]
		copy(value, pr.base)
		for _, j := range s.active {
			b.pack(value, b.in.jobs[j].size, b.price[j])
		}
		s.worth = value[capacity]
	}
}

// pack adds one job to a knapsack's table.
func (b *pathBound) pack(value []int64, size int32, worth int64) {
	if worth <= 0 {
		return
	}
	n := len(value)
	low := value[:n-int(size)]
	high := value[int(size):]
	high = high[:len(low)]
	for x := len(low) - 1; x >= 0; x-- {
		if v := low[x] + worth; v > high[x] {
			high[x] = v
		}
	}
}

// trace follows the cheapest path back and counts the jobs of its batches.
func (b *pathBound) trace(pm *pathMachine, row int, covered []int32) {
	t := pm.horizon
	for t > 0 {
		arc := pm.from[int(t)*pm.rows+row]
		if arc.start < 0 {
			t--
			continue
		}
		pr := &pm.families[row].runtimes[arc.runtime]
		b.schedule[pm.index] = append(b.schedule[pm.index], b.count(b.in.machines[pm.index].capacity, pr, arc.start, covered))
		// The set-up before the batch begins where the arc before it ended.
		before := arc.before
		if int(before) == pm.rows-1 {
			before = b.in.machines[pm.index].initial
		}
		wait, _ := b.in.setup(before, int32(row))
		t, row = arc.start-wait, int(arc.before)
	}
}

// count solves one batch's knapsack again, counts its jobs and returns those that are
// on time in it.
func (b *pathBound) count(capacity int32, pr *pathRuntime, start int32, covered []int32) (onTime []int32) {
	type item struct {
		job    int32
		worth  int64
		onTime bool
	}
	var items []item
	late := b.in.tardyWeight * milli
	for _, j := range pr.fit {
		if w := b.price[j] - late; w > 0 {
			items = append(items, item{j, w, false})
		}
	}
	for k := range pr.stretches {
		s := &pr.stretches[k]
		if s.from <= start && start < s.to {
			for _, j := range s.active {
				if b.price[j] > 0 {
					items = append(items, item{j, b.price[j], true})
				}
			}
		}
	}
	value := b.value[:capacity+1]
	clear(value)
	for len(b.taken) < len(items) {
		b.taken = append(b.taken, make([]bool, len(b.value)))
	}
	for i, it := range items {
		taken := b.taken[i]
		clear(taken)
		size := int(b.in.jobs[it.job].size)
		for x := int(capacity); x >= size; x-- {
			if v := value[x-size] + it.worth; v > value[x] {
				value[x] = v
				taken[x] = true
			}
		}
	}
	x := int(capacity)
	for i := len(items) - 1; i >= 0; i-- {
		if b.taken[i][x] {
			covered[items[i].job]++
			if items[i].onTime {
				onTime = append(onTime, items[i].job)
			}
			x -= int(b.in.jobs[items[i].job].size)
		}
	}
	return onTime
}
