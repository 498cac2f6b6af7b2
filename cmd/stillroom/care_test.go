package main

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/store/storetest"
)

// TestAPersonIsHandedOutAndErased: an owner writes what the kitchen holds, is told what will go and asked, and erases.
func TestAPersonIsHandedOutAndErased(t *testing.T) {
	t.Parallel()
	p := startProgram(t, "--database", storetest.URL(t))
	p.kitchen = "high-meadow"
	p.run("kitchen", "create", "high-meadow", "--currency", "USD")
	p.run("site", "create", "hall", "--altitude", "1600 m", "--zone", "UTC")
	p.run("class", "create", "relish", "--site", "hall", "--start", "2099-08-21 09:00", "--length", "4h", "--places", "1")
	p.run("participant", "create", "Delphine Aster", "--email", "delphine@example.org", "--phone", "555 010 2233", "--allergies", "celery")
	p.run("participant", "create", "Emeka Thorne")
	p.run("roster", "enrol", "relish", "Delphine Aster")
	p.run("roster", "enrol", "relish", "Emeka Thorne", "--wait")

	var held map[string]any
	require.NoError(t, json.Unmarshal([]byte(p.run("participant", "export", "Delphine Aster")), &held))
	person := held["participant"].(map[string]any)
	require.Equal(t, "delphine@example.org", person["email"])
	require.Len(t, held["enrolments"], 1)
	id := last(person["name"].(string))

	_, asked, err := p.try("no\n", "participant", "erase", "Delphine Aster")
	require.Error(t, err)
	for _, going := range []string{"Delphine Aster", "delphine@example.org", "555 010 2233", "celery", "place      in relish", "nothing was erased"} {
		require.Contains(t, asked, going)
	}
	said, _, err := p.try(id+"\n", "participant", "erase", "Delphine Aster")
	require.NoError(t, err)
	require.Equal(t, "erased; what is left is called "+id+"\ngave a place in relish back\nEmeka Thorne has moved up from the waiting list of relish\n", said)
	require.NotContains(t, p.run("participant", "list"), "Delphine")
	require.Contains(t, p.fails("participant", "erase", "Delphine Aster", "--yes"), "knows nobody called")
	p.stop()
}

// TestAllergiesAreShownWithBatches: whoever lists what a station makes reads whom it may harm; a participant does not.
func TestAllergiesAreShownWithBatches(t *testing.T) {
	t.Parallel()
	p := startProgram(t, "--database", storetest.URL(t))
	p.kitchen = "high-meadow"
	p.run("kitchen", "create", "high-meadow", "--currency", "USD")
	p.run("site", "create", "hall", "--altitude", "1600 m", "--zone", "UTC")
	p.run("class", "create", "relish", "--site", "hall", "--start", "2099-08-21 09:00", "--length", "4h", "--places", "4")
	p.run("station", "add", "relish", "bench-1", "bench-2")
	p.run("recipe", "adopt", "pickle_relish", "--id", "relish")
	p.run("participant", "create", "Emeka Thorne", "--allergies", "mustard")
	p.run("roster", "enrol", "relish", "Emeka Thorne", "--station", "bench-1")
	added := p.run("batch", "add", "relish", "--station", "bench-1", "--recipe", "relish", "--size", "pint", "--jars", "9")
	require.Contains(t, added, "Emeka Thorne")
	require.NotContains(t, p.run("batch", "add", "relish", "--station", "bench-2", "--recipe", "relish", "--size", "pint", "--jars", "9"), "Emeka")
	for _, command := range [][]string{{"batch", "list", "relish"}, {"station", "list", "relish"}, {"class", "show", "relish"}, {"class", "allergies", "relish"}} {
		said := p.run(command...)
		require.Regexp(t, `bench-1 +Emeka Thorne +mustard +mustard seed +relish@1 +"mustard" is listed under mustard \[1\]`, said)
		require.Contains(t, said, "[1] Regulation (EU) No 1169/2011")
		require.Contains(t, said, "does not mean that an ingredient is safe")
	}
	p.stop()
}
