package classload

import (
	"context"
	"fmt"
	"slices"
	"time"

	"stillroom/internal/canning"
	"stillroom/internal/loadplan/class"
	"stillroom/internal/measure"
)

// extra marks a canner that a question of the "what if" kind adds.
const extra = "+more"

// longerBy is the minutes that a longer class is asked about.
const longerBy = 15

// A question is given this part of the work of the plan, and no less than the least.
const (
	gainShare     = 3
	leastGainWork = 2000
)

// whatIf is a change to an instance and its name.
type whatIf struct {
	change string
	apply  func(*class.Spec)
}

// gains plans again with a little more of each thing, within the limits given.
func (p *Problem) gains(ctx context.Context, base result, o Options) []Gain {
	questions := p.whatIfs()
	// Together they may take about as long as the plan itself took at most.
	if o.Time > 0 {
		o.Time = max(o.Time/time.Duration(len(questions)), 50*time.Millisecond)
	}
	if o.Work > 0 {
		o.Work = max(o.Work/gainShare, leastGainWork)
	}
	var all []Gain
	for _, q := range questions {
		if ctx.Err() != nil {
			break
		}
		spec := p.spec.With(q.apply)
		r, err := p.search(ctx, spec, o, nil)
		if err != nil {
			continue // with the change the burners do not suffice; nothing is gained
		}
		before, after := base.answer.Objective, r.answer.Objective
		// The plan without the change is a plan with it, unless the search was cut short.
		if after.Unprocessed > before.Unprocessed || after.Unprocessed == before.Unprocessed && after.Finish > before.Finish {
			after = before
		}
		proven := after.Unprocessed == r.bound.Unprocessed && after.Finish <= r.bound.Finish
		all = append(all, Gain{Change: q.change, Unprocessed: after.Unprocessed - p.lost(), Finish: after.Finish,
			Proven: proven, Words: words(before, after, proven)})
	}
	return append(all, p.jarSizeGains(ctx, base, o)...)
}

// askedSizes are the sizes that a class might fill instead.
var askedSizes = []canning.JarSize{canning.HalfPint, canning.Pint, canning.Quart}

// jarSizeGains asks for every size in use what another size would do: the same food
// in as many jars as hold it. Its processes are looked up afresh.
func (p *Problem) jarSizeGains(ctx context.Context, base result, o Options) []Gain {
	if p.in.Happened != nil || p.in.Previous != nil {
		return nil // jars that are filled stay as they are
	}
	var inUse []canning.JarSize
	for _, b := range p.sorted() {
		if !slices.Contains(inUse, b.JarSize) {
			inUse = append(inUse, b.JarSize)
		}
	}
	before := p.foodLeft(base)
	var all []Gain
	for _, from := range inUse {
		for _, to := range askedSizes {
			if to == from.Trade() || ctx.Err() != nil {
				continue
			}
			changed, err := Build(p.in.withSize(from, to))
			if err != nil || !changed.loadsAny(to) {
				continue
			}
			r, err := changed.search(ctx, changed.spec, o, nil)
			if err != nil {
				continue
			}
			after := changed.foodLeft(r)
			g := Gain{Change: fmt.Sprintf("%s jars instead of %s", to.Name(), from.Name()), Unprocessed: r.answer.Objective.Unprocessed - changed.lost(),
				Finish: r.answer.Objective.Finish, Proven: r.optimal()}
			sooner := base.answer.Objective.Finish - r.answer.Objective.Finish
			switch {
			case after < before:
				g.Words = fmt.Sprintf("%.1f l more food processed", (before-after)/millilitresPerLitre)
			case after == before && sooner > 0:
				g.Words = fmt.Sprintf("done %d min sooner", sooner)
			default:
				continue // another size is named only where it helps
			}
			all = append(all, g)
		}
	}
	return all
}

const millilitresPerLitre = 1000

// withSize is the input with all jars of a size replaced by as many of another as hold the food.
func (in Input) withSize(from, to canning.JarSize) Input {
	in.Batches = slices.Clone(in.Batches)
	for i, b := range in.Batches {
		if b.JarSize == from {
			jars := measure.Int(int64(b.Jars)).Mul(from.Volume().Number()).Div(to.Volume().Number())
			n, _ := jars.Ceil().Int64()
			in.Batches[i].JarSize, in.Batches[i].Jars = to, int(n)
		}
	}
	return in
}

// loadsAny says that some batch of a size has a process.
func (p *Problem) loadsAny(size canning.JarSize) bool {
	for _, pl := range p.batches {
		if pl.batch.JarSize == size {
			return true
		}
	}
	return false
}

// foodLeft is the food that goes into no load, in millilitres of jar.
func (p *Problem) foodLeft(r result) float64 {
	left := 0.0
	for _, u := range p.unplaced(r) {
		left += float64(u.Jars) * u.JarSize.Volume().Float64()
	}
	return left
}

func (p *Problem) whatIfs() []whatIf {
	list := []whatIf{
		{"one more handler", func(s *class.Spec) { s.Handlers++ }},
		{"one more burner", func(s *class.Spec) { s.Burners++ }},
		{fmt.Sprintf("%d minutes more", longerBy), func(s *class.Spec) {
			for i := range s.Canners {
				for j := range s.Canners[i].Windows {
					if w := &s.Canners[i].Windows[j]; w.End == s.Close {
						w.End += longerBy
					}
				}
			}
			s.Close += longerBy
		}},
	}
	var kinds []string
	for _, u := range p.canners {
		at := slices.IndexFunc(p.spec.Canners, func(c class.Canner) bool { return c.ID == u.id })
		if at < 0 || slices.Contains(kinds, u.of.Equipment.ID) {
			continue
		}
		kinds = append(kinds, u.of.Equipment.ID)
		more := p.spec.Canners[at]
		list = append(list, whatIf{"one more canner like " + u.of.Equipment.DisplayName, func(s *class.Spec) {
			more.ID += extra
			more.Windows = nil
			s.Canners = append(s.Canners, more)
			if !u.ownHeat {
				s.Burners++ // it comes with a burner to stand on
			}
		}})
	}
	return list
}

// words says what a change gains.
func words(before, after class.Value, proven bool) string {
	jars, sooner := before.Unprocessed-after.Unprocessed, before.Finish-after.Finish
	switch {
	case jars > 0:
		return fmt.Sprintf("%d more jars processed", jars)
	case sooner > 0:
		return fmt.Sprintf("done %d min sooner", sooner)
	}
	if proven {
		return "nothing"
	}
	return "nothing that was found"
}
