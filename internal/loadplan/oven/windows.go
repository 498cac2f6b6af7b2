package oven

import "slices"

// windowSearch is large-neighbourhood search (P. Shaw 1998) over time: it takes the
// batches of a stretch of time out of a partial plan, gives them and the pooled jobs that
// could be on time there to a small instance of their own, anneals that from where it
// stands, and puts the result back if the whole is no worse. A whole schedule annealed
// at once is a sum of good and bad stretches; this keeps the good ones.
type windowSearch struct {
	st    *state
	r     *rng
	now   snapshot // the state's assignment, as last accepted
	tries int64
}

// window is the part of a sequence that is taken out, per machine.
type window struct{ from, to int } // places

// step takes one window and reports whether the plan became cheaper.
func (w *windowSearch) step(tries int64, hot, cold float64) bool {
	st := w.st
	if len(st.live) == 0 {
		return false
	}
	st.save(&w.now)
	before := st.cost()
	windows, first, last := w.choose()
	sub, jobs := w.instance(windows, first, last)
	if sub == nil {
		return false
	}
	ss := newState(sub)
	ss.partial = true
	for k, j := range jobs {
		ss.poolPrice[k] = st.poolPrice[j]
	}
	ss.load(w.inside(windows, jobs))
	start := ss.cost()
	a := &anneal{st: ss, moves: &partialChooser, r: w.r, hot: hot, cold: cold, bestCost: exactNone}
	if ss.homeless == 0 {
		a.bestCost = start
		ss.save(&a.best)
	}
	a.run(func(n int64) float64 { return float64(n) / float64(tries) })
	w.tries += a.tries
	if a.bestCost == exactNone {
		return false
	}
	if a.bestCost >= start {
		// Nothing better: go sideways with what the annealing ended on, if it costs no more.
		if ss.homeless > 0 || ss.cost() > start {
			return false
		}
		ss.save(&a.best)
	}
	st.load(w.splice(windows, &a.best, jobs))
	if after := st.cost(); after > before || st.homeless > 0 {
		st.load(&w.now)
		return false
	}
	return st.cost() < before
}

// choose draws a run of batches in order of time, and gives for every machine the
// places of its batches that lie within the run's minutes.
func (w *windowSearch) choose() (windows []window, first, last int32) {
	st := w.st
	ends := make([]int32, 0, len(st.live))
	for _, id := range st.live {
		ends = append(ends, st.node(id).end)
	}
	slices.Sort(ends)
	count := min(5+w.r.below(16), len(ends))
	at := w.r.below(len(ends) - count + 1)
	first, last = ends[at], ends[at+count-1]
	for m := range st.seq {
		x := window{st.firstEnding(int32(m), first), st.firstEnding(int32(m), last+1)}
		windows = append(windows, x)
	}
	return windows, first, last
}

// instance builds the window's own instance, and the list that maps its jobs to ours.
func (w *windowSearch) instance(windows []window, first, last int32) (*Instance, []int32) {
	st := w.st
	in := st.in
	sub := *in
	sub.jobs, sub.machines = nil, make([]machine, len(in.machines))
	var jobs []int32
	earliest, latest := never, int32(0)
	for m := range in.machines {
		mc := &in.machines[m]
		sm := machine{capacity: mc.capacity, initial: mc.initial}
		seq, x := st.seq[m], windows[m]
		opens, shuts := int32(0), never
		if x.from > 0 {
			opens, sm.initial = seq[x.from-1].end, seq[x.from-1].family
		}
		if x.to < len(seq) {
			next, before := &seq[x.to], sm.initial
			if x.to > 0 {
				before = seq[x.to-1].family
			}
			wait, _ := in.setup(before, next.family)
			shuts = next.end - next.runtime - wait
		}
		for _, iv := range mc.intervals {
			if from, to := max(iv.start, opens), min(iv.end, shuts); from < to {
				sm.intervals = append(sm.intervals, interval{from, to})
			}
		}
		if len(sm.intervals) > 0 {
			earliest = min(earliest, max(sm.intervals[0].start, opens))
			latest = max(latest, sm.intervals[len(sm.intervals)-1].end)
		}
		for k := x.from; k < x.to; k++ {
			jobs = append(jobs, st.lists[seq[k].id]...)
		}
		sub.machines[m] = sm
	}
	if len(jobs) == 0 {
		return nil, nil
	}
	for _, j := range st.pool {
		jb := &in.jobs[j]
		if jb.release+jb.minTime <= min(last, latest) && jb.due >= max(first-jb.minTime, earliest+jb.minTime) {
			jobs = append(jobs, j)
		}
	}
	slices.Sort(jobs)
	for _, j := range jobs {
		sub.jobs = append(sub.jobs, in.jobs[j])
	}
	return &sub, jobs
}

// inside is the window's part of the plan in the small instance's numbering.
func (w *windowSearch) inside(windows []window, jobs []int32) *snapshot {
	st := w.st
	s := &snapshot{}
	for m, x := range windows {
		for k := x.from; k < x.to; k++ {
			for _, j := range st.lists[st.seq[m][k].id] {
				at, _ := slices.BinarySearch(jobs, j)
				s.jobs = append(s.jobs, int32(at))
			}
			s.ends = append(s.ends, int32(len(s.jobs)))
		}
		s.counts = append(s.counts, int32(x.to-x.from))
	}
	return s
}

// splice is the plan with the window's part replaced.
func (w *windowSearch) splice(windows []window, part *snapshot, jobs []int32) *snapshot {
	st := w.st
	s := &snapshot{}
	batch, from := 0, int32(0)
	for m, x := range windows {
		count := int32(0)
		keep := func(places []node) {
			for i := range places {
				s.jobs = append(s.jobs, st.lists[places[i].id]...)
				s.ends = append(s.ends, int32(len(s.jobs)))
				count++
			}
		}
		keep(st.seq[m][:x.from])
		for k := int32(0); k < part.counts[m]; k++ {
			for _, j := range part.jobs[from:part.ends[batch]] {
				s.jobs = append(s.jobs, jobs[j])
			}
			s.ends = append(s.ends, int32(len(s.jobs)))
			from = part.ends[batch]
			batch++
			count++
		}
		keep(st.seq[m][x.to:])
		s.counts = append(s.counts, count)
	}
	return s
}
