package oven

import (
	"fmt"
	"sort"
	"strconv"
)

// Spec is an instance as a file gives it, field by field under the published names.
// Machines, jobs and attributes count from 1; times are whole minutes.
type Spec struct {
	// Name labels the answer; it decides nothing.
	Name string `json:"name"`

	// Horizon l: no availability interval ends later. Zero when not given.
	Horizon int64 `json:"l"`

	Attributes int `json:"a"`
	// SetupCosts and SetupTimes are indexed [from-1][to-1]. The published files have
	// one more row than there are attributes, for a machine that nothing was on.
	SetupCosts [][]int64 `json:"setup_costs"`
	SetupTimes [][]int64 `json:"setup_times"`

	Machines int `json:"m"`
	// MinCap must be zero throughout: the problem has no least load.
	MinCap       []int64 `json:"min_cap,omitempty"`
	MaxCap       []int64 `json:"max_cap"`
	InitialState []int64 `json:"initState"`
	// Intervals s is the number of columns of the two tables that follow. An interval
	// that ends when it starts is padding.
	Intervals     int       `json:"s"`
	IntervalStart [][]int64 `json:"m_a_s"`
	IntervalEnd   [][]int64 `json:"m_a_e"`

	Jobs          int       `json:"n"`
	Eligible      [][]int64 `json:"eligible_machine"`
	EarliestStart []int64   `json:"earliest_start"`
	LatestEnd     []int64   `json:"latest_end"`
	MinTime       []int64   `json:"min_time"`
	MaxTime       []int64   `json:"max_time"`
	Size          []int64   `json:"size"`
	Attribute     []int64   `json:"attribute"`

	UpperBound       int64 `json:"upper_bound_integer_objective"`
	RuntimeWeight    int64 `json:"mult_factor_total_runtime"`
	TardyWeight      int64 `json:"mult_factor_finished_toolate"`
	SetupCostWeight  int64 `json:"mult_factor_total_setupcosts"`
	SetupTimesWeight int64 `json:"mult_factor_total_setuptimes,omitempty"`
}

// Limits keep every sum well inside 64 bits and every time inside 32.
const (
	maxJobs     = 200_000
	maxMachines = 64
	maxFamilies = 1_000
	maxNumber   = 100_000_000
	maxWeight   = 1_000_000_000_000
)

// interval is a half-open stretch [start, end) in which a machine may be used.
type interval struct{ start, end int32 }

// job is one job, counted from 0, its families and machines too.
type job struct {
	release, due     int32
	minTime, maxTime int32
	size             int32
	family           int32
	machines         uint64 // bit m set: eligible for machine m
}

// machine is one machine; its intervals are sorted and do not overlap.
type machine struct {
	capacity  int32
	initial   int32 // a row of the set-up tables
	intervals []interval
}

// Instance is a validated instance. It is read-only, and safe to share.
type Instance struct {
	name     string
	spec     Spec
	jobs     []job
	machines []machine
	families int
	// setupTime and setupCost hold rows × families numbers, row-major.
	setupTime, setupCost []int32

	runtimeWeight, tardyWeight, setupWeight, upperBound int64
}

// Name is the instance's label.
func (in *Instance) Name() string { return in.name }

// Jobs is the number of jobs.
func (in *Instance) Jobs() int { return len(in.jobs) }

// Machines is the number of machines.
func (in *Instance) Machines() int { return len(in.machines) }

// Families is the number of attributes, the families of compatible jobs.
func (in *Instance) Families() int { return in.families }

// UpperBound is the integer objective by which results are normalised.
func (in *Instance) UpperBound() int64 { return in.upperBound }

// Spec returns the file's fields, for the checker and for writing the instance out.
// The slices are shared: do not change them.
func (in *Instance) Spec() Spec { return in.spec }

func (in *Instance) setup(from, to int32) (time, cost int32) {
	at := int(from)*in.families + int(to)
	return in.setupTime[at], in.setupCost[at]
}

// leastSetup is the shortest set-up time and the lowest set-up cost before any batch of
// a family. A row for an empty machine counts only if some machine starts empty.
func (in *Instance) leastSetup(family int32) (time, cost int32) {
	time, cost = int32(maxNumber), int32(maxNumber)
	consider := func(from int32) {
		t, c := in.setup(from, family)
		time, cost = min(time, t), min(cost, c)
	}
	for from := 0; from < in.families; from++ {
		consider(int32(from))
	}
	for m := range in.machines {
		consider(in.machines[m].initial)
	}
	return time, cost
}

// New validates a spec and builds the instance. Every error is an *InputError that
// names the field, the value and what would be accepted.
func New(s Spec) (*Instance, error) {
	v := &validator{}
	v.count("n", s.Jobs, maxJobs)
	v.count("m", s.Machines, maxMachines)
	v.count("a", s.Attributes, maxFamilies)
	v.number("l", s.Horizon, 0, maxNumber)
	if v.err != nil {
		return nil, v.err
	}
	in := &Instance{name: s.Name, spec: s, families: s.Attributes}
	v.setups(in, s)
	v.weights(in, s)
	v.readMachines(in, s)
	v.readJobs(in, s)
	if v.err == nil {
		v.everyJobFits(in)
	}
	if v.err != nil {
		return nil, v.err
	}
	return in, nil
}

// validator keeps the first trouble it meets, in the order of the file's fields.
type validator struct{ err error }

func (v *validator) fail(field, value, reason, wayOut string) {
	if v.err == nil {
		v.err = bad(field, value, reason, wayOut)
	}
}

func (v *validator) count(field string, got, most int) {
	if got < 1 || got > most {
		v.fail(field, strconv.Itoa(got), "is not a usable count", fmt.Sprintf("give a whole number from 1 to %d", most))
	}
}

func (v *validator) number(field string, got, least, most int64) {
	if got < least || got > most {
		v.fail(field, strconv.FormatInt(got, 10), "is out of range", fmt.Sprintf("give a whole number from %d to %d", least, most))
	}
}

// list checks that a list has one number per thing counted, each in range.
func (v *validator) list(field string, got []int64, want int, of string, least, most int64) bool {
	if len(got) != want {
		v.fail(field, fmt.Sprintf("%d numbers", len(got)), "has the wrong length", fmt.Sprintf("give one number for each of the %d %s", want, of))
		return false
	}
	for i, x := range got {
		v.number(fmt.Sprintf("%s[%d]", field, i+1), x, least, most)
	}
	return v.err == nil
}

func (v *validator) setups(in *Instance, s Spec) {
	rows := len(s.SetupTimes)
	table := func(field string, t [][]int64) []int32 {
		if len(t) != s.Attributes && len(t) != s.Attributes+1 {
			v.fail(field, fmt.Sprintf("%d rows", len(t)), "has the wrong number of rows", fmt.Sprintf("give %d rows, or %d with one for an empty machine", s.Attributes, s.Attributes+1))
			return nil
		}
		if len(t) != rows {
			v.fail(field, fmt.Sprintf("%d rows", len(t)), "has another number of rows than setup_times", "give both tables the same rows")
			return nil
		}
		flat := make([]int32, 0, len(t)*s.Attributes)
		for i, row := range t {
			if !v.list(fmt.Sprintf("%s[%d]", field, i+1), row, s.Attributes, "attributes", 0, maxNumber) {
				return nil
			}
			for _, x := range row {
				flat = append(flat, int32(x))
			}
		}
		return flat
	}
	in.setupTime = table("setup_times", s.SetupTimes)
	in.setupCost = table("setup_costs", s.SetupCosts)
}

func (v *validator) weights(in *Instance, s Spec) {
	v.number("upper_bound_integer_objective", s.UpperBound, 1, 1<<62)
	v.number("mult_factor_total_runtime", s.RuntimeWeight, 0, maxWeight)
	v.number("mult_factor_finished_toolate", s.TardyWeight, 0, maxWeight)
	v.number("mult_factor_total_setupcosts", s.SetupCostWeight, 0, maxWeight)
	if s.SetupTimesWeight != 0 {
		v.fail("mult_factor_total_setuptimes", strconv.FormatInt(s.SetupTimesWeight, 10), "is no part of the objective", "leave it out or make it 0")
	}
	in.upperBound = s.UpperBound
	in.runtimeWeight, in.tardyWeight, in.setupWeight = s.RuntimeWeight, s.TardyWeight, s.SetupCostWeight
}

func (v *validator) readMachines(in *Instance, s Spec) {
	if s.MinCap != nil && v.list("min_cap", s.MinCap, s.Machines, "machines", 0, maxNumber) {
		for i, x := range s.MinCap {
			if x != 0 {
				v.fail(fmt.Sprintf("min_cap[%d]", i+1), strconv.FormatInt(x, 10), "asks for a least load, which this problem has not", "make it 0")
			}
		}
	}
	v.list("max_cap", s.MaxCap, s.Machines, "machines", 1, maxNumber)
	v.list("initState", s.InitialState, s.Machines, "machines", 1, int64(len(s.SetupTimes)))
	if s.Intervals < 1 {
		v.fail("s", strconv.Itoa(s.Intervals), "is not a usable count", "give the number of availability intervals, at least 1")
	}
	for _, t := range []struct {
		field string
		rows  [][]int64
	}{{"m_a_s", s.IntervalStart}, {"m_a_e", s.IntervalEnd}} {
		if len(t.rows) != s.Machines {
			v.fail(t.field, fmt.Sprintf("%d rows", len(t.rows)), "has the wrong number of rows", fmt.Sprintf("give one row for each of the %d machines", s.Machines))
			return
		}
		for i, row := range t.rows {
			v.list(fmt.Sprintf("%s[%d]", t.field, i+1), row, s.Intervals, "intervals", 0, maxNumber)
		}
	}
	if v.err != nil {
		return
	}
	for i := range s.MaxCap {
		mc := machine{capacity: int32(s.MaxCap[i]), initial: int32(s.InitialState[i] - 1)}
		for k := range s.IntervalStart[i] {
			from, to := s.IntervalStart[i][k], s.IntervalEnd[i][k]
			field := fmt.Sprintf("m_a_e[%d][%d]", i+1, k+1)
			if to < from {
				v.fail(field, strconv.FormatInt(to, 10), fmt.Sprintf("is before the interval's start %d", from), "let every interval end at or after its start")
			}
			if s.Horizon > 0 && to > s.Horizon {
				v.fail(field, strconv.FormatInt(to, 10), fmt.Sprintf("is after the horizon l = %d", s.Horizon), "end the interval by l, or raise l")
			}
			if to > from {
				mc.intervals = append(mc.intervals, interval{int32(from), int32(to)})
			}
		}
		sort.Slice(mc.intervals, func(a, b int) bool { return mc.intervals[a].start < mc.intervals[b].start })
		for k := 1; k < len(mc.intervals); k++ {
			if mc.intervals[k].start < mc.intervals[k-1].end {
				v.fail(fmt.Sprintf("m_a_s[%d]", i+1), strconv.Itoa(int(mc.intervals[k].start)), "starts an interval inside another", "let the intervals of a machine not overlap")
			}
		}
		in.machines = append(in.machines, mc)
	}
}

func (v *validator) readJobs(in *Instance, s Spec) {
	n := s.Jobs
	if len(s.Eligible) != n {
		v.fail("eligible_machine", fmt.Sprintf("%d sets", len(s.Eligible)), "has the wrong length", fmt.Sprintf("give one set for each of the %d jobs", n))
	}
	v.list("earliest_start", s.EarliestStart, n, "jobs", 0, maxNumber)
	v.list("latest_end", s.LatestEnd, n, "jobs", 0, maxNumber)
	v.list("min_time", s.MinTime, n, "jobs", 1, maxNumber)
	v.list("max_time", s.MaxTime, n, "jobs", 1, maxNumber)
	v.list("size", s.Size, n, "jobs", 0, maxNumber)
	v.list("attribute", s.Attribute, n, "jobs", 1, int64(s.Attributes))
	if v.err != nil {
		return
	}
	for i := 0; i < n; i++ {
		j := job{
			release: int32(s.EarliestStart[i]), due: int32(s.LatestEnd[i]),
			minTime: int32(s.MinTime[i]), maxTime: int32(s.MaxTime[i]),
			size: int32(s.Size[i]), family: int32(s.Attribute[i] - 1),
		}
		if j.maxTime < j.minTime {
			v.fail(fmt.Sprintf("max_time[%d]", i+1), strconv.Itoa(int(j.maxTime)), fmt.Sprintf("is less than min_time %d", j.minTime), "let max_time be at least min_time")
		}
		field := fmt.Sprintf("eligible_machine[%d]", i+1)
		if len(s.Eligible[i]) == 0 {
			v.fail(field, "{}", "names no machine", "name at least one")
		}
		for _, m := range s.Eligible[i] {
			if m < 1 || m > int64(s.Machines) {
				v.fail(field, strconv.FormatInt(m, 10), "is no machine", fmt.Sprintf("name machines from 1 to %d", s.Machines))
				return
			}
			j.machines |= 1 << uint(m-1)
		}
		in.jobs = append(in.jobs, j)
	}
}

// everyJobFits refuses a job that no machine can ever take, even alone: that is a
// contradiction in the input, not a hard instance.
func (v *validator) everyJobFits(in *Instance) {
	for i := range in.jobs {
		j := &in.jobs[i]
		capacityOK, timeOK := false, false
		for m := range in.machines {
			if j.machines&(1<<uint(m)) == 0 || j.size > in.machines[m].capacity {
				continue
			}
			capacityOK = true
			least, _ := in.leastSetup(j.family)
			for _, iv := range in.machines[m].intervals {
				start := iv.start + least
				if start < j.release {
					start = j.release
				}
				timeOK = timeOK || start+j.minTime <= iv.end
			}
		}
		if !capacityOK {
			v.fail(fmt.Sprintf("size[%d]", i+1), strconv.Itoa(int(j.size)), "is larger than every eligible machine", "raise max_cap of an eligible machine or make the job smaller")
		} else if !timeOK {
			v.fail(fmt.Sprintf("min_time[%d]", i+1), strconv.Itoa(int(j.minTime)), "fits into no availability interval of an eligible machine after earliest_start", "lengthen an interval or shorten the job")
		}
		if v.err != nil {
			return
		}
	}
}
