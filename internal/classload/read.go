package classload

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"math/big"
	"slices"
	"strings"

	"stillroom/internal/canning"
	"stillroom/internal/kitchen"
	"stillroom/internal/loadplan/class"
	"stillroom/internal/reference"
)

// plan tells a solved instance in the class's words.
func (p *Problem) plan(r result, seed uint64) (*Plan, error) {
	out := &Plan{
		Class: p.in.Class.ID, Opens: p.in.Class.Start, Close: p.spec.Close, AltitudeMetres: p.in.Altitude.Metres().Float64(),
		Handlers: p.spec.Handlers, Handling: p.spec.Handling, Burners: p.burners, HotHold: int(p.in.Class.Team.HotHold.Minutes()),
		Assume: p.in.Assume, Choices: p.in.Choices, Notes: slices.Clone(p.notes),
	}
	for _, other := range p.in.Around {
		out.Around = append(out.Around, PlanRef{Class: other.Class, Number: other.Number})
	}
	if r.note != "" {
		out.Notes = append(out.Notes, r.note)
	}
	for _, b := range p.sorted() {
		out.Batches = append(out.Batches, p.batchPlan(b, r))
	}
	for _, u := range p.canners {
		c := CannerPlan{ID: u.id, Equipment: u.of.Equipment.ID, Name: u.name, Reset: int(u.of.Equipment.Canner.Reset)}
		for _, h := range u.held {
			c.Held = append(c.Held, Held{From: p.in.minute(h.Start), Until: p.in.minute(h.End), Class: h.Class})
		}
		for _, l := range r.answer.Loads {
			if l.Canner != u.id {
				continue
			}
			load, err := p.loadPlan(u, l, r)
			if err != nil {
				return nil, err
			}
			c.Loads = append(c.Loads, load)
		}
		out.Canners = append(out.Canners, c)
	}
	out.BurnerUse = rows(p.titled(p.burnerUses(r.spec, r.answer)), p.burners)
	out.HandlerUse = rows(p.handlerUses(r), p.spec.Handlers)
	out.Unplaced = p.unplaced(r)
	out.Outcome = p.outcome(r, seed, out)
	out.Cautions = p.cautions(r)
	var err error
	if out.Chain, err = p.chain(r); err != nil {
		return nil, err
	}
	if out.Instance, err = json.Marshal(r.spec); err != nil {
		return nil, err
	}
	out.Answer, err = json.Marshal(r.answer)
	return out, err
}

// sorted is the class's batches in the order of the room.
func (p *Problem) sorted() []kitchen.Batch {
	batches := slices.Clone(p.in.Batches)
	slices.SortStableFunc(batches, order)
	return batches
}

func (p *Problem) batchPlan(b kitchen.Batch, r result) BatchPlan {
	lidded := r.answer.Filled[b.ID]
	work := p.workOf(b.ID)
	out := BatchPlan{
		Batch: b.ID, Station: b.Station, Order: b.Order, Title: p.in.Recipes[b.Revision].Title, Recipe: b.Revision.Recipe, Revision: b.Revision.Number,
		JarSize: b.JarSize, Jars: b.Jars, Cook: lidded - int(work.Stage()), Lidded: lidded, Work: work,
	}
	if d := r.spec.Done; d != nil {
		_, out.Done = d.Filled[b.ID]
	}
	return out
}

func (p *Problem) loadPlan(u unit, l class.LoadSpec, r result) (LoadPlan, error) {
	out := LoadPlan{In: l.Start, Out: l.End}
	if r.spec.Done != nil {
		out.Done = slices.ContainsFunc(r.spec.Done.Loads, func(d class.LoadSpec) bool { return d.Canner == l.Canner && d.Start == l.Start })
	}
	var first *planned
	for _, b := range p.sorted() {
		n, pl := l.Jars[b.ID], p.batches[b.ID]
		if n == 0 {
			continue
		}
		if pl == nil {
			return out, fmt.Errorf("batch %s has no published process and is in a load", b.ID)
		}
		if first == nil {
			first = pl
		}
		process, printed := pl.process.by[pl.methodFor(u)]
		if !printed {
			return out, fmt.Errorf("batch %s has no published process in %s", b.ID, u.name)
		}
		choice, err := process.Choose(pl.process.choice.Pressure)
		if err != nil {
			return out, err
		}
		if planned := p.minutesOf(l.Process); int(choice.Minutes) != planned {
			return out, fmt.Errorf("batch %s is in a load of %d min and its table prints %s", b.ID, planned, choice)
		}
		j := JarsInLoad{Batch: b.ID, Station: b.Station, Title: pl.recipe.Title, Jars: n, Wait: l.Start - r.answer.Filled[b.ID],
			Product: process.Product.Name, Source: sourceOf(choice.Source)}
		for _, note := range process.Notes {
			j.Notes = append(j.Notes, Caution{Text: note.Text, Source: sourceOf(note.Source)})
		}
		out.Jars = append(out.Jars, j)
	}
	if first == nil {
		return out, fmt.Errorf("a load of %s holds no jars", u.name)
	}
	process := first.process.by[first.methodFor(u)]
	out.Size = first.batch.JarSize.Trade()
	out.Process = ProcessBasis{Method: process.Request.Method, Minutes: first.process.choice.Minutes, Pressure: int(first.process.choice.Pressure),
		Pack: string(first.recipe.Pack), Band: canning.BandText(process.Band)}
	out.ComeUp = p.comeUps[u.id][l.Process].ComeUpBasis
	p.addPhases(&out, l, process, first.process.choice)
	return out, nil
}

func (p *Problem) minutesOf(process string) int {
	for _, q := range p.spec.Processes {
		if q.ID == process {
			return q.Minutes
		}
	}
	return 0
}

// addPhases lays the phases of a load end to end from the first jar in.
func (p *Problem) addPhases(out *LoadPlan, l class.LoadSpec, process canning.Process, choice canning.Choice) {
	at := l.Start
	add := func(name, part string, minutes int, source Source) {
		if minutes > 0 {
			out.Phases = append(out.Phases, PhaseSpan{Name: name, Part: part, From: at, Until: at + minutes, Source: source})
		}
		at += minutes
	}
	add("load", "load", p.spec.Handling, Source{})
	for _, phase := range canning.Phases(process, choice) {
		minutes := int(phase.Minutes)
		switch phase.Part {
		case canning.ComeUpPart:
			if phase.Key == "" {
				minutes = p.boilMinutes(l) + p.delay[l.Process]
				add(phase.Name, string(phase.Part), minutes, Source{})
				out.Boil, out.Clock = at, at
				continue
			}
		case canning.ProcessPart:
			out.Clock = at
			add(phase.Name, string(phase.Part), minutes, sourceOf(phase.Source))
			out.Off = at
			continue
		}
		add(phase.Name, string(phase.Part), minutes, sourceOf(phase.Source))
	}
	out.Unload = l.End - p.spec.Handling
	add("unload", "load", p.spec.Handling, Source{})
}

// boilMinutes is the come-up of a load by its canner's line in the instance.
func (p *Problem) boilMinutes(l class.LoadSpec) int {
	n := 0
	for _, jars := range l.Jars {
		n += jars
	}
	for _, c := range p.spec.Canners {
		if c.ID == l.Canner {
			return boil(c, n)
		}
	}
	return 0
}

// boil is ceil(base + perJar*n) of the exact decimals.
func boil(c class.Canner, n int) int {
	base, errBase := c.ComeUpBase.Rat()
	perJar, errPerJar := c.ComeUpPerJar.Rat()
	if errBase != nil || errPerJar != nil {
		return 0 // the instance was checked when it was built
	}
	return ceil(new(big.Rat).Add(base, new(big.Rat).Mul(perJar, new(big.Rat).SetInt64(int64(n)))))
}

// titled puts recipes' titles and stations in the place of batch ids.
func (p *Problem) titled(uses []Use) []Use {
	for i, u := range uses {
		if what, other := p.others[u.What]; other {
			uses[i].What, uses[i].Other = what, true
		}
		for _, b := range p.in.Batches {
			if b.ID == u.What {
				uses[i].What = b.Station + ": " + p.in.Recipes[b.Revision].Title
			}
		}
	}
	return uses
}

func (p *Problem) handlerUses(r result) []Use {
	var uses []Use
	for _, l := range r.answer.Loads {
		name := l.Canner
		if u := p.unit(l.Canner); u != nil {
			name = u.name
		}
		if p.spec.Handling > 0 {
			uses = append(uses, Use{From: l.Start, Until: l.Start + p.spec.Handling, What: "load " + name},
				Use{From: l.End - p.spec.Handling, Until: l.End, What: "unload " + name})
		}
	}
	return uses
}

// rows gives each use the first row that is free, which needs no more rows than the
// most uses there are at once.
func rows(uses []Use, least int) []Row {
	var all []Row
	for range least {
		all = append(all, Row{})
	}
	slices.SortStableFunc(uses, func(a, b Use) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.Until, b.Until)) })
	for _, u := range uses {
		at := slices.IndexFunc(all, func(r Row) bool { return len(r.Uses) == 0 || r.Uses[len(r.Uses)-1].Until <= u.From })
		if at < 0 {
			at = len(all)
			all = append(all, Row{})
		}
		all[at].Uses = append(all[at].Uses, u)
	}
	return all
}

// unplaced is every jar that goes into no load: first those that may not, then
// those for which there was no room.
func (p *Problem) unplaced(r result) []Unplaced {
	all := slices.Clone(p.left)
	slices.SortStableFunc(all, func(a, b Unplaced) int { return strings.Compare(a.Batch, b.Batch) })
	placed := map[string]int{}
	for _, l := range r.answer.Loads {
		for id, n := range l.Jars {
			placed[id] += n
		}
	}
	for _, b := range p.sorted() {
		pl := p.batches[b.ID]
		if pl == nil || placed[b.ID] >= b.Jars {
			continue
		}
		all = append(all, Unplaced{Batch: b.ID, Station: b.Station, Title: pl.recipe.Title, Jars: b.Jars - placed[b.ID], JarSize: b.JarSize, NoRoom: true,
			Reason: p.noRoom(pl)})
	}
	return all
}

// noRoom says why jars with a published process are in no load.
func (p *Problem) noRoom(pl *planned) string {
	shortest := math.MaxInt
	for _, c := range p.spec.Canners {
		if _, heats := p.comeUps[c.ID][pl.family]; heats {
			l := class.LoadSpec{Canner: c.ID, Process: pl.family, Jars: map[string]int{pl.batch.ID: 1}}
			shortest = min(shortest, p.length(l))
		}
	}
	ready := 0
	for _, b := range p.spec.Batches {
		if b.ID == pl.batch.ID {
			ready = b.ReadyEarliest
		}
	}
	if ready+shortest > p.spec.Close {
		return fmt.Sprintf("lidded at %d min at the earliest and at least %d min in a canner, they would not be out before the class closes at %d min", ready, shortest, p.spec.Close)
	}
	return "no canner, burner or hand is free for them in time before the class closes"
}

func (p *Problem) outcome(r result, seed uint64, plan *Plan) Outcome {
	v := r.answer.Objective
	o := Outcome{
		Unprocessed: v.Unprocessed - p.lost(), Finish: v.Finish, Loads: v.Loads, Hold: v.Hold, Moved: v.Moved,
		BoundUnprocessed: max(0, r.bound.Unprocessed-p.lost()), BoundFinish: r.bound.Finish, Optimal: r.optimal(), Work: r.work, Seed: seed, Elapsed: r.took,
	}
	for _, c := range plan.Canners {
		for _, l := range c.Loads {
			o.Jars += l.Count()
			o.FuelMinutes += l.Off - l.In
		}
		if u := p.unit(c.ID); u != nil && len(c.Loads) > 0 {
			o.WaterLitres += p.water(*u, c.Loads[0].Process.Method)
		}
	}
	for _, u := range p.burnerUses(r.spec, class.Answer{Filled: r.answer.Filled}) {
		if _, other := p.others[u.What]; !other {
			o.FuelMinutes += u.Until - u.From
		}
	}
	o.WaterLitres = math.Round(o.WaterLitres*10) / 10
	return o
}

// water is what a canner is filled with before its first load: half full for
// boiling water, three inches for steam and pressure, as published.
func (p *Problem) water(u unit, m canning.Method) float64 {
	if m == canning.BoilingWater {
		return u.physical.Vessel.Litres * reference.MustFigure("bw_initial_fill_fraction")
	}
	radius := u.physical.Vessel.DiameterMetres / 2
	const metresPerInch, litresPerCubicMetre = 0.0254, 1000
	return math.Pi * radius * radius * reference.MustFigure("pc_water_max") * metresPerInch * litresPerCubicMetre
}

// cautions are those that belong to the plan's processes, each once, the general
// one first.
func (p *Problem) cautions(r result) []Caution {
	all := []Caution{{Text: canning.AuthorityFirst, Source: Source{Publication: canning.CommonPractice}}}
	add := func(c Caution) {
		if !slices.Contains(all, c) {
			all = append(all, c)
		}
	}
	for _, l := range r.answer.Loads {
		u := p.unit(l.Canner)
		for _, b := range p.sorted() {
			if pl := p.batches[b.ID]; pl != nil && l.Jars[b.ID] > 0 && u != nil {
				for _, s := range canning.Cautions(pl.process.by[pl.methodFor(*u)]) {
					add(Caution{Text: s.Text, Source: sourceOf(s.Source)})
				}
			}
		}
	}
	return all
}

func sourceOf(s reference.Source) Source {
	return Source{Publication: s.Publication, Locator: s.Locator}
}

func readJSON(data json.RawMessage, into any) error { return json.Unmarshal(data, into) }
