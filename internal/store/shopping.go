package store

import (
	"context"
	"encoding/json"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgtype"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/recipe"
	"stillroom/internal/shopping"
	"stillroom/internal/store/db"
)

var (
	_ = onConstraint("offers_slug_key", fault.AlreadyExists, "the kitchen has an offer with that id already; choose another")
	_ = onConstraint("stock_items_slug_key", fault.AlreadyExists, "the kitchen has something on hand with that id already; choose another")
	_ = onConstraint("offers_step_of_loose_goods", fault.Precondition, "loose goods have a step and packs have none")
	_ = onConstraint("shopping_lists_immutable", fault.Precondition, "a shopping list never changes; compute a new one")
	_ = onConstraint("shopping_lists_number_key", fault.Conflict, "another list was computed at the same moment; try again")
)

// CreateOffer records an offer; AlreadyExists when its id is taken.
func (t *Tx) CreateOffer(ctx context.Context, o shopping.Offer) (shopping.Offer, error) {
	id := newID()
	row, err := t.q.InsertOffer(ctx, db.InsertOfferParams{
		KitchenID: t.kitchen, ID: id, Slug: slugOr(o.ID, id), Item: o.Item, Label: o.Label, Shop: o.Shop, Section: o.Section,
		Kind: string(o.Kind), Content: shopping.QuantityText(o.Content), Step: shopping.QuantityText(o.Step),
		AverageWeight: shopping.QuantityText(o.AverageWeight), PriceMinor: o.Price.Minor, CurrencyCode: o.Price.Currency, Acidity: int32(o.Acidity),
	})
	if err != nil {
		return shopping.Offer{}, err
	}
	return toOffer(row)
}

// Offer is the offer with this id.
func (t *Tx) Offer(ctx context.Context, id string) (shopping.Offer, error) {
	row, err := t.q.GetOffer(ctx, db.GetOfferParams{KitchenID: t.kitchen, Slug: id})
	if err != nil {
		return shopping.Offer{}, found(err, "offer", id)
	}
	return toOffer(row)
}

// ItemCursor is where a list by item, then id, continues.
type ItemCursor struct{ Item, ID string }

// Offers lists offers after the cursor.
func (t *Tx) Offers(ctx context.Context, after ItemCursor, limit int32) ([]shopping.Offer, error) {
	rows, err := t.q.ListOffers(ctx, db.ListOffersParams{KitchenID: t.kitchen, AfterItem: after.Item, AfterSlug: after.ID, Size: limit})
	if err != nil {
		return nil, err
	}
	return eachRead(rows, toOffer)
}

// AllOffers are all offers of the kitchen.
func (t *Tx) AllOffers(ctx context.Context) ([]shopping.Offer, error) {
	rows, err := t.q.AllOffers(ctx, t.kitchen)
	if err != nil {
		return nil, err
	}
	return eachRead(rows, toOffer)
}

// UpdateOffer writes an offer whose version is still current.
func (t *Tx) UpdateOffer(ctx context.Context, o shopping.Offer) (shopping.Offer, error) {
	row, err := t.q.UpdateOffer(ctx, db.UpdateOfferParams{
		KitchenID: t.kitchen, Slug: o.ID, Version: o.Version, Item: o.Item, Label: o.Label, Shop: o.Shop, Section: o.Section,
		Kind: string(o.Kind), Content: shopping.QuantityText(o.Content), Step: shopping.QuantityText(o.Step),
		AverageWeight: shopping.QuantityText(o.AverageWeight), PriceMinor: o.Price.Minor, CurrencyCode: o.Price.Currency, Acidity: int32(o.Acidity),
	})
	if err != nil {
		return shopping.Offer{}, current(err, "offer")
	}
	return toOffer(row)
}

// DeleteOffer removes an offer whose version is still current.
func (t *Tx) DeleteOffer(ctx context.Context, o shopping.Offer) error {
	n, err := t.q.DeleteOffer(ctx, db.DeleteOfferParams{KitchenID: t.kitchen, Slug: o.ID, Version: o.Version})
	return changed(n, err, "offer")
}

// CreateStockItem records something on hand; AlreadyExists when its id is taken.
func (t *Tx) CreateStockItem(ctx context.Context, h shopping.OnHand) (shopping.OnHand, error) {
	day, err := toDate(h.BestBefore)
	if err != nil {
		return shopping.OnHand{}, err
	}
	id := newID()
	row, err := t.q.InsertStockItem(ctx, db.InsertStockItemParams{
		KitchenID: t.kitchen, ID: id, Slug: slugOr(h.ID, id), Item: h.Item, Content: shopping.QuantityText(h.Content),
		BestBefore: day, Used: h.Used, Note: h.Note,
	})
	if err != nil {
		return shopping.OnHand{}, err
	}
	return toOnHand(row)
}

// StockItem is the thing on hand with this id.
func (t *Tx) StockItem(ctx context.Context, id string) (shopping.OnHand, error) {
	row, err := t.q.GetStockItem(ctx, db.GetStockItemParams{KitchenID: t.kitchen, Slug: id})
	if err != nil {
		return shopping.OnHand{}, found(err, "stock item", id)
	}
	return toOnHand(row)
}

// StockItems lists what is on hand after the cursor.
func (t *Tx) StockItems(ctx context.Context, after ItemCursor, limit int32) ([]shopping.OnHand, error) {
	rows, err := t.q.ListStockItems(ctx, db.ListStockItemsParams{KitchenID: t.kitchen, AfterItem: after.Item, AfterSlug: after.ID, Size: limit})
	if err != nil {
		return nil, err
	}
	return eachRead(rows, toOnHand)
}

// AllStockItems are all things on hand.
func (t *Tx) AllStockItems(ctx context.Context) ([]shopping.OnHand, error) {
	rows, err := t.q.AllStockItems(ctx, t.kitchen)
	if err != nil {
		return nil, err
	}
	return eachRead(rows, toOnHand)
}

// UpdateStockItem writes a thing on hand whose version is still current.
func (t *Tx) UpdateStockItem(ctx context.Context, h shopping.OnHand) (shopping.OnHand, error) {
	day, err := toDate(h.BestBefore)
	if err != nil {
		return shopping.OnHand{}, err
	}
	row, err := t.q.UpdateStockItem(ctx, db.UpdateStockItemParams{
		KitchenID: t.kitchen, Slug: h.ID, Version: h.Version, Item: h.Item, Content: shopping.QuantityText(h.Content),
		BestBefore: day, Used: h.Used, Note: h.Note,
	})
	if err != nil {
		return shopping.OnHand{}, current(err, "stock item")
	}
	return toOnHand(row)
}

// DeleteStockItem removes a thing on hand whose version is still current.
func (t *Tx) DeleteStockItem(ctx context.Context, h shopping.OnHand) error {
	n, err := t.q.DeleteStockItem(ctx, db.DeleteStockItemParams{KitchenID: t.kitchen, Slug: h.ID, Version: h.Version})
	return changed(n, err, "stock item")
}

// ShoppingClasses are the classes in a scope with their stations, participants and batches, ready to be computed.
// Batches of one revision share one formula. Classes are told apart by day at their site.
func (t *Tx) ShoppingClasses(ctx context.Context, scope shopping.Scope) ([]shopping.Class, error) {
	slugs := scope.Classes
	if slugs == nil {
		slugs = []string{}
	}
	rows, err := t.q.ShoppingClasses(ctx, db.ShoppingClassesParams{
		KitchenID: t.kitchen, Slugs: slugs, FromDay: string(scope.From), ToDay: string(scope.To),
	})
	if err != nil {
		return nil, err
	}
	classes := make([]shopping.Class, len(rows))
	at := make(map[uuid.UUID]int, len(rows))
	ids := make([]uuid.UUID, len(rows))
	for i, r := range rows {
		classes[i] = shopping.Class{ID: r.Slug, Title: r.DisplayName, Day: shopping.Day(r.Day)}
		at[r.ID], ids[i] = i, r.ID
	}
	stationAt := map[uuid.UUID]*shopping.Station{}
	stations, err := t.q.ShoppingStations(ctx, db.ShoppingStationsParams{KitchenID: t.kitchen, ClassIds: ids})
	if err != nil {
		return nil, err
	}
	for _, r := range stations {
		class := &classes[at[r.ClassID]]
		class.Stations = append(class.Stations, shopping.Station{ID: r.Slug, Name: r.DisplayName})
	}
	next := make([]int, len(classes))
	for _, r := range stations { // only now that the slices no longer grow
		i := at[r.ClassID]
		stationAt[r.ID] = &classes[i].Stations[next[i]]
		next[i]++
	}
	places, err := t.q.ShoppingPlaces(ctx, db.ShoppingPlacesParams{KitchenID: t.kitchen, ClassIds: ids})
	if err != nil {
		return nil, err
	}
	for _, r := range places {
		if r.StationID == nil {
			continue
		}
		s := stationAt[*r.StationID]
		s.Participants = append(s.Participants, shopping.Participant{ID: r.Slug, Name: r.DisplayName})
	}
	return classes, t.fillBatches(ctx, ids, stationAt)
}

func (t *Tx) fillBatches(ctx context.Context, classes []uuid.UUID, stations map[uuid.UUID]*shopping.Station) error {
	batches, err := t.q.ShoppingBatches(ctx, db.ShoppingBatchesParams{KitchenID: t.kitchen, ClassIds: classes})
	if err != nil {
		return err
	}
	formulas := map[uuid.UUID]*shopping.Formula{}
	var ids []uuid.UUID
	for _, b := range batches {
		if _, ok := formulas[b.RevisionID]; !ok {
			formulas[b.RevisionID] = nil
			ids = append(ids, b.RevisionID)
		}
	}
	revisions, err := t.q.ShoppingRevisions(ctx, db.ShoppingRevisionsParams{KitchenID: t.kitchen, Ids: ids})
	if err != nil {
		return err
	}
	for _, r := range revisions {
		revision, err := recipe.Unmarshal(r.Document)
		if err != nil {
			return err
		}
		f := shopping.FormulaOf(revision, r.Slug)
		f.Title = r.Title
		formulas[r.ID] = f
	}
	for _, b := range batches {
		s := stations[b.StationID]
		s.Batches = append(s.Batches, shopping.Batch{
			ID: b.Slug, Formula: formulas[b.RevisionID], Count: 1, JarSize: canning.JarSize(b.JarSize), Jars: int64(b.Jars),
		})
	}
	return nil
}

// StoredList is a shopping list as it is kept. Class is the id of the class it is for, empty for one over several
// classes; Settings is what the instructor decided, in the caller's own form.
type StoredList struct {
	Class     string
	Number    int
	CreatedAt time.Time
	Settings  []byte
	List      *shopping.List
}

// CreateShoppingList keeps a list as the next version of its class or kitchen.
func (t *Tx) CreateShoppingList(ctx context.Context, l StoredList) (StoredList, error) {
	var class *uuid.UUID
	if l.Class != "" {
		row, err := t.lockClass(ctx, l.Class)
		if err != nil {
			return StoredList{}, err
		}
		class = &row.ID
	} else if err := t.q.LockKitchenForLists(ctx, t.kitchen); err != nil {
		return StoredList{}, err
	}
	document, err := json.Marshal(l.List)
	if err != nil {
		return StoredList{}, err
	}
	summary, err := json.Marshal(l.List.Summary())
	if err != nil {
		return StoredList{}, err
	}
	row, err := t.q.InsertShoppingList(ctx, db.InsertShoppingListParams{
		KitchenID: t.kitchen, ID: newID(), ClassID: class, Settings: l.Settings, Summary: summary, Document: document, CreatedAt: l.CreatedAt,
	})
	l.Number, l.CreatedAt = int(row.Number), row.CreatedAt
	return l, err
}

// ShoppingList is a stored list with all its lines; number 0 is the newest. class is empty for a list over several
// classes.
func (t *Tx) ShoppingList(ctx context.Context, class string, number int) (StoredList, error) {
	if err := t.classExists(ctx, class); err != nil {
		return StoredList{}, err
	}
	row, err := t.q.GetShoppingList(ctx, db.GetShoppingListParams{KitchenID: t.kitchen, ClassSlug: class, Number: int32(number)})
	if err != nil {
		return StoredList{}, found(err, "shopping list", listName(number))
	}
	return readList(class, row.Number, row.CreatedAt, row.Settings, row.Document)
}

// ShoppingLists lists stored lists, newest first, without their lines. before is the number of the last one seen,
// 0 to begin.
func (t *Tx) ShoppingLists(ctx context.Context, class string, before int, limit int32) ([]StoredList, error) {
	if err := t.classExists(ctx, class); err != nil {
		return nil, err
	}
	rows, err := t.q.ListShoppingLists(ctx, db.ListShoppingListsParams{KitchenID: t.kitchen, ClassSlug: class, Before: int32(before), Size: limit})
	if err != nil {
		return nil, err
	}
	return eachRead(rows, func(r db.ListShoppingListsRow) (StoredList, error) {
		return readList(class, r.Number, r.CreatedAt, r.Settings, r.Summary)
	})
}

// classExists keeps a class that is not there from being read as no class at all.
func (t *Tx) classExists(ctx context.Context, class string) error {
	if class == "" {
		return nil
	}
	_, err := t.Class(ctx, class)
	return err
}

func readList(class string, number int32, created time.Time, settings, document []byte) (StoredList, error) {
	l := StoredList{Class: class, Number: int(number), CreatedAt: created, Settings: settings, List: &shopping.List{}}
	if err := json.Unmarshal(document, l.List); err != nil {
		return StoredList{}, fault.New(fault.Internal, "a stored shopping list cannot be read").Because(err)
	}
	return l, nil
}

func listName(number int) string {
	if number == 0 {
		return "latest"
	}
	return strconv.Itoa(number)
}

func toOffer(r db.Offer) (shopping.Offer, error) {
	o := shopping.Offer{
		ID: r.Slug, Item: r.Item, Label: r.Label, Shop: r.Shop, Section: r.Section, Kind: shopping.OfferKind(r.Kind),
		Price: shopping.Money{Minor: r.PriceMinor, Currency: r.CurrencyCode}, Acidity: int(r.Acidity), Version: r.Version,
	}
	var err error
	if o.Content, err = toQuantity(r.Content); err != nil {
		return o, err
	}
	if o.Step, err = toQuantity(r.Step); err != nil {
		return o, err
	}
	o.AverageWeight, err = toQuantity(r.AverageWeight)
	return o, err
}

func toOnHand(r db.StockItem) (shopping.OnHand, error) {
	h := shopping.OnHand{ID: r.Slug, Item: r.Item, Used: r.Used, Note: r.Note, Version: r.Version}
	if r.BestBefore.Valid {
		h.BestBefore = shopping.Day(r.BestBefore.Time.Format(time.DateOnly))
	}
	var err error
	h.Content, err = toQuantity(r.Content)
	return h, err
}

// toQuantity reads what shopping.QuantityText wrote.
func toQuantity(s string) (measure.Quantity, error) {
	if s == "" {
		return measure.Quantity{}, nil
	}
	q, err := measure.ParseQuantity(s)
	if err != nil {
		return q, fault.New(fault.Internal, "a stored quantity cannot be read").Because(err)
	}
	return q, nil
}

func toDate(d shopping.Day) (pgtype.Date, error) {
	if d == "" {
		return pgtype.Date{}, nil
	}
	day, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return pgtype.Date{}, fault.Field("best_before", string(d), "is not a date", "write it like 2026-08-22")
	}
	return pgtype.Date{Time: day, Valid: true}, nil
}

// eachRead maps rows that may turn out unreadable.
func eachRead[R, D any](rows []R, to func(R) (D, error)) ([]D, error) {
	out := make([]D, len(rows))
	for i, r := range rows {
		var err error
		if out[i], err = to(r); err != nil {
			return nil, err
		}
	}
	return out, nil
}
