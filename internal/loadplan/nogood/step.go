package nogood

// Step requires y <= table[x], for a table that never rises; x beyond its ends counts as at them.
func (s *Solver) Step(x, y Var, table []int) {
	t := make([]int32, len(table))
	for i, v := range table {
		t[i] = int32(v)
	}
	s.addProp(&step{x: int32(x) * 2, y: int32(y) * 2, table: t}, int32(x)*2, int32(y)*2)
}

type step struct {
	x, y  int32 // upper halves
	table []int32
}

func (p *step) late() bool { return false }

func (p *step) propagate(s *Solver) bool {
	s.effort++
	last := int32(len(p.table) - 1)
	at := min(max(s.low[p.x], 0), last)
	value := p.table[at]
	if -s.low[p.y^1] > value {
		// The earliest x from which on the table is no higher.
		for at > 0 && p.table[at-1] <= value {
			at--
		}
		if !s.setBy(Lit{p.y ^ 1, -value}, []Lit{{p.x, at}}) {
			return false
		}
	}
	// The latest x at which the table still reaches the least y.
	least := s.low[p.y]
	top := min(-s.low[p.x^1], last)
	if p.table[max(top, 0)] >= least {
		return true
	}
	for top > 0 && p.table[top-1] < least {
		top--
	}
	// Any y above table[top] keeps x below top.
	return s.setBy(Lit{p.x ^ 1, 1 - top}, []Lit{{p.y, p.table[max(top, 0)] + 1}})
}
