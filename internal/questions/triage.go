package questions

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"fmt"
	"sort"
	"strings"

	"github.com/goccy/go-yaml"
)

//go:embed triage.yaml
var triageYAML []byte

//go:embed facts.csv
var factsCSV []byte

// Fact is one published row that a rule passes on.
type Fact struct {
	Key       string
	Statement string
	Source    string
	Locator   string
}

// Urgency is how soon a question wants a person.
type Urgency int

const (
	// Routine questions wait for the live session.
	Routine Urgency = iota
	// Urgent questions are raised at once.
	Urgent
)

// String gives the word used in lists and exports.
func (u Urgency) String() string {
	if u == Urgent {
		return "urgent"
	}
	return "routine"
}

// Finding is one rule that raised a question.
type Finding struct {
	// Rule is the identifier of the rule in triage.yaml.
	Rule string
	// Title names the trouble in a few words.
	Title string
	// Matched are the words of the question that raised it, in their order.
	Matched []string
	// Reason says why it cannot wait.
	Reason string
	// Say is what to do until an instructor answers. It never says that food is safe.
	Say string
	// Hours is the published window in hours, zero when the rule has none.
	Hours int
	// Facts are the published rows behind Say, each with its source.
	Facts []Fact
}

// Triage is what the rules make of one question. It raises and informs; that
// nothing was found says nothing about any food.
type Triage struct {
	Urgency  Urgency
	Findings []Finding
}

// Notice goes with every triage shown to a participant.
const Notice = "This note only raises the question. It does not judge any jar: an instructor does, by published guidance."

// Rules is a compiled set of triage rules. It is read-only and may be shared.
type Rules struct {
	together map[string][]phrase
	groups   map[string][]phrase
	// The entries of all groups by their first word: those compared by stem, and exact ones.
	byStem, byPlain map[string][]entry
	rules           []rule
}

type entry struct {
	group  string
	phrase phrase
}

type rule struct {
	finding Finding
	// alone rules speak only where no rule before them did.
	alone    bool
	patterns []pattern
}

type pattern struct {
	groups  []string
	unless  []string
	ordered bool
	within  int
	// told asks for a sentence that tells something, not only questions.
	told bool
}

// phrase is a word or a few words in a row; exact entries are matched unstemmed.
type phrase []phraseWord

type phraseWord struct {
	text  string
	exact bool
}

// usualWithin is the span of a pattern that does not give one, in words.
const usualWithin = 12

type triageFile struct {
	Together []string            `yaml:"together"`
	Groups   map[string][]string `yaml:"groups"`
	Rules    []struct {
		ID       string        `yaml:"id"`
		Title    string        `yaml:"title"`
		Hours    int           `yaml:"hours"`
		Reason   string        `yaml:"reason"`
		Say      string        `yaml:"say"`
		Facts    []string      `yaml:"facts"`
		Alone    bool          `yaml:"alone"`
		Patterns []patternFile `yaml:"patterns"`
	} `yaml:"rules"`
}

// patternFile is a pattern as a file writes it.
type patternFile struct {
	All    []string `yaml:"all"`
	Seq    []string `yaml:"seq"`
	Within int      `yaml:"within"`
	Unless []string `yaml:"unless"`
	Told   bool     `yaml:"told"`
}

// StandardRules compiles the rules that the program ships. A failure is a
// mistake in the embedded data, which the tests of this package catch.
func StandardRules() (*Rules, error) { return CompileRules(triageYAML, factsCSV) }

// CompileRules reads rules in the form of triage.yaml and published rows in the
// form of facts.csv. It refuses a rule without a reason, advice or facts, and
// any name that is not defined, saying where.
func CompileRules(rulesYAML, facts []byte) (*Rules, error) {
	byKey, err := readFacts(facts)
	if err != nil {
		return nil, err
	}
	var file triageFile
	if err := yaml.UnmarshalWithOptions(rulesYAML, &file, yaml.Strict()); err != nil {
		return nil, fmt.Errorf("triage rules: %w", err)
	}
	r := newLexicon(file.Together, file.Groups)
	for _, in := range file.Rules {
		where := "triage rule " + in.ID
		if in.ID == "" || in.Title == "" || in.Reason == "" || in.Say == "" || len(in.Facts) == 0 || len(in.Patterns) == 0 {
			return nil, fmt.Errorf("%s: a rule needs id, title, reason, say, facts and patterns", where)
		}
		out := rule{finding: Finding{Rule: in.ID, Title: in.Title, Reason: in.Reason, Say: in.Say, Hours: in.Hours}, alone: in.Alone}
		for _, key := range in.Facts {
			f, ok := byKey[key]
			if !ok {
				return nil, fmt.Errorf("%s: there is no published row %q", where, key)
			}
			out.finding.Facts = append(out.finding.Facts, f)
		}
		if out.patterns, err = r.compile(where, in.Patterns); err != nil {
			return nil, err
		}
		r.rules = append(r.rules, out)
	}
	return r, nil
}

// newLexicon makes rules that have words but no rule yet.
func newLexicon(together []string, groups map[string][]string) *Rules {
	r := &Rules{together: map[string][]phrase{}, groups: map[string][]phrase{}, byStem: map[string][]entry{}, byPlain: map[string][]entry{}}
	for _, t := range together {
		p := readPhrase(t)
		r.together[p[0].text] = append(r.together[p[0].text], p)
	}
	for first := range r.together { // the longest phrase first: "boiling water bath" before "boiling water"
		sort.SliceStable(r.together[first], func(i, j int) bool { return len(r.together[first][i]) > len(r.together[first][j]) })
	}
	for name, entries := range groups {
		for _, e := range entries {
			p := r.groupPhrase(e)
			if len(p) == 0 {
				continue
			}
			r.groups[name] = append(r.groups[name], p)
			if p[0].exact {
				r.byPlain[p[0].text] = append(r.byPlain[p[0].text], entry{name, p})
			} else {
				r.byStem[p[0].text] = append(r.byStem[p[0].text], entry{name, p})
			}
		}
	}
	return r
}

// compile reads patterns; where says whose they are.
func (r *Rules) compile(where string, patterns []patternFile) ([]pattern, error) {
	var out []pattern
	for i, p := range patterns {
		c := pattern{groups: p.All, unless: p.Unless, within: p.Within, told: p.Told}
		if len(p.Seq) > 0 {
			c.groups, c.ordered = p.Seq, true
		}
		if len(c.groups) == 0 || (len(p.All) > 0 && len(p.Seq) > 0) {
			return nil, fmt.Errorf("%s: pattern %d needs either all or seq", where, i+1)
		}
		if c.within == 0 {
			c.within = usualWithin
		}
		for _, g := range append(append([]string{}, c.groups...), c.unless...) {
			if len(r.groups[g]) == 0 {
				return nil, fmt.Errorf("%s: pattern %d names the group %q, which has no words", where, i+1, g)
			}
		}
		out = append(out, c)
	}
	return out, nil
}

// Recall gives the finding of a rule as it stands now, with the words that it
// found when the question was asked; false when the rule is gone since.
func (r *Rules) Recall(raised Raised) (Finding, bool) {
	for _, rule := range r.rules {
		if rule.finding.Rule == raised.Rule {
			f := rule.finding
			f.Matched = raised.Matched
			return f, true
		}
	}
	return Finding{}, false
}

func readFacts(data []byte) (map[string]Fact, error) {
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("published rows: %w", err)
	}
	facts := map[string]Fact{}
	for i, row := range rows {
		if i == 0 {
			continue // header: key,value,unit,statement,source,locator
		}
		if row[4] == "" || row[5] == "" {
			return nil, fmt.Errorf("published row %q has no source", row[0])
		}
		facts[row[0]] = Fact{Key: row[0], Statement: row[3], Source: row[4], Locator: row[5]}
	}
	return facts, nil
}

// readPhrase reads an entry such as "half pint" or "=domed".
func readPhrase(entry string) phrase {
	exact := strings.HasPrefix(entry, "=")
	var p phrase
	for _, w := range readWords(entry) {
		if exact {
			p = append(p, phraseWord{text: w.plain, exact: true})
		} else {
			p = append(p, phraseWord{text: w.stem})
		}
	}
	return p
}

// groupPhrase joins what belongs together inside an entry of a group, so that
// it is compared with text in which the same was joined.
func (r *Rules) groupPhrase(entry string) phrase {
	if strings.HasPrefix(entry, "=") {
		return readPhrase(entry)
	}
	var p phrase
	for _, w := range r.join(readWords(entry)) {
		p = append(p, phraseWord{text: w.stem})
	}
	return p
}

// join turns each phrase of the together list into a single word.
func (r *Rules) join(words []word) []word {
	var out []word
	for i := 0; i < len(words); i++ {
		joined := false
		for _, p := range r.together[words[i].stem] {
			if p.at(words, i) {
				plain, stem := words[i].plain, words[i].stem
				for _, w := range words[i+1 : i+len(p)] {
					plain, stem = plain+" "+w.plain, stem+"_"+w.stem
				}
				out = append(out, word{plain: plain, stem: stem, at: words[i].at})
				i += len(p) - 1
				joined = true
				break
			}
		}
		if !joined {
			out = append(out, words[i])
		}
	}
	return out
}

// at reports whether the phrase stands at words[i].
func (p phrase) at(words []word, i int) bool {
	if len(p) == 0 || i+len(p) > len(words) {
		return false
	}
	for k, w := range p {
		have := words[i+k].stem
		if w.exact {
			have = words[i+k].plain
		}
		if have != w.text || (k > 0 && words[i+k].at-words[i+k-1].at > 3) {
			return false
		}
	}
	return true
}

// hit is where an entry of a group was found: words[first] to words[last].
type hit struct{ first, last int }

// Triage applies every rule to a question. The findings come in the order of the rules.
func (r *Rules) Triage(question string) Triage {
	words := r.join(readWords(question))
	hits := r.finder(words)
	var t Triage
	for _, rule := range r.rules {
		if rule.alone && len(t.Findings) > 0 {
			continue
		}
		for _, p := range rule.patterns {
			if match := p.find(words, hits); match != nil {
				f := rule.finding
				f.Matched = match
				t.Findings = append(t.Findings, f)
				t.Urgency = Urgent
				break
			}
		}
	}
	return t
}

// opensQuestion are the words with which a sentence that asks or supposes begins;
// leadIns may stand before them.
var (
	opensQuestion = wordSet("how what what's which when where why who whose whom can could may might must should shall do does did is are am was were will would has have had if whether any please tell")
	leadIns       = wordSet("and but or so also ok okay hi hello then well sorry thanks just")
)

func wordSet(words string) map[string]bool {
	set := map[string]bool{}
	for _, w := range strings.Fields(words) {
		set[w] = true
	}
	return set
}

// tells reports whether a sentence tells something: it begins like no question
// and is longer than a greeting.
func tells(words []word) bool {
	const least = 4
	for i := 0; i < len(words); {
		end := i + 1
		for end < len(words) && words[end].at-words[end-1].at <= sentenceGap {
			end++
		}
		first := i
		for first < end && leadIns[words[first].plain] {
			first++
		}
		if end-first >= least && !opensQuestion[words[first].plain] {
			return true
		}
		i = end
	}
	return false
}

// finder finds the words of all groups in one pass over the text.
func (r *Rules) finder(words []word) func(group string) []hit {
	found := map[string][]hit{}
	for i, w := range words {
		for _, index := range []struct {
			of   map[string][]entry
			word string
		}{{r.byStem, w.stem}, {r.byPlain, w.plain}} {
			for _, e := range index.of[index.word] {
				if e.phrase.at(words, i) {
					found[e.group] = append(found[e.group], hit{i, i + len(e.phrase) - 1})
				}
			}
		}
	}
	return func(group string) []hit { return found[group] }
}

// find gives the words of the first match, nil when there is none.
func (p pattern) find(words []word, hits func(string) []hit) []string {
	if p.told && !tells(words) {
		return nil
	}
	for _, g := range p.groups {
		if len(hits(g)) == 0 {
			return nil
		}
	}
	for _, g := range p.unless {
		if len(hits(g)) > 0 {
			return nil
		}
	}
	chosen := make([]hit, 0, len(p.groups))
	var try func(k int) bool
	try = func(k int) bool {
		if k == len(p.groups) {
			return true
		}
		candidates := hits(p.groups[k])
		if k > 0 { // only what is near enough: a text of one word again and again must not take long
			near := words[chosen[0].first].at
			candidates = candidates[sort.Search(len(candidates), func(i int) bool { return words[candidates[i].first].at > near-p.within }):]
			candidates = candidates[:sort.Search(len(candidates), func(i int) bool { return words[candidates[i].first].at >= near+p.within })]
		}
		for _, h := range candidates {
			if p.fits(words, chosen, h) {
				chosen = append(chosen, h)
				if try(k + 1) {
					return true
				}
				chosen = chosen[:k]
			}
		}
		return false
	}
	if !try(0) {
		return nil
	}
	sort.Slice(chosen, func(i, j int) bool { return chosen[i].first < chosen[j].first })
	var out []string
	for _, h := range chosen {
		for _, w := range words[h.first : h.last+1] {
			out = append(out, w.plain)
		}
	}
	return out
}

// fits reports whether h may join the hits chosen so far: no word used twice,
// in order where order is asked for, and all within the span.
func (p pattern) fits(words []word, chosen []hit, h hit) bool {
	first, last := h.first, h.last
	for _, c := range chosen {
		if h.first <= c.last && c.first <= h.last {
			return false
		}
		if p.ordered && h.first <= c.last {
			return false
		}
		first, last = min(first, c.first), max(last, c.last)
	}
	return words[last].at-words[first].at < p.within
}
