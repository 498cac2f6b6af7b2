package oven

// node is a batch at its place in a machine's sequence: what the walk over the
// sequence needs, in one cache line. The jobs themselves are in state.lists.
type node struct {
	family   int32
	runtime  int32 // max of min_time over its jobs
	longest  int32 // min of max_time over its jobs
	release  int32 // max of the releases of its jobs
	size     int32
	firstDue int32
	lastDue  int32
	jobs     int32 // how many

	end      int32 // minute at which it ends, or never
	interval int32 // index of its availability interval, or the number of them
	tardy    int32 // jobs that end after their due time
	setup    int32 // set-up cost before it

	machines uint64 // eligible for all its jobs
	id       int32
}

// never is the end of a batch that found no interval; such a plan is infeasible.
const never = int32(1 << 30)

// state is a complete assignment of jobs to batches and of batches to places in the
// machines' sequences, possibly infeasible in one way: batches at a machine's end for
// which no interval is left. Start times are implied: the earliest ones.
type state struct {
	in  *Instance
	seq [][]node
	// lists holds the jobs of each batch id in order of due time, then number.
	lists [][]int32
	free  []int32
	// where each batch id is, and each job.
	batchMachine, batchAt []int32
	jobBatch              []int32
	// live lists all batch ids, familyLive those of each family; the slots invert them.
	live                 []int32
	liveSlot, familySlot []int32
	familyLive           [][]int32

	// pool holds the jobs in no batch; their batch is -1. Only a partial state has any:
	// one that leaves out late jobs at a price, to be put into batches afterwards.
	pool      []int32
	poolSlot  []int32
	poolPrice []int64
	partial   bool

	totals
	penalty int64 // for each minute of processing that found no interval

	change change
	tail   []node
	outs   []int32
}

// totals are the parts of the objective, the processing minutes without interval, and
// the prices of the jobs in the pool.
type totals struct{ runtime, tardy, setup, homeless, pooled int64 }

func (st *state) weigh(t totals) int64 {
	return t.pooled + st.in.runtimeWeight*t.runtime + st.in.tardyWeight*t.tardy + st.in.setupWeight*t.setup + st.penalty*t.homeless
}

func (st *state) cost() int64    { return st.weigh(st.totals) }
func (st *state) feasible() bool { return st.homeless == 0 && len(st.pool) == 0 }

func newState(in *Instance) *state {
	st := &state{in: in, seq: make([][]node, len(in.machines)), jobBatch: make([]int32, len(in.jobs)), familyLive: make([][]int32, in.families)}
	st.poolSlot, st.poolPrice = make([]int32, len(in.jobs)), make([]int64, len(in.jobs))
	for j := range st.jobBatch {
		st.jobBatch[j] = -1
		st.poolSlot[j] = int32(j)
		st.pool = append(st.pool, int32(j))
	}
	// A minute without interval must cost more than anything a move could gain by it.
	longest, dearest := int64(1), int64(1)
	for i := range in.jobs {
		longest = max(longest, int64(in.jobs[i].minTime))
	}
	for _, c := range in.setupCost {
		dearest = max(dearest, int64(c))
	}
	st.penalty = in.tardyWeight + in.runtimeWeight + in.setupWeight*dearest + 1
	st.penalty += in.runtimeWeight * longest / 4
	st.change.st = st
	return st
}

func (st *state) newBatch(family int32) int32 {
	var id int32
	if k := len(st.free); k > 0 {
		id, st.free = st.free[k-1], st.free[:k-1]
		st.lists[id] = st.lists[id][:0]
	} else {
		id = int32(len(st.lists))
		st.lists = append(st.lists, make([]int32, 0, 8))
		st.batchMachine = append(st.batchMachine, -1)
		st.batchAt = append(st.batchAt, -1)
		st.liveSlot = append(st.liveSlot, 0)
		st.familySlot = append(st.familySlot, 0)
	}
	st.liveSlot[id] = int32(len(st.live))
	st.live = append(st.live, id)
	fl := st.familyLive[family]
	st.familySlot[id] = int32(len(fl))
	st.familyLive[family] = append(fl, id)
	return id
}

func (st *state) dropBatch(id, family int32) {
	remove := func(list []int32, slot []int32) []int32 {
		last := list[len(list)-1]
		list[slot[id]] = last
		slot[last] = slot[id]
		return list[:len(list)-1]
	}
	st.live = remove(st.live, st.liveSlot)
	st.familyLive[family] = remove(st.familyLive[family], st.familySlot)
	st.free = append(st.free, id)
}

func (st *state) toPool(j int32) {
	st.jobBatch[j] = -1
	st.poolSlot[j] = int32(len(st.pool))
	st.pool = append(st.pool, j)
}

func (st *state) fromPool(j int32) {
	last := st.pool[len(st.pool)-1]
	st.pool[st.poolSlot[j]] = last
	st.poolSlot[last] = st.poolSlot[j]
	st.pool = st.pool[:len(st.pool)-1]
}

// frozenJob stands for the batch of a frozen job.
const frozenJob = int32(-2)

// freeze takes a pooled job out of the search: it is in no batch and stays so.
func (st *state) freeze(j int32) {
	st.fromPool(j)
	st.jobBatch[j] = frozenJob
}

func (st *state) node(id int32) *node { return &st.seq[st.batchMachine[id]][st.batchAt[id]] }

// late counts the jobs of a batch that end after their due time when it ends at end.
func (st *state) late(nd *node, list []int32, end int32) int32 {
	if end <= nd.firstDue {
		return 0
	}
	if end > nd.lastDue {
		return nd.jobs
	}
	jobs := st.in.jobs
	k := int32(0)
	for _, j := range list {
		if jobs[j].due >= end {
			break
		}
		k++
	}
	return k
}

// place gives the earliest end of a batch after a batch that ended at end in the
// given interval, and the interval it then lies in.
func place(intervals []interval, at, end, setup, release, runtime int32) (int32, int32) {
	for ; int(at) < len(intervals); at++ {
		iv := intervals[at]
		start := max(max(end, iv.start)+setup, release)
		if start+runtime <= iv.end {
			return start + runtime, at
		}
	}
	return never, at
}

// plan writes the state out. The state must be feasible.
func (st *state) plan() *Plan {
	p := &Plan{}
	for m := range st.seq {
		for i := range st.seq[m] {
			nd := &st.seq[m][i]
			b := Batch{Machine: m + 1, Start: int64(nd.end - nd.runtime), End: int64(nd.end)}
			for _, j := range st.lists[nd.id] {
				b.Jobs = append(b.Jobs, int(j)+1)
			}
			p.Batches = append(p.Batches, b)
		}
	}
	p.sort()
	return p
}

// loadPlan replaces the state by a plan of the same instance.
func (st *state) loadPlan(p *Plan) {
	s := snapshot{counts: make([]int32, len(st.seq))}
	for _, b := range p.Batches { // in order of machine, then start
		from := len(s.jobs)
		for _, j := range b.Jobs {
			s.jobs = append(s.jobs, int32(j-1))
		}
		sortByDue(st.in, s.jobs[from:])
		s.ends = append(s.ends, int32(len(s.jobs)))
		s.counts[b.Machine-1]++
	}
	st.load(&s)
}

// snapshot is a state's assignment without its indexes: machine by machine, batch by
// batch, the jobs.
type snapshot struct {
	jobs   []int32 // in order of machine, batch
	ends   []int32 // where each batch's jobs end in jobs
	counts []int32 // batches per machine
	totals totals
}

func (st *state) save(s *snapshot) {
	s.jobs, s.ends, s.counts = s.jobs[:0], s.ends[:0], s.counts[:0]
	for m := range st.seq {
		s.counts = append(s.counts, int32(len(st.seq[m])))
		for i := range st.seq[m] {
			s.jobs = append(s.jobs, st.lists[st.seq[m][i].id]...)
			s.ends = append(s.ends, int32(len(s.jobs)))
		}
	}
	s.totals = st.totals
}

func (s *snapshot) copyTo(to *snapshot) {
	to.jobs = append(to.jobs[:0], s.jobs...)
	to.ends = append(to.ends[:0], s.ends...)
	to.counts = append(to.counts[:0], s.counts...)
	to.totals = s.totals
}

// load replaces the state by a snapshot of the same instance; jobs that it does not
// hold are in the pool.
func (st *state) load(s *snapshot) {
	for len(st.live) > 0 {
		id := st.live[len(st.live)-1]
		st.dropBatch(id, st.node(id).family)
	}
	for j := range st.jobBatch {
		if st.jobBatch[j] >= 0 {
			st.toPool(int32(j))
		}
	}
	b, from := 0, int32(0)
	for m := range st.seq {
		st.seq[m] = st.seq[m][:0]
		for k := int32(0); k < s.counts[m]; k++ {
			jobs := s.jobs[from:s.ends[b]]
			id := st.newBatch(st.in.jobs[jobs[0]].family)
			st.lists[id] = append(st.lists[id], jobs...)
			var nd node
			st.describe(&nd, st.lists[id])
			nd.id = id
			st.batchMachine[id], st.batchAt[id] = int32(m), k
			st.seq[m] = append(st.seq[m], nd)
			for _, j := range jobs {
				st.fromPool(j)
				st.jobBatch[j] = id
			}
			from = s.ends[b]
			b++
		}
	}
	st.retime()
}

// describe fills in what follows from a batch's jobs, which are in order of due time.
func (st *state) describe(nd *node, list []int32) {
	jobs := st.in.jobs
	first := &jobs[list[0]]
	*nd = node{family: first.family, longest: first.maxTime, machines: ^uint64(0), jobs: int32(len(list)), firstDue: first.due, lastDue: jobs[list[len(list)-1]].due}
	for _, j := range list {
		jb := &jobs[j]
		nd.runtime = max(nd.runtime, jb.minTime)
		nd.longest = min(nd.longest, jb.maxTime)
		nd.release = max(nd.release, jb.release)
		nd.size += jb.size
		nd.machines &= jb.machines
	}
}

// retime computes all times and totals afresh.
func (st *state) retime() {
	st.totals = totals{}
	for _, j := range st.pool {
		st.pooled += st.poolPrice[j]
	}
	for m := range st.seq {
		mc := &st.in.machines[m]
		end, at, before := int32(0), int32(0), mc.initial
		for i := range st.seq[m] {
			nd := &st.seq[m][i]
			wait, cost := st.in.setup(before, nd.family)
			nd.end, nd.interval = place(mc.intervals, at, end, wait, nd.release, nd.runtime)
			nd.setup = cost
			nd.tardy = st.late(nd, st.lists[nd.id], nd.end)
			end, at, before = nd.end, nd.interval, nd.family
			st.runtime += int64(nd.runtime)
			st.setup += int64(nd.setup)
			st.tardy += int64(nd.tardy)
			if nd.end == never {
				st.homeless += int64(nd.runtime)
			}
		}
	}
}
