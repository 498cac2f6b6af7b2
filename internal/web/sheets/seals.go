package sheets

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/words"
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
	list := page.List{Small: true}
	for _, c := range m.procedure.GetCautions() {
		list.Items = append(list.Items, page.Item{Text: c.GetText(), Source: words.Source(c.GetSource())})
	}
	if len(list.Items) > 0 {
		doc.Blocks = append(doc.Blocks, heed, list)
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
	owners := m.owners(b.GetName())
	jar := 0
	add := func(count int32, out string) {
		for range count {
			owner := ""
			if jar < len(owners) {
				owner = owners[jar]
			}
			jar++
			g.Rows = append(g.Rows, page.Row{Cells: []page.Cell{{Text: fmt.Sprint(jar)}, {Text: out}, {Text: owner}, {Tick: true}, {Tick: true}, {}}})
		}
	}
	if share := m.share(b.GetName()); share.GetTestFromTime() != nil {
		g.Head += fmt.Sprintf(". Test from %s; process again before %s", m.hour(share.GetTestFromTime()), m.hour(share.GetReprocessUntilTime()))
	}
	for _, p := range m.parts(b.GetName()) {
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

// share is what the service says of a batch's jars to the first who takes some home; nil when nobody does.
func (m *material) share(batch string) *stillroomv1.JarShare {
	for _, h := range m.takeHome {
		for _, s := range h.jars {
			if s.GetBatch() == batch {
				return s
			}
		}
	}
	return nil
}

// owners are those who take a batch's processed jars home, a name for each jar.
func (m *material) owners(batch string) []string {
	var all []string
	for _, h := range m.takeHome {
		for _, s := range h.jars {
			if s.GetBatch() == batch {
				all = append(all, slices.Repeat([]string{h.who}, int(s.GetJars()))...)
			}
		}
	}
	return all
}

// hour is a time of a day: "23:04 Sat 5 Dec".
func (m *material) hour(t *timestamppb.Timestamp) string {
	return t.AsTime().In(m.zone).Format("15:04 Mon 2 Jan")
}
