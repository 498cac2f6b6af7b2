package kitchen

import "time"

// SealCheck is what a participant found when they tested the seals of their jars of one batch.
type SealCheck struct {
	ID, Class, Batch             string
	Participant, ParticipantName string
	// Sealed and Unsealed count jars; together at least one.
	Sealed, Unsealed     int
	CreatedAt, UpdatedAt time.Time
	Version              int64
}

// Jars is how many jars a seal check tells of.
func (c SealCheck) Jars() int { return c.Sealed + c.Unsealed }

// Sharing deals the jars of a station to those who work at it, batch after batch: as
// evenly as whole jars allow, and where that does not come out even, one more each to
// those whose turn it is, so that over all batches nobody has two more than another.
type Sharing struct {
	people, next int
}

// Among is a sharing among so many people.
func Among(people int) *Sharing { return &Sharing{people: people} }

// Deal shares out some jars: what each gets, in the people's order; nothing without people.
func (s *Sharing) Deal(jars int) []int {
	if s.people == 0 {
		return nil
	}
	shares := make([]int, s.people)
	for i := range shares {
		shares[i] = jars / s.people
	}
	for range jars % s.people {
		shares[s.next]++
		s.next = (s.next + 1) % s.people
	}
	return shares
}

// LargestShare is the most jars that an even sharing gives to anybody.
func LargestShare(jars, people int) int {
	if people == 0 {
		return 0
	}
	return (jars + people - 1) / people
}
