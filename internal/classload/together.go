package classload

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/loadplan/class/check"
)

// MostTogether bounds how many classes are planned at once.
const MostTogether = 4

// Joint is how good the plans of several classes are together. Each figure is a sum over the classes.
type Joint struct {
	// Unprocessed jars that could be in a load but are not; the first thing to be small.
	Unprocessed int
	// Finish is the minutes from each class's opening to its last load's end; the second.
	Finish int
	// Loads are the third, jar-minutes of hot waiting (Hold) the fourth.
	Loads int
	Hold  int
	// No plans leave fewer jars than BoundUnprocessed, nor with as few have a smaller Finish than BoundFinish.
	BoundUnprocessed int
	BoundFinish      int
	Work             int64
	Seed             uint64
	Elapsed          time.Duration
}

// Optimal says that the first two figures have met their bounds.
func (j Joint) Optimal() bool {
	return j.Unprocessed == j.BoundUnprocessed && j.Finish <= j.BoundFinish
}

func (j Joint) compare(other Joint) int {
	return cmp.Or(cmp.Compare(j.Unprocessed, other.Unprocessed), cmp.Compare(j.Finish, other.Finish),
		cmp.Compare(j.Loads, other.Loads), cmp.Compare(j.Hold, other.Hold))
}

// member is one class's part in plans made together.
type member struct {
	problem *Problem
	result  result
	plan    *Plan
}

// together is a search for plans of several classes.
type together struct {
	inputs []Input
	o      Options
	start  time.Time
	// left is about how many searches are still to come; it shares out the time.
	left int
	work int64
	each int64
	// alone are what each class reaches in a room of its own. No plan beside others is better.
	alone []member
	best  []member
	value Joint
}

// Together plans classes that use the same canners and burners on one day, all at
// once: no canner is planned for twice, nor more burners than there are. The hands
// of each class are its own, and no load mixes the jars of two classes.
//
// Each class is planned alone first, which bounds what it can reach beside others
// (beside them it has less of everything). Then the classes are planned one around
// the other, in every order of who comes first, and from the best of those each
// class is planned again around the plans of the others until nobody gains: no
// class can be improved any more while the others stay. Whether that is the best of
// all is known where the sums meet the sums of the bounds.
func Together(ctx context.Context, inputs []Input, o Options) ([]*Plan, Joint, error) {
	if len(inputs) < 2 || len(inputs) > MostTogether {
		return nil, Joint{}, fault.Field("classes", fmt.Sprint(len(inputs)), "is not a number of classes that can be planned together", fmt.Sprintf("name 2 to %d classes", MostTogether))
	}
	orders := permutations(len(inputs))
	t := &together{inputs: inputs, o: o, start: time.Now()}
	t.left = len(inputs) * (len(orders) + 2)
	if o.Work > 0 {
		t.each = max(o.Work/int64(t.left), leastGainWork)
	}
	for i := range inputs {
		m, err := t.plan(ctx, i, nil)
		if err != nil {
			return nil, Joint{}, err
		}
		t.alone = append(t.alone, m)
	}
	var refused error
	for _, order := range orders {
		if t.best != nil && (ctx.Err() != nil || t.value.Optimal()) {
			break
		}
		if err := t.inOrder(ctx, order); err != nil {
			if refused == nil {
				refused = err
			}
		}
	}
	if t.best == nil {
		return nil, Joint{}, refused
	}
	t.giveAndTake(ctx)
	plans, err := t.plans(ctx)
	t.value.Work, t.value.Seed, t.value.Elapsed = t.work, o.Seed, time.Since(t.start)
	return plans, t.value, err
}

// plan plans a class around the plans of others; nil stands for a class that is not planned yet.
func (t *together) plan(ctx context.Context, i int, others []member) (member, error) {
	in := t.inputs[i]
	in.Around = nil
	for j := range t.inputs {
		switch {
		case j == i:
		case others == nil || others[j].plan == nil:
			// What the class has reserved is no matter: it is one of those planned here.
			in.Around = append(in.Around, Plan{Class: t.inputs[j].Class.ID, Opens: t.inputs[j].Class.Start})
		default:
			in.Around = append(in.Around, *others[j].plan)
		}
	}
	problem, err := Build(in)
	if err != nil {
		return member{}, fmt.Errorf("class %s: %w", in.Class.ID, err)
	}
	o := t.o
	o.Work = t.each
	if o.Time > 0 {
		o.Time = max((o.Time-time.Since(t.start))/time.Duration(max(t.left, 1)), 50*time.Millisecond)
	}
	t.left--
	r, err := problem.search(ctx, problem.spec, o, nil)
	if err != nil {
		return member{}, fmt.Errorf("class %s: %w", in.Class.ID, err)
	}
	t.work += r.work
	plan, err := problem.plan(r, o.Seed)
	return member{problem: problem, result: r, plan: plan}, err
}

// inOrder plans each class around those before it, and keeps the plans if they are the best so far.
func (t *together) inOrder(ctx context.Context, order []int) error {
	members := make([]member, len(t.inputs))
	for at, i := range order {
		if at == 0 {
			members[i] = t.alone[i]
			t.left--
			continue
		}
		m, err := t.plan(ctx, i, members)
		if err != nil {
			return err
		}
		members[i] = m
	}
	t.keep(members)
	return nil
}

// mostRounds bounds how often every class is planned again.
const mostRounds = 4

// giveAndTake plans each class again around the others until no class gains.
func (t *together) giveAndTake(ctx context.Context) {
	idle := 0
	for turn := 0; idle < len(t.inputs) && turn < mostRounds*len(t.inputs); turn++ {
		if ctx.Err() != nil || t.value.Optimal() || t.o.Time > 0 && time.Since(t.start) > t.o.Time {
			return
		}
		i := turn % len(t.inputs)
		t.left = max(t.left, len(t.inputs)-idle)
		m, err := t.plan(ctx, i, t.best)
		members := slices.Clone(t.best)
		members[i] = m
		if idle++; err == nil && t.keep(members) {
			idle = 1
		}
	}
}

// keep takes plans that are better than the best so far.
func (t *together) keep(members []member) bool {
	value := t.valueOf(members)
	if t.best != nil && value.compare(t.value) >= 0 {
		return false
	}
	t.best, t.value = members, value
	if t.o.Progress != nil {
		t.o.Progress(Progress{Elapsed: time.Since(t.start), Work: t.work, Unprocessed: value.Unprocessed, Finish: value.Finish,
			BoundUnprocessed: value.BoundUnprocessed, BoundFinish: value.BoundFinish, Loads: value.Loads})
	}
	return true
}

func (t *together) valueOf(members []member) Joint {
	var v Joint
	for i, m := range members {
		o, bound := m.plan.Outcome, t.alone[i].plan.Outcome
		v.Unprocessed += o.Unprocessed
		v.Finish += o.Finish
		v.Loads += o.Loads
		v.Hold += o.Hold
		v.BoundUnprocessed += bound.BoundUnprocessed
		v.BoundFinish += bound.BoundFinish
	}
	return v
}

// plans are the best found, each around the others as they have become.
func (t *together) plans(ctx context.Context) ([]*Plan, error) {
	// A plan made early knows the others as they were then: it is told again around what they are.
	final := make([]*Plan, len(t.best))
	for i := range t.best {
		in := t.inputs[i]
		in.Around = nil
		for j := range t.best {
			if j != i {
				in.Around = append(in.Around, *t.best[j].plan)
			}
		}
		problem, err := Build(in)
		if err != nil {
			return nil, err
		}
		r, err := problem.retell(t.best[i], t.alone[i])
		if err != nil {
			return nil, err
		}
		plan, err := problem.plan(r, t.o.Seed)
		if err != nil {
			return nil, err
		}
		if t.o.Gains {
			share := t.o
			share.Time /= time.Duration(len(t.best))
			share.Work = t.each
			plan.Gains = problem.gains(ctx, r, share)
		}
		final[i] = plan
	}
	if clashes := Clashes(t.inputs, final); len(clashes) > 0 {
		return nil, fmt.Errorf("plans made together clash: %v", clashes)
	}
	return final, nil
}

// retell is a solved class as an answer to this problem, which differs from the one
// that was solved only in what other classes take. What bounds the class alone
// bounds it beside any others.
func (p *Problem) retell(solved, alone member) (result, error) {
	r := solved.result
	r.spec = p.spec.Clone()
	r.spec.Burners += p.ownHeats(r.spec)
	r.answer.Filled = maps.Clone(r.answer.Filled)
	for id := range solved.problem.others {
		delete(r.answer.Filled, id)
	}
	for id := range p.others {
		r.answer.Filled[id] = r.spec.Done.Filled[id]
	}
	r.answer.Objective.Unprocessed += p.lost() - solved.problem.lost()
	r.bound = alone.result.bound
	r.bound.Unprocessed += p.lost() - alone.problem.lost()
	if r.answer.Objective.Unprocessed > r.bound.Unprocessed {
		r.bound.Finish = 0 // it bounds plans that leave as few jars as the class could alone
	}
	r.answer.Bound = r.bound
	r.answer.Optimal = r.optimal()
	if breaches := check.Answer(r.spec, r.answer); len(breaches) > 0 {
		return r, fmt.Errorf("the checker refuses the plan of class %s beside the others: %v", p.in.Class.ID, breaches)
	}
	if over := p.overdrawn(r.spec, r.answer, p.spec.Burners); over > 0 {
		return r, fmt.Errorf("the plan of class %s beside the others needs %d burners too many", p.in.Class.ID, over)
	}
	return r, nil
}

// Clashes are the canners that plans of several classes use twice at a time, and the
// minutes at which they use more burners than there are; none when the plans go together.
func Clashes(inputs []Input, plans []*Plan) []string {
	var clashes []string
	type span struct{ from, until time.Time }
	canners := map[string][]span{}
	var burners []span
	owned := 0
	for i, p := range plans {
		at := func(minute int) time.Time { return p.Opens.Add(time.Duration(minute) * time.Minute) }
		for _, c := range p.Canners {
			for _, l := range c.Loads {
				s := span{at(l.In), at(l.Out + c.Reset)}
				for _, other := range canners[c.ID] {
					if s.from.Before(other.until) && other.from.Before(s.until) {
						clashes = append(clashes, fmt.Sprintf("%s at minute %d of class %s", c.Name, l.In, p.Class))
					}
				}
				canners[c.ID] = append(canners[c.ID], s)
			}
		}
		for _, row := range p.BurnerUse {
			for _, u := range row.Uses {
				if !u.Other {
					burners = append(burners, span{at(u.From), at(u.Until)})
				}
			}
		}
		n := 0
		for _, u := range inputs[i].Units {
			if u.Equipment.Kind == kitchen.Burner {
				n++
			}
		}
		owned = max(owned, n)
	}
	for _, s := range burners {
		n := 0
		for _, other := range burners {
			if !s.from.Before(other.from) && s.from.Before(other.until) {
				n++
			}
		}
		if n > owned {
			clashes = append(clashes, fmt.Sprintf("%d burners at %s", n, s.from.Format(time.RFC3339)))
		}
	}
	return clashes
}

// permutations are the orders of n things, the first ones first.
func permutations(n int) [][]int {
	if n == 0 {
		return [][]int{{}}
	}
	var all [][]int
	for _, shorter := range permutations(n - 1) {
		for at := n - 1; at >= 0; at-- {
			all = append(all, slices.Insert(slices.Clone(shorter), at, n-1))
		}
	}
	return all
}
