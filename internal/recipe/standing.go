package recipe

import (
	"fmt"
	"strings"
)

// WithProcess gives a changed formula the process its changes take: fish in soup is processed as soup with seafood.
// It returns r itself when no change takes another product's process, and never touches r.
func WithProcess(r *Revision) *Revision {
	for _, f := range ReviewOf(r).Findings {
		if f.Verdict.OK() && f.ProcessKey != "" && f.ProcessKey != r.ProcessKey {
			c := r.Clone()
			c.ProcessKey = f.ProcessKey
			return c
		}
	}
	return r
}

// ShelfStable says whether jars of a revision may be shelf-stable, and why or why not. Nothing stored is believed: it
// sets the formula against the printed one afresh. What is not shelf-stable may be taught and bought for; its
// jars are "refrigerate or freeze". Whether a given jar has a process at a given altitude is for the canning room.
func ShelfStable(r *Revision) (bool, string) {
	if baseOf(r) == nil {
		return attestedStanding(r)
	}
	if r.Base != nil {
		if ok, why := attestedStanding(r.Base); !ok {
			return false, why
		}
	}
	rv := ReviewOf(r)
	for _, f := range rv.Findings {
		if f.Verdict == rv.Verdict && !f.Verdict.OK() || f.Consequence == ColdOnly {
			return false, f.Change + " is " + f.Verdict.String() + ": " + f.Because
		}
		if f.ProcessKey != "" && f.ProcessKey != r.ProcessKey {
			return false, f.Change + " takes the process of " + f.ProcessKey + ", and the recipe names that of " + r.ProcessKey
		}
	}
	if len(rv.Findings) == 0 {
		return true, "as printed in " + rv.Base.Source.String()
	}
	return true, "changed only as the publications allow; printed in " + rv.Base.Source.String()
}

// LoadRefusal says why jars of a revision may not be put in a canner load; empty when they may. Besides what is not
// shelf-stable it refuses what the process tables, which loads are planned by, do not print.
func LoadRefusal(r *Revision) string {
	if ok, why := ShelfStable(r); !ok {
		return why
	}
	if r.Method != "" && !tabledMethod(r.Method) {
		return "it is processed by " + strings.ReplaceAll(r.Method, "_", " ") + ", which loads are not planned for"
	}
	if base := baseOf(r); base != nil && base.SterileJars && !r.SterileJars && base.Family() == SweetSpread {
		return "unsterile jars of a sweet spread take a longer process that is not printed by altitude; sterilise the jars"
	}
	return ""
}

// attestedStanding says whether a formula outside the library stands on somebody's word that it is printed: it must
// name a product of the process table, and the same publication as that table, since a process is tested with
// its formula, and a place in it.
func attestedStanding(r *Revision) (bool, string) {
	switch {
	case r.ProcessKey == "":
		return false, "it has no published process; refrigerate or freeze"
	case !hasProcess(r.ProcessKey):
		return false, fmt.Sprintf("the process tables have no product %q; refrigerate or freeze", r.ProcessKey)
	case r.Source.Publication == "" || r.Source.Locator == "":
		return false, "it names no published source with a place in it; refrigerate or freeze"
	case !samePublication(r.Source.Publication, r.ProcessKey):
		return false, fmt.Sprintf("its source is not the publication of the process of %q, and a process holds only for the formula it was tested with; refrigerate or freeze", r.ProcessKey)
	case strings.TrimSpace(r.Attested.By) == "":
		return false, "nobody has said that the formula is as printed in " + r.Source.String() + "; refrigerate or freeze"
	case r.Method != "":
		return false, "it is not processed as the tables print; refrigerate or freeze"
	}
	if ok, why := jarInTable(r.ProcessKey, r.Pack, r.Yield.Jar); !ok {
		return false, why
	}
	return true, "on the word of " + r.Attested.By + " that the formula is as printed in " + r.Source.String() + "; this program has not seen that page"
}
