package shopping

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"

	"stillroom/internal/measure"
)

// System is the units a reader wants.
type System int

const (
	// Metric prints grams, kilograms, millilitres and litres.
	Metric System = iota
	// Customary prints US pounds, ounces, cups and quarts.
	Customary
)

// Amount is a quantity as a shopper would say it, never below what it is (by more than the grace of rounding).
func (s System) Amount(f Fine, unit measure.Unit) string {
	if f > grace {
		f -= grace
	}
	q := measure.Q(f.Number(), unit)
	if unit.Dimension() == measure.Count {
		q.Amount = measure.One(q.Amount.High.Ceil())
		return q.String()
	}
	if s == Customary {
		return q.USCustomary()
	}
	return q.Metric()
}

// AtMost is a quantity that must not be overstated, such as a surplus: rounded down to what a scale shows.
func (s System) AtMost(f Fine, unit measure.Unit) string {
	n := f.Number()
	switch {
	case unit.Dimension() == measure.Count:
		return measure.Q(n.Floor(), unit).String()
	case n.Less(measure.Int(1)):
		n = measure.Int(0)
	case s == Metric && n.Less(measure.Int(1000)):
		n = n.Floor()
	case s == Metric:
		n = n.Div(measure.Int(100)).Floor().Mul(measure.Int(100))
	case unit == measure.Gram:
		n = floorTo(n, measure.Q(measure.Int(1), measure.Ounce), measure.Gram)
	default:
		// The steps of the measures that Amount then prints it in.
		for _, step := range customarySteps {
			if least, err := step.from.Millilitres(); err == nil && n.Cmp(least.Number()) >= 0 {
				n = floorTo(n, step.by, measure.Millilitre)
				break
			}
		}
	}
	if n.IsZero() {
		return "none"
	}
	return s.Amount(Fine(mustInt(n.Mul(finePerUnit).Floor())), unit)
}

// customarySteps are the steps in which US volumes are printed, from which volume on.
var customarySteps = []struct{ from, by measure.Quantity }{
	{measure.Q(measure.Int(1), measure.Gallon), measure.Q(measure.Ratio(1, 4), measure.Quart)},
	{measure.Q(measure.Ratio(1, 4), measure.Cup), measure.Q(measure.Ratio(1, 4), measure.Cup)},
	{measure.Q(measure.Int(1), measure.Tablespoon), measure.Q(measure.Ratio(1, 2), measure.Tablespoon)},
	{measure.Q(measure.Int(0), measure.Teaspoon), measure.Q(measure.Ratio(1, 4), measure.Teaspoon)},
}

// floorTo rounds n, in the base unit, down to a whole number of step.
func floorTo(n measure.Number, step measure.Quantity, base measure.Unit) measure.Number {
	size, err := step.In(base)
	if err != nil {
		return n
	}
	return n.Div(size.Amount.High).Floor().Mul(size.Amount.High)
}

func mustInt(n measure.Number) int64 {
	i, _ := n.Int64()
	return i
}

// Text is a purchase as a shopper would say it: "2 × onions 2 kg, corner shop" or "1.3 kg loose".
func (p Purchase) Text(s System, unit measure.Unit) string {
	label := p.Label
	if p.Kind == Loose {
		// Exactly what is paid for: the steps are the shop's own.
		label = s.Amount(p.Content, unit) + " loose, " + label
	} else {
		label = fmt.Sprintf("%d × %s", p.Count, label)
	}
	if p.Shop != "" {
		label += " (" + p.Shop + ")"
	}
	return label
}

// BasketText joins the purchases of a line.
func (it Item) BasketText(s System) string {
	parts := make([]string, len(it.Basket))
	for i, p := range it.Basket {
		parts[i] = p.Text(s, it.Unit)
	}
	return strings.Join(parts, " + ")
}

// WriteTable prints the list for a terminal. With explain, every line opens to its contributions and factors.
func (l *List) WriteTable(w io.Writer, s System, explain bool) error {
	var out strings.Builder
	heads := make([][]string, 0, len(l.Classes))
	for _, c := range l.Classes {
		heads = append(heads, []string{string(c.Day), orElse(c.Title, c.ID), counted(c.Participants, "participant"), counted(c.Jars, "jar")})
	}
	for _, line := range align(heads) {
		out.WriteString(line)
	}
	for from := 0; from < len(l.Items); {
		to := from
		for to < len(l.Items) && l.Items[to].Section == l.Items[from].Section {
			to++
		}
		l.writeSection(&out, l.Items[from:to], s, explain)
		from = to
	}
	l.writeTotals(&out)
	fmt.Fprintf(&out, "\n%s: %d by published figures, %d by a near figure (~), %d need a person (?)", counted(int64(len(l.Items)), "line"),
		l.Confidence.Published, l.Confidence.Neighbour, l.Confidence.Unconverted)
	out.WriteString("\n")
	if l.Unpriced > 0 {
		fmt.Fprintf(&out, "%s without an offer: %s\n", counted(int64(l.Unpriced), "line"), strings.Join(l.unpriced(), ", "))
	}
	for _, it := range l.Items {
		if it.Confidence == Unconverted || it.Acidity > 0 || !it.Proven {
			for _, r := range it.Remarks {
				fmt.Fprintf(&out, "  %s%s: %s\n", markBefore(it.Confidence), it.Name, r)
			}
		}
	}
	for _, n := range l.Notes {
		fmt.Fprintf(&out, "  %s\n", n)
	}
	l.writeSheets(&out, s)
	_, err := io.WriteString(w, out.String())
	return err
}

// unpriced are the items of lines to buy that no offer covers, which an offer would have to name.
func (l *List) unpriced() []string {
	var items []string
	for _, it := range l.Items {
		if it.unpriced() {
			items = append(items, it.Item)
		}
	}
	return items
}

func (l *List) writeSection(out *strings.Builder, items []Item, s System, explain bool) {
	fmt.Fprintf(out, "\n%s\n", strings.ToUpper(items[0].Section))
	rows := [][]string{{"BUY", "ITEM", "NEED", "+ ALLOWANCE", "- ON HAND", "AS SOLD", "LEFT OVER", "COST", ""}}
	for _, it := range items {
		buy, left := s.Amount(it.ToBuy, it.Unit), ""
		if it.ToBuy == 0 || it.Section == SectionTap {
			buy = "-"
		}
		if len(it.Basket) > 0 {
			left = s.AtMost(it.Surplus, it.Unit)
		}
		rows = append(rows, []string{
			buy, it.Name, s.Amount(it.Need, it.Unit), zeroBlank(s, it.Allowance, it.Unit), zeroBlank(s, it.OnHand, it.Unit),
			orElse(it.BasketText(s), it.About), left, costText(it), mark(it.Confidence),
		})
	}
	for i, line := range align(rows) {
		out.WriteString(line)
		if explain && i > 0 {
			l.explain(out, items[i-1], s)
		}
	}
}

func (l *List) writeTotals(out *strings.Builder) {
	if l.Total.Currency == "" {
		return
	}
	each := func(name string, cost, jar, person Money, jars, people int64) []string {
		row := []string{name, cost.String()}
		if jars > 0 {
			row = append(row, jar.String()+" a jar")
		}
		if people > 0 {
			row = append(row, person.String()+" a participant")
		}
		return row
	}
	var rows [][]string
	for _, t := range l.Sections {
		if t.Cost.Minor > 0 {
			rows = append(rows, []string{t.Section, t.Cost.String()})
		}
	}
	rows = append(rows, each("Total", l.Total, l.PerJar, l.PerParticipant, l.Jars, l.Participants))
	if len(l.Classes) > 1 {
		for _, c := range l.Classes {
			rows = append(rows, each("  "+string(c.Day)+" "+orElse(c.Title, c.ID), c.Cost, c.PerJar, c.PerParticipant, c.Jars, c.Participants))
		}
	}
	out.WriteString("\n")
	for _, line := range align(rows) {
		out.WriteString(line)
	}
}

// align sets rows in columns and returns their lines.
func align(rows [][]string) []string {
	var text strings.Builder
	tw := tabwriter.NewWriter(&text, 0, 0, 2, ' ', 0)
	for _, row := range rows {
		fmt.Fprintln(tw, strings.Join(row, "\t"))
	}
	_ = tw.Flush() // a strings.Builder takes everything
	lines := strings.SplitAfter(text.String(), "\n")
	lines = lines[:len(lines)-1]
	for i, line := range lines {
		lines[i] = strings.TrimRight(line, " \n") + "\n"
	}
	return lines
}

func (l *List) writeSheets(out *strings.Builder, s System) {
	if len(l.Sheets) == 0 {
		return
	}
	out.WriteString("\nPARTICIPANTS BRING\n")
	for _, sheet := range l.Sheets {
		things := make([]string, len(sheet.Lines))
		for i, line := range sheet.Lines {
			things[i] = s.Amount(line.Amount, line.Unit) + " " + line.Name
		}
		fmt.Fprintf(out, "  %s (%s, %s): %s\n", orElse(sheet.Name, sheet.Participant), sheet.Class, sheet.Station, strings.Join(things, ", "))
	}
}

func (l *List) explain(out *strings.Builder, it Item, s System) {
	for _, c := range it.Contributions {
		conversion := &l.Conversions[c.Conversion]
		where := c.Class + ", " + c.Station
		if c.Batch != "" {
			where += ", " + c.Batch
		}
		what := conversion.Text
		if conversion.Recipe != "" {
			what += " (" + conversion.Recipe + ")"
		}
		if c.Of > 1 {
			what += fmt.Sprintf(", %d of %d parts", c.Part, c.Of)
		}
		fmt.Fprintf(out, "      %s  %s: %d × %s\n", s.Amount(c.Amount, it.Unit), where, c.Times, what)
	}
	for _, f := range l.factors(it) {
		fmt.Fprintf(out, "      by %s [%s, %s]\n", f, f.Publication, f.Locator)
	}
	for _, r := range it.Remarks {
		fmt.Fprintf(out, "      note: %s\n", r)
	}
}

// factors are the figures used for a line, once each.
func (l *List) factors(it Item) []Factor {
	var found []Factor
	seen := map[Factor]bool{}
	for _, c := range it.Contributions {
		conversion := l.Conversions[c.Conversion]
		if conversion.OwnUnit == it.Unit && it.Unit != measure.Gram {
			continue
		}
		for _, f := range []*Factor{conversion.Weight, conversion.Yield} {
			if f != nil && !seen[*f] {
				seen[*f] = true
				found = append(found, *f)
			}
		}
	}
	return found
}

// csvHeader names the columns of [List.WriteCSV].
var csvHeader = []string{
	"section", "item", "name", "buy", "unit", "to_buy", "need", "allowance", "on_hand", "prepared_g", "about", "as_sold", "content", "surplus",
	"cost_minor", "currency", "confidence", "remarks",
}

// WriteCSV writes one record per line (RFC 4180, with a header). Quantities are numbers in the record's unit,
// rounded up to two decimals (the surplus down); the column "buy" says it in words.
func (l *List) WriteCSV(w io.Writer, s System) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write(csvHeader); err != nil {
		return err
	}
	for _, it := range l.Items {
		record := []string{
			it.Section, it.Item, it.Name, s.Amount(it.ToBuy, it.Unit), string(it.Unit), upTo2(it.ToBuy), upTo2(it.Need), upTo2(it.Allowance),
			upTo2(it.OnHand), upTo2(it.Prepared), it.About, it.BasketText(s), upTo2(it.Content), downTo2(it.Surplus),
			strconv.FormatInt(it.Cost.Minor, 10), it.Cost.Currency, it.Confidence.String(), strings.Join(it.Remarks, "; "),
		}
		if err := out.Write(record); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func upTo2(f Fine) string { return f.Number().CeilTo(measure.Ratio(1, 100)).Decimal(2) }

func downTo2(f Fine) string {
	return f.Number().Mul(measure.Int(100)).Floor().Div(measure.Int(100)).Decimal(2)
}

func zeroBlank(s System, f Fine, unit measure.Unit) string {
	if f == 0 {
		return ""
	}
	return s.Amount(f, unit)
}

func costText(it Item) string {
	if len(it.Basket) == 0 {
		return ""
	}
	return it.Cost.String()
}

func mark(c Confidence) string {
	switch c {
	case Neighbour:
		return "~"
	case Unconverted:
		return "?"
	}
	return ""
}

func markBefore(c Confidence) string {
	if m := mark(c); m != "" {
		return m + " "
	}
	return ""
}

func counted(n int64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.FormatInt(n, 10) + " " + noun + "s"
}
