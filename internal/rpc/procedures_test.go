package rpc

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func TestGetClassProcedure(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	salsa := s.adopt(t, "chile_salsa")
	s.addBatch(t, "a", salsa, stillroomv1.JarSize_JAR_SIZE_ML_500, 6)
	s.addBatch(t, "b", salsa, stillroomv1.JarSize_JAR_SIZE_ML_500, 6)
	s.addBatch(t, "b", s.adopt(t, "piccalilli"), stillroomv1.JarSize_JAR_SIZE_QUART, 4)

	// Without a canner nothing is processed, and that is said.
	bare, err := s.processes().GetClassProcedure(t.Context(), &stillroomv1.GetClassProcedureRequest{Name: "kitchens/k/classes/c"})
	require.NoError(t, err)
	require.Contains(t, bare.GetProcesses()[0].GetRefrigerateReason(), "no canner of the class")
	require.Empty(t, bare.GetSteps())
	require.Contains(t, bare.GetCautions()[0].GetText(), "Local codes")

	_, err = stillroomv1.NewEquipmentServiceClient(s.conn).CreateEquipment(t.Context(), &stillroomv1.CreateEquipmentRequest{Parent: "kitchens/k", EquipmentId: "blue",
		Equipment: &stillroomv1.Equipment{DisplayName: "Blue canner", Kind: "canner", OwnedCount: 1, Canner: &stillroomv1.CannerDetails{
			Methods:    []stillroomv1.ProcessMethod{stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER},
			Capacities: []*stillroomv1.JarCapacity{{JarSize: stillroomv1.JarSize_JAR_SIZE_QUART, Jars: 7}},
		}}})
	require.NoError(t, err)
	got, err := s.processes().GetClassProcedure(t.Context(), &stillroomv1.GetClassProcedureRequest{Name: "kitchens/k/classes/c"})
	require.NoError(t, err)
	require.Len(t, got.GetProcesses(), 2)
	p := got.GetProcesses()[0]
	require.Len(t, p.GetBatches(), 2)
	// USDA AIB 539 (rev. 2015), Guide 3: chile salsa in pints 20 min at 1,001-6,000 ft; the site lies at 5,280 ft.
	require.Equal(t, int32(20), p.GetChoices()[0].GetMinutes())
	require.Equal(t, "1,001-6,000 ft", p.GetBand().GetText())
	require.Contains(t, p.GetNotes()[0].GetText(), "500 ml jar is processed as a pint")
	// Piccalilli is printed for half-pints and pints only (Guide 6).
	require.Contains(t, got.GetProcesses()[1].GetRefrigerateReason(), "larger than the largest jar printed")
	require.NotEmpty(t, got.GetSteps())
	require.Empty(t, got.GetSteps()[0].GetProcesses(), "a line of the only process belongs to all")
	require.InDelta(t, 94.6, got.GetBoilingPointCelsius(), 0.1)

	_, err = s.processes().GetClassProcedure(t.Context(), &stillroomv1.GetClassProcedureRequest{Name: "kitchens/k/classes/nothing"})
	requireCode(t, codes.NotFound, err)
	_, err = s.processes().GetClassProcedure(t.Context(), &stillroomv1.GetClassProcedureRequest{Name: "kitchens/k"})
	require.Equal(t, []string{"name"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
}
