package questions

import (
	_ "embed"
	"fmt"
	"slices"

	"github.com/goccy/go-yaml"
	"github.com/kljensen/snowball/english"
)

//go:embed wants.yaml
var wantsYAML []byte

// Want is a kind of answer that can be worked out.
type Want string

// The kinds of answer that can be worked out.
const (
	// WantProcess asks for minutes, and for pressure where it applies.
	WantProcess Want = "process"
	// WantHeadspace asks how full a jar is filled.
	WantHeadspace Want = "headspace"
	// WantWhy asks why the minutes are what they are.
	WantWhy Want = "why"
	// WantAmount asks how much of an ingredient a batch takes.
	WantAmount Want = "amount"
	// WantOmit, WantLess and WantMore ask whether an ingredient may be left out, reduced or raised.
	WantOmit Want = "omit"
	WantLess Want = "less"
	WantMore Want = "more"
)

// Wants lists every kind in the order in which answers are given.
var Wants = []Want{WantProcess, WantHeadspace, WantWhy, WantAmount, WantOmit, WantLess, WantMore}

// WantList is the compiled wants.yaml. It is read-only and may be shared.
type WantList struct {
	lexicon  *Rules
	patterns map[Want][]pattern
}

// StandardWants compiles the list that the program ships.
func StandardWants() (*WantList, error) { return CompileWants(wantsYAML) }

// CompileWants reads a list in the form of wants.yaml.
func CompileWants(data []byte) (*WantList, error) {
	var file struct {
		Together []string                 `yaml:"together"`
		Groups   map[string][]string      `yaml:"groups"`
		Wants    map[string][]patternFile `yaml:"wants"`
	}
	if err := yaml.UnmarshalWithOptions(data, &file, yaml.Strict()); err != nil {
		return nil, fmt.Errorf("wants: %w", err)
	}
	list := &WantList{lexicon: newLexicon(file.Together, file.Groups), patterns: map[Want][]pattern{}}
	for name, patterns := range file.Wants {
		want := Want(name)
		if !slices.Contains(Wants, want) {
			return nil, fmt.Errorf("wants: there is no kind of answer %q", name)
		}
		var err error
		if list.patterns[want], err = list.lexicon.compile("want "+name, patterns); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// Wanted is what a question wants, with its words for looking up what it names.
type Wanted struct {
	Wants []Want
	stems map[string]bool
}

// Read finds what a question wants.
func (l *WantList) Read(question string) Wanted {
	words := readWords(question)
	asked := Wanted{stems: map[string]bool{}}
	for _, w := range words {
		asked.stems[w.stem] = true
	}
	joined := l.lexicon.join(words)
	hits := l.lexicon.finder(joined)
	for _, want := range Wants {
		for _, p := range l.patterns[want] {
			if p.find(joined, hits) != nil {
				asked.Wants = append(asked.Wants, want)
				break
			}
		}
	}
	return asked
}

// commonNames are words of names that name nothing by themselves.
var commonNames = map[string]bool{}

func init() {
	for _, w := range []string{
		"fresh", "dried", "ground", "whole", "chopped", "diced", "sliced", "canned", "canning", "large", "small", "medium", "hot", "sweet", "red", "green",
		"white", "yellow", "black", "brown", "percent", "recipe", "and", "or", "of", "the", "with", "in", "for", "style", "basic", "easy", "juice", "powder", "seed",
		"a", "raw", "pack", "water", "bottled", "pint", "quart", "half",
	} {
		commonNames[english.Stem(w, true)] = true
	}
}

// Names gives the words of a name that the question has and that are not common
// to many names, as stems, each once; none when it does not name it.
func (a Wanted) Names(name string) []string {
	var out []string
	for _, w := range readWords(name) {
		if !commonNames[w.stem] && a.stems[w.stem] && !slices.Contains(out, w.stem) {
			out = append(out, w.stem)
		}
	}
	return out
}

// Has reports whether the question has a word, whatever its ending.
func (a Wanted) Has(word string) bool { return a.stems[english.Stem(word, true)] }
