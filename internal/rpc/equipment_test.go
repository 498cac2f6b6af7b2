package rpc

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func (s *testServer) equipment() stillroomv1.EquipmentServiceClient {
	return stillroomv1.NewEquipmentServiceClient(s.conn)
}

func wireCanner() *stillroomv1.Equipment {
	return &stillroomv1.Equipment{DisplayName: "Big canner", Kind: "canner", OwnedCount: 2, Canner: &stillroomv1.CannerDetails{
		Methods:           []stillroomv1.ProcessMethod{stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER},
		Capacities:        []*stillroomv1.JarCapacity{{JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, Jars: 9}},
		ComeUpBaseMinutes: "14", ComeUpMinutesPerJar: "0.35", ResetMinutes: 5,
	}}
}

func TestEquipmentLife(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	ctx := t.Context()
	req := &stillroomv1.CreateEquipmentRequest{Parent: "kitchens/k", EquipmentId: "big", Equipment: wireCanner(), RequestId: uuid.NewString()}
	e, err := s.equipment().CreateEquipment(ctx, req)
	require.NoError(t, err)
	again, err := s.equipment().CreateEquipment(ctx, req)
	require.NoError(t, err)
	require.True(t, proto.Equal(e, again))

	changed, err := s.equipment().UpdateEquipment(ctx, &stillroomv1.UpdateEquipmentRequest{
		Equipment: &stillroomv1.Equipment{Name: e.GetName(), OwnedCount: 3, Site: "kitchens/k/sites/main", Etag: e.GetEtag()}})
	require.NoError(t, err)
	require.EqualValues(t, 3, changed.GetOwnedCount())
	require.True(t, proto.Equal(e.GetCanner(), changed.GetCanner()), "what is not named stays")
	_, err = s.equipment().UpdateEquipment(ctx, &stillroomv1.UpdateEquipmentRequest{
		Equipment: &stillroomv1.Equipment{Name: e.GetName(), OwnedCount: 4, Etag: e.GetEtag()}})
	requireCode(t, codes.Aborted, err)

	_, err = s.equipment().RecordComeUp(ctx, &stillroomv1.RecordComeUpRequest{Name: e.GetName(), ComeUp: &stillroomv1.ComeUp{
		Method: stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER, JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, Pack: stillroomv1.Pack_PACK_HOT,
		Jars: 10, Altitude: &stillroomv1.Altitude{Metres: 1600}, Minutes: 20}})
	require.Equal(t, []string{"come_up.jars"}, badFields(t, requireCode(t, codes.InvalidArgument, err)), "ten pints do not fit")
	recorded, err := s.equipment().RecordComeUp(ctx, &stillroomv1.RecordComeUpRequest{Name: e.GetName(), ComeUp: &stillroomv1.ComeUp{
		Method: stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER, JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, Pack: stillroomv1.Pack_PACK_HOT,
		Jars: 9, Altitude: &stillroomv1.Altitude{Metres: 1600}, Minutes: 20}})
	require.NoError(t, err)
	require.Len(t, recorded.GetCanner().GetComeUps(), 1)
	require.True(t, recorded.GetCanner().GetComeUps()[0].GetObserveTime().AsTime().Equal(testNow))
}

func TestEquipmentThatCannotBe(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	for field, spoil := range map[string]func(*stillroomv1.Equipment){
		"equipment.owned_count":                    func(e *stillroomv1.Equipment) { e.OwnedCount = 0 },
		"equipment.kind":                           func(e *stillroomv1.Equipment) { e.Kind = "Canner!" },
		"equipment.canner":                         func(e *stillroomv1.Equipment) { e.Canner = nil },
		"equipment.canner.methods":                 func(e *stillroomv1.Equipment) { e.Canner.Methods = nil },
		"equipment.canner.capacities":              func(e *stillroomv1.Equipment) { e.Canner.Capacities = nil },
		"equipment.canner.come_up_base_minutes":    func(e *stillroomv1.Equipment) { e.Canner.ComeUpBaseMinutes = "-3" },
		"equipment.canner.come_up_minutes_per_jar": func(e *stillroomv1.Equipment) { e.Canner.ComeUpMinutesPerJar = "" },
		"equipment.canner.capacities[1].jar_size": func(e *stillroomv1.Equipment) {
			e.Canner.Capacities = append(e.Canner.Capacities, &stillroomv1.JarCapacity{JarSize: stillroomv1.JarSize_JAR_SIZE_ML_500, Jars: 9})
		},
		"equipment.canner.vessel.litres": func(e *stillroomv1.Equipment) {
			e.Canner.Vessel = &stillroomv1.Vessel{Litres: 501, DiameterMetres: 0.3, Kilograms: 3, Material: stillroomv1.Material_MATERIAL_ALUMINIUM}
		},
		"equipment.site": func(e *stillroomv1.Equipment) { e.Site = "kitchens/other/sites/main" },
	} {
		e := wireCanner()
		spoil(e)
		_, err := s.equipment().CreateEquipment(t.Context(), &stillroomv1.CreateEquipmentRequest{Parent: "kitchens/k", Equipment: e})
		require.Equal(t, []string{field}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	}
	_, err := s.equipment().CreateEquipment(t.Context(), &stillroomv1.CreateEquipmentRequest{Parent: "kitchens/k",
		Equipment: &stillroomv1.Equipment{DisplayName: "Pots", Kind: "large pot", OwnedCount: 4, Site: "kitchens/k/sites/attic"}})
	requireCode(t, codes.NotFound, err)
}

func TestReservationsOverTheWire(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	ctx := t.Context()
	_, err := s.equipment().CreateEquipment(ctx, &stillroomv1.CreateEquipmentRequest{Parent: "kitchens/k", EquipmentId: "big", Equipment: wireCanner()})
	require.NoError(t, err)
	big := "kitchens/k/equipment/big"
	claim := func(id string, units int32, from, to time.Time) (*stillroomv1.Reservation, error) {
		r := &stillroomv1.Reservation{Class: "kitchens/k/classes/c", Units: units}
		if !from.IsZero() {
			r.StartTime, r.EndTime = timestamppb.New(from), timestamppb.New(to)
		}
		return s.equipment().CreateReservation(ctx, &stillroomv1.CreateReservationRequest{Parent: big, ReservationId: id, Reservation: r})
	}
	opens := testNow.AddDate(0, 0, 7)
	first, err := claim("first", 1, time.Time{}, time.Time{})
	require.NoError(t, err)
	require.True(t, first.GetStartTime().AsTime().Equal(opens), "the class's own time is the default")
	require.True(t, first.GetEndTime().AsTime().Equal(opens.Add(4*time.Hour)))
	require.Equal(t, []int32{1}, first.GetUnitNumbers())
	_, err = claim("", 2, opens.Add(time.Hour), opens.Add(2*time.Hour))
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "2 of Big canner are asked for, 1 are free")
	_, err = claim("", 1, opens.Add(time.Hour), opens.Add(time.Hour))
	require.Equal(t, []string{"reservation.end_time"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	for i := range 3 {
		_, err = claim(fmt.Sprintf("r%d", i), 2, opens.AddDate(0, 0, i+1), opens.AddDate(0, 0, i+2))
		require.NoError(t, err)
	}
	_, err = s.equipment().DeleteEquipment(ctx, &stillroomv1.DeleteEquipmentRequest{Name: big})
	requireCode(t, codes.FailedPrecondition, err)

	var names []string
	for token := ""; ; {
		page, err := s.equipment().ListReservations(ctx, &stillroomv1.ListReservationsRequest{Parent: "kitchens/k/equipment/-", PageSize: 3, PageToken: token})
		require.NoError(t, err)
		for _, r := range page.GetReservations() {
			names = append(names, r.GetName())
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	require.Equal(t, []string{big + "/reservations/first", big + "/reservations/r0", big + "/reservations/r1", big + "/reservations/r2"}, names)
	_, err = s.equipment().DeleteReservation(ctx, &stillroomv1.DeleteReservationRequest{Name: first.GetName()})
	require.NoError(t, err)
	_, err = s.equipment().GetReservation(ctx, &stillroomv1.GetReservationRequest{Name: first.GetName()})
	requireCode(t, codes.NotFound, err)
	_, err = claim("", 2, opens.Add(time.Hour), opens.Add(2*time.Hour))
	require.NoError(t, err, "what was given back can be had again")
}

func TestImportEquipment(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	ctx := t.Context()
	file := func(owned int, more string) []byte {
		return fmt.Appendf(nil, "equipment:\n  - {id: burners, name: Burners, kind: burner, owned: %d, site: main}\n%s", owned, more)
	}
	count := func() int {
		all, err := s.equipment().ListEquipment(ctx, &stillroomv1.ListEquipmentRequest{Parent: "kitchens/k"})
		require.NoError(t, err)
		return len(all.GetEquipment())
	}
	tried, err := s.equipment().ImportEquipment(ctx, &stillroomv1.ImportEquipmentRequest{Parent: "kitchens/k", Yaml: file(6, ""), ValidateOnly: true})
	require.NoError(t, err)
	require.EqualValues(t, 1, tried.GetCreated())
	require.Zero(t, count(), "a trial leaves nothing")
	_, err = s.equipment().ImportEquipment(ctx, &stillroomv1.ImportEquipmentRequest{Parent: "kitchens/k",
		Yaml: file(6, "  - {id: pots, name: Pots, kind: large pot, owned: 4, site: nowhere}\n")})
	requireCode(t, codes.NotFound, err)
	require.Zero(t, count(), "all of a file or nothing")
	req := &stillroomv1.ImportEquipmentRequest{Parent: "kitchens/k", Yaml: file(6, "  - {id: pots, name: Pots, kind: large pot, owned: 4}\n"), RequestId: uuid.NewString()}
	for range 2 {
		done, err := s.equipment().ImportEquipment(ctx, req)
		require.NoError(t, err)
		require.EqualValues(t, 2, done.GetCreated())
	}
	done, err := s.equipment().ImportEquipment(ctx, &stillroomv1.ImportEquipmentRequest{Parent: "kitchens/k", Yaml: file(8, "")})
	require.NoError(t, err)
	require.EqualValues(t, 1, done.GetUpdated())
	require.EqualValues(t, 8, done.GetEquipment()[0].GetOwnedCount())
	require.Equal(t, 2, count())
}
