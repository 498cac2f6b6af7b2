package reference

import (
	"slices"
	"strings"
	"sync"
)

// Basis says why a word stands for a group of allergens.
type Basis string

// The bases, best founded first.
const (
	// InLaw: the source prints the word.
	InLaw Basis = "printed"
	// ByKind: another name for it, or a kind of it (common practice).
	ByKind Basis = "kind"
	// OftenHolds: a product that often holds it, whose label says (common practice).
	OftenHolds Basis = "holds"
)

// Allergen is a word by which a group of allergens is known.
type Allergen struct {
	// Group is a key, Name what the law calls it.
	Group, Name string
	// Word is one or more words, in any number.
	Word  string
	Basis Basis
	// Except are names that hold the word and are something else: "butter" in "butter beans".
	Except []string
	Source Source
}

var allergens = sync.OnceValue(func() []Allergen {
	return readTable("allergens.csv", func(r record) Allergen {
		a := Allergen{
			Group: r.text("group"), Name: r.text("name"), Word: r.text("word"), Basis: Basis(r.text("basis")), Source: r.source(),
		}
		if except := r.text("except"); except != "" {
			a.Except = strings.Split(except, "; ")
		}
		return a
	})
})

// Allergens are all words of all groups, in the order of the table: those of the law first.
func Allergens() []Allergen { return slices.Clone(allergens()) }
