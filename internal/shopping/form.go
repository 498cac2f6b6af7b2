package shopping

import (
	"math/bits"
	"strings"
)

// cut is how finely an ingredient is divided, on the cook's scale from whole to puréed. Two cuts with the same
// rank are different words for about the same size.
type cut struct {
	rank int
	word string
}

// cuts are the words for cuts, with the class each belongs to. "Diced" and "chopped" are one class because the
// published weights print "chopped or diced" as one form; "strips or slices" likewise.
var cuts = map[string]cut{
	"whole": {0, "whole"}, "halves": {1, "halves"}, "halved": {1, "halves"}, "half": {1, "halves"},
	"quartered": {2, "quarters"}, "quarters": {2, "quarters"}, "sections": {2, "quarters"},
	"sliced": {3, "slices"}, "slices": {3, "slices"}, "slice": {3, "slices"}, "strips": {3, "slices"}, "rounds": {3, "slices"},
	"pieces": {4, "pieces"}, "chunks": {4, "pieces"}, "cubed": {4, "pieces"}, "cubes": {4, "pieces"}, "lengths": {4, "pieces"},
	"diced": {5, "chopped"}, "chopped": {5, "chopped"},
	"grated": {7, "grated"}, "shredded": {7, "grated"},
	"minced":  {7, "minced"},
	"crushed": {8, "crushed"}, "pureed": {8, "crushed"}, "puréed": {8, "crushed"}, "mashed": {8, "crushed"},
	"flowerets": {4, "flowerets"}, "floweret": {4, "flowerets"}, "florets": {4, "flowerets"},
	"sprigs": {0, "sprigs"}, "leaves": {0, "leaves"}, "kernel": {0, "kernels"}, "kernels": {0, "kernels"},
}

// finelyChopped lies between chopped and minced; no published weight prints it.
var finelyChopped = cut{6, "finely chopped"}

// answer is yes, no, or not said.
type answer int

const (
	unsaid answer = iota
	yes
	no
)

// form is what the words of a preparation say, as far as a weight or a yield depends on it.
type form struct {
	cuts   []cut
	peeled answer
	packed answer
	juice  bool
	// removed are the parts taken away.
	removed wordSet
	// size is "small", "medium" or "large" where said.
	size string
	// kinds are words that mark a special kind or part ("cherry", "paste", "slice"): a weight printed for one
	// does not hold for another.
	kinds wordSet
}

// wordSet is a set of the few words that matter here.
type wordSet uint16

const (
	withoutCore wordSet = 1 << iota
	withoutPit
	withoutSeed
	withoutShell
	kindCherry
	kindPaste
	kindSlice
	kindLeaf
	kindFloweret
	kindSprig
	kindFrozen
	kindAsPurchased
)

func (s wordSet) count() int { return bits.OnesCount16(uint16(s)) }

// removals and kinds are the words for parts taken away and for special kinds or parts.
var removals = map[string]wordSet{
	"core": withoutCore, "cored": withoutCore, "cores": withoutCore, "pit": withoutPit, "pits": withoutPit, "pitted": withoutPit,
	"seed": withoutSeed, "seeds": withoutSeed, "seeded": withoutSeed, "shelled": withoutShell, "kernels": withoutShell,
}

var kindWords = map[string]wordSet{
	"cherry": kindCherry, "grape": kindCherry, "plum": kindPaste, "roma": kindPaste, "plum-type": kindPaste,
	"slice": kindSlice, "leaf": kindLeaf, "floweret": kindFloweret, "sprig": kindSprig, "frozen": kindFrozen,
}

// readForm reads the words of a preparation, a printed form, or a name.
func readForm(text string) form {
	var f form
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return strings.ContainsRune(" ,;:()", r) })
	for i, w := range words {
		if c, ok := cuts[w]; ok && !(w == "half" || w == "slice" && i+1 < len(words) && words[i+1] == "of") {
			if c.word == "chopped" && i > 0 && words[i-1] == "finely" {
				c = finelyChopped
			}
			f.cuts = append(f.cuts, c)
		}
		switch w {
		case "peeled", "pared", "parings", "scraped", "scrapings":
			// "Skin" and "rind" are not here: garlic, mangoes and squash always lose theirs, said or not.
			f.peeled = yes
		case "unpeeled":
			f.peeled = no
		case "packed":
			f.packed = yes
			if i > 0 && words[i-1] == "not" {
				f.packed = no
			}
		case "unpacked", "loose", "loosely":
			f.packed = no
		case "juice":
			f.juice = true
		case "small", "medium", "large":
			f.size = w
		}
		f.removed |= removals[w]
		f.kinds |= kindWords[w]
		if w == "paste" && i+1 < len(words) && strings.HasPrefix(words[i+1], "tomato") {
			f.kinds |= kindPaste
		}
		if w == "from" && i+1 < len(words) && words[i+1] == "one" {
			// "from one cup with pits", "from one dry pint as purchased": printed for the whole fruit.
			f.kinds |= kindAsPurchased
		}
	}
	return f
}

// Distances between cuts, in half steps of the scale.
const (
	sameCut      = 0
	sameRank     = 1 // another word for about the same size
	unnamedCut   = 3 // the row names no cut: after rows one step away, before rows two steps away
	cutOverWhole = 4 // the line names no cut and the row does: after rows for whole pieces
)

// cutDistance says how far a printed form is from the form a line asks for: the least distance over the cuts that
// either names.
func cutDistance(line, row *form) int {
	switch {
	case len(line.cuts) == 0 && len(row.cuts) == 0:
		return sameCut
	case len(line.cuts) == 0:
		for _, c := range row.cuts {
			if c.rank == 0 {
				return sameRank
			}
		}
		return cutOverWhole
	case len(row.cuts) == 0:
		return unnamedCut
	}
	best := 1 << 30
	for _, a := range line.cuts {
		for _, b := range row.cuts {
			d := 2 * (a.rank - b.rank)
			if d < 0 {
				d = -d
			}
			if d == 0 && a.word != b.word {
				d = sameRank
			}
			best = min(best, d)
		}
	}
	return best
}

// peelDistance is 0 where line and row agree or the row does not say, 1 where the row is peeled and the line does
// not say so, 2 where they contradict each other. A line that does not say leaves the peel on.
func peelDistance(line, row answer) int {
	switch {
	case line == row || row == unsaid || line == unsaid && row == no:
		return 0
	case line == unsaid:
		return 1
	}
	return 2
}
