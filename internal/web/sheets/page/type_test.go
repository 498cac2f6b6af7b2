package page

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestTurned(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"Ines":           "Ines",
		"שרה":            "הרש",
		"שרה כהן":        "ןהכ הרש",
		"Bench: שרה, 12": "Bench: 12 ,הרש", // UAX #9, rule W7 and N1: the number belongs to the Hebrew before it
		"a שרה 12 def":   "a 12 הרש def",
		"שרה 12 def":     "def 12 הרש", // the first strong letter makes the line one from right to left
		"שרה abc כהן":    "ןהכ abc הרש",
		"12 שרה":         "הרש 12",
	} {
		require.Equal(t, want, turned(in))
	}
}

// The shapes are those of the Unicode code chart "Arabic Presentation Forms-B".
func TestJoin(t *testing.T) {
	t.Parallel()
	// seen before, lam between, alef after it, meem alone: alef reaches to nothing that follows.
	require.Equal(t, "\uFEB3\uFEE0\uFE8E\uFEE1", join("سلام"))
	require.Equal(t, "\uFE93", join("\u0629"), "a letter that reaches to none")
	require.Equal(t, "\uFE91\u064E\uFEE8\uFE96", join("ب\u064Eنت"), "a vowel sign does not part letters")
	require.Equal(t, "Ines", join("Ines"))
}

func TestSet(t *testing.T) {
	t.Parallel()
	require.Equal(t, "Zoë", set("Zoe\u0308"), "composed")
	require.Equal(t, "a\uFFFDb", set("a\U0001F600b"))
	require.Equal(t, "ab", set("a\u202eb"))
}
