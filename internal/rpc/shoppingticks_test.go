package rpc

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func TestShoppingTicks(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	s.addPerson(t, "p")
	_, err := s.rosters().CreateEnrolment(t.Context(), &stillroomv1.CreateEnrolmentRequest{Parent: "kitchens/k/classes/c",
		Enrolment: &stillroomv1.Enrolment{Participant: "kitchens/k/participants/p", Station: "kitchens/k/classes/c/stations/a"}})
	require.NoError(t, err)
	s.addBatch(t, "a", s.adopt(t, "pickled_pepper_onion_relish"), stillroomv1.JarSize_JAR_SIZE_HALF_PINT, 9)
	list, err := s.shopping().CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: "kitchens/k/classes/c"})
	require.NoError(t, err)

	for range 2 { // saying it again changes nothing
		ticks, err := s.shopping().TickShoppingLine(t.Context(), &stillroomv1.TickShoppingLineRequest{Name: "kitchens/k/classes/c/shoppingLists/latest", Item: "onions"})
		require.NoError(t, err)
		require.Equal(t, list.GetName(), ticks.GetList())
		require.Len(t, ticks.GetTicks(), 1)
		require.Equal(t, "onions", ticks.GetTicks()[0].GetItem())
		require.Equal(t, lineFor(t, list, "onions").GetNeed().GetUnit(), ticks.GetTicks()[0].GetUnit())
		require.True(t, testNow.Equal(ticks.GetTicks()[0].GetTime().AsTime()))
	}
	same, err := s.shopping().GetShoppingList(t.Context(), &stillroomv1.GetShoppingListRequest{Name: list.GetName()})
	require.NoError(t, err)
	require.True(t, proto.Equal(list, same), "a tick changed the list")

	// The next version begins without ticks, and the version before keeps its own.
	next, err := s.shopping().CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: "kitchens/k/classes/c"})
	require.NoError(t, err)
	for name, want := range map[string]int{list.GetName(): 1, next.GetName(): 0} {
		ticks, err := s.shopping().GetShoppingTicks(t.Context(), &stillroomv1.GetShoppingTicksRequest{Name: name})
		require.NoError(t, err)
		require.Len(t, ticks.GetTicks(), want, name)
	}
	for range 2 {
		ticks, err := s.shopping().UntickShoppingLine(t.Context(), &stillroomv1.UntickShoppingLineRequest{Name: list.GetName(), Item: "onions", Unit: "gram"})
		require.NoError(t, err)
		require.Empty(t, ticks.GetTicks())
	}

	_, err = s.shopping().TickShoppingLine(t.Context(), &stillroomv1.TickShoppingLineRequest{Name: list.GetName(), Item: "anchors"})
	require.Equal(t, []string{"item"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	_, err = s.shopping().TickShoppingLine(t.Context(), &stillroomv1.TickShoppingLineRequest{Name: list.GetName(), Item: "onions", Unit: "furlong"})
	require.Equal(t, []string{"unit"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	_, err = s.shopping().GetShoppingTicks(t.Context(), &stillroomv1.GetShoppingTicksRequest{Name: "kitchens/k/classes/c/shoppingLists/9"})
	requireCode(t, codes.NotFound, err)
}
