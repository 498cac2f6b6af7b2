package class

import (
	"cmp"
	"fmt"
	"maps"
	"math/big"
	"slices"
	"strings"
)

// Sizes beyond which an instance is refused: far above any class, and small enough that no sum overflows and no
// table fills the memory.
const (
	mostMinute  = 100_000
	mostJars    = 10_000
	mostBatches = 2_000
	mostCanners = 500
	mostPeople  = 10_000
)

// Instance is a spec that has been checked and indexed. It is never changed after [Build], so any number of searches
// may read it at once.
type Instance struct {
	spec Spec

	close, handlers, handling, burners int
	now                                int // nothing that can still be decided begins before it

	families []family
	canners  []canner
	batches  []batch
	stations [][]int // batches of each station in their order

	done       []Load // loads that have happened or are under way
	burnerUsed []int  // by minute, by what is done; never above burners
	handsUsed  []int  // the same for handlers

	keep      *keptPlan
	totalJars int
}

// family is a process and a jar size: what may share a load.
type family struct {
	process int
	size    string
}

type canner struct {
	capacity []int   // by family, 0 where it cannot take it
	lengths  [][]int // by family and number of jars: minutes from S to E
	windows  []Window
	reset    int
	busy     []Window // by what is done, reset included
	like     int      // the first canner that is the same in every respect
}

type batch struct {
	station, place int // place in the station's order
	family         int
	jars           int // in all
	left           int // that can still be put into a load
	stage          int
	ready          int
	hold           int
	split          bool
	filled         int // when that is no longer open, else open
}

// open marks a batch whose stage has not begun.
const open = -1 << 30

// keptPlan is the plan to stay close to.
type keptPlan struct {
	finish int
	filled []int   // open where the old plan does not say
	jars   [][]int // per batch and jar: start*keepBase + canner, ascending
}

// Spec is a copy of what the instance was built from.
func (in *Instance) Spec() Spec { return in.spec.Clone() }

// Name of the instance.
func (in *Instance) Name() string { return in.spec.Name }

// Build checks a spec and makes an instance of it. The error is an [InvalidSpec] that names each field at fault.
func Build(s Spec) (*Instance, error) {
	f := &faults{}
	in := &Instance{spec: s.Clone()}
	if s.Form != "" && s.Form != Form {
		f.add("form", s.Form, "not an instance of the class form", `give "class"`)
	}
	f.between("close", s.Close, 1, mostMinute, "the closing minute")
	f.between("handlers", s.Handlers, 1, mostPeople, "the number of handlers")
	f.between("handling", s.Handling, 0, mostMinute, "the minutes of handling")
	f.between("rest", s.Rest, 0, mostMinute, "the minutes of rest")
	f.between("burners", s.Burners, 1, mostPeople, "the number of burners")
	in.close, in.handlers, in.handling, in.burners = s.Close, s.Handlers, s.Handling, s.Burners

	processes := in.checkProcesses(f)
	in.checkCanners(f, processes)
	in.checkBatches(f, processes)
	if len(f.list) > 0 { // the rest needs sound indices
		return nil, f.err()
	}
	in.indexCanners(f)
	in.checkFits(f)
	if len(f.list) > 0 {
		return nil, f.err()
	}
	in.checkDone(f)
	in.checkKeep(f)
	if len(f.list) > 0 {
		return nil, f.err()
	}
	return in, nil
}

// unique notes an id and complains about one that is empty or taken.
func unique(f *faults, seen map[string]int, field, id string, i int) {
	if strings.TrimSpace(id) == "" {
		f.add(field, quote(id), "an id cannot be empty", "give each a name of its own")
	} else if first, dup := seen[id]; dup {
		f.add(field, id, fmt.Sprintf("the id is already that of number %d", first), "give each a name of its own")
	} else {
		seen[id] = i
	}
}

func (in *Instance) checkProcesses(f *faults) map[string]int {
	index := map[string]int{}
	if len(in.spec.Processes) == 0 {
		f.add("processes", "none", "without a process no jar can be processed", "name at least one")
	}
	for i, p := range in.spec.Processes {
		at := fmt.Sprintf("processes[%d].", i)
		unique(f, index, at+"id", p.ID, i)
		if strings.TrimSpace(p.Method) == "" {
			f.add(at+"method", quote(p.Method), "a process has a method", "name it as the canners do")
		}
		f.between(at+"minutes", p.Minutes, 1, mostMinute, "the process time")
		f.between(at+"vent", p.Vent, 0, mostMinute, "the venting time")
		f.between(at+"depressurise", p.Depressurise, 0, mostMinute, "the time to depressurise")
	}
	return index
}

func (in *Instance) checkCanners(f *faults, processes map[string]int) {
	ids := map[string]int{}
	if n := len(in.spec.Canners); n == 0 || n > mostCanners {
		f.add("canners", n, "a class needs canners, and not thousands", fmt.Sprintf("give 1 to %d", mostCanners))
		return
	}
	for i, c := range in.spec.Canners {
		at := fmt.Sprintf("canners[%d].", i)
		unique(f, ids, at+"id", c.ID, i)
		if len(c.Methods) == 0 {
			f.add(at+"methods", "none", "a canner supports at least one method", "name its methods")
		}
		if len(c.Capacity) == 0 {
			f.add(at+"capacity", "none", "a canner holds jars of some size", "give the number of jars for each size")
		}
		for _, size := range sortedKeys(c.Capacity) {
			n := c.Capacity[size]
			if n == 0 {
				f.add(at+"capacity."+size, n, "a capacity of 0 holds nothing", "leave out a size that does not fit")
			} else {
				f.between(at+"capacity."+size, n, 1, mostJars, "the capacity")
			}
		}
		for j, w := range c.Windows {
			field := fmt.Sprintf("%swindows[%d]", at, j)
			f.between(field+".start", w.Start, 0, mostMinute, "the start of a window")
			if f.between(field+".end", w.End, 0, mostMinute, "the end of a window") && w.End <= w.Start {
				f.add(field+".end", w.End, fmt.Sprintf("the window ends before it starts at %d", w.Start), "give an end after the start")
			}
		}
		for _, d := range []struct {
			field string
			value Decimal
		}{{"come_up_base", c.ComeUpBase}, {"come_up_per_jar", c.ComeUpPerJar}} {
			switch r, err := d.value.Rat(); {
			case err != nil:
				f.add(at+d.field, string(d.value), "not a decimal number of ordinary size", "give minutes such as 14 or 0.35")
			case r.Sign() < 0:
				f.add(at+d.field, string(d.value), "minutes to the boil cannot be negative", "give 0 or more")
			case r.Cmp(big.NewRat(mostMinute, 1)) > 0:
				f.add(at+d.field, string(d.value), "longer than any class", fmt.Sprintf("give at most %d", mostMinute))
			}
		}
		f.between(at+"reset", c.Reset, 0, mostMinute, "the reset time")
		f.between(at+"vent", c.Vent, 0, mostMinute, "the venting time")
		f.between(at+"depressurise", c.Depressurise, 0, mostMinute, "the time to depressurise")
	}
}

func (in *Instance) checkBatches(f *faults, processes map[string]int) {
	if n := len(in.spec.Batches); n > mostBatches {
		f.add("batches", n, "more than a class can hold", fmt.Sprintf("give at most %d", mostBatches))
		return
	}
	ids, stations, families := map[string]int{}, map[string]int{}, map[family]int{}
	for i, b := range in.spec.Batches {
		at := fmt.Sprintf("batches[%d].", i)
		unique(f, ids, at+"id", b.ID, i)
		if strings.TrimSpace(b.Station) == "" {
			f.add(at+"station", quote(b.Station), "a batch is made at a station", "name the station")
		}
		process, known := processes[b.Process]
		if !known {
			f.add(at+"process", quote(b.Process), "no process has that id", "use one of: "+strings.Join(sortedKeys(processes), ", "))
		}
		if strings.TrimSpace(b.Size) == "" {
			f.add(at+"size", quote(b.Size), "a batch has a jar size", "name it as the canners do")
		}
		f.between(at+"order", b.Order, -mostMinute, mostMinute, "the order")
		f.between(at+"jars", b.Jars, 1, mostJars, "the number of jars")
		f.between(at+"stage", b.Stage, 0, mostMinute, "the minutes of the stage")
		f.between(at+"ready_earliest", b.ReadyEarliest, 0, mostMinute, "the earliest end of the stage")
		f.between(at+"hold_max", b.HoldMax, 0, mostMinute, "the longest wait")

		station, seen := stations[b.Station]
		if !seen {
			station = len(in.stations)
			stations[b.Station] = station
			in.stations = append(in.stations, nil)
		}
		in.stations[station] = append(in.stations[station], i)
		fam := family{process, b.Size}
		if _, seen := families[fam]; !seen {
			families[fam] = len(in.families)
			in.families = append(in.families, fam)
		}
		in.batches = append(in.batches, batch{station: station, family: families[fam], jars: b.Jars, left: b.Jars, stage: b.Stage,
			ready: b.ReadyEarliest, hold: b.HoldMax, split: b.Split, filled: open})
		in.totalJars += b.Jars
	}
	for _, list := range in.stations {
		slices.SortStableFunc(list, func(a, b int) int { return cmp.Compare(in.spec.Batches[a].Order, in.spec.Batches[b].Order) })
		for k, b := range list {
			in.batches[b].place = k
			if k > 0 && in.spec.Batches[list[k-1]].Order == in.spec.Batches[b].Order {
				f.add(fmt.Sprintf("batches[%d].order", b), in.spec.Batches[b].Order,
					fmt.Sprintf("batch %s of the same station has that place too, so each would come before the other", in.spec.Batches[list[k-1]].ID),
					"give the batches of a station different orders")
			}
		}
	}
}

func (in *Instance) indexCanners(f *faults) {
	for _, c := range in.spec.Canners {
		windows := slices.Clone(c.Windows)
		if c.Windows == nil {
			windows = []Window{{0, in.close}}
		}
		slices.SortFunc(windows, func(a, b Window) int { return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.End, b.End)) })
		k := canner{windows: windows, reset: c.Reset, capacity: make([]int, len(in.families)), lengths: make([][]int, len(in.families))}
		base, _ := c.ComeUpBase.Rat()
		perJar, _ := c.ComeUpPerJar.Rat()
		for i, fam := range in.families {
			p := in.spec.Processes[fam.process]
			if !slices.Contains(c.Methods, p.Method) {
				continue
			}
			k.capacity[i] = min(c.Capacity[fam.size], in.totalJars)
			if k.capacity[i] == 0 {
				continue
			}
			k.lengths[i] = comeUpTable(base, perJar, k.capacity[i])
			for n := range k.lengths[i] {
				k.lengths[i][n] += 2*in.handling + p.Vent + c.Vent + p.Minutes + p.Depressurise + c.Depressurise + in.spec.Rest
			}
		}
		k.like = len(in.canners)
		in.canners = append(in.canners, k)
	}
}

// checkFits refuses batches that no canner could ever take.
func (in *Instance) checkFits(f *faults) {
	for i, b := range in.batches {
		if slices.ContainsFunc(in.canners, func(c canner) bool { return c.capacity[b.family] > 0 }) {
			continue
		}
		spec := in.spec.Batches[i]
		method := in.spec.Processes[in.families[b.family].process].Method
		if !slices.ContainsFunc(in.spec.Canners, func(c Canner) bool { return slices.Contains(c.Methods, method) }) {
			f.add(fmt.Sprintf("batches[%d].process", i), spec.Process, fmt.Sprintf("no canner supports its method %s", method), "add such a canner or another process")
		} else {
			f.add(fmt.Sprintf("batches[%d].size", i), spec.Size, fmt.Sprintf("no canner that supports %s has a capacity for it", method), "add the size to a canner's capacity")
		}
	}
}

func (in *Instance) checkDone(f *faults) {
	in.burnerUsed, in.handsUsed = make([]int, in.close+1), make([]int, in.close+1)
	d := in.spec.Done
	if d == nil {
		in.markAlike()
		return
	}
	f.between("done.now", d.Now, 0, mostMinute, "the present minute")
	in.now = d.Now
	batches := in.batchIndex()
	for _, id := range sortedKeys(d.Filled) {
		at := "done.filled." + id
		b, ok := batches[id]
		if !ok {
			f.add(at, id, "no batch has that id", "name a batch of the instance")
			continue
		}
		f.between(at, d.Filled[id], -mostMinute, mostMinute, "the minute of filling")
		in.batches[b].filled = d.Filled[id]
	}
	for _, list := range in.stations {
		for k, b := range list {
			if k > 0 && in.batches[b].filled != open && in.batches[list[k-1]].filled == open {
				f.add("done.filled."+in.spec.Batches[b].ID, in.batches[b].filled,
					fmt.Sprintf("batch %s of the same station comes before it and is not named", in.spec.Batches[list[k-1]].ID), "name it too")
			}
		}
	}
	for i, l := range d.Loads {
		in.checkDoneLoad(f, fmt.Sprintf("done.loads[%d].", i), l, batches)
	}
	for _, b := range in.batches {
		if b.filled != open {
			use(in.burnerUsed, b.filled-b.stage, b.filled, 1)
		}
	}
	for i := range in.burnerUsed {
		in.burnerUsed[i], in.handsUsed[i] = min(in.burnerUsed[i], in.burners), min(in.handsUsed[i], in.handlers)
	}
	in.markAlike()
}

func (in *Instance) checkDoneLoad(f *faults, at string, l LoadSpec, batches map[string]int) {
	c := slices.IndexFunc(in.spec.Canners, func(c Canner) bool { return c.ID == l.Canner })
	if c < 0 {
		f.add(at+"canner", quote(l.Canner), "no canner has that id", "name a canner of the instance; one that is gone has an empty list of windows")
		return
	}
	f.between(at+"start", l.Start, -mostMinute, mostMinute, "the start of a load")
	if f.between(at+"end", l.End, -mostMinute, mostMinute, "the end of a load") && l.End <= l.Start {
		f.add(at+"end", l.End, "the load ends before it starts", "give an end after the start")
	}
	load := Load{Canner: c, Start: l.Start, End: l.End, Family: -1, Done: true}
	for _, id := range sortedKeys(l.Jars) {
		b, ok := batches[id]
		if !ok {
			f.add(at+"jars."+id, l.Jars[id], "no batch has that id", "name a batch of the instance")
			continue
		}
		bb := &in.batches[b]
		if load.Family < 0 {
			load.Family = bb.family
		}
		switch n := l.Jars[id]; {
		case bb.filled == open:
			f.add(at+"jars."+id, n, "its jars are in a load, but done.filled does not say when they were filled", "add it to done.filled")
		case bb.family != load.Family:
			f.add(at+"jars."+id, n, "a load holds jars of one process and one size", "move it to another load")
		case n > bb.left:
			f.add(at+"jars."+id, n, fmt.Sprintf("of the batch's jars only %d are left for this load", bb.left), "give at most that many")
		case f.between(at+"jars."+id, n, 1, mostJars, "the number of jars"):
			bb.left -= n
			if !bb.split {
				bb.left = 0
			}
			load.Shares = append(load.Shares, Share{b, n})
		}
	}
	if len(load.Shares) == 0 {
		f.add(at+"jars", "none", "a load holds jars", "name its batches, or leave the load out")
		return
	}
	k := &in.canners[c]
	k.busy = append(k.busy, Window{l.Start, l.End + k.reset})
	slices.SortFunc(k.busy, func(a, b Window) int { return cmp.Compare(a.Start, b.Start) })
	use(in.burnerUsed, l.Start, l.End, 1)
	use(in.handsUsed, l.Start, l.Start+in.handling, 1)
	use(in.handsUsed, l.End-in.handling, l.End, 1)
	in.done = append(in.done, load)
}

// markAlike finds canners that no plan could tell apart.
func (in *Instance) markAlike() {
	for i := range in.canners {
		a := &in.canners[i]
		for j := range i {
			b := in.canners[j]
			if a.reset == b.reset && slices.Equal(a.capacity, b.capacity) && slices.Equal(a.windows, b.windows) && slices.Equal(a.busy, b.busy) &&
				slices.EqualFunc(a.lengths, b.lengths, slices.Equal[[]int]) {
				a.like = j
				break
			}
		}
	}
}

// use adds n to a profile over [from, to), as far as it lies inside.
func use(profile []int, from, to, n int) {
	for t := max(from, 0); t < min(to, len(profile)); t++ {
		profile[t] += n
	}
}

const keepBase = 1 << 12

func (in *Instance) checkKeep(f *faults) {
	k := in.spec.Keep
	if k == nil {
		return
	}
	batches := in.batchIndex()
	kept := &keptPlan{filled: make([]int, len(in.batches)), jars: make([][]int, len(in.batches))}
	for i := range kept.filled {
		kept.filled[i] = open
	}
	for _, id := range sortedKeys(k.Filled) { // what the old plan says of batches that are gone is of no interest
		if b, ok := batches[id]; ok && f.between("keep.filled."+id, k.Filled[id], -mostMinute, 10*mostMinute, "the minute of filling") {
			kept.filled[b] = k.Filled[id]
		}
	}
	for i, l := range k.Loads {
		at := fmt.Sprintf("keep.loads[%d].", i)
		if !f.between(at+"start", l.Start, -mostMinute, mostMinute, "the start of a load") || !f.between(at+"end", l.End, -mostMinute, mostMinute, "the end of a load") {
			continue
		}
		kept.finish = max(kept.finish, l.End)
		c := slices.IndexFunc(in.spec.Canners, func(c Canner) bool { return c.ID == l.Canner })
		for _, id := range sortedKeys(l.Jars) {
			if b, ok := batches[id]; ok && f.between(at+"jars."+id, l.Jars[id], 0, mostJars, "the number of jars") {
				for range l.Jars[id] {
					kept.jars[b] = append(kept.jars[b], (l.Start+mostMinute)*keepBase+c+1)
				}
			}
		}
	}
	for _, list := range kept.jars {
		slices.Sort(list)
	}
	in.keep = kept
}

func (in *Instance) batchIndex() map[string]int {
	index := make(map[string]int, len(in.spec.Batches))
	for i, b := range in.spec.Batches {
		index[b.ID] = i
	}
	return index
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
