package sheets

import (
	"fmt"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/words"
)

// signInSheet goes from hand to hand, so it holds names and stations and nothing else of a participant.
func signInSheet(m *material, _ Options) (page.Document, error) {
	doc := page.Document{About: m.about(), Made: m.class.GetStartTime().AsTime()}
	columns := []page.Column{{Head: "No.", Share: 8}, {Head: "Name", Share: 40}, {Head: "Station", Share: 22}, {Head: "Here", Share: 9}, {Head: "Signature", Share: 45}}
	table := page.Table{Caption: "Who comes", Open: true, Columns: columns, Groups: []page.Group{{}}}
	waiting := page.Group{Head: "Waiting list, in this order"}
	places, latest := 0, doc.Made
	for i, e := range m.roster {
		if made := e.GetCreateTime().AsTime(); i == 0 || made.After(latest) {
			latest = made
		}
		switch e.GetState() {
		case stillroomv1.EnrolmentState_ENROLMENT_STATE_ENROLLED:
			places++
			station := "–"
			if e.GetStation() != "" {
				station = m.station(e.GetStation())
			}
			table.Groups[0].Rows = append(table.Groups[0].Rows, signInRow(places, e, station))
		case stillroomv1.EnrolmentState_ENROLMENT_STATE_WAITING:
			waiting.Rows = append(waiting.Rows, signInRow(int(e.GetWaitingPosition()), e, "–"))
		}
	}
	if len(waiting.Rows) > 0 {
		table.Groups = append(table.Groups, waiting)
	}
	doc.Basis = fmt.Sprintf("%s of %s, %d waiting; the latest enrolled %s.", words.Count(places, "place taken", "places taken"),
		fmt.Sprint(m.class.GetCapacity()), len(waiting.Rows), m.moment(latest))
	if len(m.roster) == 0 {
		doc.Basis = "Nobody is enrolled yet."
	}
	doc.Blocks = []page.Block{table}
	return doc, nil
}

func signInRow(number int, e *stillroomv1.Enrolment, station string) page.Row {
	return page.Row{Cells: []page.Cell{{Text: fmt.Sprint(number)}, {Text: e.GetParticipantDisplayName(), Strong: true}, {Text: station}, {Tick: true}, {}}}
}
