package class_test

import (
	"context"
	"fmt"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/loadplan/class"
	"stillroom/internal/loadplan/class/check"
	"stillroom/internal/loadplan/class/generate"
)

// tiny makes an instance so small that every plan can be tried: about ten minutes, two canners, three batches.
func tiny(seed uint64) class.Spec {
	r := rand.New(rand.NewPCG(seed, 0x714e))
	in := func(from, to int) int { return from + r.IntN(to-from+1) }
	s := class.Spec{Form: class.Form, Name: fmt.Sprintf("tiny-%d", seed), Close: in(8, 13), Handlers: in(1, 2), Handling: in(0, 1), Rest: in(0, 1), Burners: in(1, 3)}
	for i := range in(1, 2) {
		s.Processes = append(s.Processes, class.Process{ID: fmt.Sprintf("p%d", i), Method: []string{"water", "steam"}[r.IntN(4)/3], Minutes: in(1, 3)})
	}
	for i := range in(1, 2) {
		k := class.Canner{ID: fmt.Sprintf("c%d", i), Methods: []string{"water", "steam"}, Capacity: map[string]int{"pint": in(1, 4), "quart": in(1, 3)},
			ComeUpBase: class.Decimal(fmt.Sprintf("%d.%d", in(0, 1), in(0, 9))), ComeUpPerJar: class.Decimal(fmt.Sprintf("0.%d", in(0, 6))), Reset: in(0, 1)}
		switch r.IntN(6) {
		case 0:
			k.Windows = []class.Window{{Start: in(0, 3), End: in(9, 13)}}
		case 1:
			k.Windows = []class.Window{{Start: 0, End: in(5, 7)}, {Start: in(7, 8), End: 13}}
		}
		s.Canners = append(s.Canners, k)
	}
	stations := in(1, 3)
	for i := range in(1, 3) {
		b := class.Batch{ID: fmt.Sprintf("b%d", i), Station: fmt.Sprintf("s%d", r.IntN(stations)), Order: i, Process: s.Processes[r.IntN(len(s.Processes))].ID,
			Size: []string{"pint", "quart"}[r.IntN(3)/2], Jars: in(1, 3), Stage: in(0, 3), HoldMax: in(0, 3), Split: r.IntN(2) == 0}
		b.ReadyEarliest = in(b.Stage, b.Stage+2)
		s.Batches = append(s.Batches, b)
	}
	return s
}

// brute tries every plan of a tiny instance: every set of loads with every start, and for each the fillings that
// make jars wait least. It knows the rules from the statement of the problem alone.
type brute struct {
	s     class.Spec
	left  []int
	parts []int // loads that hold jars of the batch
	loads []bruteLoad
	best  [4]int
	found bool
	tried int
}

type bruteLoad struct {
	canner, start, end int
	jars               []int // by batch
}

func bruteForce(s class.Spec) *brute {
	b := &brute{s: s, parts: make([]int, len(s.Batches))}
	for _, x := range s.Batches {
		b.left = append(b.left, x.Jars)
	}
	b.extend(0, 0)
	return b
}

func boilMinutes(k class.Canner, n int) int {
	sum, _ := new(big.Rat).SetString(string(k.ComeUpPerJar))
	base, _ := new(big.Rat).SetString(string(k.ComeUpBase))
	sum.Add(sum.Mul(sum, big.NewRat(int64(n), 1)), base)
	for m := 0; ; m++ {
		if sum.Cmp(big.NewRat(int64(m), 1)) <= 0 {
			return m
		}
	}
}

// extend judges the loads so far as a whole plan, and adds every further load that begins at start, in a canner from
// first on, or later.
func (b *brute) extend(start, first int) {
	b.judge()
	for t := start; t < b.s.Close; t++ {
		for c := range b.s.Canners {
			if t == start && c < first {
				continue
			}
			if b.busy(c, t) {
				continue
			}
			for p := range b.s.Processes {
				for _, size := range []string{"pint", "quart"} {
					b.fill(c, t, p, size, 0, make([]int, len(b.s.Batches)), 0)
				}
			}
		}
	}
}

func (b *brute) busy(c, t int) bool {
	for _, l := range b.loads {
		if l.canner == c && t < l.end+b.s.Canners[c].Reset {
			return true
		}
	}
	return false
}

// fill chooses how many jars of batch i and of those after it go into a load.
func (b *brute) fill(c, t, p int, size string, i int, jars []int, n int) {
	k := b.s.Canners[c]
	if n > k.Capacity[size] {
		return
	}
	if i < len(b.s.Batches) {
		x := b.s.Batches[i]
		for take := 0; take <= b.left[i]; take++ {
			if take > 0 && (x.Process != b.s.Processes[p].ID || x.Size != size || !x.Split && take < x.Jars || t < x.ReadyEarliest) {
				continue
			}
			jars[i] = take
			b.fill(c, t, p, size, i+1, jars, n+take)
		}
		jars[i] = 0
		return
	}
	if n == 0 {
		return
	}
	end := t + 2*b.s.Handling + boilMinutes(k, n) + b.s.Processes[p].Minutes + b.s.Rest
	inside := k.Windows == nil
	for _, w := range k.Windows {
		inside = inside || w.Start <= t && end <= w.End
	}
	if end > b.s.Close || !inside {
		return
	}
	b.loads = append(b.loads, bruteLoad{c, t, end, append([]int(nil), jars...)})
	for i, x := range jars {
		b.left[i] -= x
	}
	if b.handsSuffice() {
		b.extend(t, c+1)
	}
	for i, x := range jars {
		b.left[i] += x
	}
	b.loads = b.loads[:len(b.loads)-1]
}

func (b *brute) handsSuffice() bool {
	for t := range b.s.Close {
		n := 0
		for _, l := range b.loads {
			if l.start <= t && t < l.start+b.s.Handling || l.end-b.s.Handling <= t && t < l.end {
				n++
			}
		}
		if n > b.s.Handlers {
			return false
		}
	}
	return true
}

func (b *brute) judge() {
	value := [4]int{0, 0, len(b.loads), 0}
	for _, n := range b.left {
		value[0] += n
	}
	for _, l := range b.loads {
		value[1] = max(value[1], l.end)
	}
	if b.found && slices.Compare(value[:3], b.best[:3]) > 0 {
		return
	}
	b.tried++
	b.stages(0, make([]int, len(b.s.Batches)), value)
}

// stages tries every minute of filling for batch i and those after it. A batch none of whose jars, nor of later ones
// at its station, go into a load is filled long after everything else.
func (b *brute) stages(i int, filled []int, value [4]int) {
	if b.found && slices.Compare(value[:], b.best[:]) >= 0 {
		return
	}
	if i == len(b.s.Batches) {
		b.best, b.found = value, true
		return
	}
	x := b.s.Batches[i]
	from := max(x.ReadyEarliest, x.Stage)
	for j := range i {
		if y := b.s.Batches[j]; y.Station == x.Station {
			from = max(from, filled[j]+x.Stage)
		}
	}
	needed := false
	for j := i; j < len(b.s.Batches); j++ {
		if b.s.Batches[j].Station == x.Station {
			for _, l := range b.loads {
				needed = needed || l.jars[j] > 0
			}
		}
	}
	if !needed {
		filled[i] = 1000 * (i + 1)
		b.stages(i+1, filled, value)
		return
	}
	for f := from; f < b.s.Close; f++ {
		filled[i] = f
		wait, ok := 0, true
		for _, l := range b.loads {
			if n := l.jars[i]; n > 0 {
				ok = ok && f <= l.start && l.start <= f+x.HoldMax
				wait += n * (l.start - f)
			}
		}
		for t := f - x.Stage; ok && t < f; t++ {
			n := 0
			for _, l := range b.loads {
				if l.start <= t && t < l.end {
					n++
				}
			}
			for j := range i + 1 {
				if filled[j]-b.s.Batches[j].Stage <= t && t < filled[j] {
					n++
				}
			}
			ok = n <= b.s.Burners
		}
		if ok && b.burnersForLoads() {
			next := value
			next[3] += wait
			b.stages(i+1, filled, next)
		}
	}
}

func (b *brute) burnersForLoads() bool {
	for t := range b.s.Close {
		n := 0
		for _, l := range b.loads {
			if l.start <= t && t < l.end {
				n++
			}
		}
		if n > b.s.Burners {
			return false
		}
	}
	return true
}

func TestEveryPlanTried(t *testing.T) {
	t.Parallel()
	leftOver, loads, twice := 0, map[int]int{}, 0
	for i := range instances(t, 2200) {
		spec := tiny(uint64(i))
		in, err := class.Build(spec)
		require.NoError(t, err)
		want := bruteForce(spec).best
		r := class.Solve(context.Background(), in, class.Options{Work: 400_000, Seed: uint64(i)})
		require.Empty(t, check.Answer(spec, r.Answer))
		require.Equal(t, want, [4]int{r.Objective.Unprocessed, r.Objective.Finish, r.Objective.Loads, r.Objective.Hold}, "instance %d", i)
		require.Equal(t, 4, r.Proven, "instance %d", i)
		if want[0] > 0 {
			leftOver++
		}
		loads[want[2]]++
		if class.MostTimes(in) > 1 {
			twice++
		}
	}
	require.Positive(t, leftOver, "closing time must bind in some")
	require.Positive(t, twice, "in some a batch may go into the same canner twice")
	require.GreaterOrEqual(t, len(loads), 4, "there must be plans with none to several loads: %v", loads)
	t.Logf("%d with jars left over; instances by number of loads: %v", leftOver, loads)
}

// TestEveryPlanTriedInCases does the same with provers that divide every question at once: whatever they get to in
// the little time given, no bound is above what can be attained.
func TestEveryPlanTriedInCases(t *testing.T) {
	met := 0
	for i := range instances(t, 100) {
		spec := tiny(uint64(i) + 50_000)
		in, err := class.Build(spec)
		require.NoError(t, err)
		want := bruteForce(spec).best
		value, bound := class.ProveByCases(in, 15_000, int64(100+i%3*400), i%2 == 0)
		require.LessOrEqual(t, bound.Unprocessed, want[0], "instance %d", i)
		require.GreaterOrEqual(t, value.Unprocessed, want[0], "instance %d", i)
		if bound.Unprocessed == want[0] {
			require.LessOrEqual(t, bound.Finish, want[1], "instance %d", i)
		}
		if bound.Unprocessed == want[0] && bound.Finish == want[1] {
			met++
		}
	}
	require.Positive(t, met)
}

// TestEveryPlanTriedByRepair: the search that takes loads out and puts them back finds most of the best plans of tiny
// instances by itself, never a better one than there is, and what it finds is what its plan is worth.
func TestEveryPlanTriedByRepair(t *testing.T) {
	t.Parallel()
	const tries = 300
	met := 0
	for i := range instances(t, tries) {
		spec := tiny(uint64(i) + 90_000)
		in, err := class.Build(spec)
		require.NoError(t, err)
		want := bruteForce(spec).best
		value, answer := class.SearchByRepair(in, 600, uint64(i))
		require.Empty(t, check.Answer(spec, answer), "instance %d", i)
		require.Equal(t, value.Unprocessed, answer.Objective.Unprocessed)
		require.Equal(t, value.Finish, answer.Objective.Finish)
		require.LessOrEqual(t, want[0], value.Unprocessed, "instance %d", i)
		if want[0] == value.Unprocessed {
			require.LessOrEqual(t, want[1], value.Finish, "instance %d", i)
			if want[1] == value.Finish {
				met++
			}
		}
	}
	require.Greater(t, met, instances(t, tries)*3/4)
}

// TestCasesAgree: on larger instances the answers of provers with much and with little patience do not contradict each
// other: no bound of one is above a plan of another.
func TestCasesAgree(t *testing.T) {
	t.Parallel()
	for i := range instances(t, 12) {
		in := build(t, generate.Class(generate.Params{Stations: 4 + i%5, Canners: 2 + i%2}, uint64(i)))
		var values, bounds []class.Value
		for k, patience := range []int64{2_000, 30_000, 2_000_000} {
			v, b := class.ProveByCases(in, 30_000, patience, k > 0)
			values, bounds = append(values, v), append(bounds, b)
		}
		for _, v := range values {
			for _, b := range bounds {
				require.LessOrEqual(t, b.Unprocessed, v.Unprocessed, "instance %d: %v %v", i, values, bounds)
				if v.Unprocessed == b.Unprocessed {
					require.LessOrEqual(t, b.Finish, v.Finish, "instance %d: %v %v", i, values, bounds)
				}
			}
		}
	}
}
