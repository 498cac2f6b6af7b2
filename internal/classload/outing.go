package classload

import "time"

// Outing is what a plan does with the jars of one batch.
type Outing struct {
	// Canned jars go through a canner, the others are refrigerated or frozen, for the Reason.
	Canned, Refrigerated int
	Reason               string
	// First and Last are when the first and the last of the canned jars are out; zero when none are canned.
	First, Last time.Time
	// Process is what they are given.
	Process ProcessBasis
}

// Outing is what the plan does with a batch; false when the plan does not know the batch.
func (p *Plan) Outing(batch string) (Outing, bool) {
	var out Outing
	known := false
	for _, b := range p.Batches {
		known = known || b.Batch == batch
	}
	for _, c := range p.Canners {
		for _, l := range c.Loads {
			for _, j := range l.Jars {
				if j.Batch != batch {
					continue
				}
				at := p.Opens.Add(time.Duration(l.Out) * time.Minute)
				if out.Canned == 0 || at.Before(out.First) {
					out.First = at
				}
				if at.After(out.Last) {
					out.Last = at
				}
				out.Canned += j.Jars
				out.Process = l.Process
			}
		}
	}
	for _, u := range p.Unplaced {
		if u.Batch == batch {
			known = true
			out.Refrigerated += u.Jars
			out.Reason = u.Reason
		}
	}
	return out, known || out.Canned > 0
}
