package kitchen

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestTracesAreScrubbedAndNothingElse(t *testing.T) {
	t.Parallel()
	ana := Traces{"Ána Moreno", "ana.m@example.org", "+1 555 010 7788", " "}
	for text, want := range map[string]string{
		"I am ÁNA MORENO, write to Ana.M@example.org or +1 555 010 7788.": "I am erased, write to erased or erased.",
		"Ána Morenoa is somebody else":                                    "Ána Morenoa is somebody else",
		"Ána asks":                                                        "Ána asks",
		"Ána\n Moreno's jars":                                             "erased's jars",
		"":                                                                "",
	} {
		require.Equal(t, want, ana.Scrub(text))
	}
	require.Equal(t, "xb erased", Traces{"b b"}.Scrub("xb b b"), "what is no word hides no word that overlaps it")
	require.Equal(t, "any words", Traces(nil).Scrub("any words"))
}

func TestScrubbingTwiceChangesNothingMore(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.StringMatching(`[A-Za-zé]{1,6} [A-Za-zé]{1,6}`).Draw(t, "name")
		text := rapid.StringN(0, 30, 90).Draw(t, "before") + " " + name + " " + rapid.StringN(0, 30, 90).Draw(t, "after")
		once := Traces{name}.Scrub(text)
		require.Equal(t, once, Traces{name}.Scrub(once))
		require.NotContains(t, once, " "+name+" ")
		require.Contains(t, strings.Fields(once), ErasedName)
	})
}
