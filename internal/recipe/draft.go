package recipe

import (
	"strconv"

	"stillroom/internal/measure"
)

// Draft is a formula as a cook writes it, before it is read. Its fields are those of the YAML shape, and so
// are the field names in what [Draft.Revision] finds wrong.
type Draft struct {
	Key, Title, BasedOn, Source, Locator, AttestedBy, ProcessKey, Pack, Headspace, Method, Notes string
	SterileJars                                                                                  bool
	YieldText, Jar                                                                               string
	JarsMin, JarsMax                                                                             int
	Lines                                                                                        []DraftLine
	Steps                                                                                        []DraftStep
}

// DraftLine is one ingredient line of a draft.
type DraftLine struct {
	ID, Name, Amount, PerJar, Preparation, Role, Note string
	Optional                                          bool
}

// DraftStep is one step of a draft; Minutes is empty, "5" or "5 to 10".
type DraftStep struct{ Action, Text, Minutes string }

// Revision reads a draft as an import reads a file: the same checks, the same trust.
func (d Draft) Revision() (*Revision, error) {
	r := &docReader{}
	out := r.recipe(d.node(), "")
	if err := r.faults.Err(); err != nil {
		return nil, err
	}
	return out, nil
}

func (d Draft) node() node {
	n := mapping("key", d.Key, "title", d.Title, "based_on", d.BasedOn, "source", d.Source, "locator", d.Locator,
		"attested_by", d.AttestedBy, "process_key", d.ProcessKey, "pack", d.Pack, "headspace", d.Headspace, "method", d.Method, "notes", d.Notes)
	if d.SterileJars {
		n.set("sterile_jars", scalar("true"))
	}
	yield := mapping("text", d.YieldText, "jar", d.Jar, "jars_min", strconv.Itoa(d.JarsMin))
	if d.JarsMax != 0 {
		yield.set("jars_max", scalar(strconv.Itoa(d.JarsMax)))
	}
	n.set("yield", yield)
	lines := node{kind: listNode}
	for _, l := range d.Lines {
		line := mapping("id", l.ID, "name", l.Name, "amount", l.Amount, "per_jar", l.PerJar, "preparation", l.Preparation, "role", l.Role, "note", l.Note)
		line.set("optional", scalar(strconv.FormatBool(l.Optional)))
		lines.items = append(lines.items, line)
	}
	n.set("ingredients", lines)
	steps := node{kind: listNode}
	for _, s := range d.Steps {
		steps.items = append(steps.items, mapping("action", s.Action, "text", s.Text, "minutes", s.Minutes))
	}
	n.set("steps", steps)
	return n
}

func scalar(s string) node { return node{kind: scalarNode, text: s} }

// mapping makes a map of pairs, without those whose text is empty.
func mapping(pairs ...string) node {
	n := node{kind: mapNode}
	for i := 0; i < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			n.set(pairs[i], scalar(pairs[i+1]))
		}
	}
	return n
}

func (n *node) set(key string, value node) {
	n.keys = append(n.keys, key)
	n.items = append(n.items, value)
}

// AmountText is a quantity as a cook writes it; measure.ParseQuantity reads the same number back.
func AmountText(q measure.Quantity) string { return exactQuantity(q) }
