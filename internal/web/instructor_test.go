package web_test

import (
	"net/http"
	"testing"

	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/webtest"
)

// checked is a script that says whether a line of the list is ticked, by what its box is called.
func checked(item string) string {
	return `[...document.querySelectorAll("[role=checkbox]")].find(e => e.getAttribute("aria-label") === "Bought: ` + item + `").getAttribute("aria-checked")`
}

// An instructor's evening before the class: who comes, what is made, what to buy.
func TestEveningBeforeAClass(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	b := k.Browser(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	b.Click("Salsa and relish on Saturday")
	b.Sees("16 places taken of 16, 3 people wait")
	b.Sees("Saturday 21 August 2027, 09:00 to 13:00")
	b.Sees("10 batches, 72 jars")
	b.Sees("too little: large pot")
	b.Sees("not computed yet")
	b.Accessible()
	b.Screenshot("class")

	// The class is full, so somebody new waits; a slip in the form is told beside the field, and nothing is lost.
	b.Click("Give a place")
	b.Sees("All 16 places are taken")
	b.Fill("name", "Vesper Ashgrove")
	b.Fill("email", "nowhere")
	b.Fill("allergies", "sesame")
	b.Accessible()
	b.Click("Put on the waiting list")
	b.WaitFor(`document.querySelector("#email[aria-invalid=true]")`)
	require.Equal(t, "Vesper Ashgrove", b.Value(`document.getElementById("name").value`))
	b.Accessible()
	b.Screenshot("enrol-refused")
	b.Fill("email", "vesper@demo.example")
	b.Click("Put on the waiting list")
	b.Sees("Vesper Ashgrove is number 4 on the waiting list.")

	// A place given back goes to the first who waits.
	b.Click("Place of Ximena Okoro-Vale")
	b.Click("Give the place back")
	b.Sees("Ximena Okoro-Vale gave the place back. Niamh Vasquez-Orme has it now.")
	b.Sees("1 person has no station")
	b.Click("Place of Niamh Vasquez-Orme")
	b.Click("Move there")
	b.Sees("Niamh Vasquez-Orme works at another station now.")
	b.SeesNot("1 person has no station")

	// One batch more, one out, then all worked out anew.
	b.Click("Add a batch")
	b.Accessible()
	b.Fill("jar_size", "2")
	b.Fill("jars", "6")
	b.Click("Add the batch")
	b.Sees("The batch is added: 6 pint jars.")
	b.Sees("11 batches")
	b.Click("Batch of")
	b.Click("Yes, take this batch out")
	b.Sees("The batch is taken out.")
	b.Click("Work out the batches")
	b.Click("Work it out")
	b.Sees("Say of at least one recipe how many jars each person takes home.")
	b.Fill("each-0", "1")
	b.Click("Work it out")
	b.Sees("For 16 people")
	b.Accessible()
	b.Screenshot("propose")
	b.Click("Make these the class's batches")
	b.Sees("batches now.")

	// The list, and what stands behind a line.
	b.Click("Shopping list")
	b.Accessible()
	b.Click("Compute the list")
	b.Sees("Version 1 is computed.")
	b.Accessible()
	require.Equal(t, "false", b.Value(checked("labels")))
	b.Click("Bought: labels")
	b.WaitFor(checked("labels") + ` === "true"`)
	b.Sees("1 of ")
	b.Click("Show US units")
	b.Sees("Amounts in US units.")
	b.Open("/" + webtest.Class + "/shopping")
	b.Sees("Amounts in US units.") // remembered
	b.Click("Show metric units")
	b.Sees("Amounts in metric units.")

	// The batches change; the page of the class says so, and two versions tell what changed.
	b.Click("The class")
	b.Sees("1 line of ")
	b.Click("Batch of")
	b.Click("Yes, take this batch out")
	b.Sees("the batches have changed since version 1 was computed")
	b.Click("Shopping list")
	b.Click("Compute a new version")
	b.Click("Compute the list")
	b.Sees("Version 2 is computed.")
	b.Sees("1 line was bought by version 1")
	b.Click("Take over the ticks")
	b.Sees("0 ticks are taken over; 1 line changed, so look at them again.")
	b.Click("Compare two versions")
	b.Sees("by version 2")
	b.Sees("labels")
	b.Accessible()
	b.Screenshot("compare")
}

// Two people with one list see each other's ticks; when the server is started anew in the
// middle both pages come back by themselves.
func TestTwoShoppers(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	_, err := stillroomv1.NewShoppingServiceClient(k.Conn).CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: webtest.Class})
	require.NoError(t, err)
	list := "/" + webtest.Class + "/shopping"
	ines, ivo := k.Browser(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR)), k.Browser(k.Token(stillroomv1.Role_ROLE_ASSISTANT))
	ivo.Phone()
	ines.Open(list)
	ivo.Open(list)
	ines.Sees("0 of 18 lines bought")
	ivo.Sees("0 of 18 lines bought")
	ines.Click("Bought: onions")
	ivo.WaitFor(checked("onions") + ` === "true"`)
	ivo.Sees("1 of 18 lines bought")
	ivo.Accessible()
	ivo.Screen("shopping-phone")
	ivo.Click("Bought: onions")
	ines.WaitFor(checked("onions") + ` === "false"`)

	k.Stop()
	ines.Sees("The connection is lost")
	k.Start()
	ines.SeesNot("The connection is lost")
	ivo.SeesNot("The connection is lost")
	ivo.Click("Bought: sugar")
	ines.WaitFor(checked("sugar") + ` === "true"`)
	ines.Screenshot("shopping")

	// A tick made by a call, through another server as it were, shows too; and so does a newer version.
	_, err = stillroomv1.NewShoppingServiceClient(k.Conn).TickShoppingLine(t.Context(), &stillroomv1.TickShoppingLineRequest{Name: webtest.Class + "/shoppingLists/1", Item: "onions"})
	require.NoError(t, err)
	ines.WaitFor(checked("onions") + ` === "true"`)
	_, err = stillroomv1.NewShoppingServiceClient(k.Conn).CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: webtest.Class})
	require.NoError(t, err)
	ivo.Sees("Version 2 has been computed since.")
	ivo.Click("Open it")
	ivo.Sees("2 lines were bought by version 1")
	ivo.Click("Take over the ticks")
	ivo.Sees("2 ticks are taken over; 0 lines changed")

	// Whose token is revoked is told, and the page stops asking.
	all, err := stillroomv1.NewAccessServiceClient(k.Conn).ListTokens(t.Context(), &stillroomv1.ListTokensRequest{Parent: webtest.Name})
	require.NoError(t, err)
	for _, token := range all.GetTokens() {
		_, err = stillroomv1.NewAccessServiceClient(k.Conn).RevokeToken(t.Context(), &stillroomv1.RevokeTokenRequest{Name: token.GetName()})
		require.NoError(t, err)
	}
	ines.Sees("This page is no longer kept fresh.")
}

// Everything an instructor does here goes by keyboard, and each step shows where it is.
func TestByKeyboard(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	_, err := stillroomv1.NewShoppingServiceClient(k.Conn).CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: webtest.Class})
	require.NoError(t, err)
	b := k.Browser(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	b.Open("/" + webtest.Class)
	b.TabTo("Skip to the page")
	b.Press(kb.Enter)
	b.WaitFor(`document.activeElement.id === "main"`)
	b.TabTo("Place of Ximena Okoro-Vale")
	b.Press(kb.Enter)
	b.TabTo("Give the place back")
	b.Press(kb.Enter)
	b.Sees("Ximena Okoro-Vale gave the place back.")
	b.TabTo("Shopping list")
	b.Press(kb.Enter)
	b.Sees("0 of 18 lines bought")
	b.TabTo("Bought: onions")
	b.Press(" ")
	b.WaitFor(checked("onions") + ` === "true"`)
	b.WaitFor(`document.activeElement.getAttribute("aria-label") === "Bought: onions"`) // the focus stays
	b.TabTo("Where it comes from (onions)")
	b.Press(kb.Enter)
	b.Sees("6 cups onions, finely chopped")
	b.TabTo("Compute a new version")
	b.Press(kb.Enter)
	b.TabTo("Compute the list")
	b.Press(kb.Enter)
	b.Sees("Version 2 is computed.")
}

// An assistant sees the class and works its list, but no allergy, and nothing that would be refused.
func TestAssistantsSeeWhatTheyMay(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	for role, may := range map[stillroomv1.Role]bool{stillroomv1.Role_ROLE_ASSISTANT: false, stillroomv1.Role_ROLE_INSTRUCTOR: true} {
		c := k.Client(k.Token(role))
		_, text := weigh(t, c, k.URL+"/"+webtest.Class, false)
		require.Contains(t, text, "Tobiah Lindqvist-Rao")
		for _, word := range []string{"celery", "! allergy", "Give the place back", "Take out…", "Add a batch"} {
			if may {
				require.Contains(t, text, word, role)
			} else {
				require.NotContains(t, text, word, role)
			}
		}
		reply, err := c.PostForm(k.URL+"/"+webtest.Class+"/batches", map[string][]string{"jars": {"6"}})
		require.NoError(t, err)
		require.NoError(t, reply.Body.Close())
		if may {
			require.Equal(t, http.StatusUnprocessableEntity, reply.StatusCode) // the form again, with what is missing
		} else {
			require.Equal(t, http.StatusForbidden, reply.StatusCode)
		}
	}
}

// A class announced from the screen: its times are those on the wall of its site, and a slip is told beside its field.
func TestAnnounceAClass(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	b := k.Browser(k.Token(stillroomv1.Role_ROLE_INSTRUCTOR))
	b.Click("Announce a class")
	b.Sees("What it is called")
	b.Accessible()
	fill := func(field, value string) {
		b.Value(`document.getElementById("` + field + `").value = "` + value + `"`)
	}
	fill("display_name", "Relish at night")
	fill("start_time", "2028-03-12T02:30") // Denver's clocks go from 02:00 to 03:00 then (tz database, America/Denver)
	b.Click("Announce it")
	b.Sees("The clocks at this site skip this time on that day.")
	b.Accessible()
	fill("start_time", "2028-03-12T18:30")
	fill("capacity", "5000")
	b.Click("Announce it")
	b.WaitFor(`document.querySelector("#capacity[aria-invalid=true]")`)
	fill("capacity", "2")
	b.Click("Announce it")
	b.Sees("Relish at night is announced.")
	b.Sees("Sunday 12 March 2028, 18:30 to 22:30")
	b.Screenshot("class-empty")
	b.Accessible()
	b.Click("Add a station…")
	fill("display_name", "The long bench")
	b.Click("Add the station")
	b.Sees("The long bench is added.")
	b.Click("Change the class")
	require.Equal(t, "2028-03-12T18:30", b.Value(`document.getElementById("start_time").value`))
	fill("duration_minutes", "120")
	fill("live_session_time", "2028-03-12T20:00")
	fill("live_session_minutes", "15")
	b.Click("Change the class")
	b.Sees("The class is changed.")
	b.Sees("18:30 to 20:30")
	b.Sees("live at 20:00 for 15 minutes")
}
