package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/store/storetest"
	"stillroom/internal/web/sheets/sheettest"
)

// TestSheetsFromTheCommandLine prints every sheet of a small class.
func TestSheetsFromTheCommandLine(t *testing.T) {
	t.Parallel()
	p := startProgram(t, "--database", storetest.URL(t))
	p.run("kitchen", "create", p.kitchen, "--currency", "USD", "--name", "High Meadow")
	p.run("site", "create", "hall", "--altitude", "5,430 ft", "--zone", "America/Denver")
	p.run("class", "create", "relish-day", "--site", "hall", "--start", "2027-08-21 09:00", "--length", "4h", "--places", "6")
	p.run("station", "add", "relish-day", "bench-1", "bench-2")
	p.run("roster", "import", "relish-day", "../../testdata/first-class/roster.csv")
	p.run("equipment", "import", "../../testdata/first-class/equipment.yaml")
	p.run("recipe", "adopt", "pickled_pepper_onion_relish", "--id", "relish")
	p.run("batch", "propose", "relish-day", "--want", "relish=3", "--apply")

	folder := t.TempDir()
	require.Contains(t, p.fails("sheet", "shopping", "relish-day", "--file", filepath.Join(folder, "none.pdf")), "no shopping list yet; make one")
	require.Contains(t, p.fails("sheet", "labels", "relish-day", "--file", filepath.Join(folder, "none.pdf")), "no load plan yet")
	require.NoFileExists(t, filepath.Join(folder, "none.pdf"))
	p.run("shopping", "make", "relish-day")
	p.run("loads", "plan", "relish-day", "--no-gains")
	for kind, words := range map[string]string{
		"shopping": "version 1 of the list, for 6 participants and 18 jars", "sign-in": "Aurelio Finch", "stations": "station 2 of 2", "board": "Big canner",
		"labels": "boiling water, 10 min, at 1,001-6,000 ft", "seal-check": "A jar that did not seal",
	} {
		file := filepath.Join(folder, kind+".pdf")
		require.Contains(t, p.run("sheet", kind, "relish-day", "--paper", "letter", "--file", file), "the sheet is in "+file)
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		require.Equal(t, string(data), p.run("sheet", kind, "relish-day", "--paper", "letter"), "on standard output too, and the same")
		text := ""
		for _, page := range sheettest.Pages(t, data) {
			text += page.Text() + " "
		}
		require.Contains(t, text, words, kind)
		page := p.run("sheet", kind, "relish-day", "--format", "html")
		require.Contains(t, page, "<style>", "a file that stands alone")
		require.Contains(t, strings.Join(strings.Fields(page), " "), "relish-day")
	}
	require.Contains(t, p.fails("sheet", "menu", "relish-day"), "it has: board, labels, seal-check, shopping, sign-in, stations")
	require.Contains(t, p.fails("sheet", "board", "relish-day", "--paper", "a5"), `--paper "a5": choose a4 or letter`)
	require.Contains(t, p.fails("sheet", "labels", "relish-day", "--labels", "5-5x5"), `--labels "5-5x5": on A4 there are`)
	require.Contains(t, p.fails("sheet", "labels", "relish-day", "--start", "22"), "--start 22: a sheet has positions 1 to 21")
	require.Contains(t, p.fails("sheet", "board", "other-day"), "other-day")
}
