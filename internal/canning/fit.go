package canning

import (
	"fmt"
	"math"

	"stillroom/internal/fault"
)

// LeastObservations is how many come-ups it takes before the record wins over physics.
const LeastObservations = 3

// ComeUp estimates the come-up of a load: from the canner's record when it holds three or more come-ups, from
// physics until then. load.Jars is ignored.
func (c Canner) ComeUp(load HeatLoad) (Estimate, error) {
	if len(c.Record) >= LeastObservations {
		return c.FromRecord(load)
	}
	e, err := c.FromPhysics(load)
	if err == nil && len(c.Record) > 0 {
		e.Assumptions = append(e.Assumptions, fmt.Sprintf("%d of the %d observed come-ups that would replace this estimate are recorded.", len(c.Record), LeastObservations))
	}
	return e, err
}

// FromRecord estimates the come-up from observed come-ups. The one unknown is the power that reaches the pot:
// it is fitted by least squares, that is, so that the sum of the squared differences in minutes between the
// energy balance and the record is least. It fails with a Precondition fault on fewer than three observations.
func (c Canner) FromRecord(load HeatLoad) (Estimate, error) {
	if len(c.Record) < LeastObservations {
		return Estimate{}, fault.New(fault.Precondition, "the record holds %d come-ups; it takes %d to fit the power", len(c.Record), LeastObservations)
	}
	balances := make([]Balance, len(c.Record))
	low, high := math.Inf(1), 0.0
	for i, o := range c.Record {
		if err := o.check(c); err != nil {
			return Estimate{}, err
		}
		b, err := c.Balance(o.Load)
		if err != nil {
			return Estimate{}, err
		}
		if b.Start >= b.Boil {
			return Estimate{}, fault.Field(fmt.Sprintf("record[%d]", i), "", "starts at the boil, so it says nothing about power", "leave it out")
		}
		balances[i] = b
		p := float64(b.power(o.Minutes))
		low, high = min(low, p), max(high, p)
	}
	// Outside [low, high] every difference grows, so the least lies inside.
	power := leastOn(low, high, func(p float64) float64 { return sumOfSquares(balances, c.Record, p) })

	e, err := c.line(load, Watts(power))
	if err != nil {
		return Estimate{}, err
	}
	e.Basis = FromRecord
	e.Observations = len(c.Record)
	e.ErrorMinutes = math.Sqrt(sumOfSquares(balances, c.Record, power) / float64(len(c.Record)-1))
	e.PowerError = Watts(e.ErrorMinutes / math.Sqrt(sensitivity(balances, power)))
	e.Assumptions = append(c.assumptions(load), fmt.Sprintf("%.0f W reach the pot, fitted to %d observed come-ups (standard error %.0f W); they scatter by %.1f min about the fit.",
		power, e.Observations, float64(e.PowerError), e.ErrorMinutes))
	return e, nil
}

// sumOfSquares is in square minutes; infinite for a power that never boils one of the loads.
func sumOfSquares(balances []Balance, record []Observation, power float64) float64 {
	sum := 0.0
	for i, b := range balances {
		m, err := b.Minutes(Watts(power))
		if err != nil {
			return math.Inf(1)
		}
		sum += (m - record[i].Minutes) * (m - record[i].Minutes)
	}
	return sum
}

// sensitivity is the sum of the squares of d(minutes)/d(power), by central differences.
func sensitivity(balances []Balance, power float64) float64 {
	step := power * 1e-5
	sum := 0.0
	for _, b := range balances {
		above, errAbove := b.Minutes(Watts(power + step))
		below, errBelow := b.Minutes(Watts(power - step))
		if errAbove == nil && errBelow == nil {
			slope := (above - below) / (2 * step)
			sum += slope * slope
		}
	}
	return sum
}

// leastOn finds where f is least on [low, high]: a scan for the right valley, then golden sections within it.
func leastOn(low, high float64, f func(float64) float64) float64 {
	const cells = 64
	best, at := math.Inf(1), 0
	for i := 0; i <= cells; i++ {
		if y := f(low + (high-low)*float64(i)/cells); y < best {
			best, at = y, i
		}
	}
	a := low + (high-low)*float64(max(at-1, 0))/cells
	b := low + (high-low)*float64(min(at+1, cells))/cells
	ratio := (math.Sqrt(5) - 1) / 2
	for range 80 {
		c, d := b-ratio*(b-a), a+ratio*(b-a)
		if f(c) <= f(d) {
			b = d
		} else {
			a = c
		}
	}
	return (a + b) / 2
}
