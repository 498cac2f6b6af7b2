package questions

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/text"
)

func entries() []Entry {
	asked := time.Date(2026, 9, 10, 3, 0, 0, 0, time.UTC)
	return []Entry{
		{
			ID: "q1", Topic: "Jars", Question: "=1+1 did it *seal*?\n# No", AlsoAsked: []string{"<b>lid</b> [up](http://x.example)"},
			Answer: "1. No.\n\nUse a *new* lid,\n- and the full time.", AnsweredBy: "M. Instructor",
			Sources: []Source{{"USDA AIB 539 (rev. 2015)", "Guide 1, p. 1-26"}}, Askers: 2, Asked: asked, Answered: asked.Add(24 * time.Hour),
		},
		{ID: "q2", Topic: "", Question: "Is there \"parking\", free?", Answer: "@ the back", Askers: 1, Asked: asked, Answered: asked},
		{ID: "q3", Topic: "Jars", Question: "Size?", Answer: "Pints.", Askers: 1, Asked: asked, Answered: asked, Sources: []Source{{Title: "Class notes"}}},
	}
}

// What people typed must come out of a Markdown reader as they typed it, with
// no markup of theirs. The reader is a CommonMark library.
func TestMarkdownShowsWhatWasTyped(t *testing.T) {
	page := AnswersMarkdown("Answers *of* Saturday", entries(), zone(t, "America/Denver"))
	doc := goldmark.DefaultParser().Parse(text.NewReader(page))
	var headings []string
	require.NoError(t, ast.Walk(doc, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		if !entering {
			return ast.WalkContinue, nil
		}
		switch n.Kind() {
		case ast.KindEmphasis, ast.KindLink, ast.KindRawHTML, ast.KindHTMLBlock, ast.KindCodeSpan, ast.KindCodeBlock, ast.KindAutoLink, ast.KindImage, ast.KindBlockquote:
			t.Errorf("the page has a %s that nobody wrote", n.Kind())
		case ast.KindHeading:
			var b strings.Builder
			for c := n.FirstChild(); c != nil; c = c.NextSibling() {
				b.Write(c.(*ast.Text).Value(page))
			}
			headings = append(headings, strings.ReplaceAll(b.String(), "\\", ""))
		}
		return ast.WalkContinue, nil
	}))
	require.Equal(t, []string{"Answers *of* Saturday", "Jars", "=1+1 did it *seal*? # No", "Size?", "General", `Is there "parking", free?`}, headings)
	var html bytes.Buffer
	require.NoError(t, goldmark.Convert(page, &html))
	require.Contains(t, html.String(), "<p>1. No.</p>")
	require.Contains(t, html.String(), "Use a *new* lid,<br>\n- and the full time.")
	require.Contains(t, html.String(), "Source: USDA AIB 539 (rev. 2015), Guide 1, p. 1-26")
	require.Contains(t, html.String(), "Asked by 2 people, answered by M. Instructor on 10 September 2026") // 03:00 UTC on the 11th
	require.Contains(t, html.String(), "current tested guidance")
}

func TestCSVReadsBack(t *testing.T) {
	data, err := AnswersCSV(entries())
	require.NoError(t, err)
	require.Equal(t, strings.Count(string(data), "\r\n"), strings.Count(string(data), "\n"), "RFC 4180 line ends")
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 4)
	require.Equal(t, answersHeader, rows[0])
	require.Equal(t, "'=1+1 did it *seal*?\n# No", rows[1][2], "no cell is a formula")
	require.Equal(t, "USDA AIB 539 (rev. 2015), Guide 1, p. 1-26", rows[1][6])
	require.Equal(t, "2026-09-11T03:00:00Z", rows[1][9])
	require.Equal(t, "'@ the back", rows[2][4])
}

func TestJSONReadsBack(t *testing.T) {
	data, err := AnswersJSON("Saturday", entries())
	require.NoError(t, err)
	var back struct {
		Title, Caution string
		Answers        []Entry
	}
	require.NoError(t, json.Unmarshal(data, &back))
	require.Equal(t, entries(), back.Answers)
	require.Equal(t, Caution, back.Caution)
	require.Contains(t, string(data), "<b>lid</b>")
	data, err = AnswersJSON("None", nil)
	require.NoError(t, err)
	require.Contains(t, string(data), `"answers": []`)
}
