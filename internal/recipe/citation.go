package recipe

import (
	"stillroom/internal/reference"
)

// Citation is the published word behind a verdict.
type Citation struct {
	// Key is the procedure fact, or empty for a recipe or a row of the process table.
	Key string
	// Statement is what the source says, in one sentence.
	Statement string
	// Source and Locator say where.
	Source  string
	Locator string
}

// String is "statement (source, locator)".
func (c Citation) String() string { return c.Statement + " (" + c.Source + ", " + c.Locator + ")" }

// cite looks facts up by key. The keys are written in this package and in the shipped recipes, whose tests look
// every one of them up; an unknown one panics.
func cite(keys ...string) []Citation {
	var cs []Citation
	seen := map[string]bool{}
	for _, key := range keys {
		if seen[key] {
			continue
		}
		seen[key] = true
		f := reference.MustFact(key)
		cs = append(cs, Citation{Key: key, Statement: f.Sentence(), Source: f.Source.Publication, Locator: f.Source.Locator})
	}
	return cs
}

// citeRecipe cites the printed recipe itself.
func citeRecipe(r *Revision, statement string) Citation {
	return Citation{Statement: statement, Source: r.Source.Publication, Locator: r.Source.Locator}
}

// citeRow cites a row of the process table.
func citeRow(row reference.ProcessRow, statement string) Citation {
	return Citation{Statement: statement, Source: row.Source.Publication, Locator: row.Source.Locator}
}
