package measure

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

const (
	// longestText bounds what is read as a quantity or an altitude, in bytes.
	longestText = 80
	// mostDigits bounds the digits on each side of a decimal point and of a fraction.
	mostDigits = 9
)

const amountWayOut = "write it like 3, 1-1/2, 1½, 0.5 or 2 to 3"

// vulgar holds the single-character fractions of Unicode.
var vulgar = map[rune]Number{
	'½': Ratio(1, 2), '⅓': Ratio(1, 3), '⅔': Ratio(2, 3), '¼': Ratio(1, 4), '¾': Ratio(3, 4),
	'⅕': Ratio(1, 5), '⅖': Ratio(2, 5), '⅗': Ratio(3, 5), '⅘': Ratio(4, 5), '⅙': Ratio(1, 6),
	'⅚': Ratio(5, 6), '⅛': Ratio(1, 8), '⅜': Ratio(3, 8), '⅝': Ratio(5, 8), '⅞': Ratio(7, 8),
	'⅐': Ratio(1, 7), '⅑': Ratio(1, 9), '⅒': Ratio(1, 10),
}

// ParseAmount reads a number or a range with nothing after it. It accepts whole numbers, decimals with a
// point, fractions, mixed numbers joined by a space, a hyphen or nothing ("1 1/2", "1-1/2", "1½"),
// and ranges with "to", "or", a hyphen or a dash ("2 to 3", "4-6").
//
// A comma is read only as a thousands mark between groups of three digits ("5,280"); "1,5" is refused,
// because half of its readers would mean 1.5 and nobody should guess in a kitchen.
func ParseAmount(s string) (Amount, error) {
	r, err := newReader("quantity", s)
	if err != nil {
		return Amount{}, err
	}
	a, err := r.amount()
	if err != nil {
		return Amount{}, err
	}
	r.space()
	if !r.done() {
		return Amount{}, wrong("quantity", s, "has something after the number that is not part of it", amountWayOut)
	}
	return a, nil
}

// ParseQuantity reads an amount and its unit: "1-1/2 cups", "2 to 3 lb", and compounds of one dimension such
// as "1 lb 4 oz", which come back in the first unit (1-1/4 lb). Without a unit the quantity counts pieces.
func ParseQuantity(s string) (Quantity, error) {
	r, err := newReader("quantity", s)
	if err != nil {
		return Quantity{}, err
	}
	var total Quantity
	for first := true; ; first = false {
		amount, err := r.amount()
		if err != nil {
			return Quantity{}, err
		}
		word := r.word()
		if word == "" {
			if !first {
				return Quantity{}, wrong("quantity", s, "has a number without a unit after another quantity", "give every part its unit, like 1 lb 4 oz")
			}
			if !r.done() {
				return Quantity{}, wrong("quantity", s, "has something after the number that is not a unit", amountWayOut)
			}
			return Quantity{Amount: amount, Unit: Each}, nil
		}
		unit, err := ParseUnit(word)
		if err != nil {
			return Quantity{}, err
		}
		part := Quantity{Amount: amount, Unit: unit}
		if first {
			total = part
		} else {
			if total.Amount.IsRange() || amount.IsRange() {
				return Quantity{}, wrong("quantity", s, "mixes a range with a compound of units", "write the range in one unit, like 1.25 to 1.5 lb")
			}
			if total, err = total.Add(part); err != nil {
				return Quantity{}, wrong("quantity", s, "adds units that measure different things", "write one quantity")
			}
		}
		if r.done() {
			return total, nil
		}
	}
}

// reader walks over the text of a quantity.
type reader struct {
	field, text string
	rest        string
}

func newReader(field, s string) (*reader, error) {
	switch {
	case len(s) > longestText:
		return nil, wrong(field, s, "is too long to be a "+field, "write only the number and its unit")
	case !utf8.ValidString(s):
		return nil, wrong(field, "", "is not valid UTF-8 text", "save the text as UTF-8")
	case strings.TrimSpace(s) == "":
		return nil, wrong(field, s, "is empty", amountWayOut)
	}
	return &reader{field: field, text: s, rest: strings.TrimSpace(s)}, nil
}

func (r *reader) fail(reason, wayOut string) error { return wrong(r.field, r.text, reason, wayOut) }

func (r *reader) done() bool { return r.rest == "" }

func (r *reader) space() { r.rest = strings.TrimLeftFunc(r.rest, unicode.IsSpace) }

func (r *reader) peek() rune {
	if r.rest == "" {
		return 0
	}
	c, _ := utf8.DecodeRuneInString(r.rest)
	return c
}

func (r *reader) skip(c rune) { r.rest = r.rest[utf8.RuneLen(c):] }

func isDash(c rune) bool {
	return c == '-' || c == '–' || c == '—' || c == '‐' || c == '‑' || c == '−'
}

func isDigit(c rune) bool { return c >= '0' && c <= '9' }

// startsNumber says whether c can begin a number.
func startsNumber(c rune) bool {
	_, fraction := vulgar[c]
	return isDigit(c) || c == '.' || fraction
}

// amount reads a number and, if one follows, the other end of a range.
func (r *reader) amount() (Amount, error) {
	low, err := r.number()
	if err != nil {
		return Amount{}, err
	}
	before := r.rest
	r.space()
	switch c := r.peek(); {
	case isDash(c):
		r.skip(c)
		r.space()
	case hasWord(r.rest, "to"), hasWord(r.rest, "or"):
		r.rest = r.rest[2:]
		r.space()
	default:
		r.rest = before
		return One(low), nil
	}
	if !startsNumber(r.peek()) {
		return Amount{}, r.fail("has a range without an upper end", "write it like 2 to 3")
	}
	high, err := r.number()
	if err != nil {
		return Amount{}, err
	}
	if high.Less(low) {
		return Amount{}, r.fail("has a range whose upper end is below its lower end", "write the smaller number first")
	}
	return Amount{Low: low, High: high}, nil
}

// hasWord says whether s begins with the word followed by a space or a digit.
func hasWord(s, word string) bool {
	if len(s) <= len(word) || !strings.EqualFold(s[:len(word)], word) {
		return false
	}
	c, _ := utf8.DecodeRuneInString(s[len(word):])
	return unicode.IsSpace(c) || startsNumber(c)
}

// number reads one number: whole, decimal, fraction or mixed.
func (r *reader) number() (Number, error) {
	r.space()
	c := r.peek()
	if isDash(c) {
		return Number{}, r.fail("is negative", "give 0 or more")
	}
	if v, ok := vulgar[c]; ok {
		r.skip(c)
		return v, r.endNumber()
	}
	if !startsNumber(c) {
		return Number{}, r.fail("does not begin with a number", amountWayOut)
	}
	whole, isWhole, err := r.decimal()
	if err != nil {
		return Number{}, err
	}
	if !isWhole {
		return whole, r.endNumber()
	}
	if r.fractionSlash() {
		den, err := r.denominator()
		if err != nil {
			return Number{}, err
		}
		return whole.Div(den), r.endNumber()
	}
	if !whole.IsZero() {
		if part, ok := r.properFraction(); ok {
			return whole.Add(part), r.endNumber()
		}
	}
	return whole, r.endNumber()
}

// endNumber refuses what would make a second reading of the number just read, like "1.5.2" or "1½/2".
func (r *reader) endNumber() error {
	switch c := r.peek(); {
	case c == '/' || c == '⁄' || c == ',':
		return r.fail("is not a number that reads only one way", amountWayOut)
	case c == '.' && len(r.rest) > 1 && isDigit(rune(r.rest[1])), startsNumber(c) && c != '.':
		return r.fail("is not a number that reads only one way", amountWayOut)
	}
	return nil
}

// decimal reads digits with thousands marks and a decimal point; isWhole says there was no point.
func (r *reader) decimal() (n Number, isWhole bool, err error) {
	whole := r.digits()
	if r.peek() == ',' {
		if whole, err = r.thousands(whole); err != nil {
			return Number{}, false, err
		}
	}
	text := whole
	isWhole = true
	if len(r.rest) > 1 && r.rest[0] == '.' && isDigit(rune(r.rest[1])) {
		r.skip('.')
		fraction := r.digits()
		if len(fraction) > mostDigits {
			return Number{}, false, r.fail("has more decimals than can be measured", "round it to fewer decimals")
		}
		text, isWhole = whole+"."+fraction, false
	}
	if len(whole) > mostDigits {
		return Number{}, false, r.fail("is too large", "check the number of digits")
	}
	if n, err = Decimal(text); err != nil {
		return Number{}, false, r.fail("is not a number", amountWayOut)
	}
	return n, isWhole, nil
}

// thousands reads the groups after a first comma; head holds the digits before it.
func (r *reader) thousands(head string) (string, error) {
	if head == "" || len(head) > 3 {
		return "", r.fail("has a comma where no thousands mark belongs", "write 1.5 with a point, or 5,280 in groups of three")
	}
	for r.peek() == ',' {
		r.skip(',')
		group := r.digits()
		if len(group) != 3 {
			return "", r.fail("has a comma that is not a thousands mark", "write decimals with a point, like 1.5")
		}
		head += group
	}
	return head, nil
}

func (r *reader) digits() string {
	end := 0
	for end < len(r.rest) && isDigit(rune(r.rest[end])) {
		end++
	}
	d := r.rest[:end]
	r.rest = r.rest[end:]
	return d
}

// fractionSlash consumes a slash that is followed by a digit.
func (r *reader) fractionSlash() bool {
	for _, slash := range []string{"/", "⁄"} {
		if after, ok := strings.CutPrefix(r.rest, slash); ok && after != "" && isDigit(rune(after[0])) {
			r.rest = after
			return true
		}
	}
	return false
}

func (r *reader) denominator() (Number, error) {
	d := r.digits()
	if len(d) > mostDigits {
		return Number{}, r.fail("is too fine a fraction", amountWayOut)
	}
	den, err := Decimal(d)
	if err != nil || den.IsZero() {
		return Number{}, r.fail("divides by zero", amountWayOut)
	}
	return den, nil
}

// properFraction reads the fraction of a mixed number after its whole part. What follows a hyphen or a space
// counts only when it is a fraction below one, so "1-2" stays a range and "1 2" an error.
func (r *reader) properFraction() (Number, bool) {
	before := r.rest
	if c := r.peek(); isDash(c) {
		r.skip(c)
	} else {
		r.space()
	}
	if v, ok := vulgar[r.peek()]; ok {
		r.skip(r.peek())
		return v, true
	}
	num := r.digits()
	if num != "" && len(num) <= mostDigits && r.fractionSlash() {
		den, err := r.denominator()
		top, errTop := Decimal(num)
		if err == nil && errTop == nil && top.Less(den) {
			return top.Div(den), true
		}
	}
	r.rest = before
	return Number{}, false
}

// word reads the text up to the next number: the unit.
func (r *reader) word() string {
	r.space()
	end := len(r.rest)
	for i, c := range r.rest {
		// The point of "lb. 4 oz" belongs to the unit, that of "lb .5 oz" to the number.
		pointBeforeDigit := c == '.' && i+1 < len(r.rest) && isDigit(rune(r.rest[i+1]))
		if pointBeforeDigit || startsNumber(c) && c != '.' {
			end = i
			break
		}
	}
	w := strings.TrimSpace(strings.TrimRight(strings.TrimSpace(r.rest[:end]), ",+"))
	w = strings.TrimSuffix(w, " and")
	r.rest = r.rest[end:]
	return w
}
