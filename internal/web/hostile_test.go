package web_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/webtest"
)

// Markup, a script, a way out of an attribute, and a control that writes from right to
// left (U+202E) and is never ended.
const hostile = "\"'><x-hostile onclick=hostile()></textarea></option><script>window.hostile = 1</script>{{.}}\u202e"

// inertHere says, in words, what of a hostile text is alive on the page: an element, an
// attribute, a script, or a control that can turn text around outside an element of its own.
const inertHere = `(() => {
  const wrong = [];
  if (document.querySelector("x-hostile, [onclick]")) wrong.push("an element");
  if ("hostile" in window) wrong.push("a script");
  const walk = document.createTreeWalker(document, NodeFilter.SHOW_TEXT);
  for (let n = walk.nextNode(); n; n = walk.nextNode()) {
    if (!n.data.includes("\u202e")) continue;
    const e = n.parentElement;
    if (e.closest("textarea, script, title")) { if (e.closest("title")) wrong.push("a control in the title"); continue; }
    if (!["isolate", "plaintext", "isolate-override"].includes(getComputedStyle(e).unicodeBidi)) wrong.push("a control in " + e.outerHTML.slice(0, 200));
  }
  for (const e of document.querySelectorAll("[aria-label], [title], [alt], option")) {
    for (const a of ["aria-label", "title", "alt"]) if ((e.getAttribute(a) || "").includes("\u202e")) wrong.push("a control in " + a);
    if (e.tagName === "OPTION" && e.text.includes("\u202e")) wrong.push("a control in an option");
  }
  return wrong.join("; ");
})()`

// What people wrote stays text on every page an instructor sees, in every field that takes text.
func TestHostileTextStaysText(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	ctx := t.Context()
	rosters, classes := stillroomv1.NewRosterServiceClient(k.Conn), stillroomv1.NewClassServiceClient(k.Conn)
	kitchens, shopping := stillroomv1.NewKitchenServiceClient(k.Conn), stillroomv1.NewShoppingServiceClient(k.Conn)
	short := hostile[:40] + "\u202e"
	_, err := kitchens.UpdateKitchen(ctx, &stillroomv1.UpdateKitchenRequest{Kitchen: &stillroomv1.Kitchen{Name: webtest.Name, DisplayName: "K" + short}})
	require.NoError(t, err)
	_, err = kitchens.UpdateSite(ctx, &stillroomv1.UpdateSiteRequest{Site: &stillroomv1.Site{Name: webtest.Name + "/sites/hall", DisplayName: "S" + short}})
	require.NoError(t, err)
	_, err = classes.UpdateClass(ctx, &stillroomv1.UpdateClassRequest{Class: &stillroomv1.Class{Name: webtest.Class, DisplayName: "C" + short}})
	require.NoError(t, err)
	_, err = classes.UpdateStation(ctx, &stillroomv1.UpdateStationRequest{Station: &stillroomv1.Station{Name: webtest.Class + "/stations/bench-1", DisplayName: "B" + short}})
	require.NoError(t, err)
	for i, who := range []string{"Ximena Okoro-Vale", "Niamh Vasquez-Orme"} { // with a place, and waiting
		_, err = rosters.UpdateParticipant(ctx, &stillroomv1.UpdateParticipantRequest{Participant: &stillroomv1.Participant{
			Name: k.Participant(who), DisplayName: fmt.Sprint("P", i, hostile), Phone: "1" + short[:20], Allergies: "celery " + hostile}})
		require.NoError(t, err)
	}
	for i := range 2 { // in the form that gives places
		_, err = rosters.CreateParticipant(ctx, &stillroomv1.CreateParticipantRequest{Parent: webtest.Name, Participant: &stillroomv1.Participant{
			DisplayName: fmt.Sprint("N", i, hostile)}})
		require.NoError(t, err)
	}
	offers, err := shopping.ListOffers(ctx, &stillroomv1.ListOffersRequest{Parent: webtest.Name, PageSize: 1000})
	require.NoError(t, err)
	for _, o := range offers.GetOffers() {
		o.Label, o.Shop, o.Section = "L"+short, "H"+short, "T"+short
		_, err = shopping.UpdateOffer(ctx, &stillroomv1.UpdateOfferRequest{Offer: o})
		require.NoError(t, err)
	}
	recipe, err := stillroomv1.NewRecipeServiceClient(k.Conn).UpdateRecipe(ctx, &stillroomv1.UpdateRecipeRequest{Recipe: &stillroomv1.Recipe{Name: webtest.Relish, Title: "R" + hostile}})
	require.NoError(t, err)
	require.Contains(t, recipe.GetTitle(), "x-hostile")
	for range 2 {
		_, err = shopping.CreateShoppingList(ctx, &stillroomv1.CreateShoppingListRequest{Parent: webtest.Class, Settings: &stillroomv1.ShoppingSettings{LeaveOutOptional: true}})
		require.NoError(t, err)
		all, err := classes.ListBatches(ctx, &stillroomv1.ListBatchesRequest{Parent: webtest.Class})
		require.NoError(t, err)
		_, err = classes.DeleteBatch(ctx, &stillroomv1.DeleteBatchRequest{Name: all.GetBatches()[0].GetName()})
		require.NoError(t, err)
	}
	reply, err := stillroomv1.NewAccessServiceClient(k.Conn).CreateToken(ctx, &stillroomv1.CreateTokenRequest{Parent: webtest.Name, Token: &stillroomv1.Token{
		DisplayName: "T" + short, Role: stillroomv1.Role_ROLE_OWNER}})
	require.NoError(t, err)

	b := k.Browser(reply.GetSecret())
	for _, at := range [][2]string{
		{"", "P0\"'><x-hostile"},
		{"/enrol", "N1\"'><x-hostile"},
		{"/batches/new", "R\"'><x-hostile"},
		{"/propose", "R\"'><x-hostile"},
		{"/shopping", "L\"'><x-hostile"},
		{"/shopping?units=us", "L\"'><x-hostile"},
		{"/shopping/1", "T\"'><x-hostile"},
		{"/shopping/compare", "was "},
		{"/../../../../", "K\"'><x-hostile"},
		{"/../../../classes/x", "Nothing here"},
	} {
		path, sees := at[0], at[1]
		b.Open("/" + webtest.Class + path)
		b.WaitFor(`document.body && document.body.textContent.includes(` + fmt.Sprintf("%q", sees) + `)`)
		require.Empty(t, b.Value(inertHere), path)
		b.Accessible()
	}

	// What comes in by a form, and comes back in a refusal or a notice.
	b.Open("/" + webtest.Class + "/enrol")
	b.Fill("name", "F"+hostile)
	b.Fill("email", hostile)
	b.Fill("home_altitude", hostile)
	b.Click("Put on the waiting list")
	b.WaitFor(`document.querySelector("[aria-invalid=true]")`)
	require.Empty(t, b.Value(inertHere))
	b.Fill("email", "")
	b.Fill("home_altitude", "")
	b.Fill("allergies", hostile)
	b.Click("Put on the waiting list")
	b.Sees("on the waiting list.")
	b.WaitFor(`document.querySelector("#notice").textContent.includes("F\"'><x-hostile")`)
	require.Empty(t, b.Value(inertHere))
	b.Open("/sign-in?then=" + "%22%3E%3Cx-hostile%20onclick%3Dx%3E")
	require.Empty(t, b.Value(inertHere))
}
