package sheets

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/words"
)

func sortByIn(parts []part) {
	slices.SortStableFunc(parts, func(a, b part) int {
		return cmp.Or(a.load.GetInTime().AsTime().Compare(b.load.GetInTime().AsTime()), cmp.Compare(a.canner.GetDisplayName(), b.canner.GetDisplayName()))
	})
}

func (m *material) clock(t *timestamppb.Timestamp) string { return words.Clock(t, m.zone) }

// planBasis says which plan a sheet was made from.
func (m *material) planBasis() (string, time.Time) {
	if m.plan == nil {
		return "The class has no load plan yet, so there are no times.", m.class.GetStartTime().AsTime()
	}
	made := m.plan.GetCreateTime().AsTime()
	return fmt.Sprintf("Computed %s: load plan %s, at %s. A newer plan makes this sheet void.", m.moment(made), words.Last(m.plan.GetName()),
		words.Altitude(m.plan.GetAltitude())), made
}

// warning says loudly when the times cannot be relied on.
func (m *material) warning() []page.Block {
	switch why := m.outdated(); {
	case m.plan == nil:
		return []page.Block{page.Paragraph{Style: page.Loud, Text: "No load plan yet: plan the loads, then print this again."}}
	case why != "":
		return []page.Block{page.Paragraph{Style: page.Loud, Text: "Load plan " + words.Last(m.plan.GetName()) + " no longer fits the class: " + why + ". Plan again before you print."}}
	}
	return nil
}

// refrigerate is what is said of jars that are not processed, the same on every sheet.
const refrigerate = "REFRIGERATE OR FREEZE"

// refused are the reasons why jars of a batch are in no load, each with its number of jars.
func (m *material) refused(b *stillroomv1.Batch) []string {
	var all []string
	for _, u := range m.unplaced(b.GetName()) {
		all = append(all, fmt.Sprintf("%s: %s. In no canner. Why: %s", refrigerate, words.Jars(u.GetJars(), u.GetJarSize()), u.GetReason()))
	}
	if len(all) == 0 && b.GetNotForShelfReason() != "" {
		all = append(all, fmt.Sprintf("%s: %s. In no canner. Why: %s", refrigerate, words.Jars(b.GetJars(), b.GetJarSize()), b.GetNotForShelfReason()))
	}
	return all
}

// marks number sources in the order in which they are first needed.
type marks []string

func (m *marks) mark(source string) string {
	if source == "" {
		return ""
	}
	at := slices.Index(*m, source)
	if at < 0 {
		at = len(*m)
		*m = append(*m, source)
	}
	return fmt.Sprintf("[%d]", at+1)
}

// list is the sources with their numbers.
func (m marks) list() page.List {
	l := page.List{Small: true, Bare: true}
	for i, source := range m {
		l.Items = append(l.Items, page.Item{Text: fmt.Sprintf("[%d] %s", i+1, source)})
	}
	return l
}

// processMarks mark where the process of jars in a load is printed, and how the row was read.
func (m *marks) processMarks(j *stillroomv1.JarsInLoad) []string {
	all := []string{m.mark(words.Source(j.GetSource()))}
	for _, n := range j.GetNotes() {
		all = append(all, m.mark(fmt.Sprintf("%s (%s)", n.GetText(), words.Source(n.GetSource()))))
	}
	return all
}

// heed stands over cautions where they are not at the foot of a card.
var heed = page.Heading{Text: "Heed", Minor: true}

// cautions are set small; the first says whose word comes first.
func cautions(all []*stillroomv1.Caution) []page.Block {
	l := page.List{Small: true}
	for _, c := range all {
		l.Items = append(l.Items, page.Item{Text: c.GetText(), Source: words.Source(c.GetSource())})
	}
	if len(l.Items) == 0 {
		return nil
	}
	return []page.Block{l}
}
