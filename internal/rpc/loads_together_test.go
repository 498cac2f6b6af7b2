package rpc

import (
	"context"
	"errors"
	"io"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func (s *testServer) plannedTogether(ctx context.Context, req *stillroomv1.PlanClassesTogetherRequest) (plans *stillroomv1.JointPlans, progress []*stillroomv1.PlanProgress, err error) {
	stream, err := s.loads().PlanClassesTogether(ctx, req)
	if err != nil {
		return nil, nil, err
	}
	for {
		message, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return plans, progress, nil
		}
		if err != nil {
			return nil, progress, err
		}
		if p := message.GetProgress(); p != nil {
			progress = append(progress, p)
		} else {
			plans = message.GetJointPlans()
		}
	}
}

// secondClass adds class "second", which opens with class "c", with one station and one batch.
func (s *testServer) secondClass(t testing.TB) {
	t.Helper()
	ctx := t.Context()
	class, err := s.classes().GetClass(ctx, &stillroomv1.GetClassRequest{Name: "kitchens/k/classes/c"})
	require.NoError(t, err)
	second := proto.CloneOf(class)
	second.Name, second.Etag = "", ""
	_, err = s.classes().CreateClass(ctx, &stillroomv1.CreateClassRequest{Parent: "kitchens/k", ClassId: "second", Class: second})
	require.NoError(t, err)
	_, err = s.classes().CreateStation(ctx, &stillroomv1.CreateStationRequest{Parent: "kitchens/k/classes/second", StationId: "bench", Station: &stillroomv1.Station{DisplayName: "Bench"}})
	require.NoError(t, err)
	_, err = s.classes().CreateBatch(ctx, &stillroomv1.CreateBatchRequest{Parent: "kitchens/k/classes/second", BatchId: "relish", Batch: &stillroomv1.Batch{
		Station: "kitchens/k/classes/second/stations/bench", RecipeRevision: "kitchens/k/recipes/corn/revisions/1", JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, Jars: 7, MaySplit: true}})
	require.NoError(t, err)
}

func TestClassesPlannedTogether(t *testing.T) {
	t.Parallel()
	s := kitchenToPlan(t, "salsa", "corn")
	s.secondClass(t)
	ctx := t.Context()
	_, _, err := s.planned(ctx, planRequest())
	require.NoError(t, err, "so that the next plan of class c is its second")

	req := &stillroomv1.PlanClassesTogetherRequest{Parent: "kitchens/k", Classes: []string{"kitchens/k/classes/c", "kitchens/k/classes/second"},
		WorkLimit: 20_000, Seed: 3, RequestId: uuid.NewString()}
	plans, progress, err := s.plannedTogether(ctx, req)
	require.NoError(t, err)
	require.NotEmpty(t, progress)
	require.Len(t, plans.GetLoadPlans(), 2)
	require.Equal(t, "kitchens/k/classes/c/loadPlans/2", plans.GetLoadPlans()[0].GetName())
	require.Equal(t, []string{"kitchens/k/classes/second/loadPlans/1"}, plans.GetLoadPlans()[0].GetAroundPlans())
	require.Equal(t, []string{"kitchens/k/classes/c/loadPlans/2"}, plans.GetLoadPlans()[1].GetAroundPlans())
	require.Zero(t, plans.GetUnprocessedJars())
	require.NotEmpty(t, plans.GetLoadPlans()[0].GetGains())

	// No canner holds two loads at a time, its reset of five minutes included.
	type span struct{ in, out time.Time }
	taken := map[string][]span{}
	finish, jars := int32(0), int32(0)
	for _, p := range plans.GetLoadPlans() {
		finish += p.GetOutcome().GetFinishMinutes()
		for _, c := range p.GetCanners() {
			unit := c.GetUnit().String()
			for _, l := range c.GetLoads() {
				at := span{l.GetInTime().AsTime(), l.GetOutTime().AsTime().Add(5 * time.Minute)}
				for _, other := range taken[unit] {
					require.False(t, at.in.Before(other.out) && other.in.Before(at.out), unit)
				}
				taken[unit] = append(taken[unit], at)
				for _, j := range l.GetJars() {
					jars += j.GetJars()
				}
			}
		}
	}
	require.EqualValues(t, 21, jars)
	require.Equal(t, finish, plans.GetFinishMinutes())
	require.GreaterOrEqual(t, plans.GetFinishMinutes(), plans.GetBoundFinishMinutes())
	require.Equal(t, plans.GetFinishMinutes() == plans.GetBoundFinishMinutes(), plans.GetOptimal())

	again, progress, err := s.plannedTogether(ctx, req)
	require.NoError(t, err)
	require.Empty(t, progress, "a retry is answered from what was stored")
	require.True(t, proto.Equal(plans, again))
	stored, err := s.loads().GetLoadPlan(ctx, &stillroomv1.GetLoadPlanRequest{Name: "kitchens/k/classes/second/loadPlans/1"})
	require.NoError(t, err)
	require.Equal(t, plans.GetLoadPlans()[1].GetOutcome().GetFinishMinutes(), stored.GetOutcome().GetFinishMinutes())
}

func TestClassesPlannedTogetherRefusesWhatCannotBe(t *testing.T) {
	t.Parallel()
	s := kitchenToPlan(t, "salsa")
	s.secondClass(t)
	both := []string{"kitchens/k/classes/c", "kitchens/k/classes/second"}
	for name, tc := range map[string]struct {
		change func(*stillroomv1.PlanClassesTogetherRequest)
		code   codes.Code
		fields []string
	}{
		"one class":       {func(r *stillroomv1.PlanClassesTogetherRequest) { r.Classes = both[:1] }, codes.InvalidArgument, []string{"classes"}},
		"the same twice":  {func(r *stillroomv1.PlanClassesTogetherRequest) { r.Classes = []string{both[0], both[0]} }, codes.InvalidArgument, []string{"classes"}},
		"another kitchen": {func(r *stillroomv1.PlanClassesTogetherRequest) { r.Classes = []string{both[0], "kitchens/x/classes/c"} }, codes.InvalidArgument, []string{"classes[1]"}},
		"no such class": {func(r *stillroomv1.PlanClassesTogetherRequest) {
			r.Classes = []string{both[0], "kitchens/k/classes/none"}
		}, codes.NotFound, nil},
		"a batch of a third class": {func(r *stillroomv1.PlanClassesTogetherRequest) {
			r.Choices = []*stillroomv1.ProcessPick{{Batch: "kitchens/k/classes/third/batches/b0"}}
		}, codes.InvalidArgument, []string{"choices[0].batch"}},
		"an hour of search": {func(r *stillroomv1.PlanClassesTogetherRequest) { r.TimeLimit = durationpb.New(time.Hour) }, codes.InvalidArgument, []string{"time_limit"}},
	} {
		req := &stillroomv1.PlanClassesTogetherRequest{Parent: "kitchens/k", Classes: both, WorkLimit: 4000}
		tc.change(req)
		_, _, err := s.plannedTogether(t.Context(), req)
		st := requireCode(t, tc.code, err)
		if tc.fields != nil {
			require.Equal(t, tc.fields, badFields(t, st), name)
		}
	}
	var stored int
	require.NoError(t, s.store.Pool().QueryRow(t.Context(), "SELECT count(*) FROM load_plans").Scan(&stored))
	require.Zero(t, stored)
}
