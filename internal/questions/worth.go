package questions

import (
	"fmt"
	"strings"
	"time"
)

// Weights say what a minute of the room's attention is worth. The figures are
// common practice of question sessions put into numbers, not published ones; a
// kitchen may set its own. All are points and not negative.
type Weights struct {
	// Asker is counted for each person whose question this is, the askers of merged questions included.
	Asker int
	// Endorsement is counted for each "me too"; less than Asker, since it is one tap.
	Endorsement int
	// Urgent is counted once for a question that was raised. It outweighs a full room of endorsements.
	Urgent int
	// Day is counted for each whole day the question has waited, for at most LongestWait days.
	Day         int
	LongestWait int
	// WrittenPercent is what is left of a routine question's worth when a
	// written answer exists: those who asked can read it. 0 to 100.
	WrittenPercent int
}

// StandardWeights are used where a kitchen sets none.
var StandardWeights = Weights{Asker: 10, Endorsement: 6, Urgent: 500, Day: 1, LongestWait: 14, WrittenPercent: 30}

// Candidate is an open question that a live session could take.
type Candidate struct {
	// ID is unique in the session and breaks ties.
	ID string
	// Topic groups questions so that the talk flows; empty is a topic too.
	Topic string
	// Askers is how many people asked it, 1 or more; Endorsements how many others said "me too".
	Askers, Endorsements int
	Urgency              Urgency
	// Asked is when the first asker asked.
	Asked time.Time
	// Written is true when a written answer exists.
	Written bool
	// Time is the share of the session that answering takes; zero means the usual time of the session.
	Time time.Duration
	// Pinned questions are in, Excluded ones are out, both by the instructor's word.
	Pinned, Excluded bool
}

// Worth is a candidate's worth in points and how it came about.
type Worth struct {
	Points int
	// Why is one readable sum, e.g. "3 askers 30, 4 endorsements 24, waited 2 days 2".
	Why string
}

// Worth adds up the points of a candidate at an instant.
func (w Weights) Worth(c Candidate, now time.Time) Worth {
	points := c.Askers * w.Asker
	parts := []string{fmt.Sprintf("%s %d", count(c.Askers, "asker"), points)}
	if c.Endorsements > 0 {
		points += c.Endorsements * w.Endorsement
		parts = append(parts, fmt.Sprintf("%s %d", count(c.Endorsements, "endorsement"), c.Endorsements*w.Endorsement))
	}
	if days := min(int(now.Sub(c.Asked)/(24*time.Hour)), w.LongestWait); days > 0 && !c.Asked.IsZero() {
		points += days * w.Day
		parts = append(parts, fmt.Sprintf("waited %s %d", count(days, "day"), days*w.Day))
	}
	switch {
	case c.Urgency == Urgent:
		points += w.Urgent
		parts = append([]string{fmt.Sprintf("urgent %d", w.Urgent)}, parts...)
	case c.Written:
		points = points * w.WrittenPercent / 100
		parts = append(parts, fmt.Sprintf("of which %d%% as a written answer exists", w.WrittenPercent))
	}
	return Worth{Points: points, Why: strings.Join(parts, ", ")}
}

// count gives "1 asker", "3 askers" or "3 people".
func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	if what == "person" {
		return fmt.Sprintf("%d people", n)
	}
	return fmt.Sprintf("%d %ss", n, what)
}
