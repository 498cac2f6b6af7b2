package rpc

import (
	"context"
	"errors"
	"fmt"
	"io"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/recipe"
)

func (s *testServer) loads() stillroomv1.LoadServiceClient {
	return stillroomv1.NewLoadServiceClient(s.conn)
}

// keepRecipe puts a published recipe, changed or not, into kitchen "k" as revision 1.
func (s *testServer) keepRecipe(t testing.TB, key, slug string, change func(*recipe.Revision)) {
	t.Helper()
	r, err := recipe.Published(key)
	require.NoError(t, err)
	change(r)
	document, err := recipe.Marshal(r)
	require.NoError(t, err)
	_, err = s.store.Pool().Exec(t.Context(), `WITH k AS (SELECT id FROM kitchens WHERE slug = 'k'),
		r AS (INSERT INTO recipes (kitchen_id, id, slug, title) SELECT id, gen_random_uuid(), $1, $2 FROM k RETURNING *)
		INSERT INTO recipe_revisions (kitchen_id, id, recipe_id, number, document) SELECT kitchen_id, gen_random_uuid(), id, 1, $3 FROM r`,
		slug, r.Title, document)
	require.NoError(t, err)
}

func asPrinted(*recipe.Revision) {}

// kitchenToPlan is class "c" at 5,280 ft with a station for each recipe, two canners and six burners.
func kitchenToPlan(t testing.TB, recipes ...string) *testServer {
	t.Helper()
	s := newTestServer(t)
	s.setTable(t, 8)
	s.setToPlan(t, recipes...)
	return s
}

// setToPlan puts canners, burners and, on a station each, a batch of seven pints of each recipe into class "c".
func (s *testServer) setToPlan(t testing.TB, recipes ...string) {
	t.Helper()
	ctx := t.Context()
	_, err := s.equipment().ImportEquipment(ctx, &stillroomv1.ImportEquipmentRequest{Parent: "kitchens/k", Yaml: []byte(`equipment:
  - {id: big, name: Big canner, kind: canner, owned: 2, canner: {methods: [boiling water], holds: {pint: 9, quart: 7}, come_up: {base: 14, per_jar: 0.35}, reset: 5}}
  - {id: burners, name: Burners, kind: burner, owned: 6}
`)})
	require.NoError(t, err)
	s.keepRecipe(t, "chile_salsa", "salsa", asPrinted)
	s.keepRecipe(t, "pickled_corn_relish", "corn", asPrinted)
	// Half the acid is no printed recipe any more.
	s.keepRecipe(t, "chile_salsa", "weak-salsa", func(r *recipe.Revision) {
		for i := range r.Lines {
			if r.Lines[i].Role == recipe.Acid {
				r.Lines = append(r.Lines[:i], r.Lines[i+1:]...)
				return
			}
		}
	})
	for i, slug := range recipes {
		station := fmt.Sprintf("kitchens/k/classes/c/stations/s%d", i)
		_, err := s.classes().CreateStation(ctx, &stillroomv1.CreateStationRequest{Parent: "kitchens/k/classes/c", StationId: fmt.Sprintf("s%d", i),
			Station: &stillroomv1.Station{DisplayName: fmt.Sprintf("Bench %d", i)}})
		require.NoError(t, err)
		_, err = s.classes().CreateBatch(ctx, &stillroomv1.CreateBatchRequest{Parent: "kitchens/k/classes/c", BatchId: fmt.Sprintf("b%d", i), Batch: &stillroomv1.Batch{
			Station: station, RecipeRevision: "kitchens/k/recipes/" + slug + "/revisions/1", JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, Jars: 7, MaySplit: true}})
		require.NoError(t, err)
	}
}

// planned runs a request to the end of its stream.
func (s *testServer) planned(ctx context.Context, req *stillroomv1.PlanLoadsRequest) (plan *stillroomv1.LoadPlan, progress []*stillroomv1.PlanProgress, err error) {
	stream, err := s.loads().PlanLoads(ctx, req)
	if err != nil {
		return nil, nil, err
	}
	for {
		message, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return plan, progress, nil
		}
		if err != nil {
			return nil, progress, err
		}
		if p := message.GetProgress(); p != nil {
			progress = append(progress, p)
		} else {
			plan = message.GetLoadPlan()
		}
	}
}

func planRequest() *stillroomv1.PlanLoadsRequest {
	return &stillroomv1.PlanLoadsRequest{Parent: "kitchens/k/classes/c", WorkLimit: 5000, Seed: 1}
}

func TestPlanLoadsStoresWhatItStreams(t *testing.T) {
	t.Parallel()
	s := kitchenToPlan(t, "salsa", "corn", "weak-salsa")
	req := planRequest()
	req.RequestId = uuid.NewString()
	plan, progress, err := s.planned(t.Context(), req)
	require.NoError(t, err)
	require.NotEmpty(t, progress)
	require.Equal(t, "kitchens/k/classes/c/loadPlans/1", plan.GetName())
	require.EqualValues(t, 14, plan.GetOutcome().GetJars())
	require.Zero(t, plan.GetOutcome().GetUnprocessedJars())
	require.Len(t, plan.GetUnplaced(), 1)
	require.Equal(t, "kitchens/k/classes/c/batches/b2", plan.GetUnplaced()[0].GetBatch())
	require.EqualValues(t, 7, plan.GetUnplaced()[0].GetJars())
	require.False(t, plan.GetUnplaced()[0].GetNoRoom())
	require.NotEmpty(t, plan.GetGains())
	require.Contains(t, plan.GetCautions()[0].GetText(), "Local codes")
	var jars int32
	for _, c := range plan.GetCanners() {
		for _, l := range c.GetLoads() {
			// USDA AIB 539 (rev. 2015): chile salsa, hot pack, pints, 1,001-6,000 ft, is 20 minutes (Guide 3), as is corn relish (Guide 6).
			require.EqualValues(t, 20, l.GetProcess().GetMinutes())
			require.Equal(t, "1,001-6,000 ft", l.GetProcess().GetAltitudeBand())
			require.Equal(t, 20*time.Minute, l.GetOffTime().AsTime().Sub(l.GetClockTime().AsTime()))
			for _, j := range l.GetJars() {
				require.Contains(t, j.GetSource().GetPublication(), "AIB 539")
				jars += j.GetJars()
			}
		}
	}
	require.EqualValues(t, 14, jars)

	got, err := s.loads().GetLoadPlan(t.Context(), &stillroomv1.GetLoadPlanRequest{Name: plan.GetName()})
	require.NoError(t, err)
	// What Postgres keeps as jsonb comes back with its own spacing.
	require.JSONEq(t, plan.GetInstanceJson(), got.GetInstanceJson())
	require.JSONEq(t, plan.GetAnswerJson(), got.GetAnswerJson())
	plan.InstanceJson, plan.AnswerJson, got.InstanceJson, got.AnswerJson = "", "", "", ""
	require.True(t, proto.Equal(plan, got), "stored:\n%v\nstreamed:\n%v", got, plan)

	again, progress, err := s.planned(t.Context(), req)
	require.NoError(t, err)
	require.Equal(t, plan.GetName(), again.GetName(), "a retry returns the first plan")
	require.Empty(t, progress, "and searches for none")
	req.RequestId = ""
	second, _, err := s.planned(t.Context(), req)
	require.NoError(t, err)
	require.Equal(t, "kitchens/k/classes/c/loadPlans/2", second.GetName())
	list, err := s.loads().ListLoadPlans(t.Context(), &stillroomv1.ListLoadPlansRequest{Parent: "kitchens/k/classes/c", PageSize: 1})
	require.NoError(t, err)
	require.Equal(t, second.GetName(), list.GetLoadPlans()[0].GetName())
	list, err = s.loads().ListLoadPlans(t.Context(), &stillroomv1.ListLoadPlansRequest{Parent: "kitchens/k/classes/c", PageSize: 1, PageToken: list.GetNextPageToken()})
	require.NoError(t, err)
	require.Equal(t, plan.GetName(), list.GetLoadPlans()[0].GetName())
	require.Empty(t, list.GetNextPageToken())
	require.JSONEq(t, list.GetLoadPlans()[0].GetInstanceJson(), second.GetInstanceJson())
}

func TestAStoredPlanNeverChanges(t *testing.T) {
	t.Parallel()
	s := kitchenToPlan(t, "salsa")
	_, _, err := s.planned(t.Context(), planRequest())
	require.NoError(t, err)
	_, err = s.store.Pool().Exec(t.Context(), `UPDATE load_plans SET optimal = NOT optimal`)
	require.ErrorContains(t, err, "a load plan never changes")
}

func TestPlanLoadsRefusesWhatCannotBe(t *testing.T) {
	t.Parallel()
	s := kitchenToPlan(t, "salsa")
	bad := func(change func(*stillroomv1.PlanLoadsRequest)) error {
		req := planRequest()
		change(req)
		_, _, err := s.planned(t.Context(), req)
		return err
	}
	for field, change := range map[string]func(*stillroomv1.PlanLoadsRequest){
		"time_limit": func(r *stillroomv1.PlanLoadsRequest) { r.TimeLimit = durationpb.New(time.Hour) },
		"work_limit": func(r *stillroomv1.PlanLoadsRequest) { r.WorkLimit = -1 },
		"assumptions.prepare_minutes": func(r *stillroomv1.PlanLoadsRequest) {
			r.Assumptions = &stillroomv1.WorkAssumptions{PrepareMinutes: proto.Int32(-1)}
		},
		"choices[0].batch": func(r *stillroomv1.PlanLoadsRequest) {
			r.Choices = []*stillroomv1.ProcessPick{{Batch: "kitchens/k/classes/other/batches/b0"}}
		},
		"choices": func(r *stillroomv1.PlanLoadsRequest) {
			r.Choices = []*stillroomv1.ProcessPick{{Batch: "kitchens/k/classes/c/batches/nobody"}}
		},
		"previous_plan": func(r *stillroomv1.PlanLoadsRequest) { r.PreviousPlan = "kitchens/k/classes/d/loadPlans/1" },
		"happened.gone": func(r *stillroomv1.PlanLoadsRequest) {
			r.Happened = &stillroomv1.Happened{Now: timestamppb.New(testNow.AddDate(0, 0, 7)), Gone: []*stillroomv1.EquipmentUnit{{Equipment: "kitchens/k/equipment/big", Number: 9}}}
		},
	} {
		require.Equal(t, []string{field}, badFields(t, requireCode(t, codes.InvalidArgument, bad(change))), field)
	}
	requireCode(t, codes.NotFound, bad(func(r *stillroomv1.PlanLoadsRequest) { r.Parent = "kitchens/k/classes/nowhere" }))
	requireCode(t, codes.NotFound, bad(func(r *stillroomv1.PlanLoadsRequest) { r.PreviousPlan = "kitchens/k/classes/c/loadPlans/7" }))
	_, err := s.loads().GetLoadPlan(t.Context(), &stillroomv1.GetLoadPlanRequest{Name: "kitchens/k/classes/c/loadPlans/first"})
	requireCode(t, codes.NotFound, err)
	list, err := s.loads().ListLoadPlans(t.Context(), &stillroomv1.ListLoadPlansRequest{Parent: "kitchens/k/classes/c"})
	require.NoError(t, err)
	require.Empty(t, list.GetLoadPlans(), "nothing is stored of what was refused")

	_, err = s.equipment().DeleteEquipment(t.Context(), &stillroomv1.DeleteEquipmentRequest{Name: "kitchens/k/equipment/burners"})
	require.NoError(t, err)
	require.Contains(t, requireCode(t, codes.FailedPrecondition, bad(func(*stillroomv1.PlanLoadsRequest) {})).Message(), "no burner")
}

// A second class of the same day is planned around the plan of the first, without any reservation.
func TestPlansAroundAnother(t *testing.T) {
	t.Parallel()
	s := kitchenToPlan(t, "salsa", "corn", "salsa")
	ctx := t.Context()
	first, _, err := s.planned(ctx, planRequest())
	require.NoError(t, err)
	_, err = s.classes().CreateClass(ctx, &stillroomv1.CreateClassRequest{Parent: "kitchens/k", ClassId: "second", Class: &stillroomv1.Class{
		DisplayName: "Another", Site: "kitchens/k/sites/main", StartTime: timestamppb.New(testNow.AddDate(0, 0, 7).Add(time.Hour)), DurationMinutes: 240, Capacity: 4}})
	require.NoError(t, err)
	_, err = s.classes().CreateStation(ctx, &stillroomv1.CreateStationRequest{Parent: "kitchens/k/classes/second", StationId: "a", Station: &stillroomv1.Station{DisplayName: "A"}})
	require.NoError(t, err)
	_, err = s.classes().CreateBatch(ctx, &stillroomv1.CreateBatchRequest{Parent: "kitchens/k/classes/second", Batch: &stillroomv1.Batch{
		Station: "kitchens/k/classes/second/stations/a", RecipeRevision: "kitchens/k/recipes/corn/revisions/1", JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, Jars: 7, MaySplit: true}})
	require.NoError(t, err)
	second, _, err := s.planned(ctx, &stillroomv1.PlanLoadsRequest{Parent: "kitchens/k/classes/second", WorkLimit: 5000, AroundPlans: []string{first.GetName()}})
	require.NoError(t, err)
	require.EqualValues(t, 7, second.GetOutcome().GetJars())
	for i, c := range second.GetCanners() {
		for _, l := range c.GetLoads() {
			for _, o := range first.GetCanners()[i].GetLoads() {
				require.True(t, !l.GetInTime().AsTime().Before(o.GetOutTime().AsTime()) || !l.GetOutTime().AsTime().After(o.GetInTime().AsTime()))
			}
		}
	}
	_, _, err = s.planned(ctx, &stillroomv1.PlanLoadsRequest{Parent: "kitchens/k/classes/second", AroundPlans: []string{second.GetName()}})
	require.Equal(t, []string{"around_plans[0]"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
}

// A canner is lost while its class is under way.
func TestReplanOverTheWire(t *testing.T) {
	t.Parallel()
	s := kitchenToPlan(t, "salsa", "corn", "salsa", "corn")
	first, _, err := s.planned(t.Context(), planRequest())
	require.NoError(t, err)
	req := planRequest()
	opens := first.GetOpenTime().AsTime()
	now := opens.Add(100 * time.Minute)
	req.PreviousPlan = first.GetName()
	req.Happened = &stillroomv1.Happened{Now: timestamppb.New(now), Gone: []*stillroomv1.EquipmentUnit{{Equipment: "kitchens/k/equipment/big", Number: 2}}}
	for _, b := range first.GetBatches() {
		if b.GetCookTime().AsTime().Before(now) {
			req.Happened.Filled = append(req.Happened.Filled, &stillroomv1.FilledBatch{Batch: b.GetBatch(), LiddedTime: b.GetLiddedTime()})
		}
	}
	for _, c := range first.GetCanners() {
		for _, l := range c.GetLoads() {
			if !l.GetInTime().AsTime().Before(now) {
				continue
			}
			load := &stillroomv1.HappenedLoad{Canner: c.GetUnit(), InTime: l.GetInTime()}
			for _, j := range l.GetJars() {
				load.Jars = append(load.Jars, &stillroomv1.BatchJars{Batch: j.GetBatch(), Jars: j.GetJars()})
			}
			req.Happened.Loads = append(req.Happened.Loads, load)
		}
	}
	require.NotEmpty(t, req.GetHappened().GetLoads())
	plan, _, err := s.planned(t.Context(), req)
	require.NoError(t, err)
	done := 0
	for _, c := range plan.GetCanners() {
		for _, l := range c.GetLoads() {
			if l.GetDone() {
				done++
				continue
			}
			require.False(t, l.GetInTime().AsTime().Before(now))
			require.NotEqualValues(t, 2, c.GetUnit().GetNumber())
		}
	}
	require.Len(t, req.GetHappened().GetLoads(), done)
}

// Another class has one of the two canners for the first three hours: its loads lie after that.
func TestReservationsOfOthersAreKept(t *testing.T) {
	t.Parallel()
	s := kitchenToPlan(t, "salsa", "salsa", "corn", "corn")
	ctx := t.Context()
	opens := testNow.AddDate(0, 0, 7)
	_, err := s.classes().CreateClass(ctx, &stillroomv1.CreateClassRequest{Parent: "kitchens/k", ClassId: "other", Class: &stillroomv1.Class{
		DisplayName: "Another", Site: "kitchens/k/sites/main", StartTime: timestamppb.New(opens), DurationMinutes: 180, Capacity: 4}})
	require.NoError(t, err)
	_, err = s.equipment().CreateReservation(ctx, &stillroomv1.CreateReservationRequest{Parent: "kitchens/k/equipment/big",
		Reservation: &stillroomv1.Reservation{Class: "kitchens/k/classes/other", Units: 1}})
	require.NoError(t, err)
	plan, _, err := s.planned(ctx, planRequest())
	require.NoError(t, err)
	held := 0
	for _, c := range plan.GetCanners() {
		for _, h := range c.GetHeld() {
			held++
			for _, l := range c.GetLoads() {
				require.False(t, l.GetInTime().AsTime().Before(h.GetEndTime().AsTime()))
			}
		}
	}
	require.Equal(t, 1, held)
}
