package rpc

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// A larder holds what random calls about one kitchen are made of: the names, versions and
// page tokens that earlier replies gave, and requests that succeeded.
type larder struct {
	kitchen string // kitchens/north
	mark    string // is in every text of this kitchen and in none of the other
	callers []*caller
	// furnished are the names that the kitchen began with.
	furnished map[string]bool

	mu    sync.Mutex
	words map[string][]string // by kind of resource, and etag, request_id, page_token
	good  map[string][]proto.Message
}

// caller is somebody who calls about a kitchen, or the operator.
type caller struct {
	role   stillroomv1.Role
	mu     sync.Mutex
	secret string
}

const mostKept = 60

// keep remembers a word of a kind, instead of another when there are many.
func (l *larder) keep(kind, word string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	known := l.words[kind]
	switch {
	case word == "" || slices.Contains(known, word):
	case len(known) < mostKept:
		l.words[kind] = append(known, word)
	default:
		known[rand.IntN(mostKept)] = word
	}
}

func (l *larder) sample(m *maker, kind, otherwise string) string {
	l.mu.Lock()
	defer l.mu.Unlock()
	if known := l.words[kind]; len(known) > 0 {
		return known[m.IntN(len(known))]
	}
	return otherwise
}

// served remembers a request that was served, and what it and its reply name.
func (l *larder) served(method string, req, reply proto.Message) {
	l.harvest(req.ProtoReflect())
	l.harvest(reply.ProtoReflect())
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.good[method]) < mostKept {
		l.good[method] = append(l.good[method], proto.Clone(req))
	} else {
		l.good[method][rand.IntN(mostKept)] = proto.Clone(req)
	}
}

func (l *larder) goodRequest(m *maker, method string) proto.Message {
	l.mu.Lock()
	defer l.mu.Unlock()
	if known := l.good[method]; len(known) > 0 {
		return proto.Clone(known[m.IntN(len(known))])
	}
	return nil
}

// harvest remembers what a reply or a request names.
func (l *larder) harvest(msg protoreflect.Message) {
	kind := ""
	if o, ok := proto.GetExtension(msg.Descriptor().Options(), annotations.E_Resource).(*annotations.ResourceDescriptor); ok {
		kind = o.GetType()
	}
	msg.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap():
		case f.IsList() && f.Message() != nil:
			for i := range v.List().Len() {
				l.harvest(v.List().Get(i).Message())
			}
		case f.Message() != nil:
			l.harvest(v.Message())
		case f.Kind() == protoreflect.StringKind && !f.IsList():
			switch f.Name() {
			case "name":
				if kind != "" {
					l.keep(kind, v.String())
				}
			case "etag", "request_id":
				l.keep(string(f.Name()), v.String())
			case "next_page_token":
				l.keep("page_token", v.String())
			}
		}
		return true
	})
}

// pageToken is one that a list gave, or such a one with its content changed.
func (m *maker) pageToken() string {
	token := m.own.sample(m, "page_token", "")
	if m.oneIn(10) {
		token = m.foreign.sample(m, "page_token", "")
	}
	data, err := base64.RawURLEncoding.DecodeString(token)
	var c cursor
	if m.oneIn(2) || err != nil || json.Unmarshal(data, &c) != nil {
		return token
	}
	for i := range c.After {
		if m.oneIn(2) {
			c.After[i] = pick(m, []any{"", "a\x00b", "\U0010FFFF", strings.Repeat("z", 3000), -1, 0, 1e300, 1 << 40, nil, true, []any{}, map[string]any{},
				uuid.Max.String(), uuid.Nil.String(), "0001-01-01T00:00:00Z", "9999-12-31T23:59:59.999999999Z", "-4714-01-01T00:00:00Z", "2027-08-14T16:00:00+23:59"})
		}
	}
	return nextPage(c.List, c.After...)
}

// request makes a request of a method: one that was served before with a few fields
// changed, the next page of a list, or a new one.
func (m *maker) request(method string, d protoreflect.MethodDescriptor) proto.Message {
	if req := m.own.goodRequest(m, method); req != nil && !m.oneIn(3) {
		m.renew(req.ProtoReflect())
		for range m.IntN(3) {
			m.change(req.ProtoReflect(), 3)
		}
		return bounded(m, req)
	}
	req := newMessage(d.Input())
	m.message(req.ProtoReflect(), 5)
	return bounded(m, req)
}

// renew gives a repeated request an id of its own, mostly.
func (m *maker) renew(msg protoreflect.Message) {
	fields := msg.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		name := string(f.Name())
		if f.Kind() == protoreflect.StringKind && !f.IsList() && !m.oneIn(5) &&
			(name == "request_id" || strings.HasSuffix(name, "_id") || name == "page_token" && m.oneIn(2)) {
			msg.Set(f, m.scalar(msg, f))
		}
		if name == "parent" || name == "name" && !m.oneIn(3) {
			if child := len(m.own.words) > 0 && m.oneIn(2); child {
				msg.Set(f, m.scalar(msg, f))
			}
		}
	}
}

// change makes one field of a message anew, or empties it; the field may lie deeper.
func (m *maker) change(msg protoreflect.Message, depth int) {
	fields := msg.Descriptor().Fields()
	if fields.Len() == 0 {
		return
	}
	f := fields.Get(m.IntN(fields.Len()))
	switch {
	case depth > 0 && f.Message() != nil && !f.IsMap() && msg.Has(f) && !m.oneIn(4):
		inner := msg.Get(f)
		if f.IsList() {
			m.change(inner.List().Get(m.IntN(inner.List().Len())).Message(), depth-1)
		} else {
			m.change(inner.Message(), depth-1)
		}
	case m.oneIn(5):
		msg.Clear(f)
	default:
		if f.IsList() || f.IsMap() {
			msg.Clear(f)
		}
		m.field(msg, f, depth)
	}
}

// bounded keeps a search short; a caller's deadline ends those that it leaves long.
func bounded(m *maker, req proto.Message) proto.Message {
	msg := req.ProtoReflect()
	work, limit := msg.Descriptor().Fields().ByName("work_limit"), msg.Descriptor().Fields().ByName("time_limit")
	if work == nil || limit == nil || m.oneIn(30) {
		return req
	}
	if msg.Get(work).Int() >= 0 {
		msg.Set(work, protoreflect.ValueOfInt64(1+m.Int64N(200)))
	}
	if !m.oneIn(5) {
		msg.Set(limit, protoreflect.ValueOfMessage(durationpb.New(50*time.Millisecond).ProtoReflect()))
	}
	return req
}

var resourceKinds = sync.OnceValue(func() []string {
	var kinds []string
	protoregistry.GlobalFiles.RangeFilesByPackage("stillroom.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Messages().Len() {
			if o, ok := proto.GetExtension(file.Messages().Get(i).Options(), annotations.E_Resource).(*annotations.ResourceDescriptor); ok && o != nil {
				kinds = append(kinds, o.GetType())
			}
		}
		return true
	})
	slices.Sort(kinds)
	return kinds
})

// furnish makes a kitchen in which most calls find something, by calls that are kept as
// good ones.
func (w *randomWorld) furnish(t *testing.T, l *larder) {
	t.Helper()
	k, id := l.kitchen, strings.TrimPrefix(l.kitchen, "kitchens/")
	operator := w.operator
	w.clock.Store(testNow.Unix())
	good := func(method string, req proto.Message) proto.Message {
		t.Helper()
		reply, err := w.call(t.Context(), operator, method, req)
		require.NoError(t, err, method)
		l.served(method, req, reply)
		return reply
	}
	class, start := k+"/classes/c", timestamppb.New(testNow.AddDate(0, 0, 7))
	good("KitchenService/CreateKitchen", &stillroomv1.CreateKitchenRequest{KitchenId: id, Kitchen: &stillroomv1.Kitchen{DisplayName: l.mark, CurrencyCode: "USD"}})
	good("KitchenService/CreateSite", &stillroomv1.CreateSiteRequest{Parent: k, SiteId: "main", Site: &stillroomv1.Site{
		DisplayName: l.mark, Altitude: &stillroomv1.Altitude{Metres: 1609.344}, TimeZone: "America/Denver"}})
	for _, c := range []string{"c", "d"} {
		good("ClassService/CreateClass", &stillroomv1.CreateClassRequest{Parent: k, ClassId: c, RequestId: uuid.NewString(), Class: &stillroomv1.Class{
			DisplayName: l.mark, Site: k + "/sites/main", StartTime: start, DurationMinutes: 240, Capacity: 8, LiveSessionTime: start, LiveSessionMinutes: 30}})
		for _, s := range []string{"a", "b"} {
			good("ClassService/CreateStation", &stillroomv1.CreateStationRequest{Parent: k + "/classes/" + c, StationId: s, Station: &stillroomv1.Station{DisplayName: l.mark + s}})
		}
	}
	good("EquipmentService/ImportEquipment", &stillroomv1.ImportEquipmentRequest{Parent: k, Yaml: []byte(strings.ReplaceAll(documents()[2], "MARK", l.mark))})
	good("EquipmentService/CreateEquipment", &stillroomv1.CreateEquipmentRequest{Parent: k, EquipmentId: "burners", Equipment: &stillroomv1.Equipment{DisplayName: l.mark, Kind: "burner", OwnedCount: 6}})
	for _, r := range [][2]string{{"salsa", "chile_salsa"}, {"corn", "pickled_corn_relish"}} {
		recipe, published := r[0], r[1]
		good("RecipeService/AdoptRecipe", &stillroomv1.AdoptRecipeRequest{Parent: k, RecipeId: recipe, PublishedRecipe: "publishedRecipes/" + published})
		l.keep("stillroom/RecipeRevision", k+"/recipes/"+recipe+"/revisions/1")
		l.keep("stillroom/PublishedRecipe", "publishedRecipes/"+published)
		good("ClassService/CreateBatch", &stillroomv1.CreateBatchRequest{Parent: class, BatchId: recipe, Batch: &stillroomv1.Batch{
			Station: class + "/stations/a", RecipeRevision: k + "/recipes/" + recipe + "/revisions/1", JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, Jars: 6, MaySplit: true}})
	}
	for _, p := range []string{"ana", "bo", "cy"} {
		person := good("RosterService/CreateParticipant", &stillroomv1.CreateParticipantRequest{Parent: k, ParticipantId: p, Participant: &stillroomv1.Participant{
			DisplayName: l.mark + p, Email: p + "@example.org", Allergies: l.mark}}).(*stillroomv1.Participant)
		good("RosterService/CreateEnrolment", &stillroomv1.CreateEnrolmentRequest{Parent: class, Enrolment: &stillroomv1.Enrolment{Participant: person.GetName(), Station: class + "/stations/a"}})
		good("QuestionService/CreateQuestion", &stillroomv1.CreateQuestionRequest{Parent: k, QuestionId: "q" + p, Question: &stillroomv1.Question{
			Class: class, Asker: person.GetName(), Text: l.mark + " The lid came off, is it safe?"}})
	}
	wish := &stillroomv1.JarWish{RecipeRevision: k + "/recipes/salsa/revisions/1", JarsPerParticipant: 1}
	good("ClassService/ProposeBatches", &stillroomv1.ProposeBatchesRequest{Name: k + "/classes/d", Participants: 2, Wishes: []*stillroomv1.JarWish{wish}, Apply: true})
	good("LoadService/PlanClassesTogether", &stillroomv1.PlanClassesTogetherRequest{Parent: k, Classes: []string{class, k + "/classes/d"}, WorkLimit: 200, SkipGains: true})
	price := &stillroomv1.Money{CurrencyCode: "USD", MinorUnits: 300}
	good("ShoppingService/BatchCreateOffers", &stillroomv1.BatchCreateOffersRequest{Parent: k, Offers: []*stillroomv1.OfferToCreate{
		{Offer: &stillroomv1.Offer{Item: "sugar", Kind: stillroomv1.OfferKind_OFFER_KIND_BAG, Content: "4 lb", Price: price}}}})
	good("ShoppingService/CreateOffer", &stillroomv1.CreateOfferRequest{Parent: k, Offer: &stillroomv1.Offer{Item: "onions", Label: l.mark,
		Kind: stillroomv1.OfferKind_OFFER_KIND_LOOSE, Content: "1 lb", Step: "0.25 lb", Price: &stillroomv1.Money{CurrencyCode: "USD", MinorUnits: 110}}})
	good("ShoppingService/CreateStockItem", &stillroomv1.CreateStockItemRequest{Parent: k, StockItem: &stillroomv1.StockItem{Item: "sugar", Content: "2 lb", Note: l.mark}})
	good("ShoppingService/CreateShoppingList", &stillroomv1.CreateShoppingListRequest{Parent: class})
	good("EquipmentService/CreateReservation", &stillroomv1.CreateReservationRequest{Parent: k + "/equipment/burners", ReservationId: "r", Reservation: &stillroomv1.Reservation{Class: class, Units: 1}})
	place := &stillroomv1.Altitude{Metres: 1600}
	good("EquipmentService/RecordComeUp", &stillroomv1.RecordComeUpRequest{Name: k + "/equipment/big", ComeUp: &stillroomv1.ComeUp{
		Method: stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER, JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, Pack: stillroomv1.Pack_PACK_HOT, Jars: 7, Altitude: place, Minutes: 17}})
	good("ProcessService/EstimateComeUp", &stillroomv1.EstimateComeUpRequest{Name: k + "/equipment/big", Method: stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER,
		JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, Pack: stillroomv1.Pack_PACK_HOT, Place: &stillroomv1.EstimateComeUpRequest_Altitude{Altitude: place}})
	var changes []*stillroomv1.Change
	revision := good("RecipeService/GetRecipeRevision", &stillroomv1.GetRecipeRevisionRequest{Name: k + "/recipes/salsa/revisions/1"}).(*stillroomv1.RecipeRevision)
	for _, line := range revision.GetFormula().GetIngredientLines() {
		l.keep("line_id", line.GetLineId())
		changes = append(changes, &stillroomv1.Change{Kind: stillroomv1.ChangeKind_CHANGE_KIND_OMIT, LineId: line.GetLineId()})
	}
	good("RecipeService/ReviewChanges", &stillroomv1.ReviewChangesRequest{Name: k + "/recipes/salsa", Changes: changes[:1]})
	good("RecipeService/CreateRecipeRevision", &stillroomv1.CreateRecipeRevisionRequest{Parent: k + "/recipes/salsa", BaseNumber: 1, Changes: changes[:1]})
	for _, format := range []stillroomv1.RecipeFormat{1, 2, 3} {
		good("RecipeService/ExportRecipe", &stillroomv1.ExportRecipeRequest{Name: k + "/recipes/salsa", Format: format})
	}
	good("QuestionService/CreateSession", &stillroomv1.CreateSessionRequest{Parent: class, SessionId: "s", Host: l.mark})
	plan := &stillroomv1.PlanLoadsRequest{Parent: class, WorkLimit: 200, Seed: 1, SkipGains: true}
	good("LoadService/PlanLoads", plan)
	after := proto.Clone(plan).(*stillroomv1.PlanLoadsRequest)
	after.PreviousPlan = class + "/loadPlans/1"
	after.Happened = &stillroomv1.Happened{Now: timestamppb.New(start.AsTime().Add(time.Hour)),
		Filled: []*stillroomv1.FilledBatch{{Batch: class + "/batches/salsa", LiddedTime: timestamppb.New(start.AsTime().Add(50 * time.Minute))}}}
	good("LoadService/PlanLoads", after)

	w.clock.Store(start.AsTime().Add(36 * time.Hour).Unix())
	good("SealService/CreateSealCheck", &stillroomv1.CreateSealCheckRequest{Parent: class, SealCheck: &stillroomv1.SealCheck{
		Batch: class + "/batches/salsa", Participant: k + "/participants/ana", SealedJars: 1}})
	l.furnished = map[string]bool{}
	for _, names := range l.words {
		for _, name := range names {
			l.furnished[name] = true
		}
	}
	for _, role := range []stillroomv1.Role{stillroomv1.Role_ROLE_OWNER, stillroomv1.Role_ROLE_INSTRUCTOR, stillroomv1.Role_ROLE_ASSISTANT, stillroomv1.Role_ROLE_PARTICIPANT} {
		c := &caller{role: role}
		require.NoError(t, w.letIn(t.Context(), l, c))
		l.callers = append(l.callers, c)
	}
}

// letIn gives a caller a token, a new one when random calls have revoked the one before.
func (w *randomWorld) letIn(ctx context.Context, l *larder, c *caller) error {
	token := &stillroomv1.Token{DisplayName: l.mark, Role: c.role}
	if c.role == stillroomv1.Role_ROLE_PARTICIPANT {
		token.Participant, token.Class = l.kitchen+"/participants/ana", l.kitchen+"/classes/c"
	}
	reply, err := stillroomv1.NewAccessServiceClient(w.conn).CreateToken(withToken(ctx, testOperator), &stillroomv1.CreateTokenRequest{Parent: l.kitchen, Token: token})
	c.mu.Lock()
	defer c.mu.Unlock()
	c.secret = reply.GetSecret()
	return err
}

// errorLines collects what the server logs as an error: panics, and whatever nobody foresaw.
type errorLines struct {
	mu    sync.Mutex
	lines []string
}

func (e *errorLines) Enabled(_ context.Context, level slog.Level) bool {
	return level >= slog.LevelError
}
func (e *errorLines) WithAttrs([]slog.Attr) slog.Handler { return e }
func (e *errorLines) WithGroup(string) slog.Handler      { return e }
func (e *errorLines) Handle(_ context.Context, r slog.Record) error {
	line := r.Message
	r.Attrs(func(a slog.Attr) bool { line += fmt.Sprintf(" %s=%v", a.Key, a.Value); return true })
	e.mu.Lock()
	defer e.mu.Unlock()
	e.lines = append(e.lines, line)
	return nil
}

func (e *errorLines) all() []string {
	e.mu.Lock()
	defer e.mu.Unlock()
	return slices.Clone(e.lines)
}
