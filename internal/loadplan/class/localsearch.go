package class

import (
	"math"
	"math/rand/v2"
	"slices"

	"stillroom/internal/loadplan/anytime"
)

// View is what a worker on a class instance sees of the search.
type view = anytime.View[*Plan, Value]

// localSearch is simulated annealing over lists of intents. A list is judged by the timetable that meets its intents
// one after the other, so a neighbour may be any rearrangement of the list: nothing it says can break a rule, it can
// only turn out badly. Intents that could not be met stay in the list and may be met after a later change.
type localSearch struct {
	in     *Instance
	random *rand.Rand
	sched  *schedule

	started   bool
	current   []intent
	cost      float64
	best      []intent
	bestValue Value

	cycle int64 // moves in this cooling
	step  int64
	hot   float64
	seen  Value   // the best value when last looked at
	idle  int64   // work since it changed
	jar   float64 // weight of a jar
}

func newLocalSearch(in *Instance, seed uint64) *localSearch {
	return &localSearch{in: in, random: rand.New(rand.NewPCG(seed, 0x10ad5)), sched: newSchedule(in), cycle: 4000}
}

// The weights that make one number of the objective, for acceptance only; that of a jar changes from one cooling to
// the next, for at a high weight jars are hardly ever given up to make room for more. The mean end of the loads is
// there to tell apart timetables that end at the same minute.
const (
	meanWeight = 0.15
	loadWeight = 0.4
	holdWeight = 0.002
	moveWeight = 0.02
)

// idlePerBatch is the work without any news, for each batch, after which the search takes a smaller share.
const idlePerBatch = 1500

// judge puts a list into the timetable and weighs the outcome.
func (ls *localSearch) judge(list []intent) (Value, float64) {
	s := ls.sched
	s.reset()
	for i := range list {
		s.add(list[i])
	}
	s.settle()
	v := s.value()
	sum, jars := 0, 1
	for i := range s.loads {
		n := s.loads[i].Jars()
		sum += n * s.loads[i].End
		jars += n
	}
	cost := ls.jar*float64(v.Unprocessed) + float64(v.Finish) + meanWeight*float64(sum)/float64(jars) + loadWeight*float64(v.Loads) + holdWeight*float64(v.Hold)
	if ls.in.keep != nil {
		p := ls.sched.plan()
		v.Moved = ls.in.moved(p)
		cost += moveWeight*float64(v.Moved) + float64(max(v.Finish, ls.in.keep.finish)-v.Finish)
	}
	return v, cost
}

// Round implements anytime.Worker. A unit of work is one timetable.
func (ls *localSearch) Round(view *view, budget int64) bool {
	if !ls.started {
		ls.started = true
		ls.begin(view)
	}
	if _, v, ok := view.Best(); !ok || v != ls.seen {
		ls.seen, ls.idle = v, 0
	}
	ls.idle += budget
	share := budget
	if ls.idle > idlePerBatch*int64(len(ls.in.batches)) {
		share = max(1, budget/4) // nothing has come of it for long: leave the cores to the proofs
	}
	for view.Spent() < share && view.Spend(1) {
		if ls.step >= ls.cycle {
			ls.again()
		}
		ls.step++
		next := ls.neighbour()
		if next == nil {
			continue
		}
		v, cost := ls.judge(next)
		ls.offer(view, next, v)
		heat := ls.hot * math.Pow(0.02, float64(ls.step)/float64(ls.cycle))
		if cost <= ls.cost || ls.random.Float64() < math.Exp((ls.cost-cost)/heat) {
			ls.current, ls.cost = next, cost
		}
	}
	return false
}

// offer notes a list that is the best so far. The sched still holds its timetable.
func (ls *localSearch) offer(view *view, list []intent, v Value) {
	if ls.best == nil || ls.in.Compare(v, ls.bestValue) < 0 {
		ls.best, ls.bestValue = list, v
		if _, known, ok := view.Best(); !ok || ls.in.Compare(v, known) < 0 {
			view.Offer(ls.sched.plan(), v)
		}
	}
}

func (ls *localSearch) begin(view *view) {
	ls.hot, ls.jar = 20, 15
	ls.cost = math.Inf(1)
	if ls.in.keep != nil {
		ls.sched.reset()
		ls.sched.restore()
		p := ls.sched.plan()
		view.Offer(p, ls.in.Evaluate(p))
		ls.try(view, ls.in.keptIntents())
	}
	for _, r := range firstRules {
		ls.try(view, ls.in.construct(r, ls.random))
	}
	for range 20 {
		r := rule{ready: 1, process: ls.random.Float64()*1.5 - 0.5, chance: 40 * ls.random.Float64(), merge: ls.random.IntN(3) > 0}
		if !view.Spend(1) {
			break
		}
		ls.try(view, ls.in.construct(r, ls.random))
	}
}

func (ls *localSearch) try(view *view, list []intent) {
	v, cost := ls.judge(list)
	ls.offer(view, list, v)
	if cost < ls.cost {
		ls.current, ls.cost = list, cost
	}
}

// again starts another cooling, with other weights, from the best list or from a new one.
func (ls *localSearch) again() {
	ls.step, ls.cycle = 0, min(ls.cycle*3/2, 200_000)
	ls.jar = []float64{6, 15, 40}[ls.random.IntN(3)]
	ls.hot = 10 + 40*ls.random.Float64()
	ls.current = ls.best
	if ls.random.IntN(2) == 0 {
		r := rule{ready: 1, process: ls.random.Float64()*1.5 - 0.5, chance: 40 * ls.random.Float64(), merge: ls.random.IntN(3) > 0}
		ls.current = ls.in.construct(r, ls.random)
	}
	_, ls.cost = ls.judge(ls.current)
}

// neighbour is a changed copy of the current list, or nil when the change drawn does not apply.
func (ls *localSearch) neighbour() []intent {
	n := len(ls.current)
	if n == 0 {
		return nil
	}
	r := ls.random
	next := slices.Clone(ls.current)
	switch r.IntN(8) {
	case 0, 1: // one load elsewhere in the order
		i, j := r.IntN(n), r.IntN(n)
		if i == j {
			return nil
		}
		x := next[i]
		next = slices.Insert(slices.Delete(next, i, i+1), j, x)
	case 2: // two loads change places
		i, j := r.IntN(n), r.IntN(n)
		if i == j {
			return nil
		}
		next[i], next[j] = next[j], next[i]
	case 3: // another canner
		i := r.IntN(n)
		if c := r.IntN(len(ls.in.canners) + 1); c == len(ls.in.canners) {
			next[i].canner = anyCanner
		} else {
			next[i].canner = c
		}
	case 4, 5: // jars join another load
		return ls.join(next)
	case 6: // jars change places
		return ls.trade(next)
	default: // jars leave for a load of their own
		return ls.leave(next)
	}
	return next
}

// other draws another load of the same family, or -1.
func (ls *localSearch) other(list []intent, i int) int {
	at, seen := -1, 0
	for j := range list {
		if j != i && list[j].family == list[i].family {
			if seen++; ls.random.IntN(seen) == 0 {
				at = j
			}
		}
	}
	return at
}

func (ls *localSearch) join(list []intent) []intent {
	i := ls.random.IntN(len(list))
	j := ls.other(list, i)
	if j < 0 {
		return nil
	}
	k := ls.random.IntN(len(list[i].shares))
	x := list[i].shares[k]
	room := ls.in.mostCapacity(list[j].family) - list[j].jars()
	if list[j].canner != anyCanner {
		room = ls.in.canners[list[j].canner].capacity[list[j].family] - list[j].jars()
	}
	move := x.Jars
	if ls.in.batches[x.Batch].split {
		move = min(move, room)
		if move > 1 && ls.random.IntN(4) == 0 {
			move = 1 + ls.random.IntN(move)
		}
	}
	if move <= 0 || move > room {
		return nil
	}
	list[j].shares = withShare(list[j].shares, x.Batch, move)
	list[i].shares = withShare(list[i].shares, x.Batch, -move)
	if len(list[i].shares) == 0 {
		list = slices.Delete(list, i, i+1)
	}
	return list
}

func (ls *localSearch) trade(list []intent) []intent {
	i := ls.random.IntN(len(list))
	j := ls.other(list, i)
	if j < 0 {
		return nil
	}
	x := list[i].shares[ls.random.IntN(len(list[i].shares))]
	y := list[j].shares[ls.random.IntN(len(list[j].shares))]
	if x.Batch == y.Batch {
		return nil
	}
	list[i].shares = withShare(withShare(list[i].shares, x.Batch, -x.Jars), y.Batch, y.Jars)
	list[j].shares = withShare(withShare(list[j].shares, y.Batch, -y.Jars), x.Batch, x.Jars)
	return list
}

func (ls *localSearch) leave(list []intent) []intent {
	i := ls.random.IntN(len(list))
	x := list[i].shares[ls.random.IntN(len(list[i].shares))]
	move := x.Jars
	if ls.in.batches[x.Batch].split && move > 1 && ls.random.IntN(2) == 0 {
		move = 1 + ls.random.IntN(move-1)
	}
	if move == list[i].jars() {
		return nil
	}
	list[i].shares = withShare(list[i].shares, x.Batch, -move)
	alone := intent{family: list[i].family, canner: anyCanner, shares: []Share{{x.Batch, move}}}
	return slices.Insert(list, ls.random.IntN(len(list)+1), alone)
}

// withShare is a copy of shares with n more jars of a batch, or fewer.
func withShare(shares []Share, batch, n int) []Share {
	out := make([]Share, 0, len(shares)+1)
	for _, x := range shares {
		if x.Batch == batch {
			x.Jars += n
			n = 0
		}
		if x.Jars > 0 {
			out = append(out, x)
		}
	}
	if n > 0 {
		out = append(out, Share{batch, n})
	}
	return out
}

// keptIntents lists the loads of the plan to keep, as far as they are still to be done.
func (in *Instance) keptIntents() []intent {
	var out []intent
	index := in.batchIndex()
	left := make([]int, len(in.batches))
	for b := range left {
		left[b] = in.batches[b].left
	}
	loads := slices.Clone(in.spec.Keep.Loads)
	slices.SortStableFunc(loads, func(a, b LoadSpec) int { return a.Start - b.Start })
	for _, l := range loads {
		w := intent{start: l.Start, canner: slices.IndexFunc(in.spec.Canners, func(c Canner) bool { return c.ID == l.Canner })}
		for _, id := range sortedKeys(l.Jars) {
			b, ok := index[id]
			if !ok || len(w.shares) > 0 && in.batches[b].family != w.family {
				continue
			}
			if n := min(l.Jars[id], left[b]); n > 0 && (in.batches[b].split || n == left[b]) {
				left[b] -= n
				w.family = in.batches[b].family
				w.shares = append(w.shares, Share{b, n})
			}
		}
		if len(w.shares) > 0 {
			out = append(out, w)
		}
	}
	for b, n := range left { // jars that the old plan left out
		if n > 0 {
			out = append(out, intent{family: in.batches[b].family, canner: anyCanner, shares: []Share{{b, n}}})
		}
	}
	return out
}
