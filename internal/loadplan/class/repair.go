package class

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// repair is a large-neighbourhood search on a timetable: take a few loads that have to do with each other out of it,
// put the batches that are now in no load back one by one, and keep the outcome if it is not much worse. The rest of
// the timetable stays where it is, so a step costs little more than the loads it touches. It follows G. Schrimpf et
// al., "Record breaking optimization results using the ruin and recreate principle", Journal of Computational Physics
// 159 (2000), with the blinks of J. Christiaens and G. Vanden Berghe, "Slack induction by string removals",
// Transportation Science 54 (2020).
type repair struct {
	in     *Instance
	random *rand.Rand
	now    *schedule // the timetable of the present plan
	next   *schedule // the one being changed
	cost   float64
	best   Value
	found  bool
	spare  *schedule // to settle a timetable that is offered

	started bool
	cycle   int64
	step    int64
	hot     float64

	most  []int // by family, the largest capacity
	bias  []int
	order []ranked
}

// ranked is a batch, or a load, and its place in an order.
type ranked struct {
	index int
	rank  float64
}

// newRepair begins with the best plan known when its first round begins.
func newRepair(in *Instance, seed uint64) *repair {
	r := &repair{in: in, random: rand.New(rand.NewPCG(seed, 0x4e9a14)), now: newSchedule(in), next: newSchedule(in), spare: newSchedule(in),
		bias: make([]int, len(in.canners)), cycle: 3000}
	for f := range in.families {
		r.most = append(r.most, in.mostCapacity(f))
	}
	return r
}

// copyFrom makes s the same timetable as o.
func (s *schedule) copyFrom(o *schedule) {
	copy(s.burners, o.burners)
	copy(s.hands, o.hands)
	for c := range s.busy {
		s.busy[c] = append(s.busy[c][:0], o.busy[c]...)
	}
	copy(s.filled, o.filled)
	copy(s.first, o.first)
	copy(s.last, o.last)
	copy(s.left, o.left)
	copy(s.next, o.next)
	s.loads = append(s.loads[:0], o.loads...)
	s.close, s.latest = o.close, o.latest
}

// lift takes load i out of the timetable. Its batches stay filled as they are.
func (s *schedule) lift(i int) Load {
	l := s.loads[i]
	k := &s.in.canners[l.Canner]
	use(s.burners, l.Start, l.End, -1)
	use(s.hands, l.Start, l.Start+s.in.handling, -1)
	use(s.hands, l.End-s.in.handling, l.End, -1)
	at := slices.Index(s.busy[l.Canner], Window{l.Start, l.End + k.reset})
	s.busy[l.Canner] = slices.Delete(s.busy[l.Canner], at, at+1)
	last := len(s.loads) - 1
	s.loads[i] = s.loads[last]
	s.loads = s.loads[:last]
	for _, x := range l.Shares {
		s.left[x.Batch] += x.Jars
		s.first[x.Batch], s.last[x.Batch] = math.MaxInt, -1
		if s.left[x.Batch] == s.in.batches[x.Batch].left {
			continue
		}
		for j := range s.loads {
			for _, y := range s.loads[j].Shares {
				if y.Batch == x.Batch && !s.loads[j].Done {
					s.first[x.Batch], s.last[x.Batch] = min(s.first[x.Batch], s.loads[j].Start), max(s.last[x.Batch], s.loads[j].Start)
				}
			}
		}
	}
	return l
}

// unstage takes back the stages of batches of a station that are in no load and before none that is.
func (s *schedule) unstage(station int) {
	list := s.in.stations[station]
	for s.next[station] > 0 {
		b := list[s.next[station]-1]
		if s.in.batches[b].filled != open || s.last[b] >= 0 {
			break
		}
		use(s.burners, s.filled[b]-s.in.batches[b].stage, s.filled[b], -1)
		s.filled[b] = open
		s.next[station]--
	}
	for _, b := range list[:s.next[station]] { // the others as early as can be
		bb := &s.in.batches[b]
		if bb.filled != open || s.last[b] >= 0 {
			continue
		}
		old := s.filled[b]
		use(s.burners, old-bb.stage, old, -1)
		if at, ok := s.earliestFilled(b, s.floor(b), old); ok {
			s.filled[b] = at
		}
		use(s.burners, s.filled[b]-bb.stage, s.filled[b], 1)
	}
}

// remove takes load i out and whatever was staged only for it.
func (s *schedule) remove(i int) {
	l := s.lift(i)
	for _, x := range l.Shares {
		s.unstage(s.in.batches[x.Batch].station)
	}
}

// join puts n more jars of batch b into load i, which may be moved for it, but not so that it ends later than within
// slack. It reports whether that could be done.
func (s *schedule) join(i, b, n, slack int, same bool) bool {
	l := s.lift(i)
	w := intent{family: l.Family, canner: anyCanner, shares: withShare(l.Shares, b, n)}
	if same {
		w.canner = l.Canner
	}
	s.latest = min(s.close, l.Start+slack)
	ok := s.add(w)
	s.latest = s.close
	if !ok {
		s.put(intent{family: l.Family, shares: l.Shares}, l.Canner, l.Start, l.Jars())
	}
	return ok
}

// insert puts what is left of batch b into loads: into those there are, or into new ones.
func (r *repair) insert(b int) {
	s := r.next
	bb := &r.in.batches[b]
	most := r.most[bb.family]
	for s.left[b] > 0 {
		if !bb.split && s.left[b] > most {
			return
		}
		if r.joinAny(b) {
			continue
		}
		n := min(s.left[b], most)
		if s.add(intent{family: bb.family, canner: anyCanner, shares: []Share{{b, n}}}) {
			continue
		}
		if !bb.split || n == 1 {
			return
		}
		n = 1 + r.random.IntN(n-1)
		if !s.add(intent{family: bb.family, canner: anyCanner, shares: []Share{{b, n}}}) {
			return
		}
	}
}

// joinAny puts jars of batch b into some load of its family with room for them, all of them if it may not be split.
func (r *repair) joinAny(b int) bool {
	s := r.next
	bb := &r.in.batches[b]
	n := len(s.loads)
	if n == 0 {
		return false
	}
	at := r.random.IntN(n)
	slack := r.random.IntN(30)
	early := s.floor(b)
	if s.filled[b] != open {
		early = s.filled[b]
	}
	for range n {
		if at++; at >= n {
			at = 0
		}
		l := &s.loads[at]
		if l.Family != bb.family || l.Done || l.Start+slack < early || r.random.IntN(20) == 0 {
			continue
		}
		jars := l.Jars()
		room := r.in.canners[l.Canner].capacity[bb.family] - jars
		same := true
		if room < s.left[b] && (!bb.split || room <= 0) { // it does not fit there: perhaps in another canner
			room = r.most[bb.family] - jars
			same = false
		}
		k := min(room, s.left[b])
		if k <= 0 || !bb.split && k < s.left[b] {
			continue
		}
		if s.join(at, b, k, slack, same) {
			return true
		}
	}
	return false
}

// ruin takes out a few loads near each other in time, canner and family.
func (r *repair) ruin() {
	s := r.next
	if len(s.loads) == len(r.in.done) {
		return
	}
	seed := r.random.IntN(len(s.loads))
	if s.loads[seed].Done {
		return
	}
	l := s.loads[seed]
	apart := []float64{5, 20, 60}[r.random.IntN(3)]
	alike := []float64{0, 20, 60}[r.random.IntN(3)]
	r.order = r.order[:0]
	for i := range s.loads {
		o := &s.loads[i]
		if o.Done {
			continue
		}
		rank := math.Abs(float64(o.Start-l.Start)) + 30*r.random.Float64()
		if o.Canner != l.Canner {
			rank += apart
		}
		if o.Family != l.Family {
			rank += alike
		}
		if i == seed {
			rank = -1
		}
		r.order = append(r.order, ranked{i, rank})
	}
	sortRanked(r.order)
	k := min(1+r.random.IntN(min(10, 2+len(r.order)/3)), len(r.order))
	chosen := r.order[:k]
	slices.SortFunc(chosen, func(a, b ranked) int { return b.index - a.index }) // lift moves only those behind
	for _, x := range chosen {
		s.remove(x.index)
	}
}

func sortRanked(list []ranked) {
	slices.SortFunc(list, func(a, b ranked) int { return cmp.Or(cmp.Compare(a.rank, b.rank), a.index-b.index) })
}

// recreate puts batches back in one of several orders.
func (r *repair) recreate() {
	s := r.next
	how := r.random.IntN(8)
	r.order = r.order[:0]
	for b := range r.in.batches {
		bb := &r.in.batches[b]
		if s.left[b] == 0 {
			continue
		}
		rank := r.random.Float64()
		switch how {
		case 0, 1: // as luck has it
		case 2, 3:
			rank = rank*4 - float64(s.left[b])
		case 4, 5:
			rank = rank*20 + float64(s.floor(b))
		case 6:
			rank = rank*20 + float64(r.in.spec.Processes[r.in.families[bb.family].process].Minutes)
		default:
			rank = rank*20 - float64(r.in.spec.Processes[r.in.families[bb.family].process].Minutes)
		}
		r.order = append(r.order, ranked{b, rank})
	}
	sortRanked(r.order)
	s.bias = nil
	if r.random.IntN(2) == 0 {
		for c := range r.bias {
			r.bias[c] = r.random.IntN(20)
		}
		s.bias = r.bias
	}
	for _, x := range r.order {
		r.insert(x.index)
	}
}

// compact meets the loads again one after the other, by their starts, which closes gaps.
func (r *repair) compact() {
	s := r.next
	loads := slices.Clone(s.loads)
	slices.SortStableFunc(loads, func(a, b Load) int { return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.Canner, b.Canner)) })
	s.reset()
	s.bias = nil
	for i := range loads {
		if l := &loads[i]; !l.Done {
			w := intent{family: l.Family, canner: l.Canner, shares: l.Shares}
			if r.random.IntN(4) == 0 {
				w.canner = anyCanner
			}
			s.add(w)
		}
	}
}

// weigh is the objective of a timetable, without waiting, and one number of it for acceptance: a jar counts one, and
// loads that are few and out early leave room for more.
func (r *repair) weigh(s *schedule) (Value, float64) {
	v := Value{Unprocessed: r.in.totalJars, Loads: len(s.loads)}
	sum := 0
	for i := range s.loads {
		l := &s.loads[i]
		v.Unprocessed -= l.Jars()
		v.Finish = max(v.Finish, l.End)
		sum += l.End
	}
	cost := float64(v.Unprocessed) + 0.01*float64(sum)/float64(max(1, len(s.loads))) + 0.02*float64(len(s.loads))
	return v, cost
}

// Round implements anytime.Worker. A unit of work is one step.
func (r *repair) Round(view *view, budget int64) bool {
	if !r.started {
		r.started = true
		r.begin(view)
	}
	for view.Spent() < budget && view.Spend(1) {
		if r.step >= r.cycle {
			r.again(view)
		}
		r.step++
		r.next.copyFrom(r.now)
		if r.step%200 == 0 {
			r.compact()
		} else {
			r.ruin()
		}
		r.recreate()
		v, cost := r.weigh(r.next)
		r.offer(view, v)
		heat := r.hot * math.Pow(0.02, float64(r.step)/float64(r.cycle))
		if cost <= r.cost-heat*math.Log(1-r.random.Float64()) {
			r.now, r.next, r.cost = r.next, r.now, cost
		}
	}
	return false
}

// begin takes the best of the first plans, or the one known if that is better.
func (r *repair) begin(view *view) {
	r.hot, r.cost = 3, math.Inf(1)
	try := func() {
		v, cost := r.weigh(r.next)
		r.offer(view, v)
		if cost < r.cost {
			r.now, r.next, r.cost = r.next, r.now, cost
		}
	}
	if plan, _, ok := view.Best(); ok {
		r.enter(r.next, plan)
		try()
	}
	for _, rule := range firstRules {
		r.next.reset()
		for _, w := range r.in.construct(rule, r.random) {
			r.next.add(w)
		}
		try()
	}
}

// offer passes on the timetable just made if it is the best so far.
func (r *repair) offer(view *view, v Value) {
	if r.found && cmp.Or(cmp.Compare(v.Unprocessed, r.best.Unprocessed), cmp.Compare(v.Finish, r.best.Finish), cmp.Compare(v.Loads, r.best.Loads)) >= 0 {
		return
	}
	r.best, r.found = v, true
	r.spare.copyFrom(r.next)
	r.spare.settle()
	v = r.spare.value()
	if _, known, ok := view.Best(); !ok || r.in.Compare(v, known) < 0 {
		view.Offer(r.spare.plan(), v)
	}
}

// enter makes s the timetable of a plan, loads as early as those before them allow.
func (r *repair) enter(s *schedule, p *Plan) {
	s.reset()
	for _, l := range p.Loads {
		if !l.Done {
			s.add(intent{family: l.Family, canner: l.Canner, shares: l.Shares})
		}
	}
}

// again begins another cooling, from the best plan of the search: with an earlier close, so that what is found ends
// sooner, when no more jars can be loaded, and otherwise now and then.
func (r *repair) again(view *view) {
	r.step, r.cycle = 0, min(r.cycle*3/2, 100_000)
	plan, best, ok := view.Best()
	bound, _ := view.Bound()
	close := r.in.close
	if ok && (best.Unprocessed <= bound.Unprocessed || r.random.IntN(3) == 0) {
		close = max(bound.Finish, best.Finish-1)
	}
	for _, s := range []*schedule{r.now, r.next, r.spare} {
		s.close, s.latest = close, close
	}
	if ok {
		r.enter(r.now, plan)
	}
	_, r.cost = r.weigh(r.now)
	r.hot = 1 + 3*r.random.Float64()
}
