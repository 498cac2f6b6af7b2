package kitchen

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"unicode"

	"github.com/kljensen/snowball/english"
	"golang.org/x/text/unicode/norm"

	"stillroom/internal/reference"
)

// AllergyCaution goes with every comparison of allergies.
const AllergyCaution = "Words that participants wrote are compared with the names of ingredients, no more. " +
	"No warning does not mean that an ingredient is safe: read the labels, and ask the person."

// AllergyMatch is an ingredient to warn of.
type AllergyMatch struct {
	// Said is the part of what the participant wrote that was met.
	Said       string
	Ingredient string
	// Reason says what matched.
	Reason string
	// Source is what the group of allergens is from; the zero value where a word alone matched.
	Source reference.Source
}

// CompareAllergies compares what somebody wrote about their allergies with the names of
// ingredients: by the groups of allergens that laws list, and word by word, whatever the
// group. Each part of what was said gives at most one match for an ingredient, the best
// founded.
func CompareAllergies(said string, ingredients []string) []AllergyMatch {
	var found []AllergyMatch
	for _, part := range sayings(said) {
		words := allergyWords(part)
		if words = slices.DeleteFunc(words, func(w string) bool { return hollow()[w] }); len(words) == 0 {
			continue
		}
		groups := groupsSaid(words)
		for _, name := range ingredients {
			if m, ok := compare(words, groups, allergyWords(name)); ok {
				m.Said, m.Ingredient = part, name
				found = append(found, m)
			}
		}
	}
	return found
}

// sayings splits what somebody wrote into its parts, at signs and at "and" and "or".
func sayings(said string) []string {
	var parts []string
	for _, piece := range strings.FieldsFunc(said, func(r rune) bool { return strings.ContainsRune(",;/&+.:()[]\n\r\t|", r) }) {
		var words []string
		flush := func() {
			if len(words) > 0 {
				parts = append(parts, strings.Join(words, " "))
			}
			words = nil
		}
		for _, w := range strings.Fields(piece) {
			switch strings.ToLower(w) {
			case "and", "or", "plus", "also", "but", "-", "–":
				flush()
			default:
				words = append(words, w)
			}
		}
		flush()
	}
	return parts
}

// allergyWords are the stems of a text's words (Porter2), in lower case and without accents.
func allergyWords(text string) []string {
	plain := norm.NFD.String(strings.ToLower(text))
	words := strings.FieldsFunc(plain, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !unicode.Is(unicode.Mn, r) })
	for i, w := range words {
		w = strings.Map(func(r rune) rune {
			if unicode.Is(unicode.Mn, r) {
				return -1
			}
			return r
		}, w)
		words[i] = english.Stem(w, true)
		if one, ok := sameThing[words[i]]; ok {
			words[i] = one
		}
	}
	return words
}

// sameThing brings other names of one food, by their stems, to one of them.
var sameThing = map[string]string{
	"chile": "chili", "chilli": "chili", "capsicum": "pepper", "courgett": "zucchini", "aubergin": "eggplant", "coriand": "cilantro",
	"beetroot": "beet", "garbanzo": "chickpea", "maiz": "corn", "rutabaga": "swede", "scallion": "onion", "arugula": "rocket",
}

// stems makes a set of the stems of some words.
func stems(text string) func() map[string]bool {
	return sync.OnceValue(func() map[string]bool {
		set := map[string]bool{}
		for _, w := range allergyWords(text) {
			set[w] = true
		}
		return set
	})
}

var (
	// hollow words say nothing of what somebody is allergic to.
	hollow = stems(`a i is are am be have has had the any all any kind of to from with in on for if it its my me no not non none nil na
		nothing please avoid cannot can eat eats eating touch may might could contain contains containing trace traces product products food foods
		allergy allergies allergic allergen allergens intolerance intolerant intolerances sensitive sensitivity reaction reactions react severe severely
		severest very mild mildly slight slightly strong strongly bad serious anaphylaxis anaphylactic shock epipen carry carries known possible
		possibly maybe perhaps only unknown raw cooked free`)
	// weak words tell one thing from another of its name; they match by themselves only where nothing else is said.
	weak = stems(`red green yellow white black brown golden light dark pink purple blue seed seeds powder powdered leaf leaves flake flakes
		juice oil oils dried dry fresh ground whole crushed canned bottled frozen sweet hot mild bitter sour large small medium mini baby mixed mix
		salad pickling canning prepared distilled skin peel vegetable vegetables fruit fruits spice spices herb herbs water tree type style plain
		extract syrup paste sauce piece pieces half long pint cup inch`)
	// tails make another word of an ingredient's name: cornstarch is of corn.
	tails = stems(`starch meal flour root bread milk cream oil seed nut berry fruit butter syrup paste`)
	// strangers only look like compounds of their last part.
	strangers = stems(`peppercorn peppercorns pineapple licorice liquorice eggplant acorn grapefruit`)
)

// shortestPart keeps a very short word from being looked for inside longer ones.
const shortestPart = 4

// sameWord says whether two stems are of one thing: equal, or one a compound of the other
// ("blueberri" and "berri", "cornstarch" and "corn").
func sameWord(a, b string) bool {
	if a == b {
		return true
	}
	if len(a) < len(b) {
		a, b = b, a
	}
	if len(b) < shortestPart || strangers()[a] {
		return false
	}
	return strings.HasSuffix(a, b) || (strings.HasPrefix(a, b) && tails()[a[len(b):]])
}

// phrase is a row of the table in stems.
type phrase struct {
	reference.Allergen
	stems   []string
	excepts [][]string
}

var phrases = sync.OnceValue(func() []phrase {
	var all []phrase
	for _, a := range reference.Allergens() {
		p := phrase{Allergen: a, stems: allergyWords(a.Word)}
		for _, e := range a.Except {
			p.excepts = append(p.excepts, allergyWords(e))
		}
		all = append(all, p)
	}
	return all
})

// in says whether the phrase stands in some words, outside the names that only hold its word.
func (p phrase) in(words []string) bool {
	covered := make([]bool, len(words))
	for _, e := range p.excepts {
		for i := range words {
			if begins(words[i:], e) {
				for j := range e {
					covered[i+j] = true
				}
			}
		}
	}
	for i := range words {
		if !covered[i] && begins(words[i:], p.stems) {
			return true
		}
	}
	return false
}

func begins(words, with []string) bool {
	return len(words) >= len(with) && slices.Equal(words[:len(with)], with)
}

// groupsSaid are the groups that a saying names. Naming a product that only often holds an allergen names no group.
func groupsSaid(words []string) map[string]bool {
	groups := map[string]bool{}
	for _, p := range phrases() {
		if p.Basis != reference.OftenHolds && p.in(words) {
			groups[p.Group] = true
		}
	}
	return groups
}

// compare finds the best-founded reason to warn of an ingredient.
func compare(said []string, groups map[string]bool, ingredient []string) (AllergyMatch, bool) {
	byGroup := func(basis reference.Basis) (AllergyMatch, bool) {
		for _, p := range phrases() {
			if p.Basis == basis && groups[p.Group] && p.in(ingredient) {
				return AllergyMatch{Reason: reasons[basis](p.Allergen), Source: lawOf(p.Group)}, true
			}
		}
		return AllergyMatch{}, false
	}
	if m, ok := byGroup(reference.InLaw); ok {
		return m, true
	}
	if word, ok := sharedWord(said, ingredient); ok {
		return AllergyMatch{Reason: fmt.Sprintf("its name holds a word of theirs (%s)", word)}, true
	}
	if m, ok := byGroup(reference.ByKind); ok {
		return m, true
	}
	return byGroup(reference.OftenHolds)
}

var reasons = map[reference.Basis]func(reference.Allergen) string{
	reference.InLaw: func(a reference.Allergen) string { return fmt.Sprintf("%q is listed under %s", a.Word, a.Name) },
	reference.ByKind: func(a reference.Allergen) string {
		return fmt.Sprintf("%q belongs under %s (common practice)", a.Word, a.Name)
	},
	reference.OftenHolds: func(a reference.Allergen) string {
		return fmt.Sprintf("%q often holds what is listed under %s; read its label (common practice)", a.Word, a.Name)
	},
}

// lawOf is what lists a group: the first row of the table that has it.
func lawOf(group string) reference.Source {
	for _, p := range phrases() {
		if p.Group == group {
			return p.Source
		}
	}
	return reference.Source{}
}

// sharedWord is a word that both name, by its stem.
func sharedWord(said, ingredient []string) (string, bool) {
	strong := slices.DeleteFunc(slices.Clone(said), func(w string) bool { return weak()[w] })
	if len(strong) == 0 {
		strong = said
	}
	for _, w := range strong {
		for _, name := range ingredient {
			if sameWord(w, name) && (!weak()[name] || w == name) {
				return name, true
			}
		}
	}
	return "", false
}
