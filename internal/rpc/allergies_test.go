package rpc

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// TestAllergiesAreWarnedOfWhereTheBatchIsMade: pickle relish (USDA AIB 539 (2015), Guide 6, p. 6-28) has mustard seed.
func TestAllergiesAreWarnedOfWhereTheBatchIsMade(t *testing.T) {
	t.Parallel()
	g := newGuarded(t)
	ctx := t.Context()
	g.addBatch(t, "a", g.adopt(t, "pickle_relish"), stillroomv1.JarSize_JAR_SIZE_PINT, 9)
	for who, allergies := range map[string]string{"ana-2": "Mustard; celery", "bo-2": "penicillin"} {
		_, err := g.rosters().CreateParticipant(ctx, &stillroomv1.CreateParticipantRequest{Parent: "kitchens/k", ParticipantId: who,
			Participant: &stillroomv1.Participant{DisplayName: "Person " + who, Allergies: allergies}})
		require.NoError(t, err)
		_, err = g.rosters().CreateEnrolment(ctx, &stillroomv1.CreateEnrolmentRequest{Parent: "kitchens/k/classes/c",
			Enrolment: &stillroomv1.Enrolment{Participant: "kitchens/k/participants/" + who, Station: "kitchens/k/classes/c/stations/a"}})
		require.NoError(t, err)
	}
	request := &stillroomv1.CheckAllergiesRequest{Name: "kitchens/k/classes/c"}
	assistant, _ := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_ASSISTANT})
	check, err := g.classes().CheckAllergies(assistant, request)
	require.NoError(t, err)
	require.Len(t, check.GetWarnings(), 1)
	w := check.GetWarnings()[0]
	require.Equal(t, "kitchens/k/classes/c/stations/a", w.GetStation())
	require.Equal(t, "kitchens/k/participants/ana-2", w.GetParticipant())
	require.Equal(t, "Mustard", w.GetAllergies())
	require.Equal(t, "mustard seed", w.GetIngredient())
	require.Equal(t, "Annex II, point 10", w.GetSource().GetLocator())
	require.Len(t, check.GetUnmatched(), 1)
	require.Equal(t, "kitchens/k/participants/bo-2", check.GetUnmatched()[0].GetParticipant())
	require.Contains(t, check.GetCaution(), "does not mean that an ingredient is safe")

	guest, _ := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_PARTICIPANT, Participant: "kitchens/k/participants/ana", Class: "kitchens/k/classes/c"})
	_, err = g.classes().CheckAllergies(guest, request)
	requireCode(t, codes.PermissionDenied, err)
	_, err = g.classes().CheckAllergies(ctx, &stillroomv1.CheckAllergiesRequest{Name: "kitchens/k/classes/none"})
	requireCode(t, codes.NotFound, err)
}
