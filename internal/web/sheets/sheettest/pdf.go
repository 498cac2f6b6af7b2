// Package sheettest reads PDFs in tests with the programs of poppler-utils, so that a sheet is judged by what another
// program finds in it.
package sheettest

import (
	"encoding/xml"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// PointMM is a point of a PDF, 1/72 of an inch of 25.4 mm (ISO 32000-1, 8.3.2.3), in millimetres.
const PointMM = 25.4 / 72

// Word is a word on a page, with its box in millimetres from the upper left corner.
type Word struct {
	Text                     string
	Left, Top, Right, Bottom float64
}

// Page is a page with its size in millimetres and its words.
type Page struct {
	Width, Height float64
	Words         []Word
}

// Text is the page's words with single spaces between.
func (p Page) Text() string {
	var all []string
	for _, w := range p.Words {
		all = append(all, w.Text)
	}
	return strings.Join(all, " ")
}

// pdftotext runs the program on a file; without it the test is skipped, or fails in CI.
func pdftotext(t testing.TB, data []byte, arguments ...string) string {
	t.Helper()
	program, err := exec.LookPath("pdftotext")
	if err != nil {
		const missing = "pdftotext is not installed (Debian: poppler-utils)"
		if os.Getenv("CI") != "" {
			t.Fatal(missing)
		}
		t.Skip(missing)
	}
	file := filepath.Join(t.TempDir(), "sheet.pdf")
	require.NoError(t, os.WriteFile(file, data, 0o600))
	out, err := exec.Command(program, append(arguments, file, "-")...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return string(out)
}

// Layout is the text as it stands on the paper, page by page.
func Layout(t testing.TB, data []byte) []string {
	t.Helper()
	return strings.Split(strings.TrimSuffix(pdftotext(t, data, "-layout"), "\f"), "\f")
}

// Pages are the words of a file with their places.
func Pages(t testing.TB, data []byte) []Page {
	t.Helper()
	type box struct {
		XMin string `xml:"xMin,attr"`
		YMin string `xml:"yMin,attr"`
		XMax string `xml:"xMax,attr"`
		YMax string `xml:"yMax,attr"`
		Text string `xml:",chardata"`
	}
	var document struct {
		Pages []struct {
			Width  string `xml:"width,attr"`
			Height string `xml:"height,attr"`
			Words  []box  `xml:"word"`
		} `xml:"body>doc>page"`
	}
	decoder := xml.NewDecoder(strings.NewReader(pdftotext(t, data, "-bbox")))
	decoder.Strict = false
	decoder.Entity = xml.HTMLEntity
	require.NoError(t, decoder.Decode(&document))
	mm := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		require.NoError(t, err)
		return v * PointMM
	}
	var pages []Page
	for _, p := range document.Pages {
		page := Page{Width: mm(p.Width), Height: mm(p.Height)}
		for _, w := range p.Words {
			page.Words = append(page.Words, Word{Text: w.Text, Left: mm(w.XMin), Top: mm(w.YMin), Right: mm(w.XMax), Bottom: mm(w.YMax)})
		}
		pages = append(pages, page)
	}
	return pages
}
