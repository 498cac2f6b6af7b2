package web

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// The form of what happened goes from the plan: it was followed up to now, but for what
// the form says. Each load and batch has fields named after its Ref.

// beforeOpening is how long before the opening the day of a class begins for a time without a date.
const beforeOpening = 6 * time.Hour

// onTheDay is a time of day on the day of a class, by the clock of its site.
func onTheDay(text string, opens time.Time, zone *time.Location) (time.Time, error) {
	t, err := time.Parse("15:04", strings.TrimSpace(text))
	if err != nil {
		return t, fmt.Errorf("%q is no time of day: write it as 14:05", text)
	}
	from := opens.Add(-beforeOpening).In(zone)
	at := time.Date(from.Year(), from.Month(), from.Day(), t.Hour(), t.Minute(), 0, 0, zone)
	if at.Before(from) {
		at = time.Date(from.Year(), from.Month(), from.Day()+1, t.Hour(), t.Minute(), 0, 0, zone)
	}
	return at, nil
}

// readHappened is what the form says has happened since the plan; problems stand in the form.
func readHappened(f sentForm, plan *stillroomv1.LoadPlan, zone *time.Location) *stillroomv1.Happened {
	r := happening{f: f, opens: plan.GetOpenTime().AsTime(), zone: zone, filled: map[string]*stillroomv1.FilledBatch{}}
	now := r.time("now")
	if now == nil {
		if f.Problems["now"] == "" {
			f.Problems["now"] = "Say from which time on to plan."
		}
		return nil
	}
	r.now = now.AsTime()
	if lost := strings.TrimSpace(f.Values.Get("lost")); lost != "" {
		n, err := strconv.Atoi(lost)
		if err != nil || n < 0 || n > 480 {
			f.Problems["lost"] = "Minutes lost are whole minutes, 0 to 480."
		}
		r.behind = time.Duration(n) * time.Minute
	}
	r.out = &stillroomv1.Happened{Now: now}
	for i, b := range plan.GetBatches() {
		r.batch(fmt.Sprintf("batch-%d", i+1), b)
	}
	for i, c := range plan.GetCanners() {
		for j, l := range c.GetLoads() {
			r.load(fmt.Sprintf("load-%d-%d", i+1, j+1), c, l)
		}
		if f.Values.Get(fmt.Sprintf("gone-%d", i+1)) != "" {
			r.out.Gone = append(r.out.Gone, c.GetUnit())
		}
	}
	return r.out
}

// happening reads the form of what happened.
type happening struct {
	f      sentForm
	opens  time.Time
	now    time.Time
	zone   *time.Location
	behind time.Duration
	filled map[string]*stillroomv1.FilledBatch
	out    *stillroomv1.Happened
}

// time is a time of day in the form; nil when there is none.
func (r *happening) time(field string) *timestamppb.Timestamp {
	text := strings.TrimSpace(r.f.Values.Get(field))
	if text == "" {
		return nil
	}
	t, err := onTheDay(text, r.opens, r.zone)
	if err != nil {
		r.f.Problems[field] = sentence(err.Error())
		return nil
	}
	return timestamppb.New(t)
}

// end is when something ends that was planned to: what is over ended as planned, what is not is behind.
func (r *happening) end(t *timestamppb.Timestamp) *timestamppb.Timestamp {
	if t.AsTime().After(r.now) {
		return timestamppb.New(t.AsTime().Add(r.behind))
	}
	return t
}

func (r *happening) batch(ref string, b *stillroomv1.PlannedBatch) {
	if r.f.Values.Get(ref+"-not") != "" {
		return
	}
	lidded := r.time(ref + "-lidded")
	if lidded == nil {
		if !b.GetCookTime().AsTime().Before(r.now) {
			return
		}
		lidded = r.end(b.GetLiddedTime())
	}
	r.fill(b.GetBatch(), lidded)
}

func (r *happening) fill(batch string, lidded *timestamppb.Timestamp) {
	r.filled[batch] = &stillroomv1.FilledBatch{Batch: batch, LiddedTime: lidded}
	r.out.Filled = append(r.out.Filled, r.filled[batch])
}

func (r *happening) load(ref string, c *stillroomv1.PlannedCanner, l *stillroomv1.PlannedLoad) {
	if r.f.Values.Get(ref+"-not") != "" {
		return
	}
	in, out := r.time(ref+"-in"), r.time(ref+"-out")
	switch {
	case in == nil && out == nil:
		if !l.GetInTime().AsTime().Before(r.now) {
			return
		}
		in, out = l.GetInTime(), r.end(l.GetOutTime())
	case in == nil && l.GetInTime().AsTime().After(r.now):
		r.f.Problems[ref+"-in"] = "It is out, so say when it went in."
		return
	case in == nil:
		in = l.GetInTime()
	case out == nil && in.AsTime().Equal(l.GetInTime().AsTime()):
		out = r.end(l.GetOutTime())
	}
	if in.AsTime().After(r.now) {
		r.f.Problems[ref+"-in"] = "It cannot have gone in after the time to plan from."
	}
	if out != nil && !out.AsTime().After(in.AsTime()) {
		r.f.Problems[ref+"-out"] = "It came out after it went in."
	}
	load := &stillroomv1.HappenedLoad{Canner: c.GetUnit(), InTime: in, OutTime: out}
	for _, j := range l.GetJars() {
		load.Jars = append(load.Jars, &stillroomv1.BatchJars{Batch: j.GetBatch(), Jars: j.GetJars()})
		// Jars in a canner have lids: whoever says so of the load has said it of the batch.
		if known := r.filled[j.GetBatch()]; known == nil {
			r.fill(j.GetBatch(), in)
		} else if known.GetLiddedTime().AsTime().After(in.AsTime()) {
			known.LiddedTime = in
		}
	}
	r.out.Loads = append(r.out.Loads, load)
}

// NowText is the time that the form plans from: this minute by the clock of the site, or
// the opening when the class is not under way.
func (b *board) NowText() string {
	if b.Forms.Replan.refused() {
		return b.Forms.Replan.Values.Get("now")
	}
	now := b.Now
	if opens := b.Plan.GetOpenTime().AsTime(); now.Before(opens) || now.After(b.Plan.GetCloseTime().AsTime()) {
		now = opens
	}
	return now.In(b.Zone).Format("15:04")
}
