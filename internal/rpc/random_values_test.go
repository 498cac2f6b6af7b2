package rpc

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"sync"
	"time"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"github.com/google/uuid"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"pgregory.net/rapid"
)

// A maker makes requests at random from the contract's descriptors: mostly within the
// declared rules, so that calls get past them, and often enough outside. Names come from
// what earlier calls made, so that calls find something.
type maker struct {
	*rand.Rand
	own, foreign *larder
}

// now and then is true once in so many times.
func (m *maker) oneIn(n int) bool { return m.IntN(n) == 0 }

func pick[T any](m *maker, from []T) T { return from[m.IntN(len(from))] }

// message fills a message. depth bounds messages within messages.
func (m *maker) message(msg protoreflect.Message, depth int) {
	switch msg.Descriptor().FullName() {
	case "google.protobuf.Timestamp", "google.protobuf.Duration":
		m.instant(msg)
		return
	}
	fields := msg.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if o := f.ContainingOneof(); o != nil && !o.IsSynthetic() {
			continue
		}
		likely := 45
		switch {
		case needed(f):
			likely = 96
		case behaves(f, annotations.FieldBehavior_OUTPUT_ONLY):
			likely = 4
		case f.Name() == "page_token" || f.Name() == "etag":
			likely = 25
		}
		if m.IntN(100) < likely {
			m.field(msg, f, depth)
		}
	}
	for i := range msg.Descriptor().Oneofs().Len() {
		if o := msg.Descriptor().Oneofs().Get(i); !o.IsSynthetic() && !m.oneIn(12) {
			m.field(msg, o.Fields().Get(m.IntN(o.Fields().Len())), depth)
		}
	}
}

// field sets one field, whatever its shape.
func (m *maker) field(msg protoreflect.Message, f protoreflect.FieldDescriptor, depth int) {
	if f.Message() != nil && !f.IsMap() && depth <= 0 {
		return
	}
	switch {
	case f.IsMap():
		entries := msg.Mutable(f).Map()
		for range m.IntN(4) {
			key := m.scalar(msg, f.MapKey()).MapKey()
			if f.MapValue().Message() == nil {
				entries.Set(key, m.scalar(msg, f.MapValue()))
			}
		}
	case f.IsList():
		list := msg.Mutable(f).List()
		for range m.length(f) {
			if f.Message() != nil {
				e := list.NewElement()
				m.message(e.Message(), depth-1)
				list.Append(e)
			} else {
				list.Append(m.scalar(msg, f))
			}
		}
	case f.Message() != nil && f.Message().FullName() == "google.protobuf.FieldMask":
		m.mask(msg, msg.Mutable(f).Message())
	case f.Message() != nil:
		m.message(msg.Mutable(f).Message(), depth-1)
	default:
		msg.Set(f, m.scalar(msg, f))
	}
}

func (m *maker) length(f protoreflect.FieldDescriptor) int {
	r := rulesOf(f).GetRepeated()
	least, most := int(r.GetMinItems()), 3
	if m.oneIn(60) {
		most = 60
	}
	if m.oneIn(15) {
		return m.IntN(2) // also below the least
	}
	return least + m.IntN(most)
}

// instant fills a Timestamp or a Duration: near the tests' clock, short, or extreme.
func (m *maker) instant(msg protoreflect.Message) {
	seconds, nanos := int64(0), int32(0)
	moment := msg.Descriptor().Name() == "Timestamp"
	switch n := m.IntN(20); {
	case moment && n < 15:
		seconds = testNow.Add(time.Duration(m.IntN(60*24*30)-60*24*10) * time.Minute).Unix()
	case n < 15:
		nanos = int32(m.IntN(200)) * 1_000_000
	default: // bounds of the types, of the calendar of protobuf, and of Postgres's
		seconds = pick(m, []int64{0, -1, 1, 253402300799, 253402300800, -62135596800, -62135596801, math.MaxInt64, math.MinInt64, 9224318015999, -210866803200, 315576000000, 315576000001})
		nanos = pick(m, []int32{0, -1, 999_999_999, 1_000_000_000, math.MinInt32, math.MaxInt32})
	}
	fields := msg.Descriptor().Fields()
	msg.Set(fields.ByName("seconds"), protoreflect.ValueOfInt64(seconds))
	msg.Set(fields.ByName("nanos"), protoreflect.ValueOfInt32(nanos))
}

// mask fills a field mask with paths of the resource beside it, and with others.
func (m *maker) mask(msg, mask protoreflect.Message) {
	list := mask.Mutable(mask.Descriptor().Fields().ByName("paths")).List()
	var beside protoreflect.MessageDescriptor
	for i := range msg.Descriptor().Fields().Len() {
		if d := msg.Descriptor().Fields().Get(i).Message(); d != nil && d != mask.Descriptor() {
			beside = d
			break
		}
	}
	for range 1 + m.IntN(3) {
		path := pick(m, []string{"*", "", ".", "name", "a.b.c", "etag", "*.*", "display_name.x", "Ünknown"})
		if beside != nil && !m.oneIn(6) {
			f := beside.Fields().Get(m.IntN(beside.Fields().Len()))
			path = string(f.Name())
			if f.Message() != nil && !f.IsMap() && f.Message().Fields().Len() > 0 && m.oneIn(3) {
				path += "." + string(f.Message().Fields().Get(m.IntN(f.Message().Fields().Len())).Name())
			}
		}
		list.Append(protoreflect.ValueOfString(path))
	}
}

// scalar makes a value of a field, or of an element of it.
func (m *maker) scalar(msg protoreflect.Message, f protoreflect.FieldDescriptor) protoreflect.Value {
	switch f.Kind() {
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(m.oneIn(2))
	case protoreflect.EnumKind:
		if m.oneIn(12) {
			return protoreflect.ValueOfEnum(pick(m, []protoreflect.EnumNumber{-1, 99, math.MaxInt32, math.MinInt32}))
		}
		return protoreflect.ValueOfEnum(f.Enum().Values().Get(m.IntN(f.Enum().Values().Len())).Number())
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		return protoreflect.ValueOfInt32(int32(m.whole(f, math.MinInt32, math.MaxInt32)))
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Sfixed64Kind:
		return protoreflect.ValueOfInt64(m.whole(f, math.MinInt64, math.MaxInt64))
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return protoreflect.ValueOfUint32(uint32(m.whole(f, 0, math.MaxUint32)))
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		return protoreflect.ValueOfUint64(uint64(m.whole(f, 0, math.MaxInt64)))
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(m.real(f))
	case protoreflect.FloatKind:
		return protoreflect.ValueOfFloat32(float32(m.real(f)))
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes(m.document())
	}
	return protoreflect.ValueOfString(m.text(msg, f))
}

func (m *maker) whole(f protoreflect.FieldDescriptor, least, most int64) int64 {
	if m.oneIn(8) {
		return pick(m, []int64{0, -1, 1, least, most, least + 1, most - 1})
	}
	lo, hi := bounds(f)
	from, to := int64(max(lo, 0)), int64(min(hi, 1e6))
	if m.oneIn(4) {
		return pick(m, []int64{from, to, from - 1, to + 1})
	}
	return from + m.Int64N(min(to-from, 12)+1) // small numbers go together with what there is
}

func (m *maker) real(f protoreflect.FieldDescriptor) float64 {
	if m.oneIn(8) {
		return pick(m, []float64{0, math.Copysign(0, -1), -1, math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, math.SmallestNonzeroFloat64, 1e-300, 1e17})
	}
	lo, hi := bounds(f)
	lo, hi = max(lo, -1e6), min(hi, 1e6)
	if m.oneIn(5) {
		return pick(m, []float64{lo, hi, math.Nextafter(lo, math.Inf(-1)), math.Nextafter(hi, math.Inf(1))})
	}
	return lo + m.Float64()*(hi-lo)
}

// text makes a text for a field: a name, an id, a word that the field knows, or anything.
func (m *maker) text(msg protoreflect.Message, f protoreflect.FieldDescriptor) string {
	name := string(f.Name())
	if m.oneIn(14) {
		return pick(m, hostile)
	}
	if kind, child := referred(f); kind != "" || refers(f) {
		return m.resource(msg, kind, child)
	}
	switch name {
	case "request_id":
		if m.oneIn(3) {
			return m.own.sample(m, "request_id", "")
		}
		return uuid.NewString()
	case "etag":
		return m.own.sample(m, "etag", "v1")
	case "page_token":
		return m.pageToken()
	case "line_id":
		return m.own.sample(m, name, "l1")
	case "classes", "station", "participant": // names without a declared reference
		return m.own.sample(m, "stillroom/"+map[string]string{"classes": "Class", "station": "Station", "participant": "Participant"}[name], "")
	}
	if strings.HasSuffix(name, "_id") && m.oneIn(2) {
		return fmt.Sprintf("n%x", m.Uint32())
	}
	if words := dictionary[name]; len(words) > 0 && !m.oneIn(5) {
		return pick(m, words)
	}
	r := rulesOf(f).GetString()
	switch {
	case r.GetPattern() != "":
		return pick(m, examples(r.GetPattern()))
	case r.GetUuid():
		return uuid.NewString()
	case r.GetEmail():
		return "someone@example.org"
	}
	text := m.own.mark + pick(m, []string{"", " tomatoes", " Señora Ñandú", " \U0001FAD9", " the lid came off; is it safe?", " spoiled botulism cloudy siphoned"})
	if m.oneIn(20) {
		text = strings.Repeat(text, 1+m.IntN(2000))
	}
	if most := int(max(r.GetMaxLen(), r.GetMaxBytes())); most > 0 && len(text) > most && !m.oneIn(10) {
		text = strings.ToValidUTF8(text[:most], "")
	}
	return text
}

// resource is the name of something of this kind, or of the parent of a kind; at times one
// of the other kitchen, or of another kind.
func (m *maker) resource(msg protoreflect.Message, kind string, child bool) string {
	if kind == "" {
		if o, ok := proto.GetExtension(msg.Descriptor().Options(), annotations.E_Resource).(*annotations.ResourceDescriptor); ok {
			kind = o.GetType()
		}
	}
	if kind == "*" {
		kind = pick(m, []string{"stillroom/Recipe", "stillroom/RecipeRevision", "stillroom/PublishedRecipe"})
	}
	from := m.own
	if m.oneIn(25) {
		from = m.foreign
	}
	if m.oneIn(30) {
		kind = pick(m, resourceKinds())
	}
	name := from.sample(m, kind, from.kitchen+"/"+strings.ToLower(strings.TrimPrefix(kind, "stillroom/"))+"s/none")
	if child {
		parts := strings.Split(name, "/")
		name = strings.Join(parts[:max(0, len(parts)-2)], "/")
	}
	if m.oneIn(40) {
		name += pick(m, []string{"/", "/x", " ", "\x00", "/../..", "%2F"})
	}
	return name
}

// document is a file to import: one of those that work, or such a one damaged.
func (m *maker) document() []byte {
	text := []byte(strings.ReplaceAll(pick(m, documents()), "MARK", m.own.mark))
	for range m.IntN(3) {
		if len(text) == 0 {
			break
		}
		i := m.IntN(len(text))
		switch m.IntN(4) {
		case 0:
			text[i] = byte(m.IntN(256))
		case 1:
			text = text[:i]
		case 2:
			text = append(text[:i:i], text[i/2:]...)
		default:
			text = append(text[:i:i], append([]byte(pick(m, hostile)), text[i:]...)...)
		}
	}
	return text
}

// hostile are texts that programs have stumbled over.
var hostile = []string{"", " ", "\x00", "a\x00b", "\n", "\t\r\n", "'; DROP TABLE kitchens; --", "%s%n%d", "\ufeffx", "../../etc/passwd", "<script>alert(1)</script>",
	"\u202egnp.exe", "\u0000\u0001\u001f\u007f", "é\u0301\u0301\u0301", "\U0010FFFF", "\uFFFD", "NaN", "-0", "1e309", "∞", "null", "{}", "[]", `"`, "\\", "`", "$1", "${HOME}",
	"kitchens", "kitchens/", "kitchens//classes//", "/", "//", strings.Repeat("a", 64), strings.Repeat("a", 10_000), strings.Repeat("ü", 121), strings.Repeat("9", 400),
	"0000-00-00", "9999-99-99", "2027-02-29", "-1", "99999999999999999999", "0x10", "1_000", "1,5", "½ cup", "1 1/0 cup", "1e999 kg", "-3 lb", "Europe/Nowhere", "../UTC", "Local"}

// dictionary holds words that fields of these names understand.
var dictionary = map[string][]string{
	"time_zone":               {"America/Denver", "UTC", "Asia/Kathmandu", "Europe/Berlin"},
	"currency_code":           {"USD", "EUR", "USD"},
	"item":                    {"onions", "sugar", "vinegar_white", "jar_half_pint", "lid", "salt_canning", "tomatoes"},
	"content":                 {"1 lb", "4 lb", "1 qt", "12 each", "500 g", "1 gal"},
	"step":                    {"0.25 lb", "", "1 each"},
	"average_weight":          {"150 g", "", "0.5 lb"},
	"product_key":             {"tomatoes_crushed", "chile_salsa", "apple_slices", "green_beans", "peaches"},
	"kind":                    {"canner", "burner", "large pot"},
	"ingredient":              {"onions", "tomatoes", "vinegar (5%)", "canning salt", "sugar"},
	"amount":                  {"4 cups", "2 1/2 lb", "1 tsp", "3 cups", "6 each", "1/4 cup"},
	"preparation":             {"peeled, diced", "chopped", ""},
	"published_recipe":        {"publishedRecipes/chile_salsa", "publishedRecipes/pickled_corn_relish", "published/chile_salsa", "chile_salsa"},
	"best_before":             {"2027-09-01", "2027-12-31", ""},
	"from_day":                {"2027-08-14", "2027-01-01", ""},
	"to_day":                  {"2027-08-31", "2027-12-31", ""},
	"come_up_base_minutes":    {"14", "12.5", "0", ""},
	"come_up_minutes_per_jar": {"0.35", "0.4", "0", ""},
	"query":                   {"tomato", "relish", ""},
	"day":                     {"2027-08-21"},
}

// documents are files that imports take.
var documents = sync.OnceValue(func() []string {
	texts := []string{
		"name,email,station\nMARK Ana,ana@example.org,a\nBo MARK,,b\n", "Name\nMARK Cy\n",
		"equipment:\n  - {id: big, name: MARK canner, kind: canner, owned: 2, canner: {methods: [boiling water], holds: {pint: 9, quart: 7}, come_up: {base: 14, per_jar: 0.35}, reset: 5}}\n",
		"recipes:\n  - title: MARK\n", `{"@context":"https://schema.org","@type":"Recipe","name":"MARK salsa","recipeYield":"6 pints","recipeIngredient":["4 cups tomatoes, chopped","1 cup vinegar (5%)","2 tsp salt"],"recipeInstructions":["Boil.","Fill."]}`,
	}
	for _, file := range []string{"roster.csv", "offers.csv", "equipment.yaml"} {
		if text, err := os.ReadFile("../../testdata/first-class/" + file); err == nil {
			texts = append(texts, string(text))
		}
	}
	return texts
})

var exampleCache sync.Map

// examples are texts that a pattern allows.
func examples(pattern string) []string {
	if known, ok := exampleCache.Load(pattern); ok {
		return known.([]string)
	}
	var texts []string
	for seed := range 30 {
		texts = append(texts, rapid.StringMatching(pattern).Example(seed))
	}
	exampleCache.Store(pattern, texts)
	return texts
}

func rulesOf(f protoreflect.FieldDescriptor) *validate.FieldRules {
	r, _ := proto.GetExtension(f.Options(), validate.E_Field).(*validate.FieldRules)
	return r
}

func needed(f protoreflect.FieldDescriptor) bool {
	return rulesOf(f).GetRequired() || behaves(f, annotations.FieldBehavior_REQUIRED) || f.Name() == "name"
}

func behaves(f protoreflect.FieldDescriptor, b annotations.FieldBehavior) bool {
	list, _ := proto.GetExtension(f.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	for _, each := range list {
		if each == b {
			return true
		}
	}
	return false
}

// bounds are those declared for a number, or wide ones.
func bounds(f protoreflect.FieldDescriptor) (lo, hi float64) {
	lo, hi = 0, 1000
	rules := rulesOf(f).ProtoReflect()
	if f.IsList() && rulesOf(f).GetRepeated().GetItems() != nil {
		rules = rulesOf(f).GetRepeated().GetItems().ProtoReflect()
	}
	if !rules.IsValid() {
		return lo, hi
	}
	of := rules.WhichOneof(rules.Descriptor().Oneofs().ByName("type"))
	if of == nil || of.Message() == nil {
		return lo, hi
	}
	rules.Get(of).Message().Range(func(rule protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		var n float64
		switch x := v.Interface().(type) {
		case int32:
			n = float64(x)
		case int64:
			n = float64(x)
		case float64:
			n = x
		default:
			return true
		}
		switch rule.Name() {
		case "gt", "gte":
			lo = n
			hi = max(hi, lo)
		case "lt", "lte":
			hi = n
		}
		return true
	})
	return lo, hi
}

// referred is the kind of resource that a field names, and whether it names the parent of one.
func referred(f protoreflect.FieldDescriptor) (kind string, child bool) {
	r, _ := proto.GetExtension(f.Options(), annotations.E_ResourceReference).(*annotations.ResourceReference)
	if r.GetChildType() != "" {
		return r.GetChildType(), true
	}
	return r.GetType(), false
}
