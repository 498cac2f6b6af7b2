package kitchen

import (
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// ErasedName stands where the name of somebody stood who was erased.
const ErasedName = "erased"

// Traces are words by which somebody who is erased can be recognised: their full name,
// address or telephone number. What they are called by halves, "Ana" for "Ana Moreno",
// is not among them: it cannot be told from other words.
type Traces []string

// Scrub puts ErasedName for the traces in a text, whatever their case and spacing, where
// they are not part of a longer word or number.
func (t Traces) Scrub(text string) string {
	for _, word := range t {
		parts := strings.Fields(word)
		if len(parts) == 0 {
			continue
		}
		for i, part := range parts {
			parts[i] = regexp.QuoteMeta(part)
		}
		text = replaceWhole(text, regexp.MustCompile(`(?i)`+strings.Join(parts, `\s+`)))
	}
	return text
}

func replaceWhole(text string, trace *regexp.Regexp) string {
	var out strings.Builder
	written := 0
	for from := 0; from < len(text); {
		at := trace.FindStringIndex(text[from:])
		if at == nil {
			break
		}
		begin, end := from+at[0], from+at[1]
		before, _ := utf8.DecodeLastRuneInString(text[:begin])
		after, _ := utf8.DecodeRuneInString(text[end:])
		if wordy(before) || wordy(after) {
			_, size := utf8.DecodeRuneInString(text[begin:])
			from = begin + size
			continue
		}
		out.WriteString(text[written:begin])
		out.WriteString(ErasedName)
		written, from = end, end
	}
	return out.String() + text[written:]
}

func wordy(r rune) bool { return r != utf8.RuneError && (unicode.IsLetter(r) || unicode.IsDigit(r)) }
