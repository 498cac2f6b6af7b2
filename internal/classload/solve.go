package classload

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"stillroom/internal/fault"
	"stillroom/internal/loadplan/class"
	"stillroom/internal/loadplan/class/check"
)

// Options say how long to search.
type Options struct {
	// Time and Work limit the search; at least one is set. With Work alone the plan is
	// the same on every machine.
	Time time.Duration
	Work int64
	Seed uint64
	// Gains asks what a little more of something would do.
	Gains bool
	// Progress, if not nil, is told every improvement.
	Progress func(Progress)
}

// Progress is how far a search has come.
type Progress struct {
	Elapsed time.Duration
	Work    int64
	// Unprocessed and Finish are those of the best plan, the bounds what is proven.
	Unprocessed, Finish           int
	BoundUnprocessed, BoundFinish int
	// Loads of the best plan.
	Loads int
}

// result is a solved instance with the bounds that hold for the class.
type result struct {
	spec   class.Spec
	answer class.Answer
	bound  class.Bound
	work   int64
	took   time.Duration
	// note says what the plan supposes beyond the class; empty when nothing.
	note string
}

// optimal says that the plan has met the bounds.
func (r result) optimal() bool {
	v := r.answer.Objective
	return v.Unprocessed == r.bound.Unprocessed && v.Finish <= r.bound.Finish
}

// Solve plans the class. The plan has passed the independent checker.
func (p *Problem) Solve(ctx context.Context, o Options) (*Plan, error) {
	r, err := p.search(ctx, p.spec, o, o.Progress)
	if err != nil {
		return nil, err
	}
	plan, err := p.plan(r, o.Seed)
	if err != nil {
		return nil, err
	}
	if o.Gains {
		plan.Gains = p.gains(ctx, r, o)
	}
	return plan, nil
}

// mostRepairs bounds how often the burners are tightened.
const mostRepairs = 8

// search solves an instance. The instance counts one burner for every batch and
// every load, while a canner may heat by itself and a batch may need no heat. It is
// solved with as many burners as would suffice were all of those at it, which is a
// relaxation, so its bounds hold; where the real burners are overdrawn, it is
// solved again with fewer.
func (p *Problem) search(ctx context.Context, spec class.Spec, o Options, tell func(Progress)) (result, error) {
	start := time.Now()
	spec = spec.Clone()
	real := spec.Burners
	spec.Burners += p.ownHeats(spec)
	var r result
	for repair := 0; ; repair++ {
		in, err := class.Build(spec)
		if err != nil {
			return result{}, invalid(err)
		}
		solved := class.Solve(ctx, in, class.Options{Time: o.Time, Work: o.Work, Seed: o.Seed, Progress: func(g class.Progress) {
			if tell == nil || repair > 0 {
				return
			}
			tell(Progress{Elapsed: g.Elapsed, Work: g.Work, Unprocessed: g.Answer.Objective.Unprocessed - p.lost(), Finish: g.Answer.Objective.Finish,
				BoundUnprocessed: max(0, g.Answer.Bound.Unprocessed-p.lost()), BoundFinish: g.Answer.Bound.Finish, Loads: g.Answer.Objective.Loads})
		}})
		r.work += solved.Work
		r.spec, r.answer = spec, solved.Answer
		if repair == 0 {
			r.bound = solved.Bound
		}
		if breaches := check.Answer(spec, solved.Answer); len(breaches) > 0 {
			return result{}, fmt.Errorf("the checker refuses a plan of class %s: %v", p.in.Class.ID, breaches)
		}
		over := p.overdrawn(spec, solved.Answer, real)
		if over == 0 {
			break
		}
		if repair == mostRepairs || spec.Burners-over < 1 {
			return result{}, fault.New(fault.Precondition, "the class's %d burners do not suffice for the pots of its recipes; add burners, or take batches out", real)
		}
		spec.Burners -= over
	}
	if supposed := real + p.ownHeats(spec); spec.Burners < supposed {
		r.note = fmt.Sprintf("To keep to the room's %d burners, those of canners with their own heat were planned as if they counted in part; a better plan may exist.", real)
	}
	r.took = time.Since(start)
	return r, nil
}

// ownHeats is how many canners of the instance take none of the room's burners,
// and stations whose batches need none.
func (p *Problem) ownHeats(spec class.Spec) int {
	n := 0
	for _, c := range spec.Canners {
		if u := p.unit(c.ID); u != nil && u.ownHeat {
			n++
		}
	}
	var cold []string
	for _, b := range spec.Batches {
		if !p.holdsBurner(b.ID) && !slices.Contains(cold, b.Station) {
			cold = append(cold, b.Station)
		}
	}
	return n + len(cold)
}

func (p *Problem) unit(id string) *unit {
	id, _, _ = strings.Cut(id, extra)
	for i := range p.canners {
		if p.canners[i].id == id {
			return &p.canners[i]
		}
	}
	return nil
}

// overdrawn is by how many burners a plan needs more than there are at its worst minute.
func (p *Problem) overdrawn(spec class.Spec, a class.Answer, real int) int {
	uses := p.burnerUses(spec, a)
	worst := 0
	for _, u := range uses {
		need := 0
		for _, v := range uses {
			if v.From <= u.From && u.From < v.Until {
				need++
			}
		}
		worst = max(worst, need-real)
	}
	return worst
}

// burnerUses is one entry for each burner held by a stage or a load. What has
// happened already is not held against the plan.
func (p *Problem) burnerUses(spec class.Spec, a class.Answer) []Use {
	var uses []Use
	for _, b := range spec.Batches {
		if at := a.Filled[b.ID]; b.Stage > 0 && p.holdsBurner(b.ID) {
			uses = append(uses, Use{From: at - b.Stage, Until: at, What: b.ID})
		}
	}
	for _, l := range a.Loads {
		if u := p.unit(l.Canner); u != nil && !u.ownHeat {
			uses = append(uses, Use{From: l.Start, Until: l.End, What: u.name})
		}
	}
	slices.SortStableFunc(uses, func(a, b Use) int { return a.From - b.From })
	return uses
}

// lost is the jars that can go into no load whatever the plan.
func (p *Problem) lost() int {
	n := len(p.others)
	for _, l := range p.left {
		n += l.Jars
	}
	return n
}
