package rpc

import (
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/recipe"
	"stillroom/internal/shopping"
)

func (s *testServer) shopping() stillroomv1.ShoppingServiceClient {
	return stillroomv1.NewShoppingServiceClient(s.conn)
}

// adopt puts a printed recipe into kitchen "k" as revision 1, by the database: these tests are not about recipes.
func (s *testServer) adopt(t testing.TB, key string) string {
	t.Helper()
	r, err := recipe.Published(key)
	require.NoError(t, err)
	document, err := recipe.Marshal(r)
	require.NoError(t, err)
	slug := strings.ReplaceAll(key, "_", "-")
	_, err = s.store.Pool().Exec(t.Context(), `
		WITH r AS (INSERT INTO recipes (kitchen_id, id, slug, title, published_key)
		           SELECT id, gen_random_uuid(), $1, $2, $3 FROM kitchens WHERE slug = 'k' RETURNING *)
		INSERT INTO recipe_revisions (kitchen_id, id, recipe_id, number, document)
		SELECT kitchen_id, gen_random_uuid(), id, 1, $4 FROM r`, slug, r.Title, key, document)
	require.NoError(t, err)
	return "kitchens/k/recipes/" + slug + "/revisions/1"
}

func (s *testServer) addBatch(t testing.TB, station, revision string, size stillroomv1.JarSize, jars int32) {
	t.Helper()
	_, err := s.classes().CreateBatch(t.Context(), &stillroomv1.CreateBatchRequest{Parent: "kitchens/k/classes/c", Batch: &stillroomv1.Batch{
		Station: "kitchens/k/classes/c/stations/" + station, RecipeRevision: revision, JarSize: size, Jars: jars}})
	require.NoError(t, err)
}

func (s *testServer) addOffer(t testing.TB, id string, o *stillroomv1.Offer) {
	t.Helper()
	_, err := s.shopping().CreateOffer(t.Context(), &stillroomv1.CreateOfferRequest{Parent: "kitchens/k", OfferId: id, Offer: o})
	require.NoError(t, err)
}

func dollars(cents int64) *stillroomv1.Money {
	return &stillroomv1.Money{CurrencyCode: "USD", MinorUnits: cents}
}

func lineFor(t testing.TB, l *stillroomv1.ShoppingList, item string) *stillroomv1.ShoppingLine {
	t.Helper()
	for _, line := range l.GetLines() {
		if line.GetItem() == item {
			return line
		}
	}
	require.Fail(t, "no line", item)
	return nil
}

// Two stations make chile salsa (1 lb of onions a batch), one of them twice. By hand, with the figures of USDA
// Standard Reference 28:
//
//	onions: 3 x 453.59237 g = 1360.777 g chopped; / 0.90 = 1511.975 g as bought; x 1.05 = 1587.573 g
//	in bags of 2 kg at 1.80: one bag, 412.427 g left over
//	vinegar: 3 x 1 cup = 709.765 ml of 5 % acidity: one bottle of 1 l at 2.50
func TestShoppingListEndToEnd(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 10)
	salsa := s.adopt(t, "chile_salsa")
	s.addBatch(t, "a", salsa, stillroomv1.JarSize_JAR_SIZE_PINT, 6)
	s.addBatch(t, "b", salsa, stillroomv1.JarSize_JAR_SIZE_PINT, 6)
	s.addBatch(t, "b", salsa, stillroomv1.JarSize_JAR_SIZE_PINT, 6)
	s.addOffer(t, "onion-bag", &stillroomv1.Offer{Item: "onions", Label: "onions, 2 kg net", Shop: "market", Kind: stillroomv1.OfferKind_OFFER_KIND_BAG, Content: "2 kg", Price: dollars(180)})
	s.addOffer(t, "rice-vinegar", &stillroomv1.Offer{Item: "vinegar", Kind: stillroomv1.OfferKind_OFFER_KIND_BOTTLE, Content: "1 l", Price: dollars(99), AcidityPermille: 43})
	s.addOffer(t, "white-vinegar", &stillroomv1.Offer{Item: "vinegar_white", Kind: stillroomv1.OfferKind_OFFER_KIND_BOTTLE, Content: "1 l", Price: dollars(250), AcidityPermille: 50})
	s.addOffer(t, "lids", &stillroomv1.Offer{Item: "lid", Kind: stillroomv1.OfferKind_OFFER_KIND_BOX, Content: "1 dozen", Price: dollars(329)})
	_, err := s.shopping().CreateStockItem(t.Context(), &stillroomv1.CreateStockItemRequest{Parent: "kitchens/k", StockItemId: "old-lids",
		StockItem: &stillroomv1.StockItem{Item: "lid", Content: "30 each", Used: true}})
	require.NoError(t, err)

	request := &stillroomv1.CreateShoppingListRequest{Parent: "kitchens/k/classes/c", RequestId: uuid.NewString()}
	list, err := s.shopping().CreateShoppingList(t.Context(), request)
	require.NoError(t, err)
	require.Equal(t, "kitchens/k/classes/c/shoppingLists/1", list.GetName())
	onions := lineFor(t, list, "onions")
	require.InDelta(t, 1360.777, onions.GetPreparedGrams(), 0.001)
	require.InDelta(t, 1511.975, onions.GetNeed().GetAmount(), 0.001)
	require.InDelta(t, 1587.573, onions.GetToBuy().GetAmount(), 0.001)
	require.InDelta(t, 412.427, onions.GetSurplus().GetAmount(), 0.001)
	require.Equal(t, "1.6 kg", onions.GetToBuy().GetMetric())
	require.Equal(t, "3 lb 8 oz", onions.GetToBuy().GetUsCustomary())
	require.Equal(t, "1 × onions, 2 kg net (market)", onions.GetBasket()[0].GetMetric())
	require.Len(t, onions.GetContributions(), 3)
	conversion := list.GetConversions()[onions.GetContributions()[0].GetConversion()]
	require.Equal(t, "1 pound onions, chopped", conversion.GetText())
	require.Equal(t, "0.9", conversion.GetFigures()[0].GetValue())
	require.Contains(t, conversion.GetFigures()[0].GetSource().GetPublication(), "USDA")
	vinegar := lineFor(t, list, "vinegar")
	require.Equal(t, "kitchens/k/offers/white-vinegar", vinegar.GetBasket()[0].GetOffer())
	require.Equal(t, int32(50), vinegar.GetAcidityPermille())
	require.Equal(t, int64(2), lineFor(t, list, "lid").GetBasket()[0].GetCount(), "18 lids, all new, in boxes of a dozen")
	require.Equal(t, int64(180+250+2*329), list.GetTotal().GetMinorUnits())
	require.Equal(t, int64(18), list.GetJars())

	// A retry gives the first answer; a read gives what was stored.
	again, err := s.shopping().CreateShoppingList(t.Context(), request)
	require.NoError(t, err)
	require.True(t, proto.Equal(list, again))
	read, err := s.shopping().GetShoppingList(t.Context(), &stillroomv1.GetShoppingListRequest{Name: "kitchens/k/classes/c/shoppingLists/latest"})
	require.NoError(t, err)
	require.True(t, proto.Equal(list, read))

	// One more batch is a new version; the comparison says what it takes.
	s.addBatch(t, "a", salsa, stillroomv1.JarSize_JAR_SIZE_PINT, 6)
	second, err := s.shopping().CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: "kitchens/k/classes/c",
		Settings: &stillroomv1.ShoppingSettings{BringOwn: []string{"jar_pint"}, LeaveOutOptional: true}})
	require.NoError(t, err)
	require.Equal(t, "kitchens/k/classes/c/shoppingLists/2", second.GetName())
	require.Equal(t, []string{"jar_pint"}, second.GetSettings().GetBringOwn())
	changes, err := s.shopping().CompareShoppingLists(t.Context(), &stillroomv1.CompareShoppingListsRequest{
		Before: "kitchens/k/classes/c/shoppingLists/1", After: "kitchens/k/classes/c/shoppingLists/2"})
	require.NoError(t, err)
	var said []string
	for _, c := range changes.GetChanges() {
		said = append(said, c.GetMetric())
		if c.GetItem() == "onions" {
			require.Len(t, c.GetCauses(), 1)
			require.InDelta(t, 503.992, c.GetCauses()[0].GetAfter().GetAmount(), 0.001)
		}
	}
	// 4 batches: 2116.764 g, two bags; 529.191 g more than for 3.
	require.Contains(t, said, "onions: 530 g more (2.2 kg, was 1.6 kg), 1.80 USD more to pay")

	lists, err := s.shopping().ListShoppingLists(t.Context(), &stillroomv1.ListShoppingListsRequest{Parent: "kitchens/k/classes/c", PageSize: 1})
	require.NoError(t, err)
	require.Len(t, lists.GetShoppingLists(), 1)
	require.Equal(t, second.GetName(), lists.GetShoppingLists()[0].GetName())
	require.Empty(t, lists.GetShoppingLists()[0].GetLines())
	require.Equal(t, second.GetTotal().GetMinorUnits(), lists.GetShoppingLists()[0].GetTotal().GetMinorUnits())
	require.Len(t, second.GetLines(), int(second.GetLineCount()))
	lists, err = s.shopping().ListShoppingLists(t.Context(), &stillroomv1.ListShoppingListsRequest{Parent: "kitchens/k/classes/c", PageToken: lists.GetNextPageToken()})
	require.NoError(t, err)
	require.Len(t, lists.GetShoppingLists(), 1)
	require.Empty(t, lists.GetNextPageToken())

	// The same over the kitchen, by days, counts its own versions.
	wide, err := s.shopping().CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: "kitchens/k",
		Settings: &stillroomv1.ShoppingSettings{FromDay: "2027-08-01", ToDay: "2027-08-31", Aim: stillroomv1.ShoppingAim_SHOPPING_AIM_LEAST_SURPLUS}})
	require.NoError(t, err)
	require.Equal(t, "kitchens/k/shoppingLists/1", wide.GetName())
	require.Equal(t, int64(24), wide.GetJars())

	// One station, and one participant who repeats at home what their station makes: one batch of what station b
	// makes two of.
	s.addPerson(t, "ana")
	_, err = s.rosters().CreateEnrolment(t.Context(), &stillroomv1.CreateEnrolmentRequest{Parent: "kitchens/k/classes/c",
		Enrolment: &stillroomv1.Enrolment{Participant: "kitchens/k/participants/ana", Station: "kitchens/k/classes/c/stations/b"}})
	require.NoError(t, err)
	jars := func(settings *stillroomv1.ShoppingSettings) int64 {
		l, err := s.shopping().CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: "kitchens/k/classes/c", Settings: settings})
		require.NoError(t, err)
		return l.GetJars()
	}
	require.Equal(t, int64(12), jars(&stillroomv1.ShoppingSettings{Station: "kitchens/k/classes/c/stations/b"}))
	require.Equal(t, int64(6), jars(&stillroomv1.ShoppingSettings{Participant: "kitchens/k/participants/ana"}))
	_, err = s.shopping().CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: "kitchens/k/classes/c",
		Settings: &stillroomv1.ShoppingSettings{Participant: "kitchens/k/participants/nobody"}})
	requireCode(t, codes.NotFound, err)

	file, err := s.shopping().ExportShoppingList(t.Context(), &stillroomv1.ExportShoppingListRequest{Name: list.GetName(), Format: stillroomv1.ShoppingFormat_SHOPPING_FORMAT_CSV})
	require.NoError(t, err)
	records, err := csv.NewReader(strings.NewReader(string(file.GetContent()))).ReadAll()
	require.NoError(t, err)
	require.Len(t, records, 1+len(list.GetLines()))
	file, err = s.shopping().ExportShoppingList(t.Context(), &stillroomv1.ExportShoppingListRequest{Name: list.GetName(), Explain: true})
	require.NoError(t, err)
	require.Contains(t, string(file.GetContent()), "Total")
	file, err = s.shopping().ExportShoppingList(t.Context(), &stillroomv1.ExportShoppingListRequest{Name: list.GetName(), Format: stillroomv1.ShoppingFormat_SHOPPING_FORMAT_JSON})
	require.NoError(t, err)
	var back shopping.List
	require.NoError(t, json.Unmarshal(file.GetContent(), &back))
	require.Equal(t, list.GetTotal().GetMinorUnits(), back.Total.Minor)
}

func TestShoppingRefuses(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 10)
	ctx := t.Context()
	good := func() *stillroomv1.Offer {
		return &stillroomv1.Offer{Item: "onions", Kind: stillroomv1.OfferKind_OFFER_KIND_BAG, Content: "2 kg", Price: dollars(180)}
	}
	for field, spoil := range map[string]func(*stillroomv1.Offer){
		"offer.content":                func(o *stillroomv1.Offer) { o.Content = "plenty" },
		"offer.offer (onions).content": func(o *stillroomv1.Offer) { o.Content = "0 kg" },
		"offer.price.currency_code":    func(o *stillroomv1.Offer) { o.Price.CurrencyCode = "CAD" },
		"offer.offer (onions).step":    func(o *stillroomv1.Offer) { o.Step = "100 g" },
		"offer.kind":                   func(o *stillroomv1.Offer) { o.Kind = stillroomv1.OfferKind_OFFER_KIND_UNSPECIFIED },
		"offer.item":                   func(o *stillroomv1.Offer) { o.Item = "" },
	} {
		o := good()
		spoil(o)
		_, err := s.shopping().CreateOffer(ctx, &stillroomv1.CreateOfferRequest{Parent: "kitchens/k", Offer: o})
		require.Contains(t, badFields(t, requireCode(t, codes.InvalidArgument, err)), field)
	}
	s.addOffer(t, "bag", good())
	_, err := s.shopping().CreateOffer(ctx, &stillroomv1.CreateOfferRequest{Parent: "kitchens/k", OfferId: "bag", Offer: good()})
	requireCode(t, codes.AlreadyExists, err)

	_, err = s.shopping().CreateShoppingList(ctx, &stillroomv1.CreateShoppingListRequest{Parent: "kitchens/k/classes/c"})
	st := requireCode(t, codes.FailedPrecondition, err)
	require.Contains(t, st.Message(), "no batches")
	_, err = s.shopping().CreateShoppingList(ctx, &stillroomv1.CreateShoppingListRequest{Parent: "kitchens/k/classes/nowhere"})
	requireCode(t, codes.NotFound, err)
	_, err = s.shopping().CreateShoppingList(ctx, &stillroomv1.CreateShoppingListRequest{Parent: "kitchens/k",
		Settings: &stillroomv1.ShoppingSettings{FromDay: "2030-01-01"}})
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "no class from 2030-01-01")
	_, err = s.shopping().GetShoppingList(ctx, &stillroomv1.GetShoppingListRequest{Name: "kitchens/k/classes/nowhere/shoppingLists/1"})
	requireCode(t, codes.NotFound, err)
	_, err = s.shopping().GetShoppingList(ctx, &stillroomv1.GetShoppingListRequest{Name: "kitchens/k/shoppingLists/latest"})
	requireCode(t, codes.NotFound, err)
	_, err = s.shopping().GetShoppingList(ctx, &stillroomv1.GetShoppingListRequest{Name: "kitchens/k/shoppingLists/one"})
	requireCode(t, codes.InvalidArgument, err)
}

func TestOffersAndStockAreEdited(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 10)
	ctx := t.Context()
	s.addOffer(t, "loose", &stillroomv1.Offer{Item: "onions", Kind: stillroomv1.OfferKind_OFFER_KIND_LOOSE, Content: "1 lb", Step: "1 oz", Price: dollars(129)})
	o, err := s.shopping().UpdateOffer(ctx, &stillroomv1.UpdateOfferRequest{Offer: &stillroomv1.Offer{Name: "kitchens/k/offers/loose", Price: dollars(149), Etag: "v1"}})
	require.NoError(t, err)
	require.Equal(t, "1 lb", o.GetContent())
	require.Equal(t, "1 oz", o.GetStep())
	require.Equal(t, int64(149), o.GetPrice().GetMinorUnits())
	_, err = s.shopping().UpdateOffer(ctx, &stillroomv1.UpdateOfferRequest{Offer: &stillroomv1.Offer{Name: "kitchens/k/offers/loose", Price: dollars(1), Etag: "v1"}})
	requireCode(t, codes.Aborted, err)
	s.addOffer(t, "apples", &stillroomv1.Offer{Item: "apples", Kind: stillroomv1.OfferKind_OFFER_KIND_BAG, Content: "3 lb", Price: dollars(399)})
	page, err := s.shopping().ListOffers(ctx, &stillroomv1.ListOffersRequest{Parent: "kitchens/k", PageSize: 1})
	require.NoError(t, err)
	require.Equal(t, "kitchens/k/offers/apples", page.GetOffers()[0].GetName())
	page, err = s.shopping().ListOffers(ctx, &stillroomv1.ListOffersRequest{Parent: "kitchens/k", PageSize: 1, PageToken: page.GetNextPageToken()})
	require.NoError(t, err)
	require.Equal(t, "kitchens/k/offers/loose", page.GetOffers()[0].GetName())
	_, err = s.shopping().DeleteOffer(ctx, &stillroomv1.DeleteOfferRequest{Name: "kitchens/k/offers/loose", Etag: o.GetEtag()})
	require.NoError(t, err)
	_, err = s.shopping().GetOffer(ctx, &stillroomv1.GetOfferRequest{Name: "kitchens/k/offers/loose"})
	requireCode(t, codes.NotFound, err)

	h, err := s.shopping().CreateStockItem(ctx, &stillroomv1.CreateStockItemRequest{Parent: "kitchens/k", StockItemId: "sugar",
		StockItem: &stillroomv1.StockItem{Item: "sugar", Content: "2-1/2 lb", BestBefore: "2027-12-31", Note: "top shelf"}})
	require.NoError(t, err)
	require.Equal(t, "2.5 lb", h.GetContent())
	h, err = s.shopping().UpdateStockItem(ctx, &stillroomv1.UpdateStockItemRequest{StockItem: &stillroomv1.StockItem{Name: h.GetName(), Content: "1 lb"}})
	require.NoError(t, err)
	require.Equal(t, "2027-12-31", h.GetBestBefore())
	_, err = s.shopping().UpdateStockItem(ctx, &stillroomv1.UpdateStockItemRequest{StockItem: &stillroomv1.StockItem{Name: h.GetName(), BestBefore: "2027-02-30"}})
	require.Contains(t, badFields(t, requireCode(t, codes.InvalidArgument, err)), "stock_item.best_before")
	all, err := s.shopping().ListStockItems(ctx, &stillroomv1.ListStockItemsRequest{Parent: "kitchens/k"})
	require.NoError(t, err)
	require.Len(t, all.GetStockItems(), 1)
	_, err = s.shopping().DeleteStockItem(ctx, &stillroomv1.DeleteStockItemRequest{Name: h.GetName()})
	require.NoError(t, err)
}

// TestBringSheet: what a participant brings is in the newest list of their class, and only theirs.
func TestBringSheet(t *testing.T) {
	t.Parallel()
	g := newGuarded(t)
	g.addBatch(t, "a", g.adopt(t, "chile_salsa"), stillroomv1.JarSize_JAR_SIZE_PINT, 7)
	for _, who := range []string{"ana", "bo"} {
		_, err := g.rosters().CreateEnrolment(t.Context(), &stillroomv1.CreateEnrolmentRequest{Parent: theClass,
			Enrolment: &stillroomv1.Enrolment{Participant: "kitchens/k/participants/" + who, Station: theClass + "/stations/a"}})
		require.NoError(t, err)
	}
	ana, _ := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_PARTICIPANT, Participant: "kitchens/k/participants/ana", Class: theClass})
	none, err := g.shopping().GetBringSheet(ana, &stillroomv1.GetBringSheetRequest{})
	require.NoError(t, err)
	require.Empty(t, none.GetShoppingList())
	require.Empty(t, none.GetLines())
	for _, own := range [][]string{nil, {"jar_pint"}} {
		_, err := g.shopping().CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: theClass, Settings: &stillroomv1.ShoppingSettings{BringOwn: own}})
		require.NoError(t, err)
	}
	mine, err := g.shopping().GetBringSheet(ana, &stillroomv1.GetBringSheetRequest{})
	require.NoError(t, err)
	require.Equal(t, theClass+"/shoppingLists/2", mine.GetShoppingList())
	require.Len(t, mine.GetLines(), 1)
	require.Equal(t, "jar_pint", mine.GetLines()[0].GetItem())
	bos, err := g.shopping().GetBringSheet(t.Context(), &stillroomv1.GetBringSheetRequest{Class: theClass, Participant: "kitchens/k/participants/bo"})
	require.NoError(t, err)
	require.InDelta(t, 7, mine.GetLines()[0].GetAmount().GetAmount()+bos.GetLines()[0].GetAmount().GetAmount(), 1, "seven jars and perhaps a spare")
	_, err = g.shopping().GetBringSheet(ana, &stillroomv1.GetBringSheetRequest{Participant: "kitchens/k/participants/bo"})
	requireCode(t, codes.PermissionDenied, err)
}

// TestOffersAreRecordedTogetherOrNotAtAll: one bad offer, one taken id or one repeated id keeps all out, and a retry
// records nothing twice.
func TestOffersAreRecordedTogetherOrNotAtAll(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 1)
	ctx := t.Context()
	bag := func(id, item, content string) *stillroomv1.OfferToCreate {
		return &stillroomv1.OfferToCreate{OfferId: id, Offer: &stillroomv1.Offer{
			Item: item, Kind: stillroomv1.OfferKind_OFFER_KIND_BAG, Content: content, Price: dollars(180)}}
	}
	count := func() int {
		all, err := s.shopping().ListOffers(ctx, &stillroomv1.ListOffersRequest{Parent: "kitchens/k"})
		require.NoError(t, err)
		return len(all.GetOffers())
	}
	request := &stillroomv1.BatchCreateOffersRequest{Parent: "kitchens/k", RequestId: uuid.NewString(),
		Offers: []*stillroomv1.OfferToCreate{bag("o", "onions", "2 kg"), bag("", "sugar", "1 kg")}}
	first, err := s.shopping().BatchCreateOffers(ctx, request)
	require.NoError(t, err)
	require.Len(t, first.GetOffers(), 2)
	require.Equal(t, "kitchens/k/offers/o", first.GetOffers()[0].GetName())
	again, err := s.shopping().BatchCreateOffers(ctx, request)
	require.NoError(t, err)
	require.True(t, proto.Equal(first, again))
	require.Equal(t, 2, count())

	euros := bag("", "salt", "1 kg")
	euros.Offer.Price = &stillroomv1.Money{CurrencyCode: "EUR", MinorUnits: 1}
	for _, c := range []struct {
		code  codes.Code
		field string
		last  []*stillroomv1.OfferToCreate
	}{
		{codes.InvalidArgument, "offers[1].offer.content", []*stillroomv1.OfferToCreate{bag("", "onions", "no amount")}},
		{codes.InvalidArgument, "offers[2].offer_id", []*stillroomv1.OfferToCreate{bag("p", "onions", "1 kg"), bag("p", "onions", "2 kg")}},
		{codes.InvalidArgument, "offers[1].offer.price.currency_code", []*stillroomv1.OfferToCreate{euros}},
		{codes.AlreadyExists, "", []*stillroomv1.OfferToCreate{bag("o", "onions", "1 kg")}},
	} {
		_, err := s.shopping().BatchCreateOffers(ctx, &stillroomv1.BatchCreateOffersRequest{Parent: "kitchens/k",
			Offers: append([]*stillroomv1.OfferToCreate{bag("", "celery", "1 kg")}, c.last...)})
		st := requireCode(t, c.code, err)
		if c.field != "" {
			require.Contains(t, badFields(t, st), c.field)
		} else {
			require.Contains(t, st.Message(), "offers[1].offer_id")
		}
		require.Equal(t, 2, count())
	}
	_, err = s.shopping().BatchCreateOffers(ctx, &stillroomv1.BatchCreateOffersRequest{Parent: "kitchens/k"})
	requireCode(t, codes.InvalidArgument, err)
}
