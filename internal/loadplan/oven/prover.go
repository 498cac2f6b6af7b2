package oven

import "math"

// prover is the part of a worker that raises the bound: first the prices of late
// batches, then the path bound, until its share of the search is spent or it stalls.
type prover struct {
	in    *Instance
	board *bulletin
	stage int
	paths *pathBound
	// target is the plan that the present run of steps is measured by.
	target int64
}

// proverShare is the part of the search that the prover may take.
const proverShare = 0.22

// worthwhile is the least number of steps for which a path bound is begun.
const worthwhile = 15

// step works for one step and reports the work done and whether it is finished; left is
// about how many tries its share has left.
func (p *prover) step(v *view, round int, left int64, keepGoing func(units int64) bool) (units int64, done bool) {
	switch p.stage {
	case 0:
		prices := latePrices(p.in, func(u int64) bool {
			units += u
			return keepGoing(u)
		})
		bound := 0.0
		for _, x := range prices {
			bound += x
		}
		for j := range p.in.jobs {
			if unavoidablyLate(p.in, j) {
				bound += float64(p.in.tardyWeight)
			}
		}
		v.RaiseBound(p.in.roundUp(ceilOf(bound)))
		p.board.postPrices(round, prices)
		p.paths = newPathBound(p.in, prices, min(pathLimit, left*stepsPerTry/worthwhile))
		if p.paths == nil || len(p.paths.machines) == 0 {
			return units, true
		}
		p.stage, p.target = 1, math.MaxInt64
		return units + 1, false
	default:
		_, target, found := v.Best()
		if !found {
			target = p.in.upperBound
		}
		if p.target == math.MaxInt64 {
			p.target = target
		}
		bound := p.paths.improve(target)
		v.RaiseBound(p.in.roundUp(bound))
		if p.paths.rounds > 15 && p.paths.rounds%6 == 0 {
			p.board.postSchedule(round, p.paths.schedule)
		}
		if p.paths.step < 1e-4 && target < p.target {
			p.paths.restart() // the steps were measured by a plan that has been bettered
			p.target = target
		}
		return p.paths.units, bound >= target || p.paths.step < 1e-5 || p.paths.rounds > 3000
	}
}

// ceilOf rounds a sum of prices up to a whole number, forgiving the error of the sum.
func ceilOf(x float64) int64 {
	x -= 1e-7 * (1 + x*1e-5)
	n := int64(x)
	if float64(n) < x {
		n++
	}
	return n
}

// roundUp gives the least value at or above a bound that an objective can have: it is
// a sum of multiples of the three weights, so a multiple of what divides them all.
func (in *Instance) roundUp(bound int64) int64 {
	d := int64(0)
	for _, w := range []int64{in.runtimeWeight, in.tardyWeight, in.setupWeight} {
		for w != 0 {
			d, w = w, d%w
		}
	}
	if d <= 1 || bound <= 0 {
		return bound
	}
	return ceilDiv(bound, d) * d
}
