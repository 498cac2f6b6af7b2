package oven

// The neighbourhoods of partial states, between batches and the pool.

func (st *state) proposeJoinFromPool(r *rng) bool {
	if len(st.pool) == 0 {
		return false
	}
	j := st.pool[r.below(len(st.pool))]
	jb := &st.in.jobs[j]
	list := st.familyLive[jb.family]
	if len(list) == 0 {
		return false
	}
	id := int32(-1)
	if r.next()&3 == 0 {
		id = list[r.below(len(list))]
	} else { // one where the job could be on time, if a few draws find it
		for try := 0; try < 3 && id < 0; try++ {
			m := st.someMachine(r, jb.machines)
			if m < 0 {
				return false
			}
			lo, hi := st.firstEnding(m, jb.release+jb.minTime), st.firstEnding(m, jb.due+1)
			if lo >= hi {
				continue
			}
			if nd := &st.seq[m][lo+r.below(hi-lo)]; nd.family == jb.family {
				id = nd.id
			}
		}
		if id < 0 {
			return false
		}
	}
	m := st.batchMachine[id]
	nd := st.node(id)
	if jb.machines&(1<<uint(m)) == 0 || jb.minTime > nd.longest {
		return false
	}
	c := &st.change
	out := st.outs[:0]
	over := nd.size + jb.size - st.in.machines[m].capacity
	inBatch := st.lists[id]
	if over <= 0 && r.next()&7 == 0 { // now and then in exchange for another all the same
		over = 1
	}
	for over > 0 {
		if len(out) == len(inBatch) || len(out) == 3 {
			return false
		}
		// One that makes the room alone, if a few draws find it.
		k := inBatch[r.below(len(inBatch))]
		for try := 0; try < 3 && (st.in.jobs[k].size < over || contains(out, k)); try++ {
			k = inBatch[r.below(len(inBatch))]
		}
		if contains(out, k) {
			return false
		}
		out = append(out, k)
		over -= st.in.jobs[k].size
	}
	st.outs = out
	s := c.exchange(id, out, j)
	if !c.fits(s, m) {
		return false
	}
	c.replace(id, s)
	c.pooled = append(c.pooled, out...)
	c.unpooled = append(c.unpooled, j)
	return true
}

func contains(list []int32, x int32) bool {
	for _, y := range list {
		if x == y {
			return true
		}
	}
	return false
}

func (st *state) proposeAloneFromPool(r *rng) bool {
	if len(st.pool) == 0 {
		return false
	}
	j := st.pool[r.below(len(st.pool))]
	jb := &st.in.jobs[j]
	m := st.someMachine(r, jb.machines)
	if m < 0 || jb.size > st.in.machines[m].capacity {
		return false
	}
	lo, hi := st.firstEnding(m, jb.release), st.firstEnding(m, jb.due+1)
	c := &st.change
	c.put(m, int32(lo+r.below(max(hi-lo, 0)+1)), c.compose(-1, -1, j))
	c.unpooled = append(c.unpooled, j)
	return true
}

func (st *state) proposeJobToPool(r *rng) bool {
	j := st.someJob(r)
	st.removeJob(j, st.jobBatch[j])
	st.change.pooled = append(st.change.pooled, j)
	return true
}

func (st *state) proposeBatchToPool(r *rng) bool {
	id := st.live[r.below(len(st.live))]
	st.change.take(id, false)
	st.change.pooled = append(st.change.pooled, st.lists[id]...)
	return true
}
