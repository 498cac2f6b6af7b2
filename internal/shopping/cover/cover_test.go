package cover

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// rank is the objective as a comparable triple; bruteForce knows no more than this.
func rank(aim Aim, cost, surplus, packs int64) [3]int64 {
	if aim == LeastSurplus {
		return [3]int64{surplus, cost, packs}
	}
	return [3]int64{cost, surplus, packs}
}

func less(a, b [3]int64) bool {
	for i := range a {
		if a[i] != b[i] {
			return a[i] < b[i]
		}
	}
	return false
}

// bruteForce tries every combination whose removal of any one pack would leave the need uncovered. No other can
// be best: dropping a pack from it lowers surplus and packs and does not raise the cost.
func bruteForce(need int64, packs []Pack, aim Aim) [3]int64 {
	var best [3]int64
	found := false
	var try func(i int, content, cost, n int64)
	try = func(i int, content, cost, n int64) {
		if content >= need {
			if r := rank(aim, cost, content-need, n); !found || less(r, best) {
				best, found = r, true
			}
			return
		}
		if i == len(packs) {
			return
		}
		for count := int64(0); ; count++ {
			try(i+1, content+count*packs[i].Content, cost+count*packs[i].Price, n+count)
			if content+count*packs[i].Content >= need {
				return
			}
		}
	}
	try(0, 0, 0, 0)
	return best
}

func check(t require.TestingT, need int64, packs []Pack, b Basket) {
	require.Len(t, b.Counts, len(packs))
	var content, cost, n int64
	for i, count := range b.Counts {
		require.GreaterOrEqual(t, count, int64(0))
		content += count * packs[i].Content
		cost += count * packs[i].Price
		n += count
	}
	require.Equal(t, content, b.Content)
	require.Equal(t, cost, b.Cost)
	require.Equal(t, n, b.Packs)
	require.GreaterOrEqual(t, content, need, "falls short")
}

func TestSolveEqualsBruteForce(t *testing.T) {
	const cases = 12_000
	r := rand.New(rand.NewPCG(20, 26))
	for n := range cases {
		packs := make([]Pack, 1+r.IntN(4))
		for i := range packs {
			packs[i] = Pack{Content: 1 + r.Int64N(24), Price: r.Int64N(30)}
			switch r.IntN(4) {
			case 0: // same price per content, so that surplus and packs decide
				packs[i].Price = 2 * packs[i].Content
			case 1: // a coarse common measure
				packs[i].Content *= 5
			}
		}
		need := 1 + r.Int64N(90)
		for _, aim := range []Aim{LeastCost, LeastSurplus} {
			b, err := Solve(need, packs, aim)
			require.NoError(t, err)
			check(t, need, packs, b)
			require.True(t, b.Proven && b.Settled)
			require.Equal(t, bruteForce(need, packs, aim), rank(aim, b.Cost, b.Content-need, b.Packs),
				"case %d: need %d, packs %v, aim %d, counts %v", n, need, packs, aim, b.Counts)
		}
	}
}

func TestSolveNeedsNothing(t *testing.T) {
	b, err := Solve(0, []Pack{{5, 5}}, LeastCost)
	require.NoError(t, err)
	require.Equal(t, Basket{Counts: []int64{0}, Proven: true, Settled: true}, b)
}

func TestSolveRefuses(t *testing.T) {
	_, err := Solve(1, nil, LeastCost)
	require.ErrorIs(t, err, ErrNoPacks)
	for _, p := range []Pack{{0, 1}, {-3, 1}, {1, -1}} {
		_, err := Solve(1, []Pack{p}, LeastCost)
		require.ErrorIs(t, err, ErrBadPack)
	}
	_, err = Solve(1<<62, []Pack{{1, 1 << 40}}, LeastCost)
	require.ErrorIs(t, err, ErrTooLarge)
}

// Ten tonnes in grains of 0.1 g, the packs from a sachet to a pallet: exact, and in a few labels.
func TestSolveTenTonnes(t *testing.T) {
	const tonne = 10_000_000 // in 0.1 g
	packs := []Pack{{1, 3}, {2500, 450}, {10_000, 1399}, {250_000, 30_000}, {4535924, 600_001}}
	for _, aim := range []Aim{LeastCost, LeastSurplus} {
		b, err := Solve(10*tonne, packs, aim)
		require.NoError(t, err)
		check(t, 10*tonne, packs, b)
		require.True(t, b.Proven)
		if aim == LeastCost {
			// 400 sacks of 25 kg hold exactly 10 t at the lowest price per kilogram (12.00).
			require.Equal(t, []int64{0, 0, 0, 400, 0}, b.Counts)
		}
	}
	// Only sachets: a hundred million of them, counted and not stepped through.
	b, err := Solve(10*tonne, packs[:1], LeastCost)
	require.NoError(t, err)
	require.Equal(t, int64(100_000_000), b.Packs)
}

// Pounds beside kilograms share no measure above ten micrograms, and small packs that cost nearly the same by weight
// leave little to tell labels apart by: the lowest cost is proven all the same. Contents are in 10 µg.
func TestSolvePoundsBesideKilograms(t *testing.T) {
	hard := []Pack{{22679618, 43}, {11339809, 24}, {5000000, 12}, {90718474, 172}, {1000000000, 2431}, {2267961850, 5308}, {1000000, 3}, {45359237, 102}, {45359237, 109}, {22679618, 59}}
	b, err := Solve(50_818_600_000_000, hard, LeastCost)
	require.NoError(t, err)
	check(t, 50_818_600_000_000, hard, b)
	require.True(t, b.Proven)

	const pound = 45_359_237
	var sizes []int64
	for _, grams := range []int64{5, 25, 100, 250, 400, 500, 1000, 1500, 2500, 5000, 25_000} {
		sizes = append(sizes, grams*100_000)
	}
	for _, ounces := range []int64{1, 2, 4, 8, 12, 16, 32, 48, 80, 800} {
		sizes = append(sizes, ounces*pound/16)
	}
	r := rand.New(rand.NewPCG(1, 2))
	for n := range 300 {
		packs := make([]Pack, 2+r.IntN(9))
		for i := range packs {
			w := sizes[r.IntN(len(sizes))]
			packs[i] = Pack{Content: w, Price: w*(180+r.Int64N(120))/100_000_000 + 1}
		}
		need := (1 + r.Int64N(5_000_000)) * 100_000
		if n%4 == 0 {
			need *= 200
		}
		b, err := Solve(need, packs, LeastCost)
		require.NoError(t, err)
		check(t, need, packs, b)
		require.True(t, b.Proven, "need %d, packs %v", need, packs)
	}
}

// With a limit too low to finish, the answer still covers the need and says that it is not proven.
func TestSolveSaysWhenItStopped(t *testing.T) {
	packs := []Pack{{7919, 7919}, {10007, 10008}, {12553, 12555}, {15485, 15489}}
	b, err := solve(123_456_789, packs, LeastSurplus, 10)
	require.NoError(t, err)
	check(t, 123_456_789, packs, b)
	require.False(t, b.Proven)
}

func TestSolveProperties(t *testing.T) {
	draw := func(t *rapid.T) []Pack {
		return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Pack {
			return Pack{Content: rapid.Int64Range(1, 5000).Draw(t, "content"), Price: rapid.Int64Range(0, 5000).Draw(t, "price")}
		}), 1, 7).Draw(t, "packs")
	}
	t.Run("a larger need never costs less, and two needs together never cost more than apart", rapid.MakeCheck(func(t *rapid.T) {
		packs := draw(t)
		a := rapid.Int64Range(0, 1_000_000).Draw(t, "a")
		b := rapid.Int64Range(0, 1_000_000).Draw(t, "b")
		one, err := Solve(a, packs, LeastCost)
		require.NoError(t, err)
		two, err := Solve(b, packs, LeastCost)
		require.NoError(t, err)
		both, err := Solve(a+b, packs, LeastCost)
		require.NoError(t, err)
		check(t, a+b, packs, both)
		require.True(t, both.Proven)
		require.GreaterOrEqual(t, both.Cost, max(one.Cost, two.Cost))
		require.LessOrEqual(t, both.Cost, one.Cost+two.Cost)
	}))
	t.Run("one more way to buy never costs more", rapid.MakeCheck(func(t *rapid.T) {
		packs := draw(t)
		need := rapid.Int64Range(1, 1_000_000).Draw(t, "need")
		all, err := Solve(need, packs, LeastCost)
		require.NoError(t, err)
		first, err := Solve(need, packs[:1], LeastCost)
		require.NoError(t, err)
		require.LessOrEqual(t, all.Cost, first.Cost)
	}))
}

// glpsol minimises one linear objective over whole packs, subject to rows, with GLPK's branch and cut.
func glpsol(t *testing.T, dir string, objective []int64, packs []Pack, rows string) int64 {
	t.Helper()
	var m bytes.Buffer
	for i := range packs {
		fmt.Fprintf(&m, "var n%d integer >= 0;\n", i)
	}
	m.WriteString("minimize z: 0")
	for i, c := range objective {
		fmt.Fprintf(&m, " + %d*n%d", c, i)
	}
	m.WriteString(";\n" + rows + "solve;\nprintf \"answer=%d\\n\", z;\nend;\n")
	path := filepath.Join(dir, "packs.mod")
	require.NoError(t, os.WriteFile(path, m.Bytes(), 0o600))
	out, err := exec.Command("glpsol", "--math", path, "--mipgap", "0").CombinedOutput()
	require.NoError(t, err, string(out))
	require.Contains(t, string(out), "INTEGER OPTIMAL SOLUTION FOUND", m.String())
	found := regexp.MustCompile(`answer=(-?\d+)`).FindSubmatch(out)
	require.NotNil(t, found, string(out))
	answer, err := strconv.ParseInt(string(found[1]), 10, 64)
	require.NoError(t, err)
	return answer
}

func sum(name string, packs []Pack, value func(Pack) int64, relation string, bound int64) string {
	var b bytes.Buffer
	fmt.Fprintf(&b, "s.t. %s: 0", name)
	for i, p := range packs {
		fmt.Fprintf(&b, " + %d*n%d", value(p), i)
	}
	fmt.Fprintf(&b, " %s %d;\n", relation, bound)
	return b.String()
}

// The same answers as GLPK's integer solver, one objective after another, on shop-sized cases.
func TestSolveEqualsGLPK(t *testing.T) {
	if _, err := exec.LookPath("glpsol"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("glpsol is not installed; in CI the comparison must run (Debian package glpk-utils)")
		}
		t.Skip("glpsol is not installed (Debian package glpk-utils): the comparison with an integer-programming solver did not run")
	}
	r := rand.New(rand.NewPCG(7, 31))
	content := func(p Pack) int64 { return p.Content }
	price := func(p Pack) int64 { return p.Price }
	dir := t.TempDir()
	for n := range 50 {
		packs := make([]Pack, 3+r.IntN(6))
		for i := range packs {
			grams := 50 * (1 + r.Int64N(100)) // 50 g to 5 kg
			if n%3 == 0 {
				grams = 100 + r.Int64N(4900)
			}
			packs[i] = Pack{Content: grams, Price: 20 + grams*(60+r.Int64N(60))/200}
		}
		need := 500 + r.Int64N(40_000)
		b, err := Solve(need, packs, LeastCost)
		require.NoError(t, err)
		check(t, need, packs, b)
		require.True(t, b.Proven)

		covers := sum("covers", packs, content, ">=", need)
		costs, contents, ones := make([]int64, len(packs)), make([]int64, len(packs)), make([]int64, len(packs))
		for i, p := range packs {
			costs[i], contents[i], ones[i] = p.Price, p.Content, 1
		}
		cost := glpsol(t, dir, costs, packs, covers)
		require.Equal(t, cost, b.Cost, "case %d: need %d, packs %v", n, need, packs)
		covers += sum("cheapest", packs, price, "=", cost)
		held := glpsol(t, dir, contents, packs, covers)
		require.Equal(t, held, b.Content, "case %d: need %d, packs %v", n, need, packs)
		covers += sum("tightest", packs, content, "=", held)
		require.Equal(t, glpsol(t, dir, ones, packs, covers), b.Packs, "case %d: need %d, packs %v", n, need, packs)
	}
}

func BenchmarkSolve(b *testing.B) {
	packs := []Pack{{1000, 199}, {2500, 449}, {500, 120}, {10_000, 1599}, {250, 75}, {453, 99}}
	for _, need := range []int64{3_300, 330_000, 10_000_000_000} {
		b.Run(fmt.Sprintf("need=%d", need), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Solve(need, packs, LeastCost); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
