package computed

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/canning"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/questions"
	"stillroom/internal/recipe"
)

// aClass makes chile salsa in pints twice, bread-and-butter pickles in quarts, and
// a salsa that was changed beyond its source, at an altitude.
func aClass(t *testing.T, altitude string) Class {
	t.Helper()
	a, err := measure.ParseAltitude(altitude)
	require.NoError(t, err)
	class := Class{
		Altitude: a, Formulas: map[kitchen.RevisionRef]*recipe.Revision{},
		Canners: []kitchen.Canner{{
			Methods: []canning.Method{canning.BoilingWater},
			Holds:   []canning.RackSpace{{Jar: canning.Pint, Jars: 9}, {Jar: canning.Quart, Jars: 7}},
		}},
	}
	add := func(id, key string, jar canning.JarSize, notForShelf string) {
		formula, err := recipe.Published(key)
		require.NoError(t, err)
		ref := kitchen.RevisionRef{Recipe: strings.ReplaceAll(key, "_", "-") + notForShelf, Number: 1}
		class.Formulas[ref] = formula
		class.Batches = append(class.Batches, kitchen.Batch{ID: id, Revision: ref, JarSize: jar, Jars: 6, NotForShelf: notForShelf})
	}
	add("a", "chile_salsa", canning.Pint, "")
	add("b", "chile_salsa", canning.Pint, "")
	add("c", "bread_and_butter_pickles", canning.Quart, "")
	add("d", "mango_salsa", canning.HalfPint, "more mango than the source permits")
	return class
}

func answers(t *testing.T, class Class, question string) []Answer {
	t.Helper()
	wants, err := questions.StandardWants()
	require.NoError(t, err)
	return Answers(wants.Read(question), class)
}

// Figures: USDA AIB 539 (rev. 2015), Guide 3, p. 3-21 (chile salsa: pints 15 min to 1,000 ft, 20 min to 6,000 ft,
// 1/2 inch headspace, 1 cup vinegar, 3 teaspoons salt) and Guide 6, p. 6-10 (bread-and-butter pickles: quarts 15 min
// at 1,001 to 6,000 ft); Guide 3, pp. 3-19 to 3-20, on changes to salsa.
func TestAnswersAreThePublishedOnes(t *testing.T) {
	t.Parallel()
	class := aClass(t, "5,430 ft")
	for question, want := range map[string]struct {
		text    []string
		locator string
	}{
		"How long do I process the chile salsa?":          {[]string{"Chile salsa", "pint", "at 5,430 ft", "20 min by boiling water", "1,001-6,000 ft"}, "Guide 3, p. 3-21"},
		"what is the processing time for pickles, quarts": {[]string{"Bread-and-butter pickles", "quart", "15 min by boiling water"}, "Guide 6, p. 6-10"},
		"How much headspace for the chile salsa?":         {[]string{"1/2 in of headspace"}, "Guide 3, p. 3-21"},
		"Why is the time for chile salsa longer up here?": {[]string{"Water boils at about 202 °F at 5,430 ft and at 212 °F at sea level", "takes 20 min by boiling water where it would take 15 min"}, "Guide 3, p. 3-21"},
		"How much vinegar goes into the chile salsa?":     {[]string{"One batch of Chile salsa", "takes 1 cup vinegar", "the class makes 2 of them"}, "Guide 3, p. 3-21"},
		"Can I leave out the salt in the chile salsa?":    {[]string{"leaving out salt: allowed"}, "Guide 3, p. 3-20"},
		"May I use less vinegar in the chile salsa?":      {[]string{"half the vinegar", "forbidden", "refrigerate or freeze only"}, "Guide 3, p. 3-19"},
		"Can I put more onions into the chile salsa?":     {[]string{"twice the onions", "forbidden"}, "Guide 3, p. 3-20"},
	} {
		got := answers(t, class, question)
		require.NotEmpty(t, got, question)
		for _, part := range want.text {
			require.Contains(t, got[0].Text, part, question)
		}
		var places []string
		for _, s := range got[0].Sources {
			require.NotEmpty(t, s.Title, question)
			places = append(places, s.Locator)
		}
		require.Contains(t, strings.Join(places, "; "), want.locator, question)
	}
}

func TestWhatHasNoProcessSaysSo(t *testing.T) {
	t.Parallel()
	got := answers(t, aClass(t, "5,430 ft"), "How long do I process the mango salsa in half pints?")
	require.Len(t, got, 1)
	require.Contains(t, got[0].Text, "there is no process to give; refrigerate or freeze. More mango than the source permits.")
	require.Empty(t, got[0].Cautions)
}

func TestCautionsTravelWithAProcess(t *testing.T) {
	t.Parallel()
	got := answers(t, aClass(t, "5,430 ft"), "How long do I process the chile salsa?")
	require.Len(t, got, 1)
	require.Equal(t, canning.AuthorityFirst, got[0].Cautions[0].Text)
	require.Len(t, answers(t, aClass(t, "5,430 ft"), "How long are jars processed?"), 3, "who names no product hears of all")
}

func TestAtSeaLevelNothingIsLonger(t *testing.T) {
	t.Parallel()
	got := answers(t, aClass(t, "400 ft"), "Why does the chile salsa need that many minutes?")
	require.Len(t, got, 1)
	require.Contains(t, got[0].Text, "is still that of sea level: 15 min")
}

func TestWhatIsNotClearIsLeftToAPerson(t *testing.T) {
	t.Parallel()
	class := aClass(t, "5,430 ft")
	for _, question := range []string{
		"Can I leave out the salt and use less vinegar?", // two ingredients
		"May I leave out the cumin?",                     // none of these recipes has it
		"Where do I park?",
		"How long do jars have to cool?",
	} {
		require.Empty(t, answers(t, class, question), question)
	}
	require.Empty(t, answers(t, Class{Altitude: class.Altitude}, "How long do I process pints?"), "a class with no batches")
}
