package questions

import (
	"fmt"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"

	"stillroom/internal/fault"
)

// Hours between which the seals of a class's jars are checked. Jars stand 12 to
// 24 hours before their seals are tested, and one that did not seal may be
// processed again within 24 hours: USDA AIB 539 (rev. 2015), Guide 1, pp. 1-25
// and 1-26 (rows cool_undisturbed_min and reprocess_unsealed_within of facts.csv).
const (
	sealCheckFrom  = 12 * time.Hour
	sealCheckUntil = 24 * time.Hour
)

// ClassCalendar is what goes into the calendar of a class.
type ClassCalendar struct {
	// UID is the class's identifier, unique over all kitchens and the same in every export.
	UID string
	// Title and Place are shown; Description may be empty.
	Title, Place, Description string
	// Start and End are instants; Location is the zone of the site.
	Start, End time.Time
	Location   *time.Location
	// FirstJarsOut is when the first jars leave a canner, where a load plan tells.
	// Zero means unknown; the seal check then counts from the class's start, the
	// earliest it can be.
	FirstJarsOut time.Time
	// LiveSessions are the question sessions of the class.
	LiveSessions []CalendarSession
	// Stamp is when the calendar was made.
	Stamp time.Time
}

// CalendarSession is one live session.
type CalendarSession struct {
	// UID is unique and the same in every export.
	UID, Title string
	Start, End time.Time
}

// Calendar writes the class, its live sessions and its seal check as iCalendar
// (RFC 5545): times in the site's zone with a VTIMEZONE that lists every change
// of the clock around them. The 24 hours of the seal check are hours that pass,
// also across a change of the clock. Faults: Invalid by field.
func Calendar(c ClassCalendar) ([]byte, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	cal := ics.NewCalendar()
	cal.SetProductId("-//Stillroom//Classes//EN")
	cal.SetMethod(ics.MethodPublish)
	first, last := c.Start, c.End
	for _, s := range c.LiveSessions {
		if s.Start.Before(first) {
			first = s.Start
		}
		if s.End.After(last) {
			last = s.End
		}
	}
	utc := c.Location.String() == "UTC"
	if !utc {
		cal.AddVTimezone(timezone(c.Location, first, last.Add(sealCheckUntil)))
	}
	event := func(uid, title, description string, start, end time.Time) *ics.VEvent {
		e := cal.AddEvent(uid)
		e.SetDtStampTime(c.Stamp)
		for property, at := range map[ics.ComponentProperty]time.Time{ics.ComponentPropertyDtStart: start, ics.ComponentPropertyDtEnd: end} {
			if utc {
				e.SetProperty(property, at.UTC().Format("20060102T150405Z"))
			} else {
				e.SetProperty(property, at.In(c.Location).Format("20060102T150405"), ics.WithTZID(c.Location.String()))
			}
		}
		e.SetSummary(title)
		if description != "" {
			e.SetDescription(description)
		}
		if c.Place != "" {
			e.SetLocation(c.Place)
		}
		return e
	}
	event(c.UID, c.Title, c.Description, c.Start, c.End)
	for _, s := range c.LiveSessions {
		event(s.UID, s.Title, "", s.Start, s.End)
	}
	out := c.FirstJarsOut
	if out.IsZero() {
		out = c.Start
	}
	until := out.Add(sealCheckUntil)
	check := event(c.UID+"-seal-check", "Seal check: "+c.Title,
		"Jars have stood 12 hours: test every seal before this entry ends. A jar that did not seal is processed again within 24 hours, with a new lid and for the full time, or refrigerated or frozen; after that, do not taste it. Source: USDA AIB 539 (rev. 2015), Guide 1, pp. 1-25 and 1-26.",
		out.Add(sealCheckFrom), until)
	alarm := check.AddAlarm()
	alarm.SetAction(ics.ActionDisplay)
	alarm.SetProperty(ics.ComponentPropertyDescription, "Seal check: "+c.Title)
	alarm.SetTrigger("-PT3H", &ics.KeyValues{Key: "RELATED", Value: []string{"END"}})
	return []byte(cal.Serialize(ics.WithNewLineWindows)), nil
}

func (c ClassCalendar) check() error {
	var bad fault.Collector
	if c.UID == "" {
		bad.Add("uid", "", "is empty", "give the class's identifier")
	}
	if strings.TrimSpace(c.Title) == "" {
		bad.Add("title", "", "is empty", "give the class a title")
	}
	if c.Location == nil || c.Location == time.Local || c.Location.String() == "Local" {
		bad.Add("location", "", "is not a named time zone", "give the site's zone by its IANA name, e.g. America/Denver")
	}
	span := func(field string, start, end time.Time) {
		if start.IsZero() || !end.After(start) || end.Sub(start) > 31*24*time.Hour {
			bad.Add(field, fmt.Sprintf("%s to %s", start.Format(time.RFC3339), end.Format(time.RFC3339)), "is no span of time", "give a start and, within 31 days, a later end")
		}
	}
	span("start", c.Start, c.End)
	for i, s := range c.LiveSessions {
		if s.UID == "" {
			bad.Add(fmt.Sprintf("live_sessions[%d].uid", i), "", "is empty", "give the session's identifier")
		}
		span(fmt.Sprintf("live_sessions[%d].start", i), s.Start, s.End)
	}
	if !c.FirstJarsOut.IsZero() && c.FirstJarsOut.Before(c.Start) {
		bad.Add("first_jars_out", c.FirstJarsOut.Format(time.RFC3339), "is before the class", "give an instant after its start, or none")
	}
	return bad.Err()
}

// timezone writes the observances of a zone that cover the span: the one in
// force at first, then each change up to last, every one with its own onset
// (RFC 5545, 3.6.5), so that no rule has to be guessed from the zone's name.
func timezone(loc *time.Location, first, last time.Time) *ics.VTimezone {
	tz := ics.NewTimezone(loc.String())
	for at := first.In(loc); ; {
		begins, ends := at.ZoneBounds()
		name, offset := at.Zone()
		from := offset
		if begins.IsZero() { // in force since ever
			begins = time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC)
		} else {
			_, from = begins.Add(-time.Second).In(loc).Zone()
		}
		var observance *ics.ComponentBase
		if at.IsDST() {
			d := &ics.Daylight{}
			tz.Components = append(tz.Components, d)
			observance = &d.ComponentBase
		} else {
			observance = &tz.AddStandard().ComponentBase
		}
		// The onset is local time by the offset before the change.
		observance.SetProperty(ics.ComponentPropertyDtStart, begins.UTC().Add(time.Duration(from)*time.Second).Format("20060102T150405"))
		observance.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetfrom), utcOffset(from))
		observance.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetto), utcOffset(offset))
		observance.SetProperty(ics.ComponentProperty(ics.PropertyTzname), name)
		if ends.IsZero() || ends.After(last) {
			return tz
		}
		at = ends
	}
}

// utcOffset writes an offset in seconds as RFC 5545 does: -0600, +0530, +001140.
func utcOffset(seconds int) string {
	sign := '+'
	if seconds < 0 {
		sign, seconds = '-', -seconds
	}
	s := fmt.Sprintf("%c%02d%02d", sign, seconds/3600, seconds/60%60)
	if seconds%60 != 0 {
		s += fmt.Sprintf("%02d", seconds%60)
	}
	return s
}
