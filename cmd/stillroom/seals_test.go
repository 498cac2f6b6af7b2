package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/store/storetest"
)

// TestSealsFromTheCommandLine writes down what participants say the day after a class, reads it back, and finds the
// published advice (USDA AIB 539, rev. 2015, Guide 1, p. 1-26) with it.
func TestSealsFromTheCommandLine(t *testing.T) {
	t.Parallel()
	p := startProgram(t, "--database", storetest.URL(t))
	p.run("kitchen", "create", "high-meadow", "--currency", "USD")
	p.run("site", "create", "hall", "--altitude", "5,430 ft", "--zone", "UTC")
	// Four hours that began twenty hours ago: without a load plan seals may be tested from twelve hours after the end.
	p.run("class", "create", "relish", "--site", "hall", "--start", time.Now().UTC().Add(-20*time.Hour).Format("2006-01-02 15:04"), "--length", "4h", "--places", "6")
	p.run("station", "add", "relish", "bench-1")
	p.run("roster", "import", "relish", p.file("roster.csv", "Name,Station\nAna,bench-1\nBo,bench-1\n"))
	p.run("recipe", "adopt", "pickled_pepper_onion_relish", "--id", "relish")
	batch := last(p.json("batch", "add", "relish", "--station", "bench-1", "--recipe", "relish", "--jars", "9", "--size", "half_pint")["name"].(string))
	require.Contains(t, p.run("class", "seals", "relish"), "Nobody has said yet")
	told := p.run("class", "seal", "relish", batch, "Ana", "--sealed", "4", "--unsealed", "1")
	require.Contains(t, told, "within 24 hours, with a new lid")
	require.Contains(t, told, "USDA AIB 539 (rev. 2015), Guide 1, p. 1-26")
	list := p.run("class", "seals", "relish")
	require.Regexp(t, batch+` +relish@1 +Ana +4 +1 `, list)
	require.Contains(t, list, batch+", bench-1: nothing heard of 4 of 9 jars")
	p.stop()
}
