package store

import (
	"bytes"
	"context"

	"github.com/google/uuid"

	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/store/db"
)

var (
	_ = onConstraint("kitchens_slug_key", fault.AlreadyExists, "a kitchen has that id already; choose another")
	_ = onConstraint("sites_slug_key", fault.AlreadyExists, "the kitchen has a site with that id already; choose another")
	_ = onConstraint("classes_site_fkey", fault.Precondition, "a class is held at this site; move or delete the class first")
)

// BeginRequest claims a request_id. When it was served before, it returns the
// stored answer and true, and this transaction leaves no second entry in the record. A request_id that served a different request is a fault.
func (t *Tx) BeginRequest(ctx context.Context, id uuid.UUID, method string, fingerprint []byte) ([]byte, bool, error) {
	n, err := t.q.InsertRequest(ctx, db.InsertRequestParams{KitchenID: t.kitchen, RequestID: id, Method: method, Fingerprint: fingerprint})
	if err != nil {
		return nil, false, err
	}
	if n == 1 {
		return nil, false, nil
	}
	row, err := t.q.GetRequest(ctx, db.GetRequestParams{KitchenID: t.kitchen, RequestID: id})
	if err != nil {
		return nil, false, err
	}
	if row.Method != method || !bytes.Equal(row.Fingerprint, fingerprint) {
		return nil, false, fault.Field("request_id", id.String(), "was used for a different request", "give a fresh UUID for every new request")
	}
	t.silent = true // what was done is recorded already
	return row.Response, true, nil
}

// Reply is an answer as it is stored, with the full name of its message; empty when a
// program before this one stored it.
type Reply struct {
	Type string
	Wire []byte
}

// FinishRequest stores the answer of a claimed request_id.
func (t *Tx) FinishRequest(ctx context.Context, id uuid.UUID, r Reply) error {
	return t.q.FinishRequest(ctx, db.FinishRequestParams{KitchenID: t.kitchen, RequestID: id, Response: r.Wire, ResponseType: r.Type})
}

// CreateKitchen opens a kitchen; AlreadyExists when its id is taken.
func (t *Tx) CreateKitchen(ctx context.Context, k kitchen.Kitchen) (kitchen.Kitchen, error) {
	id := newID()
	row, err := t.q.InsertKitchen(ctx, db.InsertKitchenParams{
		ID: id, Slug: slugOr(k.ID, id), DisplayName: k.DisplayName, CurrencyCode: k.Currency,
	})
	return toKitchen(row), err
}

// Kitchen is the kitchen with this id.
func (t *Tx) Kitchen(ctx context.Context, id string) (kitchen.Kitchen, error) {
	row, err := t.q.GetKitchen(ctx, id)
	return toKitchen(row), found(err, "kitchen", "kitchens/"+id)
}

// Kitchens lists kitchens with ids after the given one.
func (t *Tx) Kitchens(ctx context.Context, after string, limit int32) ([]kitchen.Kitchen, error) {
	rows, err := t.q.ListKitchens(ctx, db.ListKitchensParams{After: after, Size: limit})
	return each(rows, toKitchen), err
}

// UpdateKitchen writes a kitchen whose version is still current.
func (t *Tx) UpdateKitchen(ctx context.Context, k kitchen.Kitchen) (kitchen.Kitchen, error) {
	row, err := t.q.UpdateKitchen(ctx, db.UpdateKitchenParams{
		ID: t.kitchen, DisplayName: k.DisplayName, CurrencyCode: k.Currency, Version: k.Version,
	})
	return toKitchen(row), current(err, "kitchen")
}

// CreateSite adds a site; AlreadyExists when its id is taken.
func (t *Tx) CreateSite(ctx context.Context, s kitchen.Site) (kitchen.Site, error) {
	id := newID()
	row, err := t.q.InsertSite(ctx, db.InsertSiteParams{
		KitchenID: t.kitchen, ID: id, Slug: slugOr(s.ID, id), DisplayName: s.DisplayName,
		AltitudeM: s.Altitude.Metres().Float64(), TimeZone: s.TimeZone,
	})
	return toSite(row), err
}

// Site is the site with this id.
func (t *Tx) Site(ctx context.Context, id string) (kitchen.Site, error) {
	row, err := t.q.GetSite(ctx, db.GetSiteParams{KitchenID: t.kitchen, Slug: id})
	return toSite(row), found(err, "site", id)
}

// Sites lists sites with ids after the given one.
func (t *Tx) Sites(ctx context.Context, after string, limit int32) ([]kitchen.Site, error) {
	rows, err := t.q.ListSites(ctx, db.ListSitesParams{KitchenID: t.kitchen, After: after, Size: limit})
	return each(rows, toSite), err
}

// UpdateSite writes a site whose version is still current.
func (t *Tx) UpdateSite(ctx context.Context, s kitchen.Site) (kitchen.Site, error) {
	row, err := t.q.UpdateSite(ctx, db.UpdateSiteParams{
		KitchenID: t.kitchen, Slug: s.ID, Version: s.Version,
		DisplayName: s.DisplayName, AltitudeM: s.Altitude.Metres().Float64(), TimeZone: s.TimeZone,
	})
	return toSite(row), current(err, "site")
}

// DeleteSite removes a site whose version is still current; Precondition while a class is held there.
func (t *Tx) DeleteSite(ctx context.Context, s kitchen.Site) error {
	n, err := t.q.DeleteSite(ctx, db.DeleteSiteParams{KitchenID: t.kitchen, Slug: s.ID, Version: s.Version})
	return changed(n, err, "site")
}

func toKitchen(r db.Kitchen) kitchen.Kitchen {
	return kitchen.Kitchen{ID: r.Slug, DisplayName: r.DisplayName, Currency: r.CurrencyCode, CreatedAt: r.CreatedAt, Version: r.Version}
}

// altitude reads a height that a check constraint keeps within bounds. It would
// rather stop than read a broken one as sea level, where times are shortest.
func altitude(metres float64) measure.Altitude {
	a, err := measure.AltitudeFromFloat(metres)
	if err != nil {
		panic(err)
	}
	return a
}

func toSite(r db.Site) kitchen.Site {
	return kitchen.Site{
		ID: r.Slug, DisplayName: r.DisplayName, Altitude: altitude(r.AltitudeM), TimeZone: r.TimeZone,
		CreatedAt: r.CreatedAt, Version: r.Version,
	}
}
