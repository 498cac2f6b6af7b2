package oven

// packByPrice puts every pooled job into a batch, guided by the prices of late batches
// (see latePrices). First the room that is left in the batches there are is filled with
// jobs that cost nothing there, those of most worth. Then it takes, family by family,
// again and again the batch whose jobs' prices come nearest to its cost, up to a little
// noise. Prices are highest for what is hard to place, so that goes first and in good
// company. It reports false, having done nothing, if that would take too long.
func (st *state) packByPrice(prices []float64, r *rng, noise float64) bool {
	const limit = 300_000_000 // steps of knapsacks
	in := st.in
	var families []*columns
	steps := int64(0)
	for f := int32(0); int(f) < in.families; f++ {
		p := newColumns(in, f)
		if len(p.jobs) == 0 {
			continue
		}
		if !p.exact {
			return false
		}
		batches, area := int64(0), int64(0)
		for _, j := range p.jobs {
			area += int64(in.jobs[j].size)
		}
		for k := range p.kinds {
			steps += int64(len(p.kinds[k].rows)) * int64(p.kinds[k].capacity)
			batches = max(batches, area/int64(p.kinds[k].capacity)+1)
		}
		if steps*batches > limit {
			return false
		}
		families = append(families, p)
	}
	for _, p := range families {
		y := make([]float64, len(p.jobs))
		left := 0
		for i, j := range p.jobs {
			if st.jobBatch[j] == -1 {
				y[i] = max(prices[j], 1e-9)
				left++
			}
		}
		left -= st.fillByPrice(p, y)
		for left > 0 {
			best, ratio := -1, 0.0
			for k := range p.kinds {
				worth, _ := p.knapsack(&p.kinds[k], y, false)
				if v := worth / max(p.kinds[k].cost, 1e-9) * (1 - noise*r.unit()); v > ratio {
					best, ratio = k, v
				}
			}
			_, rows := p.knapsack(&p.kinds[best], y, true)
			list := make([]int32, 0, len(rows))
			for _, row := range rows {
				list = append(list, p.jobs[row])
				y[row] = 0
			}
			left -= len(list)
			st.append(list)
		}
	}
	return true
}

// append makes a batch of pooled jobs at the end of the machine, of those that it fits,
// that is free first.
func (st *state) append(list []int32) {
	c := &st.change
	c.reset()
	sortByDue(st.in, list)
	c.unpooled = append(c.unpooled, list...)
	c.slots = 1
	c.lists[0] = append(c.lists[0][:0], list...)
	st.describe(&c.nodes[0], list)
	c.nodes[0].id = -1
	c.fresh[0] = true
	onto, free := int32(-1), int32(0)
	for m := range st.seq {
		if !c.fits(0, int32(m)) {
			continue
		}
		end := int32(0)
		if k := len(st.seq[m]); k > 0 {
			end = st.seq[m][k-1].end
		} else if iv := st.in.machines[m].intervals; len(iv) > 0 {
			end = iv[0].start
		}
		if onto < 0 || end < free {
			onto, free = int32(m), end
		}
	}
	c.put(onto, int32(len(st.seq[onto])), 0)
	c.evaluate()
	c.apply()
}

// fillByPrice fills the room in a family's batches and returns how many jobs it placed;
// their prices become 0.
func (st *state) fillByPrice(p *columns, y []float64) (placed int) {
	in := st.in
	c := &st.change
	for _, id := range append([]int32(nil), st.familyLive[p.family]...) {
		nd, m := *st.node(id), st.batchMachine[id]
		room := columnKind{capacity: in.machines[m].capacity - nd.size}
		if room.capacity <= 0 || nd.end == never {
			continue
		}
		for row, j := range p.jobs {
			jb := &in.jobs[j]
			if y[row] > 0 && jb.machines&(1<<uint(m)) != 0 && jb.size <= room.capacity &&
				jb.minTime <= nd.runtime && nd.runtime <= jb.maxTime && jb.release <= nd.end-nd.runtime {
				room.rows = append(room.rows, int32(row))
			}
		}
		_, rows := p.knapsack(&room, y, true)
		for _, row := range rows {
			j := p.jobs[row]
			c.reset()
			c.unpooled = append(c.unpooled, j)
			c.replace(id, c.compose(id, -1, j))
			c.evaluate()
			c.apply()
			y[row] = 0
			placed++
		}
	}
	return placed
}
