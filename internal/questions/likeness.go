package questions

import (
	_ "embed"
	"fmt"
	"sort"
	"strings"

	"github.com/goccy/go-yaml"
)

//go:embed vocabulary.yaml
var vocabularyYAML []byte

// Weights of likeness. They were set on the working half of
// testdata/likeness_pairs.csv and measured on the other half.
const (
	subjectWeight = 2.0
	thingWeight   = 1.0
	aspectWeight  = 2.0
	otherWeight   = 1.2
	asksWeight    = 0.8
	// trigramShare is the part of the score that letters give, not words: it carries misspellings.
	trigramShare = 0.25
	// apart multiplies the score of two questions that each name a subject the other lacks.
	apart = 0.62
	// aside does the same for two that each name a thing, an aspect or a kind of asking the other lacks.
	aside = 0.8
	// oneSided multiplies it when only one of them names a further subject.
	oneSided = 0.88
)

// Prefixes of the names of meanings.
const (
	subject = "subject:"
	thing   = "thing:"
	aspect  = "aspect:"
	asking  = "asks:"
)

// LikenessThreshold is the score from which two questions are suggested as one.
//
// A wrong suggestion costs the instructor a glance, a missed one costs the room
// the same answer twice; but a list full of wrong ones is not read at all. So it
// stands where the harmonic mean of precision and recall on the working half of
// the labelled pairs is highest. testdata/README.md tells what was measured.
const LikenessThreshold = 0.52

// Vocabulary is the compiled word list for likeness. It is read-only and may be shared.
type Vocabulary struct {
	silent  map[string]bool
	phrases map[string][]meaning // by the first stem, longest first
	asks    []meaning
}

type meaning struct {
	words  phrase
	name   string
	weight float64
	// place is that of its list in the file, by which a topic is chosen.
	place int
}

type vocabularyFile struct {
	Silent  []string            `yaml:"silent"`
	Asks    map[string][]string `yaml:"asks"`
	Subject [][]string          `yaml:"subject"`
	Thing   [][]string          `yaml:"thing"`
	Aspect  [][]string          `yaml:"aspect"`
}

// StandardVocabulary compiles the word list that the program ships.
func StandardVocabulary() (*Vocabulary, error) { return CompileVocabulary(vocabularyYAML) }

// CompileVocabulary reads a word list in the form of vocabulary.yaml.
func CompileVocabulary(data []byte) (*Vocabulary, error) {
	var file vocabularyFile
	if err := yaml.UnmarshalWithOptions(data, &file, yaml.Strict()); err != nil {
		return nil, fmt.Errorf("vocabulary: %w", err)
	}
	v := &Vocabulary{silent: map[string]bool{}, phrases: map[string][]meaning{}}
	for _, s := range file.Silent {
		for _, w := range readWords(s) {
			v.silent[w.stem] = true
		}
	}
	place := 0
	for i, lists := range [][][]string{file.Subject, file.Thing, file.Aspect} {
		weight := []float64{subjectWeight, thingWeight, aspectWeight}[i]
		prefix := []string{subject, thing, aspect}[i]
		for _, list := range lists {
			place++
			if len(list) == 0 {
				return nil, fmt.Errorf("vocabulary: an empty list")
			}
			for _, entry := range list {
				p := readPhrase(entry)
				if len(p) == 0 {
					return nil, fmt.Errorf("vocabulary: an empty word in the list of %q", list[0])
				}
				v.phrases[p[0].text] = append(v.phrases[p[0].text], meaning{p, prefix + list[0], weight, place})
			}
		}
	}
	for first := range v.phrases {
		sortMeanings(v.phrases[first])
	}
	for kind, entries := range file.Asks {
		for _, entry := range entries {
			v.asks = append(v.asks, meaning{words: readPhrase(entry), name: asking + kind, weight: asksWeight})
		}
	}
	sortMeanings(v.asks)
	return v, nil
}

// sortMeanings puts longer phrases first, then by their words, so that reading is deterministic.
func sortMeanings(m []meaning) {
	key := func(m meaning) string {
		var parts []string
		for _, w := range m.words {
			parts = append(parts, w.text)
		}
		return strings.Join(parts, " ") + "|" + m.name
	}
	sort.SliceStable(m, func(i, j int) bool {
		if len(m[i].words) != len(m[j].words) {
			return len(m[i].words) > len(m[j].words)
		}
		return key(m[i]) < key(m[j])
	})
}

// Gist is what likeness sees of a question: its meanings with their weights,
// and its letters in threes. Make one per question and compare many times.
type Gist struct {
	meanings []weighted // sorted by name, each name once
	total    float64
	trigrams []string // sorted, each once
}

type weighted struct {
	name   string
	weight float64
}

// Gist reads a question.
func (v *Vocabulary) Gist(question string) Gist {
	words := readWords(question)
	seen := map[string]float64{}
	for i := range words {
		if m, ok := firstAt(v.asks, words, i); ok {
			seen[m.name] = m.weight
			break
		}
	}
	var letters []string
	for i := 0; i < len(words); i++ {
		if m, ok := firstAt(v.phrases[words[i].stem], words, i); ok {
			seen[m.name] = m.weight
			for _, w := range words[i : i+len(m.words)] {
				letters = append(letters, w.stem)
			}
			i += len(m.words) - 1
			continue
		}
		if v.silent[words[i].stem] {
			continue
		}
		seen[words[i].stem] = otherWeight
		letters = append(letters, words[i].stem)
	}
	g := Gist{trigrams: trigrams(letters)}
	for name, weight := range seen {
		g.meanings = append(g.meanings, weighted{name, weight})
	}
	sort.Slice(g.meanings, func(i, j int) bool { return g.meanings[i].name < g.meanings[j].name })
	for _, m := range g.meanings {
		g.total += m.weight
	}
	return g
}

// Topic is the subject that a question names, else the thing, by the name that
// vocabulary.yaml gives it; of several the one that stands first there. Empty when
// it names none.
func (v *Vocabulary) Topic(question string) string {
	words := readWords(question)
	topic, best := "", 0
	for i := 0; i < len(words); i++ {
		m, ok := firstAt(v.phrases[words[i].stem], words, i)
		if !ok {
			continue
		}
		i += len(m.words) - 1
		kind, name, _ := strings.Cut(m.name, ":")
		if kind+":" != aspect && (topic == "" || m.place < best) {
			topic, best = name, m.place
		}
	}
	return topic
}

func firstAt(candidates []meaning, words []word, i int) (meaning, bool) {
	for _, m := range candidates {
		if m.words.at(words, i) {
			return m, true
		}
	}
	return meaning{}, false
}

// trigrams gives the letters of the words in threes, with a blank at both ends
// of each word, sorted and each once.
func trigrams(words []string) []string {
	seen := map[string]bool{}
	for _, w := range words {
		runes := []rune(" " + w + " ")
		for i := 0; i+3 <= len(runes); i++ {
			seen[string(runes[i:i+3])] = true
		}
	}
	out := make([]string, 0, len(seen))
	for t := range seen {
		out = append(out, t)
	}
	sort.Strings(out)
	return out
}

// Likeness scores two questions between 0 (nothing in common) and 1. It is
// symmetric: the weighted share of common meanings (Dice), a part of it by
// letters, lowered when the questions name different subjects.
func (g Gist) Likeness(h Gist) float64 {
	if g.total == 0 || h.total == 0 {
		return 0
	}
	var common float64
	var alone [2]map[string]int // what only one of them names, by the prefix
	for k := range alone {
		alone[k] = map[string]int{}
	}
	count := func(side int, w weighted) {
		if prefix, _, ok := strings.Cut(w.name, ":"); ok {
			alone[side][prefix+":"]++
		}
	}
	i, j := 0, 0
	for i < len(g.meanings) || j < len(h.meanings) {
		switch {
		case j == len(h.meanings) || (i < len(g.meanings) && g.meanings[i].name < h.meanings[j].name):
			count(0, g.meanings[i])
			i++
		case i == len(g.meanings) || h.meanings[j].name < g.meanings[i].name:
			count(1, h.meanings[j])
			j++
		default:
			common += g.meanings[i].weight
			i, j = i+1, j+1
		}
	}
	score := (1-trigramShare)*2*common/(g.total+h.total) + trigramShare*dice(g.trigrams, h.trigrams)
	both := func(kind string) bool { return alone[0][kind] > 0 && alone[1][kind] > 0 }
	switch {
	case both(subject):
		score *= apart
	case alone[0][subject]+alone[1][subject] > 0:
		score *= oneSided
	}
	for _, kind := range []string{thing, aspect, asking} {
		if both(kind) {
			score *= aside
		}
	}
	return score
}

func dice(a, b []string) float64 {
	if len(a)+len(b) == 0 {
		return 0
	}
	common := 0
	for i, j := 0, 0; i < len(a) && j < len(b); {
		switch {
		case a[i] < b[j]:
			i++
		case b[j] < a[i]:
			j++
		default:
			common++
			i, j = i+1, j+1
		}
	}
	return 2 * float64(common) / float64(len(a)+len(b))
}
