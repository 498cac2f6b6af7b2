package oven

import "math/bits"

// rng is the generator of random numbers behind every choice of the search: Sebastiano
// Vigna's splitmix64, small enough to be inlined, the same on every machine.
type rng struct{ state uint64 }

// newRNG starts a sequence that has nothing to do with those of neighbouring seeds.
func newRNG(seed uint64) *rng {
	first := rng{state: seed * 0xd1342543de82ef95}
	first.next()
	return &rng{state: first.next() ^ seed}
}

func (r *rng) next() uint64 {
	r.state += 0x9e3779b97f4a7c15
	z := r.state
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9
	z = (z ^ (z >> 27)) * 0x94d049bb133111eb
	return z ^ (z >> 31)
}

// below gives a number in [0, n), by multiplication (Lemire 2019); n must be positive.
func (r *rng) below(n int) int {
	hi, _ := bits.Mul64(r.next(), uint64(n))
	return int(hi)
}

// unit gives a number in (0, 1].
func (r *rng) unit() float64 { return float64(r.next()>>11+1) / (1 << 53) }
