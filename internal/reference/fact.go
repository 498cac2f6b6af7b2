package reference

import (
	"slices"
	"strconv"
	"strings"
	"sync"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// Fact is one published rule or figure.
type Fact struct {
	Key string
	// Value is as in the table; Number, Bool and List read it.
	Value string
	// Unit names what Value counts ("minutes", "degF") or its kind ("rule", "list", "boolean").
	Unit string
	// Statement is the fact in one sentence.
	Statement string
	Source    Source
}

// Number is the value as an exact number; it fails when the fact is not a figure.
func (f Fact) Number() (measure.Number, error) {
	n, err := measure.Decimal(f.Value)
	if err != nil {
		return measure.Number{}, fault.New(fault.Internal, "the fact %s is %q, not a figure", f.Key, f.Value)
	}
	return n, nil
}

// Float64 is the value as a float64; it fails when the fact is not a figure.
func (f Fact) Float64() (float64, error) {
	n, err := f.Number()
	return n.Float64(), err
}

// Bool is the value as yes or no; it fails when the fact is not one.
func (f Fact) Bool() (bool, error) {
	b, err := strconv.ParseBool(f.Value)
	if err != nil || f.Unit != "boolean" {
		return false, fault.New(fault.Internal, "the fact %s is %q, not true or false", f.Key, f.Value)
	}
	return b, nil
}

// Figure is the value of a figure with its unit, in both systems of measure where a kitchen uses both: "180 °F (82 °C)",
// "1-1/2 inches (3.8 cm)", "24 hours". Anything but a figure is its value in words: "restart full time".
func (f Fact) Figure() string {
	n, err := f.Number()
	if err != nil {
		return strings.NewReplacer(";", ", ", "_", " ").Replace(f.Value)
	}
	switch f.Unit {
	case "degF":
		return n.String() + " °F (" + n.Sub(measure.Int(32)).Mul(measure.Ratio(5, 9)).Decimal(0) + " °C)"
	case "inch":
		return n.String() + " " + measure.Inch.Name(n) + " (" + n.Mul(measure.MustDecimal("2.54")).Decimal(1) + " cm)"
	case "pH":
		return "pH " + n.Decimal(2)
	case "percent":
		return n.String() + " percent"
	}
	// Tables name units in the plural or, a year or a month, in the singular.
	unit := f.Unit
	switch one := n.Cmp(measure.Int(1)) <= 0; {
	case one && unit == "feet":
		unit = "foot"
	case one && !strings.Contains(unit, " "):
		unit = strings.TrimSuffix(unit, "s")
	case !one && (unit == "year" || unit == "month"):
		unit += "s"
	}
	return n.String() + " " + unit
}

// Sentence is the statement, followed by the figure where there is one: statements of figures say "this far" and "this
// long" and are no use without it.
func (f Fact) Sentence() string {
	if _, err := f.Number(); err != nil {
		return f.Statement
	}
	return strings.TrimSuffix(f.Statement, ".") + ": " + f.Figure() + "."
}

// List is the value split at semicolons.
func (f Fact) List() []string { return strings.Split(f.Value, ";") }

func readFacts(name string) []Fact {
	return readTable(name, func(r record) Fact {
		return Fact{Key: r.text("key"), Value: r.text("value"), Unit: r.text("unit"), Statement: r.text("statement"), Source: r.source()}
	})
}

var procedureFacts = sync.OnceValue(func() []Fact { return readFacts("procedure_facts.csv") })

var thermalFacts = sync.OnceValue(func() []Fact { return readFacts("thermal_facts.csv") })

var factsByKey = sync.OnceValue(func() map[string]Fact {
	facts := map[string]Fact{}
	for _, f := range slices.Concat(procedureFacts(), thermalFacts()) {
		facts[f.Key] = f
	}
	return facts
})

// ProcedureFacts are the facts about equipment, method, acidity, changes and storage.
func ProcedureFacts() []Fact { return slices.Clone(procedureFacts()) }

// ThermalFacts are the figures for boiling points and come-up.
func ThermalFacts() []Fact { return slices.Clone(thermalFacts()) }

// FactOf is the procedure or thermal fact of a key; NotFound when there is none.
func FactOf(key string) (Fact, error) {
	f, ok := factsByKey()[key]
	if !ok {
		return Fact{}, fault.Missing("published fact", key)
	}
	return f, nil
}

// MustFact is FactOf for keys written in code; it panics on an unknown one.
func MustFact(key string) Fact {
	f, err := FactOf(key)
	if err != nil {
		panic("reference: " + err.Error())
	}
	return f
}

// figures holds the facts that are plain figures.
var figures = sync.OnceValue(func() map[string]float64 {
	m := map[string]float64{}
	for key, f := range factsByKey() {
		if n, err := f.Float64(); err == nil {
			m[key] = n
		}
	}
	return m
})

// MustFigure is the figure of a fact whose key is written in code; it panics when there is none.
func MustFigure(key string) float64 {
	n, ok := figures()[key]
	if !ok {
		panic("reference: " + key + " is not a published figure")
	}
	return n
}
