package recipe

import (
	"encoding/json"
	"errors"
	"fmt"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// storedRevision is how a revision is kept: numbers exact, ingredients by name, so that a better ingredient table
// serves old revisions too.
type storedRevision struct {
	Key         string          `json:"key"`
	Title       string          `json:"title"`
	Source      string          `json:"source,omitempty"`
	Locator     string          `json:"locator,omitempty"`
	BasedOn     string          `json:"based_on,omitempty"`
	Base        *storedRevision `json:"base,omitempty"`
	AttestedBy  string          `json:"attested_by,omitempty"`
	YieldText   string          `json:"yield_text,omitempty"`
	Jar         string          `json:"jar"`
	JarsMin     int             `json:"jars_min"`
	JarsMax     int             `json:"jars_max"`
	Pack        string          `json:"pack,omitempty"`
	HeadspaceIn float64         `json:"headspace_in,omitempty"`
	SterileJars bool            `json:"sterile_jars,omitempty"`
	ProcessKey  string          `json:"process_key,omitempty"`
	Method      string          `json:"method,omitempty"`
	Lines       []storedLine    `json:"lines"`
	Steps       []storedStep    `json:"steps,omitempty"`
	Notes       string          `json:"notes,omitempty"`
}

type storedLine struct {
	ID          string   `json:"id"`
	Name        string   `json:"name"`
	Printed     string   `json:"printed,omitempty"`
	Low         string   `json:"low"`
	High        string   `json:"high"`
	Unit        string   `json:"unit"`
	PerJar      string   `json:"per_jar,omitempty"`
	Preparation string   `json:"preparation,omitempty"`
	Role        string   `json:"role"`
	Vary        string   `json:"vary"`
	VaryBy      []string `json:"vary_by,omitempty"`
	Optional    bool     `json:"optional,omitempty"`
	Note        string   `json:"note,omitempty"`
}

type storedStep struct {
	Action string  `json:"action,omitempty"`
	Text   string  `json:"text"`
	Timed  bool    `json:"timed,omitempty"`
	Min    float64 `json:"min,omitempty"`
	Max    float64 `json:"max,omitempty"`
}

// Marshal gives the JSON a revision is kept as; Unmarshal reads it back to the same revision.
func Marshal(r *Revision) ([]byte, error) { return json.Marshal(toStored(r)) }

// Unmarshal reads what Marshal gives.
func Unmarshal(data []byte) (*Revision, error) {
	var s storedRevision
	if err := json.Unmarshal(data, &s); err != nil {
		return nil, fault.New(fault.Internal, "a stored recipe cannot be read").Because(err)
	}
	return s.revision()
}

func toStored(r *Revision) *storedRevision {
	s := &storedRevision{
		Key: r.Key, Title: r.Title, Source: r.Source.Publication, Locator: r.Source.Locator, BasedOn: r.BasedOn,
		AttestedBy: r.Attested.By, YieldText: r.Yield.Text, Jar: string(r.Yield.Jar), JarsMin: r.Yield.JarsMin, JarsMax: r.Yield.JarsMax,
		Pack: string(r.Pack), HeadspaceIn: float64(r.Headspace), SterileJars: r.SterileJars, ProcessKey: r.ProcessKey,
		Method: r.Method, Notes: r.Notes,
	}
	if r.Base != nil {
		s.Base = toStored(r.Base)
	}
	for _, l := range r.Lines {
		s.Lines = append(s.Lines, storedLine{
			ID: l.ID, Name: l.Ingredient.Name, Printed: l.Printed, Low: l.Amount.Amount.Low.Exact(), High: l.Amount.Amount.High.Exact(),
			Unit: string(l.Amount.Unit), PerJar: string(l.PerJar), Preparation: l.Preparation, Role: string(l.Role),
			Vary: string(l.Vary), VaryBy: l.VaryBy, Optional: l.Optional, Note: l.Note,
		})
	}
	for _, st := range r.Steps {
		s.Steps = append(s.Steps, storedStep{Action: st.Action, Text: st.Text, Timed: st.Timed, Min: st.MinutesMin, Max: st.MinutesMax})
	}
	return s
}

func (s *storedRevision) revision() (*Revision, error) {
	r := &Revision{
		Key: s.Key, Title: s.Title, Source: Source{Publication: s.Source, Locator: s.Locator}, BasedOn: s.BasedOn,
		Attested: Attestation{By: s.AttestedBy},
		Yield:    Yield{Text: s.YieldText, Jar: canning.JarSize(s.Jar), JarsMin: s.JarsMin, JarsMax: s.JarsMax},
		Pack:     reference.Pack(s.Pack), Headspace: measure.Inches(s.HeadspaceIn), SterileJars: s.SterileJars,
		ProcessKey: s.ProcessKey, Method: s.Method, Notes: s.Notes,
	}
	if s.Base != nil {
		base, err := s.Base.revision()
		if err != nil {
			return nil, err
		}
		r.Base = base
	}
	for _, l := range s.Lines {
		low, errLow := measure.ParseExact(l.Low)
		high, errHigh := measure.ParseExact(l.High)
		if errLow != nil || errHigh != nil {
			return nil, fault.New(fault.Internal, "a stored recipe cannot be read").Because(fmt.Errorf("line %s: %w", l.ID, errors.Join(errLow, errHigh)))
		}
		in, _ := FindIngredient(l.Name)
		r.Lines = append(r.Lines, Line{
			ID: l.ID, Ingredient: in, Printed: l.Printed,
			Amount: measure.Quantity{Amount: measure.Amount{Low: low, High: high}, Unit: measure.Unit(l.Unit)},
			PerJar: canning.JarSize(l.PerJar), Preparation: l.Preparation, Role: Role(l.Role), Vary: Variation(l.Vary),
			VaryBy: l.VaryBy, Optional: l.Optional, Note: l.Note,
		})
	}
	for i, st := range s.Steps {
		r.Steps = append(r.Steps, withDefaults(Step{Order: i + 1, Action: st.Action, Text: st.Text, Timed: st.Timed, MinutesMin: st.Min, MinutesMax: st.Max}))
	}
	return r, nil
}
