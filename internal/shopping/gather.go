package shopping

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/fault"
)

// gathering collects what the batches in scope ask for, thing by thing.
type gathering struct {
	request  Request
	supplies Supplies
	classes  []Class
	list     *List
	slots    []slot
	slotOf   map[string]int
	formulas map[*Formula][]asked
	// supplyConv are the conversions of supplies by item.
	supplyConv map[string]asked
	chosen     map[string]Choice // by item
}

// slot is one thing to buy.
type slot struct {
	item, name    string
	goods         goods
	key           string
	contributions []Contribution
	// expected is how many contributions of ingredients there will be.
	expected int
}

// asked is a conversion and where its amount goes.
type asked struct {
	conversion int
	quarters   int64 // jar size of a per-jar amount, in quarters of a half-pint; zero for amounts per batch
	targets    []target
}

// target is a slot with its share, parts from..from+part of of.
type target struct {
	slot           int
	from, part, of int64
}

// gather resolves the scope and walks classes, stations, batches and lines in a fixed order.
func gather(r Request) (*gathering, error) {
	g := &gathering{
		request: r, supplies: UsualSupplies, slotOf: map[string]int{}, formulas: map[*Formula][]asked{},
		supplyConv: map[string]asked{}, chosen: map[string]Choice{}, list: &List{Scope: r.Scope},
	}
	if r.Supplies != nil {
		g.supplies = *r.Supplies
	}
	for _, choice := range r.Choices {
		for _, m := range groupByKey[choice.Group].Members {
			g.chosen[m] = choice
		}
	}
	classes, notes, err := inScope(r)
	if err != nil {
		return nil, err
	}
	g.classes, g.list.Notes = classes, notes
	if err := g.count(); err != nil {
		return nil, err
	}
	for i, class := range classes {
		share := ClassShare{ID: class.ID, Title: class.Title, Day: class.Day}
		for _, s := range class.Stations {
			share.Participants += int64(len(s.Participants))
			for _, b := range s.Batches {
				share.Jars += b.Jars
				g.batch(i, class, s, b)
			}
			if len(s.Batches) > 0 {
				g.supply(Contribution{Class: class.ID, Station: s.ID, Times: 1, class: i}, ItemTowel, g.supplies.TowelsPerStation, "a station")
			}
		}
		g.list.Classes = append(g.list.Classes, share)
	}
	return g, nil
}

// count converts every formula in scope, once each, and makes room for the contributions.
func (g *gathering) count() error {
	batches := 0
	for _, class := range g.classes {
		for _, s := range class.Stations {
			batches += len(s.Batches)
			for _, b := range s.Batches {
				lines, ok := g.formulas[b.Formula]
				if !ok {
					var err error
					if lines, err = g.formula(b.Formula); err != nil {
						return err
					}
					g.formulas[b.Formula] = lines
				}
				for _, a := range lines {
					for _, t := range a.targets {
						g.slots[t.slot].expected++
					}
				}
			}
		}
	}
	for i := range g.slots {
		g.slots[i].contributions = make([]Contribution, 0, g.slots[i].expected)
	}
	return nil
}

func (g *gathering) batch(classIndex int, class Class, s Station, b Batch) {
	at := Contribution{Class: class.ID, Station: s.ID, Batch: b.ID, Times: b.Count, class: classIndex}
	for _, a := range g.formulas[b.Formula] {
		c := at
		if a.quarters > 0 {
			// An amount for a half-pint jar is doubled for a pint: the sources print both so.
			c.Times, c.quarters, c.perQuarters = b.Jars, jarQuarters(b.JarSize), a.quarters
		}
		g.add(a, c)
	}
	if b.Jars > 0 {
		at.Times = b.Jars
		g.supply(at, JarItem(b.JarSize), 1, "a jar")
		g.supply(at, ItemLid, 1, "a jar")
		g.supply(at, ItemBand, 1, "a jar")
		g.supply(at, ItemLabel, g.supplies.Labels, "a jar")
	}
}

// formula converts the lines of a formula once, for all its batches.
func (g *gathering) formula(f *Formula) ([]asked, error) {
	all := make([]asked, 0, len(f.Lines))
	for i, line := range f.Lines {
		if line.Optional && g.request.LeaveOutOptional {
			continue
		}
		c, err := Convert(line)
		if err != nil {
			var all fault.Collector
			all.AddErr(fmt.Sprintf("recipe %s, line %d, ", orElse(f.Title, f.Recipe), i+1), err)
			return nil, all.Err()
		}
		if c.Own == 0 {
			continue
		}
		c.Recipe = orElse(f.Title, f.Recipe)
		all = append(all, g.ask(c))
	}
	return all, nil
}

// ask records a conversion and finds where its amount goes.
func (g *gathering) ask(c Conversion) asked {
	a := asked{conversion: len(g.list.Conversions), quarters: jarQuarters(c.PerJar)}
	g.list.Conversions = append(g.list.Conversions, c)
	choice, ok := g.chosen[c.Item]
	if !ok {
		a.targets = []target{{g.slot(c.Item, c.Name, c.key, c.goods), 0, 1, 1}}
		return a
	}
	var of int64
	for _, p := range choice.Parts {
		of += p.Parts
	}
	var from int64
	for _, p := range choice.Parts {
		name := strings.ReplaceAll(p.Item, "_", " ")
		a.targets = append(a.targets, target{g.slot(p.Item, name, orElse(keyOfItem(p.Item), c.key), c.goods), from, p.Parts, of})
		from += p.Parts
	}
	return a
}

// keyOfItem is the item itself where figures are published under its name.
func keyOfItem(item string) string {
	if figuresOf(item) != noFigures {
		return item
	}
	return ""
}

func (g *gathering) slot(item, name, key string, goods goods) int {
	i, ok := g.slotOf[item]
	if !ok {
		i = len(g.slots)
		g.slotOf[item] = i
		g.slots = append(g.slots, slot{item: item, name: name, goods: goods, key: key})
	}
	s := &g.slots[i]
	// Recipes print one thing under several names; the first in the alphabet among the shortest names the line.
	if len(name) < len(s.name) || len(name) == len(s.name) && name < s.name {
		s.name = name
	}
	if s.key == "" {
		s.key = key
	}
	return i
}

func (g *gathering) supply(c Contribution, item string, pieces int64, per string) {
	if pieces <= 0 {
		return
	}
	a, ok := g.supplyConv[item]
	if !ok {
		a = g.ask(supplyConversion(item, fmt.Sprintf("%d for %s", pieces, per), pieces))
		g.supplyConv[item] = a
	}
	g.add(a, c)
}

func (g *gathering) add(a asked, c Contribution) {
	c.Conversion = a.conversion
	for _, t := range a.targets {
		c.Part, c.Of, c.from = t.part, t.of, t.from
		s := &g.slots[t.slot]
		s.contributions = append(s.contributions, c)
	}
}

// inScope is the classes a list is for, cut down to the station or participant asked for, in a fixed order.
func inScope(r Request) ([]Class, []string, error) {
	scope := r.Scope
	single := scope.Station != "" || scope.Participant != ""
	var picked []Class
	for _, id := range scope.Classes {
		if !slices.ContainsFunc(r.Classes, func(c Class) bool { return c.ID == id }) {
			return nil, nil, fault.Missing("class", id)
		}
	}
	for _, class := range r.Classes {
		switch {
		case len(scope.Classes) > 0 && !slices.Contains(scope.Classes, class.ID):
		case scope.From != "" && class.Day < scope.From, scope.To != "" && class.Day > scope.To:
		default:
			picked = append(picked, class)
		}
	}
	if len(picked) == 0 {
		return nil, nil, fault.New(fault.Precondition, "there is no class %s; schedule one, or choose other days", scope.days())
	}
	if single && len(picked) != 1 {
		return nil, nil, fault.Field("scope.classes", "", "names no single class", "a list for one station or participant is for one class: name it")
	}
	var notes []string
	kept := picked[:0:0]
	for _, class := range picked {
		class, err := narrow(class, scope)
		if err != nil {
			return nil, nil, err
		}
		if !slices.ContainsFunc(class.Stations, func(s Station) bool { return len(s.Batches) > 0 }) {
			why := fmt.Sprintf("class %s (%s) has no batches", orElse(class.Title, class.ID), class.Day)
			if len(picked) == 1 || len(scope.Classes) > 0 {
				return nil, nil, fault.New(fault.Precondition, "%s; propose or enter its batches first", why)
			}
			notes = append(notes, why+" yet and is not on this list")
			continue
		}
		kept = append(kept, class)
	}
	if len(kept) == 0 {
		return nil, nil, fault.New(fault.Precondition, "none of the %d classes %s has batches; propose or enter them first", len(picked), scope.days())
	}
	slices.SortFunc(kept, func(a, b Class) int {
		return cmp.Or(strings.Compare(string(a.Day), string(b.Day)), strings.Compare(a.ID, b.ID))
	})
	slices.Sort(notes)
	return kept, notes, nil
}

// narrow is a class with its stations, batches and participants in order, cut down to the scope. It copies what it
// reorders.
func narrow(class Class, scope Scope) (Class, error) {
	class.Stations = slices.Clone(class.Stations)
	slices.SortFunc(class.Stations, func(a, b Station) int { return strings.Compare(a.ID, b.ID) })
	for i := range class.Stations {
		s := &class.Stations[i]
		s.Batches = slices.Clone(s.Batches)
		slices.SortFunc(s.Batches, func(a, b Batch) int { return strings.Compare(a.ID, b.ID) })
		s.Participants = slices.Clone(s.Participants)
		slices.SortFunc(s.Participants, func(a, b Participant) int { return strings.Compare(a.ID, b.ID) })
	}
	if scope.Station != "" {
		i := slices.IndexFunc(class.Stations, func(s Station) bool { return s.ID == scope.Station })
		if i < 0 {
			return class, fault.Missing("station of class "+class.ID, scope.Station)
		}
		class.Stations = class.Stations[i : i+1]
	}
	if scope.Participant == "" {
		return class, nil
	}
	for _, s := range class.Stations {
		i := slices.IndexFunc(s.Participants, func(p Participant) bool { return p.ID == scope.Participant })
		if i < 0 {
			continue
		}
		home := Station{ID: s.ID, Name: s.Name, Participants: s.Participants[i : i+1]}
		for _, b := range s.Batches {
			if slices.ContainsFunc(home.Batches, func(h Batch) bool { return h.Formula == b.Formula && h.JarSize == b.JarSize }) {
				continue
			}
			b.Jars = ceilDiv(b.Jars, b.Count)
			b.Count = 1
			home.Batches = append(home.Batches, b)
		}
		class.Stations = []Station{home}
		return class, nil
	}
	return class, fault.Missing("participant of class "+class.ID, scope.Participant)
}

// days describes the scope's days for a message.
func (s Scope) days() string {
	switch {
	case s.From != "" && s.To != "":
		return fmt.Sprintf("from %s to %s", s.From, s.To)
	case s.From != "":
		return "from " + string(s.From)
	case s.To != "":
		return "up to " + string(s.To)
	}
	return "to shop for"
}
