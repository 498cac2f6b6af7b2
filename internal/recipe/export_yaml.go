package recipe

import (
	"strings"

	"go.yaml.in/yaml/v3"

	"stillroom/internal/measure"
)

// yamlRecipe is the export of the shape documented above; the order of fields is the order in the file.
type yamlRecipe struct {
	Key         string     `yaml:"key"`
	Title       string     `yaml:"title"`
	BasedOn     string     `yaml:"based_on,omitempty"`
	Source      string     `yaml:"source,omitempty"`
	Locator     string     `yaml:"locator,omitempty"`
	AttestedBy  string     `yaml:"attested_by,omitempty"`
	ProcessKey  string     `yaml:"process_key,omitempty"`
	Pack        string     `yaml:"pack,omitempty"`
	Headspace   string     `yaml:"headspace,omitempty"`
	SterileJars bool       `yaml:"sterile_jars,omitempty"`
	Method      string     `yaml:"method,omitempty"`
	Notes       string     `yaml:"notes,omitempty"`
	Yield       yamlYield  `yaml:"yield"`
	Ingredients []yamlLine `yaml:"ingredients"`
	Steps       []yamlStep `yaml:"steps,omitempty"`
}

type yamlYield struct {
	Text    string `yaml:"text,omitempty"`
	Jar     string `yaml:"jar"`
	JarsMin int    `yaml:"jars_min"`
	JarsMax int    `yaml:"jars_max"`
}

type yamlLine struct {
	ID          string   `yaml:"id"`
	Name        string   `yaml:"name"`
	Amount      string   `yaml:"amount"`
	PerJar      string   `yaml:"per_jar,omitempty"`
	Preparation string   `yaml:"preparation,omitempty"`
	Role        string   `yaml:"role"`
	MayVary     string   `yaml:"may_vary"`
	VaryBy      []string `yaml:"vary_by,omitempty"`
	Optional    bool     `yaml:"optional,omitempty"`
	Note        string   `yaml:"note,omitempty"`
}

type yamlStep struct {
	Action  string `yaml:"action,omitempty"`
	Text    string `yaml:"text"`
	Minutes string `yaml:"minutes,omitempty"`
}

// ExportYAML writes recipes in the program's own YAML; ImportYAML reads them back as they are.
func ExportYAML(revisions ...*Revision) ([]byte, error) {
	all := make([]yamlRecipe, len(revisions))
	for i, r := range revisions {
		all[i] = toYAML(r)
	}
	if len(all) == 1 {
		return yaml.Marshal(all[0])
	}
	return yaml.Marshal(map[string]any{"recipes": all})
}

func toYAML(r *Revision) yamlRecipe {
	y := yamlRecipe{
		Key: r.Key, Title: r.Title, BasedOn: r.BasedOn, Source: r.Source.Publication, Locator: r.Source.Locator,
		AttestedBy: r.Attested.By, ProcessKey: r.ProcessKey, Pack: string(r.Pack), SterileJars: r.SterileJars,
		Method: r.Method, Notes: r.Notes,
		Yield: yamlYield{Text: r.Yield.Text, Jar: string(r.Yield.Jar), JarsMin: r.Yield.JarsMin, JarsMax: r.Yield.JarsMax},
	}
	if r.Headspace > 0 {
		y.Headspace = strings.TrimSuffix(r.Headspace.String(), " in") + " inch"
	}
	for _, l := range r.Lines {
		y.Ingredients = append(y.Ingredients, yamlLine{
			ID: l.ID, Name: l.Ingredient.Name, Amount: exactQuantity(l.Amount), PerJar: string(l.PerJar), Preparation: l.Preparation,
			Role: string(l.Role), MayVary: string(l.Vary), VaryBy: l.VaryBy, Optional: l.Optional, Note: l.Note,
		})
	}
	for _, s := range r.Steps {
		step := yamlStep{Action: s.Action, Text: s.Text}
		if s.Timed {
			low, errLow := measure.FromFloat(s.MinutesMin)
			high, errHigh := measure.FromFloat(s.MinutesMax)
			if errLow == nil && errHigh == nil {
				step.Minutes = measure.Between(low, high).String()
			}
		}
		y.Steps = append(y.Steps, step)
	}
	return y
}

// exactQuantity is a quantity as text that reads back as the same number.
func exactQuantity(q measure.Quantity) string {
	exact := func(n measure.Number) string {
		s := n.String()
		if back, err := measure.ParseAmount(s); err == nil && back.High.Equal(n) {
			return s
		}
		return n.Exact()
	}
	s := exact(q.Amount.Low)
	if q.Amount.IsRange() {
		s += " to " + exact(q.Amount.High)
	}
	if q.Unit == measure.Each {
		return s
	}
	return s + " " + q.Unit.Name(q.Amount.High)
}
