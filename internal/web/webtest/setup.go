package webtest

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// Names of what SetUp makes.
const (
	Name  = "kitchens/high-meadow"
	Class = Name + "/classes/salsa-saturday"
	// Salsa is a recipe that may be canned, as is Relish.
	Salsa  = Name + "/recipes/cranberry-salsa"
	Relish = Name + "/recipes/pepper-relish"
)

// Opens is when the class of SetUp begins: 09:00 by its clock.
var Opens = time.Date(2027, 8, 21, 15, 0, 0, 0, time.UTC)

// SetUp makes the kitchen of the demonstration: a class of sixteen at eight benches high
// in the hills, three people waiting, two recipes with batches, canners, offers.
func (k *Kitchen) SetUp() {
	k.t.Helper()
	t, ctx := k.t, k.t.Context()
	kitchens, classes := stillroomv1.NewKitchenServiceClient(k.Conn), stillroomv1.NewClassServiceClient(k.Conn)
	rosters, recipes := stillroomv1.NewRosterServiceClient(k.Conn), stillroomv1.NewRecipeServiceClient(k.Conn)

	_, err := kitchens.CreateKitchen(ctx, &stillroomv1.CreateKitchenRequest{KitchenId: "high-meadow", Kitchen: &stillroomv1.Kitchen{
		DisplayName: "High Meadow community kitchen", CurrencyCode: "USD"}})
	require.NoError(t, err)
	_, err = kitchens.CreateSite(ctx, &stillroomv1.CreateSiteRequest{Parent: Name, SiteId: "hall", Site: &stillroomv1.Site{
		DisplayName: "Meadow hall", Altitude: &stillroomv1.Altitude{Metres: 1655.064}, TimeZone: "America/Denver"}})
	require.NoError(t, err)
	_, err = classes.CreateClass(ctx, &stillroomv1.CreateClassRequest{Parent: Name, ClassId: "salsa-saturday", Class: &stillroomv1.Class{
		DisplayName: "Salsa and relish on Saturday", Site: Name + "/sites/hall", StartTime: timestamppb.New(Opens), DurationMinutes: 240, Capacity: 16,
		CanningTeam: &stillroomv1.CanningTeam{Handlers: 2}, LiveSessionTime: timestamppb.New(Opens.Add(195 * time.Minute)), LiveSessionMinutes: 25}})
	require.NoError(t, err)
	for i := range 8 {
		id := fmt.Sprintf("bench-%d", i+1)
		_, err = classes.CreateStation(ctx, &stillroomv1.CreateStationRequest{Parent: Class, StationId: id, Station: &stillroomv1.Station{DisplayName: id}})
		require.NoError(t, err)
	}
	_, err = rosters.ImportRoster(ctx, &stillroomv1.ImportRosterRequest{Parent: Class, Csv: k.file("roster.csv")})
	require.NoError(t, err)
	_, err = stillroomv1.NewEquipmentServiceClient(k.Conn).ImportEquipment(ctx, &stillroomv1.ImportEquipmentRequest{Parent: Name, Yaml: k.file("equipment.yaml")})
	require.NoError(t, err)
	for _, r := range [][2]string{{"cranberry-salsa", "spicy_cranberry_salsa"}, {"pepper-relish", "pickled_pepper_onion_relish"}} {
		_, err = recipes.AdoptRecipe(ctx, &stillroomv1.AdoptRecipeRequest{Parent: Name, RecipeId: r[0], PublishedRecipe: "publishedRecipes/" + r[1]})
		require.NoError(t, err)
	}
	k.offers()
	_, err = classes.ProposeBatches(ctx, &stillroomv1.ProposeBatchesRequest{Name: Class, Apply: true, Wishes: []*stillroomv1.JarWish{
		{RecipeRevision: Salsa + "/revisions/1", JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, JarsPerParticipant: 2},
		{RecipeRevision: Relish + "/revisions/1", JarSize: stillroomv1.JarSize_JAR_SIZE_HALF_PINT, JarsPerParticipant: 2},
	}})
	require.NoError(t, err)
}

// Participant is the resource name of somebody on the roster, by their name.
func (k *Kitchen) Participant(displayName string) string {
	k.t.Helper()
	if len(k.people) == 0 {
		all, err := stillroomv1.NewRosterServiceClient(k.Conn).ListParticipants(k.t.Context(), &stillroomv1.ListParticipantsRequest{Parent: Name, PageSize: 1000})
		require.NoError(k.t, err)
		for _, p := range all.GetParticipants() {
			k.people[p.GetDisplayName()] = p.GetName()
		}
	}
	require.Contains(k.t, k.people, displayName)
	return k.people[displayName]
}

// offers records what the demonstration's shops sell.
func (k *Kitchen) offers() {
	k.t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(k.file("offers.csv"))).ReadAll()
	require.NoError(k.t, err)
	shopping := stillroomv1.NewShoppingServiceClient(k.Conn)
	for _, row := range rows[1:] {
		cell := map[string]string{}
		for i, name := range rows[0] {
			cell[name] = row[i]
		}
		o := &stillroomv1.Offer{
			Item: cell["item"], Label: cell["label"], Shop: cell["shop"], Section: cell["section"], Content: cell["content"], Step: cell["step"],
			AverageWeight: cell["average_weight"], Kind: stillroomv1.OfferKind(stillroomv1.OfferKind_value["OFFER_KIND_"+upper(cell["kind"])]),
			Price: &stillroomv1.Money{CurrencyCode: "USD", MinorUnits: k.hundredfold(cell["price"], 100)},
		}
		if cell["acidity"] != "" {
			o.AcidityPermille = int32(k.hundredfold(cell["acidity"], 10))
		}
		_, err := shopping.CreateOffer(k.t.Context(), &stillroomv1.CreateOfferRequest{Parent: Name, OfferId: cell["id"], Offer: o})
		require.NoError(k.t, err, "offer %s", cell["id"])
	}
}

func (k *Kitchen) hundredfold(decimal string, times int64) int64 {
	k.t.Helper()
	r, ok := new(big.Rat).SetString(decimal)
	require.True(k.t, ok, decimal)
	r.Mul(r, big.NewRat(times, 1))
	require.True(k.t, r.IsInt(), decimal)
	return r.Num().Int64()
}

func upper(s string) string { return string(bytes.ToUpper([]byte(s))) }

// file is a file of the demonstration.
func (k *Kitchen) file(name string) []byte {
	k.t.Helper()
	folder, err := os.Getwd()
	require.NoError(k.t, err)
	for {
		if _, err := os.Stat(filepath.Join(folder, "go.mod")); err == nil {
			break
		}
		up := filepath.Dir(folder)
		require.NotEqual(k.t, up, folder, "no go.mod above the test")
		folder = up
	}
	data, err := os.ReadFile(filepath.Join(folder, "cmd", "stillroom", "demo", name))
	require.NoError(k.t, err)
	return data
}
