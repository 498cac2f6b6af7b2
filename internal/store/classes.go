package store

import (
	"context"
	"errors"
	"math"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/store/db"
)

var (
	_ = onConstraint("classes_slug_key", fault.AlreadyExists, "the kitchen has a class with that id already; choose another")
	_ = onConstraint("classes_capacity_holds", fault.Precondition, "the class would have fewer places than are given; cancel enrolments first or keep the capacity")
	_ = onConstraint("stations_slug_key", fault.AlreadyExists, "the class has a station with that id already; choose another")
	_ = onConstraint("stations_position_key", fault.AlreadyExists, "the class has a station at that position already; choose another, or 0 for last")
	_ = onConstraint("batches_slug_key", fault.AlreadyExists, "the class has a batch with that id already; choose another")
	_ = onConstraint("batches_turn_key", fault.AlreadyExists, "the station has a batch with that order already; choose another, or 0 for last")
	_ = onConstraint("batches_revision_fkey", fault.Precondition, "a batch uses this revision; it stays as it is")
	_ = onConstraint("recipe_revisions_immutable", fault.Precondition, "a recipe revision never changes; make a new one")
)

// CreateClass announces a class; AlreadyExists when its id is taken.
func (t *Tx) CreateClass(ctx context.Context, c kitchen.Class) (kitchen.Class, error) {
	id := newID()
	team := c.Team.WithDefaults()
	slug, err := t.q.InsertClass(ctx, db.InsertClassParams{
		KitchenID: t.kitchen, ID: id, Slug: slugOr(c.ID, id), DisplayName: c.DisplayName, SiteSlug: c.Site,
		StartsAt: c.Start, DurationMinutes: minutes(c.Duration), Capacity: int32(c.Capacity),
		Handlers: int32(team.Handlers), HandlingMinutes: minutes(team.Handling), HotHoldMaxMinutes: minutes(team.HotHold),
		LiveSessionAt: whenSet(c.LiveSession), LiveSessionMinutes: minutes(c.LiveSessionLength),
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return kitchen.Class{}, fault.Missing("site", c.Site)
	}
	if err != nil {
		return kitchen.Class{}, err
	}
	return t.Class(ctx, slug)
}

// Class is the class with this id.
func (t *Tx) Class(ctx context.Context, id string) (kitchen.Class, error) {
	row, err := t.q.GetClass(ctx, db.GetClassParams{KitchenID: t.kitchen, Slug: id})
	return toClass(row.Class, row.SiteSlug, row.Waiting), found(err, "class", id)
}

// ClassCursor is where a list of classes goes on: after this start and id.
type ClassCursor struct {
	Start time.Time
	ID    string
}

// Classes lists classes by start, then id.
func (t *Tx) Classes(ctx context.Context, after ClassCursor, limit int32) ([]kitchen.Class, error) {
	rows, err := t.q.ListClasses(ctx, db.ListClassesParams{KitchenID: t.kitchen, AfterStart: after.Start, AfterSlug: after.ID, Size: limit})
	return each(rows, func(r db.ListClassesRow) kitchen.Class { return toClass(r.Class, r.SiteSlug, r.Waiting) }), err
}

// UpdateClass writes a class whose version is still current, and gives new places
// to the waiting list when the capacity grew. Precondition when the capacity would
// fall below the places given.
func (t *Tx) UpdateClass(ctx context.Context, c kitchen.Class) (kitchen.Class, error) {
	locked, err := t.lockClass(ctx, c.ID)
	if err != nil {
		return kitchen.Class{}, err
	}
	if _, err := t.Site(ctx, c.Site); err != nil {
		return kitchen.Class{}, err
	}
	team := c.Team.WithDefaults()
	n, err := t.q.UpdateClass(ctx, db.UpdateClassParams{
		KitchenID: t.kitchen, Slug: c.ID, Version: c.Version, DisplayName: c.DisplayName, SiteSlug: c.Site,
		StartsAt: c.Start, DurationMinutes: minutes(c.Duration), Capacity: int32(c.Capacity),
		Handlers: int32(team.Handlers), HandlingMinutes: minutes(team.Handling), HotHoldMaxMinutes: minutes(team.HotHold),
		LiveSessionAt: whenSet(c.LiveSession), LiveSessionMinutes: minutes(c.LiveSessionLength),
	})
	if err := changed(n, err, "class"); err != nil {
		return kitchen.Class{}, err
	}
	for free := c.Capacity - int(locked.PlacesTaken); free > 0; free-- {
		promoted, err := t.promote(ctx, locked.ID)
		if err != nil {
			return kitchen.Class{}, err
		}
		if promoted == "" {
			break
		}
	}
	return t.Class(ctx, c.ID)
}

// DeleteClass removes a class whose version is still current, and all below it.
func (t *Tx) DeleteClass(ctx context.Context, c kitchen.Class) error {
	n, err := t.q.DeleteClass(ctx, db.DeleteClassParams{KitchenID: t.kitchen, Slug: c.ID, Version: c.Version})
	return changed(n, err, "class")
}

// lockClass holds the class's row until the transaction ends.
func (t *Tx) lockClass(ctx context.Context, id string) (db.Class, error) {
	row, err := t.q.LockClass(ctx, db.LockClassParams{KitchenID: t.kitchen, Slug: id})
	return row, found(err, "class", id)
}

// CreateStation adds a bench to a class; position 0 means last.
func (t *Tx) CreateStation(ctx context.Context, s kitchen.Station) (kitchen.Station, error) {
	class, err := t.lockClass(ctx, s.Class)
	if err != nil {
		return kitchen.Station{}, err
	}
	id := newID()
	row, err := t.q.InsertStation(ctx, db.InsertStationParams{
		KitchenID: t.kitchen, ClassID: class.ID, ID: id, Slug: slugOr(s.ID, id), DisplayName: s.DisplayName, Position: int32(s.Position),
	})
	return toStation(row, s.Class, 0), err
}

// Station is a station of a class.
func (t *Tx) Station(ctx context.Context, class, id string) (kitchen.Station, error) {
	row, err := t.q.GetStation(ctx, db.GetStationParams{KitchenID: t.kitchen, ClassSlug: class, Slug: id})
	return toStation(row.Station, class, row.Participants), found(err, "station", id)
}

// Stations lists a class's stations with positions after the given one.
func (t *Tx) Stations(ctx context.Context, class string, after int, limit int32) ([]kitchen.Station, error) {
	rows, err := t.q.ListStations(ctx, db.ListStationsParams{KitchenID: t.kitchen, ClassSlug: class, AfterPosition: int32(after), Size: limit})
	return each(rows, func(r db.ListStationsRow) kitchen.Station { return toStation(r.Station, class, r.Participants) }), err
}

// AllStations lists every station of a class.
func (t *Tx) AllStations(ctx context.Context, class string) ([]kitchen.Station, error) {
	return t.Stations(ctx, class, 0, math.MaxInt32)
}

// UpdateStation writes a station whose version is still current.
func (t *Tx) UpdateStation(ctx context.Context, s kitchen.Station) (kitchen.Station, error) {
	_, err := t.q.UpdateStation(ctx, db.UpdateStationParams{
		KitchenID: t.kitchen, ClassSlug: s.Class, Slug: s.ID, Version: s.Version, DisplayName: s.DisplayName, Position: int32(s.Position),
	})
	if err != nil {
		return kitchen.Station{}, current(err, "station")
	}
	return t.Station(ctx, s.Class, s.ID)
}

// DeleteStation removes a station whose version is still current, and its batches.
func (t *Tx) DeleteStation(ctx context.Context, s kitchen.Station) error {
	n, err := t.q.DeleteStation(ctx, db.DeleteStationParams{KitchenID: t.kitchen, ClassSlug: s.Class, Slug: s.ID, Version: s.Version})
	return changed(n, err, "station")
}

// CreateBatch adds a batch to a station; order 0 means last.
func (t *Tx) CreateBatch(ctx context.Context, b kitchen.Batch) (kitchen.Batch, error) {
	class, err := t.lockClass(ctx, b.Class)
	if err != nil {
		return kitchen.Batch{}, err
	}
	return t.insertBatch(ctx, class.ID, b)
}

func (t *Tx) insertBatch(ctx context.Context, class uuid.UUID, b kitchen.Batch) (kitchen.Batch, error) {
	revision, err := t.revisionID(ctx, b.Revision)
	if err != nil {
		return kitchen.Batch{}, err
	}
	id := newID()
	slug, err := t.q.InsertBatch(ctx, db.InsertBatchParams{
		KitchenID: t.kitchen, ClassID: class, ID: id, Slug: slugOr(b.ID, id), StationSlug: b.Station, Turn: int32(b.Order),
		RevisionID: revision, JarSize: string(b.JarSize), Jars: int32(b.Jars), MaySplit: b.MaySplit,
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return kitchen.Batch{}, fault.Missing("station", b.Station)
	}
	if err != nil {
		return kitchen.Batch{}, err
	}
	return t.Batch(ctx, b.Class, slug)
}

// ReplaceBatches puts the given batches in the place of all a class has.
func (t *Tx) ReplaceBatches(ctx context.Context, classID string, batches []kitchen.Batch) ([]kitchen.Batch, error) {
	class, err := t.lockClass(ctx, classID)
	if err != nil {
		return nil, err
	}
	if err := t.q.DeleteClassBatches(ctx, db.DeleteClassBatchesParams{KitchenID: t.kitchen, ClassID: class.ID}); err != nil {
		return nil, err
	}
	stored := make([]kitchen.Batch, 0, len(batches))
	for _, b := range batches {
		b.Class = classID
		created, err := t.insertBatch(ctx, class.ID, b)
		if err != nil {
			return nil, err
		}
		stored = append(stored, created)
	}
	return stored, nil
}

func (t *Tx) revisionID(ctx context.Context, ref kitchen.RevisionRef) (uuid.UUID, error) {
	id, err := t.q.RevisionID(ctx, db.RevisionIDParams{KitchenID: t.kitchen, RecipeSlug: ref.Recipe, Number: int32(ref.Number)})
	return id, found(err, "recipe revision", ref.String())
}

// Batch is a batch of a class.
func (t *Tx) Batch(ctx context.Context, class, id string) (kitchen.Batch, error) {
	r, err := t.q.GetBatch(ctx, db.GetBatchParams{KitchenID: t.kitchen, ClassSlug: class, Slug: id})
	return toBatch(db.ListBatchesRow(r), class), found(err, "batch", id)
}

// BatchCursor is where a list of batches goes on: after this station position and order.
type BatchCursor struct{ Position, Order int }

// Batches lists a class's batches by station position, then order.
func (t *Tx) Batches(ctx context.Context, class string, after BatchCursor, limit int32) ([]kitchen.Batch, error) {
	rows, err := t.q.ListBatches(ctx, db.ListBatchesParams{
		KitchenID: t.kitchen, ClassSlug: class, AfterPosition: int32(after.Position), AfterTurn: int32(after.Order), Size: limit,
	})
	return each(rows, func(r db.ListBatchesRow) kitchen.Batch { return toBatch(r, class) }), err
}

// AllBatches lists every batch of a class.
func (t *Tx) AllBatches(ctx context.Context, class string) ([]kitchen.Batch, error) {
	return t.Batches(ctx, class, BatchCursor{}, math.MaxInt32)
}

// UpdateBatch writes a batch whose version is still current.
func (t *Tx) UpdateBatch(ctx context.Context, b kitchen.Batch) (kitchen.Batch, error) {
	revision, err := t.revisionID(ctx, b.Revision)
	if err != nil {
		return kitchen.Batch{}, err
	}
	if _, err := t.Station(ctx, b.Class, b.Station); err != nil {
		return kitchen.Batch{}, err
	}
	n, err := t.q.UpdateBatch(ctx, db.UpdateBatchParams{
		KitchenID: t.kitchen, ClassSlug: b.Class, Slug: b.ID, Version: b.Version, StationSlug: b.Station, Turn: int32(b.Order),
		RevisionID: revision, JarSize: string(b.JarSize), Jars: int32(b.Jars), MaySplit: b.MaySplit,
	})
	if err := changed(n, err, "batch"); err != nil {
		return kitchen.Batch{}, err
	}
	return t.Batch(ctx, b.Class, b.ID)
}

// DeleteBatch removes a batch whose version is still current.
func (t *Tx) DeleteBatch(ctx context.Context, b kitchen.Batch) error {
	n, err := t.q.DeleteBatch(ctx, db.DeleteBatchParams{KitchenID: t.kitchen, ClassSlug: b.Class, Slug: b.ID, Version: b.Version})
	return changed(n, err, "batch")
}

func toClass(r db.Class, site string, waiting int32) kitchen.Class {
	c := kitchen.Class{
		ID: r.Slug, DisplayName: r.DisplayName, Site: site, Start: r.StartsAt, Duration: span(r.DurationMinutes),
		Capacity: int(r.Capacity), Enrolled: int(r.PlacesTaken), Waiting: int(waiting),
		Team:              kitchen.CanningTeam{Handlers: int(r.Handlers), Handling: span(r.HandlingMinutes), HotHold: span(r.HotHoldMaxMinutes)},
		LiveSessionLength: span(r.LiveSessionMinutes), CreatedAt: r.CreatedAt, Version: r.Version,
	}
	if r.LiveSessionAt != nil {
		c.LiveSession = *r.LiveSessionAt
	}
	return c
}

func toStation(r db.Station, class string, participants int32) kitchen.Station {
	return kitchen.Station{
		ID: r.Slug, Class: class, DisplayName: r.DisplayName, Position: int(r.Position),
		Participants: int(participants), Version: r.Version,
	}
}

func toBatch(r db.ListBatchesRow, class string) kitchen.Batch {
	return kitchen.Batch{
		ID: r.Batch.Slug, Class: class, Station: r.StationSlug, StationPosition: int(r.Position), Order: int(r.Batch.Turn),
		Revision: kitchen.RevisionRef{Recipe: r.RecipeSlug, Number: int(r.RevisionNumber)},
		JarSize:  canning.JarSize(r.Batch.JarSize), Jars: int(r.Batch.Jars), MaySplit: r.Batch.MaySplit,
		NotForShelf: r.NotForShelfReason, Version: r.Batch.Version,
	}
}

func minutes(d time.Duration) int32 { return int32(d / time.Minute) }

func span(minutes int32) time.Duration { return time.Duration(minutes) * time.Minute }

// whenSet is nil for the zero time.
func whenSet(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}
