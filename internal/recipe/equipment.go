package recipe

import (
	_ "embed"
	"slices"
	"strings"
	"sync"
)

//go:embed data/actions.csv
var actionsCSV string

//go:embed data/tools.csv
var toolsCSV string

type actionDefault struct {
	burner bool
	hands  Hands
	pot    string
	basis  string
}

var actionDefaults = sync.OnceValue(func() map[string]actionDefault {
	m := map[string]actionDefault{}
	for _, row := range mustRows(actionsCSV, "action", "burner", "hands", "pot", "basis") {
		m[row[0]] = actionDefault{burner: row[1] == "yes", hands: Hands(row[2][0] - '0'), pot: row[3], basis: row[4]}
	}
	return m
})

// withDefaults fills in what the publications do not print: whether a step needs a burner and how many hands.
// An action that the table does not list keeps one person busy and no burner.
func withDefaults(s Step) Step {
	if d, ok := actionDefaults()[s.Action]; ok {
		s.Burner, s.Hands = d.burner, d.hands
		return s
	}
	s.Hands = 1
	return s
}

// Equipment is what one batch needs beside a canner, in a fixed order. The publications print neither pots nor
// burners, so the counts follow from the steps: each kind of vessel its actions call for, once, since the steps
// follow one another, and a burner for each pot that may stand hot at the same time. Tools are those the steps
// or the ingredient lines name and give no other way for. Each need says its basis.
func Equipment(r *Revision) []Need {
	var needs []Need
	add := func(n Need) {
		if !slices.ContainsFunc(needs, func(o Need) bool { return o.Item == n.Item }) {
			needs = append(needs, n)
		}
	}
	burners := 0
	for _, s := range r.Steps {
		d, ok := actionDefaults()[s.Action]
		if !ok || d.pot == "" {
			continue
		}
		before := len(needs)
		add(Need{Item: d.pot, Count: 1, Basis: d.basis})
		if d.burner && len(needs) > before {
			burners++
		}
	}
	if burners > 0 {
		needs = append(needs, Need{Item: "burner", Count: burners, Basis: "common practice: one for each pot"})
	}
	text := strings.ToLower(stepsAndPreparations(r))
	for _, row := range mustRows(toolsCSV, "words", "item", "basis") {
		if strings.Contains(text, row[0]) {
			add(Need{Item: row[1], Count: 1, Basis: row[2]})
		}
	}
	return needs
}

// Burners is how many burners one batch needs at once beside the canner's own (common practice).
func Burners(r *Revision) int {
	for _, n := range Equipment(r) {
		if n.Item == "burner" {
			return n.Count
		}
	}
	return 0
}

// Span is the working time printed in the steps, in minutes, apart from standing (soaking, refrigerating) time.
// Steps without a printed time count nothing: the sum is a lower bound.
type Span struct{ ActiveMin, ActiveMax, StandingMin, StandingMax float64 }

// StepTimes sums the printed times of the steps.
func StepTimes(r *Revision) Span {
	var s Span
	for _, step := range r.Steps {
		if !step.Timed {
			continue
		}
		if step.Hands == 0 {
			s.StandingMin += step.MinutesMin
			s.StandingMax += step.MinutesMax
		} else {
			s.ActiveMin += step.MinutesMin
			s.ActiveMax += step.MinutesMax
		}
	}
	return s
}

func stepsAndPreparations(r *Revision) string {
	var b strings.Builder
	for _, s := range r.Steps {
		b.WriteString(s.Text + "\n")
	}
	for _, l := range r.Lines {
		b.WriteString(l.Preparation + "\n")
	}
	return b.String()
}
