package web

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/chart"
	"stillroom/internal/web/inert"
	"stillroom/internal/web/words"
)

// proof says in words how good a plan is known to be.
func proof(p *stillroomv1.LoadPlan, zone *time.Location) string {
	o := p.GetOutcome()
	var parts []string
	if n := o.GetUnprocessedJars(); n > 0 {
		text := count(n, "jar with a published process finds", "jars with a published process find") + " no room"
		switch least := o.GetBoundUnprocessedJars(); {
		case least == n:
			text += "; that fewer cannot is proven"
		case least > 0:
			text += fmt.Sprintf("; at least %d cannot, that is proven", least)
		}
		parts = append(parts, text+".")
	}
	open := p.GetOpenTime().AsTime()
	switch late := o.GetFinishMinutes() - o.GetBoundFinishMinutes(); {
	case o.GetLoads() == 0:
	case o.GetOptimal():
		parts = append(parts, "No plan is sooner: that is proven.")
	case o.GetBoundFinishMinutes() == 0:
		parts = append(parts, "Whether one could be sooner is not known.")
	case o.GetUnprocessedJars() == o.GetBoundUnprocessedJars():
		parts = append(parts, fmt.Sprintf("None can be done before %s, that is proven; this plan may be up to %s (%s) later than need be.",
			minutesFrom(open, o.GetBoundFinishMinutes(), zone), count(late, "minute", "minutes"), percent(o.GetGap())))
	default:
		parts = append(parts, fmt.Sprintf("None can be done before %s, that is proven.", minutesFrom(open, o.GetBoundFinishMinutes(), zone)))
	}
	return strings.Join(parts, " ")
}

// doing is something to do at a time.
type doing struct {
	At *timestamppb.Timestamp
	// Do is the order in two or three words, What the rest of the sentence.
	Do, What string
	// Ref is the load or batch it belongs to.
	Ref string
}

// coming is what there is to do from now on.
type coming struct {
	// Now is by the clock of the server.
	Now time.Time
	// First is next, all of it at one time; Then what follows.
	First, Then []doing
	// Running is what canners are in the middle of.
	Running []running
	// Over says that nothing is left to do.
	Over bool
	// Before says that the class has not begun.
	Before bool
}

// running is a canner in the middle of a load.
type running struct {
	Canner, What string
	Until        *timestamppb.Timestamp
}

// thenShown is how many further things to do are shown.
const thenShown = 6

// coming are the orders from now on.
func (d drawing) coming(loads []boardLoad, batches []boardBatch, now time.Time) coming {
	c := coming{Now: now, Before: now.Before(d.plan.GetOpenTime().AsTime())}
	var all []doing
	add := func(at *timestamppb.Timestamp, do, what, ref string) {
		if at != nil && at.AsTime().After(now) {
			all = append(all, doing{At: at, Do: do, What: what, Ref: ref})
		}
	}
	for _, b := range batches {
		jars := fmt.Sprintf("%s of %s", jarCount(b.GetJars(), b.GetJarSize()), inert.Text(b.GetTitle()))
		add(b.GetCookTime(), "start cooking", fmt.Sprintf("at %s: %s", b.Bench, inert.Text(b.GetTitle())), b.Ref)
		add(b.GetLiddedTime(), "last lid", fmt.Sprintf("at %s: %s", b.Bench, jars), b.Ref)
	}
	for _, l := range loads {
		canner := inert.Text(l.Canner.GetDisplayName())
		add(l.GetInTime(), "load", canner+": "+d.contents(l), l.Ref)
		add(l.GetClockTime(), "start the clock", fmt.Sprintf("of %s %s, not before: %s", canner, ready(l.GetProcess()), words.Process(l.GetProcess())), l.Ref)
		add(l.GetOffTime(), "heat off", canner, l.Ref)
		add(l.GetUnloadTime(), "take out", canner+": "+d.contents(l), l.Ref)
		for _, phase := range l.GetPhases() {
			if !phase.GetStartTime().AsTime().After(now) && phase.GetEndTime().AsTime().After(now) {
				what := phase.GetName()
				if kind, ok := chart.KindOfPart(phase.GetPart()); ok {
					what = kind.String()
				}
				c.Running = append(c.Running, running{Canner: canner, What: what, Until: phase.GetEndTime()})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b doing) int { return cmp.Compare(a.At.AsTime().Unix(), b.At.AsTime().Unix()) })
	for i, e := range all {
		if e.At.AsTime().Equal(all[0].At.AsTime()) {
			c.First = append(c.First, e)
			continue
		}
		c.Then = all[i:min(i+thenShown, len(all))]
		break
	}
	c.Over = len(all) == 0
	return c
}

// ready is when the clock of a process may start.
func ready(p *stillroomv1.LoadProcess) string {
	switch p.GetMethod() {
	case stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER:
		return "when it boils"
	case stillroomv1.ProcessMethod_PROCESS_METHOD_ATMOSPHERIC_STEAM:
		return "when the steam flows steadily"
	}
	return fmt.Sprintf("when it is at %d lb", p.GetPressurePounds())
}

// contents is what is in a load, by station: "7 pint jars of chile salsa from bench 3".
func (d drawing) contents(l boardLoad) string {
	var parts []string
	for i, share := range l.Whose {
		jars := jarCount(share.GetJars(), l.GetJarSize())
		if i > 0 {
			jars = fmt.Sprint(share.GetJars())
		}
		parts = append(parts, fmt.Sprintf("%s of %s from %s", jars, inert.Text(share.GetTitle()), share.Station))
	}
	return strings.Join(parts, ", ")
}

// afterOpening is a minute of the class in hours and minutes: "3 h 52 min".
func afterOpening(minutes int32) string {
	if minutes < 60 {
		return fmt.Sprintf("%d min", minutes)
	}
	return fmt.Sprintf("%d h %02d min", minutes/60, minutes%60)
}
