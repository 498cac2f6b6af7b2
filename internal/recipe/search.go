package recipe

import (
	_ "embed"
	"slices"
	"strings"
	"sync"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
)

// Season is a time of year when produce is at hand.
type Season string

// The seasons of a temperate year, and YearRound for what stores or comes in jars and cans.
const (
	Spring    Season = "spring"
	Summer    Season = "summer"
	Autumn    Season = "autumn"
	Winter    Season = "winter"
	YearRound Season = "year_round"
)

var allSeasons = []Season{Spring, Summer, Autumn, Winter}

//go:embed data/seasons.csv
var seasonsCSV string

var seasons = sync.OnceValue(func() map[string][]Season {
	m := map[string][]Season{}
	for _, row := range mustRows(seasonsCSV, "item", "seasons", "basis") {
		for _, s := range strings.Split(row[1], ";") {
			m[row[0]] = append(m[row[0]], Season(s))
		}
	}
	return m
})

// SeasonBasis is the honest footnote to every season printed.
const SeasonBasis = "by the harvest of its main produce in a northern temperate garden (common practice)"

// Seasons is when a recipe is in season: when its main produce, the heaviest fresh fruit or vegetable that has a
// season, is harvested in a northern temperate garden (common practice). A recipe of nothing but what stores or
// comes in cans is in season all year.
func Seasons(r *Revision) []Season {
	var main []Season
	heaviest := -1.0
	for _, l := range r.Lines {
		when, ok := seasons()[l.Ingredient.Item]
		if !ok {
			continue
		}
		grams := 0.0
		if w := WeightOf(l, r.Yield); w.Known {
			grams = w.Grams.Float64()
		}
		if grams > heaviest {
			main, heaviest = when, grams
		}
	}
	if main == nil {
		return []Season{YearRound}
	}
	return slices.Clone(main)
}

// ParseSeason reads a season; "fall" is autumn.
func ParseSeason(s string) (Season, error) {
	season := Season(slug(s))
	if season == "fall" {
		season = Autumn
	}
	if season == YearRound || slices.Contains(allSeasons, season) {
		return season, nil
	}
	return "", fault.Field("season", s, "is not a season", "give spring, summer, autumn, winter or year_round")
}

// Filter narrows a search; empty fields do not.
type Filter struct {
	// Ingredients are names or parts of names, all of which must be in the recipe.
	Ingredients []string
	// Season, Method and Jar are as [Seasons], [Methods] and [Jars] give them. A recipe for all the year
	// matches any season.
	Season Season
	// Methods are alternatives: a recipe matches when one of them is printed for it.
	Methods []canning.Method
	Jar     canning.JarSize
	// Text must be in the title, the notes, an ingredient or a step; case does not count.
	Text string
}

// Matches says whether a revision passes the filter.
func (f Filter) Matches(r *Revision) bool {
	for _, want := range f.Ingredients {
		if !hasIngredient(r, want) {
			return false
		}
	}
	if f.Season != "" {
		when := Seasons(r)
		if !slices.Contains(when, f.Season) && !slices.Contains(when, YearRound) {
			return false
		}
	}
	if len(f.Methods) > 0 && !slices.ContainsFunc(Methods(r), func(m canning.Method) bool { return slices.Contains(f.Methods, m) }) {
		return false
	}
	if f.Jar != "" && f.Jar.Trade() != r.Yield.Jar.Trade() && !slices.Contains(Jars(r), f.Jar.Trade()) {
		return false
	}
	return f.Text == "" || hasText(r, f.Text)
}

// Search lists the printed recipes that pass the filter, in the order they ship.
func Search(f Filter) []*Revision {
	var found []*Revision
	for _, r := range printedLibrary() {
		if f.Matches(r) {
			found = append(found, r.Clone())
		}
	}
	return found
}

// hasIngredient finds an ingredient by item or by words of its name.
func hasIngredient(r *Revision, want string) bool {
	words := strings.Fields(foldName(want))
	if len(words) == 0 {
		return true
	}
	in, known := FindIngredient(want)
	for _, l := range r.Lines {
		if known && l.Ingredient.Item == in.Item {
			return true
		}
		name := foldName(l.Ingredient.Name) + " " + strings.ReplaceAll(l.Ingredient.Item, "_", " ")
		if !slices.ContainsFunc(words, func(w string) bool { return !containsWord(name, w) }) {
			return true
		}
	}
	return false
}

// containsWord finds a word, or its singular, at the beginning of a word of s: "onion" and "onions" find "onions".
func containsWord(s, word string) bool {
	stem := strings.TrimSuffix(strings.TrimSuffix(word, "es"), "s")
	if len(stem) < 3 {
		stem = word
	}
	for _, w := range strings.FieldsFunc(s, func(c rune) bool { return c == ' ' || c == ',' || c == '(' || c == ')' || c == '-' }) {
		if strings.HasPrefix(w, stem) && len(w) <= len(stem)+3 {
			return true
		}
	}
	return false
}

func hasText(r *Revision, text string) bool {
	text = foldName(text)
	in := func(s string) bool { return strings.Contains(strings.ToLower(s), text) }
	if in(r.Title) || in(r.Notes) || in(strings.ReplaceAll(r.Key, "_", " ")) {
		return true
	}
	for _, l := range r.Lines {
		if in(l.String()) || in(l.Note) {
			return true
		}
	}
	for _, s := range r.Steps {
		if in(s.Text) {
			return true
		}
	}
	return false
}

// SeasonsText is the seasons in words.
func SeasonsText(when []Season) string {
	words := make([]string, len(when))
	for i, s := range when {
		words[i] = strings.ReplaceAll(string(s), "_", " ")
	}
	return strings.Join(words, ", ")
}
