package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// wallClock is an instant of the day as the kitchen's wall shows it.
func wallClock(t *timestamppb.Timestamp, zone *time.Location) string {
	if t == nil {
		return "–"
	}
	return t.AsTime().In(zone).Format("15:04")
}

func writeLoadPlan(w io.Writer, p *stillroomv1.LoadPlan, zone *time.Location) {
	writeOutcome(w, p, zone)
	fmt.Fprintln(w)
	writeTimeline(w, p, zone)
	fmt.Fprintln(w)
	writePlannedLoads(w, p, zone)
	fmt.Fprintln(w)
	writePlannedBatches(w, p, zone)
	writeUnplaced(w, p)
	writeChain(w, p, zone)
	writeGains(w, p)
	if len(p.GetNotes()) > 0 {
		fmt.Fprintln(w, "\nNotes:")
		for _, n := range p.GetNotes() {
			fmt.Fprintln(w, "  "+n)
		}
	}
	fmt.Fprintln(w)
	writeCautions(w, p.GetCautions())
}

func writeOutcome(w io.Writer, p *stillroomv1.LoadPlan, zone *time.Location) {
	o := p.GetOutcome()
	fmt.Fprintf(w, "Plan %s for %s, %s to %s, at %s\n", last(p.GetName()), p.GetOpenTime().AsTime().In(zone).Format("Mon 2 Jan 2006"),
		wallClock(p.GetOpenTime(), zone), wallClock(p.GetCloseTime(), zone), height(p.GetAltitude()))
	if o.GetLoads() == 0 {
		fmt.Fprintln(w, "No jar goes into a load.")
		return
	}
	proof := "no plan is sooner (proven)"
	if !o.GetOptimal() {
		proof = fmt.Sprintf("none can end before %s", wallClock(timestamppb.New(p.GetOpenTime().AsTime().Add(time.Duration(o.GetBoundFinishMinutes())*time.Minute)), zone))
		if o.GetBoundFinishMinutes() == 0 {
			proof = "not proven to be the soonest"
		}
	}
	fmt.Fprintf(w, "%d jars in %d loads, the last out at %s; %s.\n", o.GetJars(), o.GetLoads(), wallClock(o.GetFinishTime(), zone), proof)
	if o.GetUnprocessedJars() > 0 {
		fmt.Fprintf(w, "%d jars with a published process find no room.\n", o.GetUnprocessedJars())
	}
	fmt.Fprintf(w, "%d minutes of heat over all burners, %.1f l of water in the canners, %d jar-minutes of hot waiting.\n",
		o.GetFuelMinutes(), o.GetWaterLitres(), o.GetHotWaitingJarMinutes())
}

// What a minute of a canner looks like; each is told apart without colour.
const (
	signFree    = ' '
	signHeld    = 'x'
	signLoad    = '='
	signComeUp  = '/'
	signVent    = '^'
	signProcess = '#'
	signCooling = 'v'
	signRest    = '-'
	signReset   = '.'
)

var signs = map[string]rune{
	"load": signLoad, "come-up": signComeUp, "vent": signVent, "process": signProcess, "depressurise": signCooling, "rest": signRest,
}

// timelineWidth is about how many characters the class's time is given.
const timelineWidth = 96

// writeTimeline draws one row for each canner on a common clock.
func writeTimeline(w io.Writer, p *stillroomv1.LoadPlan, zone *time.Location) {
	opens := p.GetOpenTime().AsTime()
	length := int(p.GetCloseTime().AsTime().Sub(opens).Minutes())
	if length <= 0 {
		return
	}
	// Divisors of half an hour, so that the marks of the clock stand on a column.
	per := 30
	for _, m := range []int{1, 2, 3, 5, 6, 10, 15} {
		if length/m <= timelineWidth {
			per = m
			break
		}
	}
	columns := (length + per - 1) / per
	column := func(t *timestamppb.Timestamp) int { return int(t.AsTime().Sub(opens).Minutes()) / per }
	label := 0
	for _, c := range p.GetCanners() {
		label = max(label, len([]rune(c.GetDisplayName())))
	}
	fmt.Fprintf(w, "%-*s  %s\n", label, "", clockLine(opens, columns, per, zone))
	for _, c := range p.GetCanners() {
		row := []rune(strings.Repeat(string(signFree), columns))
		fill := func(from, until int, sign rune) {
			for i := max(from, 0); i < min(max(until, from+1), columns); i++ {
				row[i] = sign
			}
		}
		for _, h := range c.GetHeld() {
			fill(column(h.GetStartTime()), column(h.GetEndTime()), signHeld)
		}
		for _, l := range c.GetLoads() {
			if out := column(l.GetOutTime()); c.GetResetMinutes() > 0 {
				fill(out, out+int(c.GetResetMinutes())/per, signReset)
			}
			for _, phase := range l.GetPhases() {
				fill(column(phase.GetStartTime()), column(phase.GetEndTime()), signs[phase.GetPart()])
			}
		}
		fmt.Fprintf(w, "%-*s |%s|\n", label, c.GetDisplayName(), string(row))
	}
	fmt.Fprintf(w, "%-*s  = in or out  / coming to the boil  ^ venting, coming to pressure  # processing  v depressurising  - resting  . reset  x another class has it   (%d min a sign)\n",
		label, "", per)
}

// clockLine writes the time of day every half hour above its column.
func clockLine(opens time.Time, columns, per int, zone *time.Location) string {
	line := []rune(strings.Repeat(" ", columns+6))
	next := 0
	for minute := 0; minute/per <= columns; minute += 30 {
		at := minute / per
		if at < next {
			continue
		}
		text := []rune(opens.Add(time.Duration(minute) * time.Minute).In(zone).Format("15:04"))
		if at+len(text) > len(line) {
			break
		}
		copy(line[at:], text)
		next = at + len(text) + 1
	}
	return strings.TrimRight(string(line), " ")
}

func writePlannedLoads(w io.Writer, p *stillroomv1.LoadPlan, zone *time.Location) {
	g := newGrid("CANNER", "IN", "BOIL", "CLOCK", "OFF", "OUT", ">JARS", "WHOSE", "PROCESS", "BY")
	var sources footnotes
	for _, c := range p.GetCanners() {
		for i, l := range c.GetLoads() {
			name := ""
			if i == 0 {
				name = c.GetDisplayName()
			}
			var whose, by []string
			jars := int32(0)
			for _, j := range l.GetJars() {
				jars += j.GetJars()
				text := fmt.Sprintf("%d %s (%s)", j.GetJars(), j.GetTitle(), last(j.GetStation()))
				if j.GetWaitMinutes() > 0 {
					text += fmt.Sprintf(", hot %d min", j.GetWaitMinutes())
				}
				whose = append(whose, text)
				if mark := sources.mark(j.GetSource().GetPublication() + ", " + j.GetSource().GetLocator()); !slices.Contains(by, mark) {
					by = append(by, mark)
				}
				for _, n := range j.GetNotes() {
					by = append(by, sources.mark(fmt.Sprintf("%s (%s)", n.GetText(), strings.TrimSuffix(n.GetSource().GetPublication()+", "+n.GetSource().GetLocator(), ", "))))
				}
			}
			process := fmt.Sprintf("%s %d min", methodName(l.GetProcess().GetMethod()), l.GetProcess().GetMinutes())
			if l.GetProcess().GetPressurePounds() > 0 {
				process += fmt.Sprintf(" at %d lb", l.GetProcess().GetPressurePounds())
			}
			process += ", " + l.GetProcess().GetAltitudeBand()
			out := wallClock(l.GetOutTime(), zone)
			if l.GetDone() {
				out += " (done)"
			}
			g.add(name, wallClock(l.GetInTime(), zone), wallClock(l.GetBoilTime(), zone), wallClock(l.GetClockTime(), zone), wallClock(l.GetOffTime(), zone), out,
				fmt.Sprintf("%d %s", jars, jarSize(l.GetJarSize())), strings.Join(whose, "\n"), process, strings.Join(slices.Compact(by), " "))
		}
	}
	g.write(w, "No loads.")
	sources.write(w)
}

// footnotes are numbered by when they are first mentioned.
type footnotes []string

func (f *footnotes) mark(text string) string {
	at := slices.Index(*f, text)
	if at < 0 {
		at = len(*f)
		*f = append(*f, text)
	}
	return fmt.Sprintf("[%d]", at+1)
}

func (f *footnotes) write(w io.Writer) {
	for i, text := range *f {
		fmt.Fprintf(w, "[%d] %s\n", i+1, text)
	}
}

func writePlannedBatches(w io.Writer, p *stillroomv1.LoadPlan, zone *time.Location) {
	g := newGrid("STATION", "RECIPE", ">JARS", "START COOKING", "LIDDED BY", "BEFORE THE CLASS")
	assumed := false
	for _, b := range p.GetBatches() {
		var before []string
		for _, part := range b.GetBeforeClass() {
			before = append(before, fmt.Sprintf("%s %s", part.GetWhat(), hours(part.GetMinutes())))
		}
		for _, part := range append(b.GetPreparing(), b.GetCooking()...) {
			assumed = assumed || part.GetAssumed()
		}
		g.add(last(b.GetStation()), b.GetTitle(), fmt.Sprintf("%d %s", b.GetJars(), jarSize(b.GetJarSize())),
			wallClock(b.GetCookTime(), zone), wallClock(b.GetLiddedTime(), zone), strings.Join(before, ", "))
	}
	g.write(w, "No batches.")
	if a := p.GetAssumptions(); assumed {
		fmt.Fprintf(w, "Cooking times are those the recipes print; where they print none the program assumes %d min to prepare, %d min to heat a pot,\n"+
			"%d min to fill a jar (for two people). Change them with --prepare, --heat, --fill.\n", a.GetPrepareMinutes(), a.GetHeatMinutes(), a.GetFillMinutesPerJar())
	}
}

func writeUnplaced(w io.Writer, p *stillroomv1.LoadPlan) {
	if len(p.GetUnplaced()) == 0 {
		return
	}
	fmt.Fprintln(w, "\nIn no load: refrigerate or freeze these jars and eat them first.")
	for _, u := range p.GetUnplaced() {
		fmt.Fprintf(w, "  %d %s of %s (%s): %s\n", u.GetJars(), jarSize(u.GetJarSize()), u.GetTitle(), last(u.GetStation()), u.GetReason())
	}
}

func writeChain(w io.Writer, p *stillroomv1.LoadPlan, zone *time.Location) {
	if len(p.GetChain()) == 0 {
		return
	}
	fmt.Fprintln(w, "\nWhat makes the finish what it is, from the last load back:")
	for _, l := range p.GetChain() {
		fmt.Fprintf(w, "  %s–%s  %s: %s\n", wallClock(l.GetStartTime(), zone), wallClock(l.GetEndTime(), zone), l.GetWhat(), l.GetBecause())
	}
}

func writeGains(w io.Writer, p *stillroomv1.LoadPlan) {
	if len(p.GetGains()) == 0 {
		return
	}
	fmt.Fprintln(w, "\nWhat would help:")
	for _, g := range p.GetGains() {
		fmt.Fprintf(w, "  %s: %s\n", g.GetChange(), g.GetWords())
	}
}
