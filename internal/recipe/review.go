package recipe

import (
	"fmt"
	"strings"
)

// Verdict is what the publications say of one change.
type Verdict int

// The verdicts, from best to worst.
const (
	// Allowed: a published statement permits it.
	Allowed Verdict = iota
	// AllowedToTaste: a published statement leaves the amount to the cook.
	AllowedToTaste
	// NotCovered: no published statement permits it, which is treated as not allowed.
	NotCovered
	// Forbidden: a published statement rules it out.
	Forbidden
)

var verdictNames = [...]string{"allowed", "allowed to taste", "not covered", "forbidden"}

// String is the verdict in words.
func (v Verdict) String() string { return verdictNames[v] }

// OK says the change may be made.
func (v Verdict) OK() bool { return v <= AllowedToTaste }

// Consequence is what a change makes of the jars.
type Consequence int

// The consequences, from best to worst.
const (
	// ShelfStableStill: the printed process still holds.
	ShelfStableStill Consequence = iota
	// AnotherProcess: the jars can be shelf-stable, with another printed process than before.
	AnotherProcess
	// ColdOnly: refrigerate or freeze only; no process is known for this.
	ColdOnly
)

var consequenceNames = [...]string{"still shelf-stable", "needs another process", "refrigerate or freeze only"}

// String is the consequence in words.
func (c Consequence) String() string { return consequenceNames[c] }

// Finding is the verdict on one change.
type Finding struct {
	// Kind is the change found by setting the formula against the printed one.
	Kind ChangeKind
	// LineID is the line it concerns, empty for a change of the whole recipe.
	LineID string
	// Change says the change in words: "onions: 1 pound to 2 pounds".
	Change string
	// Verdict and Consequence are the answer, Because the reason in a sentence.
	Verdict     Verdict
	Consequence Consequence
	Because     string
	// WayOut is the usual safe way to get what was wanted; may be empty.
	WayOut string
	// Citations are the published statements behind it.
	Citations []Citation
	// ProcessKey is the product whose process holds instead, for AnotherProcess when it is another product.
	ProcessKey string

	// likeForLike marks a swap in the printed measure under a published permission, asPrinted one whose amount is
	// the published equivalent of the printed line; see weighAs.
	likeForLike, asPrinted bool
}

// Review sets a formula against the printed one it comes from.
type Review struct {
	// Base is the formula it was set against; nil when it comes from none.
	Base *Revision
	// Findings are the changes found, in the order of the printed lines; none when there are no changes.
	Findings []Finding
	// Verdict and Consequence are the worst of the findings.
	Verdict     Verdict
	Consequence Consequence
	// AcidBefore and AcidAfter are the acid shares; Salt and Sugar the masses for one batch.
	AcidBefore, AcidAfter   Share
	SaltBefore, SaltAfter   Sum
	SugarBefore, SugarAfter Sum
	// Notes are remarks on the figures: what could not be weighed, and whose weight stood in.
	Notes []string
}

// baseOf is the formula a revision is reviewed against; nil when it comes from none.
func baseOf(r *Revision) *Revision {
	if r.Base != nil {
		return r.Base
	}
	if r.BasedOn != "" {
		return published(r.BasedOn)
	}
	return nil
}

// ReviewOf reviews a formula against the printed recipe it comes from. A formula that comes from none, a cook's
// own, has no printed one to be set against: its review has no findings and ColdOnly as consequence unless
// somebody attests it.
func ReviewOf(r *Revision) Review {
	base := baseOf(r)
	if base == nil {
		rv := Review{AcidAfter: ShareOf(r), SaltAfter: SumOf(r, Salt), SugarAfter: SumOf(r, Sugar)}
		rv.AcidBefore, rv.SaltBefore, rv.SugarBefore = rv.AcidAfter, rv.SaltAfter, rv.SugarAfter
		if stable, why := attestedStanding(r); !stable {
			rv.Verdict, rv.Consequence = NotCovered, ColdOnly
			rv.Notes = append(rv.Notes, "There is no printed formula to set this one against: "+why+".")
		}
		return rv
	}
	j := newJudge(base, r)
	rv := Review{Base: base}
	// A published permission counts the measure as printed, cup for cup: the weight figures of another form (sliced
	// jalapeños, chopped bell pepper) would read a change of shape as a change of food. So a swap within such a
	// permission is weighed by the figure of the line it replaces, and a note says what it weighs by its own.
	weighAs := map[string]Line{}
	for _, d := range j.diffs {
		f := j.finding(d)
		if f.Verdict.OK() && (f.likeForLike || f.asPrinted) {
			as := *d.before
			if f.likeForLike {
				as.Amount, as.PerJar = d.after.Amount, d.after.PerJar
			}
			weighAs[d.after.ID] = as
		}
		rv.Findings = append(rv.Findings, f)
	}
	if j.factor != nil {
		// The shares are those of a batch of the changed formula; a factor changes none of them, and sums are
		// compared for what one printed batch becomes.
		rv.Notes = append(rv.Notes, "Amounts after the change are for "+j.factor.String()+" printed batches at once.")
	}
	rv.AcidBefore, rv.AcidAfter = ShareOf(base), shareOf(r, weighAs)
	rv.SaltBefore, rv.SaltAfter = SumOf(base, Salt), SumOf(r, Salt)
	rv.SugarBefore, rv.SugarAfter = SumOf(base, Sugar), SumOf(r, Sugar)
	if f, fell := j.acidFall(rv.AcidBefore, rv.AcidAfter, weighAs); fell {
		rv.Findings = append(rv.Findings, f)
	}
	rv.notes(r, weighAs)
	for _, f := range rv.Findings {
		rv.Verdict = max(rv.Verdict, f.Verdict)
		rv.Consequence = max(rv.Consequence, f.Consequence)
	}
	return rv
}

// ReviewChanges reviews changes before anything is kept: it applies them to base, gives the outcome the process its
// changes take, and reviews it.
func ReviewChanges(base *Revision, changes []Change) (*Revision, Review, error) {
	changed, err := Apply(base, changes)
	if err != nil {
		return nil, Review{}, err
	}
	// A formula that comes from none of the printed ones but from an attested one is reviewed against that.
	if changed.Base == nil && changed.BasedOn == "" {
		if ok, _ := attestedStanding(base); ok {
			changed.Base = base
		}
	}
	changed = WithProcess(changed)
	return changed, ReviewOf(changed), nil
}

func (rv *Review) notes(r *Revision, weighAs map[string]Line) {
	for _, l := range r.Lines {
		as, ok := weighAs[l.ID]
		if !ok {
			continue
		}
		own := WeightOf(l, r.Yield)
		if printed := WeightOf(as, r.Yield); own.Known && printed.Known && own.Grams.Cmp(printed.Grams) > 0 {
			rv.Notes = append(rv.Notes, fmt.Sprintf("%s: the permission counts the measure as printed, so %s is taken as %s of %s; by its own figure it weighs %s. Keep to %s if you weigh it.",
				l.ID, l.amountText(), printed.Grams, as.Ingredient.Name, own.Grams, printed.Grams))
		}
	}
	unweighed := func(what string, ids []string) {
		if len(ids) > 0 {
			rv.Notes = append(rv.Notes, "No published figure weighs "+strings.Join(ids, ", ")+", so the "+what+" leaves it out.")
		}
	}
	unweighed("acid share", rv.AcidAfter.Unweighed)
	unweighed("salt", rv.SaltAfter.Unweighed)
	unweighed("sugar", rv.SugarAfter.Unweighed)
	for _, s := range append(append([]string{}, rv.SaltAfter.StandIns...), rv.SugarAfter.StandIns...) {
		rv.Notes = append(rv.Notes, s+".")
	}
}
