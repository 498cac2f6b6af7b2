package web

import (
	"cmp"
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// functions are what templates may call.
func (l *looks) functions() template.FuncMap {
	return template.FuncMap{
		"asset": l.address,
		"clock": clock, "day": day, "moment": moment, "instant": instant, "hour": func(t time.Time) string { return t.Format("15:04") },
		"last": last, "parent": parent, "tenth": tenth, "money": money, "jar": jarWord, "jars": jarCount, "role": roleWord, "altitude": altitude,
		"fresh": uuid.NewString,
		"count": count, "field": newField, "dict": dict, "add": func(a, b int) int { return a + b },
	}
}

func in(zone *time.Location, t *timestamppb.Timestamp) time.Time {
	if zone == nil {
		zone = time.UTC
	}
	return t.AsTime().In(zone)
}

// clock is a time of day, by the clock of a site: "09:30".
func clock(zone *time.Location, t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return in(zone, t).Format("15:04")
}

// day is a date: "Saturday 21 August 2027".
func day(zone *time.Location, t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return in(zone, t).Format("Monday 2 January 2006")
}

// moment is a date with its time of day: "21 Aug 2027, 09:30".
func moment(zone *time.Location, t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return in(zone, t).Format("2 Jan 2006, 15:04")
}

// instant is a time as programs read it, for the datetime attribute.
func instant(t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return t.AsTime().Format(time.RFC3339)
}

// last is the last segment of a resource name.
func last(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// parent is the name of what a resource belongs to: of kitchens/K/classes/C/shoppingLists/2, kitchens/K/classes/C.
func parent(name string) string {
	for range 2 {
		name = name[:max(0, strings.LastIndexByte(name, '/'))]
	}
	return name
}

// tenth is a figure in tenths as a decimal: 50 is "5", 45 is "4.5".
func tenth(n int32) string {
	return strings.TrimSuffix(fmt.Sprintf("%d.%d", n/10, n%10), ".0")
}

// minorDigits are the decimals of currencies that do not have two (ISO 4217).
var minorDigits = map[string]int{
	"BIF": 0, "CLP": 0, "DJF": 0, "GNF": 0, "ISK": 0, "JPY": 0, "KMF": 0, "KRW": 0, "PYG": 0, "RWF": 0, "UGX": 0, "UYI": 0, "VND": 0,
	"VUV": 0, "XAF": 0, "XOF": 0, "XPF": 0, "BHD": 3, "IQD": 3, "JOD": 3, "KWD": 3, "LYD": 3, "OMR": 3, "TND": 3,
}

// money is an amount with its currency: "61.28 USD".
func money(m *stillroomv1.Money) string {
	if m == nil {
		return ""
	}
	digits, ok := minorDigits[m.GetCurrencyCode()]
	if !ok {
		digits = 2
	}
	sign, units := "", m.GetMinorUnits()
	if units < 0 {
		sign, units = "−", -units
	}
	text := fmt.Sprintf("%0*d", digits+1, units)
	if digits > 0 {
		text = text[:len(text)-digits] + "." + text[len(text)-digits:]
	}
	return sign + text + " " + m.GetCurrencyCode()
}

var jarWords = map[stillroomv1.JarSize]string{
	stillroomv1.JarSize_JAR_SIZE_HALF_PINT: "half-pint", stillroomv1.JarSize_JAR_SIZE_PINT: "pint", stillroomv1.JarSize_JAR_SIZE_QUART: "quart",
	stillroomv1.JarSize_JAR_SIZE_ML_250: "250 ml", stillroomv1.JarSize_JAR_SIZE_ML_500: "500 ml", stillroomv1.JarSize_JAR_SIZE_L_1: "1 l",
	stillroomv1.JarSize_JAR_SIZE_TWELVE_OUNCE: "12 oz", stillroomv1.JarSize_JAR_SIZE_HALF_GALLON: "half-gallon",
	stillroomv1.JarSize_JAR_SIZE_FOUR_OUNCE: "4 oz", stillroomv1.JarSize_JAR_SIZE_ONE_AND_HALF_PINT: "1½ pint",
	stillroomv1.JarSize_JAR_SIZE_TWENTY_FOUR_OUNCE: "24 oz", stillroomv1.JarSize_JAR_SIZE_TWENTY_EIGHT_OUNCE: "28 oz",
}

// jarWord is a size of jar in words.
func jarWord(s stillroomv1.JarSize) string { return jarWords[s] }

// jarCount is a number of jars of a size: "9 half-pint jars".
func jarCount(n any, s stillroomv1.JarSize) string {
	return count(n, strings.TrimSpace(jarWord(s)+" jar"), strings.TrimSpace(jarWord(s)+" jars"))
}

// count is a number with its word: count(1, "place", "places").
func count(n any, one, many string) string {
	word := many
	if fmt.Sprint(n) == "1" {
		word = one
	}
	return strings.TrimSpace(fmt.Sprintf("%v %s", n, word))
}

// sortSizes puts jars in the order of what they hold.
func sortSizes(sizes []stillroomv1.JarSize) {
	slices.SortFunc(sizes, func(a, b stillroomv1.JarSize) int {
		return cmp.Or(cmp.Compare(jarMillilitres[a], jarMillilitres[b]), cmp.Compare(a, b))
	})
}

// jarMillilitres are what jars hold, as the contract's comments say.
var jarMillilitres = map[stillroomv1.JarSize]float64{
	stillroomv1.JarSize_JAR_SIZE_FOUR_OUNCE: 118.294, stillroomv1.JarSize_JAR_SIZE_HALF_PINT: 236.588, stillroomv1.JarSize_JAR_SIZE_ML_250: 250,
	stillroomv1.JarSize_JAR_SIZE_TWELVE_OUNCE: 354.882, stillroomv1.JarSize_JAR_SIZE_PINT: 473.176, stillroomv1.JarSize_JAR_SIZE_ML_500: 500,
	stillroomv1.JarSize_JAR_SIZE_ONE_AND_HALF_PINT: 709.765, stillroomv1.JarSize_JAR_SIZE_TWENTY_FOUR_OUNCE: 709.765,
	stillroomv1.JarSize_JAR_SIZE_TWENTY_EIGHT_OUNCE: 828.059, stillroomv1.JarSize_JAR_SIZE_QUART: 946.353, stillroomv1.JarSize_JAR_SIZE_L_1: 1000,
	stillroomv1.JarSize_JAR_SIZE_HALF_GALLON: 1892.706,
}

// roleWord is a role in a word.
func roleWord(r stillroomv1.Role) string {
	return strings.ToLower(strings.TrimPrefix(r.String(), "ROLE_"))
}

// feetPerMetre is the international foot's, exactly 0.3048 m.
const feetPerMetre = 1 / 0.3048

// altitude is a height in both units: "1,655 m (5,430 ft)".
func altitude(a *stillroomv1.Altitude) string {
	if a == nil {
		return ""
	}
	return fmt.Sprintf("%s m (%s ft)", thousands(a.GetMetres()), thousands(a.GetMetres()*feetPerMetre))
}

func thousands(f float64) string {
	s := fmt.Sprintf("%.0f", f)
	if at := len(s) - 3; at > 0 && s[at-1] != '-' {
		s = s[:at] + "," + s[at:]
	}
	return s
}

// inputField is a field of a form, for the template "field".
type inputField struct {
	Name, Label, Hint, Kind, Value, Problem, Autocomplete string
	Required                                              bool
}

// newField describes a field of a form: its name, its label and, in this order, its
// kind ("text" when left out), a hint and an autocomplete word. A label that ends with an
// asterisk must be filled in.
func newField(f form, name, label string, more ...string) inputField {
	label, required := strings.CutSuffix(label, "*")
	i := inputField{Name: name, Label: label, Kind: "text", Value: f.Values.Get(name), Problem: f.Problems[name], Required: required}
	for n, to := range []*string{&i.Kind, &i.Hint, &i.Autocomplete} {
		if n < len(more) && more[n] != "" {
			*to = more[n]
		}
	}
	return i
}

// dict makes a map from names and values, for a template that needs several.
func dict(pairs ...any) (map[string]any, error) {
	if len(pairs)%2 != 0 {
		return nil, fmt.Errorf("dict takes pairs, not %d things", len(pairs))
	}
	m := map[string]any{}
	for i := 0; i < len(pairs); i += 2 {
		name, ok := pairs[i].(string)
		if !ok {
			return nil, fmt.Errorf("dict: %v is no name", pairs[i])
		}
		m[name] = pairs[i+1]
	}
	return m, nil
}
