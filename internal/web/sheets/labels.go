package sheets

import (
	"fmt"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/words"
)

// checkLabels settles the stock and the first position.
func (o *Options) checkLabels() error {
	if o.Stock.Count() == 0 {
		o.Stock = page.Stocks(o.Paper)[0]
	}
	if o.Stock.Paper != o.Paper {
		return status.Errorf(codes.InvalidArgument, "labels of %s are not on %s", o.Stock, o.Paper.Name())
	}
	if o.Start < 0 || o.Start > o.Stock.Count() {
		return status.Errorf(codes.InvalidArgument, "position %d: a sheet has positions 1 to %d", o.Start, o.Stock.Count())
	}
	o.Start = max(o.Start, 1)
	return nil
}

// testPage is the edges of a stock's labels with the numbers of their positions.
func testPage(o Options) page.Document {
	return page.Document{Title: Labels.Title() + ", test page", Paper: o.Paper, Blocks: []page.Block{page.Labels{Stock: o.Stock, Start: 1, Outline: true}}}
}

// jarLabels is a label for every jar of the class. A process stands on a label only where the jar is in a load of a
// plan that fits the class as it is.
func jarLabels(m *material, o Options) (page.Document, error) {
	doc := page.Document{About: m.about()}
	doc.Basis, doc.Made = m.planBasis()
	if why := m.outdated(); why != "" {
		return doc, status.Errorf(codes.FailedPrecondition, "load plan %s no longer fits the class: %s; plan again before printing labels", words.Last(m.plan.GetName()), why)
	}
	labels := page.Labels{Stock: o.Stock, Start: o.Start}
	turns := map[string]int{}
	for _, b := range m.batches {
		turns[b.GetStation()]++
		l, err := m.batchLabels(b, turns[b.GetStation()])
		if err != nil {
			return doc, err
		}
		labels.Labels = append(labels.Labels, l...)
	}
	doc.Blocks = []page.Block{labels}
	return doc, nil
}

func (m *material) batchLabels(b *stillroomv1.Batch, turn int) ([]page.Label, error) {
	if m.plan == nil && b.GetNotForShelfReason() == "" {
		return nil, status.Errorf(codes.FailedPrecondition, "the class has no load plan yet, so it is not known which jars are processed; make one, for example with: stillroom loads plan %s", words.Last(m.class.GetName()))
	}
	made := words.Day(m.class.GetStartTime().AsTime(), m.zone)
	title := m.planned(b.GetName()).GetTitle()
	if title == "" {
		title = words.Last(strings.Split(b.GetRecipeRevision(), "/revisions/")[0])
	}
	var labels []page.Label
	add := func(count int32, lines ...page.LabelLine) {
		for range count {
			labels = append(labels, page.Label{Name: title, Lines: append([]page.LabelLine{
				{Text: "Made " + made},
				{Text: fmt.Sprintf("%s, batch %d · jar %d of %d", m.station(b.GetStation()), turn, len(labels)+1, b.GetJars())},
			}, lines...)})
		}
	}
	for _, p := range m.parts(b.GetName()) {
		lines := []page.LabelLine{{Text: words.Process(p.load.GetProcess())}, {Text: shortSource(p.jars.GetSource()), Small: true}}
		if c := m.caution("taste_suspect_food"); c != nil {
			lines = append(lines, page.LabelLine{Text: c.GetText(), Small: true})
		}
		add(p.jars.GetJars(), lines...)
	}
	for _, u := range m.unplaced(b.GetName()) {
		add(u.GetJars(), page.LabelLine{Text: refrigerate, Loud: true}, page.LabelLine{Text: "Not processed; not for the shelf. " + u.GetReason(), Small: true})
	}
	if m.plan == nil {
		add(b.GetJars(), page.LabelLine{Text: refrigerate, Loud: true}, page.LabelLine{Text: "Not processed; not for the shelf. " + b.GetNotForShelfReason(), Small: true})
	}
	if len(labels) != int(b.GetJars()) {
		return nil, status.Errorf(codes.FailedPrecondition, "load plan %s has %d jars of batch %s, which fills %d; plan again before printing labels",
			words.Last(m.plan.GetName()), len(labels), words.Last(b.GetName()), b.GetJars())
	}
	return labels, nil
}

// caution is a caution of the class by the key of its published fact; nil when the class has none.
func (m *material) caution(key string) *stillroomv1.ProcedureLine {
	for _, c := range m.procedure.GetCautions() {
		if c.GetFactKey() == key {
			return c
		}
	}
	return nil
}

// shortSource is a source in as few words as still find the page: the publication without its subtitle, the place
// without the title of the table.
func shortSource(s *stillroomv1.Source) string {
	publication, _, _ := strings.Cut(s.GetPublication(), ", ")
	locator, _, _ := strings.Cut(s.GetLocator(), ", table ")
	return strings.TrimSuffix(publication+", "+locator, ", ")
}
