package sheets_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/sheets"
	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/sheets/sheettest"
	"stillroom/internal/web/webtest"
)

// Text that tries to be markup, to run, and to turn its surroundings around, in every field that a sheet prints, comes
// out as text.
func TestHostileTextFromTheServices(t *testing.T) {
	t.Parallel()
	const hostile = "<img src=x onerror=alert(1)>\u202eевил\u2066 ${7*7} </svg><script>"
	e := newEvening(t, addChutney(t, hostile), func(k *webtest.Kitchen) {
		classes, kitchens, rosters := stillroomv1.NewClassServiceClient(k.Conn), stillroomv1.NewKitchenServiceClient(k.Conn), stillroomv1.NewRosterServiceClient(k.Conn)
		name := func() *fieldmaskpb.FieldMask { return &fieldmaskpb.FieldMask{Paths: []string{"display_name"}} }
		_, err := classes.UpdateClass(t.Context(), &stillroomv1.UpdateClassRequest{Class: &stillroomv1.Class{Name: webtest.Class, DisplayName: hostile}, UpdateMask: name()})
		require.NoError(t, err)
		_, err = kitchens.UpdateSite(t.Context(), &stillroomv1.UpdateSiteRequest{Site: &stillroomv1.Site{Name: webtest.Name + "/sites/hall", DisplayName: hostile}, UpdateMask: name()})
		require.NoError(t, err)
		_, err = classes.UpdateStation(t.Context(), &stillroomv1.UpdateStationRequest{Station: &stillroomv1.Station{Name: webtest.Class + "/stations/bench-1", DisplayName: hostile}, UpdateMask: name()})
		require.NoError(t, err)
		_, err = rosters.UpdateParticipant(t.Context(), &stillroomv1.UpdateParticipantRequest{Participant: &stillroomv1.Participant{Name: k.Participant("Ximena Okoro-Vale"), DisplayName: hostile}, UpdateMask: name()})
		require.NoError(t, err)
		equipment := stillroomv1.NewEquipmentServiceClient(k.Conn)
		all, err := equipment.ListEquipment(t.Context(), &stillroomv1.ListEquipmentRequest{Parent: webtest.Name, PageSize: 100})
		require.NoError(t, err)
		for _, one := range all.GetEquipment() {
			if one.GetCanner() != nil {
				_, err = equipment.UpdateEquipment(t.Context(), &stillroomv1.UpdateEquipmentRequest{Equipment: &stillroomv1.Equipment{Name: one.GetName(), DisplayName: hostile}, UpdateMask: name()})
				require.NoError(t, err)
			}
		}
	})
	for _, kind := range sheets.Kinds() {
		doc := e.make(kind, sheets.Options{})
		var out bytes.Buffer
		require.NoError(t, page.WriteHTML(&out, doc, page.Chrome{Stylesheet: "x"}))
		shown := strings.ToLower(out.String())
		require.NotContains(t, shown, "<img", kind)
		require.NotContains(t, shown, "<script", kind)
		require.NotContains(t, shown, " style=", kind)
		require.NotRegexp(t, "[\u202a-\u202e\u2066-\u2069]", shown, kind)
		require.Equal(t, strings.Count(shown, "<svg"), strings.Count(shown, "</svg>"), kind)
		printed := strings.Join(sheettest.Layout(t, pdf(t, doc)), "\n")
		require.NotRegexp(t, "[\u202a-\u202e\u2066-\u2069]", printed, kind)
		require.Contains(t, strings.Join(strings.Fields(printed), " "), "${7*7}", "%s prints what was typed", kind)
	}
}
