package oven

// GeneratorOptions are the parameters of a random instance. Their meaning follows the
// generator of Lackner et al. (2023), as far as its instances show it.
type GeneratorOptions struct {
	Jobs, Machines, Attributes int
	// MaxTime is the longest min_time (10 or 100 in the published instances), and
	// every max_time unless VaryMaxTime draws it from [min_time, MaxTime].
	MaxTime     int64
	VaryMaxTime bool
	// MaxSize is the largest size (5 or 20); capacities are drawn from
	// [MaxSize, MaxCapacity] (20 or 100).
	MaxSize, MaxCapacity int64
	// Intervals is the number of availability intervals of each machine (2 to 5), and
	// Available the fraction of the horizon that they cover (0.25 to 0.75).
	Intervals int
	Available float64
	// ReleaseSpread times the sum of all min_time is the last release (0.1 or 0.5).
	ReleaseSpread float64
	// DueSlack: a due time is the release plus up to this many times min_time (2 or 5).
	DueSlack float64
	// MaxSetup is the longest set-up time and dearest set-up cost.
	MaxSetup int64
	// Setups is how set-up tables look.
	Setups SetupKind
}

// SetupKind is a way to draw set-up tables.
type SetupKind int

// The kinds of set-up tables.
const (
	SetupConstant  SetupKind = iota // one number throughout
	SetupArbitrary                  // any numbers
	SetupRealistic                  // little within a family, more between families
	SetupSymmetric                  // as much from one family to another as back
)

// PublishedOptions draws parameters from the ranges of the published instances.
func PublishedOptions(jobs, machines, attributes int, seed uint64) GeneratorOptions {
	r := newRNG(seed ^ 0x5eed)
	pick := func(a, b float64) float64 { return []float64{a, b}[r.below(2)] }
	g := GeneratorOptions{Jobs: jobs, Machines: machines, Attributes: attributes}
	g.MaxTime = int64(pick(10, 100))
	g.VaryMaxTime = r.below(2) == 0
	g.MaxSize = int64(pick(5, 20))
	g.MaxCapacity = int64(pick(20, 100))
	g.Intervals = 2 + r.below(4)
	g.Available = pick(0.25, 0.75)
	g.ReleaseSpread = pick(0.1, 0.5)
	g.DueSlack = pick(2, 5)
	g.MaxSetup = g.MaxTime * 3 / 10
	g.Setups = SetupKind(r.below(4))
	return g
}

// Generate makes a random instance, the same for the same options and seed. All jobs
// fit one after the other on any one machine, so it always has a plan.
func Generate(name string, g GeneratorOptions, seed uint64) Spec {
	r := newRNG(seed)
	from := func(lo, hi int64) int64 { return lo + int64(r.below(int(hi-lo+1))) }
	s := Spec{Name: name, Attributes: g.Attributes, Machines: g.Machines, Jobs: g.Jobs, Intervals: g.Intervals}
	s.SetupCosts = setupTable(r, g)
	s.SetupTimes = setupTable(r, g)
	sum := int64(0)
	for j := 0; j < g.Jobs; j++ {
		least := from(1, g.MaxTime)
		longest := g.MaxTime
		if g.VaryMaxTime {
			longest = from(least, g.MaxTime)
		}
		sum += least
		s.MinTime = append(s.MinTime, least)
		s.MaxTime = append(s.MaxTime, longest)
		s.Size = append(s.Size, from(1, g.MaxSize))
		s.Attribute = append(s.Attribute, from(1, int64(g.Attributes)))
		var set []int64
		for m := 1; m <= g.Machines; m++ {
			if r.below(2) == 0 {
				set = append(set, int64(m))
			}
		}
		if set == nil {
			set = []int64{from(1, int64(g.Machines))}
		}
		s.Eligible = append(s.Eligible, set)
	}
	for j := 0; j < g.Jobs; j++ {
		release := from(0, int64(g.ReleaseSpread*float64(sum)))
		slack := int64((g.DueSlack - 1) * float64(s.MinTime[j]))
		s.EarliestStart = append(s.EarliestStart, release)
		s.LatestEnd = append(s.LatestEnd, release+s.MinTime[j]+from(0, max(slack, 0)))
	}
	// Enough for all jobs in a row, and for what no longer fits before an interval's
	// end; and the last interval begins after all releases or is as long again.
	need := sum + int64(g.Jobs)*g.MaxSetup + int64(g.Intervals)*(g.MaxTime+g.MaxSetup) + int64(g.ReleaseSpread*float64(sum))
	s.Horizon = int64(float64(need)/g.Available) + 1
	for m := 0; m < g.Machines; m++ {
		s.MaxCap = append(s.MaxCap, from(g.MaxSize, max(g.MaxCapacity, g.MaxSize)))
		s.MinCap = append(s.MinCap, 0)
		s.InitialState = append(s.InitialState, from(1, int64(g.Attributes)))
		open := splitSum(r, need, g.Intervals)
		shut := splitSum(r, s.Horizon-need, g.Intervals+1)
		starts, ends, at := []int64{}, []int64{}, int64(0)
		for k := range open {
			at += shut[k]
			starts = append(starts, at)
			at += open[k]
			ends = append(ends, at)
		}
		s.IntervalStart = append(s.IntervalStart, starts)
		s.IntervalEnd = append(s.IntervalEnd, ends)
	}
	weigh(&s, g, sum)
	return s
}

// weigh sets the weights as the published instances have them: runtime, tardiness and
// set-up costs, each normalised by its greatest value, count as 4 : 100 : 1, and all
// is multiplied by the least number that makes it whole.
func weigh(s *Spec, g GeneratorOptions, sum int64) {
	mean := (sum + int64(g.Jobs) - 1) / int64(g.Jobs)
	dearest := int64(1)
	for _, row := range s.SetupCosts {
		for _, x := range row {
			dearest = max(dearest, x)
		}
	}
	a, b := mean, dearest
	for b != 0 {
		a, b = b, a%b
	}
	whole := mean / a * dearest
	s.RuntimeWeight, s.TardyWeight, s.SetupCostWeight = 4*whole/mean, 100*whole, whole/dearest
	s.UpperBound = 105 * int64(g.Jobs) * whole
}

// splitSum cuts a sum into parts at random.
func splitSum(r *rng, sum int64, parts int) []int64 {
	weights, total := make([]int64, parts), int64(0)
	for i := range weights {
		weights[i] = 1 + int64(r.below(1000))
		total += weights[i]
	}
	out, left := make([]int64, parts), sum
	for i := range out {
		out[i] = sum / total * weights[i]
		left -= out[i]
	}
	out[parts-1] += left
	return out
}

func setupTable(r *rng, g GeneratorOptions) [][]int64 {
	n := g.Attributes
	t := make([][]int64, n+1)
	constant := int64(r.below(int(g.MaxSetup + 1)))
	for i := range t {
		t[i] = make([]int64, n)
		if i == n {
			break // nothing was on the machine
		}
		for k := range t[i] {
			switch g.Setups {
			case SetupConstant:
				t[i][k] = constant
			case SetupArbitrary:
				t[i][k] = int64(r.below(int(g.MaxSetup + 1)))
			case SetupRealistic:
				t[i][k] = g.MaxSetup
				if i == k {
					t[i][k] = int64(r.below(int(g.MaxSetup/3 + 1)))
				}
			case SetupSymmetric:
				if k < i {
					t[i][k] = t[k][i]
				} else {
					t[i][k] = int64(r.below(int(g.MaxSetup + 1)))
				}
			}
		}
	}
	return t
}
