package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/reference"
	"stillroom/internal/store/db"
)

var (
	_ = onConstraint("equipment_slug_key", fault.AlreadyExists, "the kitchen has equipment with that id already; choose another")
	_ = onConstraint("equipment_site_fkey", fault.Precondition, "equipment stands at this site; move it first")
	_ = onConstraint("reservations_equipment_fkey", fault.Precondition, "some of this equipment is reserved; delete its reservations first")
	_ = onConstraint("reservations_slug_key", fault.AlreadyExists, "the equipment has a reservation with that id already; choose another")
	_ = onConstraint("reservation_units_no_overlap", fault.Conflict, "somebody else reserved it for that time just now; look what is left and try again")
	_ = onConstraint("reservation_units_unit_fkey", fault.Conflict, "the number owned was changed just now; look what is left and try again")
)

// CreateEquipment adds equipment; AlreadyExists when its id is taken.
func (t *Tx) CreateEquipment(ctx context.Context, e kitchen.Equipment) (kitchen.Equipment, error) {
	site, err := t.siteOf(ctx, e)
	if err != nil {
		return kitchen.Equipment{}, err
	}
	details, err := encodeCanner(e.Canner)
	if err != nil {
		return kitchen.Equipment{}, err
	}
	id := newID()
	e.ID = slugOr(e.ID, id)
	if err := t.q.InsertEquipment(ctx, db.InsertEquipmentParams{
		KitchenID: t.kitchen, ID: id, Slug: e.ID, DisplayName: e.DisplayName, Kind: e.Kind, SiteID: site, Canner: details,
	}); err != nil {
		return kitchen.Equipment{}, err
	}
	if err := t.q.AddUnits(ctx, db.AddUnitsParams{KitchenID: t.kitchen, EquipmentID: id, Missing: int32(e.Owned)}); err != nil {
		return kitchen.Equipment{}, err
	}
	return t.Equipment(ctx, e.ID)
}

func (t *Tx) siteOf(ctx context.Context, e kitchen.Equipment) (*uuid.UUID, error) {
	if e.Site == "" {
		return nil, nil
	}
	row, err := t.q.GetSite(ctx, db.GetSiteParams{KitchenID: t.kitchen, Slug: e.Site})
	if err != nil {
		return nil, found(err, "site", e.Site)
	}
	return &row.ID, nil
}

// Equipment is the equipment with this id, with its recorded come-ups.
func (t *Tx) Equipment(ctx context.Context, id string) (kitchen.Equipment, error) {
	row, err := t.q.GetEquipment(ctx, db.GetEquipmentParams{KitchenID: t.kitchen, Slug: id})
	if err != nil {
		return kitchen.Equipment{}, found(err, "equipment", id)
	}
	all, err := t.withRecords(ctx, []db.ListEquipmentRow{db.ListEquipmentRow(row)})
	if err != nil {
		return kitchen.Equipment{}, err
	}
	return all[0], nil
}

// EquipmentList lists equipment with ids after the given one; an empty kind means every kind.
func (t *Tx) EquipmentList(ctx context.Context, kind, after string, limit int32) ([]kitchen.Equipment, error) {
	rows, err := t.q.ListEquipment(ctx, db.ListEquipmentParams{KitchenID: t.kitchen, Kind: kind, After: after, Size: limit})
	if err != nil {
		return nil, err
	}
	return t.withRecords(ctx, rows)
}

// withRecords turns rows into equipment and gives canners their come-ups.
func (t *Tx) withRecords(ctx context.Context, rows []db.ListEquipmentRow) ([]kitchen.Equipment, error) {
	var canners []uuid.UUID
	for _, r := range rows {
		if r.Equipment.Canner != nil {
			canners = append(canners, r.Equipment.ID)
		}
	}
	records := map[uuid.UUID][]kitchen.ComeUp{}
	if len(canners) > 0 {
		found, err := t.q.ListComeUps(ctx, db.ListComeUpsParams{KitchenID: t.kitchen, EquipmentIds: canners})
		if err != nil {
			return nil, err
		}
		for _, c := range found {
			records[c.EquipmentID] = append(records[c.EquipmentID], toComeUp(c))
		}
	}
	all := make([]kitchen.Equipment, len(rows))
	for i, r := range rows {
		e, err := toEquipment(r.Equipment, r.SiteSlug, r.Owned)
		if err != nil {
			return nil, err
		}
		if e.Canner != nil {
			e.Canner.Record = records[r.Equipment.ID]
		}
		all[i] = e
	}
	return all, nil
}

// UpdateEquipment writes equipment whose version is still current. Precondition when fewer would be
// owned than are reserved at or after now.
func (t *Tx) UpdateEquipment(ctx context.Context, e kitchen.Equipment, now time.Time) (kitchen.Equipment, error) {
	row, err := t.lockEquipment(ctx, e.ID)
	if err != nil {
		return kitchen.Equipment{}, err
	}
	site, err := t.siteOf(ctx, e)
	if err != nil {
		return kitchen.Equipment{}, err
	}
	details, err := encodeCanner(e.Canner)
	if err != nil {
		return kitchen.Equipment{}, err
	}
	n, err := t.q.UpdateEquipment(ctx, db.UpdateEquipmentParams{
		KitchenID: t.kitchen, Slug: e.ID, Version: e.Version, DisplayName: e.DisplayName, SiteID: site, Canner: details,
	})
	if err := changed(n, err, "equipment"); err != nil {
		return kitchen.Equipment{}, err
	}
	if err := t.own(ctx, row.ID, e.Owned, now); err != nil {
		return kitchen.Equipment{}, err
	}
	return t.Equipment(ctx, e.ID)
}

// own brings the number of units to what is owned; the equipment row is locked.
func (t *Tx) own(ctx context.Context, id uuid.UUID, owned int, now time.Time) error {
	have, err := t.q.CountUnits(ctx, db.CountUnitsParams{KitchenID: t.kitchen, EquipmentID: id})
	if err != nil {
		return err
	}
	if missing := int32(owned) - have; missing >= 0 {
		return t.q.AddUnits(ctx, db.AddUnitsParams{KitchenID: t.kitchen, EquipmentID: id, Missing: missing})
	}
	surplus := have - int32(owned)
	units, err := t.q.RemovableUnits(ctx, db.RemovableUnitsParams{KitchenID: t.kitchen, EquipmentID: id, Now: now, Surplus: surplus})
	if err != nil {
		return err
	}
	if len(units) < int(surplus) {
		return fault.New(fault.Precondition, "%d of the %d units are reserved from now on, so at least %d stay owned; delete reservations first",
			int(have)-len(units), have, int(have)-len(units))
	}
	// A unit that is given away takes along which of them was held when; how many were held stays in the reservations.
	if err := t.q.ForgetUnitHistory(ctx, db.ForgetUnitHistoryParams{KitchenID: t.kitchen, EquipmentID: id, Units: units}); err != nil {
		return err
	}
	return t.q.RemoveUnits(ctx, db.RemoveUnitsParams{KitchenID: t.kitchen, EquipmentID: id, Units: units})
}

func (t *Tx) lockEquipment(ctx context.Context, id string) (db.Equipment, error) {
	row, err := t.q.LockEquipment(ctx, db.LockEquipmentParams{KitchenID: t.kitchen, Slug: id})
	return row, found(err, "equipment", id)
}

// DeleteEquipment removes equipment whose version is still current; Precondition while some of it is reserved.
func (t *Tx) DeleteEquipment(ctx context.Context, e kitchen.Equipment) error {
	n, err := t.q.DeleteEquipment(ctx, db.DeleteEquipmentParams{KitchenID: t.kitchen, Slug: e.ID, Version: e.Version})
	return changed(n, err, "equipment")
}

// RecordComeUp adds a timed come-up to a canner; Precondition for equipment of another kind.
func (t *Tx) RecordComeUp(ctx context.Context, equipment string, o kitchen.ComeUp) (kitchen.Equipment, error) {
	row, err := t.lockEquipment(ctx, equipment)
	if err != nil {
		return kitchen.Equipment{}, err
	}
	if row.Kind != kitchen.KindCanner {
		return kitchen.Equipment{}, fault.New(fault.Precondition, "%s is a %s; only canners come up", row.DisplayName, row.Kind)
	}
	load := o.Observation.Load
	if err := t.q.InsertComeUp(ctx, db.InsertComeUpParams{
		KitchenID: t.kitchen, EquipmentID: row.ID, ID: newID(), ObservedAt: o.At, Method: string(load.Method), JarSize: string(load.Jar),
		Pack: string(load.Pack), Jars: int32(load.Jars), AltitudeM: load.Altitude.Metres().Float64(), Minutes: o.Observation.Minutes,
	}); err != nil {
		return kitchen.Equipment{}, err
	}
	if err := t.q.TouchEquipment(ctx, db.TouchEquipmentParams{KitchenID: t.kitchen, ID: row.ID}); err != nil {
		return kitchen.Equipment{}, err
	}
	return t.Equipment(ctx, equipment)
}

// CreateReservation claims units for a class. Precondition when fewer are free in its span. The units are
// chosen under the equipment's row lock; what makes a double claim impossible is the exclusion constraint.
func (t *Tx) CreateReservation(ctx context.Context, r kitchen.Reservation) (kitchen.Reservation, error) {
	row, err := t.lockEquipment(ctx, r.Equipment)
	if err != nil {
		return kitchen.Reservation{}, err
	}
	class, err := t.q.GetClass(ctx, db.GetClassParams{KitchenID: t.kitchen, Slug: r.Class})
	if err != nil {
		return kitchen.Reservation{}, found(err, "class", r.Class)
	}
	if r.Start.IsZero() {
		r.Start = class.Class.StartsAt
	}
	if r.End.IsZero() {
		r.End = class.Class.StartsAt.Add(time.Duration(class.Class.DurationMinutes) * time.Minute)
	}
	if !r.Start.Before(r.End) {
		return kitchen.Reservation{}, fault.Field("reservation.end_time", r.End.UTC().Format(time.RFC3339), "is not after the start "+r.Start.UTC().Format(time.RFC3339), "give a later end")
	}
	free, err := t.q.FreeUnits(ctx, db.FreeUnitsParams{KitchenID: t.kitchen, EquipmentID: row.ID, StartsAt: r.Start, EndsAt: r.End})
	if err != nil {
		return kitchen.Reservation{}, err
	}
	if len(free) < r.Units {
		return kitchen.Reservation{}, fault.New(fault.Precondition, "%d of %s are asked for, %d are free from %s to %s; ask for fewer or another time",
			r.Units, row.DisplayName, len(free), r.Start.UTC().Format(time.RFC3339), r.End.UTC().Format(time.RFC3339))
	}
	id := newID()
	r.ID = slugOr(r.ID, id)
	if err := t.q.InsertReservation(ctx, db.InsertReservationParams{
		KitchenID: t.kitchen, EquipmentID: row.ID, ID: id, Slug: r.ID, ClassID: class.Class.ID, Units: int32(r.Units), StartsAt: r.Start, EndsAt: r.End,
	}); err != nil {
		return kitchen.Reservation{}, err
	}
	if err := t.q.InsertReservationUnits(ctx, db.InsertReservationUnitsParams{
		KitchenID: t.kitchen, EquipmentID: row.ID, ReservationID: id, Units: free[:r.Units], StartsAt: r.Start, EndsAt: r.End,
	}); err != nil {
		return kitchen.Reservation{}, err
	}
	return t.Reservation(ctx, r.Equipment, r.ID)
}

// Reservation is a reservation of some equipment.
func (t *Tx) Reservation(ctx context.Context, equipment, id string) (kitchen.Reservation, error) {
	row, err := t.q.GetReservation(ctx, db.GetReservationParams{KitchenID: t.kitchen, EquipmentSlug: equipment, Slug: id})
	return toReservation(db.ListReservationsRow(row)), found(err, "reservation", id)
}

// ReservationCursor is where a list of reservations goes on.
type ReservationCursor struct {
	Start         time.Time
	Equipment, ID string
}

// Reservations lists reservations that end after from, by start; of all equipment when none is named.
func (t *Tx) Reservations(ctx context.Context, equipment string, from time.Time, after ReservationCursor, limit int32) ([]kitchen.Reservation, error) {
	rows, err := t.q.ListReservations(ctx, db.ListReservationsParams{
		KitchenID: t.kitchen, EquipmentSlug: equipment, FromTime: from,
		AfterStart: after.Start, AfterEquipment: after.Equipment, AfterSlug: after.ID, Size: limit,
	})
	return each(rows, toReservation), err
}

// DeleteReservation gives equipment back; the reservation's version must be current.
func (t *Tx) DeleteReservation(ctx context.Context, r kitchen.Reservation) error {
	n, err := t.q.DeleteReservation(ctx, db.DeleteReservationParams{KitchenID: t.kitchen, EquipmentSlug: r.Equipment, Slug: r.ID, Version: r.Version})
	return changed(n, err, "reservation")
}

// UnitsFor are the pieces of equipment that stand where a class is held or go anywhere, by equipment id and
// number, each with the spans in which other classes hold it.
func (t *Tx) UnitsFor(ctx context.Context, class string) ([]kitchen.Unit, error) {
	rows, err := t.q.EquipmentForClass(ctx, db.EquipmentForClassParams{KitchenID: t.kitchen, ClassSlug: class})
	if err != nil {
		return nil, err
	}
	seen := map[uuid.UUID]int{}
	var owners []db.ListEquipmentRow
	var units []kitchen.Unit
	var ofUnit []uuid.UUID
	for i, r := range rows {
		if i == 0 || rows[i-1].Equipment.ID != r.Equipment.ID || rows[i-1].UnitNo != r.UnitNo {
			if _, ok := seen[r.Equipment.ID]; !ok {
				seen[r.Equipment.ID] = len(owners)
				owners = append(owners, db.ListEquipmentRow{Equipment: r.Equipment})
			}
			owners[seen[r.Equipment.ID]].Owned++
			units = append(units, kitchen.Unit{Number: int(r.UnitNo)})
			ofUnit = append(ofUnit, r.Equipment.ID)
		}
		if r.HeldBy != "" {
			u := &units[len(units)-1]
			u.Held = append(u.Held, kitchen.Hold{Start: r.HeldFrom, End: r.HeldUntil, Class: r.HeldBy})
		}
	}
	all, err := t.withRecords(ctx, owners)
	if err != nil {
		return nil, err
	}
	for i := range units {
		units[i].Equipment = all[seen[ofUnit[i]]]
	}
	return units, nil
}

// Supply is what a class can use, in the terms of the batch plan's check: every kind with the number owned and what
// other classes hold at any time of the class, and the canners that are free for some of it.
func (t *Tx) Supply(ctx context.Context, class kitchen.Class) ([]kitchen.Supply, []kitchen.CannerSupply, error) {
	units, err := t.UnitsFor(ctx, class.ID)
	if err != nil {
		return nil, nil, err
	}
	return kitchen.Supplies(units), kitchen.CannerSupplies(units, class.Start, class.End()), nil
}

func encodeCanner(c *kitchen.Canner) ([]byte, error) {
	if c == nil {
		return nil, nil
	}
	return json.Marshal(c)
}

func toEquipment(r db.Equipment, site string, owned int32) (kitchen.Equipment, error) {
	e := kitchen.Equipment{
		ID: r.Slug, DisplayName: r.DisplayName, Kind: r.Kind, Owned: int(owned), Site: site, CreatedAt: r.CreatedAt, Version: r.Version,
	}
	if r.Canner != nil {
		e.Canner = &kitchen.Canner{}
		if err := json.Unmarshal(r.Canner, e.Canner); err != nil {
			return kitchen.Equipment{}, fmt.Errorf("reading canner %s: %w", r.Slug, err)
		}
	}
	return e, nil
}

func toComeUp(r db.CannerComeUp) kitchen.ComeUp {
	return kitchen.ComeUp{At: r.ObservedAt, Observation: canning.Observation{
		Load: canning.HeatLoad{
			Method: canning.Method(r.Method), Jar: canning.JarSize(r.JarSize), Pack: reference.Pack(r.Pack),
			Jars: int(r.Jars), Altitude: altitude(r.AltitudeM),
		},
		Minutes: r.Minutes,
	}}
}

func toReservation(r db.ListReservationsRow) kitchen.Reservation {
	v := kitchen.Reservation{
		ID: r.Reservation.Slug, Equipment: r.EquipmentSlug, Class: r.ClassSlug, Units: int(r.Reservation.Units),
		Start: r.Reservation.StartsAt, End: r.Reservation.EndsAt, CreatedAt: r.Reservation.CreatedAt, Version: r.Reservation.Version,
	}
	for _, n := range r.UnitNumbers {
		v.Numbers = append(v.Numbers, int(n))
	}
	return v
}
