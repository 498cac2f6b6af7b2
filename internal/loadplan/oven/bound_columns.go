package oven

import (
	"math"
)

// latePrices divides the cost of batches that are late anyway among their jobs: it
// gives every job j a price y_j such that, for every batch that could ever be formed,
//
//	sum of y_j over its jobs  <=  runtimeWeight * P + setupWeight * least set-up cost.
//
// The sum of all prices is then a lower bound on what runtime and set-ups cost in any
// plan (linear programming duality: the prices are a feasible dual solution of covering
// the jobs with batches). Families do not mix, so each is priced by itself.
//
// The best prices come from the linear program that has one column for every possible
// batch, solved by column generation as P. Gilmore and R. Gomory, "A linear programming
// approach to the cutting-stock problem", Operations Research 9 (1961), did for cutting
// stock: start with every job alone; given prices, the batch most overpriced for each
// machine and runtime is a knapsack problem; while one is overpriced, it enters the
// basis. The prices are scaled down at the end by whatever they are still too high, so
// that they are valid however early the program was stopped.
//
// keepGoing is asked between steps and may end the work early.
func latePrices(in *Instance, keepGoing func(units int64) bool) []float64 {
	prices := make([]float64, len(in.jobs))
	for f := int32(0); int(f) < in.families; f++ {
		c := newColumns(in, f)
		if len(c.jobs) == 0 {
			continue
		}
		y := c.solve(keepGoing)
		for i, j := range c.jobs {
			prices[j] = y[i]
		}
	}
	return prices
}

// areaPrices are prices as latePrices gives, valid too and lower, without the linear
// program: each job pays for the part of a machine that it takes.
func areaPrices(in *Instance) []float64 {
	prices := make([]float64, len(in.jobs))
	for f := int32(0); int(f) < in.families; f++ {
		c := newColumns(in, f)
		for i, y := range c.byArea() {
			prices[c.jobs[i]] = y
		}
	}
	return prices
}

const (
	// columnRows is the largest family for which the linear program is solved; a
	// larger one is priced by area alone.
	columnRows = 600
	// knapsackCapacity is the largest machine for which knapsacks are solved exactly.
	knapsackCapacity = 20_000
)

// columns is the linear program of one family.
type columns struct {
	in     *Instance
	family int32
	jobs   []int32
	kinds  []columnKind
	fixed  float64 // set-up cost of any batch
	exact  bool    // knapsacks are solvable

	rhs     []float64
	inverse [][]float64
	basic   []float64 // values of the basic columns
	costs   []float64 // and their costs
	// scratch for the knapsack
	value []float64
	taken [][]bool
}

// columnKind is one choice of machine and runtime, and the rows that fit it.
type columnKind struct {
	machine  int32
	capacity int32
	runtime  int32
	rows     []int32
	cost     float64
	all      bool // everything fits at once
}

func newColumns(in *Instance, family int32) *columns {
	c := &columns{in: in, family: family, exact: true}
	seen := map[int32]bool{}
	var runtimes []int32
	for j := range in.jobs {
		if in.jobs[j].family == family {
			c.jobs = append(c.jobs, int32(j))
			if t := in.jobs[j].minTime; !seen[t] {
				seen[t] = true
				runtimes = append(runtimes, t)
			}
		}
	}
	_, least := in.leastSetup(family)
	c.fixed = float64(in.setupWeight * int64(least))
	largest := int32(0)
	for m := range in.machines {
		mc := &in.machines[m]
		for _, p := range runtimes {
			k := columnKind{machine: int32(m), capacity: mc.capacity, runtime: p, cost: float64(in.runtimeWeight*int64(p)) + c.fixed}
			sum, longest := int64(0), int32(0)
			for row, j := range c.jobs {
				jb := &in.jobs[j]
				if jb.machines&(1<<uint(m)) != 0 && jb.size <= mc.capacity && jb.minTime <= p && p <= jb.maxTime {
					k.rows = append(k.rows, int32(row))
					sum += int64(jb.size)
					longest = max(longest, jb.minTime)
				}
			}
			if longest < p {
				continue // the same batches are cheaper with a shorter runtime
			}
			k.all = sum <= int64(mc.capacity)
			if !k.all && mc.capacity > knapsackCapacity {
				c.exact = false
			}
			largest = max(largest, mc.capacity)
			c.kinds = append(c.kinds, k)
		}
	}
	if c.exact {
		c.value = make([]float64, min(largest, knapsackCapacity)+1)
	}
	return c
}

// solve returns valid prices for the family's jobs.
func (c *columns) solve(keepGoing func(units int64) bool) []float64 {
	n := len(c.jobs)
	if !c.exact {
		return c.byArea()
	}
	if n > columnRows {
		return c.scaled(c.byArea())
	}
	// Every job alone is the first basis; a job's cheapest batch of its own runs for
	// its own min_time. The right-hand side is perturbed against degeneracy, which
	// leaves the prices valid: they depend on it only in which of them are found.
	c.rhs, c.basic, c.costs = make([]float64, n), make([]float64, n), make([]float64, n)
	c.inverse = make([][]float64, n)
	r := newRNG(uint64(c.family) + 1)
	for i, j := range c.jobs {
		c.rhs[i] = 1 + 1e-3*r.unit()
		c.basic[i] = c.rhs[i]
		c.costs[i] = float64(c.in.runtimeWeight*int64(c.in.jobs[j].minTime)) + c.fixed
		c.inverse[i] = make([]float64, n)
		c.inverse[i][i] = 1
	}
	y := append([]float64(nil), c.costs...)
	best := c.scaled(c.byArea())
	bestSum := sum(best)
	// Batches are priced at prices between the best valid ones and those of the basis
	// (P. Wentges, "Weighted Dantzig-Wolfe decomposition for linear mixed-integer
	// programming", Int. Trans. in Operational Research 4 (1997)), which takes far fewer
	// rounds than the basis's own; those are used when no batch enters otherwise.
	const smoothing = 0.99
	weight := smoothing
	between, over, entering := make([]float64, n), make([]float64, n), make([]float64, n)
	for going := true; going; {
		for i := range between {
			between[i] = max(weight*best[i]+(1-weight)*y[i], 0)
			over[i] = 1
		}
		pivots := 0
		for k := range c.kinds {
			kind := &c.kinds[k]
			if going = going && keepGoing(int64(len(kind.rows))*int64(kind.capacity)/40+1); !going {
				break
			}
			worth, rows := c.knapsack(kind, between, true)
			if kind.cost > 0 && worth > kind.cost {
				for _, row := range kind.rows {
					over[row] = max(over[row], worth/kind.cost)
				}
			}
			paid := 0.0
			for _, x := range rows {
				paid += y[x]
			}
			if paid <= kind.cost*(1+1e-7)+1e-9 {
				continue
			}
			for i := range entering {
				d := 0.0
				row := c.inverse[i]
				for _, x := range rows {
					d += row[x]
				}
				entering[i] = d
			}
			going = keepGoing(int64(n) * int64(n) / 200)
			if c.pivot(entering, kind.cost, paid, y) {
				pivots++
			}
		}
		if going {
			for i := range between {
				between[i] = between[i] / over[i] * (1 - 1e-9)
			}
			if s := sum(between); s > bestSum {
				bestSum = s
				copy(best, between)
			}
		}
		switch {
		case pivots > 0:
			weight = smoothing
		case weight > 0:
			weight = 0
		default:
			going = false
		}
	}
	return c.scaled(best)
}

func sum(list []float64) float64 {
	total := 0.0
	for _, x := range list {
		total += x
	}
	return total
}

// pivot brings a column into the basis, given the basis's inverse times the column,
// its cost and what its rows are worth at prices y, which it updates.
func (c *columns) pivot(entering []float64, cost, worth float64, y []float64) bool {
	leave, ratio := -1, math.Inf(1)
	for i, d := range entering {
		if d > 1e-9 && c.basic[i]/d < ratio {
			leave, ratio = i, c.basic[i]/d
		}
	}
	if leave < 0 {
		return false
	}
	row := c.inverse[leave]
	d := entering[leave]
	for x := range row {
		row[x] /= d
	}
	c.basic[leave] = ratio
	for i, e := range entering {
		if i == leave || e == 0 {
			continue
		}
		other := c.inverse[i]
		for x, v := range row {
			if v != 0 {
				other[x] -= e * v
			}
		}
		c.basic[i] -= e * ratio
	}
	c.costs[leave] = cost
	for x, v := range row {
		y[x] += (cost - worth) * v
	}
	return true
}

// knapsack finds the rows of most worth that fit a kind together.
func (c *columns) knapsack(kind *columnKind, y []float64, wanted bool) (worth float64, rows []int32) {
	if kind.all {
		for _, row := range kind.rows {
			if y[row] > 0 {
				worth += y[row]
				rows = append(rows, row)
			}
		}
		return worth, rows
	}
	capacity := int(kind.capacity)
	value := c.value[:capacity+1]
	clear(value)
	if wanted && len(c.taken) < len(kind.rows) {
		for len(c.taken) < len(c.jobs) {
			c.taken = append(c.taken, make([]bool, len(c.value)))
		}
	}
	for i, row := range kind.rows {
		p := y[row]
		size := int(c.in.jobs[c.jobs[row]].size)
		if wanted {
			clear(c.taken[i])
		}
		if p <= 0 {
			continue
		}
		for x := capacity; x >= size; x-- {
			if v := value[x-size] + p; v > value[x] {
				value[x] = v
				if wanted {
					c.taken[i][x] = true
				}
			}
		}
	}
	if wanted {
		x := capacity
		for i := len(kind.rows) - 1; i >= 0; i-- {
			if c.taken[i][x] {
				rows = append(rows, kind.rows[i])
				x -= int(c.in.jobs[c.jobs[kind.rows[i]]].size)
			}
		}
	}
	return value[capacity], rows
}

// byArea prices a job by the part of a machine it takes for as long as it needs.
func (c *columns) byArea() []float64 {
	y := make([]float64, len(c.jobs))
	for i, j := range c.jobs {
		jb := &c.in.jobs[j]
		largest := int32(0)
		for m := range c.in.machines {
			if jb.machines&(1<<uint(m)) != 0 {
				largest = max(largest, c.in.machines[m].capacity)
			}
		}
		y[i] = (float64(c.in.runtimeWeight*int64(jb.minTime)) + c.fixed) * float64(jb.size) / float64(largest) * (1 - 1e-9)
	}
	return y
}

// scaled makes prices valid: each job's price is divided by the greatest factor by
// which any kind of batch that the job fits is overpriced.
func (c *columns) scaled(prices []float64) []float64 {
	y := make([]float64, len(prices))
	for i, v := range prices {
		y[i] = max(v, 0)
	}
	factor := make([]float64, len(y))
	for i := range factor {
		factor[i] = 1
	}
	for k := range c.kinds {
		kind := &c.kinds[k]
		worth, _ := c.knapsack(kind, y, false)
		if kind.cost <= 0 {
			if worth > 0 {
				for _, row := range kind.rows {
					factor[row] = math.Inf(1)
				}
			}
			continue
		}
		if over := worth / kind.cost; over > 1 {
			for _, row := range kind.rows {
				factor[row] = max(factor[row], over)
			}
		}
	}
	for i := range y {
		y[i] = y[i] / factor[i] * (1 - 1e-9)
	}
	return y
}
