package recipe

import (
	"fmt"
	"sync"

	"go.yaml.in/yaml/v3"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// printedRecipe is a recipe of the reference data.
type printedRecipe struct {
	Key     string `yaml:"key"`
	Title   string `yaml:"title"`
	Source  string `yaml:"source"`
	Locator string `yaml:"locator"`
	Yield   struct {
		Text    string `yaml:"text"`
		Jar     string `yaml:"jar"`
		JarsMin int    `yaml:"jars_min"`
		JarsMax int    `yaml:"jars_max"`
	} `yaml:"yield"`
	Pack        string  `yaml:"pack"`
	HeadspaceIn float64 `yaml:"headspace_in"`
	SterileJars bool    `yaml:"sterile_jars"`
	ProcessKey  string  `yaml:"process_key"`
	Notes       string  `yaml:"notes"`
	Ingredients []struct {
		Name          string   `yaml:"name"`
		QuantityText  string   `yaml:"quantity_text"`
		Unit          string   `yaml:"unit"`
		Prep          string   `yaml:"prep"`
		Role          string   `yaml:"role"`
		MayVary       string   `yaml:"may_vary"`
		VaryReference []string `yaml:"vary_reference"`
		Optional      bool     `yaml:"optional"`
		Note          string   `yaml:"note"`
	} `yaml:"ingredients"`
	Steps []struct {
		Order      int      `yaml:"order"`
		Action     string   `yaml:"action"`
		Text       string   `yaml:"text"`
		MinutesMin *float64 `yaml:"minutes_min"`
		MinutesMax *float64 `yaml:"minutes_max"`
	} `yaml:"steps"`
}

// printedLibrary is parsed once; the shipped data is part of the program, so anything wrong with it panics.
var printedLibrary = sync.OnceValue(func() []*Revision {
	var file struct {
		Recipes []printedRecipe `yaml:"recipes"`
	}
	if err := yaml.Unmarshal(reference.RecipesYAML(), &file); err != nil {
		panic("recipe: shipped recipes: " + err.Error())
	}
	all := make([]*Revision, len(file.Recipes))
	for i, p := range file.Recipes {
		all[i] = p.revision()
	}
	return all
})

func (p printedRecipe) revision() *Revision {
	r := &Revision{
		Key: p.Key, Title: p.Title, Source: Source{p.Source, p.Locator}, BasedOn: p.Key,
		Yield: Yield{Text: p.Yield.Text, Jar: canning.JarSize(p.Yield.Jar), JarsMin: p.Yield.JarsMin, JarsMax: p.Yield.JarsMax},
		Pack:  reference.Pack(p.Pack), Headspace: measure.Inches(p.HeadspaceIn), SterileJars: p.SterileJars,
		ProcessKey: p.ProcessKey, Notes: p.Notes,
	}
	for _, in := range p.Ingredients {
		found, ok := FindIngredient(in.Name)
		if !ok {
			panic(fmt.Sprintf("recipe: %s: the ingredient table does not list %q", p.Key, in.Name))
		}
		l := Line{
			Ingredient: found, Printed: in.QuantityText, Preparation: in.Prep, Role: Role(in.Role),
			Vary: Variation(in.MayVary), VaryBy: in.VaryReference, Optional: in.Optional, Note: in.Note,
		}
		unit := in.Unit
		if unit == "teaspoon per half-pint jar" {
			unit, l.PerJar = "teaspoon", canning.HalfPint
		}
		amount, err := measure.ParseAmount(in.QuantityText)
		if err != nil {
			panic(fmt.Sprintf("recipe: %s, %s: %v", p.Key, in.Name, err))
		}
		u, err := measure.ParseUnit(unit)
		if err != nil {
			panic(fmt.Sprintf("recipe: %s, %s: %v", p.Key, in.Name, err))
		}
		// Berries are sold and measured by the dry pint.
		if u == measure.Pint && found.Family == FamFruit {
			u = measure.DryPint
		}
		l.Amount = measure.Quantity{Amount: amount, Unit: u}
		r.Lines = append(r.Lines, l)
	}
	assignIDs(r.Lines)
	for _, s := range p.Steps {
		step := Step{Order: s.Order, Action: s.Action, Text: s.Text}
		if s.MinutesMin != nil && s.MinutesMax != nil {
			step.Timed, step.MinutesMin, step.MinutesMax = true, *s.MinutesMin, *s.MinutesMax
		}
		r.Steps = append(r.Steps, withDefaults(step))
	}
	return r
}

// Published gives a printed recipe of the library by its key; NotFound when there is none.
func Published(key string) (*Revision, error) {
	if r := published(key); r != nil {
		return r.Clone(), nil
	}
	return nil, fault.Missing("published recipe", key)
}

// published is the shared copy, not to be written to; nil when there is none.
func published(key string) *Revision {
	for _, r := range printedLibrary() {
		if r.Key == key {
			return r
		}
	}
	return nil
}

// Library lists the printed recipes in the order they ship.
func Library() []*Revision {
	all := make([]*Revision, len(printedLibrary()))
	for i, r := range printedLibrary() {
		all[i] = r.Clone()
	}
	return all
}
