package kitchen

import (
	"strconv"
	"time"

	"stillroom/internal/canning"
)

// Class is one teaching event at a site.
type Class struct {
	ID          string
	DisplayName string
	// Site is the id of the site it is held at.
	Site string
	// Start is minute 0 of the class's load plan.
	Start time.Time
	// Duration is how long the room is ours, in whole minutes.
	Duration time.Duration
	// Capacity is how many places there are.
	Capacity int
	// Enrolled and Waiting count the roster; read only.
	Enrolled, Waiting int
	Team              CanningTeam
	// LiveSession is the time of the question session, zero when there is none.
	LiveSession       time.Time
	LiveSessionLength time.Duration
	CreatedAt         time.Time
	Version           int64
}

// End is the minute by which every jar is out of a canner.
func (c Class) End() time.Time { return c.Start.Add(c.Duration) }

// CanningTeam says who and what moves jars through the canners of a class.
type CanningTeam struct {
	// Handlers may load or unload hot canners at the same time.
	Handlers int
	// Handling is how long one of them is busy loading, and again unloading.
	Handling time.Duration
	// HotHold is the longest that filled hot jars wait before they go into a canner.
	HotHold time.Duration
}

// What a class gets when it does not say. None of these is a published figure:
// they are the program's own starting points, for the instructor to change.
const (
	DefaultHandlers = 2
	DefaultHandling = 2 * time.Minute
	DefaultHotHold  = 15 * time.Minute
)

// WithDefaults fills in what was left at zero.
func (t CanningTeam) WithDefaults() CanningTeam {
	if t.Handlers == 0 {
		t.Handlers = DefaultHandlers
	}
	if t.Handling == 0 {
		t.Handling = DefaultHandling
	}
	if t.HotHold == 0 {
		t.HotHold = DefaultHotHold
	}
	return t
}

// Station is a bench of a class; it does its batches in order.
type Station struct {
	ID          string
	Class       string
	DisplayName string
	// Position orders the benches of a room, from 1.
	Position int
	// Participants counts who is placed there; read only.
	Participants int
	Version      int64
}

// RevisionRef names a recipe revision of the kitchen.
type RevisionRef struct {
	Recipe string
	Number int
}

// String reads "salsa-verde revision 2".
func (r RevisionRef) String() string { return r.Recipe + " revision " + strconv.Itoa(r.Number) }

// Batch is one making of a recipe revision at a station.
type Batch struct {
	ID      string
	Class   string
	Station string
	// StationPosition is the position of its station; read only.
	StationPosition int
	// Order is its turn at the station, from 1.
	Order    int
	Revision RevisionRef
	JarSize  canning.JarSize
	Jars     int
	// MaySplit says whether its jars may go into several loads.
	MaySplit bool
	// NotForShelf is why its jars may not be put in a load; empty when they may. Read only.
	NotForShelf string
	Version     int64
}
