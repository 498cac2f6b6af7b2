package store

import (
	"context"
	"errors"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/store/db"
)

var (
	_ = onConstraint("participants_slug_key", fault.AlreadyExists, "the kitchen has a participant with that id already; choose another")
	_ = onConstraint("participants_email_key", fault.AlreadyExists, "the kitchen has a participant with that address already; use that participant")
	_ = onConstraint("participants_erased_holds", fault.Precondition, "the participant was erased; add the person anew")
	_ = onConstraint("enrolments_slug_key", fault.AlreadyExists, "the class has an enrolment with that id already; choose another")
	_ = onConstraint("enrolments_one_place", fault.AlreadyExists, "the participant holds or awaits a place in this class already")
)

// CreateParticipant adds a person; AlreadyExists when the id or the address is taken.
func (t *Tx) CreateParticipant(ctx context.Context, p kitchen.Participant) (kitchen.Participant, error) {
	id := newID()
	row, err := t.q.InsertParticipant(ctx, db.InsertParticipantParams{
		KitchenID: t.kitchen, ID: id, Slug: slugOr(p.ID, id), DisplayName: p.DisplayName, Email: p.Email, Phone: p.Phone,
		Allergies: p.Allergies, HomeAltitudeM: metres(p.HomeAltitude),
	})
	return toParticipant(row), err
}

// Participant is the participant with this id.
func (t *Tx) Participant(ctx context.Context, id string) (kitchen.Participant, error) {
	row, err := t.q.GetParticipant(ctx, db.GetParticipantParams{KitchenID: t.kitchen, Slug: id})
	return toParticipant(row), found(err, "participant", id)
}

// ParticipantByEmail is the participant with this address, and whether there is one.
func (t *Tx) ParticipantByEmail(ctx context.Context, email string) (kitchen.Participant, bool, error) {
	row, err := t.q.GetParticipantByEmail(ctx, db.GetParticipantByEmailParams{KitchenID: t.kitchen, Email: email})
	if errors.Is(err, pgx.ErrNoRows) {
		return kitchen.Participant{}, false, nil
	}
	return toParticipant(row), err == nil, err
}

// Participants lists participants with ids after the given one.
func (t *Tx) Participants(ctx context.Context, after string, limit int32) ([]kitchen.Participant, error) {
	rows, err := t.q.ListParticipants(ctx, db.ListParticipantsParams{KitchenID: t.kitchen, After: after, Size: limit})
	return each(rows, toParticipant), err
}

// UpdateParticipant writes a participant whose version is still current.
func (t *Tx) UpdateParticipant(ctx context.Context, p kitchen.Participant) (kitchen.Participant, error) {
	row, err := t.q.UpdateParticipant(ctx, db.UpdateParticipantParams{
		KitchenID: t.kitchen, Slug: p.ID, Version: p.Version, DisplayName: p.DisplayName, Email: p.Email, Phone: p.Phone,
		Allergies: p.Allergies, HomeAltitudeM: metres(p.HomeAltitude),
	})
	return toParticipant(row), current(err, "participant")
}

// DeleteParticipant removes a participant; Precondition while they hold or await a place.
func (t *Tx) DeleteParticipant(ctx context.Context, p kitchen.Participant) error {
	n, err := t.q.DeleteParticipant(ctx, db.DeleteParticipantParams{KitchenID: t.kitchen, Slug: p.ID, Version: p.Version})
	if err != nil || n == 1 {
		return err
	}
	now, err := t.Participant(ctx, p.ID)
	if err != nil {
		return err
	}
	if now.Version != p.Version {
		return stale("participant")
	}
	return fault.New(fault.Precondition, "the participant holds or awaits a place in a class; cancel the enrolment first")
}

// Enrol gives a participant a place in a class. When the class is full it either
// joins the waiting list (wait) or fails with Precondition, saying how to join it.
// The class's row is locked, so places are given one at a time; the check
// constraint on the class is what makes overbooking impossible.
func (t *Tx) Enrol(ctx context.Context, e kitchen.Enrolment, wait bool) (kitchen.Enrolment, error) {
	class, err := t.lockClass(ctx, e.Class)
	if err != nil {
		return kitchen.Enrolment{}, err
	}
	person, err := t.q.HoldParticipant(ctx, db.HoldParticipantParams{KitchenID: t.kitchen, Slug: e.Participant})
	if err != nil {
		return kitchen.Enrolment{}, found(err, "participant", e.Participant)
	}
	if person.ErasedAt != nil {
		return kitchen.Enrolment{}, constraintFaults["participants_erased_holds"]()
	}
	if _, already, err := t.findEnrolment(ctx, class.ID, person.ID); err != nil {
		return kitchen.Enrolment{}, err
	} else if already {
		return kitchen.Enrolment{}, constraintFaults["enrolments_one_place"]()
	}
	state := kitchen.Enrolled
	if class.PlacesTaken >= class.Capacity {
		if !wait {
			now, err := t.Class(ctx, e.Class)
			if err != nil {
				return kitchen.Enrolment{}, err
			}
			return kitchen.Enrolment{}, fault.New(fault.Precondition,
				"the class is full: %d of %d places are given; ask again with when_full WHEN_FULL_WAIT for position %d on the waiting list",
				class.PlacesTaken, class.Capacity, now.Waiting+1)
		}
		state = kitchen.Waiting
	}
	station, err := t.stationID(ctx, class.ID, e.Station)
	if err != nil {
		return kitchen.Enrolment{}, err
	}
	turn, err := t.q.TakeTurn(ctx, db.TakeTurnParams{KitchenID: t.kitchen, ID: class.ID})
	if err != nil {
		return kitchen.Enrolment{}, err
	}
	id := newID()
	slug := slugOr(e.ID, id)
	if err := t.q.InsertEnrolment(ctx, db.InsertEnrolmentParams{
		KitchenID: t.kitchen, ClassID: class.ID, ID: id, Slug: slug, ParticipantID: person.ID,
		State: string(state), Turn: turn, StationID: station,
	}); err != nil {
		return kitchen.Enrolment{}, err
	}
	return t.Enrolment(ctx, e.Class, slug)
}

// FindEnrolment is the participant's enrolment in a class, and whether there is one that is not cancelled.
func (t *Tx) FindEnrolment(ctx context.Context, class, participant string) (kitchen.Enrolment, bool, error) {
	c, err := t.q.GetClass(ctx, db.GetClassParams{KitchenID: t.kitchen, Slug: class})
	if err != nil {
		return kitchen.Enrolment{}, false, found(err, "class", class)
	}
	p, err := t.q.GetParticipant(ctx, db.GetParticipantParams{KitchenID: t.kitchen, Slug: participant})
	if err != nil {
		return kitchen.Enrolment{}, false, found(err, "participant", participant)
	}
	slug, ok, err := t.findEnrolment(ctx, c.Class.ID, p.ID)
	if err != nil || !ok {
		return kitchen.Enrolment{}, false, err
	}
	e, err := t.Enrolment(ctx, class, slug)
	return e, err == nil, err
}

func (t *Tx) findEnrolment(ctx context.Context, class, participant uuid.UUID) (string, bool, error) {
	row, err := t.q.FindEnrolment(ctx, db.FindEnrolmentParams{KitchenID: t.kitchen, ClassID: class, ParticipantID: participant})
	if errors.Is(err, pgx.ErrNoRows) {
		return "", false, nil
	}
	return row.Slug, err == nil, err
}

// Enrolment is an enrolment of a class.
func (t *Tx) Enrolment(ctx context.Context, class, id string) (kitchen.Enrolment, error) {
	r, err := t.q.GetEnrolment(ctx, db.GetEnrolmentParams{KitchenID: t.kitchen, ClassSlug: class, Slug: id})
	return kitchen.Enrolment{
		ID: r.Enrolment.Slug, Class: class, Participant: r.ParticipantSlug, ParticipantName: r.ParticipantDisplayName,
		State: kitchen.EnrolmentState(r.Enrolment.State), WaitingPosition: int(r.WaitingPosition), Station: r.StationSlug,
		Turn: r.Enrolment.Turn, CreatedAt: r.Enrolment.CreatedAt, Version: r.Enrolment.Version,
	}, found(err, "enrolment", id)
}

// EnrolmentCursor is where a roster goes on: after this rank (0 places, 1 waiting, 2 cancelled) and turn.
type EnrolmentCursor struct {
	Rank int
	Turn int64
}

// Enrolments lists a roster: places by turn, then the waiting list, then, when asked, what was cancelled.
func (t *Tx) Enrolments(ctx context.Context, class string, cancelled bool, after EnrolmentCursor, limit int32) ([]kitchen.Enrolment, error) {
	last := int32(1)
	if cancelled {
		last = 2
	}
	rows, err := t.q.ListEnrolments(ctx, db.ListEnrolmentsParams{
		KitchenID: t.kitchen, ClassSlug: class, AfterRank: int32(after.Rank), AfterTurn: after.Turn, LastRank: last, Size: limit,
	})
	return each(rows, func(r db.ListEnrolmentsRow) kitchen.Enrolment {
		return kitchen.Enrolment{
			ID: r.Slug, Class: class, Participant: r.ParticipantSlug, ParticipantName: r.ParticipantDisplayName,
			State: kitchen.EnrolmentState(r.State), WaitingPosition: int(r.WaitingPosition), Station: r.StationSlug,
			Turn: r.Turn, CreatedAt: r.CreatedAt, Version: r.Version,
		}
	}), err
}

// MoveEnrolment writes the station of an enrolment whose version is still current.
func (t *Tx) MoveEnrolment(ctx context.Context, e kitchen.Enrolment) (kitchen.Enrolment, error) {
	class, err := t.lockClass(ctx, e.Class)
	if err != nil {
		return kitchen.Enrolment{}, err
	}
	station, err := t.stationID(ctx, class.ID, e.Station)
	if err != nil {
		return kitchen.Enrolment{}, err
	}
	n, err := t.q.UpdateEnrolment(ctx, db.UpdateEnrolmentParams{
		KitchenID: t.kitchen, ClassSlug: e.Class, Slug: e.ID, Version: e.Version, StationID: station,
	})
	if err := changed(n, err, "enrolment"); err != nil {
		return kitchen.Enrolment{}, err
	}
	return t.Enrolment(ctx, e.Class, e.ID)
}

// CancelEnrolment gives a place back and the first on the waiting list gets it. It
// returns the cancelled enrolment and the promoted one, nil when nobody waited.
func (t *Tx) CancelEnrolment(ctx context.Context, e kitchen.Enrolment) (kitchen.Enrolment, *kitchen.Enrolment, error) {
	class, err := t.lockClass(ctx, e.Class)
	if err != nil {
		return kitchen.Enrolment{}, nil, err
	}
	before, err := t.Enrolment(ctx, e.Class, e.ID)
	if err != nil {
		return kitchen.Enrolment{}, nil, err
	}
	if before.State == kitchen.Cancelled {
		return before, nil, nil
	}
	if before.Version != e.Version {
		return kitchen.Enrolment{}, nil, stale("enrolment")
	}
	if _, err := t.q.CancelEnrolment(ctx, db.CancelEnrolmentParams{KitchenID: t.kitchen, ClassID: class.ID, Slug: e.ID}); err != nil {
		return kitchen.Enrolment{}, nil, err
	}
	after, err := t.Enrolment(ctx, e.Class, e.ID)
	if err != nil || before.State != kitchen.Enrolled {
		return after, nil, err
	}
	promoted, err := t.promote(ctx, class.ID)
	if err != nil || promoted == "" {
		return after, nil, err
	}
	moved, err := t.Enrolment(ctx, e.Class, promoted)
	return after, &moved, err
}

// promote gives a place to the first on the waiting list of a locked class; empty when nobody waits.
func (t *Tx) promote(ctx context.Context, class uuid.UUID) (string, error) {
	slug, err := t.q.PromoteFirstWaiting(ctx, db.PromoteFirstWaitingParams{KitchenID: t.kitchen, ClassID: class})
	if errors.Is(err, pgx.ErrNoRows) {
		return "", nil
	}
	return slug, err
}

func (t *Tx) stationID(ctx context.Context, class uuid.UUID, station string) (*uuid.UUID, error) {
	if station == "" {
		return nil, nil
	}
	id, err := t.q.StationID(ctx, db.StationIDParams{KitchenID: t.kitchen, ClassID: class, Slug: station})
	return &id, found(err, "station", station)
}

// Roster is a class's roster as it is exported: places, then the waiting list.
func (t *Tx) Roster(ctx context.Context, class string) ([]kitchen.RosterEntry, error) {
	rows, err := t.q.ListRoster(ctx, db.ListRosterParams{KitchenID: t.kitchen, ClassSlug: class})
	return each(rows, func(r db.ListRosterRow) kitchen.RosterEntry {
		return kitchen.RosterEntry{
			Name: r.DisplayName, Email: r.Email, Phone: r.Phone, Allergies: r.Allergies, HomeAltitude: homeAltitude(r.HomeAltitudeM),
			Station: r.StationSlug, State: kitchen.EnrolmentState(r.State), WaitingPosition: int(r.WaitingPosition),
		}
	}), err
}

// Guests are those with a place in a class, in the order of their places.
func (t *Tx) Guests(ctx context.Context, class string) ([]kitchen.Guest, error) {
	rows, err := t.q.ListGuests(ctx, db.ListGuestsParams{KitchenID: t.kitchen, ClassSlug: class})
	return each(rows, func(r db.ListGuestsRow) kitchen.Guest {
		return kitchen.Guest{Participant: r.Slug, Name: r.DisplayName, Allergies: r.Allergies, Station: r.StationSlug}
	}), err
}

func toParticipant(r db.Participant) kitchen.Participant {
	return kitchen.Participant{
		ID: r.Slug, DisplayName: r.DisplayName, Email: r.Email, Phone: r.Phone, Allergies: r.Allergies,
		HomeAltitude: homeAltitude(r.HomeAltitudeM), CreatedAt: r.CreatedAt, Erased: orZero(r.ErasedAt), Version: r.Version,
	}
}

func metres(a *measure.Altitude) *float64 {
	if a == nil {
		return nil
	}
	m := a.Metres().Float64()
	return &m
}

func homeAltitude(m *float64) *measure.Altitude {
	if m == nil {
		return nil
	}
	a := altitude(*m)
	return &a
}
