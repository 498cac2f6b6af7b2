package questions

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"stillroom/internal/fault"
)

// Longest texts, in characters (Unicode code points after cleaning).
const (
	// LongestQuestion is room for a page of handwriting; what is longer is a letter, not a question.
	LongestQuestion = 2000
	// LongestAnswer is room for an answer with its sources.
	LongestAnswer = 20000
	// LongestTopic fits on one line of a phone.
	LongestTopic = 80
)

// longestMarks is how many combining marks may stand on one character. No
// written language needs more; stacks of them spill over the lines around.
const longestMarks = 4

// Clean makes text that strangers typed fit to be stored and shown.
//
// It refuses, as a fault of kind Invalid that names field: text that is not
// UTF-8, text that is empty once blanks and invisible characters are gone, text
// longer than longest characters, and control characters other than tab and
// line ends. It mends without complaint what people paste unawares: line ends
// become "\n", the text is composed (NFC), runs of blanks and of empty lines
// shrink, and characters that are invisible or that turn the direction of the
// text around them are taken out (embeddings, overrides and isolates: they can
// make a line read as what it is not). The joiners inside emoji stay.
func Clean(field, text string, longest int) (string, error) {
	tooLong := func(n int) error {
		return fault.Field(field, text, fmt.Sprintf("has %d characters, more than %d", n, longest), "shorten it, or ask in two questions")
	}
	// A code point has at most four bytes; blanks shrink, so leave them room before refusing unread.
	if len(text) > 8*longest {
		return "", tooLong(utf8.RuneCountInString(text))
	}
	if !utf8.ValidString(text) {
		return "", fault.Field(field, strings.ToValidUTF8(text, "\uFFFD"), "is not valid UTF-8", "send the text as UTF-8")
	}
	text = strings.ReplaceAll(strings.ReplaceAll(text, "\r\n", "\n"), "\r", "\n")
	text = norm.NFC.String(strings.Map(seen, text)) // composed last: what was taken out may have kept letter and accent apart
	var b strings.Builder
	blank, lines, marks := false, 0, 0
	for i, r := range text {
		switch {
		case r == '\n' || r == '\u2028' || r == '\u2029':
			lines, blank, marks = lines+1, false, 0
			continue
		case r == '\t' || unicode.Is(unicode.Zs, r):
			blank, marks = true, 0
			continue
		case unicode.Is(unicode.Cc, r):
			return "", fault.Field(field, strings.Map(visible, text), fmt.Sprintf("has the control character U+%04X at byte %d", r, i), "take it out; only tabs and line ends are allowed")
		case unicode.Is(unicode.M, r):
			if marks++; marks > longestMarks {
				continue
			}
		default:
			marks = 0
		}
		if b.Len() > 0 {
			switch {
			case lines > 1:
				b.WriteString("\n\n")
			case lines == 1:
				b.WriteByte('\n')
			case blank:
				b.WriteByte(' ')
			}
		}
		blank, lines = false, 0
		b.WriteRune(r)
	}
	clean := b.String()
	if strings.Trim(clean, "\u200c\u200d\ufe0f\u200e\u200f\u061c") == "" {
		return "", fault.Field(field, "", "is empty", "write at least one character that can be seen")
	}
	if n := utf8.RuneCountInString(clean); n > longest {
		return "", tooLong(n)
	}
	return clean, nil
}

// invisible reports the characters that Clean takes out: they show nothing, or
// turn the text around them (Unicode Standard Annex 9, explicit directional
// formatting). Joiners (U+200C, U+200D) and the marks U+200E, U+200F and U+061C,
// which turn nothing but themselves, are part of ordinary writing and stay.
func invisible(r rune) bool {
	switch {
	case r >= '\u202a' && r <= '\u202e', r >= '\u2066' && r <= '\u2069':
		return true
	case r == '\u00ad', r == '\u200b', r == '\ufeff', r >= '\u2060' && r <= '\u2065', r >= '\u206a' && r <= '\u206f', r >= '\ufff9' && r <= '\ufffb':
		return true
	case r >= '\ufdd0' && r <= '\ufdef', r&0xfffe == 0xfffe, r >= 0xe0000 && r <= 0xe0fff:
		return true
	}
	return unicode.Is(unicode.Co, r)
}

// seen drops invisible characters.
func seen(r rune) rune {
	if invisible(r) {
		return -1
	}
	return r
}

// visible replaces control characters for printing.
func visible(r rune) rune {
	if unicode.IsControl(r) {
		return '\uFFFD'
	}
	return r
}
