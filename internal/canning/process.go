package canning

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"sync"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// Request asks for the process of a jar at an altitude.
type Request struct {
	// ProductKey is the key of a process table, e.g. "crushed_tomatoes".
	ProductKey string
	// Pack is hot or raw; any asks only tables that print both together.
	Pack   reference.Pack
	Jar    JarSize
	Method Method
	// Altitude is the site's.
	Altitude measure.Altitude
}

// Process is a published answer: every printed choice for the request.
type Process struct {
	Request Request
	Product reference.Product
	// PrintedPack is the pack column that applies: the pack asked for, or any where both are printed together.
	PrintedPack reference.Pack
	// PrintedJar is the printed size whose row applies.
	PrintedJar JarSize
	// Band holds the altitude.
	Band reference.Band
	// Choices are complete alternatives, by rising pressure; at least one.
	Choices []Choice
	// Notes say how the request was read: which rule let a smaller jar in, which practice a metric one.
	Notes []Note
}

// Choice is one printed time, with its pressure where the method has one.
type Choice struct {
	Minutes measure.Minutes
	// Pressure is the gauge pressure in pounds; 0 for boiling water and atmospheric steam.
	Pressure measure.GaugePounds
	// Headspace is meaningful when HeadspacePrinted.
	Headspace        measure.Inches
	HeadspacePrinted bool
	Source           reference.Source
}

// Note is a remark that travels with a process.
type Note struct {
	// Key is the published fact; empty for a custom of the trade.
	Key  string
	Text string
	// Source is the published rule; its Publication is "common practice" for a custom of the trade.
	Source reference.Source
}

// CommonPractice marks what the trade does without a publication to cite.
const CommonPractice = "common practice"

// String is the choice on one line, e.g. "20 min at 11 lb".
func (c Choice) String() string {
	if c.Pressure == 0 {
		return c.Minutes.String()
	}
	return c.Minutes.String() + " at " + c.Pressure.String()
}

// Table answers process look-ups from printed rows. It is read-only and safe for use by many.
type Table struct {
	products map[string]*productTable
	// keys are the product keys in alphabetical order.
	keys []string
}

type productTable struct {
	product reference.Product
	rows    []reference.ProcessRow
}

// NewTable indexes printed rows; their order does not matter.
func NewTable(rows []reference.ProcessRow) *Table {
	t := &Table{products: map[string]*productTable{}}
	for _, r := range rows {
		p := t.products[r.ProductKey]
		if p == nil {
			p = &productTable{product: reference.Product{Key: r.ProductKey, Name: r.Product}}
			t.products[r.ProductKey] = p
			t.keys = append(t.keys, r.ProductKey)
		}
		p.rows = append(p.rows, r)
	}
	slices.Sort(t.keys)
	return t
}

// Published is the table of all printed rows.
var Published = sync.OnceValue(func() *Table { return NewTable(reference.ProcessRows()) })

// Products are the foods of the table by key.
func (t *Table) Products() []reference.Product {
	list := make([]reference.Product, len(t.keys))
	for i, k := range t.keys {
		list[i] = t.products[k].product
	}
	return list
}

// Printed says what the table of a product covers, one entry for each method and pack with its jar sizes; none for
// an unknown product. Atmospheric steam is not listed: it follows from boiling water.
func (t *Table) Printed(productKey string) []Coverage {
	p := t.products[productKey]
	if p == nil {
		return nil
	}
	var list []Coverage
	for _, m := range []Method{BoilingWater, PressureDial, PressureWeighted} {
		printed, _ := m.printed()
		rows := rowsWhere(p.rows, func(r reference.ProcessRow) bool { return r.Method == printed })
		for _, pack := range packsOf(rows) {
			jars := jarsOf(rowsWhere(rows, func(r reference.ProcessRow) bool { return r.Pack == pack }))
			list = append(list, Coverage{Method: m, Pack: pack, Jars: jars})
		}
	}
	return list
}

// Coverage is the jar sizes printed for a method and pack.
type Coverage struct {
	Method Method
	Pack   reference.Pack
	// Jars are by nominal volume.
	Jars []JarSize
}

// LookUp finds every printed choice for the request. Bad fields are an Invalid fault; where nothing is
// printed the error is a *Refusal.
func (t *Table) LookUp(q Request) (Process, error) {
	if err := q.check(); err != nil {
		return Process{}, err
	}
	p := t.products[q.ProductKey]
	if p == nil {
		return Process{}, &Refusal{Why: UnknownProduct, Request: q, Field: "product", Value: q.ProductKey,
			Reason: "there is no process table of that name", Has: t.near(q.ProductKey)}
	}
	rows, err := p.forMethod(q)
	if err != nil {
		return Process{}, err
	}
	rows, pack, err := forPack(rows, q)
	if err != nil {
		return Process{}, err
	}
	rows, jar, notes, err := forJar(rows, q)
	if err != nil {
		return Process{}, err
	}
	allBands := rows
	rows, err = forAltitude(rows, q)
	if err != nil {
		return Process{}, err
	}
	if n, disagree := sweetSpreadText(allBands, rows, q); disagree {
		notes = append(notes, n)
	}
	answer := Process{Request: q, Product: p.product, PrintedPack: pack, PrintedJar: jar, Band: rows[0].Band, Notes: notes}
	for _, r := range rows {
		answer.Choices = append(answer.Choices, Choice{Minutes: r.Minutes, Pressure: r.Pressure,
			Headspace: r.Headspace, HeadspacePrinted: r.HeadspacePrinted, Source: r.Source})
	}
	slices.SortFunc(answer.Choices, func(a, b Choice) int {
		return cmp.Or(cmp.Compare(a.Pressure, b.Pressure), cmp.Compare(a.Minutes, b.Minutes))
	})
	if q.Method == AtmosphericSteam {
		return steam(answer)
	}
	return answer, nil
}

// check reports the fields of a request that are not values of their kind.
func (q Request) check() error {
	var c fault.Collector
	if q.ProductKey == "" {
		c.Add("product", "", "is missing", "name a product such as crushed_tomatoes")
	}
	if _, err := ParsePack(string(q.Pack)); err != nil {
		c.AddErr("", err)
	}
	if !q.Jar.Known() {
		c.Add("jar", string(q.Jar), "is not a jar size we know", "use one of "+joinSizes(JarSizes()))
	}
	if _, ok := q.Method.printed(); !ok {
		_, err := ParseMethod(string(q.Method))
		if err == nil {
			err = fault.Field("method", string(q.Method), "is a spelling, not the key of a method", "use boiling_water, atmospheric_steam, pressure_dial or pressure_weighted")
		}
		c.AddErr("", err)
	}
	return c.Err()
}

func rowsWhere(rows []reference.ProcessRow, keep func(reference.ProcessRow) bool) []reference.ProcessRow {
	var kept []reference.ProcessRow
	for _, r := range rows {
		if keep(r) {
			kept = append(kept, r)
		}
	}
	return kept
}

func (p *productTable) forMethod(q Request) ([]reference.ProcessRow, error) {
	printed, _ := q.Method.printed()
	rows := rowsWhere(p.rows, func(r reference.ProcessRow) bool { return r.Method == printed })
	if len(rows) > 0 {
		return rows, nil
	}
	refusal := &Refusal{Why: MethodNotPrinted, Request: q, Field: "method", Value: q.Method.Name(),
		Reason: "the table of " + p.product.Name + " does not print this method"}
	for _, m := range []Method{BoilingWater, PressureDial, PressureWeighted} {
		other, _ := m.printed()
		if slices.ContainsFunc(p.rows, func(r reference.ProcessRow) bool { return r.Method == other }) {
			refusal.Has = append(refusal.Has, string(m))
		}
	}
	if !q.Method.IsPressure() {
		// Without a boiling-water table the food is not shown to be acid.
		refusal.Rules = []reference.Fact{reference.MustFact("low_acid_method")}
	}
	return nil, refusal
}

// packsOf lists the packs in rows: hot, raw, any.
func packsOf(rows []reference.ProcessRow) []reference.Pack {
	var packs []reference.Pack
	for _, p := range []reference.Pack{reference.HotPack, reference.RawPack, reference.AnyPack} {
		if slices.ContainsFunc(rows, func(r reference.ProcessRow) bool { return r.Pack == p }) {
			packs = append(packs, p)
		}
	}
	return packs
}

func forPack(rows []reference.ProcessRow, q Request) ([]reference.ProcessRow, reference.Pack, error) {
	packs := packsOf(rows)
	for _, pack := range []reference.Pack{q.Pack, reference.AnyPack} {
		if slices.Contains(packs, pack) {
			return rowsWhere(rows, func(r reference.ProcessRow) bool { return r.Pack == pack }), pack, nil
		}
	}
	refusal := &Refusal{Why: PackNotPrinted, Request: q, Field: "pack", Value: string(q.Pack),
		Reason: "this pack is not printed for " + rows[0].Product + " by " + q.Method.Name()}
	for _, p := range packs {
		refusal.Has = append(refusal.Has, string(p))
	}
	return nil, "", refusal
}

// jarsOf lists the printed jar sizes by nominal volume.
func jarsOf(rows []reference.ProcessRow) []JarSize {
	var sizes []JarSize
	for _, r := range rows {
		if size := JarSize(r.Jar); !slices.Contains(sizes, size) {
			sizes = append(sizes, size)
		}
	}
	slices.SortFunc(sizes, CompareJars)
	return sizes
}

// forJar picks the printed size whose time a jar takes: its own; for a metric jar its trade size; for an odd
// size the one a publication names; for a jar smaller than all printed the smallest printed. Never a smaller
// one for a larger jar.
func forJar(rows []reference.ProcessRow, q Request) ([]reference.ProcessRow, JarSize, []Note, error) {
	printed := jarsOf(rows)
	var notes []Note
	size := q.Jar
	if size.IsMetric() {
		size = size.Trade()
		notes = append(notes, Note{
			Text:   fmt.Sprintf("A %s jar is processed as a %s jar.", q.Jar.Name(), size.Name()),
			Source: reference.Source{Publication: CommonPractice},
		})
	}
	if info := jarBySize[size]; info.processAs != "" && !slices.Contains(printed, size) {
		size = info.processAs
		notes = append(notes, factNote(info.rule))
	}
	if !slices.Contains(printed, size) {
		smallest, largest := printed[0], printed[len(printed)-1]
		switch {
		case CompareJars(size, smallest) < 0:
			if size == HalfPint && smallest == Pint {
				notes = append(notes, factNote("process_time_half_pint_equals"))
			} else {
				notes = append(notes, factNote("smaller_jar_rule"))
			}
			size = smallest
		case CompareJars(size, largest) > 0:
			return nil, "", nil, jarRefusal(JarTooLarge, q, rows, printed,
				"it is larger than the largest jar printed", reference.MustFact("larger_jar_rule"))
		default:
			return nil, "", nil, jarRefusal(JarNotPrinted, q, rows, printed,
				"it lies between printed sizes and no published rule covers it")
		}
	}
	return rowsWhere(rows, func(r reference.ProcessRow) bool { return JarSize(r.Jar) == size }), size, notes, nil
}

func jarRefusal(why Why, q Request, rows []reference.ProcessRow, printed []JarSize, reason string, rules ...reference.Fact) *Refusal {
	r := &Refusal{Why: why, Request: q, Field: "jar", Value: q.Jar.Name(), Rules: rules,
		Reason: fmt.Sprintf("%s for %s by %s", reason, rows[0].Product, q.Method.Name())}
	for _, s := range printed {
		r.Has = append(r.Has, string(s))
	}
	return r
}

func factNote(key string) Note {
	f := reference.MustFact(key)
	return Note{Key: key, Text: f.Sentence(), Source: f.Source}
}

// bandsOf lists the printed bands from the lowest.
func bandsOf(rows []reference.ProcessRow) []reference.Band {
	var bands []reference.Band
	for _, r := range rows {
		if !slices.Contains(bands, r.Band) {
			bands = append(bands, r.Band)
		}
	}
	slices.SortFunc(bands, func(a, b reference.Band) int { return cmp.Compare(a.Min, b.Min) })
	return bands
}

// BandText is a band as tables print it: "1,001-6,000 ft" or "above 6,000 ft".
func BandText(b reference.Band) string {
	if b.Open {
		return "above " + (b.Min - 1).String()
	}
	return strings.TrimSuffix(b.Min.String(), " ft") + "-" + b.Max.String()
}

// forAltitude picks the lowest band that reaches up to the altitude, so what lies between two printed bands
// (1,000.5 ft) belongs to the higher.
func forAltitude(rows []reference.ProcessRow, q Request) ([]reference.ProcessRow, error) {
	bands := bandsOf(rows)
	belowFirst := q.Altitude.Feet().Less(measure.Int(int64(bands[0].Min)))
	if !belowFirst {
		for _, b := range bands {
			if b.Open || !q.Altitude.Above(b.Max) {
				return rowsWhere(rows, func(r reference.ProcessRow) bool { return r.Band == b }), nil
			}
		}
	}
	refusal := &Refusal{Why: AboveTable, Request: q, Field: "altitude", Value: q.Altitude.String()}
	last := bands[len(bands)-1]
	refusal.Reason = fmt.Sprintf("the table of %s by %s ends at %s", rows[0].Product, q.Method.Name(), last.Max)
	if belowFirst {
		refusal.Why = BelowTable
		refusal.Reason = fmt.Sprintf("the table of %s by %s begins at %s", rows[0].Product, q.Method.Name(), bands[0].Min)
	}
	for _, b := range bands {
		refusal.Has = append(refusal.Has, BandText(b))
	}
	return nil, refusal
}

// sweetSpreadText notes where the general text on sweet spreads asks for more than a product's own table: it adds a minute
// for every full 1,000 ft to the 5-minute process, the tables step in bands. The table is the answer; the longer time is named.
func sweetSpreadText(allBands, held []reference.ProcessRow, q Request) (Note, bool) {
	rule := reference.MustFact("jam_altitude_rule_text")
	const base = 5
	isSpread := slices.ContainsFunc(allBands, func(r reference.ProcessRow) bool {
		return strings.HasPrefix(r.Source.Locator, "Guide 7") && r.Band.Min == 0 && r.Minutes == base
	})
	if !isSpread {
		return Note{}, false
	}
	perThousand := measure.Int(int64(reference.MustFigure(rule.Key)))
	byText, _ := q.Altitude.Feet().Div(measure.Int(1000)).Floor().Mul(perThousand).Add(measure.Int(base)).Int64()
	byTable := held[0].Minutes
	if byText <= int64(byTable) {
		return Note{}, false
	}
	return Note{
		Key: rule.Key,
		Text: fmt.Sprintf("The general text on sweet spreads adds %s min per 1,000 ft to %d min, which makes %d min here; the product's own table prints %s. The longer time is the more cautious.",
			perThousand, base, byText, byTable),
		Source: rule.Source,
	}, true
}

// mostSuggestions bounds how many product keys a refusal offers.
const mostSuggestions = 6

// near lists the product keys that share a word with what was asked, those that share more first.
func (t *Table) near(asked string) []string {
	words := strings.FieldsFunc(strings.ToLower(asked), func(c rune) bool { return c == '_' || c == ' ' || c == '-' })
	type hit struct {
		key    string
		shared int
	}
	var hits []hit
	for _, key := range t.keys {
		shared := 0
		for _, w := range words {
			// Singular and plural meet: "tomato" is in "tomatoes".
			if len(w) > 2 && strings.Contains(key, strings.TrimSuffix(w, "s")) {
				shared++
			}
		}
		if shared > 0 {
			hits = append(hits, hit{key, shared})
		}
	}
	slices.SortStableFunc(hits, func(a, b hit) int { return cmp.Compare(b.shared, a.shared) })
	var keys []string
	for _, h := range hits[:min(len(hits), mostSuggestions)] {
		keys = append(keys, h.key)
	}
	return keys
}
