package class

import (
	"math/rand/v2"
	"slices"

	"stillroom/internal/loadplan/nogood"
)

// reload improves the plan of a large class part by part: it empties a few canners, leaves everything else as
// it is, and asks the constraint model for a way to load more jars with them, or to be out sooner. It is a
// large-neighbourhood search in the sense of P. Shaw, "Using constraint programming and local search methods to solve
// vehicle routing problems", CP 1998.
type reload struct {
	in     *Instance
	random *rand.Rand
	known  *Plan // that the part at hand is of
	part   *part
	m      *model
	target int   // jars of the part that may stay out
	spent  int64 // effort on the part
	size   int   // canners of a part: more when parts are settled soon, fewer when they are not
	soon   int   // parts settled in a row
}

func newReload(in *Instance, seed uint64) *reload {
	return &reload{in: in, random: rand.New(rand.NewPCG(seed, 0x7e10ad)), size: 3}
}

const (
	// reloadEffort is the solver's effort on a part before another is tried.
	reloadEffort = 600_000
	// reloadPerUnit converts units of work, one step of repair each, to effort.
	reloadPerUnit = 400
	// reloadExtra is how many batches with jars left over are offered to each canner of a part.
	reloadExtra = 4
	// reloadRounds is how often prices are moved for a part.
	reloadRounds = 12
)

// Round implements anytime.Worker.
func (r *reload) Round(view *view, budget int64) bool {
	for view.Spent() < budget && view.Spend(1) {
		plan, best, ok := view.Best()
		if !ok || len(plan.Loads) == len(r.in.done) {
			return false
		}
		if plan != r.known || r.m == nil {
			bound, _ := view.Bound()
			if !r.begin(plan, best, bound) {
				view.Spend(10)
				continue
			}
			view.Spend(int64(len(r.part.batches)) * 2)
		}
		before := r.m.s.Effort()
		status := r.m.s.Solve([]nogood.Lit{nogood.AtMost(r.m.u, r.target)}, max(1, min((budget-view.Spent())*reloadPerUnit, reloadEffort-r.spent)))
		took := r.m.s.Effort() - before
		r.spent += took
		view.Spend(took / reloadPerUnit)
		switch {
		case status == nogood.Sat:
			found := r.part.whole(r.m)
			view.Offer(found, r.in.Evaluate(found))
			r.m = nil
		case status == nogood.Unsat:
			r.settled()
		case r.spent >= reloadEffort:
			r.m, r.soon, r.size = nil, 0, max(2, r.size-1)
		}
	}
	return false
}

// settled notes that the part at hand cannot be improved.
func (r *reload) settled() {
	r.m = nil
	if r.soon++; r.soon >= 4 {
		r.soon, r.size = 0, min(r.size+1, len(r.in.canners))
	}
}

// begin chooses a part of the plan and makes its model. It reports whether there is something to ask.
func (r *reload) begin(plan *Plan, best, bound Value) bool {
	r.known, r.m, r.spent = plan, nil, 0
	deadline := r.in.close
	var canners []int
	if best.Unprocessed <= bound.Unprocessed || r.random.IntN(4) == 0 { // to be out sooner
		deadline = best.Finish - 1
		for _, l := range plan.Loads {
			if l.End == best.Finish && !slices.Contains(canners, l.Canner) {
				canners = append(canners, l.Canner)
			}
		}
	}
	if len(canners) > r.size {
		return false
	}
	for _, c := range r.random.Perm(len(r.in.canners)) {
		if len(canners) < r.size && !slices.Contains(canners, c) {
			canners = append(canners, c)
		}
	}
	slices.Sort(canners)
	var extra []int
	out := plan.leftOver(r.in)
	for _, b := range r.random.Perm(len(r.in.batches)) {
		if out[b] > 0 && len(extra) < reloadExtra*r.size {
			extra = append(extra, b)
		}
	}
	r.part = r.in.newPart(plan, canners, extra)
	sub := r.part.in
	r.target = r.part.out
	if deadline == r.in.close {
		r.target--
	}
	if r.target < 0 || deadline <= 0 {
		return false
	}
	pr := newPrices(sub)
	if pr.improve(deadline, sub.totalJars-r.target, reloadRounds, false) < sub.totalJars-r.target {
		r.settled()
		return false
	}
	pr.coarsen()
	if r.m = newModel(sub, deadline, pr, false); r.m == nil {
		r.size--
		return false
	}
	r.m.suggest(r.part.plan)
	return true
}

// leftOver is, by batch, the jars that are in no load and could be.
func (p *Plan) leftOver(in *Instance) []int {
	out := make([]int, len(in.batches))
	for b := range out {
		out[b] = in.batches[b].left
	}
	for _, l := range p.Loads {
		if !l.Done {
			for _, x := range l.Shares {
				out[x.Batch] -= x.Jars
			}
		}
	}
	return out
}

// part is some canners of an instance with what they could load, as an instance of its own in which all other loads of
// a plan, and the stages these need, have taken their burners and hands.
type part struct {
	of      *Instance
	in      *Instance
	canners []int // of the whole
	batches []int // of the whole
	fixed   *Plan // what stays: its loads, and when batches for them are filled, open where that may change
	plan    *Plan // what the plan says of the part, in its indices
	out     int   // jars of the part that the plan leaves out
}

// newPart makes a part of given canners, what they hold in the plan, and the jars left over of further batches.
func (in *Instance) newPart(plan *Plan, canners, extra []int) *part {
	p := &part{of: in, canners: canners, fixed: &Plan{Filled: make([]int, len(in.batches))}, plan: &Plan{}}
	sub := &Instance{close: in.close, handlers: in.handlers, handling: in.handling, burners: in.burners, now: in.now, families: in.families,
		burnerUsed: slices.Clone(in.burnerUsed), handsUsed: slices.Clone(in.handsUsed)}
	p.in = sub
	for _, c := range canners {
		k := in.canners[c]
		k.like = slices.IndexFunc(canners, func(d int) bool { return in.canners[d].like == k.like })
		sub.canners = append(sub.canners, k)
	}

	wanted, held, left := make([]bool, len(in.batches)), make([]bool, len(in.batches)), make([]int, len(in.batches))
	for b := range left {
		left[b] = in.batches[b].left
	}
	for _, b := range extra {
		wanted[b] = true
	}
	for _, l := range plan.Loads {
		if l.Done {
			continue
		}
		if slices.Contains(canners, l.Canner) {
			for _, x := range l.Shares {
				wanted[x.Batch] = true
			}
			continue
		}
		p.fixed.Loads = append(p.fixed.Loads, l)
		use(sub.burnerUsed, l.Start, l.End, 1)
		use(sub.handsUsed, l.Start, l.Start+in.handling, 1)
		use(sub.handsUsed, l.End-in.handling, l.End, 1)
		for _, x := range l.Shares {
			held[x.Batch] = true
			left[x.Batch] -= x.Jars
		}
	}
	index := make([]int, len(in.batches))
	for _, list := range in.stations {
		p.addStation(plan, list, wanted, held, left, index)
	}
	for _, l := range plan.Loads {
		if c, ok := slices.BinarySearch(canners, l.Canner); ok && !l.Done {
			l.Canner, l.Shares = c, slices.Clone(l.Shares)
			for i, x := range l.Shares {
				l.Shares[i].Batch = index[x.Batch]
				p.out -= x.Jars
			}
			p.plan.Loads = append(p.plan.Loads, l)
		}
	}
	p.out += sub.totalJars
	return p
}

// addStation adds what is wanted of a station. Batches up to the last one that is held by a load that stays keep the
// minute of filling; those after it are open.
func (p *part) addStation(plan *Plan, list []int, wanted, held []bool, left, index []int) {
	in, sub := p.of, p.in
	stays, last := 0, 0 // numbers of batches
	for k, b := range list {
		if held[b] || in.batches[b].filled != open {
			stays = k + 1
		}
		if wanted[b] {
			last = k + 1
		}
	}
	var station []int
	for k, b := range list {
		bb := in.batches[b]
		p.fixed.Filled[b] = open
		if k < stays {
			p.fixed.Filled[b] = plan.Filled[b]
			if bb.filled == open {
				use(sub.burnerUsed, plan.Filled[b]-bb.stage, plan.Filled[b], 1)
			}
			bb.filled = plan.Filled[b]
		} else if k > 0 && k == stays {
			bb.ready = max(bb.ready, plan.Filled[list[k-1]]+bb.stage)
		}
		bb.left = 0
		if wanted[b] {
			bb.left = left[b]
		}
		if k < stays && bb.left == 0 || k >= last {
			continue
		}
		bb.station, bb.place, bb.jars = len(sub.stations), len(station), bb.left
		index[b] = len(sub.batches)
		station = append(station, len(sub.batches))
		sub.batches = append(sub.batches, bb)
		sub.totalJars += bb.left
		p.batches = append(p.batches, b)
		p.plan.Filled = append(p.plan.Filled, plan.Filled[b])
	}
	if len(station) > 0 {
		sub.stations = append(sub.stations, station)
	}
}

// whole is the plan with the part as the model has it now.
func (p *part) whole(m *model) *Plan {
	in := p.of
	sched := newSchedule(in)
	filled := slices.Clone(p.fixed.Filled)
	for i, b := range p.batches {
		if p.in.batches[i].filled == open && m.s.Min(m.needed[i]) == 1 {
			filled[b] = m.s.Min(m.f[i])
		}
	}
	for station, list := range in.stations {
		for k, b := range list {
			if filled[b] == open || in.batches[b].filled != open {
				continue
			}
			sched.filled[b] = filled[b]
			sched.next[station] = k + 1
			use(sched.burners, filled[b]-in.batches[b].stage, filled[b], 1)
		}
	}
	for _, l := range p.fixed.Loads {
		sched.put(intent{family: l.Family, canner: l.Canner, shares: l.Shares}, l.Canner, l.Start, l.Jars())
	}
	for c := range m.loads {
		for i := range m.loads[c] {
			if q := &m.loads[c][i]; m.s.Min(q.used) == 1 {
				var shares []Share
				for b, x := range q.x {
					if x != none && m.s.Min(x) > 0 {
						shares = append(shares, Share{p.batches[b], m.s.Min(x) * q.unit[b]})
					}
				}
				w := intent{family: in.batches[shares[0].Batch].family, canner: p.canners[c], shares: shares}
				sched.put(w, w.canner, m.s.Min(q.start), w.jars())
			}
		}
	}
	sched.settle()
	return sched.plan()
}
