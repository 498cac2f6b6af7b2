package recipe

import (
	"slices"
	"strings"

	"stillroom/internal/canning"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// Role is what an ingredient does in a recipe.
type Role string

// The roles. Tomatoes and tomatillos are Fruit because the guide treats them as the acid food; garlic and fresh
// ginger are LowAcid; water, oil, ice, cider, prepared mustard and prepared horseradish are Other.
const (
	LowAcid   Role = "low_acid_vegetable"
	Acid      Role = "acid"
	Salt      Role = "salt"
	Sugar     Role = "sugar"
	FreshHerb Role = "fresh_herb"
	DrySpice  Role = "dry_spice"
	Thickener Role = "thickener"
	Fruit     Role = "fruit"
	Other     Role = "other"
)

var roles = []Role{LowAcid, Acid, Salt, Sugar, FreshHerb, DrySpice, Thickener, Fruit, Other}

// Variation says what a published statement lets a cook do to a line.
type Variation string

// The variations. NotStated is treated as Fixed.
const (
	// Fixed: published guidance forbids a change.
	Fixed Variation = "no"
	// Free: the amount may change or the line be left out.
	Free Variation = "yes"
	// ReduceOnly: may be cut or left out, never raised.
	ReduceOnly Variation = "reduce_only"
	// KindOnly: one kind may replace another and the total may not rise.
	KindOnly Variation = "kind_only"
	// OmitOK: the recipe marks the line optional; nothing published allows more of it.
	OmitOK Variation = "omit_ok"
	// NotStated: no published statement was seen either way.
	NotStated Variation = "not_stated"
)

var variations = []Variation{Fixed, Free, ReduceOnly, KindOnly, OmitOK, NotStated}

// Line is one ingredient line of a formula.
type Line struct {
	// ID names the line through all revisions of a recipe, e.g. "onions" or "vinegar-2".
	ID string
	// Ingredient is what goes in.
	Ingredient Ingredient
	// Printed is the amount as the source prints it, without its unit: "1-1/2", "4 to 6".
	Printed string
	// Amount is the same as a number or a range, in a unit: for one published batch, or for each jar when PerJar is
	// set; [Line.PerBatch] is for a batch either way. It is 0 pieces for an imported line of no stated amount.
	Amount measure.Quantity
	// PerJar is the jar size an amount is printed for, or empty.
	PerJar canning.JarSize
	// Preparation is how it goes in, e.g. "peeled, cored, chopped"; may be empty.
	Preparation string
	// Role is what it does.
	Role Role
	// Vary is what may be changed; VaryBy names the published statements (keys of the procedure facts) behind it.
	Vary   Variation
	VaryBy []string
	// Optional is true where the recipe itself says so.
	Optional bool
	// Note is a remark the source makes on this line; may be empty.
	Note string
}

// PerBatch is the amount for one whole batch: a per-jar amount times the most jars the recipe may fill, by nominal
// volume where those are of another size.
func (l Line) PerBatch(y Yield) measure.Quantity {
	if l.PerJar == "" {
		return l.Amount
	}
	jars := measure.Int(int64(y.JarsMax))
	if per, filled := l.PerJar.Volume().Number(), y.Jar.Volume().Number(); per.Sign() > 0 && filled.Sign() > 0 {
		jars = jars.Mul(filled).Div(per)
	}
	return l.Amount.Times(jars)
}

// String is the line as a recipe prints it: "1-1/2 cups onions, thinly sliced".
func (l Line) String() string {
	var b strings.Builder
	b.WriteString(l.amountText())
	if b.Len() > 0 {
		b.WriteByte(' ')
	}
	b.WriteString(l.Ingredient.Name)
	if l.Preparation != "" {
		b.WriteString(", " + l.Preparation)
	}
	if l.Optional {
		b.WriteString(" (optional)")
	}
	return b.String()
}

// amountText is "1-1/2 cups" or "1/4 teaspoon per half-pint jar".
func (l Line) amountText() string {
	s := l.Amount.String()
	if l.Printed != "" {
		s = l.Printed
		if l.Amount.Unit != measure.Each {
			s += " " + l.Amount.Unit.Name(l.Amount.Amount.High)
		}
	}
	if l.PerJar != "" {
		s += " per " + l.PerJar.Name() + " jar"
	}
	return s
}

// Hands is how many people a step keeps busy.
type Hands int

// Step is one step of the method. Processing the jars is not a step: its time comes from the process table.
type Step struct {
	// Order counts from 1.
	Order int
	// Action is a word for what is done: boil, simmer, soak, fill …
	Action string
	// Text says it in a sentence.
	Text string
	// Timed says that the source gives a time; then MinutesMin to MinutesMax is it, in minutes (0.5 is 30 s).
	Timed                  bool
	MinutesMin, MinutesMax float64
	// Burner says a pot stands on a burner meanwhile, and Hands how many people it keeps busy; both follow
	// from the action (common practice), since the publications do not print them.
	Burner bool
	Hands  Hands
}

// Yield is what one batch fills.
type Yield struct {
	// Text is the yield as printed.
	Text string
	// Jar is the jar size it is printed for.
	Jar canning.JarSize
	// JarsMin and JarsMax are the printed range of jars.
	JarsMin, JarsMax int
}

// Source says where a formula was published.
type Source struct {
	// Publication is the title, with its edition; empty for a formula of no published source.
	Publication string
	// Locator is the place in it.
	Locator string
}

// String is "publication, locator".
func (s Source) String() string {
	switch {
	case s.Publication == "":
		return "no published source"
	case s.Locator == "":
		return s.Publication
	}
	return s.Publication + ", " + s.Locator
}

// Need is a piece of equipment a batch needs.
type Need struct {
	// Item is what: pot, burner, bowl, food mill …
	Item string
	// Count is how many at once.
	Count int
	// Basis says where the count comes from; "common practice" where no publication prints it.
	Basis string
}

// Attestation is a person's word that a formula was copied, unchanged, from the publication named in the
// revision's Source. The program has not seen that page.
type Attestation struct {
	// By is who says so; empty when nobody does.
	By string
}

// Revision is one formula with its method. A revision never changes once used; see the store for what holds that.
type Revision struct {
	// Key names the recipe, e.g. "chile_salsa".
	Key string
	// Title is its name for people.
	Title string
	// Source is where the formula was published.
	Source Source
	// BasedOn is the key of the printed recipe this formula is, or was changed from; empty for others.
	BasedOn string
	// Base is the formula a changed one comes from when that is no printed recipe of the library but one
	// somebody attests. Nil otherwise.
	Base *Revision
	// Attested is somebody's word that this formula is as printed in Source.
	Attested Attestation
	// Yield is what one batch fills.
	Yield Yield
	// Pack is hot or raw.
	Pack reference.Pack
	// Headspace is the printed headspace; zero when none is stated.
	Headspace measure.Inches
	// SterileJars says the jars must be sterile when filled.
	SterileJars bool
	// ProcessKey is the product in the process table, empty when there is none.
	ProcessKey string
	// Method is empty for the processes in the table (boiling water, steam, pressure, chosen for each class);
	// it is set only by a change to something else, such as "low_temperature_pasteurisation".
	Method string
	// Lines is the formula.
	Lines []Line
	// Steps is the method.
	Steps []Step
	// Notes are the source's remarks on the recipe.
	Notes string
}

// Line finds an ingredient line by its ID.
func (r *Revision) Line(id string) (Line, bool) {
	for _, l := range r.Lines {
		if l.ID == id {
			return l, true
		}
	}
	return Line{}, false
}

// Family is the kind of product, which decides the rules that speak of it.
func (r *Revision) Family() ProductFamily { return familyOf(r.ProcessKey) }

// Clone is a copy that shares nothing that can be written to.
func (r *Revision) Clone() *Revision {
	c := *r
	c.Lines = slices.Clone(r.Lines)
	for i := range c.Lines {
		c.Lines[i].VaryBy = slices.Clone(c.Lines[i].VaryBy)
	}
	c.Steps = slices.Clone(r.Steps)
	return &c
}

// assignIDs gives every line without an ID one made from its item, numbered where the item comes twice.
func assignIDs(lines []Line) {
	taken := map[string]bool{}
	for _, l := range lines {
		if l.ID != "" {
			taken[l.ID] = true
		}
	}
	for i := range lines {
		if lines[i].ID != "" {
			continue
		}
		lines[i].ID = freshID(slug(lines[i].Ingredient.Item), taken)
		taken[lines[i].ID] = true
	}
}

// freshID is base, or base-2, base-3 … when taken.
func freshID(base string, taken map[string]bool) string {
	if base == "" {
		base = "line"
	}
	id := base
	for n := 2; taken[id]; n++ {
		id = base + "-" + itoa(n)
	}
	return id
}
