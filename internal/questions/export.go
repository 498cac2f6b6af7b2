package questions

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strings"
	"time"
)

// Source is where an answer has its facts from.
type Source struct {
	// Title is the publication, e.g. "USDA AIB 539 (rev. 2015)"; Locator the place in it.
	Title   string `json:"title"`
	Locator string `json:"locator,omitempty"`
}

// String gives "title, locator".
func (s Source) String() string {
	if s.Locator == "" {
		return s.Title
	}
	return s.Title + ", " + s.Locator
}

// Entry is an answered question as it leaves the program.
type Entry struct {
	ID       string `json:"id"`
	Topic    string `json:"topic"`
	Question string `json:"question"`
	// AlsoAsked are the words of the questions that were merged into it.
	AlsoAsked []string `json:"also_asked,omitempty"`
	Answer    string   `json:"answer"`
	// AnsweredBy is empty where the answerer is not to be named.
	AnsweredBy string    `json:"answered_by,omitempty"`
	Sources    []Source  `json:"sources"`
	Askers     int       `json:"askers"`
	Asked      time.Time `json:"asked"`
	Answered   time.Time `json:"answered"`
}

// Caution closes every export of answers.
const Caution = "Local codes, current tested guidance and licensed practice come first. Process times are read from the table for the product, the jar and the altitude, not from an answer."

// AnswersMarkdown writes answers as a Markdown page (CommonMark), by topic in
// the order given. What people typed is escaped: it cannot become a heading, a
// link or markup. Times are shown in loc.
func AnswersMarkdown(title string, entries []Entry, loc *time.Location) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# %s\n", escapeMarkdown(title, " "))
	for _, t := range topicsOf(entries) {
		name := t.name
		if name == "" {
			name = "General"
		}
		fmt.Fprintf(&b, "\n## %s\n", escapeMarkdown(name, " "))
		for _, e := range t.entries {
			fmt.Fprintf(&b, "\n### %s\n\n", escapeMarkdown(e.Question, " "))
			for _, also := range e.AlsoAsked {
				fmt.Fprintf(&b, "Also asked: %s\n\n", escapeMarkdown(also, " "))
			}
			fmt.Fprintf(&b, "%s\n\n", escapeMarkdown(e.Answer, "  \n"))
			for _, s := range e.Sources {
				fmt.Fprintf(&b, "- Source: %s\n", escapeMarkdown(s.String(), " "))
			}
			by := ""
			if e.AnsweredBy != "" {
				by = " by " + escapeMarkdown(e.AnsweredBy, " ")
			}
			fmt.Fprintf(&b, "- Asked by %s, answered%s on %s\n", count(e.Askers, "person"), by, e.Answered.In(loc).Format("2 January 2006"))
		}
	}
	fmt.Fprintf(&b, "\n%s\n", Caution)
	return b.Bytes()
}

type topicEntries struct {
	name    string
	entries []Entry
}

// topicsOf keeps the order in which topics first appear.
func topicsOf(entries []Entry) []topicEntries {
	var out []topicEntries
	at := map[string]int{}
	for _, e := range entries {
		i, ok := at[e.Topic]
		if !ok {
			i = len(out)
			at[e.Topic] = i
			out = append(out, topicEntries{name: e.Topic})
		}
		out[i].entries = append(out[i].entries, e)
	}
	return out
}

// escapeMarkdown puts a backslash before every ASCII punctuation character
// that could start markup, and joins lines with lineEnd (empty lines stay, so
// paragraphs do).
func escapeMarkdown(s, lineEnd string) string {
	var lines []string
	for _, line := range strings.Split(s, "\n") {
		var b strings.Builder
		for i, r := range line {
			if strings.ContainsRune("\\`*_{}[]<>#|~&!", r) || (strings.ContainsRune("+-=", r) && i == 0) {
				b.WriteByte('\\')
			}
			if (r == '.' || r == ')') && i > 0 && strings.Trim(line[:i], "0123456789") == "" {
				b.WriteByte('\\') // "1." would start a list
			}
			b.WriteRune(r)
		}
		lines = append(lines, b.String())
	}
	if lineEnd == " " {
		return strings.Join(strings.Fields(strings.Join(lines, " ")), " ")
	}
	joined := strings.Join(lines, lineEnd)
	return strings.ReplaceAll(joined, lineEnd+lineEnd, "\n\n")
}

// answersHeader names the columns of AnswersCSV.
var answersHeader = []string{"id", "topic", "question", "also_asked", "answer", "answered_by", "sources", "askers", "asked", "answered"}

// AnswersCSV writes answers as CSV (RFC 4180: CRLF line ends) with a header
// line, UTF-8, times as RFC 3339 in UTC, lists joined with a line feed. A cell
// that a spreadsheet would run as a formula (it starts with =, +, -, @, a tab or
// a carriage return) gets an apostrophe in front.
func AnswersCSV(entries []Entry) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	rows := [][]string{answersHeader}
	for _, e := range entries {
		var sources []string
		for _, s := range e.Sources {
			sources = append(sources, s.String())
		}
		row := []string{e.ID, e.Topic, e.Question, strings.Join(e.AlsoAsked, "\n"), e.Answer, e.AnsweredBy, strings.Join(sources, "\n"),
			fmt.Sprint(e.Askers), e.Asked.UTC().Format(time.RFC3339), e.Answered.UTC().Format(time.RFC3339)}
		for i := range row {
			if row[i] != "" && strings.ContainsRune("=+-@\t\r", rune(row[i][0])) {
				row[i] = "'" + row[i]
			}
		}
		rows = append(rows, row)
	}
	if err := w.WriteAll(rows); err != nil {
		return nil, fmt.Errorf("write answers: %w", err)
	}
	return b.Bytes(), nil
}

// AnswersJSON writes answers as one indented JSON object with the caution beside them.
func AnswersJSON(title string, entries []Entry) ([]byte, error) {
	if entries == nil {
		entries = []Entry{}
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	err := enc.Encode(struct {
		Title   string  `json:"title"`
		Answers []Entry `json:"answers"`
		Caution string  `json:"caution"`
	}{title, entries, Caution})
	if err != nil {
		return nil, fmt.Errorf("write answers: %w", err)
	}
	return b.Bytes(), nil
}
