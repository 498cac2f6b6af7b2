package questions

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func vocabulary(t testing.TB) *Vocabulary {
	t.Helper()
	v, err := StandardVocabulary()
	require.NoError(t, err)
	return v
}

type pairCount struct{ same, suggested, rightly int }

func (c pairCount) precision() float64 { return float64(c.rightly) / float64(c.suggested) }
func (c pairCount) recall() float64    { return float64(c.rightly) / float64(c.same) }

func TestLikenessOnLabelledPairs(t *testing.T) {
	v := vocabulary(t)
	rows := readCSV(t, "testdata/likeness_pairs.csv")
	require.GreaterOrEqual(t, len(rows), 150)
	at := func(half string, threshold float64) (c pairCount) {
		for _, row := range rows {
			require.Equal(t, halfOf(row[2]+"\n"+row[3]), row[0], row[2])
			if row[0] != half {
				continue
			}
			like := v.Gist(row[2]).Likeness(v.Gist(row[3])) >= threshold
			if row[1] == "same" {
				c.same++
			}
			if like {
				c.suggested++
			}
			if like && row[1] == "same" {
				c.rightly++
			}
		}
		return c
	}
	for _, row := range rows {
		score := v.Gist(row[2]).Likeness(v.Gist(row[3]))
		// Only the working half may be looked at line by line.
		if row[0] == "working" && (score >= LikenessThreshold) != (row[1] == "same") && testing.Verbose() {
			t.Logf("working half, %s: %.2f %q %q", row[1], score, row[2], row[3])
		}
	}
	for _, threshold := range []float64{0.4, 0.45, 0.5, 0.52, 0.54, 0.56, 0.58, 0.6, 0.65, 0.7} {
		c := at("working", threshold)
		t.Logf("working half at %.2f: precision %.3f, recall %.3f", threshold, c.precision(), c.recall())
	}
	c := at("kept", LikenessThreshold)
	t.Logf("kept half at the threshold %.2f: precision %.3f, recall %.3f", LikenessThreshold, c.precision(), c.recall())
	require.GreaterOrEqual(t, c.precision(), 0.75)
	require.GreaterOrEqual(t, c.recall(), 0.65)
}

func likelies(v *Vocabulary, texts ...string) []Likely {
	out := make([]Likely, len(texts))
	for i, text := range texts {
		out[i] = Likely{ID: text, Gist: v.Gist(text)}
	}
	return out
}

func TestSuggestGroupsWhateverTheOrder(t *testing.T) {
	v := vocabulary(t)
	texts := []string{
		"How much headspace for salsa?",
		"Is there parking?",
		"What headspace does the salsa need?",
		"Do I need gloves for hot peppers?",
		"headspace for the salsa, how much",
		"Should gloves be worn when cutting chiles?",
		"How much headspace for jam?",
	}
	want := map[string][]string{
		texts[0]: {texts[2], texts[4]},
		texts[3]: {texts[5]},
	}
	rapid.Check(t, func(t *rapid.T) {
		shuffled := rapid.Permutation(texts).Draw(t, "order")
		groups := SuggestGroups(likelies(v, shuffled...))
		require.Len(t, groups, 2)
		for _, g := range groups {
			var names []string
			for _, m := range g.Members {
				names = append(names, shuffled[m])
			}
			found := false
			for first, rest := range want {
				if len(names) == len(rest)+1 {
					require.ElementsMatch(t, append([]string{first}, rest...), names)
					found = true
				}
			}
			require.True(t, found)
			require.GreaterOrEqual(t, g.Likeness, LikenessThreshold)
		}
	})
}

func TestLikenessIsSymmetricAndBounded(t *testing.T) {
	v := vocabulary(t)
	var texts []string
	for _, row := range readCSV(t, "testdata/likeness_pairs.csv") {
		texts = append(texts, row[2], row[3])
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(rapid.SampledFrom(texts), rapid.String())
		a, b := v.Gist(text.Draw(t, "a")), v.Gist(text.Draw(t, "b"))
		s := a.Likeness(b)
		require.Equal(t, s, b.Likeness(a))
		require.GreaterOrEqual(t, s, 0.0)
		require.LessOrEqual(t, s, 1.0+1e-9)
		if a.total > 0 {
			require.InDelta(t, 1, a.Likeness(a), 1e-9)
		}
	})
	require.Zero(t, v.Gist("").Likeness(v.Gist("")))
	require.Zero(t, v.Gist("💥").Likeness(v.Gist("How?")))
}

func TestMostAlikeForgivesTyping(t *testing.T) {
	v := vocabulary(t)
	list := likelies(v, "How much headspace does the salsa need?", "Can lids be used twice?", "Why did my fruit float?", "How much headspace for jam?")
	got := MostAlike(v.Gist("how much headspce for salsa"), list, 0.3, 2)
	require.NotEmpty(t, got)
	require.Equal(t, 0, got[0].Index)
	require.Len(t, MostAlike(v.Gist("headspace"), list, 0.1, 1), 1)
	require.Empty(t, MostAlike(v.Gist("parking"), list, 0.3, 5))
}

func TestCompileVocabularyNamesTheMistake(t *testing.T) {
	for want, bad := range map[string]string{
		"an empty list":                     "subject: [[]]\n",
		`empty word in the list of "salsa"`: "subject: [[salsa, '!']]\n",
		"wird":                              "wird: [a]\n",
	} {
		_, err := CompileVocabulary([]byte(bad))
		require.ErrorContains(t, err, want)
	}
}

func BenchmarkSuggestGroups(b *testing.B) {
	v := vocabulary(b)
	var list []Likely
	rows := readCSV(b, "testdata/likeness_pairs.csv")
	for i := range 1000 {
		row := rows[i%len(rows)]
		text := row[2+i/len(rows)%2]
		list = append(list, Likely{ID: fmt.Sprint(i), Gist: v.Gist(text)})
	}
	for b.Loop() {
		SuggestGroups(list)
	}
}
