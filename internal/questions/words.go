package questions

import (
	"strings"
	"unicode"

	"github.com/kljensen/snowball/english"
	"golang.org/x/text/unicode/norm"
)

// word is one word of a text as the rules see it.
type word struct {
	// plain is the word in lower case without accents.
	plain string
	// stem is plain without its English ending (Porter2, by the snowball library).
	stem string
	// at is its place in the text; a sentence end counts as sentenceGap places.
	at int
}

// sentenceGap keeps words of different sentences from being read as one phrase.
const sentenceGap = 4

// contracted are the short forms in which a "not" hides, as typed without the
// apostrophe; "wont" and "cant" are far more often typed for these than for the
// rare words of the same spelling.
var contracted = map[string][]string{
	"cannot": {"can", "not"}, "cant": {"can", "not"}, "wont": {"will", "not"}, "dont": {"do", "not"},
	"doesnt": {"does", "not"}, "didnt": {"did", "not"}, "isnt": {"is", "not"}, "arent": {"are", "not"},
	"wasnt": {"was", "not"}, "werent": {"were", "not"}, "hasnt": {"has", "not"}, "havent": {"have", "not"},
	"hadnt": {"had", "not"}, "wouldnt": {"would", "not"}, "couldnt": {"could", "not"}, "shouldnt": {"should", "not"},
	"mustnt": {"must", "not"}, "neednt": {"need", "not"}, "aint": {"is", "not"},
}

// readWords splits text into words: lower case, accents dropped, "not" taken
// out of its short forms, possessive "'s" dropped, hyphens read as blanks,
// numbers and percent signs kept.
func readWords(text string) []word {
	var words []word
	at := 0
	add := func(w string) {
		if parts, ok := contracted[w]; ok {
			for _, p := range parts {
				words = append(words, word{plain: p, stem: english.Stem(p, true), at: at})
				at++
			}
			return
		}
		words = append(words, word{plain: w, stem: english.Stem(w, true), at: at})
		at++
	}
	var b strings.Builder
	flush := func() {
		if b.Len() == 0 {
			return
		}
		w := b.String()
		b.Reset()
		w = strings.TrimSuffix(strings.Trim(w, "'"), "'s")
		if w = strings.ReplaceAll(w, "'", ""); w != "" {
			add(w)
		}
	}
	runes := []rune(fold(text))
	for i, r := range runes {
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r) || r == '\'':
			b.WriteRune(r)
		case (r == '.' || r == ',') && b.Len() > 0 && i+1 < len(runes) && unicode.IsDigit(runes[i-1]) && unicode.IsDigit(runes[i+1]):
			if r == '.' {
				b.WriteRune(r) // 1.5; the comma of 5,000 is dropped
			}
		case r == '%':
			flush()
			add("percent")
		default:
			flush()
			if r == '.' || r == '?' || r == '!' || r == '\n' || r == ';' {
				at += sentenceGap
			}
		}
	}
	flush()
	return words
}

// fold gives lower case without accents and with one kind of apostrophe.
func fold(s string) string {
	var b strings.Builder
	for _, r := range norm.NFD.String(s) {
		switch {
		case unicode.Is(unicode.Mn, r):
		case r == '’' || r == '‘' || r == 'ʼ' || r == '`' || r == '´':
			b.WriteRune('\'')
		default:
			b.WriteRune(unicode.ToLower(r))
		}
	}
	return b.String()
}
