package recipe

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// The YAML shape of a recipe, for import and export. A file holds one recipe, or a list of them under "recipes".
// Fields marked * must be given.
//
//	key: green_salsa                  # names the recipe; made from the title when absent
//	title: Green salsa *
//	based_on: tomatillo_green_salsa   # the printed recipe it was changed from; its review is against that
//	source: USDA AIB 539 (rev. 2015)  # where the formula was published, with
//	locator: Guide 3, p. 3-5          # the place in it
//	attested_by: R. Baker             # who says that the formula is as printed there
//	process_key: tomatillo_green_salsa  # the product in the process tables
//	pack: hot                         # hot or raw
//	headspace: 1/2 inch
//	sterile_jars: false
//	method: low-temperature pasteurisation  # only when not processed as the tables print
//	notes: …
//	yield: *
//	  text: About 5 pints             # as printed
//	  jar: pint *
//	  jars_min: 5 *
//	  jars_max: 5                     # jars_min when absent
//	ingredients: *
//	- name: tomatillos *
//	  amount: 5 cups *
//	  id: tomatillos                  # names the line through revisions; made from the name when absent
//	  per_jar: half_pint              # when the amount is for each jar of that size
//	  preparation: chopped
//	  role: fruit                     # for ingredients the program does not know
//	  optional: false
//	  note: …
//	steps:
//	- text: Stir over high heat until it boils. *
//	  action: heat                    # one of the actions in the steps table
//	  minutes: 5 to 10
//
// What a line's "may_vary" and "vary_by" say is exported for readers and not believed on import: what may
// vary follows from the printed recipe or the product.

// ImportYAML reads recipes in the program's own YAML. It fails, naming line and field, with nothing half read.
func ImportYAML(r io.Reader) ([]*Revision, error) {
	data, err := readBounded(r)
	if err != nil {
		return nil, err
	}
	root, err := parseYAML(data)
	if err != nil {
		return nil, err
	}
	d := &docReader{}
	entries := []node{root}
	if list, ok := root.get("recipes"); ok {
		d.fields(root, "", "recipes")
		entries = d.list(list, "recipes", MostLines)
	}
	var all []*Revision
	for i, n := range entries {
		path := ""
		if _, several := root.get("recipes"); several {
			path = fmt.Sprintf("recipes[%d].", i)
		}
		all = append(all, d.recipe(n, path))
	}
	if len(all) == 0 {
		d.add(root, "recipes", "", "is empty", "put at least one recipe in it")
	}
	if err := d.faults.Err(); err != nil {
		return nil, err
	}
	return all, nil
}

// docReader reads fields out of nodes and collects what is wrong with them.
type docReader struct{ faults fault.Collector }

func (d *docReader) add(n node, field, value, reason, wayOut string) {
	at := field
	if n.line > 0 {
		at = fmt.Sprintf("line %d, %s", n.line, field)
	}
	// A broken file of many lines is told about in part; the rest is likely the same mistake.
	const most = 50
	if d.faults.Len() < most {
		d.faults.Add(at, value, reason, wayOut)
	}
}

func (d *docReader) addErr(n node, field string, err error) {
	if err == nil {
		return
	}
	f, ok := renamed(err, field).(*fault.Error)
	if !ok || len(f.Violations) == 0 {
		d.add(n, field, "", err.Error(), "")
		return
	}
	v := f.Violations[0]
	d.add(n, field, v.Value, v.Reason, v.WayOut)
}

// fields sees that a node is a mapping with no other names than known.
func (d *docReader) fields(n node, path string, known ...string) bool {
	if n.kind != mapNode {
		d.add(n, orRecipe(strings.TrimSuffix(path, ".")), "", "is "+n.kindName()+" where a mapping belongs", "write it as documented")
		return false
	}
	for i, k := range n.keys {
		if !slices.Contains(known, k) {
			d.add(n.items[i], path+fault.Shorten(k), "", "is not a field of this file", "use one of "+strings.Join(known, ", "))
		}
	}
	return true
}

// orRecipe names a field of no name: the recipe itself.
func orRecipe(path string) string {
	if path == "" {
		return "recipe"
	}
	return path
}

func (d *docReader) list(n node, path string, most int) []node {
	switch {
	case n.kind == nullNode:
		return nil
	case n.kind != listNode:
		d.add(n, path, "", "is "+n.kindName()+" where a list belongs", "write it as documented")
		return nil
	case len(n.items) > most:
		d.add(n, path, itoa(len(n.items)), "has too many entries", "give at most "+itoa(most))
		return nil
	}
	return n.items
}

// text reads an optional text field; ok is false when it is absent, empty or wrong.
func (d *docReader) text(n node, path, key string, longest int) (string, node, bool) {
	v, given := n.get(key)
	if !given || v.kind == nullNode {
		return "", n, false
	}
	if v.kind != scalarNode {
		d.add(v, path+key, "", "is "+v.kindName()+" where text belongs", "write it as documented")
		return "", v, false
	}
	s := strings.TrimSpace(v.text)
	if err := checkText(path+key, s, longest); err != nil {
		d.addErr(v, path+key, err)
		return "", v, false
	}
	return s, v, s != ""
}

func (d *docReader) must(n node, path, key string, longest int, wayOut string) (string, node, bool) {
	before := d.faults.Len()
	s, v, ok := d.text(n, path, key, longest)
	if !ok && d.faults.Len() == before {
		d.add(n, path+key, "", "is missing", wayOut)
	}
	return s, v, ok
}

func (d *docReader) yes(n node, path, key string) bool {
	s, v, ok := d.text(n, path, key, longestKey)
	if !ok {
		return false
	}
	switch strings.ToLower(s) {
	case "true", "yes":
		return true
	case "false", "no":
		return false
	}
	d.add(v, path+key, s, "is neither true nor false", "give true or false")
	return false
}

func (d *docReader) count(n node, path, key string, s string, v node) int {
	i, err := strconv.Atoi(s)
	if err != nil || i < 1 || i > 1000 {
		d.add(v, path+key, s, "is not a number of jars", "give a whole number from 1 to 1000")
		return 0
	}
	return i
}

func (d *docReader) recipe(n node, path string) *Revision {
	r := &Revision{}
	if !d.fields(n, path, "key", "title", "based_on", "source", "locator", "attested_by", "process_key", "pack", "headspace",
		"sterile_jars", "method", "notes", "yield", "ingredients", "steps") {
		return r
	}
	r.Title, _, _ = d.must(n, path, "title", longestName, "name the recipe")
	d.names(n, path, r)
	// What a changed recipe does not say is as in the printed one.
	if base := published(r.BasedOn); base != nil {
		r.Pack, r.Headspace, r.SterileJars = base.Pack, base.Headspace, base.SterileJars
		if r.ProcessKey == "" {
			r.ProcessKey = base.ProcessKey
		}
		if r.Source == (Source{}) {
			r.Source = base.Source
		}
		if _, given := n.get("steps"); !given {
			r.Steps = slices.Clone(base.Steps)
		}
	}
	if s, v, ok := d.text(n, path, "pack", longestKey); ok {
		pack, err := canning.ParsePack(s)
		if err != nil || pack == reference.AnyPack {
			d.add(v, path+"pack", s, "is not a pack", "give hot or raw")
		}
		r.Pack = pack
	}
	if s, v, ok := d.text(n, path, "headspace", longestKey); ok {
		inches, err := measure.ParseAmount(strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(s, "inch"), "in")))
		if err != nil || inches.IsRange() || measure.Int(6).Less(inches.High) {
			d.add(v, path+"headspace", s, "is not a headspace in inches", "give it like 1/2 inch")
		} else {
			r.Headspace = measure.Inches(inches.High.Float64())
		}
	}
	if _, given := n.get("sterile_jars"); given {
		r.SterileJars = d.yes(n, path, "sterile_jars")
	}
	if s, _, ok := d.text(n, path, "method", longestKey); ok {
		r.Method = slug(s)
	}
	r.Notes, _, _ = d.text(n, path, "notes", longestText)
	d.yield(n, path, r)
	d.ingredients(n, path, r)
	d.steps(n, path, r)
	return r
}

// names reads what a recipe is called and where it comes from.
func (d *docReader) names(n node, path string, r *Revision) {
	if s, v, ok := d.text(n, path, "key", longestKey); ok {
		if r.Key = slug(s); r.Key != s {
			d.add(v, path+"key", s, "is not a key", "use lower-case letters, digits and underscores, like green_salsa")
		}
	} else {
		r.Key = slug(r.Title)
	}
	r.Source.Publication, _, _ = d.text(n, path, "source", longestName)
	r.Source.Locator, _, _ = d.text(n, path, "locator", longestName)
	r.Attested.By, _, _ = d.text(n, path, "attested_by", longestName)
	if s, v, ok := d.text(n, path, "based_on", longestKey); ok {
		if published(s) == nil {
			d.add(v, path+"based_on", s, "is not a recipe of the printed library", "leave it out for a recipe of your own")
		} else {
			r.BasedOn = s
		}
	}
	if s, v, ok := d.text(n, path, "process_key", longestKey); ok {
		if !hasProcess(s) {
			d.add(v, path+"process_key", s, "is not a product of the process tables", "leave it out; jars without a process are refrigerated or frozen")
		} else {
			r.ProcessKey = s
		}
	}
}

func (d *docReader) yield(n node, path string, r *Revision) {
	y, given := n.get("yield")
	path += "yield."
	if !given || y.kind == nullNode {
		d.add(n, strings.TrimSuffix(path, "."), "", "is missing: a recipe with no jars fills nothing", "give the jar and how many one batch fills")
		return
	}
	if !d.fields(y, path, "text", "jar", "jars_min", "jars_max") {
		return
	}
	r.Yield.Text, _, _ = d.text(y, path, "text", longestName)
	if s, v, ok := d.must(y, path, "jar", longestKey, "name the jar, like pint"); ok {
		jar, err := canning.ParseJarSize(s)
		d.addErr(v, path+"jar", err)
		r.Yield.Jar = jar
	}
	if s, v, ok := d.must(y, path, "jars_min", longestKey, "say how many jars one batch fills"); ok {
		r.Yield.JarsMin = d.count(y, path, "jars_min", s, v)
		r.Yield.JarsMax = r.Yield.JarsMin
	}
	if s, v, ok := d.text(y, path, "jars_max", longestKey); ok {
		r.Yield.JarsMax = d.count(y, path, "jars_max", s, v)
		if r.Yield.JarsMax > 0 && r.Yield.JarsMax < r.Yield.JarsMin {
			d.add(v, path+"jars_max", s, "is below jars_min", "give the smaller number first")
		}
	}
}

func (d *docReader) ingredients(n node, path string, r *Revision) {
	list, given := n.get("ingredients")
	if !given || list.kind == nullNode || list.kind == listNode && len(list.items) == 0 {
		d.add(n, path+"ingredients", "", "is missing", "give at least one ingredient")
		return
	}
	seen := map[string]bool{}
	for i, item := range d.list(list, path+"ingredients", MostLines) {
		l := d.ingredient(item, fmt.Sprintf("%singredients[%d].", path, i))
		if l.ID != "" && seen[l.ID] {
			d.add(item, fmt.Sprintf("%singredients[%d].id", path, i), l.ID, "is the id of two lines", "give each line its own")
		}
		seen[l.ID] = true
		r.Lines = append(r.Lines, l)
	}
	settle(r)
}

func (d *docReader) ingredient(n node, path string) Line {
	var l Line
	if !d.fields(n, path, "id", "name", "amount", "per_jar", "preparation", "role", "may_vary", "vary_by", "optional", "note") {
		return l
	}
	name, _, ok := d.must(n, path, "name", longestName, "name the ingredient")
	if !ok {
		return l
	}
	var known bool
	name, remark := SplitName(name)
	l.Ingredient, known = FindIngredient(name)
	l.Role = l.Ingredient.Family.defaultRole()
	if s, v, ok := d.text(n, path, "role", longestKey); ok {
		if !slices.Contains(roles, Role(s)) {
			d.add(v, path+"role", s, "is not a role", "give one of "+joinRoles())
		} else if !known {
			l.Role = Role(s)
		}
	}
	if s, v, ok := d.text(n, path, "id", longestKey); ok {
		if l.ID = s; !isLineID(s) {
			d.add(v, path+"id", s, "is not a line id", "use lower-case letters, digits, underscores and hyphens, like onions-2")
		}
	}
	if s, v, ok := d.must(n, path, "amount", longestName, "give it like 1-1/2 cups"); ok {
		q, err := measure.ParseQuantity(s)
		switch {
		case err != nil:
			d.addErr(v, path+"amount", err)
		case q.Amount.High.Sign() == 0:
			d.add(v, path+"amount", s, "is nothing", "leave the line out instead")
		default:
			if why := unitMisfit(l.Ingredient, q.Unit); why != "" {
				d.add(v, path+"amount", s, why, "use cups, spoons, grams, pounds or pieces")
			}
			l.Amount = q
		}
	}
	if s, v, ok := d.text(n, path, "per_jar", longestKey); ok {
		jar, err := canning.ParseJarSize(s)
		d.addErr(v, path+"per_jar", err)
		l.PerJar = jar
	}
	l.Preparation, _, _ = d.text(n, path, "preparation", longestName)
	if remark != "" {
		l.Preparation = strings.TrimSuffix(remark+", "+l.Preparation, ", ")
	}
	l.Note, _, _ = d.text(n, path, "note", longestText)
	l.Optional = d.yes(n, path, "optional")
	return l
}

func joinRoles() string {
	s := make([]string, len(roles))
	for i, r := range roles {
		s[i] = string(r)
	}
	return strings.Join(s, ", ")
}

func isLineID(s string) bool {
	for _, c := range s {
		if !(c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '_' || c == '-') {
			return false
		}
	}
	return s != ""
}

func (d *docReader) steps(n node, path string, r *Revision) {
	list, given := n.get("steps")
	if !given {
		return
	}
	for i, item := range d.list(list, path+"steps", MostLines) {
		path := fmt.Sprintf("%ssteps[%d].", path, i)
		step := Step{Order: i + 1}
		if !d.fields(item, path, "text", "action", "minutes") {
			continue
		}
		step.Text, _, _ = d.must(item, path, "text", longestText, "say what is done")
		if s, _, ok := d.text(item, path, "action", longestKey); ok {
			step.Action = slug(s)
		}
		if s, v, ok := d.text(item, path, "minutes", longestKey); ok {
			m, err := measure.ParseAmount(s)
			if err != nil {
				d.addErr(v, path+"minutes", err)
			} else if measure.Int(60 * 24 * 60).Less(m.High) {
				d.add(v, path+"minutes", s, "is longer than any step takes", "give minutes")
			} else {
				step.Timed, step.MinutesMin, step.MinutesMax = true, m.Low.Float64(), m.High.Float64()
			}
		}
		r.Steps = append(r.Steps, withDefaults(step))
	}
}

// settle gives imported lines their IDs and what may vary. A line that a printed recipe also has takes its ID and
// its permission from there; no file can give itself one.
func settle(r *Revision) {
	base := published(r.BasedOn)
	if base != nil {
		matchIDs(r, base)
	}
	assignIDs(r.Lines)
	for i := range r.Lines {
		l := &r.Lines[i]
		l.Vary, l.VaryBy = defaultVariation(familyOf(r.ProcessKey), *l)
		if base == nil {
			continue
		}
		l.Vary, l.VaryBy = NotStated, nil
		if b, ok := base.Line(l.ID); ok {
			l.Vary, l.VaryBy = b.Vary, slices.Clone(b.VaryBy)
			if b.Ingredient.Item == l.Ingredient.Item {
				l.Role, l.Optional, l.PerJar = b.Role, b.Optional, b.PerJar
			}
		}
	}
}

// matchIDs gives lines without an ID that of the printed line with the same ingredient, in order, and keeps new
// lines from taking the ID of a printed one.
func matchIDs(r *Revision, base *Revision) {
	taken := map[string]bool{}
	for _, l := range r.Lines {
		taken[l.ID] = true
	}
	for i := range r.Lines {
		if r.Lines[i].ID != "" {
			continue
		}
		for _, b := range base.Lines {
			if b.Ingredient.Item == r.Lines[i].Ingredient.Item && !taken[b.ID] {
				r.Lines[i].ID = b.ID
				taken[b.ID] = true
				break
			}
		}
	}
	for _, b := range base.Lines {
		taken[b.ID] = true
	}
	for i := range r.Lines {
		if r.Lines[i].ID == "" {
			r.Lines[i].ID = freshID(slug(r.Lines[i].Ingredient.Item), taken)
			taken[r.Lines[i].ID] = true
		}
	}
}
