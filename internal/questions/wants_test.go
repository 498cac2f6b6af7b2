package questions

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReadWants(t *testing.T) {
	list, err := StandardWants()
	require.NoError(t, err)
	for text, want := range map[string][]Want{
		"How long do I process pints of salsa?":          {WantProcess},
		"what's the processing time for quarts":          {WantProcess},
		"How many pounds of pressure for green beans?":   {WantProcess, WantAmount},
		"How much headspace for the salsa?":              {WantHeadspace},
		"Why is the time longer up here?":                {WantWhy},
		"Why do we adjust for altitude?":                 {WantWhy},
		"How much vinegar goes into a batch?":            {WantAmount},
		"Can I leave out the oregano?":                   {WantOmit},
		"May I use less salt?":                           {WantLess},
		"Is it ok to double the garlic?":                 {WantMore},
		"Where do I park?":                               nil,
		"How long do the jars have to cool?":             nil,
		"How long does home canned food keep on a shelf": nil,
		"What time does the session start?":              nil,
	} {
		got := list.Read(text).Wants
		if want == nil {
			require.Empty(t, got, text)
			continue
		}
		for _, w := range want[:1] {
			require.Contains(t, got, w, text)
		}
	}
	asked := list.Read("Can I leave the dried oregano out of the salsas?")
	require.Equal(t, []string{"oregano"}, asked.Names("oregano flakes, dried"))
	require.Equal(t, []string{"salsa"}, asked.Names("Chile Salsa salsa"))
	require.Empty(t, asked.Names("dried basil"), "dried names nothing by itself")
	require.True(t, asked.Has("salsa"))
	_, err = CompileWants([]byte("wants: {luck: []}"))
	require.ErrorContains(t, err, `no kind of answer "luck"`)
	_, err = CompileWants([]byte("wants: {why: [{all: [x]}]}"))
	require.ErrorContains(t, err, `names the group "x"`)
}
