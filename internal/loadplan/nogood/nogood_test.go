package nogood_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/loadplan/nogood"
)

// TestAgainstEnumeration draws small models of clauses, conditional sums and one resource, and compares satisfiable
// or not with trying all values. Solutions found are put into every constraint.
func TestAgainstEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 5).Draw(t, "variables")
		most := rapid.IntRange(1, 4).Draw(t, "most")
		s := nogood.New()
		vars := make([]nogood.Var, n)
		for i := range vars {
			vars[i] = s.NewVar(0, most)
			s.Decide(vars[i])
			if rapid.Bool().Draw(t, "then") {
				s.Then()
			}
		}
		var rules []func(v []int) bool

		type lit struct {
			x, v int
			up   bool
		}
		draw := rapid.Custom(func(t *rapid.T) lit {
			return lit{rapid.IntRange(0, n-1).Draw(t, "x"), rapid.IntRange(0, most).Draw(t, "v"), rapid.Bool().Draw(t, "up")}
		})
		holds := func(l lit, v []int) bool { return l.up && v[l.x] >= l.v || !l.up && v[l.x] <= l.v }
		toLit := func(l lit) nogood.Lit {
			if l.up {
				return nogood.AtLeast(vars[l.x], l.v)
			}
			return nogood.AtMost(vars[l.x], l.v)
		}
		for range rapid.IntRange(0, 6).Draw(t, "clauses") {
			ls := rapid.SliceOfNDistinct(draw, 1, 3, func(l lit) int { return l.x }).Draw(t, "clause")
			var c []nogood.Lit
			for _, l := range ls {
				c = append(c, toLit(l))
			}
			s.Clause(c...)
			rules = append(rules, func(v []int) bool {
				for _, l := range ls {
					if holds(l, v) {
						return true
					}
				}
				return false
			})
		}
		for range rapid.IntRange(0, 5).Draw(t, "sums") {
			coefs := rapid.SliceOfN(rapid.IntRange(-3, 3), n, n).Draw(t, "coefs")
			bound := rapid.IntRange(-4, 8).Draw(t, "bound")
			when := rapid.SliceOfN(draw, 0, 2).Draw(t, "when")
			var terms []nogood.Term
			for i, c := range coefs {
				terms = append(terms, nogood.Term{Coef: c, Var: vars[i]})
			}
			var ls []nogood.Lit
			for _, l := range when {
				ls = append(ls, toLit(l))
			}
			s.Linear(terms, bound, ls...)
			rules = append(rules, func(v []int) bool {
				for _, l := range when {
					if !holds(l, v) {
						return true
					}
				}
				sum := 0
				for i, c := range coefs {
					sum += c * v[i]
				}
				return sum <= bound
			})
		}
		if rapid.Bool().Draw(t, "resource") {
			length := rapid.SliceOfN(rapid.IntRange(1, 3), n, n).Draw(t, "length")
			capacity := rapid.SliceOfN(rapid.IntRange(0, 2), most+4, most+4).Draw(t, "capacity")
			there := rapid.SliceOfN(draw, n, n).Draw(t, "there")
			optional := rapid.SliceOfN(rapid.Bool(), n, n).Draw(t, "optional")
			var tasks []nogood.Task
			for i := range n {
				task := nogood.Task{Start: vars[i], End: vars[i], EndOffset: length[i], Least: length[i]}
				if optional[i] {
					task.When = []nogood.Lit{toLit(there[i])}
				}
				tasks = append(tasks, task)
			}
			s.Cumulative(tasks, capacity)
			rules = append(rules, func(v []int) bool {
				for at, most := range capacity {
					for i := range n {
						if (!optional[i] || holds(there[i], v)) && v[i] <= at && at < v[i]+length[i] {
							most--
						}
					}
					if most < 0 {
						return false
					}
				}
				return true
			})
		}
		if rapid.Bool().Draw(t, "step") {
			table := rapid.SliceOfN(rapid.IntRange(-1, most+1), 1, most+2).Draw(t, "table")
			slices.Sort(table)
			slices.Reverse(table)
			s.Step(vars[0], vars[1], table)
			rules = append(rules, func(v []int) bool { return v[1] <= table[min(v[0], len(table)-1)] })
		}
		var assume []nogood.Lit
		if rapid.Bool().Draw(t, "assuming") {
			l := draw.Draw(t, "assumption")
			assume = append(assume, toLit(l))
		}

		possible := func(assumed bool) bool {
			v := make([]int, n)
			for {
				ok := true
				for _, r := range rules {
					ok = ok && r(v)
				}
				if ok && assumed {
					for _, a := range assume {
						x := v[a.Var()]
						ok = ok && (a == nogood.AtLeast(a.Var(), x) || a == nogood.AtMost(a.Var(), x) || satisfies(a, x, most))
					}
				}
				if ok {
					return true
				}
				i := 0
				for ; i < n; i++ {
					if v[i]++; v[i] <= most {
						break
					}
					v[i] = 0
				}
				if i == n {
					return false
				}
			}
		}
		for _, assumed := range []bool{true, false, true} {
			var a []nogood.Lit
			if assumed {
				a = assume
			}
			got := s.Solve(a, 1<<40)
			want := nogood.Unsat
			if possible(assumed) {
				want = nogood.Sat
			}
			require.Equal(t, want, got)
			if got == nogood.Sat {
				v := make([]int, n)
				for i, x := range vars {
					require.Equal(t, s.Min(x), s.Max(x))
					v[i] = s.Min(x)
				}
				for k, r := range rules {
					require.True(t, r(v), "rule %d with %v", k, v)
				}
			}
		}
	})
}

// satisfies reports whether value x makes literal l true, by asking which bounds x implies.
func satisfies(l nogood.Lit, x, most int) bool {
	for w := 0; w <= x; w++ {
		if l == nogood.AtLeast(l.Var(), w) {
			return true
		}
	}
	for w := x; w <= most; w++ {
		if l == nogood.AtMost(l.Var(), w) {
			return true
		}
	}
	return false
}
