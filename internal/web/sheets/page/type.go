package page

import (
	"slices"
	"strings"
	"sync"

	"codeberg.org/go-pdf/fpdf"
	"github.com/go-fonts/dejavu/dejavusanscondensed"
	"github.com/go-fonts/dejavu/dejavusanscondensedbold"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/text/unicode/bidi"
	"golang.org/x/text/unicode/norm"

	"stillroom/internal/web/inert"
)

// The typeface is DejaVu Sans Condensed: free to embed (its licence travels with its module), plain at a distance,
// with Latin, Greek, Cyrillic, Armenian, Georgian, Hebrew and Arabic letters.
const face = "face"

const (
	regular = ""
	bold    = "B"
)

// missing stands for a letter that the typeface lacks, in the reading of the Unicode standard, chapter 23.8.
const missing = '\uFFFD'

var typefaces = sync.OnceValue(func() map[string]*sfnt.Font {
	all := map[string]*sfnt.Font{}
	for style, data := range map[string][]byte{regular: dejavusanscondensed.TTF, bold: dejavusanscondensedbold.TTF} {
		f, err := sfnt.Parse(data)
		if err != nil {
			panic(err) // it is part of the program
		}
		all[style] = f
	}
	return all
})

// addTypefaces gives a file the typeface; only the letters used end up in it.
func addTypefaces(f *fpdf.Fpdf) {
	f.AddUTF8FontFromBytes(face, regular, slices.Clone(dejavusanscondensed.TTF))
	f.AddUTF8FontFromBytes(face, bold, slices.Clone(dejavusanscondensedbold.TTF))
}

// has says whether both cuts of the typeface have a letter.
func has(r rune) bool {
	if ' ' <= r && r <= '~' {
		return true
	}
	if r > 0xFFFF {
		return false
	}
	var buffer sfnt.Buffer
	for _, style := range []string{regular, bold} {
		if g, err := typefaces()[style].GlyphIndex(&buffer, r); err != nil || g == 0 {
			return false
		}
	}
	return true
}

// set is a text ready to be measured: inert, composed, Arabic letters joined, and a mark for each letter that the
// typeface lacks. It is still in the order of reading.
func set(s string) string {
	s = inert.Text(s)
	if strings.IndexFunc(s, func(r rune) bool { return r > '~' }) < 0 {
		return s
	}
	s = join(norm.NFC.String(s))
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\u200c' || r == '\u200d': // joiners have done their work
		case has(r):
			b.WriteRune(r)
		default:
			b.WriteRune(missing)
		}
	}
	return b.String()
}

// turned is a line in the order in which its letters are drawn, from left to right, by the Unicode bidirectional
// algorithm (UAX #9). A line's direction is that of its first strong letter.
func turned(line string) string {
	if strings.IndexFunc(line, func(r rune) bool { return r >= '\u0590' }) < 0 {
		return line
	}
	var p bidi.Paragraph
	if _, err := p.SetString(line); err != nil {
		return line
	}
	order, err := p.Order()
	if err != nil {
		return line
	}
	runs := parts(order)
	var b strings.Builder
	if readsLeft(line) {
		slices.Reverse(runs)
	} else {
		reverseEmbedded(runs)
	}
	for _, r := range runs {
		if r.right {
			b.WriteString(bidi.ReverseString(r.text))
		} else {
			b.WriteString(r.text)
		}
	}
	return b.String()
}

// run is a stretch of one direction, in the order of reading.
type run struct {
	text  string
	right bool // from right to left
	// number says that it holds a number and no letter, so that it goes along with right-to-left letters before it.
	number bool
}

// parts are the runs of a line. The library has one run of a number after right-to-left letters and of left-to-right
// letters after that, though the number lies deeper (UAX #9, rule I1); they are parted here.
func parts(order bidi.Ordering) []run {
	var runs []run
	for i := range order.NumRuns() {
		r := order.Run(i)
		text := r.String()
		if r.Direction() == bidi.RightToLeft {
			runs = append(runs, run{text: text, right: true})
			continue
		}
		end := 0 // of the last digit before the first letter
		for at, c := range text {
			class := class(c)
			if class == bidi.L {
				break
			}
			if class == bidi.EN || class == bidi.AN {
				end = at + len(string(c))
			}
		}
		if end > 0 {
			runs = append(runs, run{text: text[:end], number: true})
		}
		if end < len(text) {
			runs = append(runs, run{text: text[end:]})
		}
	}
	return runs
}

// readsLeft says whether a line's first strong letter makes it one from right to left (rules P2 and P3).
func readsLeft(line string) bool {
	for _, r := range line {
		switch class(r) {
		case bidi.L:
			return false
		case bidi.R, bidi.AL:
			return true
		}
	}
	return false
}

func class(r rune) bidi.Class {
	p, _ := bidi.LookupRune(r)
	return p.Class()
}

// reverseEmbedded turns each stretch of right-to-left runs, with the numbers among and after them, around within a
// line that reads from left to right (rule L2).
func reverseEmbedded(runs []run) {
	for from := 0; from < len(runs); from++ {
		if !runs[from].right {
			continue
		}
		to := from + 1
		for to < len(runs) && (runs[to].right || runs[to].number) {
			to++
		}
		slices.Reverse(runs[from:to])
		from = to
	}
}

// forms are the shapes of an Arabic letter: alone, after another, before another, between two. Letters that never
// reach to the next have the first two only.
var forms = sync.OnceValue(func() map[rune][]rune {
	all := map[rune][]rune{}
	// The presentation forms stand in the Unicode code charts letter by letter, in this order; each names its letter
	// by its compatibility decomposition.
	for _, block := range [][2]rune{{0xFB50, 0xFBB1}, {0xFBD3, 0xFBFF}, {0xFE80, 0xFEF4}} {
		for r := block[0]; r <= block[1]; r++ {
			if letter := []rune(norm.NFKC.String(string(r))); len(letter) == 1 && letter[0] != r {
				all[letter[0]] = append(all[letter[0]], r)
			}
		}
	}
	return all
})

// join gives Arabic letters the shapes that join them. Vowel signs above and below do not part letters.
func join(s string) string {
	if strings.IndexFunc(s, func(r rune) bool { return 0x0600 <= r && r <= 0x06FF }) < 0 {
		return s
	}
	letters := []rune(s)
	reaches := func(at, step int) bool { // whether the neighbour on that side joins
		for at += step; 0 <= at && at < len(letters); at += step {
			switch r := letters[at]; {
			case 0x064B <= r && r <= 0x065F || r == 0x0670:
				continue
			case r == '\u0640' || r == '\u200d':
				return true
			case step < 0:
				return len(forms()[r]) == 4
			default:
				return len(forms()[r]) >= 2
			}
		}
		return false
	}
	out := make([]rune, len(letters))
	for i, r := range letters {
		out[i] = r
		shapes := forms()[r]
		if len(shapes) != 2 && len(shapes) != 4 {
			continue
		}
		before, after := reaches(i, -1), len(shapes) == 4 && reaches(i, 1)
		shape := shapes[0]
		switch {
		case before && after:
			shape = shapes[3]
		case before:
			shape = shapes[1]
		case after:
			shape = shapes[2]
		}
		if has(shape) {
			out[i] = shape
		}
	}
	return string(out)
}
