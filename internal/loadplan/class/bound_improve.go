package class

import (
	"math"
	"slices"
)

// burnerWeight is the weight of a burner-minute against a jar in the direction in which prices move.
const burnerWeight = 0.1

// improve moves the prices to make the bound at the deadline as low as it can in the given number of rounds, or
// until it is below target jars. It leaves the best prices found and returns their bound in jars.
func (p *prices) improve(deadline, target, rounds int, all bool) int {
	if p.all && !all {
		p.liftToZero()
	}
	p.all = all
	p.taken = p.taken[:0]
	u := &usage{jars: make([][]int, len(p.in.batches)), burners: make([]int, p.in.close+1)}
	jar, burner := make([][]float64, len(p.jar)), make([]float64, p.blocks)
	for b := range jar {
		u.jars[b], jar[b] = make([]int, p.blocks), make([]float64, p.blocks)
		for j := range jar[b] {
			jar[b][j] = float64(p.jar[b][j])
		}
	}
	for k := range burner {
		burner[k] = float64(p.burner[k*blockMinutes])
	}
	best := math.MaxInt
	var kept state
	pace, stale := 1.0, 0
	over := make([]float64, p.blocks)
	start := p.effort
	for p.moves = 0; p.moves < rounds; p.moves++ {
		if p.allowed > 0 && p.moves > 0 && p.effort-start > p.allowed {
			break
		}
		p.set(jar, burner)
		value := p.bound(deadline, u)
		if value < best {
			best, stale = value, 0
			kept.keep(p)
			if best < target*whole {
				break
			}
		} else if stale++; stale >= 6 {
			pace, stale = pace*0.6, 0
		}
		norm := p.direction(u, burner, over)
		if norm == 0 {
			break // no price needs to move: the bound is as low as it gets
		}
		step := pace * (float64(value-target*whole) + whole/2) / norm
		for b := range u.jars {
			for j, e := range u.jars[b] {
				if e != 0 {
					if jar[b][j] += step * float64(e); !all {
						jar[b][j] = max(0, jar[b][j])
					}
				}
			}
		}
		for k := range over {
			burner[k] = max(0, burner[k]+step*burnerWeight*burnerWeight*over[k])
		}
	}
	kept.enter(p)
	return int(math.Floor(float64(best) / whole))
}

// liftToZero makes negative prices of jars 0: they are for plans only that load every jar.
func (p *prices) liftToZero() {
	p.all = false
	for b := range p.jar {
		for j := range p.jar[b] {
			p.jar[b][j] = max(0, p.jar[b][j])
		}
	}
}

// set makes the rounded prices those in force.
func (p *prices) set(jar [][]float64, burner []float64) {
	for b := range jar {
		for j := range jar[b] {
			p.jar[b][j] = int(math.Round(jar[b][j]))
		}
	}
	for t := range p.burner {
		p.burner[t] = int(math.Round(burner[t/blockMinutes]))
		p.upTo[t+1] = p.upTo[t] + p.burner[t]
	}
}

// direction sums up by blocks what is taken too often and returns the square of its length. Coarse prices all move
// by the sum over the blocks.
func (p *prices) direction(u *usage, burner, over []float64) float64 {
	norm := 0.0
	for b := range u.jars {
		if p.coarse {
			sum := 0
			for _, e := range u.jars[b] {
				sum += e
			}
			for j := range u.jars[b] {
				u.jars[b][j] = sum
			}
			norm += float64(sum * sum)
			continue
		}
		for j, e := range u.jars[b] {
			if e < 0 && p.jar[b][j] <= 0 && !p.all {
				u.jars[b][j] = 0
				continue
			}
			norm += float64(e * e)
		}
	}
	clear(over)
	if p.scarce {
		for t, e := range u.burners {
			over[t/blockMinutes] += float64(e)
		}
		for k := range over {
			if over[k] < 0 && burner[k] <= 0 {
				over[k] = 0
			}
			norm += burnerWeight * burnerWeight * over[k] * over[k]
		}
	}
	return norm
}

// coarsen makes prices of jars the same at all times.
func (p *prices) coarsen() {
	p.coarse = true
	for _, row := range p.jar {
		high := slices.Max(row)
		for j := range row {
			row[j] = high
		}
	}
}

// state is a copy of prices.
type state struct {
	jar    [][]int
	burner []int
}

func (s *state) keep(p *prices) {
	if s.jar == nil {
		s.jar = make([][]int, len(p.jar))
	}
	for b := range p.jar {
		s.jar[b] = append(s.jar[b][:0], p.jar[b]...)
	}
	s.burner = append(s.burner[:0], p.burner...)
}

func (s *state) enter(p *prices) {
	for b := range s.jar {
		copy(p.jar[b], s.jar[b])
	}
	copy(p.burner, s.burner)
	for t := range p.burner {
		p.upTo[t+1] = p.upTo[t] + p.burner[t]
	}
}
