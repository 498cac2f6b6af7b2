package classload

import (
	"fmt"
	"maps"
	"slices"

	"stillroom/internal/fault"
	"stillroom/internal/loadplan/class"
)

// addPast adds what has happened, and the earlier plan to stay close to.
func (p *Problem) addPast() error {
	if p.in.Previous != nil {
		if err := p.addPrevious(); err != nil {
			return err
		}
	}
	h := p.in.Happened
	if h == nil {
		return nil
	}
	var c fault.Collector
	done := &class.Done{Now: max(0, p.in.minute(h.Now)), Filled: map[string]int{}}
	for _, id := range slices.Sorted(maps.Keys(h.Filled)) {
		if !slices.ContainsFunc(p.spec.Batches, func(b class.Batch) bool { return b.ID == id }) {
			c.Add("happened.filled", id, "is not a batch of the class", "name one of its batches")
			continue
		}
		done.Filled[id] = p.in.minute(h.Filled[id])
	}
	for i, l := range h.Loads {
		at := fmt.Sprintf("happened.loads[%d].", i)
		if p.unit(l.Unit) == nil || !slices.ContainsFunc(p.spec.Canners, func(c class.Canner) bool { return c.ID == l.Unit }) {
			c.Add(at+"canner", l.Unit, "is not a canner of the plan", `name it as the plan does, such as "big-canner#1"`)
			continue
		}
		load := class.LoadSpec{Canner: l.Unit, Start: p.in.minute(l.Start), Jars: l.Jars}
		for _, id := range slices.Sorted(maps.Keys(l.Jars)) {
			pl := p.batches[id]
			if pl == nil {
				c.Add(at+"jars", id, "is not a batch with a published process", "name batches that may be loaded")
				continue
			}
			load.Process, load.Size = pl.family, string(pl.batch.JarSize.Trade())
		}
		if l.End.IsZero() {
			load.End = load.Start + p.length(load)
		} else {
			load.End = p.in.minute(l.End)
		}
		done.Loads = append(done.Loads, load)
	}
	for _, id := range h.Gone {
		if p.unit(id) == nil {
			c.Add("happened.gone", id, "is not a canner of the class", `name it as the plan does, such as "big-canner#1"`)
		}
	}
	p.spec.Done = done
	return c.Err()
}

// length is the minutes of a load by the instance's own reckoning.
func (p *Problem) length(l class.LoadSpec) int {
	n := 0
	for _, jars := range l.Jars {
		n += jars
	}
	total := 2*p.spec.Handling + p.spec.Rest
	for _, c := range p.spec.Canners {
		if c.ID == l.Canner {
			total += boil(c, n)
		}
	}
	for _, q := range p.spec.Processes {
		if q.ID == l.Process {
			total += q.Vent + q.Minutes + q.Depressurise
		}
	}
	return total
}

// addPrevious keeps what the earlier plan says of batches and canners that are still there.
func (p *Problem) addPrevious() error {
	var before class.Answer
	if err := readJSON(p.in.Previous.Answer, &before); err != nil {
		return fmt.Errorf("reading the plan to stay close to: %w", err)
	}
	keep := &class.Keep{Filled: map[string]int{}}
	for _, b := range p.spec.Batches {
		if at, ok := before.Filled[b.ID]; ok {
			keep.Filled[b.ID] = at
		}
	}
	for _, l := range before.Loads {
		known := slices.ContainsFunc(p.spec.Canners, func(c class.Canner) bool { return c.ID == l.Canner })
		for id := range l.Jars {
			pl := p.batches[id]
			known = known && pl != nil && pl.family == l.Process
		}
		if known {
			keep.Loads = append(keep.Loads, l)
		}
	}
	p.spec.Keep = keep
	return nil
}

// addOthers adds the burners that plans of other classes hold, as stages that have
// happened: those are neither judged nor moved, and take their burner as stated.
// Each stands for one jar that nothing can load (see lost).
func (p *Problem) addOthers() {
	for _, other := range p.in.Around {
		shift := p.in.minute(other.Opens)
		for i, row := range other.BurnerUse {
			for j, u := range row.Uses {
				from, until := u.From+shift, u.Until+shift
				if u.Other || until <= 0 || from >= p.spec.Close {
					continue
				}
				id := fmt.Sprintf("%s burner %d use %d", other.Class, i+1, j+1)
				p.others[id] = other.Class + ", " + u.What
				p.addNoProcess()
				p.spec.Batches = append(p.spec.Batches, class.Batch{ID: id, Station: id, Process: noProcess, Size: noProcess, Jars: 1, Stage: until - from, Split: true})
				if p.spec.Done == nil {
					p.spec.Done = &class.Done{Filled: map[string]int{}}
				}
				p.spec.Done.Filled[id] = until
			}
		}
	}
}
