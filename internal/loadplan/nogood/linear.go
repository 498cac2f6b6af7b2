package nogood

// Term is a coefficient and a variable.
type Term struct {
	Coef int
	Var  Var
}

// Linear requires that the sum of the terms is at most bound, if all literals in when are true.
func (s *Solver) Linear(terms []Term, bound int, when ...Lit) {
	p := &linear{bound: int64(bound), when: when}
	var wake []int32
	for _, t := range terms {
		h := int32(t.Var) * 2
		c := int64(t.Coef)
		if c == 0 {
			continue
		}
		if c < 0 {
			h, c = h+1, -c
		}
		p.halves, p.coefs = append(p.halves, h), append(p.coefs, c)
		wake = append(wake, h)
	}
	for _, l := range when {
		wake = append(wake, l.half)
	}
	s.addProp(p, wake...)
}

// linear is sum of coefs*halves <= bound with positive coefficients: its least value grows as halves rise.
type linear struct {
	halves []int32
	coefs  []int64
	bound  int64
	when   []Lit
	buffer []Lit
}

func (p *linear) late() bool { return len(p.halves) > 8 }

func (p *linear) propagate(s *Solver) bool {
	s.effort += int64(len(p.halves)/16 + 1)
	var open *Lit
	for i := range p.when {
		l := &p.when[i]
		if s.isFalse(*l) {
			return true
		}
		if !s.isTrue(*l) {
			if open != nil {
				return true
			}
			open = l
		}
	}
	least := -p.bound
	for i, h := range p.halves {
		least += p.coefs[i] * int64(s.low[h])
	}
	if open != nil {
		if least > 0 {
			return s.setBy(open.Not(), p.explain(s, -1, least-1, open))
		}
		return true
	}
	if least > 0 {
		return s.fail(p.explain(s, -1, least-1, nil))
	}
	// Each half can rise until the slack is used up.
	for i, h := range p.halves {
		c := p.coefs[i]
		rise := -least / c
		most := int64(s.low[h]) + rise
		if int64(-s.low[h^1]) <= most {
			continue
		}
		// least with this half at most+1 would be positive: by how much is what the explanation may give away.
		over := least + c*(rise+1) - 1
		if !s.setBy(Lit{h ^ 1, int32(-most)}, p.explain(s, i, over, nil)) {
			return false
		}
	}
	return true
}

// explain lists bounds that keep the sum high enough, apart from term skip, giving away up to over in total.
func (p *linear) explain(s *Solver, skip int, over int64, open *Lit) []Lit {
	out := p.buffer[:0]
	for i := range p.when {
		if open != &p.when[i] {
			out = append(out, p.when[i])
		}
	}
	// First drop whole terms, the dearest decisions to repeat being those that need no mention at all.
	for i, h := range p.halves {
		if i == skip || s.low[h] == s.root[h] {
			continue
		}
		if d := p.coefs[i] * int64(s.low[h]-s.root[h]); d <= over {
			over -= d
			continue
		}
		out = append(out, Lit{h, s.low[h]})
	}
	for k := len(p.when); k < len(out) && over > 0; k++ {
		l := &out[k]
		for i, h := range p.halves {
			if h == l.half && i != skip {
				give := over / p.coefs[i]
				l.value -= int32(give)
				over -= give * p.coefs[i]
				break
			}
		}
	}
	p.buffer = out
	return out
}
