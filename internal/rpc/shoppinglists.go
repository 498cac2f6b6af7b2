package rpc

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/shopping"
	"stillroom/internal/store"
)

const (
	classListPattern   = "kitchens/{kitchen}/classes/{class}/shoppingLists/{shopping_list}"
	kitchenListPattern = "kitchens/{kitchen}/shoppingLists/{shopping_list}"
)

var (
	shoppingAims = map[stillroomv1.ShoppingAim]shopping.Aim{
		stillroomv1.ShoppingAim_SHOPPING_AIM_LEAST_COST:    shopping.LeastCost,
		stillroomv1.ShoppingAim_SHOPPING_AIM_LEAST_SURPLUS: shopping.LeastSurplus,
	}
	confidences = map[shopping.Confidence]stillroomv1.FigureConfidence{
		shopping.Published:   stillroomv1.FigureConfidence_FIGURE_CONFIDENCE_PUBLISHED,
		shopping.Neighbour:   stillroomv1.FigureConfidence_FIGURE_CONFIDENCE_NEIGHBOUR,
		shopping.Unconverted: stillroomv1.FigureConfidence_FIGURE_CONFIDENCE_UNCONVERTED,
	}
)

func (s *shoppingService) CreateShoppingList(ctx context.Context, req *stillroomv1.CreateShoppingListRequest) (*stillroomv1.ShoppingList, error) {
	k, class, err := parseListParent(req.GetParent())
	if err != nil {
		return nil, err
	}
	request, err := decodeSettings(k, class, req.GetSettings())
	if err != nil {
		return nil, err
	}
	settings, err := protojson.Marshal(req.GetSettings())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.ShoppingList
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.ShoppingList, error) {
			list, err := computeList(ctx, tx, request)
			if err != nil {
				return nil, err
			}
			stored, err := tx.CreateShoppingList(ctx, store.StoredList{Class: class, CreatedAt: s.now(), Settings: settings, List: list})
			if err != nil {
				return nil, err
			}
			return encodeList(k, stored)
		})
		return err
	})
	return out, err
}

// computeList reads what a request is about and computes it.
func computeList(ctx context.Context, tx *store.Tx, r shopping.Request) (*shopping.List, error) {
	var err error
	for _, id := range r.Scope.Classes {
		if _, err := tx.Class(ctx, id); err != nil {
			return nil, err
		}
	}
	if r.Classes, err = tx.ShoppingClasses(ctx, r.Scope); err != nil {
		return nil, err
	}
	if r.Offers, err = tx.AllOffers(ctx); err != nil {
		return nil, err
	}
	if r.OnHand, err = tx.AllStockItems(ctx); err != nil {
		return nil, err
	}
	return shopping.Compute(r)
}

func (s *shoppingService) GetShoppingList(ctx context.Context, req *stillroomv1.GetShoppingListRequest) (*stillroomv1.ShoppingList, error) {
	name, err := parseListName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.ShoppingList
	err = s.store.In(ctx, name.kitchen, func(tx *store.Tx) error {
		stored, err := tx.ShoppingList(ctx, name.class, name.number)
		if err != nil {
			return err
		}
		out, err = encodeList(name.kitchen, stored)
		return err
	})
	return out, err
}

func (s *shoppingService) ListShoppingLists(ctx context.Context, req *stillroomv1.ListShoppingListsRequest) (*stillroomv1.ListShoppingListsResponse, error) {
	k, class, err := parseListParent(req.GetParent())
	if err != nil {
		return nil, err
	}
	list := req.GetParent() + "/shoppingLists"
	var before int
	if err := readPage(req.GetPageToken(), list, &before); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListShoppingListsResponse{}
	err = s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		rows, err := tx.ShoppingLists(ctx, class, before, size+1)
		if err != nil {
			return err
		}
		rows, more := cut(rows, size)
		for _, stored := range rows {
			m, err := encodeList(k, stored)
			if err != nil {
				return err
			}
			out.ShoppingLists = append(out.ShoppingLists, m)
		}
		if more {
			out.NextPageToken = nextPage(list, rows[len(rows)-1].Number)
		}
		return nil
	})
	return out, err
}

func (s *shoppingService) CompareShoppingLists(ctx context.Context, req *stillroomv1.CompareShoppingListsRequest) (*stillroomv1.CompareShoppingListsResponse, error) {
	a, err := parseListName("before", req.GetBefore())
	if err != nil {
		return nil, err
	}
	b, err := parseListName("after", req.GetAfter())
	if err != nil {
		return nil, err
	}
	if a.kitchen != b.kitchen {
		return nil, fault.Field("after", req.GetAfter(), "belongs to another kitchen than the list before", "compare two lists of one kitchen")
	}
	var out *stillroomv1.CompareShoppingListsResponse
	err = s.store.In(ctx, a.kitchen, func(tx *store.Tx) error {
		before, err := tx.ShoppingList(ctx, a.class, a.number)
		if err != nil {
			return err
		}
		after, err := tx.ShoppingList(ctx, b.class, b.number)
		if err != nil {
			return err
		}
		out = encodeChanges(a.kitchen, shopping.Compare(before.List, after.List))
		return nil
	})
	return out, err
}

func (s *shoppingService) ExportShoppingList(ctx context.Context, req *stillroomv1.ExportShoppingListRequest) (*stillroomv1.ExportShoppingListResponse, error) {
	name, err := parseListName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	system := shopping.Metric
	if req.GetSystem() == stillroomv1.MeasureSystem_MEASURE_SYSTEM_US_CUSTOMARY {
		system = shopping.Customary
	}
	out := &stillroomv1.ExportShoppingListResponse{}
	err = s.store.In(ctx, name.kitchen, func(tx *store.Tx) error {
		stored, err := tx.ShoppingList(ctx, name.class, name.number)
		if err != nil {
			return err
		}
		var file bytes.Buffer
		switch req.GetFormat() {
		case stillroomv1.ShoppingFormat_SHOPPING_FORMAT_CSV:
			out.ContentType = "text/csv; charset=utf-8; header=present"
			err = stored.List.WriteCSV(&file, system)
		case stillroomv1.ShoppingFormat_SHOPPING_FORMAT_JSON:
			out.ContentType = "application/json"
			err = json.NewEncoder(&file).Encode(stored.List)
		default:
			out.ContentType = "text/plain; charset=utf-8"
			err = stored.List.WriteTable(&file, system, req.GetExplain())
		}
		out.Content = file.Bytes()
		return err
	})
	return out, err
}

// parseListParent reads the name of a class, or of a kitchen for a list over several classes.
func parseListParent(name string) (k, class string, err error) {
	if strings.Contains(name, "/classes/") {
		err = parseName("parent", name, classPattern, &k, &class)
		return k, class, err
	}
	err = parseName("parent", name, kitchenPattern, &k)
	return k, "", err
}

// listName is the name of a list; number 0 is the newest.
type listName struct {
	kitchen, class string
	number         int
}

func parseListName(field, name string) (listName, error) {
	var n listName
	var id string
	var err error
	if strings.Contains(name, "/classes/") {
		err = parseName(field, name, classListPattern, &n.kitchen, &n.class, &id)
	} else {
		err = parseName(field, name, kitchenListPattern, &n.kitchen, &id)
	}
	if err != nil || id == "latest" {
		return n, err
	}
	number, err := strconv.ParseInt(id, 10, 32)
	if err != nil || number < 1 {
		return n, fault.Field(field, name, "does not end in the number of a version", `end it in "/1", "/2", … or "/latest"`)
	}
	n.number = int(number)
	return n, nil
}

// decodeSettings reads what the instructor decided for a list of kitchen k, or of one class of it.
func decodeSettings(k, class string, m *stillroomv1.ShoppingSettings) (shopping.Request, error) {
	var c fault.Collector
	r := shopping.Request{
		Scope:            shopping.Scope{From: shopping.Day(m.GetFromDay()), To: shopping.Day(m.GetToDay())},
		AllowanceBP:      m.GetAllowances(),
		BringOwn:         m.GetBringOwn(),
		LeaveOutOptional: m.GetLeaveOutOptional(),
		Aim:              shoppingAims[m.GetAim()],
		Shop:             m.GetShop(),
	}
	if class != "" {
		r.Scope.Classes = []string{class}
		if len(m.GetClasses()) > 0 || m.GetFromDay() != "" || m.GetToDay() != "" {
			c.Add("settings.classes", "", "and days choose among the classes of a kitchen, but the parent is one class",
				`leave them out, or use the parent "kitchens/`+k+`"`)
		}
	}
	for _, name := range m.GetClasses() {
		var id string
		c.AddErr("", within(k, "settings.classes", name, classPattern, &id))
		r.Scope.Classes = append(r.Scope.Classes, id)
	}
	if m.GetStation() != "" {
		var of string
		c.AddErr("", within(k, "settings.station", m.GetStation(), stationPattern, &of, &r.Scope.Station))
		if class != "" && of != class {
			c.Add("settings.station", m.GetStation(), "is a station of another class", "name a station of the class "+class)
		}
	}
	if m.GetParticipant() != "" {
		c.AddErr("", within(k, "settings.participant", m.GetParticipant(), participantPattern, &r.Scope.Participant))
	}
	for _, choice := range m.GetChoices() {
		decoded := shopping.Choice{Group: choice.GetGroup()}
		for _, share := range choice.GetShares() {
			decoded.Parts = append(decoded.Parts, shopping.Part{Item: share.GetItem(), Parts: share.GetParts()})
		}
		r.Choices = append(r.Choices, decoded)
	}
	if m != nil && (m.LabelsPerJar != nil || m.TowelsPerStation != nil) {
		supplies := shopping.UsualSupplies
		if m.LabelsPerJar != nil {
			supplies.Labels = int64(m.GetLabelsPerJar())
		}
		if m.TowelsPerStation != nil {
			supplies.TowelsPerStation = int64(m.GetTowelsPerStation())
		}
		r.Supplies = &supplies
	}
	return r, c.Err()
}

// measureReason is why the measure room refused a text.
func measureReason(err error) string {
	var m *measure.Error
	if errors.As(err, &m) {
		return m.Reason
	}
	return "is not a quantity"
}

// kitchenListsRead is how many of a kitchen's newest lists are looked through for one that covers a class.
const kitchenListsRead = 10

func (s *shoppingService) GetBringSheet(ctx context.Context, req *stillroomv1.GetBringSheetRequest) (*stillroomv1.BringSheet, error) {
	var k, class, who string
	if err := parseName("class", req.GetClass(), classPattern, &k, &class); err != nil {
		return nil, err
	}
	if err := within(k, "participant", req.GetParticipant(), participantPattern, &who); err != nil {
		return nil, err
	}
	var out *stillroomv1.BringSheet
	err := s.store.Look(ctx, k, func(tx *store.Tx) error {
		person, err := tx.Participant(ctx, who)
		if err != nil {
			return err
		}
		out = &stillroomv1.BringSheet{Class: req.GetClass(), Participant: req.GetParticipant(), DisplayName: person.DisplayName}
		lists, err := tx.ShoppingLists(ctx, class, 0, 1)
		if err != nil {
			return err
		}
		shared, err := tx.ShoppingLists(ctx, "", 0, kitchenListsRead)
		if err != nil {
			return err
		}
		newest := newestCovering(append(lists, shared...), class)
		if newest == nil {
			return nil
		}
		// The lists above come without their lines and sheets.
		stored, err := tx.ShoppingList(ctx, newest.Class, newest.Number)
		if err != nil {
			return err
		}
		for _, sheet := range stored.List.Sheets {
			if sheet.Class == class && sheet.Participant == who {
				out = encodeSheet(k, sheet)
			}
		}
		out.ShoppingList = listNameOf(k, stored.Class, stored.Number)
		return nil
	})
	return out, err
}

// newestCovering is the newest list that covers a class; nil when none does.
func newestCovering(lists []store.StoredList, class string) *store.StoredList {
	var newest *store.StoredList
	for i, l := range lists {
		covers := slices.ContainsFunc(l.List.Classes, func(c shopping.ClassShare) bool { return c.ID == class })
		if covers && (newest == nil || l.CreatedAt.After(newest.CreatedAt)) {
			newest = &lists[i]
		}
	}
	return newest
}
