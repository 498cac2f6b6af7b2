package recipe

import (
	"fmt"
	"strings"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// ChangeKind is a way to adapt a recipe.
type ChangeKind string

// The kinds of change.
const (
	// Swap puts another ingredient in a line's place, in the same amount unless Amount says otherwise.
	Swap ChangeKind = "swap"
	// Omit leaves a line out.
	Omit ChangeKind = "omit"
	// Reduce and Raise set a smaller or a larger amount.
	Reduce ChangeKind = "reduce"
	Raise  ChangeKind = "raise"
	// Add puts in a new line.
	Add ChangeKind = "add"
	// Prepare changes how a line is prepared, e.g. drained or puréed.
	Prepare ChangeKind = "prepare"
	// JarSize fills another jar.
	JarSize ChangeKind = "jar_size"
	// Pack packs hot instead of raw, or the reverse.
	Pack ChangeKind = "pack"
	// BatchFactor makes more or less than one published batch at once; 2 doubles it.
	BatchFactor ChangeKind = "batches"
	// Headspace leaves another headspace.
	Headspace ChangeKind = "headspace"
	// UnsterileJars fills jars that were not sterilised.
	UnsterileJars ChangeKind = "unsterile_jars"
	// Method processes some other way than the process table's.
	Method ChangeKind = "method"
	// StepsChanged is found by a review where the method is not the printed one; it comes with an imported file.
	StepsChanged ChangeKind = "steps"
	// AcidShareFall is found by a review where the acid share falls; nobody can ask for it.
	AcidShareFall ChangeKind = "acid_share"
)

var changeKinds = []ChangeKind{Swap, Omit, Reduce, Raise, Add, Prepare, JarSize, Pack, BatchFactor, Headspace, UnsterileJars, Method}

// Change is one thing an instructor wants otherwise. Which fields count depends on Kind.
type Change struct {
	// Kind is what is to happen.
	Kind ChangeKind
	// Line is the ID of the line changed: for Swap, Omit, Reduce, Raise and Prepare.
	Line string
	// Ingredient is the name of what goes in: for Swap and Add.
	Ingredient string
	// Amount is a quantity such as "1-1/2 cups": for Reduce, Raise and Add, and for Swap when it differs. A
	// number alone is in the line's own unit.
	Amount string
	// Preparation is the new preparation: for Prepare, and for Swap and Add when there is one.
	Preparation string
	// To is the jar size, pack, number of batches, inches of headspace or method: for JarSize, Pack,
	// BatchFactor, Headspace and Method.
	To string
}

// Limits on what is read, far above anything a recipe needs.
const (
	// MostLines is how many ingredient lines, and how many steps, a recipe may have.
	MostLines = 200
	// MostChanges is how many changes one request may ask for.
	MostChanges = 100
	longestName = 200
	longestText = 4000
	longestKey  = 80
)

// Apply makes the formula that base becomes by the changes, all of them against base as it stands. It judges
// nothing: [ReviewOf] does. It fails, naming each wrong field as "changes[i].…", where a change cannot be made at all:
// no such line, a negative or unreadable amount, a unit that cannot measure the ingredient, swaps that go
// round in a circle.
func Apply(base *Revision, changes []Change) (*Revision, error) {
	var c fault.Collector
	if len(changes) > MostChanges {
		return nil, fault.Field("changes", itoa(len(changes)), "are too many changes at once", "give at most "+itoa(MostChanges))
	}
	a := applier{base: base, out: base.Clone(), faults: &c, touched: map[string]ChangeKind{}, omitted: map[string]bool{}}
	a.refuseCircles(changes)
	factor := measure.Int(1)
	for i, ch := range changes {
		a.at = fmt.Sprintf("changes[%d].", i)
		if ch.Kind == BatchFactor {
			factor = factor.Mul(a.batches(ch))
			continue
		}
		a.one(ch)
	}
	if err := c.Err(); err != nil {
		return nil, err
	}
	a.dropOmitted()
	if len(a.out.Lines) == 0 {
		return nil, fault.Field("changes", "", "leave no ingredient in the recipe", "keep at least one line")
	}
	scale(a.out, factor)
	return a.out, nil
}

type applier struct {
	base, out *Revision
	faults    *fault.Collector
	at        string
	touched   map[string]ChangeKind
	omitted   map[string]bool
}

func (a *applier) wrong(field, value, reason, wayOut string) {
	a.faults.Add(a.at+field, value, reason, wayOut)
}

func (a *applier) one(ch Change) {
	switch ch.Kind {
	case Swap, Omit, Reduce, Raise, Prepare:
		i, ok := a.line(ch)
		if !ok {
			return
		}
		a.changeLine(i, ch)
	case Add:
		a.add(ch)
	case JarSize:
		jar, err := canning.ParseJarSize(ch.To)
		if err != nil {
			a.faults.AddErr(a.at, renamed(err, "to"))
			return
		}
		a.otherJar(jar)
	case Pack:
		pack, err := canning.ParsePack(ch.To)
		if err != nil || pack == reference.AnyPack {
			a.wrong("to", ch.To, "is not a pack", `give "hot" or "raw"`)
			return
		}
		a.out.Pack = pack
	case Headspace:
		n, err := measure.ParseAmount(strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(strings.TrimSpace(ch.To), "in"), "inch")))
		if err != nil || n.IsRange() || n.High.Cmp(measure.Int(6)) > 0 || n.High.Sign() == 0 {
			a.wrong("to", ch.To, "is not a headspace in inches", "give it like 1/2")
			return
		}
		a.out.Headspace = measure.Inches(n.High.Float64())
	case UnsterileJars:
		a.out.SterileJars = false
	case Method:
		method := slug(ch.To)
		if method == "" {
			a.wrong("to", ch.To, "names no method", "give one like low-temperature pasteurisation")
			return
		}
		a.out.Method = method
	default:
		a.wrong("kind", string(ch.Kind), "is not a kind of change", "give one of "+joinKinds())
	}
}

func joinKinds() string {
	s := make([]string, len(changeKinds))
	for i, k := range changeKinds {
		s[i] = string(k)
	}
	return strings.Join(s, ", ")
}

// line finds the line a change is about and sees to it that no two changes disagree about one line.
func (a *applier) line(ch Change) (int, bool) {
	for i, l := range a.out.Lines {
		if l.ID != ch.Line {
			continue
		}
		before, again := a.touched[l.ID]
		if again && !(before != ch.Kind && (before == Prepare || ch.Kind == Prepare) && before != Omit && ch.Kind != Omit) {
			a.wrong("line", ch.Line, fmt.Sprintf("is changed twice in this request (%s and %s)", before, ch.Kind), "ask for one change of each line")
			return 0, false
		}
		a.touched[l.ID] = ch.Kind
		return i, true
	}
	a.wrong("line", ch.Line, "is not a line of this recipe", "use one of "+a.lineIDs())
	return 0, false
}

func (a *applier) lineIDs() string {
	ids := make([]string, len(a.base.Lines))
	for i, l := range a.base.Lines {
		ids[i] = l.ID
	}
	return strings.Join(ids, ", ")
}

func (a *applier) changeLine(i int, ch Change) {
	l := &a.out.Lines[i]
	switch ch.Kind {
	case Omit:
		a.omitted[l.ID] = true
	case Prepare:
		if !a.textOK("preparation", ch.Preparation, longestName) {
			return
		}
		l.Preparation = strings.TrimSpace(ch.Preparation)
	case Reduce, Raise:
		q, ok := a.amount(ch, l)
		if !ok {
			return
		}
		cmp, commensurate := compareAmounts(l.Amount, q)
		switch {
		case !commensurate:
			a.wrong("amount", ch.Amount, "cannot be compared with "+l.amountText(), "give it in "+l.Amount.Unit.Name(measure.Int(2)))
		case cmp == 0 && l.Amount.Amount.IsRange() && !q.Amount.IsRange():
			// A choice within the printed range.
			l.Amount, l.Printed = q, ""
		case ch.Kind == Reduce && cmp >= 0:
			a.wrong("amount", ch.Amount, "is not less than "+l.amountText(), "give a smaller amount, or raise it")
		case ch.Kind == Raise && cmp <= 0:
			a.wrong("amount", ch.Amount, "is not more than "+l.amountText(), "give a larger amount, or reduce it")
		default:
			l.Amount, l.Printed = q, ""
		}
	case Swap:
		in, ok := a.ingredient(ch)
		if !ok {
			return
		}
		old := l.Ingredient
		l.Ingredient = in
		if ch.Amount != "" {
			q, ok := a.amount(ch, l)
			if !ok {
				return
			}
			l.Amount, l.Printed = q, ""
		} else if why := unitMisfit(in, l.Amount.Unit); why != "" {
			a.wrong("amount", "", fmt.Sprintf("is printed in %s, which cannot measure %s", l.Amount.Unit.Name(measure.Int(2)), in.Name), "give the amount of "+in.Name)
			return
		}
		if in.Family != old.Family || in.Family == UnknownFamily {
			l.Role = in.Family.defaultRole()
			l.Preparation, l.Note = "", ""
		}
		if p := preparationOf(ch); p != "" {
			l.Preparation = p
		}
	}
}

func (a *applier) add(ch Change) {
	in, ok := a.ingredient(ch)
	if !ok {
		return
	}
	if len(a.out.Lines) >= MostLines {
		a.wrong("kind", string(Add), "makes the recipe longer than a recipe can be", "keep to "+itoa(MostLines)+" lines")
		return
	}
	l := Line{Ingredient: in, Role: in.Family.defaultRole(), Vary: NotStated, Preparation: preparationOf(ch)}
	l.Amount.Unit = measure.Each
	q, ok := a.amount(ch, &l)
	if !ok {
		return
	}
	l.Amount = q
	// A new line does not take the ID of a line this request leaves out: that one would go with it.
	taken := map[string]bool{}
	for _, other := range a.base.Lines {
		taken[other.ID] = true
	}
	for _, other := range a.out.Lines {
		taken[other.ID] = true
	}
	l.ID = freshID(slug(in.Item), taken)
	a.out.Lines = append(a.out.Lines, l)
}

func (a *applier) ingredient(ch Change) (Ingredient, bool) {
	if strings.TrimSpace(ch.Ingredient) == "" {
		a.wrong("ingredient", "", "is missing", "name what goes in")
		return Ingredient{}, false
	}
	if !a.textOK("ingredient", ch.Ingredient, longestName) {
		return Ingredient{}, false
	}
	name, _ := SplitName(ch.Ingredient)
	in, _ := FindIngredient(name)
	return in, true
}

// preparationOf is the preparation a change gives, or the remark that follows the ingredient's name.
func preparationOf(ch Change) string {
	if ch.Preparation != "" {
		return strings.TrimSpace(ch.Preparation)
	}
	_, remark := SplitName(ch.Ingredient)
	return remark
}

func (a *applier) textOK(field, s string, longest int) bool {
	if err := checkText(field, s, longest); err != nil {
		a.faults.AddErr(a.at, err)
		return false
	}
	return true
}

// amount reads ch.Amount; a bare number is in the unit of l.
func (a *applier) amount(ch Change, l *Line) (measure.Quantity, bool) {
	if n, err := measure.ParseAmount(ch.Amount); err == nil {
		q := measure.Quantity{Amount: n, Unit: l.Amount.Unit}
		return q, a.amountFits(ch, q, l)
	}
	q, err := measure.ParseQuantity(ch.Amount)
	if err != nil {
		a.faults.AddErr(a.at, renamed(err, "amount"))
		return measure.Quantity{}, false
	}
	return q, a.amountFits(ch, q, l)
}

func (a *applier) amountFits(ch Change, q measure.Quantity, l *Line) bool {
	if q.Amount.Low.Sign() <= 0 {
		a.wrong("amount", ch.Amount, "is nothing", "leave the line out instead")
		return false
	}
	if why := unitMisfit(l.Ingredient, q.Unit); why != "" {
		a.wrong("amount", ch.Amount, why, "use cups, spoons, grams, pounds or pieces")
		return false
	}
	return true
}

func (a *applier) batches(ch Change) measure.Number {
	n, err := measure.ParseAmount(ch.To)
	if err != nil {
		a.faults.AddErr(a.at, renamed(err, "to"))
		return measure.Int(1)
	}
	if n.IsRange() || n.High.Sign() == 0 || n.High.Cmp(measure.Int(100)) > 0 {
		a.wrong("to", ch.To, "is not a number of batches", "give a number above 0 and at most 100")
		return measure.Int(1)
	}
	return n.High
}

func (a *applier) dropOmitted() {
	kept := a.out.Lines[:0]
	for _, l := range a.out.Lines {
		if !a.omitted[l.ID] {
			kept = append(kept, l)
		}
	}
	a.out.Lines = kept
}

// refuseCircles finds swaps that trade lines' ingredients round in a circle: onions for peppers and peppers for
// onions change two amounts and read like nothing. Such a change must be asked for as amounts.
func (a *applier) refuseCircles(changes []Change) {
	next := map[string]string{}
	at := map[string]int{}
	for i, ch := range changes {
		if ch.Kind != Swap {
			continue
		}
		from, ok := a.base.Line(ch.Line)
		if !ok {
			continue
		}
		name, _ := SplitName(ch.Ingredient)
		in, _ := FindIngredient(name)
		// An ingredient for itself, in another amount or prepared otherwise, is no circle; it is judged as that.
		if in.Item == from.Ingredient.Item && (ch.Amount != "" || preparationOf(ch) != "") {
			continue
		}
		next[from.Ingredient.Item] = in.Item
		at[from.Ingredient.Item] = i
	}
	for i, ch := range changes {
		if ch.Kind != Swap {
			continue
		}
		from, ok := a.base.Line(ch.Line)
		if !ok || at[from.Ingredient.Item] != i {
			continue
		}
		start, path := from.Ingredient.Item, []string{from.Ingredient.Item}
		for item := next[start]; item != "" && len(path) <= len(next); item = next[item] {
			path = append(path, item)
			if item == start {
				a.faults.Add(fmt.Sprintf("changes[%d].ingredient", i), ch.Ingredient,
					"closes a circle of swaps: "+strings.Join(path, " for "), "ask for the amounts you want with reduce and raise")
				return
			}
		}
	}
}

// otherJar fills another jar: the yield by volume, and the headspace printed for it where the recipe had the one
// printed for its own.
func (a *applier) otherJar(jar canning.JarSize) {
	was, errWas := jarProcess(a.out.ProcessKey, a.out.Pack, a.out.Yield.Jar)
	now, errNow := jarProcess(a.out.ProcessKey, a.out.Pack, jar)
	if errWas == nil && errNow == nil {
		from, to := was.Choices[0], now.Choices[0]
		if from.HeadspacePrinted && to.HeadspacePrinted && from.Headspace == a.out.Headspace {
			a.out.Headspace = to.Headspace
		}
	}
	a.out.Yield = refill(a.out.Yield, jar)
}

// refill restates a yield in another jar by nominal volume. Only whole jars count, and one at least.
func refill(y Yield, jar canning.JarSize) Yield {
	if jar == y.Jar {
		return y
	}
	ratio := y.Jar.Volume().Number().Div(jar.Volume().Number())
	whole := func(jars int) int {
		n, _ := ratio.Mul(measure.Int(int64(jars))).Floor().Int64()
		return max(int(n), 1)
	}
	return Yield{Jar: jar, JarsMin: whole(y.JarsMin), JarsMax: whole(y.JarsMax)}
}

// scale multiplies a formula; per-jar amounts grow with the jars.
func scale(r *Revision, factor measure.Number) {
	if factor.Equal(measure.Int(1)) {
		return
	}
	for i := range r.Lines {
		if r.Lines[i].PerJar == "" {
			r.Lines[i].Amount = r.Lines[i].Amount.Times(factor)
			r.Lines[i].Printed = ""
		}
	}
	r.Yield.JarsMin = int(measure.Int(int64(r.Yield.JarsMin)).Mul(factor).Floor().Float64())
	r.Yield.JarsMax = int(measure.Int(int64(r.Yield.JarsMax)).Mul(factor).Ceil().Float64())
	r.Yield.Text = ""
}

// Batches is what n whole published batches of a revision fill: at least low jars and at most high, of the printed
// jar. It fails for a number below 1 or that no class could make.
func Batches(r *Revision, n int) (low, high int, err error) {
	if n < 1 || n > 10_000 {
		return 0, 0, fault.Field("batches", itoa(n), "is not a number of whole batches", "give 1 or more; a recipe is made as printed, never in part")
	}
	return n * r.Yield.JarsMin, n * r.Yield.JarsMax, nil
}
