package kitchen

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/recipe"
	"stillroom/internal/reference"
)

// TestAllergiesMeetIngredients are cases made by hand: what was said, an ingredient, and a word of the reason, or "" for
// no warning.
func TestAllergiesMeetIngredients(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ said, ingredient, reason string }{
		{"mustard", "mustard seed", `"mustard" is listed under mustard`},
		{"Mustard!", "prepared yellow mustard", "is listed"},
		{"celery, mustard", "dry mustard", "is listed"},
		{"celery", "celery seed", "is listed"},
		{"sulfites", "golden raisins", "often holds"},
		{"sulphites", "bottled lemon juice", "often holds"},
		{"allergic to mustard", "whole mixed pickling spices", "often holds"},
		{"tree nuts (severe) and peanuts", "chopped walnuts", "is listed"},
		{"walnuts", "pecans", "is listed"},
		{"nuts", "dry roasted peanuts", "is listed"},
		{"shellfish", "canned clams", "belongs under molluscs"},
		{"lactose intolerant", "butter", "belongs under milk"},
		{"gluten", "flour", "belongs under cereals"},
		{"coeliac", "wheat flour", "is listed"},
		{"soy", "olive or salad oil", "often holds"},
		{"fish", "Worcestershire sauce", "often holds"},
		// Word by word, both ways.
		{"strawberries", "strawberry juice", "a word of theirs"},
		{"berries", "fresh blueberries", "a word of theirs"},
		{"strawberry", "mixed berries", "a word of theirs"},
		{"corn", "cornstarch", "a word of theirs"},
		{"onion", "green onions, sliced", "a word of theirs"},
		{"bell pepper", "sweet green peppers", "a word of theirs"},
		{"jalapeño", "jalapeno peppers", "a word of theirs"},
		{"chilli", "chile peppers (mild and hot mixed)", "a word of theirs"},
		{"courgette", "zucchini", "a word of theirs"},
		{"raw garlic makes me ill", "garlic cloves", "a word of theirs"},
		{"seeds", "mustard seed", "a word of theirs"},
		{"not allergic, but no cinnamon please", "cinnamon sticks", "a word of theirs"},
		// What does not meet.
		{"sesame seeds", "celery seed", ""},
		{"red wine", "red onions", ""},
		{"egg", "eggplant", ""},
		{"nuts", "nutmeg", ""},
		{"nuts", "butternut squash", ""},
		{"milk", "butter beans", ""},
		{"dairy", "cream of tartar", ""},
		{"tree nuts", "water chestnuts", ""},
		{"tree nuts", "peanuts", ""},
		{"crab", "crab apples", "a word of theirs"},
		{"corn", "black peppercorns", ""},
		{"apple", "pineapple", ""},
		{"wine", "golden raisins", ""},
		{"penicillin", "salt", ""},
		{"none", "mustard seed", ""},
		{"no known allergies", "mustard seed", ""},
		{"N/A", "mustard seed", ""},
		{"", "mustard seed", ""},
		{"no mustard", "mustard seed", "is listed"},
	} {
		found := CompareAllergies(c.said, []string{c.ingredient})
		if c.reason == "" {
			require.Empty(t, found, "%q, %q", c.said, c.ingredient)
			continue
		}
		require.NotEmpty(t, found, "%q, %q", c.said, c.ingredient)
		require.Equal(t, c.ingredient, found[0].Ingredient)
		require.Contains(t, found[0].Reason, c.reason, "%q, %q", c.said, c.ingredient)
		require.NotContains(t, strings.ToLower(found[0].Reason), "safe")
	}
}

// TestEveryWordOfTheLawIsMet: whoever says what the law prints is warned of an ingredient called so, with the law beside.
func TestEveryWordOfTheLawIsMet(t *testing.T) {
	t.Parallel()
	for _, a := range reference.Allergens() {
		if a.Basis == reference.OftenHolds {
			continue
		}
		for _, ingredient := range []string{a.Word, "chopped " + a.Word, strings.ToUpper(a.Word) + " (1 cup)"} {
			found := CompareAllergies("Allergic to "+a.Word+".", []string{ingredient})
			require.Len(t, found, 1, "%q, %q", a.Word, ingredient)
			if a.Basis == reference.InLaw {
				require.NotEmpty(t, found[0].Source.Publication, a.Word)
			}
		}
	}
}

// TestAWordSaidIsMetWherever: the name of a printed ingredient, said as an allergy, is always met by that ingredient,
// whatever else is said beside it.
func TestAWordSaidIsMetWherever(t *testing.T) {
	t.Parallel()
	var names []string
	for _, r := range recipe.Library() {
		for _, l := range r.Lines {
			names = append(names, l.Ingredient.Name)
		}
	}
	require.Greater(t, len(names), 200)
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(names).Draw(t, "ingredient")
		said := rapid.SampledFrom([]string{"", "allergic to ", "penicillin, ", "no nuts; "}).Draw(t, "before") + name +
			rapid.SampledFrom([]string{"", " (mild)", ", celery", " and sesame"}).Draw(t, "after")
		var ingredients []string
		for _, m := range CompareAllergies(said, []string{name}) {
			ingredients = append(ingredients, m.Ingredient)
		}
		require.Contains(t, ingredients, name, "%q", said)
	})
}

func TestAllergiesAreComparedWhereTheBatchIsMade(t *testing.T) {
	t.Parallel()
	relish, err := recipe.Published("pickle_relish") // USDA AIB 539 (2015), Guide 6, p. 6-28: with mustard seed
	require.NoError(t, err)
	at := RevisionRef{Recipe: "relish", Number: 1}
	guests := []Guest{
		{Participant: "ana", Name: "Ana", Allergies: "mustard", Station: "one"},
		{Participant: "bo", Name: "Bo", Allergies: "mustard", Station: "two"},
		{Participant: "cy", Name: "Cy", Allergies: "Mustard"},
		{Participant: "di", Name: "Di", Allergies: "penicillin", Station: "one"},
		{Participant: "ed", Name: "Ed", Station: "one"},
	}
	check := CheckAllergies(guests, []Batch{{ID: "b", Station: "one", Revision: at}, {ID: "lost", Station: "two", Revision: RevisionRef{Recipe: "gone"}}},
		map[RevisionRef]*recipe.Revision{at: relish})
	require.Len(t, check.Warnings, 2)
	require.Equal(t, "ana", check.Warnings[0].Guest.Participant)
	require.Equal(t, "cy", check.Warnings[1].Guest.Participant, "who is placed nowhere may come anywhere")
	require.Equal(t, "mustard seed", check.Warnings[0].Ingredient)
	require.Equal(t, "Annex II, point 10", check.Warnings[0].Source.Locator)
	var unmatched []string
	for _, g := range check.Unmatched {
		unmatched = append(unmatched, g.Participant)
	}
	require.Equal(t, []string{"bo", "di"}, unmatched)
	require.Contains(t, AllergyCaution, "does not mean that an ingredient is safe")
}
