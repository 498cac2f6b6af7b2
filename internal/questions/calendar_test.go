package questions

import (
	"bytes"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"

	"stillroom/internal/fault"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	require.NoError(t, err)
	return loc
}

// parse reads a calendar with a library that did not write it.
func parse(t *testing.T, data []byte) *ical.Calendar {
	t.Helper()
	cal, err := ical.NewDecoder(bytes.NewReader(data)).Decode()
	require.NoError(t, err)
	return cal
}

func eventTimes(t *testing.T, e ical.Event) (time.Time, time.Time) {
	t.Helper()
	start, err := e.DateTimeStart(time.UTC)
	require.NoError(t, err)
	end, err := e.DateTimeEnd(time.UTC)
	require.NoError(t, err)
	return start, end
}

// In Denver clocks go back on Sunday 1 November 2026 at 2:00 (US law, 15 U.S.C.
// 260a: the first Sunday of November). A class on Saturday from 9:00 MDT.
func TestCalendarAcrossTheChangeOfClocks(t *testing.T) {
	denver := zone(t, "America/Denver")
	start := time.Date(2026, 10, 31, 9, 0, 0, 0, denver)
	data, err := Calendar(ClassCalendar{
		UID: "0199-class", Title: "Salsa; hot, and hotter", Place: "North room\nBench 4", Description: "Bring an apron, please. 🍅 " + strings.Repeat("très long ", 20),
		Start: start, End: start.Add(4 * time.Hour), Location: denver, Stamp: start.Add(-100 * time.Hour),
		LiveSessions: []CalendarSession{{UID: "0199-live", Title: "Live questions", Start: time.Date(2026, 11, 3, 18, 0, 0, 0, denver), End: time.Date(2026, 11, 3, 18, 30, 0, 0, denver)}},
	})
	require.NoError(t, err)
	for _, line := range strings.Split(strings.TrimSuffix(string(data), "\r\n"), "\r\n") {
		require.LessOrEqual(t, len(line), 75, "RFC 5545, 3.1: lines of at most 75 octets")
		require.NotContains(t, line, "\n")
	}
	cal := parse(t, data)
	events := cal.Events()
	require.Len(t, events, 3)

	from, to := eventTimes(t, events[0])
	require.True(t, start.Equal(from))
	require.True(t, start.Add(4*time.Hour).Equal(to))
	title, err := events[0].Props.Text(ical.PropSummary)
	require.NoError(t, err)
	require.Equal(t, "Salsa; hot, and hotter", title)
	place, err := events[0].Props.Text(ical.PropLocation)
	require.NoError(t, err)
	require.Equal(t, "North room\nBench 4", place)

	from, to = eventTimes(t, events[1])
	require.Equal(t, "2026-11-04T01:00:00Z", from.UTC().Format(time.RFC3339)) // 18:00 MST is 01:00 UTC
	require.Equal(t, 30*time.Minute, to.Sub(from))

	// 24 hours pass by 8:00 MST on Sunday, not by 9:00.
	from, to = eventTimes(t, events[2])
	require.Equal(t, 24*time.Hour, to.Sub(start))
	require.Equal(t, "2026-11-01T08:00:00-07:00", to.Format(time.RFC3339))
	require.Equal(t, 12*time.Hour, from.Sub(start))
	require.Equal(t, ical.CompAlarm, events[2].Children[0].Name)

	// The zone in the file says the same as the zone database, read here by hand:
	// daylight time since 8 March 3:00 MDT, standard time from 1 November 1:00 MST.
	require.Equal(t, ical.CompTimezone, cal.Children[0].Name)
	var observances []string
	for _, o := range cal.Children[0].Children {
		observances = append(observances, strings.Join([]string{o.Name, o.Props.Get("DTSTART").Value, o.Props.Get("TZOFFSETFROM").Value, o.Props.Get("TZOFFSETTO").Value, o.Props.Get("TZNAME").Value}, " "))
	}
	require.Equal(t, []string{
		"DAYLIGHT 20260308T020000 -0700 -0600 MDT",
		"STANDARD 20261101T020000 -0600 -0700 MST",
	}, observances)
}

func TestCalendarElsewhere(t *testing.T) {
	for name, offset := range map[string]string{"Asia/Kolkata": "+0530", "America/Phoenix": "-0700", "UTC": ""} {
		loc := zone(t, name)
		start := time.Date(2026, 6, 6, 10, 0, 0, 0, loc)
		out := start.Add(90 * time.Minute)
		data, err := Calendar(ClassCalendar{UID: "c", Title: "Jam", Start: start, End: start.Add(3 * time.Hour), Location: loc, Stamp: start, FirstJarsOut: out})
		require.NoError(t, err)
		cal := parse(t, data)
		_, to := eventTimes(t, cal.Events()[1])
		require.Equal(t, 24*time.Hour, to.Sub(out), name)
		if offset == "" {
			require.Equal(t, ical.CompEvent, cal.Children[0].Name)
			continue
		}
		require.Equal(t, offset, cal.Children[0].Children[0].Props.Get("TZOFFSETTO").Value)
	}
}

func TestCalendarRefusesByField(t *testing.T) {
	at := time.Date(2026, 6, 6, 10, 0, 0, 0, time.UTC)
	_, err := Calendar(ClassCalendar{Start: at, End: at, Location: time.Local, FirstJarsOut: at.Add(-time.Hour), LiveSessions: []CalendarSession{{Start: at, End: at.Add(-time.Hour)}}})
	require.Equal(t, fault.Invalid, fault.KindOf(err))
	for _, field := range []string{"uid", "title", "location", "start", "live_sessions[0].uid", "live_sessions[0].start", "first_jars_out"} {
		require.ErrorContains(t, err, field)
	}
	require.Equal(t, "+001140", utcOffset(700))
}
