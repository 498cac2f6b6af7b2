package oven

// The neighbourhoods. Each propose function writes one random change into st.change
// and tells whether it found one; none of them touches the state.

// moveKind names a neighbourhood.
type moveKind int

const (
	moveJob       moveKind = iota // a job into another batch of its family
	moveJobAlone                  // a job into a new batch
	swapJobs                      // two jobs of two batches of one family
	ejectJob                      // a job into a batch, one of that batch's jobs into a third
	moveBatch                     // a batch to another place
	swapBatches                   // two batches change places
	mergeBatches                  // two batches of one family become one
	splitBatch                    // one batch becomes two
	joinFromPool                  // a job from the pool into a batch, others out if there is no room
	aloneFromPool                 // a job from the pool into a new batch
	jobToPool                     // a job to the pool
	batchToPool                   // a batch's jobs to the pool
	moveKinds
)

// shares are how often each neighbourhood is tried, in parts of 256.
type shares [moveKinds]int

var (
	// wholeShares are for whole states, partialShares for those with a pool.
	wholeShares   = shares{60, 22, 56, 36, 42, 14, 12, 14, 0, 0, 0, 0}
	partialShares = shares{26, 8, 24, 16, 38, 12, 8, 10, 74, 22, 14, 4}

	wholeChooser, partialChooser = wholeShares.chooser(), partialShares.chooser()
)

// chooser maps a byte to a neighbourhood.
type chooser [256]moveKind

func (s shares) chooser() (table chooser) {
	k, left := moveKind(0), s[0]
	for i := range table {
		for left == 0 {
			k++
			left = s[k]
		}
		table[i] = k
		left--
	}
	return table
}

// propose draws a neighbourhood and a change in it.
func (st *state) propose(r *rng, c *chooser) (moveKind, bool) {
	st.change.reset()
	kind := c[r.next()>>56]
	if len(st.live) == 0 && kind != aloneFromPool {
		return kind, false
	}
	switch kind {
	case joinFromPool:
		return kind, st.proposeJoinFromPool(r)
	case aloneFromPool:
		return kind, st.proposeAloneFromPool(r)
	case jobToPool:
		return kind, st.proposeJobToPool(r)
	case batchToPool:
		return kind, st.proposeBatchToPool(r)
	case moveJob:
		return kind, st.proposeMoveJob(r)
	case moveJobAlone:
		return kind, st.proposeMoveJobAlone(r)
	case swapJobs:
		return kind, st.proposeSwapJobs(r)
	case ejectJob:
		return kind, st.proposeEjectJob(r)
	case moveBatch:
		return kind, st.proposeMoveBatch(r)
	case swapBatches:
		return kind, st.proposeSwapBatches(r)
	case mergeBatches:
		return kind, st.proposeMergeBatches(r)
	default:
		return kind, st.proposeSplitBatch(r)
	}
}

// someJob draws a job that is in a batch: any job of a whole state, and in a partial
// one a job of any batch.
func (st *state) someJob(r *rng) int32 {
	if !st.partial {
		return int32(r.below(len(st.jobBatch)))
	}
	list := st.lists[st.live[r.below(len(st.live))]]
	return list[r.below(len(list))]
}

// otherBatch draws a batch of the family other than id, with room for size on its
// machine if one turns up in a few draws and any otherwise.
func (st *state) otherBatch(r *rng, family, id, size int32) int32 {
	list := st.familyLive[family]
	if len(list) < 2 {
		return -1
	}
	other := int32(-1)
	for try := 0; try < 4; try++ {
		b := list[r.below(len(list))]
		if b == id {
			continue
		}
		other = b
		nd := st.node(b)
		if nd.size+size <= st.in.machines[st.batchMachine[b]].capacity {
			break
		}
	}
	return other
}

// removeJob takes a job out of its batch, and the batch away if it was alone.
func (st *state) removeJob(j, id int32) {
	c := &st.change
	if len(st.lists[id]) == 1 {
		c.take(id, false)
		return
	}
	c.replace(id, c.compose(id, j, -1))
}

func (st *state) proposeMoveJob(r *rng) bool {
	j := st.someJob(r)
	jb := &st.in.jobs[j]
	from := st.jobBatch[j]
	to := st.otherBatch(r, jb.family, from, jb.size)
	if to < 0 {
		return false
	}
	c, m := &st.change, st.batchMachine[to]
	nd := st.node(to)
	if jb.machines&(1<<uint(m)) == 0 || nd.size+jb.size > st.in.machines[m].capacity {
		return false
	}
	if jb.minTime > nd.longest || nd.runtime > jb.maxTime {
		return false
	}
	c.replace(to, c.compose(to, -1, j))
	st.removeJob(j, from)
	return true
}

// somePlace draws a place on a machine: half the time anywhere, half the time near
// where a batch released at release would end by due.
func (st *state) somePlace(r *rng, m, release, due int32) int32 {
	seq := st.seq[m]
	if len(seq) == 0 {
		return 0
	}
	if r.next()&1 == 0 {
		return int32(r.below(len(seq) + 1))
	}
	lo, hi := st.firstEnding(m, release), st.firstEnding(m, due)
	if hi < lo {
		hi = lo
	}
	return int32(lo + r.below(hi-lo+1))
}

// firstEnding is the place of the first batch of a machine that ends at or after a
// minute.
func (st *state) firstEnding(m, minute int32) int {
	seq := st.seq[m]
	lo, hi := 0, len(seq)
	for lo < hi {
		mid := (lo + hi) / 2
		if seq[mid].end < minute {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return lo
}

// someMachine draws a machine out of a set of eligible ones.
func (st *state) someMachine(r *rng, set uint64) int32 {
	n := len(st.seq)
	for try := 0; try < 8; try++ {
		if m := r.below(n); set&(1<<uint(m)) != 0 {
			return int32(m)
		}
	}
	return -1
}

func (st *state) proposeMoveJobAlone(r *rng) bool {
	j := st.someJob(r)
	from := st.jobBatch[j]
	if len(st.lists[from]) == 1 {
		return false
	}
	jb := &st.in.jobs[j]
	m := st.someMachine(r, jb.machines)
	if m < 0 || jb.size > st.in.machines[m].capacity {
		return false
	}
	c := &st.change
	at := st.somePlace(r, m, jb.release, jb.due)
	c.put(m, at, c.compose(-1, -1, j))
	c.replace(from, c.compose(from, j, -1))
	return true
}

func (st *state) proposeSwapJobs(r *rng) bool {
	j := st.someJob(r)
	jb := &st.in.jobs[j]
	a := st.jobBatch[j]
	list := st.familyLive[jb.family]
	b := list[r.below(len(list))]
	if a == b {
		return false
	}
	k := st.lists[b][r.below(len(st.lists[b]))]
	kb := &st.in.jobs[k]
	ma, mb := st.batchMachine[a], st.batchMachine[b]
	if jb.machines&(1<<uint(mb)) == 0 || kb.machines&(1<<uint(ma)) == 0 {
		return false
	}
	na, nb := st.node(a), st.node(b)
	if na.size-jb.size+kb.size > st.in.machines[ma].capacity || nb.size-kb.size+jb.size > st.in.machines[mb].capacity {
		return false
	}
	c := &st.change
	sa := c.compose(a, j, k)
	sb := c.compose(b, k, j)
	if !c.fits(sa, ma) || !c.fits(sb, mb) {
		return false
	}
	c.replace(a, sa)
	c.replace(b, sb)
	return true
}

func (st *state) proposeEjectJob(r *rng) bool {
	j := st.someJob(r)
	jb := &st.in.jobs[j]
	a := st.jobBatch[j]
	list := st.familyLive[jb.family]
	if len(list) < 3 {
		return false
	}
	b := list[r.below(len(list))]
	if b == a {
		return false
	}
	k := st.lists[b][r.below(len(st.lists[b]))]
	kb := &st.in.jobs[k]
	mb := st.batchMachine[b]
	if jb.machines&(1<<uint(mb)) == 0 || st.node(b).size-kb.size+jb.size > st.in.machines[mb].capacity {
		return false
	}
	d := st.otherBatch(r, jb.family, b, kb.size)
	if d < 0 || d == a {
		return false
	}
	md := st.batchMachine[d]
	if kb.machines&(1<<uint(md)) == 0 || st.node(d).size+kb.size > st.in.machines[md].capacity {
		return false
	}
	c := &st.change
	sb := c.compose(b, k, j)
	sd := c.compose(d, -1, k)
	if !c.fits(sb, mb) || !c.fits(sd, md) {
		return false
	}
	c.replace(b, sb)
	c.replace(d, sd)
	st.removeJob(j, a)
	return true
}

func (st *state) proposeMoveBatch(r *rng) bool {
	id := st.live[r.below(len(st.live))]
	m, at := st.batchMachine[id], st.batchAt[id]
	nd := st.node(id)
	c := &st.change
	var to, place int32
	switch pick := r.next() & 7; {
	case pick < 4: // a short way along its machine
		step := int32(1 + r.below(4))
		to, place = m, at+1+step
		if r.next()&1 == 0 {
			place = at - step
		}
		if place < 0 || int(place) > len(st.seq[m]) {
			return false
		}
	case pick < 5:
		to, place = m, int32(r.below(len(st.seq[m])+1))
	default:
		to = st.someMachine(r, nd.machines)
		if to < 0 || nd.size > st.in.machines[to].capacity {
			return false
		}
		place = st.somePlace(r, to, nd.release, nd.lastDue)
	}
	if to == m && (place == at || place == at+1) {
		return false
	}
	c.put(to, place, c.whole(id))
	c.take(id, true)
	return true
}

func (st *state) proposeSwapBatches(r *rng) bool {
	a := st.live[r.below(len(st.live))]
	b := st.live[r.below(len(st.live))]
	if a == b {
		return false
	}
	c := &st.change
	ma, mb := st.batchMachine[a], st.batchMachine[b]
	sa, sb := c.whole(a), c.whole(b)
	if ma != mb && (!c.fits(sa, mb) || !c.fits(sb, ma)) {
		return false
	}
	c.replace(a, sb)
	c.replace(b, sa)
	return true
}

func (st *state) proposeMergeBatches(r *rng) bool {
	a := st.live[r.below(len(st.live))]
	nd := st.node(a)
	b := st.otherBatch(r, nd.family, a, nd.size)
	if b < 0 {
		return false
	}
	m := st.batchMachine[b]
	if nd.size+st.node(b).size > st.in.machines[m].capacity {
		return false
	}
	c := &st.change
	s := c.merge(b, a)
	if !c.fits(s, m) {
		return false
	}
	c.replace(b, s)
	c.take(a, false)
	return true
}

func (st *state) proposeSplitBatch(r *rng) bool {
	id := st.live[r.below(len(st.live))]
	list := st.lists[id]
	if len(list) < 2 {
		return false
	}
	pivot := &st.in.jobs[list[r.below(len(list))]]
	by := r.next() % 3
	away := func(j *job) bool {
		switch by {
		case 0:
			return j.minTime > pivot.minTime
		case 1:
			return j.due > pivot.due
		default:
			return j.release > pivot.release
		}
	}
	c := &st.change
	stay, leave := c.lists[0][:0], c.lists[1][:0]
	for _, j := range list {
		if away(&st.in.jobs[j]) {
			leave = append(leave, j)
		} else {
			stay = append(stay, j)
		}
	}
	if len(leave) == 0 || len(stay) == 0 {
		return false
	}
	c.lists[0], c.lists[1] = stay, leave
	for k := 0; k < 2; k++ {
		st.describe(&c.nodes[k], c.lists[k])
		c.fresh[k] = true
		c.nodes[k].id = -1
	}
	c.nodes[0].id = id
	c.slots = 2
	m, at := st.batchMachine[id], st.batchAt[id]
	c.replace(id, 0)
	to, place := m, at+1
	switch r.next() & 3 {
	case 0:
		place = at
	case 1:
		to = st.someMachine(r, c.nodes[1].machines)
		if to < 0 || !c.fits(1, to) {
			return false
		}
		place = st.somePlace(r, to, c.nodes[1].release, c.nodes[1].lastDue)
	}
	c.put(to, place, 1)
	return true
}
