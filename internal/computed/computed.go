// Package computed answers questions that follow from a class, its recipes and
// the published tables: the process for a jar at the class's altitude, the
// headspace, why the minutes are what they are, how much of an ingredient a batch
// takes, and whether a change is allowed.
//
// It decides nothing of its own. Every answer comes from the code that plans the
// class (canning, recipe, kitchen) and carries its sources; where the tables give
// nothing, the answer says so. What it cannot tell apart it leaves to a person:
// no answer is better than one to another question.
package computed

import (
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/canning"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/questions"
	"stillroom/internal/recipe"
	"stillroom/internal/reference"
)

// Class is what answers are worked out from.
type Class struct {
	// Altitude is that of the class's site.
	Altitude measure.Altitude
	Batches  []kitchen.Batch
	Formulas map[kitchen.RevisionRef]*recipe.Revision
	// Canners are those that the class can use.
	Canners []kitchen.Canner
}

// Answer is one answer with where it comes from.
type Answer struct {
	Want questions.Want
	Text string
	// Sources are the publications behind it, each once.
	Sources []questions.Source
	// Cautions belong to it when it names a process; each has its source.
	Cautions []canning.Step
}

// most bounds how many answers one question gets; more would be a list to read, not an answer.
const most = 6

// Answers works out what a question wants of a class.
func Answers(asked questions.Wanted, class Class) []Answer {
	fillings := concerned(asked, kitchen.ProcedureOf(class.Batches, class.Formulas, class.Canners, class.Altitude).Fillings)
	changes := 0
	for _, want := range asked.Wants {
		if want == questions.WantOmit || want == questions.WantLess || want == questions.WantMore {
			changes++
		}
	}
	var out []Answer
	for _, want := range asked.Wants {
		for _, f := range fillings {
			formula := class.Formulas[f.Revision]
			if formula == nil {
				continue
			}
			switch want {
			case questions.WantProcess:
				out = append(out, processOf(f, class.Altitude))
			case questions.WantHeadspace:
				out = append(out, headspaceOf(f)...)
			case questions.WantWhy:
				out = append(out, whyOf(f, class.Altitude)...)
			case questions.WantAmount:
				out = append(out, amountsOf(asked, f, formula)...)
			case questions.WantOmit, questions.WantLess, questions.WantMore:
				if changes == 1 { // of two changes nobody here can say which is meant of what
					out = append(out, changesOf(asked, want, f, formula)...)
				}
			}
		}
	}
	return slices.CompactFunc(out, func(a, b Answer) bool { return a.Text == b.Text })[:min(most, len(out))]
}

// concerned keeps the fillings that a question names best by product, and of
// those the ones that it names by jar; where it names none, all stay.
func concerned(asked questions.Wanted, fillings []kitchen.Filling) []kitchen.Filling {
	best := func(in []kitchen.Filling, score func(kitchen.Filling) int) []kitchen.Filling {
		var out []kitchen.Filling
		most := 0
		for _, f := range in {
			most = max(most, score(f))
		}
		for _, f := range in {
			if score(f) == most {
				out = append(out, f)
			}
		}
		return out
	}
	fillings = best(fillings, func(f kitchen.Filling) int { return len(asked.Names(f.Title)) })
	return best(fillings, func(f kitchen.Filling) int {
		words := strings.FieldsFunc(f.Jar.Name(), func(r rune) bool { return r == ' ' || r == '-' })
		for _, word := range words {
			if !asked.Has(word) {
				return 0
			}
		}
		return len(words) // "half-pint" says more than "pint"
	})
}

func inJars(f kitchen.Filling) string { return fmt.Sprintf("%s in %s jars", f.Title, f.Jar.Name()) }

func processOf(f kitchen.Filling, altitude measure.Altitude) Answer {
	out := Answer{Want: questions.WantProcess}
	if len(f.Processes) == 0 {
		out.Text = fmt.Sprintf("%s: there is no process to give; refrigerate or freeze.%s", inJars(f), sentence(f.Refrigerate))
		return out
	}
	var ways []string
	for _, p := range f.Processes {
		var choices []string
		for _, c := range p.Choices {
			choices = append(choices, c.String())
			out.cite(c.Source)
		}
		ways = append(ways, fmt.Sprintf("%s by %s (printed for %s)", strings.Join(choices, " or "), p.Request.Method.Name(), canning.BandText(p.Band)))
		for _, n := range p.Notes {
			out.cite(n.Source)
		}
	}
	out.Text = fmt.Sprintf("%s at %s: %s.", inJars(f), feet(altitude), strings.Join(ways, ", or "))
	for _, item := range canning.CautionsOf(f.Processes) {
		out.Cautions = append(out.Cautions, item.Step)
	}
	return out
}

func headspaceOf(f kitchen.Filling) []Answer {
	for _, p := range f.Processes {
		for _, c := range p.Choices {
			if c.HeadspacePrinted {
				out := Answer{Want: questions.WantHeadspace, Text: fmt.Sprintf("%s: leave %s of headspace.", inJars(f), c.Headspace)}
				out.cite(c.Source)
				return []Answer{out}
			}
		}
	}
	return nil
}

// whyOf sets the minutes here beside those at sea level.
func whyOf(f kitchen.Filling, altitude measure.Altitude) []Answer {
	sea, err := measure.AltitudeFromFloat(0)
	if err != nil {
		return nil
	}
	for _, p := range f.Processes {
		low := p.Request
		low.Altitude = sea
		there, err := canning.Published().LookUp(low)
		if err != nil {
			continue
		}
		fact := reference.MustFact("altitude_adjust_from")
		out := Answer{Want: questions.WantWhy, Text: fmt.Sprintf(
			"Water boils at about %.0f °F at %s and at %.0f °F at sea level, so heat works more slowly here: %s in %s takes %s by %s where it would take %s at sea level.",
			fahrenheit(canning.BoilingPoint(altitude)), feet(altitude), fahrenheit(canning.BoilingPoint(sea)),
			f.Title, f.Jar.Name()+" jars", p.Choices[0], p.Request.Method.Name(), there.Choices[0])}
		if p.Choices[0].String() == there.Choices[0].String() {
			out.Text = fmt.Sprintf("At %s the printed process for %s is still that of sea level: %s by %s (printed for %s).",
				feet(altitude), inJars(f), p.Choices[0], p.Request.Method.Name(), canning.BandText(p.Band))
		}
		out.cite(fact.Source)
		out.cite(p.Choices[0].Source)
		for _, item := range canning.CautionsOf(f.Processes) {
			out.Cautions = append(out.Cautions, item.Step)
		}
		return []Answer{out}
	}
	return nil
}

// lines are the ingredients of a formula that a question names. Words of the
// recipe's title name the recipe first: "chile salsa" asks for no chile peppers,
// unless nothing else is named.
func lines(asked questions.Wanted, formula *recipe.Revision) []recipe.Line {
	title := asked.Names(formula.Title)
	var apart, any []recipe.Line
	for _, l := range formula.Lines {
		named := asked.Names(l.Ingredient.Name)
		if len(named) == 0 {
			continue
		}
		any = append(any, l)
		if slices.ContainsFunc(named, func(word string) bool { return !slices.Contains(title, word) }) {
			apart = append(apart, l)
		}
	}
	if len(apart) > 0 {
		return apart
	}
	return any
}

func amountsOf(asked questions.Wanted, f kitchen.Filling, formula *recipe.Revision) []Answer {
	var out []Answer
	for _, l := range lines(asked, formula) {
		per := "One batch"
		if l.PerJar != "" {
			per = "Each " + l.PerJar.Name() + " jar"
		}
		a := Answer{Want: questions.WantAmount, Text: fmt.Sprintf("%s of %s takes %s; the class makes %d of them.", per, f.Title, l, len(f.Batches))}
		if l.PerJar != "" {
			a.Text = fmt.Sprintf("%s of %s takes %s.", per, f.Title, l)
		}
		a.Sources = append(a.Sources, questions.Source{Title: formula.Source.Publication, Locator: formula.Source.Locator})
		out = append(out, a)
	}
	return out
}

// changesOf asks the review of recipes about the ingredient a question names.
// Only one named ingredient is clear; with more, a person has to read.
func changesOf(asked questions.Wanted, want questions.Want, f kitchen.Filling, formula *recipe.Revision) []Answer {
	named := lines(asked, formula)
	if len(named) != 1 {
		return nil
	}
	line := named[0]
	change := recipe.Change{Kind: recipe.Omit, Line: line.ID}
	what := "leaving out " + line.Ingredient.Name
	switch want {
	case questions.WantLess:
		change.Kind, change.Amount = recipe.Reduce, line.Amount.Times(measure.Int(1).Div(measure.Int(2))).String()
		what = "half the " + line.Ingredient.Name
	case questions.WantMore:
		change.Kind, change.Amount = recipe.Raise, line.Amount.Times(measure.Int(2)).String()
		what = "twice the " + line.Ingredient.Name
	}
	_, review, err := recipe.ReviewChanges(formula, []recipe.Change{change})
	if err != nil || len(review.Findings) == 0 {
		return nil
	}
	var out []Answer
	for _, finding := range review.Findings {
		if finding.LineID != line.ID {
			continue
		}
		a := Answer{Want: want, Text: fmt.Sprintf("%s, %s: %s; %s.%s%s", f.Title, what, finding.Verdict, finding.Consequence, sentence(finding.Because), sentence(finding.WayOut))}
		for _, c := range finding.Citations {
			a.cite(reference.Source{Publication: c.Source, Locator: c.Locator})
		}
		out = append(out, a)
	}
	return out
}

// sentence is a clause as a sentence after another one, or nothing.
func sentence(clause string) string {
	clause = strings.TrimSuffix(strings.TrimSpace(clause), ".")
	if clause == "" {
		return ""
	}
	return " " + strings.ToUpper(clause[:1]) + clause[1:] + "."
}

// cite adds a source once; the customs of the trade have none to add.
func (a *Answer) cite(s reference.Source) {
	source := questions.Source{Title: s.Publication, Locator: s.Locator}
	if s.Publication != canning.CommonPractice && s.Publication != "" && !slices.Contains(a.Sources, source) {
		a.Sources = append(a.Sources, source)
	}
}

// feet is an altitude as the tables print it, to the whole foot above.
func feet(a measure.Altitude) string { return measure.Feet(int(a.Feet().Float64() + 0.999)).String() }

func fahrenheit(c measure.Celsius) float64 { return float64(c)*9/5 + 32 }
