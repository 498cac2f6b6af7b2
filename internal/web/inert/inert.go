// Package inert makes text that people wrote safe to print beside other text: it stays one line, and cannot turn
// around or hide what stands next to it. Escaping for HTML is another matter, left to whoever writes HTML.
package inert

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// Text drops control characters and what steers the direction of text (marks, embeddings, overrides, isolates), turns
// line breaks, tabs and the like into single spaces, and writes U+FFFD for bytes that are no UTF-8. Letters, signs and the joiners
// that some scripts need stay as they are.
func Text(s string) string {
	if plain(s) {
		return s
	}
	var b strings.Builder
	space := false
	for _, r := range s {
		switch {
		case r == '\n' || r == '\r' || r == '\t' || r == '\v' || r == '\f' || r == '\u0085' || r == '\u2028' || r == '\u2029' || r == ' ':
			space = true
			continue
		case steers(r) || unicode.IsControl(r):
			continue
		}
		if space && b.Len() > 0 {
			b.WriteByte(' ')
		}
		space = false
		b.WriteRune(r)
	}
	return b.String()
}

// plain says whether nothing needs to be done, as for nearly every text.
func plain(s string) bool {
	for i := range len(s) {
		if s[i] < ' ' || s[i] > '~' {
			return false
		}
	}
	return !strings.Contains(s, "  ") && !strings.HasPrefix(s, " ") && !strings.HasSuffix(s, " ")
}

// steers says whether a character has no sign of its own and only bends the text around it: the marks and controls of
// the bidirectional algorithm (UAX #9), deprecated format characters, tags, and the byte order mark. U+FFFD, which stands for broken
// bytes, is a sign and stays.
func steers(r rune) bool {
	switch {
	case r == '\u061c', r == '\u200b', r == '\u200e', r == '\u200f',
		'\u202a' <= r && r <= '\u202e', '\u2060' <= r && r <= '\u206f', r == '\ufeff',
		0xE0000 <= r && r <= 0xE007F, 0xFFF9 <= r && r <= 0xFFFB:
		return true
	}
	return r != utf8.RuneError && unicode.Is(unicode.Co, r) // private use has no agreed sign
}
