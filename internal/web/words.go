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

	"stillroom/internal/web/inert"
	"stillroom/internal/web/words"
)

// functions are what templates may call.
func (l *looks) functions() template.FuncMap {
	return template.FuncMap{
		"asset": l.address,
		"clock": clock, "day": day, "moment": moment, "daytime": daytime, "instant": instant, "hour": func(t time.Time) string { return t.Format("15:04") },
		"last": last, "parent": parent, "tenth": tenth, "money": money, "jar": jarWord, "jars": jarCount, "role": roleWord, "altitude": altitude,
		"fresh": uuid.NewString, "said": inert.Text,
		"people": peopleWords, "state": stateWord, "step": stepWord, "span": minuteClock, "rule": ruleWord,
		"process": words.Process, "minutes": afterOpening, "percentage": func(share float64) float64 { return share * 100 },
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

// daytime is a day with its time, without the year: "Saturday 21 August, 09:30".
func daytime(zone *time.Location, t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return in(zone, t).Format("Monday 2 January, 15:04")
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

// What sheets say too, under the names that pages use.
var (
	last     = words.Last
	money    = words.Money
	jarWord  = words.Jar
	jarCount = words.Jars
	count    = words.Count
	altitude = words.Altitude
)

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
