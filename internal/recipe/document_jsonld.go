package recipe

import (
	"encoding/json"
	"fmt"
	"html"
	"io"
	"slices"
	"strings"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// Identifiers with which a schema.org export says what schema.org has no word for.
const (
	propertyBasedOn    = "stillroom:based_on"
	propertyProcessKey = "stillroom:process_key"
	propertyKey        = "stillroom:key"
)

// ImportJSONLD reads schema.org Recipe objects: one, a list, or those in an @graph. Ingredient strings are read as
// amount, name and preparation; one without an amount is kept with none. A formula read this way has no
// published process source and is never shelf-stable, unless it says that it was exported from a printed recipe
// of the library: then it is reviewed against that, line by line, like any other change.
// It fails, naming line and field, with nothing half read.
func ImportJSONLD(r io.Reader) ([]*Revision, error) {
	data, err := readBounded(r)
	if err != nil {
		return nil, err
	}
	root, err := parseJSON(data)
	if err != nil {
		return nil, err
	}
	d := &docReader{}
	var all []*Revision
	found := recipesIn(unescaped(root))
	if len(found) > MostLines {
		d.add(root, "file", itoa(len(found)), "holds too many recipes", "import at most "+itoa(MostLines)+" at once")
		return nil, d.faults.Err()
	}
	for i, n := range found {
		path := ""
		if len(found) > 1 {
			path = fmt.Sprintf("recipes[%d].", i)
		}
		all = append(all, d.schemaRecipe(n, path))
	}
	if len(all) == 0 {
		d.add(root, "@type", "", "holds no schema.org Recipe", `give an object whose "@type" is "Recipe"`)
	}
	if err := d.faults.Err(); err != nil {
		return nil, err
	}
	return all, nil
}

// unescaped is a node with the HTML entities in its text written out: the web puts "&frac12; cup" into JSON.
func unescaped(n node) node {
	n.text = html.UnescapeString(n.text)
	for i := range n.items {
		n.items[i] = unescaped(n.items[i])
	}
	return n
}

// recipesIn finds the Recipe objects at the top, in a list, or in an @graph.
func recipesIn(n node) []node {
	var found []node
	switch n.kind {
	case listNode:
		for _, item := range n.items {
			found = append(found, recipesIn(item)...)
		}
	case mapNode:
		if isType(n, "Recipe") {
			return []node{n}
		}
		if graph, ok := n.get("@graph"); ok {
			return recipesIn(graph)
		}
	}
	return found
}

func isType(n node, want string) bool {
	t, ok := n.get("@type")
	if !ok {
		return false
	}
	for _, v := range asList(t) {
		name := v.text[strings.LastIndexAny(v.text, "/:#")+1:]
		if v.kind == scalarNode && name == want {
			return true
		}
	}
	return false
}

// asList is the items of a list, or the value itself: schema.org lets one stand for a list of one.
func asList(n node) []node {
	switch n.kind {
	case listNode:
		return n.items
	case nullNode:
		return nil
	}
	return []node{n}
}

func (d *docReader) schemaRecipe(n node, path string) *Revision {
	r := &Revision{}
	r.Title, _, _ = d.must(n, path, "name", longestName, "name the recipe")
	r.Key = slug(r.Title)
	if ids, ok := n.get("identifier"); ok {
		for _, id := range asList(ids) {
			d.identifier(id, path, r)
		}
	}
	base := published(r.BasedOn)
	if base != nil {
		r.Pack, r.Headspace, r.SterileJars, r.ProcessKey = base.Pack, base.Headspace, base.SterileJars, base.ProcessKey
		r.Source = base.Source
	}
	d.schemaYield(n, path, r, base)
	r.Notes = d.schemaNotes(n, path, base)
	d.schemaIngredients(n, path, r, base)
	d.schemaSteps(n, path, r, base)
	return r
}

// identifier reads one of our PropertyValues; others are none of our business.
func (d *docReader) identifier(n node, path string, r *Revision) {
	if n.kind != mapNode {
		return
	}
	name, _, _ := d.text(n, path+"identifier.", "propertyID", longestName)
	value, v, ok := d.text(n, path+"identifier.", "value", longestKey)
	if !ok {
		return
	}
	switch name {
	case propertyBasedOn:
		if published(value) == nil {
			d.add(v, path+"identifier", value, "is not a recipe of the printed library", "leave it out for a recipe of your own")
			return
		}
		r.BasedOn = value
	case propertyKey:
		if slug(value) == value {
			r.Key = value
		}
	}
}

// schemaYield reads "About 6 to 8 half-pints". Schema.org lets the yield be anything; ours needs jars.
func (d *docReader) schemaYield(n node, path string, r *Revision, base *Revision) {
	const wayOut = `say how many jars one batch fills, like "6 to 8 pints"`
	y, ok := n.get("recipeYield")
	if !ok {
		y, ok = n.get("yield")
	}
	if !ok || len(asList(y)) == 0 {
		d.add(n, path+"recipeYield", "", "is missing: a recipe with no jars fills nothing", wayOut)
		return
	}
	for _, v := range asList(y) {
		if v.kind != scalarNode || len(v.text) > longestName {
			continue
		}
		if base != nil && v.text == yieldText(base.Yield) {
			r.Yield = base.Yield
			return
		}
		if yield, ok := parseYield(v.text); ok {
			r.Yield = yield
			return
		}
	}
	d.add(y, path+"recipeYield", asList(y)[0].text, "names no jars", wayOut)
}

// parseYield finds a number or a range and a jar size in a sentence.
func parseYield(s string) (Yield, bool) {
	words := strings.Fields(s)
	for i := range words {
		for _, width := range []int{3, 1} {
			if i+width >= len(words) {
				continue
			}
			n, err := measure.ParseAmount(strings.Join(words[i:i+width], " "))
			if err != nil {
				continue
			}
			for _, jarWords := range []int{2, 1} {
				end := min(i+width+jarWords, len(words))
				jar, err := canning.ParseJarSize(strings.Trim(strings.Join(words[i+width:end], " "), ".,;()"))
				if err != nil {
					continue
				}
				low, okLow := n.Low.Int64()
				high, okHigh := n.High.Int64()
				if okLow && okHigh && low >= 1 && high <= 1000 {
					return Yield{Text: s, Jar: jar, JarsMin: int(low), JarsMax: int(high)}, true
				}
			}
		}
	}
	return Yield{}, false
}

func (d *docReader) schemaNotes(n node, path string, base *Revision) string {
	var parts []string
	if s, _, ok := d.text(n, path, "description", longestText); ok {
		if base != nil && s == base.Notes {
			return s
		}
		parts = append(parts, s)
	}
	if s, _, ok := urlOf(n); ok && base == nil {
		parts = append(parts, "Imported from "+fault.Shorten(s)+".")
	}
	return strings.Join(parts, "\n")
}

func urlOf(n node) (string, node, bool) {
	u, ok := n.get("url")
	if !ok || u.kind != scalarNode || checkText("url", u.text, longestName) != nil {
		return "", n, false
	}
	return u.text, u, u.text != ""
}

func (d *docReader) schemaIngredients(n node, path string, r *Revision, base *Revision) {
	field := "recipeIngredient"
	list, ok := n.get(field)
	if !ok {
		field = "ingredients"
		list, ok = n.get(field)
	}
	if !ok || len(asList(list)) == 0 {
		d.add(n, path+"recipeIngredient", "", "is missing", "give at least one ingredient")
		return
	}
	if len(asList(list)) > MostLines {
		d.add(list, path+field, itoa(len(asList(list))), "has too many entries", "give at most "+itoa(MostLines))
		return
	}
	for i, v := range asList(list) {
		at := fmt.Sprintf("%s%s[%d]", path, field, i)
		if v.kind != scalarNode || strings.TrimSpace(v.text) == "" {
			d.add(v, at, "", "is "+v.kindName()+" where an ingredient belongs", `give text like "2 cups onions, chopped"`)
			continue
		}
		if err := checkText(at, v.text, longestName); err != nil {
			d.addErr(v, at, err)
			continue
		}
		if l, ok := printedLine(base, r, v.text); ok {
			r.Lines = append(r.Lines, l)
			continue
		}
		l, err := parseLine(v.text)
		if err != nil {
			d.addErr(v, at, err)
			continue
		}
		r.Lines = append(r.Lines, l)
	}
	settle(r)
}

// printedLine finds the printed line that an exported text stands for, once.
func printedLine(base, r *Revision, text string) (Line, bool) {
	if base == nil {
		return Line{}, false
	}
	for _, b := range base.Lines {
		if b.String() == text && findLine(r, b.ID) == nil {
			b.VaryBy = slices.Clone(b.VaryBy)
			return b, true
		}
	}
	return Line{}, false
}

// parseLine reads "1 1/2 cups onions, thinly sliced (optional)". An ingredient of no amount ("salt to taste")
// keeps an amount of 0 and says so in its note.
func parseLine(text string) (Line, error) {
	rest := strings.Join(strings.Fields(text), " ")
	var l Line
	if cut, ok := strings.CutSuffix(rest, "(optional)"); ok {
		rest, l.Optional = strings.TrimSpace(cut), true
	}
	words := strings.Fields(rest)
	const mostAmountWords = 6
	l.Amount.Unit = measure.Each
	l.Note = "no amount stated"
	for i := min(mostAmountWords, len(words)-1); i >= 1; i-- {
		q, err := measure.ParseQuantity(strings.Join(words[:i], " "))
		if err != nil {
			continue
		}
		if q.Amount.High.Sign() == 0 {
			break
		}
		if d := q.Unit.Dimension(); d != measure.Mass && d != measure.Volume && d != measure.Count {
			return Line{}, fault.Field("amount", strings.Join(words[:i], " "), "is "+d.String()+", which cannot measure an ingredient", "use cups, spoons, grams, pounds or pieces")
		}
		l.Amount, l.Note = q, ""
		words = words[i:]
		break
	}
	if len(words) > 1 && strings.EqualFold(words[0], "of") {
		words = words[1:]
	}
	name := strings.Join(words, " ")
	if strings.HasPrefix(name, "-") && l.Note != "" {
		return Line{}, fault.Field("amount", name, "is negative or no amount", "give it like 2 cups")
	}
	name, l.Preparation = SplitName(name)
	if _, listed := FindIngredient(name); !listed {
		name, l.Preparation, _ = strings.Cut(name, ",")
	}
	l.Ingredient, _ = FindIngredient(strings.TrimSpace(name))
	l.Preparation = strings.TrimSpace(l.Preparation)
	if l.Ingredient.Name == "" {
		return Line{}, fault.Field("name", text, "names no ingredient", `give text like "2 cups onions, chopped"`)
	}
	if why := unitMisfit(l.Ingredient, l.Amount.Unit); why != "" && l.Note == "" {
		return Line{}, fault.Field("amount", l.Amount.String(), why, "use cups, spoons, grams, pounds or pieces")
	}
	l.Role = l.Ingredient.Family.defaultRole()
	return l, nil
}

func (d *docReader) schemaSteps(n node, path string, r *Revision, base *Revision) {
	list, ok := n.get("recipeInstructions")
	if !ok {
		if base != nil {
			r.Steps = slices.Clone(base.Steps)
		}
		return
	}
	d.collectSteps(list, path+"recipeInstructions", r, base)
	if len(r.Steps) > MostLines {
		d.add(list, path+"recipeInstructions", itoa(len(r.Steps)), "has too many steps", "give at most "+itoa(MostLines))
	}
}

func (d *docReader) collectSteps(list node, path string, r *Revision, base *Revision) {
	for i, v := range asList(list) {
		if len(r.Steps) > MostLines {
			return
		}
		at := fmt.Sprintf("%s[%d]", path, i)
		switch v.kind {
		case scalarNode:
			for _, line := range strings.Split(v.text, "\n") {
				d.addStep(v, at, line, r, base)
			}
		case mapNode:
			if items, ok := v.get("itemListElement"); ok {
				d.collectSteps(items, at, r, base)
				continue
			}
			s, _, ok := d.text(v, at+".", "text", longestText)
			if !ok {
				s, _, _ = d.text(v, at+".", "name", longestText)
			}
			d.addStep(v, at, s, r, base)
		case listNode:
			d.collectSteps(v, at, r, base)
		}
	}
}

func (d *docReader) addStep(n node, at, text string, r, base *Revision) {
	text = strings.TrimSpace(text)
	if text == "" || len(r.Steps) > MostLines {
		return
	}
	if err := checkText(at, text, longestText); err != nil {
		d.addErr(n, at, err)
		return
	}
	step := Step{Text: text, Hands: 1}
	if base != nil {
		for _, b := range base.Steps {
			if b.Text == text {
				step = b
			}
		}
	}
	step.Order = len(r.Steps) + 1
	r.Steps = append(r.Steps, step)
}

type schemaStep struct {
	Type string `json:"@type"`
	Text string `json:"text"`
}

type schemaProperty struct {
	Type  string `json:"@type"`
	ID    string `json:"propertyID"`
	Value string `json:"value"`
}

type schemaRecipe struct {
	Context      string           `json:"@context"`
	Type         string           `json:"@type"`
	Name         string           `json:"name"`
	Description  string           `json:"description,omitempty"`
	Identifier   []schemaProperty `json:"identifier,omitempty"`
	Citation     string           `json:"citation,omitempty"`
	Yield        string           `json:"recipeYield"`
	Ingredients  []string         `json:"recipeIngredient"`
	Instructions []schemaStep     `json:"recipeInstructions,omitempty"`
}

// ExportJSONLD writes a recipe as a schema.org Recipe. Schema.org has no word for a process, a pack or a headspace;
// the identifiers say which printed recipe and product they come from, and the citation where they are printed.
func ExportJSONLD(r *Revision) ([]byte, error) {
	s := schemaRecipe{
		Context: "https://schema.org", Type: "Recipe", Name: r.Title, Description: r.Notes, Yield: yieldText(r.Yield),
	}
	property := func(id, value string) {
		if value != "" {
			s.Identifier = append(s.Identifier, schemaProperty{Type: "PropertyValue", ID: id, Value: value})
		}
	}
	property(propertyKey, r.Key)
	property(propertyBasedOn, r.BasedOn)
	property(propertyProcessKey, r.ProcessKey)
	if r.Source.Publication != "" {
		s.Citation = r.Source.String()
	}
	for _, l := range r.Lines {
		s.Ingredients = append(s.Ingredients, l.String())
	}
	for _, st := range r.Steps {
		s.Instructions = append(s.Instructions, schemaStep{Type: "HowToStep", Text: st.Text})
	}
	return json.MarshalIndent(s, "", "  ")
}
