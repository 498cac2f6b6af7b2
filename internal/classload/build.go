package classload

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math/big"
	"slices"
	"strings"
	"time"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/loadplan/class"
	"stillroom/internal/measure"
	"stillroom/internal/recipe"
)

// Problem is a class ready to be planned: the instance, and what every id in it
// stands for.
type Problem struct {
	in   Input
	spec class.Spec
	// batches are those in the instance, by id; left are the others.
	batches map[string]*planned
	left    []Unplaced
	canners []unit
	// comeUps are by canner and family.
	comeUps map[string]map[string]line
	// delay is what a family's come-up is lengthened by, beyond its canner's line.
	delay map[string]int
	// burners are free for the whole class.
	burners int
	// others are entries of the instance that stand for burners which plans of other
	// classes hold, with what for.
	others map[string]string
	notes  []string
}

// planned is a batch in the instance.
type planned struct {
	batch   kitchen.Batch
	recipe  *recipe.Revision
	work    Work
	process published
	times   canning.LoadTimes
	family  string
}

// Methods of the instance: what canners for boiling water or steam may take alike.
const boilingWaterOrSteam = "boiling_water_or_steam"

// Build takes a class to an instance. Faults name what cannot be planned with at
// all; a batch that may go into no load is no fault but part of the plan.
func Build(in Input) (*Problem, error) {
	if err := in.Assume.check(); err != nil {
		return nil, err
	}
	if err := in.checkChoices(); err != nil {
		return nil, err
	}
	p := &Problem{in: in, batches: map[string]*planned{}, comeUps: map[string]map[string]line{}, delay: map[string]int{}, others: map[string]string{}}
	p.canners, p.notes = in.canners()
	if len(p.canners) == 0 {
		return nil, fault.New(fault.Precondition, "the class has no canner to plan with; add equipment of the kind %q", kitchen.KindCanner)
	}
	for _, u := range in.Units {
		if u.Equipment.Kind != kitchen.Burner {
			continue
		}
		if len(p.in.taken(u).Held) == 0 {
			p.burners++
		} else {
			p.notes = append(p.notes, u.Name()+" is not counted: another class has it for some of the time.")
		}
	}
	if p.burners == 0 {
		return nil, fault.New(fault.Precondition, "the class has no burner to plan with; add equipment of the kind %q with the number there are", kitchen.Burner)
	}
	if len(in.Batches) == 0 {
		return nil, fault.New(fault.Precondition, "the class has no batches to plan; propose or add some first")
	}
	if err := p.sortBatches(); err != nil {
		return nil, err
	}
	p.spec = class.Spec{Form: class.Form, Name: in.Class.ID,
		Close: int(in.Class.Duration / time.Minute), Handlers: in.Class.Team.Handlers, Handling: int(in.Class.Team.Handling / time.Minute),
		Burners: p.burners,
	}
	if err := p.addFamilies(); err != nil {
		return nil, err
	}
	p.addBatches()
	if err := p.addPast(); err != nil {
		return nil, err
	}
	p.addOthers()
	return p, nil
}

func (in Input) checkChoices() error {
	var c fault.Collector
	for _, id := range slices.Sorted(maps.Keys(in.Choices)) {
		if !slices.ContainsFunc(in.Batches, func(b kitchen.Batch) bool { return b.ID == id }) {
			c.Add("choices", id, "is not a batch of the class", "name one of its batches")
		}
	}
	return c.Err()
}

// sortBatches parts the batches that may be loaded from those that may not.
func (p *Problem) sortBatches() error {
	people := map[string]int{}
	for _, s := range p.in.Stations {
		people[s.ID] = s.Participants
	}
	for _, b := range p.in.Batches {
		r := p.in.Recipes[b.Revision]
		if r == nil {
			return fault.Missing("recipe revision", b.Revision.String())
		}
		process, refused, err := p.in.processFor(b, r, p.canners)
		if err != nil {
			return fmt.Errorf("batch %s: %w", b.ID, err)
		}
		work := workOf(r, b, people[b.Station], p.in.Assume)
		if refused != nil {
			p.left = append(p.left, Unplaced{Batch: b.ID, Station: b.Station, Title: r.Title, Jars: b.Jars, JarSize: b.JarSize, Reason: refused.reason, Work: &work})
			continue
		}
		pl := &planned{batch: b, recipe: r, work: work, process: process,
			times: canning.Times(process.by[process.method], process.choice)}
		pl.family = pl.familyID()
		p.batches[b.ID] = pl
	}
	return nil
}

// token is the method as the instance knows it.
func (pl *planned) token() string {
	if _, steam := pl.process.by[canning.AtmosphericSteam]; steam && pl.process.method == canning.BoilingWater {
		return boilingWaterOrSteam
	}
	return string(pl.process.method)
}

// familyID names what may share a load: one method, one time, one pressure, one
// pack (which sets how warm the water is) and one size.
func (pl *planned) familyID() string {
	id := fmt.Sprintf("%s-%dmin", pl.token(), pl.process.choice.Minutes)
	if pl.process.choice.Pressure > 0 {
		id += fmt.Sprintf("-%dlb", pl.process.choice.Pressure)
	}
	return id + fmt.Sprintf("-%s-%s", pl.recipe.Pack, pl.batch.JarSize.Trade())
}

// methodFor is the method by which a canner would run a batch; empty when it cannot.
func (pl *planned) methodFor(u unit) canning.Method {
	for _, m := range preference {
		if _, ok := pl.process.by[m]; ok && u.takes(m, pl.batch.JarSize) > 0 {
			return m
		}
	}
	return ""
}

// addFamilies adds processes and canners. A canner of the instance has one line for
// its come-up, while a real one heats quarts slower than half-pints: the canner
// gets the steepest slope and the lowest base of its families, and what a family
// needs beyond that is added to its process, so that no load is planned shorter
// than its own estimate.
func (p *Problem) addFamilies() error {
	families := map[string]*planned{}
	for _, pl := range p.batches {
		if f := families[pl.family]; f == nil || pl.batch.ID < f.batch.ID {
			families[pl.family] = pl
		}
	}
	ids := slices.Sorted(maps.Keys(families))
	rest := -1
	for _, id := range ids {
		if r := int(families[id].times.Rest); rest < 0 || r < rest {
			rest = r
		}
	}
	p.spec.Rest = max(rest, 0)

	unable := map[string][]string{}
	for _, u := range p.canners {
		p.comeUps[u.id] = map[string]line{}
		for _, id := range ids {
			f := families[id]
			m := f.methodFor(u)
			if m == "" {
				continue
			}
			l, err := p.in.comeUp(u, m, f.batch.JarSize, f.recipe.Pack)
			if fault.KindOf(err) == fault.Precondition {
				unable[u.id] = append(unable[u.id], id)
				p.notes = append(p.notes, fmt.Sprintf("%s takes no %s jars: %v.", u.name, f.batch.JarSize.Name(), err))
				continue
			}
			if err != nil {
				return fmt.Errorf("canner %s: %w", u.id, err)
			}
			p.comeUps[u.id][id] = l
		}
		p.addCanner(u, families, unable[u.id])
	}
	ids = slices.DeleteFunc(ids, p.refuseIfNoCanner)
	for _, id := range ids {
		f := families[id]
		delay := new(big.Rat)
		for _, u := range p.canners {
			if l, ok := p.comeUps[u.id][id]; ok {
				base := lowest(p.comeUps[u.id])
				if over := new(big.Rat).Sub(l.base, base); over.Cmp(delay) > 0 {
					delay = over
				}
			}
		}
		p.delay[id] = ceil(delay)
		p.spec.Processes = append(p.spec.Processes, class.Process{
			ID: id, Method: f.token(), Minutes: int(f.times.Process), Vent: int(f.times.Vent) + p.delay[id],
			Depressurise: int(f.times.Depressurise) + int(f.times.Rest) - p.spec.Rest,
		})
	}
	return nil
}

// refuseIfNoCanner leaves the batches of a family out when no canner can heat it.
func (p *Problem) refuseIfNoCanner(family string) bool {
	for _, c := range p.spec.Canners {
		if _, heats := p.comeUps[c.ID][family]; heats {
			return false
		}
	}
	for _, id := range slices.Sorted(maps.Keys(p.batches)) {
		if pl := p.batches[id]; pl.family == family {
			p.left = append(p.left, Unplaced{Batch: id, Station: pl.batch.Station, Title: pl.recipe.Title, Jars: pl.batch.Jars, JarSize: pl.batch.JarSize,
				Reason: "no canner of the class brings such a load to the boil", Work: &pl.work})
			delete(p.batches, id)
		}
	}
	return true
}

// addCanner adds a canner that takes at least one family.
func (p *Problem) addCanner(u unit, families map[string]*planned, unable []string) {
	c := class.Canner{ID: u.id, Capacity: map[string]int{}, Windows: u.windows, Reset: int(u.of.Equipment.Canner.Reset)}
	lines := p.comeUps[u.id]
	steepest := new(big.Rat)
	for _, id := range slices.Sorted(maps.Keys(lines)) {
		f := families[id]
		if steepest.Cmp(lines[id].perJar) < 0 {
			steepest = lines[id].perJar
		}
		size := string(f.batch.JarSize.Trade())
		c.Capacity[size] = u.physical.Holds(f.batch.JarSize)
		if !slices.Contains(c.Methods, f.token()) {
			c.Methods = append(c.Methods, f.token())
		}
	}
	// A size it cannot heat by one of the methods it has is left out for all of them.
	for _, id := range unable {
		size := families[id].batch.JarSize.Trade()
		delete(c.Capacity, string(size))
		for other := range lines {
			if families[other].batch.JarSize.Trade() == size {
				delete(lines, other)
			}
		}
	}
	if len(c.Capacity) == 0 {
		return
	}
	c.ComeUpBase, c.ComeUpPerJar = decimal(lowest(lines)), decimal(steepest)
	p.spec.Canners = append(p.spec.Canners, c)
}

func lowest(lines map[string]line) *big.Rat {
	var low *big.Rat
	for _, l := range lines {
		if low == nil || l.base.Cmp(low) < 0 {
			low = l.base
		}
	}
	return low
}

// noProcess is the process, and noCanner the canner that is never free, of batches
// whose jars go into no load: they still take their station and a burner.
const (
	noProcess = "no process"
	noCanner  = "no canner"
)

// addBatches adds the batches, in the order of the room.
//
// A station prepares a later batch when its hands are free, before or after it
// cooks an earlier one. Such work can be interrupted, so a batch's stage can begin
// once the station has had time for all its preparing and cooking up to there.
func (p *Problem) addBatches() {
	ready := map[string]measure.Minutes{}
	batches := slices.Clone(p.in.Batches)
	slices.SortStableFunc(batches, order)
	for _, b := range batches {
		s := class.Batch{ID: b.ID, Station: b.Station, Order: b.Order, Process: noProcess, Size: noProcess, Jars: b.Jars,
			HoldMax: int(p.in.Class.Team.HotHold / time.Minute), Split: b.MaySplit}
		work := p.workOf(b.ID)
		if pl := p.batches[b.ID]; pl != nil {
			s.Process, s.Size = pl.family, string(b.JarSize.Trade())
		}
		ready[b.Station] += work.Ready() + work.Stage()
		s.Stage, s.ReadyEarliest = int(work.Stage()), int(ready[b.Station])
		p.spec.Batches = append(p.spec.Batches, s)
	}
	if len(p.left) > 0 {
		p.addNoProcess()
	}
}

func (p *Problem) addNoProcess() {
	if slices.ContainsFunc(p.spec.Canners, func(c class.Canner) bool { return c.ID == noCanner }) {
		return
	}
	p.spec.Processes = append(p.spec.Processes, class.Process{ID: noProcess, Method: noProcess, Minutes: 1})
	p.spec.Canners = append(p.spec.Canners, class.Canner{ID: noCanner, Methods: []string{noProcess}, Capacity: map[string]int{noProcess: 1}, Windows: []class.Window{}})
}

// holdsBurner says that the stage of a batch of the instance takes a burner.
func (p *Problem) holdsBurner(batch string) bool {
	_, other := p.others[batch]
	return other || p.workOf(batch).Burner
}

// workOf is the work of a batch, in the instance or left out of every load.
func (p *Problem) workOf(batch string) Work {
	if pl := p.batches[batch]; pl != nil {
		return pl.work
	}
	for _, l := range p.left {
		if l.Batch == batch {
			return *l.Work
		}
	}
	return Work{}
}

// Spec is the instance.
func (p *Problem) Spec() class.Spec { return p.spec.Clone() }

// Left are the batches that go into no load whatever the plan, with the reasons.
func (p *Problem) Left() []Unplaced { return slices.Clone(p.left) }

// invalid turns what the solver says of an instance into a fault.
func invalid(err error) error {
	var spec class.InvalidSpec
	if !errors.As(err, &spec) {
		return err
	}
	var c fault.Collector
	for _, v := range spec {
		c.Add("plan: "+v.Field, v.Value, v.Reason, v.WayOut)
	}
	return c.Err()
}

// order sorts batches as the room does: by station, then turn.
func order(a, b kitchen.Batch) int {
	return cmp.Or(cmp.Compare(a.StationPosition, b.StationPosition), cmp.Compare(a.Order, b.Order), strings.Compare(a.ID, b.ID))
}
