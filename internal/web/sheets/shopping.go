package sheets

import (
	"fmt"
	"slices"
	"strings"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/words"
)

// inUnits is a quantity in the units of the sheet.
func (o Options) inUnits(q *stillroomv1.Measured) string {
	if o.US {
		return q.GetUsCustomary()
	}
	return q.GetMetric()
}

func shoppingSheet(m *material, o Options) (page.Document, error) {
	list := m.list
	doc := page.Document{About: m.about(), Made: list.GetCreateTime().AsTime()}
	doc.Basis = fmt.Sprintf("Computed %s: version %s of the list, for %s and %s. Needs and packs are from published weights and yields; the stored list names the source of each.",
		m.moment(doc.Made), words.Last(list.GetName()), words.Count(list.GetParticipants(), "participant", "participants"), words.Count(list.GetJars(), "jar", "jars"))
	if n := list.GetUnconvertedCount(); n > 0 {
		doc.Blocks = append(doc.Blocks, page.Paragraph{Style: page.Loud, Text: fmt.Sprintf(
			"%s: no published figure converts the amount. Decide how much to buy; these lines are marked ?", words.Count(n, "line needs a person", "lines need a person"))})
	}
	table := page.Table{Caption: "What to buy, by section of the shop", Columns: []page.Column{
		{Head: "Buy", Share: 17}, {Head: "What", Share: 30}, {Head: "In packs", Share: 29}, {Head: "For", Share: 25}, {Head: "Cost", Share: 16, Right: true},
	}}
	for _, section := range list.GetSections() {
		group := page.Group{Head: section.GetSection()}
		for _, line := range list.GetLines() {
			if line.GetSection() == section.GetSection() {
				group.Rows = append(group.Rows, m.shoppingRow(line, o))
			}
		}
		if section.GetCost().GetMinorUnits() > 0 {
			group.Foot = []page.Cell{{}, {Text: "In all"}, {}, {}, {Text: words.Money(section.GetCost())}}
		}
		table.Groups = append(table.Groups, group)
	}
	doc.Blocks = append(doc.Blocks, table)
	if list.GetTotal() != nil {
		facts := page.Facts{{Name: "Total", Value: words.Money(list.GetTotal())}, {Name: "A jar", Value: words.Money(list.GetCostPerJar())},
			{Name: "A participant", Value: words.Money(list.GetCostPerParticipant())}}
		if n := list.GetUnpricedCount(); n > 0 {
			facts = append(facts, page.Fact{Name: "Without a price", Value: words.Count(n, "line", "lines")})
		}
		doc.Blocks = append(doc.Blocks, facts)
	}
	doc.Blocks = append(doc.Blocks, bringing(list, o)...)
	signs := "~ by a near figure, as the remark says."
	if list.GetUnconvertedCount() > 0 {
		signs += " ? needs a person."
	}
	doc.Blocks = append(doc.Blocks, page.Paragraph{Style: page.Small, Text: signs})
	for _, note := range list.GetNotes() {
		doc.Blocks = append(doc.Blocks, page.Paragraph{Style: page.Small, Text: note})
	}
	return doc, nil
}

func (m *material) shoppingRow(line *stillroomv1.ShoppingLine, o Options) page.Row {
	buy := page.Cell{Tick: true, Strong: true, Text: o.inUnits(line.GetToBuy())}
	if line.GetAbout() != "" {
		buy.Under = append(buy.Under, line.GetAbout())
	}
	if line.GetOnHand().GetAmount() > 0 {
		buy.Under = append(buy.Under, o.inUnits(line.GetOnHand())+" on hand")
	}
	what := page.Cell{Text: line.GetDisplayName(), Under: slices.Clone(line.GetRemarks())}
	loud := false
	switch line.GetConfidence() {
	case stillroomv1.FigureConfidence_FIGURE_CONFIDENCE_NEIGHBOUR:
		what.Text += " ~"
	case stillroomv1.FigureConfidence_FIGURE_CONFIDENCE_UNCONVERTED:
		what.Text += " ?"
		loud = true
	}
	var packs page.Cell
	for i, p := range line.GetBasket() {
		text := p.GetMetric()
		if o.US {
			text = p.GetUsCustomary()
		}
		if i == 0 {
			packs.Text = text
		} else {
			packs.More = append(packs.More, text)
		}
	}
	if line.GetCost() == nil && line.GetToBuy().GetAmount() > 0 {
		packs.Under = []string{"no offer"}
	} else if line.GetSurplus().GetAmount() > 0 {
		packs.Under = []string{"leaves " + o.inUnits(line.GetSurplus())}
	}
	cost := page.Cell{}
	if line.GetCost().GetMinorUnits() > 0 {
		cost.Text = words.Money(line.GetCost())
	}
	return page.Row{Loud: loud, Cells: []page.Cell{buy, what, packs, {Under: m.reasons(line)}, cost}}
}

// reasons says what a line is for: each recipe with its batches, and what stations need as such.
func (m *material) reasons(line *stillroomv1.ShoppingLine) []string {
	type reason struct {
		what  string
		where []string
	}
	var all []reason
	for _, c := range line.GetContributions() {
		var what string
		if i := int(c.GetConversion()); i < len(m.list.GetConversions()) {
			conversion := m.list.GetConversions()[i]
			if what = conversion.GetRecipe(); what == "" {
				what = conversion.GetText()
			}
		}
		at := slices.IndexFunc(all, func(r reason) bool { return r.what == what })
		if at < 0 {
			at, all = len(all), append(all, reason{what: what})
		}
		if station := m.station(c.GetStation()); !slices.Contains(all[at].where, station) {
			all[at].where = append(all[at].where, station)
		}
	}
	var texts []string
	for _, r := range all {
		where := strings.Join(r.where, ", ")
		if len(m.stations) > 1 && len(r.where) == len(m.stations) {
			where = "every station"
		}
		texts = append(texts, strings.TrimPrefix(r.what+": "+where, ": "))
	}
	return texts
}

// bringing is what participants bring, by participant.
func bringing(list *stillroomv1.ShoppingList, o Options) []page.Block {
	if len(list.GetSheets()) == 0 {
		return nil
	}
	table := page.Table{Caption: "What participants bring", Columns: []page.Column{{Head: "Who", Share: 30}, {Head: "Brings", Share: 70}}, Groups: []page.Group{{}}}
	for _, s := range list.GetSheets() {
		var things []string
		for _, l := range s.GetLines() {
			things = append(things, strings.TrimSpace(o.inUnits(l.GetAmount())+" "+l.GetDisplayName()))
		}
		table.Groups[0].Rows = append(table.Groups[0].Rows, page.Row{Cells: []page.Cell{{Text: s.GetDisplayName(), Tick: true}, {Text: strings.Join(things, ", ")}}})
	}
	return []page.Block{page.Heading{Text: "Participants bring"}, table}
}
