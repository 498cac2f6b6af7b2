package kitchen

import (
	"time"

	"stillroom/internal/measure"
)

// Participant is a person who comes to classes.
type Participant struct {
	ID          string
	DisplayName string
	Email       string
	Phone       string
	// Allergies are in the participant's own words.
	Allergies string
	// HomeAltitude is nil when unknown.
	HomeAltitude *measure.Altitude
	CreatedAt    time.Time
	// Erased is when their name and contact were taken out, zero when they were not.
	Erased  time.Time
	Version int64
}

// EnrolmentState is where a participant stands with a class.
type EnrolmentState string

// A participant asks for a place and is Enrolled, or Waiting when the class is
// full; Waiting becomes Enrolled when a place is given back; both end in Cancelled.
const (
	Enrolled  EnrolmentState = "enrolled"
	Waiting   EnrolmentState = "waiting"
	Cancelled EnrolmentState = "cancelled"
)

// Enrolment is a participant's place in a class, or on its waiting list.
type Enrolment struct {
	ID              string
	Class           string
	Participant     string
	ParticipantName string
	State           EnrolmentState
	// WaitingPosition counts from 1; 0 unless waiting.
	WaitingPosition int
	// Station is the id of the bench, empty when not placed.
	Station string
	// Turn is the order of asking within the class.
	Turn      int64
	CreatedAt time.Time
	Version   int64
}

// RosterEntry is a line of a roster as it is imported and exported.
type RosterEntry struct {
	Name         string
	Email        string
	Phone        string
	Allergies    string
	HomeAltitude *measure.Altitude
	// Station is a station's id or display name, empty when not placed.
	Station string
	// State and WaitingPosition are written, never read.
	State           EnrolmentState
	WaitingPosition int
}
