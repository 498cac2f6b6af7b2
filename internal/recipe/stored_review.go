package recipe

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// Recipe is a kitchen's recipe: a name and its revisions.
type Recipe struct {
	// ID is the last segment of its name.
	ID string
	// Title is its name for people.
	Title string
	// PublishedKey is the printed recipe it comes from, empty for the kitchen's own.
	PublishedKey string
	// Latest is its newest revision.
	Latest    Kept
	CreatedAt time.Time
	Version   int64
}

// Kept is a revision as it was kept.
type Kept struct {
	// Recipe is the ID of its recipe and Number its number there, from 1.
	Recipe string
	Number int
	// Revision is the formula, Review what the review said when it was kept.
	Revision *Revision
	Review   Review
	// NotForLoad is why its jars may not be put in a load, empty when they may; as found when it was kept.
	NotForLoad string
	CreatedAt  time.Time
}

// Keep prepares a formula to be kept: it gives it the process its changes take, reviews it, and says whether
// its jars may go into a load.
func Keep(r *Revision) Kept {
	r = WithProcess(r)
	return Kept{Revision: r, Review: ReviewOf(r), NotForLoad: LoadRefusal(r)}
}

type storedReview struct {
	Verdict     Verdict         `json:"verdict"`
	Consequence Consequence     `json:"consequence"`
	Findings    []storedFinding `json:"findings,omitempty"`
	AcidBefore  storedShare     `json:"acid_before"`
	AcidAfter   storedShare     `json:"acid_after"`
	SaltBefore  storedSum       `json:"salt_before"`
	SaltAfter   storedSum       `json:"salt_after"`
	SugarBefore storedSum       `json:"sugar_before"`
	SugarAfter  storedSum       `json:"sugar_after"`
	Notes       []string        `json:"notes,omitempty"`
}

type storedFinding struct {
	Kind        ChangeKind  `json:"kind"`
	LineID      string      `json:"line_id,omitempty"`
	Change      string      `json:"change"`
	Verdict     Verdict     `json:"verdict"`
	Consequence Consequence `json:"consequence"`
	Because     string      `json:"because"`
	WayOut      string      `json:"way_out,omitempty"`
	Citations   []Citation  `json:"citations,omitempty"`
	ProcessKey  string      `json:"process_key,omitempty"`
}

type storedShare struct {
	Acid      string   `json:"acid"`
	LowAcid   string   `json:"low_acid"`
	Unweighed []string `json:"unweighed,omitempty"`
}

type storedSum struct {
	Grams     string   `json:"grams"`
	Unweighed []string `json:"unweighed,omitempty"`
	StandIns  []string `json:"stand_ins,omitempty"`
}

// MarshalReview gives the JSON a review is kept as; UnmarshalReview reads it back, without its Base.
func MarshalReview(rv Review) ([]byte, error) {
	share := func(s Share) storedShare {
		return storedShare{s.AcidGrams.Number().Exact(), s.LowAcidGrams.Number().Exact(), s.Unweighed}
	}
	sum := func(s Sum) storedSum { return storedSum{s.Grams.Number().Exact(), s.Unweighed, s.StandIns} }
	s := storedReview{
		Verdict: rv.Verdict, Consequence: rv.Consequence, Notes: rv.Notes,
		AcidBefore: share(rv.AcidBefore), AcidAfter: share(rv.AcidAfter), SaltBefore: sum(rv.SaltBefore), SaltAfter: sum(rv.SaltAfter),
		SugarBefore: sum(rv.SugarBefore), SugarAfter: sum(rv.SugarAfter),
	}
	for _, f := range rv.Findings {
		s.Findings = append(s.Findings, storedFinding{f.Kind, f.LineID, f.Change, f.Verdict, f.Consequence, f.Because, f.WayOut, f.Citations, f.ProcessKey})
	}
	return json.Marshal(s)
}

// UnmarshalReview reads what MarshalReview gives.
func UnmarshalReview(data []byte) (Review, error) {
	var s storedReview
	broken := func(cause error) (Review, error) {
		return Review{}, fault.New(fault.Internal, "a stored review cannot be read").Because(cause)
	}
	if err := json.Unmarshal(data, &s); err != nil {
		return broken(err)
	}
	var errs []error
	grams := func(text string) measure.Grams {
		if text == "" { // kept without a review
			return measure.Grams{}
		}
		n, err := measure.ParseExact(text)
		errs = append(errs, err)
		return measure.NewGrams(n)
	}
	share := func(s storedShare) Share { return Share{grams(s.Acid), grams(s.LowAcid), s.Unweighed} }
	sum := func(s storedSum) Sum { return Sum{grams(s.Grams), s.Unweighed, s.StandIns} }
	rv := Review{
		Verdict: s.Verdict, Consequence: s.Consequence, Notes: s.Notes,
		AcidBefore: share(s.AcidBefore), AcidAfter: share(s.AcidAfter), SaltBefore: sum(s.SaltBefore), SaltAfter: sum(s.SaltAfter),
		SugarBefore: sum(s.SugarBefore), SugarAfter: sum(s.SugarAfter),
	}
	for _, f := range s.Findings {
		if f.Verdict < Allowed || f.Verdict > Forbidden || f.Consequence < ShelfStableStill || f.Consequence > ColdOnly {
			return broken(fmt.Errorf("finding %q has verdict %d and consequence %d", f.Change, f.Verdict, f.Consequence))
		}
		rv.Findings = append(rv.Findings, Finding{Kind: f.Kind, LineID: f.LineID, Change: f.Change, Verdict: f.Verdict, Consequence: f.Consequence,
			Because: f.Because, WayOut: f.WayOut, Citations: f.Citations, ProcessKey: f.ProcessKey})
	}
	if err := errors.Join(errs...); err != nil {
		return broken(err)
	}
	return rv, nil
}
