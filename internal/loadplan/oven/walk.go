package oven

import "slices"

// A change is a small edit of a state: batches taken out of, and put into, places of
// the machines' sequences. It is first evaluated, by walking only over the batches
// whose times it moves, and only then, if it is wanted, applied.
type change struct {
	st *state
	// used are the machines it touches, in the order they were first touched.
	used  int
	sides [maxSides]side
	// slots are the batches it puts in. A slot whose id is negative is a new batch; a
	// slot with an id is that batch, with new contents if fresh is set.
	slots     int
	nodes     [maxSlots]node
	fresh     [maxSlots]bool
	lists     [maxSlots][]int32
	delta     totals
	dropped   [maxSlots]int32
	dropCount int
	// pooled go to the pool, unpooled come from it.
	pooled, unpooled []int32
}

const (
	maxSides = 3
	maxSlots = 4
	maxEdits = 6
)

// side is the edits on one machine, in order of place.
type side struct {
	machine int32
	count   int
	edits   [maxEdits]edit
}

// edit puts a slot's batch before the place at (slot >= 0), and takes the batch at
// that place out (remove).
type edit struct {
	at     int32
	slot   int32
	remove bool
}

func (c *change) reset() {
	c.used, c.slots, c.dropCount = 0, 0, 0
	c.pooled, c.unpooled = c.pooled[:0], c.unpooled[:0]
}

func (c *change) add(machine, at, slot int32, remove bool) {
	var s *side
	for k := 0; k < c.used; k++ {
		if c.sides[k].machine == machine {
			s = &c.sides[k]
		}
	}
	if s == nil {
		s = &c.sides[c.used]
		c.used++
		s.machine, s.count = machine, 0
	}
	// At one place, what is put in comes before what is taken out or replaced.
	k := s.count
	for k > 0 && (s.edits[k-1].at > at || s.edits[k-1].at == at && s.edits[k-1].remove && !remove) {
		s.edits[k] = s.edits[k-1]
		k--
	}
	s.edits[k] = edit{at, slot, remove}
	s.count++
}

// put places a slot before a place; replace puts it there instead of what is there;
// take removes the batch there without replacement, moved telling whether the batch
// goes on elsewhere.
func (c *change) put(machine, at, slot int32) { c.add(machine, at, slot, false) }

func (c *change) replace(id, slot int32) {
	c.add(c.st.batchMachine[id], c.st.batchAt[id], slot, true)
}

func (c *change) take(id int32, moved bool) {
	c.add(c.st.batchMachine[id], c.st.batchAt[id], -1, true)
	if !moved {
		c.dropped[c.dropCount] = id
		c.dropCount++
	}
}

// whole makes a slot of a batch as it is.
func (c *change) whole(id int32) int32 {
	k := c.slots
	c.slots++
	c.nodes[k] = *c.st.node(id)
	c.fresh[k] = false
	return int32(k)
}

// compose makes a slot of a batch (or of none, id < 0) without the job out and with
// the job in, either negative for none.
func (c *change) compose(id, out, in int32) int32 {
	k := c.slots
	c.slots++
	list := c.lists[k][:0]
	jobs := c.st.in.jobs
	var base []int32
	if id >= 0 {
		base = c.st.lists[id]
	}
	for _, j := range base {
		if in >= 0 && (jobs[in].due < jobs[j].due || jobs[in].due == jobs[j].due && in < j) {
			list = append(list, in)
			in = -1
		}
		if j != out {
			list = append(list, j)
		}
	}
	if in >= 0 {
		list = append(list, in)
	}
	c.lists[k] = list
	c.st.describe(&c.nodes[k], list)
	c.nodes[k].id = id
	c.fresh[k] = true
	return int32(k)
}

// exchange makes a slot of a batch without some of its jobs and with another.
func (c *change) exchange(id int32, out []int32, in int32) int32 {
	k := c.slots
	c.slots++
	list := c.lists[k][:0]
	jobs := c.st.in.jobs
	for _, j := range c.st.lists[id] {
		if in >= 0 && (jobs[in].due < jobs[j].due || jobs[in].due == jobs[j].due && in < j) {
			list = append(list, in)
			in = -1
		}
		if !slices.Contains(out, j) {
			list = append(list, j)
		}
	}
	if in >= 0 {
		list = append(list, in)
	}
	c.lists[k] = list
	c.st.describe(&c.nodes[k], list)
	c.nodes[k].id = id
	c.fresh[k] = true
	return int32(k)
}

// merge makes a slot of two batches' jobs, under the id of the first.
func (c *change) merge(id, other int32) int32 {
	k := c.slots
	c.slots++
	list := c.lists[k][:0]
	jobs := c.st.in.jobs
	a, b := c.st.lists[id], c.st.lists[other]
	for len(a) > 0 || len(b) > 0 {
		if len(b) == 0 || len(a) > 0 && (jobs[a[0]].due < jobs[b[0]].due || jobs[a[0]].due == jobs[b[0]].due && a[0] < b[0]) {
			list, a = append(list, a[0]), a[1:]
		} else {
			list, b = append(list, b[0]), b[1:]
		}
	}
	c.lists[k] = list
	c.st.describe(&c.nodes[k], list)
	c.nodes[k].id = id
	c.fresh[k] = true
	return int32(k)
}

// fits tells whether a slot's batch may be on a machine at all.
func (c *change) fits(slot, machine int32) bool {
	nd := &c.nodes[slot]
	return nd.runtime <= nd.longest && nd.machines&(1<<uint(machine)) != 0 && nd.size <= c.st.in.machines[machine].capacity
}

func (c *change) list(slot int32) []int32 {
	if c.fresh[slot] {
		return c.lists[slot]
	}
	return c.st.lists[c.nodes[slot].id]
}

// evaluate returns the change of cost.
func (c *change) evaluate() int64 {
	c.delta = totals{}
	for _, j := range c.pooled {
		c.delta.pooled += c.st.poolPrice[j]
	}
	for _, j := range c.unpooled {
		c.delta.pooled -= c.st.poolPrice[j]
	}
	for k := 0; k < c.used; k++ {
		c.walk(&c.sides[k])
	}
	return c.st.weigh(c.delta)
}

// walk follows one machine's sequence from the first edit, and stops, or jumps to the
// next edit, as soon as the times are again what they were.
func (c *change) walk(s *side) {
	st := c.st
	m := s.machine
	seq := st.seq[m]
	mc := &st.in.machines[m]
	var d totals
	end, interval, before := int32(0), int32(0), mc.initial
	i, e := s.edits[0].at, 0
	if i > 0 {
		p := &seq[i-1]
		end, interval, before = p.end, p.interval, p.family
	}
	for {
		for e < s.count && s.edits[e].at == i {
			ed := s.edits[e]
			e++
			if ed.slot >= 0 {
				nd := &c.nodes[ed.slot]
				wait, cost := st.in.setup(before, nd.family)
				end, interval = place(mc.intervals, interval, end, wait, nd.release, nd.runtime)
				d.runtime += int64(nd.runtime)
				d.setup += int64(cost)
				d.tardy += int64(st.late(nd, c.list(ed.slot), end))
				if end == never {
					d.homeless += int64(nd.runtime)
				}
				before = nd.family
			}
			if ed.remove {
				nd := &seq[i]
				d.runtime -= int64(nd.runtime)
				d.setup -= int64(nd.setup)
				d.tardy -= int64(nd.tardy)
				if nd.end == never {
					d.homeless -= int64(nd.runtime)
				}
				i++
			}
		}
		if int(i) >= len(seq) {
			break
		}
		if e < s.count && s.edits[e].at == i {
			continue
		}
		oldEnd, oldBefore := int32(0), mc.initial
		if i > 0 {
			oldEnd, oldBefore = seq[i-1].end, seq[i-1].family
		}
		if end == oldEnd && before == oldBefore {
			if e == s.count {
				break
			}
			i = s.edits[e].at
			if i > 0 {
				p := &seq[i-1]
				end, interval, before = p.end, p.interval, p.family
			}
			continue
		}
		nd := &seq[i]
		wait, cost := st.in.setup(before, nd.family)
		end, interval = place(mc.intervals, interval, end, wait, nd.release, nd.runtime)
		d.setup += int64(cost - nd.setup)
		if end != nd.end {
			d.tardy += int64(st.late(nd, st.lists[nd.id], end) - nd.tardy)
			if end == never {
				d.homeless += int64(nd.runtime)
			} else if nd.end == never {
				d.homeless -= int64(nd.runtime)
			}
		}
		before = nd.family
		i++
	}
	c.delta.runtime += d.runtime
	c.delta.setup += d.setup
	c.delta.tardy += d.tardy
	c.delta.homeless += d.homeless
}

// apply carries the evaluated change out.
func (c *change) apply() {
	st := c.st
	for _, j := range c.unpooled {
		st.fromPool(j)
	}
	for _, j := range c.pooled {
		st.toPool(j)
	}
	for k := 0; k < c.dropCount; k++ {
		st.dropBatch(c.dropped[k], st.node(c.dropped[k]).family)
	}
	for k := 0; k < c.slots; k++ {
		nd := &c.nodes[k]
		if !c.fresh[k] {
			continue
		}
		if nd.id < 0 {
			nd.id = st.newBatch(nd.family)
		}
		st.lists[nd.id] = append(st.lists[nd.id][:0], c.lists[k]...)
		for _, j := range c.lists[k] {
			st.jobBatch[j] = nd.id
		}
	}
	for k := 0; k < c.used; k++ {
		c.rebuild(&c.sides[k])
	}
	st.runtime += c.delta.runtime
	st.tardy += c.delta.tardy
	st.setup += c.delta.setup
	st.homeless += c.delta.homeless
	st.pooled += c.delta.pooled
}

// rebuild writes one machine's new sequence and its times.
func (c *change) rebuild(s *side) {
	st := c.st
	seq := st.seq[s.machine]
	first := s.edits[0].at
	inPlace := true
	for e := 0; e < s.count; e++ {
		inPlace = inPlace && s.edits[e].remove && s.edits[e].slot >= 0
	}
	last := first // place after the last edit, in the new sequence
	if inPlace {
		for e := 0; e < s.count; e++ {
			at := s.edits[e].at
			seq[at] = c.nodes[s.edits[e].slot]
			seq[at].end = -1
			id := seq[at].id
			st.batchMachine[id], st.batchAt[id] = s.machine, at
			last = at + 1
		}
	} else {
		st.tail = append(st.tail[:0], seq[first:]...)
		seq = seq[:first]
		i := first
		for e := 0; e < s.count; e++ {
			ed := s.edits[e]
			for ; i < ed.at; i++ {
				seq = append(seq, st.tail[i-first])
			}
			if ed.slot >= 0 {
				seq = append(seq, c.nodes[ed.slot])
				seq[len(seq)-1].end = -1
			}
			if ed.remove && i == ed.at {
				i++
			}
			last = int32(len(seq))
		}
		seq = append(seq, st.tail[i-first:]...)
		st.seq[s.machine] = seq
		for k := int(first); k < len(seq); k++ {
			id := seq[k].id
			st.batchMachine[id], st.batchAt[id] = s.machine, int32(k)
		}
	}
	mc := &st.in.machines[s.machine]
	end, interval, before := int32(0), int32(0), mc.initial
	if first > 0 {
		p := &seq[first-1]
		end, interval, before = p.end, p.interval, p.family
	}
	for k := first; int(k) < len(seq); k++ {
		nd := &seq[k]
		wait, cost := st.in.setup(before, nd.family)
		end, interval = place(mc.intervals, interval, end, wait, nd.release, nd.runtime)
		same := end == nd.end
		nd.setup = cost
		if !same {
			nd.end, nd.interval = end, interval
			nd.tardy = st.late(nd, st.lists[nd.id], end)
		} else if k >= last {
			break
		}
		before = nd.family
	}
}
