package sheets

import (
	"fmt"
	"strings"
	"time"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/chart"
	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/words"
)

// boardChart is the canners and the stations on a common clock, and the loads in a table.
func boardChart(m *material, _ Options) (page.Document, error) {
	doc := page.Document{About: m.about(), Landscape: true, Compact: true}
	doc.Basis, doc.Made = m.planBasis()
	doc.Blocks = m.warning()
	if m.plan == nil {
		return doc, nil
	}
	doc.Blocks = append(doc.Blocks, page.Board{Name: "Canners and stations on a common clock", Chart: m.chart()})
	var marks marks
	if table, ok := m.loadTable(&marks); ok {
		heading := page.Heading{Text: "The loads", NewPage: true}
		if o := m.plan.GetOutcome(); o.GetLoads() > 0 {
			heading.Aside = fmt.Sprintf("%s in %s, the last out at %s", words.Count(o.GetJars(), "jar", "jars"), words.Count(o.GetLoads(), "load", "loads"), m.clock(o.GetFinishTime()))
		}
		doc.Blocks = append(doc.Blocks, heading, table, marks.list())
	}
	for _, u := range m.plan.GetUnplaced() {
		doc.Blocks = append(doc.Blocks, page.Paragraph{Style: page.Loud, Text: fmt.Sprintf("%s: %s of %s (%s). In no canner. Why: %s",
			refrigerate, words.Jars(u.GetJars(), u.GetJarSize()), u.GetTitle(), m.station(u.GetStation()), u.GetReason())})
	}
	for _, n := range m.plan.GetNotes() {
		doc.Blocks = append(doc.Blocks, page.Paragraph{Style: page.Small, Text: n})
	}
	doc.Blocks = append(doc.Blocks, heed)
	doc.Blocks = append(doc.Blocks, cautions(m.plan.GetCautions())...)
	return doc, nil
}

func (m *material) chart() chart.Chart {
	c := chart.Chart{Opens: m.plan.GetOpenTime().AsTime(), Closes: m.plan.GetCloseTime().AsTime(), Zone: m.zone}
	for _, canner := range m.plan.GetCanners() {
		row := chart.Row{Name: canner.GetDisplayName(), Group: "Canners"}
		for _, h := range canner.GetHeld() {
			row.Loads = append(row.Loads, chart.Load{
				Label: "another class", Name: fmt.Sprintf("%s: another class has it from %s to %s", canner.GetDisplayName(), m.clock(h.GetStartTime()), m.clock(h.GetEndTime())),
				Spans: []chart.Span{{Kind: chart.Held, From: h.GetStartTime().AsTime(), Until: h.GetEndTime().AsTime()}},
			})
		}
		for i, l := range canner.GetLoads() {
			row.Loads = append(row.Loads, m.cannerLoad(canner, i, l))
		}
		c.Rows = append(c.Rows, row)
	}
	for _, s := range m.stations {
		row := chart.Row{Name: s.GetDisplayName(), Group: "Stations"}
		turn := 0
		for _, b := range m.batches {
			if b.GetStation() != s.GetName() {
				continue
			}
			turn++
			if p := m.planned(b.GetName()); p != nil {
				row.Loads = append(row.Loads, m.stationLoad(s, turn, b, p, c.Closes))
			}
		}
		c.Rows = append(c.Rows, row)
	}
	return c
}

func (m *material) cannerLoad(canner *stillroomv1.PlannedCanner, number int, l *stillroomv1.PlannedLoad) chart.Load {
	jars := int32(0)
	var whose, titles []string
	for _, j := range l.GetJars() {
		jars += j.GetJars()
		whose = append(whose, m.station(j.GetStation()))
		titles = append(titles, fmt.Sprintf("%d of %s from %s", j.GetJars(), j.GetTitle(), m.station(j.GetStation())))
	}
	load := chart.Load{
		Ref: fmt.Sprintf("%s-%d-%d", words.Last(canner.GetUnit().GetEquipment()), canner.GetUnit().GetNumber(), number+1), Done: l.GetDone(),
		Caption: fmt.Sprintf("%s–%s · %s", m.clock(l.GetInTime()), m.clock(l.GetOutTime()), strings.Join(whose, ", ")),
		Name: fmt.Sprintf("%s, load %d: %s (%s); in at %s, boil about %s, %s, heat off %s, out at %s", canner.GetDisplayName(), number+1, words.Jars(jars, l.GetJarSize()),
			strings.Join(titles, ", "), m.clock(l.GetInTime()), m.clock(l.GetBoilTime()), words.Process(l.GetProcess()), m.clock(l.GetOffTime()), m.clock(l.GetOutTime())),
	}
	for _, p := range l.GetPhases() {
		kind, ok := chart.KindOfPart(p.GetPart())
		if !ok {
			kind = chart.Handling
		}
		span := chart.Span{Kind: kind, From: p.GetStartTime().AsTime(), Until: p.GetEndTime().AsTime()}
		switch kind {
		case chart.Process:
			span.Label = fmt.Sprintf("%d min", l.GetProcess().GetMinutes())
		case chart.ComeUp:
			span.Label = fmt.Sprintf("%d %s", jars, words.Jar(l.GetJarSize()))
		}
		load.Spans = append(load.Spans, span)
	}
	if reset := canner.GetResetMinutes(); reset > 0 {
		out := l.GetOutTime().AsTime()
		load.Spans = append(load.Spans, chart.Span{Kind: chart.Reset, From: out, Until: out.Add(time.Duration(reset) * time.Minute)})
	}
	return load
}

func (m *material) stationLoad(s *stillroomv1.Station, turn int, b *stillroomv1.Batch, p *stillroomv1.PlannedBatch, closes time.Time) chart.Load {
	cook, lidded := p.GetCookTime().AsTime(), p.GetLiddedTime().AsTime()
	load := chart.Load{
		Ref: words.Last(b.GetName()), Done: p.GetDone(),
		Name: fmt.Sprintf("%s, batch %d: %s, %s; cooking from %s, lidded by %s", s.GetDisplayName(), turn, p.GetTitle(), words.Jars(p.GetJars(), p.GetJarSize()), m.clock(p.GetCookTime()), m.clock(p.GetLiddedTime())),
	}
	caption := []string{"cook " + m.clock(p.GetCookTime()), "lids " + m.clock(p.GetLiddedTime())}
	prepare := int32(0)
	for _, w := range p.GetPreparing() {
		prepare += w.GetMinutes()
	}
	if prepare > 0 {
		load.Spans = append(load.Spans, chart.Span{Kind: chart.Prepare, From: cook.Add(-time.Duration(prepare) * time.Minute), Until: cook})
	}
	load.Spans = append(load.Spans, chart.Span{Kind: chart.Cook, From: cook, Until: lidded, Label: p.GetTitle()})
	from := lidded
	for _, part := range m.parts(b.GetName()) {
		in, out := part.load.GetInTime().AsTime(), part.load.GetOutTime().AsTime()
		if in.After(from) {
			load.Spans = append(load.Spans, chart.Span{Kind: chart.Wait, From: from, Until: in})
		}
		if out.After(from) {
			begin := in
			if from.After(in) { // other jars of the batch are in a canner already
				begin = from
			}
			load.Spans = append(load.Spans, chart.Span{Kind: chart.InCanner, From: begin, Until: out})
			from = out
		}
		caption = append(caption, fmt.Sprintf("%s %s–%s", part.canner.GetDisplayName(), m.clock(part.load.GetInTime()), m.clock(part.load.GetOutTime())))
		load.Name += fmt.Sprintf(", %d jars into the %s at %s, out at %s", part.jars.GetJars(), part.canner.GetDisplayName(), m.clock(part.load.GetInTime()), m.clock(part.load.GetOutTime()))
	}
	if from.After(lidded) {
		load.Spans = append(load.Spans, chart.Span{Kind: chart.Cooling, From: from, Until: closes})
	}
	if jars := m.unplaced(b.GetName()); len(jars) > 0 {
		caption = append(caption, refrigerate)
		load.Name += "; " + jars[0].GetReason() + ": refrigerate or freeze"
	}
	load.Caption = strings.Join(caption, " · ")
	return load
}

// loadTable is every load with what is in it and where its process is printed.
func (m *material) loadTable(marks *marks) (page.Table, bool) {
	t := page.Table{Caption: "The loads of each canner", Columns: []page.Column{
		{Head: "In at", Share: 9}, {Head: "Boil about", Share: 9}, {Head: "Clock about", Share: 9}, {Head: "Heat off", Share: 9}, {Head: "Out at", Share: 9},
		{Head: "Jars", Share: 15}, {Head: "Whose", Share: 44}, {Head: "Process", Share: 42}, {Head: "Printed in", Share: 9}, {Head: "Boil was seen at", Share: 14}, {Head: "Heat went off at", Share: 14},
	}}
	for _, c := range m.plan.GetCanners() {
		if len(c.GetLoads()) == 0 {
			continue
		}
		g := page.Group{Head: c.GetDisplayName()}
		for _, l := range c.GetLoads() {
			jars := int32(0)
			var whose page.Cell
			var printed []string
			for _, j := range l.GetJars() {
				jars += j.GetJars()
				text := fmt.Sprintf("%d %s (%s)", j.GetJars(), j.GetTitle(), m.station(j.GetStation()))
				if j.GetWaitMinutes() > 0 {
					text += fmt.Sprintf(", hot for %d min", j.GetWaitMinutes())
				}
				whose.Under = append(whose.Under, text)
				for _, mark := range marks.processMarks(j) {
					if mark != "" && !strings.Contains(strings.Join(printed, " "), mark) {
						printed = append(printed, mark)
					}
				}
			}
			g.Rows = append(g.Rows, page.Row{Cells: []page.Cell{
				{Text: m.clock(l.GetInTime()), Strong: true}, {Text: m.clock(l.GetBoilTime())}, {Text: m.clock(l.GetClockTime())}, {Text: m.clock(l.GetOffTime())},
				{Text: m.clock(l.GetOutTime()), Strong: true}, {Text: fmt.Sprintf("%d %s", jars, words.Jar(l.GetJarSize()))}, whose,
				{Text: words.Process(l.GetProcess())}, {Text: strings.Join(printed, " ")}, {Text: "______"}, {Text: "______"},
			}})
		}
		t.Groups = append(t.Groups, g)
	}
	return t, len(t.Groups) > 0
}
