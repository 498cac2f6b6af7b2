package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// The traffic of a kitchen at work, for the fault run and the soak: instructors who
// prepare one class after another, people who enrol in a class with few places, stock,
// questions and their endorsements, shopping lists, small load plans, and those who look.

// errand is one call. One that changes something has a request_id.
type errand struct {
	kind    string
	method  string
	request proto.Message
	reply   proto.Message
	stream  bool
}

// run makes the call once.
func (e *errand) run(ctx context.Context, conn *grpc.ClientConn) error {
	if !e.stream {
		return conn.Invoke(ctx, e.method, e.request, e.reply)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, e.method)
	if err != nil {
		return err
	}
	if err := errors.Join(stream.SendMsg(e.request), stream.CloseSend()); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	for {
		if err := stream.RecvMsg(e.reply); err != nil {
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
	}
}

// requestID is the errand's request_id; empty for one that only looks.
func (e *errand) requestID() string {
	if r, ok := e.request.(interface{ GetRequestId() string }); ok {
		return r.GetRequestId()
	}
	return ""
}

// made is the name of what the errand made; empty when it made nothing.
func (e *errand) made() string {
	if plan, ok := e.reply.(*stillroomv1.PlanLoadsResponse); ok {
		return plan.GetLoadPlan().GetName()
	}
	if r, ok := e.reply.(interface{ GetName() string }); ok && e.requestID() != "" {
		return r.GetName()
	}
	return ""
}

// furnish makes a kitchen that traffic can be about.
func furnish(ctx context.Context, conn *grpc.ClientConn, kitchen string) error {
	text := func(file string) []byte {
		content, err := os.ReadFile("../../testdata/first-class/" + file)
		if err != nil {
			panic(err)
		}
		return content
	}
	_, err := stillroomv1.NewKitchenServiceClient(conn).CreateKitchen(ctx, &stillroomv1.CreateKitchenRequest{
		KitchenId: strings.TrimPrefix(kitchen, "kitchens/"), Kitchen: &stillroomv1.Kitchen{DisplayName: "Busy kitchen", CurrencyCode: "USD"}})
	if err != nil {
		return err
	}
	_, err = stillroomv1.NewKitchenServiceClient(conn).CreateSite(ctx, &stillroomv1.CreateSiteRequest{Parent: kitchen, SiteId: "main", Site: &stillroomv1.Site{
		DisplayName: "Main", Altitude: &stillroomv1.Altitude{Metres: 1655}, TimeZone: "America/Denver"}})
	if err != nil {
		return err
	}
	if _, err = stillroomv1.NewEquipmentServiceClient(conn).ImportEquipment(ctx, &stillroomv1.ImportEquipmentRequest{Parent: kitchen, Yaml: text("equipment.yaml")}); err != nil {
		return err
	}
	_, err = stillroomv1.NewRecipeServiceClient(conn).AdoptRecipe(ctx, &stillroomv1.AdoptRecipeRequest{
		Parent: kitchen, RecipeId: "relish", PublishedRecipe: "publishedRecipes/pickled_pepper_onion_relish"})
	if err != nil {
		return err
	}
	_, err = stillroomv1.NewShoppingServiceClient(conn).CreateOffer(ctx, &stillroomv1.CreateOfferRequest{Parent: kitchen, Offer: &stillroomv1.Offer{
		Item: "onions", Kind: stillroomv1.OfferKind_OFFER_KIND_LOOSE, Content: "1 lb", Step: "0.25 lb", Price: &stillroomv1.Money{CurrencyCode: "USD", MinorUnits: 110}}})
	return err
}

// limited hands out the class that people enrol in: a new one after so many enrolments,
// more than it has places for.
type limited struct {
	kitchen string
	count   atomic.Int64
}

const (
	placesInLimited = 20
	peopleToLimited = 30
)

func (l *limited) class() string {
	return fmt.Sprintf("%s/classes/limited-%d", l.kitchen, l.count.Add(1)/peopleToLimited)
}

// visitor is one client's train of errands. It is used by one goroutine.
type visitor struct {
	*rand.Rand
	id      string
	kitchen string
	limited *limited

	day     int
	left    int // errands left of this day
	class   string
	batches int
	people  []string // not enrolled yet; the first asks questions
	asking  int
	asked   []string
	stock   []string
	serial  int
}

func newVisitor(id int, limited *limited) *visitor {
	return &visitor{Rand: rand.New(rand.NewPCG(uint64(id), 7)), id: fmt.Sprintf("v%d", id), kitchen: limited.kitchen, limited: limited}
}

// unique is a text that no other errand has.
func (v *visitor) unique(word string) string {
	v.serial++
	return fmt.Sprintf("%s %s-%d", word, v.id, v.serial)
}

// errandsOfADay is how long a visitor stays with a class.
const errandsOfADay = 60

// next is the visitor's next errand.
func (v *visitor) next() *errand {
	if v.left--; v.left < 0 {
		v.day, v.left, v.batches, v.class = v.day+1, errandsOfADay, 0, ""
		v.asked, v.stock = nil, nil
		return v.openClass(fmt.Sprintf("%s-day-%d", v.id, v.day), 200)
	}
	station := v.class + "/stations/bench"
	switch n := v.IntN(100); {
	case v.left == errandsOfADay-1:
		return &errand{"station", stillroomv1.ClassService_CreateStation_FullMethodName, &stillroomv1.CreateStationRequest{Parent: v.class, StationId: "bench", RequestId: uuid.NewString(),
			Station: &stillroomv1.Station{DisplayName: "Bench"}}, &stillroomv1.Station{}, false}
	case n < 12 || n < 58 && len(v.people) < 4:
		return &errand{"participant", stillroomv1.RosterService_CreateParticipant_FullMethodName, &stillroomv1.CreateParticipantRequest{Parent: v.kitchen, RequestId: uuid.NewString(),
			Participant: &stillroomv1.Participant{DisplayName: v.unique("Person")}}, &stillroomv1.Participant{}, false}
	case n < 22 && len(v.people) > 4:
		who := v.people[len(v.people)-1]
		v.people = v.people[:len(v.people)-1]
		return &errand{"enrolment", stillroomv1.RosterService_CreateEnrolment_FullMethodName, &stillroomv1.CreateEnrolmentRequest{Parent: v.limited.class(), RequestId: uuid.NewString(),
			WhenFull: stillroomv1.WhenFull_WHEN_FULL_WAIT, Enrolment: &stillroomv1.Enrolment{Participant: who}}, &stillroomv1.Enrolment{}, false}
	case n < 32:
		return &errand{"stock item", stillroomv1.ShoppingService_CreateStockItem_FullMethodName, &stillroomv1.CreateStockItemRequest{Parent: v.kitchen, RequestId: uuid.NewString(),
			StockItem: &stillroomv1.StockItem{Item: "sugar", Content: "1 lb", Note: v.unique("Shelf")}}, &stillroomv1.StockItem{}, false}
	case n < 36 && len(v.stock) > 0: // so that the shelf does not grow for ever
		return &errand{"stock used", stillroomv1.ShoppingService_UpdateStockItem_FullMethodName, &stillroomv1.UpdateStockItemRequest{
			StockItem: &stillroomv1.StockItem{Name: v.stock[v.IntN(len(v.stock))], Used: true}}, &stillroomv1.StockItem{}, false}
	case n < 48:
		if v.asking++; v.asking%8 == 0 { // one person may ask ten questions in a minute
			v.people = v.people[1:]
		}
		return &errand{"question", stillroomv1.QuestionService_CreateQuestion_FullMethodName, &stillroomv1.CreateQuestionRequest{Parent: v.kitchen, RequestId: uuid.NewString(),
			Question: &stillroomv1.Question{Asker: v.people[0], Text: v.unique("Why did the jars float?")}}, &stillroomv1.Question{}, false}
	case n < 58 && len(v.asked) > 0:
		return &errand{"endorsement", stillroomv1.QuestionService_EndorseQuestion_FullMethodName, &stillroomv1.EndorseQuestionRequest{
			Name: v.asked[v.IntN(len(v.asked))], Participant: v.people[1+v.IntN(len(v.people)-1)]}, &stillroomv1.Question{}, false}
	case n < 62 && v.batches < 4:
		v.batches++
		return &errand{"batch", stillroomv1.ClassService_CreateBatch_FullMethodName, &stillroomv1.CreateBatchRequest{Parent: v.class, RequestId: uuid.NewString(), Batch: &stillroomv1.Batch{Station: station,
			RecipeRevision: v.kitchen + "/recipes/relish/revisions/1", JarSize: stillroomv1.JarSize_JAR_SIZE_HALF_PINT, Jars: 9}}, &stillroomv1.Batch{}, false}
	case n < 64 && v.batches > 0:
		return &errand{"shopping list", stillroomv1.ShoppingService_CreateShoppingList_FullMethodName,
			&stillroomv1.CreateShoppingListRequest{Parent: v.class, RequestId: uuid.NewString()}, &stillroomv1.ShoppingList{}, false}
	case n < 66 && v.batches > 0:
		return &errand{"load plan", stillroomv1.LoadService_PlanLoads_FullMethodName, &stillroomv1.PlanLoadsRequest{Parent: v.class, RequestId: uuid.NewString(), WorkLimit: 200, Seed: 1,
			SkipGains: true, TimeLimit: durationpb.New(time.Second)}, &stillroomv1.PlanLoadsResponse{}, true}
	case n < 76:
		return &errand{"look at questions", stillroomv1.QuestionService_ListQuestions_FullMethodName,
			&stillroomv1.ListQuestionsRequest{Parent: v.kitchen}, &stillroomv1.ListQuestionsResponse{}, false}
	case n < 84:
		return &errand{"look at the roster", stillroomv1.RosterService_ListEnrolments_FullMethodName,
			&stillroomv1.ListEnrolmentsRequest{Parent: v.class}, &stillroomv1.ListEnrolmentsResponse{}, false}
	}
	return &errand{"look at the class", stillroomv1.ClassService_GetClass_FullMethodName, &stillroomv1.GetClassRequest{Name: v.class}, &stillroomv1.Class{}, false}
}

// openClass is the errand that makes a class.
func (v *visitor) openClass(id string, places int32) *errand {
	return &errand{"class", stillroomv1.ClassService_CreateClass_FullMethodName, &stillroomv1.CreateClassRequest{Parent: v.kitchen, ClassId: id, RequestId: uuid.NewString(),
		Class: &stillroomv1.Class{DisplayName: id, Site: v.kitchen + "/sites/main", StartTime: timestamppb.New(time.Date(2027, 8, 21, 15, 0, 0, 0, time.UTC)),
			DurationMinutes: 600, Capacity: places}}, &stillroomv1.Class{}, false}
}

// back learns from an errand that was served.
func (v *visitor) back(e *errand) {
	switch e.kind {
	case "class":
		if v.class = e.made(); strings.Contains(v.class, "limited") {
			v.class = ""
		}
	case "participant":
		v.people = append(v.people, e.made())
	case "question":
		v.asked = append(v.asked, e.made())
	case "stock item":
		v.stock = append(v.stock, e.made())
	case "stock used":
		v.stock = slices.DeleteFunc(v.stock, func(s string) bool { return s == e.reply.(*stillroomv1.StockItem).GetName() })
	}
}

// listed is every resource of a list, as its messages.
func listed(t *testing.T, conn *grpc.ClientConn, method string, request, reply proto.Message) (out []proto.Message) {
	t.Helper()
	fields := request.ProtoReflect().Descriptor().Fields()
	in := request.ProtoReflect()
	in.Set(fields.ByName("page_size"), protoreflect.ValueOfInt32(100))
	for {
		require.NoError(t, conn.Invoke(t.Context(), method, request, reply, grpc.MaxCallRecvMsgSize(maxReply)))
		m := reply.ProtoReflect()
		list := m.Get(m.Descriptor().Fields().Get(0)).List()
		for i := range list.Len() {
			out = append(out, proto.Clone(list.Get(i).Message().Interface()))
		}
		token := m.Get(m.Descriptor().Fields().ByName("next_page_token"))
		if token.String() == "" {
			return out
		}
		in.Set(fields.ByName("page_token"), token)
		proto.Reset(reply)
	}
}
