package inert_test

import (
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/web/inert"
)

func TestText(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"Ines Ørsted-Łukasz":           "Ines Ørsted-Łukasz",
		"a\u202eb\u2066c\u2069\u200fd": "abcd",
		"two\r\nlines\tand  more ":     "two lines and more",
		"nul\x00bell\x07":              "nulbell",
		"broken \xff byte":             "broken \ufffd byte",
		"می\u200cخواهم":                "می\u200cخواهم", // Persian needs its non-joiner
		"שרה":                          "שרה",
		"tag\U000E0041s":               "tags",
	} {
		require.Equal(t, want, inert.Text(in))
	}
}

func TestTextHasNoControls(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		out := inert.Text(rapid.String().Draw(t, "text"))
		require.True(t, utf8.ValidString(out))
		require.Equal(t, out, inert.Text(out), "once is enough")
		// The controls of UAX #9 have the property Bidi_Control.
		require.Equal(t, -1, strings.IndexFunc(out, func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) }))
	})
}
