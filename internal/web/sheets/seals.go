package sheets

import (
	"fmt"
	"time"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/words"
)

// Jars stand undisturbed for 12 to 24 hours before their seals are tested, and an unsealed jar may be reprocessed
// within 24 hours (USDA AIB 539, rev. 2015, Guide 1, pp. 1-25 and 1-26). The sheet prints the procedure's own lines
// beside the hours it reckons from these.
const (
	undisturbed = 12 * time.Hour
	reprocess   = 24 * time.Hour
)

// sealCheck is the check of every jar's seal the day after, and what to do with a jar that did not seal.
func sealCheck(m *material, _ Options) (page.Document, error) {
	doc := page.Document{About: m.about()}
	doc.Basis, doc.Made = m.planBasis()
	doc.Blocks = m.warning()
	doc.Blocks = append(doc.Blocks, m.stage("Before", "cooling")...)
	doc.Blocks = append(doc.Blocks, m.stage("The check", "checking seals")...)
	doc.Blocks = append(doc.Blocks, m.stage("A jar that did not seal", "unsealed jars")...)
	table := page.Table{Caption: "Every jar, by batch", Open: true, Columns: []page.Column{
		{Head: "Jar", Share: 7}, {Head: "Out at", Share: 15}, {Head: "Taken home by", Share: 30}, {Head: "Sealed", Share: 9}, {Head: "Not sealed", Share: 9}, {Head: "What was done with it", Share: 40},
	}}
	turns := map[string]int{}
	for _, b := range m.batches {
		turns[b.GetStation()]++
		table.Groups = append(table.Groups, m.sealGroup(b, turns[b.GetStation()]))
	}
	if len(table.Groups) > 0 {
		doc.Blocks = append(doc.Blocks, table)
	}
	doc.Blocks = append(doc.Blocks, m.stage("Storing", "storing")...)
	heed := page.List{Small: true}
	for _, c := range m.procedure.GetCautions() {
		heed.Items = append(heed.Items, page.Item{Text: c.GetText(), Source: words.Source(c.GetSource())})
	}
	if len(heed.Items) > 0 {
		doc.Blocks = append(doc.Blocks, page.Heading{Text: "Heed", Minor: true}, heed)
	}
	return doc, nil
}

// stage is the lines of the class's procedure that are due at a stage, with their sources.
func (m *material) stage(head, stage string) []page.Block {
	var l page.List
	for _, s := range m.procedure.GetSteps() {
		if s.GetStage() == stage {
			l.Items = append(l.Items, page.Item{Text: s.GetText(), Source: words.Source(s.GetSource())})
		}
	}
	if len(l.Items) == 0 {
		return nil
	}
	return []page.Block{page.Heading{Text: head, Minor: true}, l}
}

func (m *material) sealGroup(b *stillroomv1.Batch, turn int) page.Group {
	title := m.planned(b.GetName()).GetTitle()
	if title == "" {
		title = words.Last(b.GetName())
	}
	g := page.Group{Head: fmt.Sprintf("%s, batch %d: %s, %s", m.station(b.GetStation()), turn, title, words.Jars(b.GetJars(), b.GetJarSize()))}
	jar := 0
	add := func(count int32, out string) {
		for range count {
			jar++
			g.Rows = append(g.Rows, page.Row{Cells: []page.Cell{{Text: fmt.Sprint(jar)}, {Text: out}, {}, {Tick: true}, {Tick: true}, {}}})
		}
	}
	parts := m.parts(b.GetName())
	for i, p := range parts {
		if i == 0 {
			first, last := p.load.GetOffTime().AsTime(), parts[len(parts)-1].load.GetOutTime().AsTime() // the stricter end of each
			g.Head += fmt.Sprintf(". Check from %s; reprocess before %s", m.hour(last.Add(undisturbed)), m.hour(first.Add(reprocess)))
		}
		add(p.jars.GetJars(), m.clock(p.load.GetOutTime()))
	}
	for _, why := range m.refused(b) {
		g.Rows = append(g.Rows, page.Row{Loud: true, Cells: []page.Cell{{Text: why}}})
	}
	if len(g.Rows) == 0 { // no plan yet
		add(b.GetJars(), "")
	}
	return g
}

// hour is a time of a day: "23:04 Sat".
func (m *material) hour(t time.Time) string { return t.In(m.zone).Format("15:04 Mon 2 Jan") }
