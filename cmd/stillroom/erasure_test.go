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
