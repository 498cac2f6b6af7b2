package recipe

import (
	"slices"

	"stillroom/internal/measure"
)

// difference is one way in which a changed formula departs from the printed one.
type difference struct {
	kind ChangeKind
	// before and after are the line on either side; nil where there is none.
	before, after *Line
	// cmp orders after's amount against before's; commensurate is false where no conversion exists.
	cmp          int
	commensurate bool
	// factor is the number of batches, for BatchFactor.
	factor measure.Number
	// from and to are the words on either side, for changes of the whole recipe.
	from, to string
}

// diff sets a changed formula against the one it comes from, line by line, in the order of the printed lines,
// then what was added, then changes to the whole recipe.
func diff(base, changed *Revision) []difference {
	var ds []difference
	factor, uniform := uniformFactor(base, changed)
	for i := range base.Lines {
		before := &base.Lines[i]
		after := findLine(changed, before.ID)
		if after == nil {
			ds = append(ds, difference{kind: Omit, before: before})
			continue
		}
		scaled := *before
		scaled.Amount = scaled.Amount.Times(factor)
		if before.PerJar != "" {
			scaled.Amount = before.Amount
		}
		d := difference{before: &scaled, after: after}
		d.cmp, d.commensurate = compareLines(scaled, *after)
		switch {
		case before.Ingredient.Item != after.Ingredient.Item:
			d.kind = Swap
			ds = append(ds, d)
			continue
		case !d.commensurate || d.cmp > 0:
			d.kind = Raise
			ds = append(ds, d)
		case d.cmp < 0:
			d.kind = Reduce
			ds = append(ds, d)
		}
		if foldName(before.Preparation) != foldName(after.Preparation) {
			ds = append(ds, difference{kind: Prepare, before: before, after: after})
		}
	}
	for i := range changed.Lines {
		after := &changed.Lines[i]
		if findLine(base, after.ID) == nil {
			ds = append(ds, difference{kind: Add, after: after})
		}
	}
	whole := func(kind ChangeKind, from, to string) {
		if from != to {
			ds = append(ds, difference{kind: kind, from: from, to: to})
		}
	}
	whole(JarSize, string(base.Yield.Jar), string(changed.Yield.Jar))
	whole(Pack, string(base.Pack), string(changed.Pack))
	whole(Headspace, base.Headspace.String(), changed.Headspace.String())
	if !sameSteps(base.Steps, changed.Steps) {
		whole(StepsChanged, "the printed steps", "other steps")
	}
	if base.SterileJars && !changed.SterileJars {
		whole(UnsterileJars, "sterile", "not sterilised")
	}
	whole(Method, base.Method, changed.Method)
	if base.ProcessKey != changed.ProcessKey {
		whole(Method, "process of "+base.ProcessKey, "process of "+changed.ProcessKey)
	}
	if uniform {
		ds = append(ds, difference{kind: BatchFactor, factor: factor})
	}
	return ds
}

// sameSteps says two methods read alike, whatever their defaults.
func sameSteps(a, b []Step) bool {
	return slices.EqualFunc(a, b, func(s, t Step) bool {
		return foldName(s.Text) == foldName(t.Text) && s.Timed == t.Timed && s.MinutesMin == t.MinutesMin && s.MinutesMax == t.MinutesMax
	})
}

func findLine(r *Revision, id string) *Line {
	for i := range r.Lines {
		if r.Lines[i].ID == id {
			return &r.Lines[i]
		}
	}
	return nil
}

// compareLines orders after's amount against before's, per jar or per batch as both are printed.
func compareLines(before, after Line) (cmp int, commensurate bool) {
	if before.PerJar != after.PerJar {
		return 0, false
	}
	return compareAmounts(before.Amount, after.Amount)
}

// uniformFactor finds the one factor by which every amount grew. Without one it is 1 and uniform is false.
func uniformFactor(base, changed *Revision) (factor measure.Number, uniform bool) {
	one := measure.Int(1)
	var found measure.Number
	n := 0
	for _, before := range base.Lines {
		after := findLine(changed, before.ID)
		if before.PerJar != "" {
			continue
		}
		if after == nil || after.PerJar != "" {
			continue
		}
		in, err := after.Amount.In(before.Amount.Unit)
		if err != nil || before.Amount.Amount.High.Sign() == 0 || before.Amount.Amount.Low.Sign() == 0 {
			return one, false
		}
		f := in.Amount.High.Div(before.Amount.Amount.High)
		low := in.Amount.Low.Div(before.Amount.Amount.Low)
		if !f.Equal(low) || n > 0 && !f.Equal(found) {
			return one, false
		}
		found = f
		n++
	}
	if n < 2 || found.Equal(one) || found.Sign() <= 0 {
		return one, false
	}
	return found, true
}
