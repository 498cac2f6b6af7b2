package rpc

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/classload"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/store"
)

const loadPlanPattern = "kitchens/{kitchen}/classes/{class}/loadPlans/{load_plan}"

// What a search may take when the caller does not say.
const (
	defaultSearchTime = 10 * time.Second
	defaultSearchWork = 60_000
)

type loadService struct {
	stillroomv1.UnimplementedLoadServiceServer
	*backend
}

// errNotServed lets go of a request_id that was looked up and not found.
var errNotServed = errors.New("this request was not served before")

func (s *loadService) PlanLoads(req *stillroomv1.PlanLoadsRequest, stream grpc.ServerStreamingServer[stillroomv1.PlanLoadsResponse]) error {
	ctx := stream.Context()
	var k, class string
	if err := parseName("parent", req.GetParent(), classPattern, &k, &class); err != nil {
		return err
	}
	plan, err := served[*stillroomv1.LoadPlan](ctx, s.store, k, req)
	if err != nil {
		return err
	}
	if plan == nil {
		if plan, err = s.planLoads(ctx, k, class, req, stream); err != nil {
			return err
		}
	}
	return stream.Send(&stillroomv1.PlanLoadsResponse{Content: &stillroomv1.PlanLoadsResponse_LoadPlan{LoadPlan: plan}})
}

// served is the answer that a request with the same request_id was given, or none.
func served[R proto.Message](ctx context.Context, st *store.Store, k string, req creation) (R, error) {
	var answer, none R
	if req.GetRequestId() == "" {
		return none, nil
	}
	err := st.In(ctx, k, func(tx *store.Tx) (err error) {
		answer, err = once(ctx, tx, req, func() (R, error) { return none, errNotServed })
		return err
	})
	if errors.Is(err, errNotServed) {
		return none, nil
	}
	return answer, err
}

// planLoads reads the class, searches without holding a transaction, and stores the plan.
func (s *loadService) planLoads(ctx context.Context, k, class string, req *stillroomv1.PlanLoadsRequest, stream grpc.ServerStreamingServer[stillroomv1.PlanLoadsResponse]) (*stillroomv1.LoadPlan, error) {
	var in classload.Input
	err := s.store.Look(ctx, k, func(tx *store.Tx) (err error) {
		if in, err = tx.LoadInput(ctx, class); err != nil {
			return err
		}
		return addPlanRequest(ctx, tx, k, class, req, &in)
	})
	if err != nil {
		return nil, err
	}
	problem, err := classload.Build(in)
	if err != nil {
		return nil, err
	}
	tell := func(p *stillroomv1.PlanProgress) error {
		return stream.Send(&stillroomv1.PlanLoadsResponse{Content: &stillroomv1.PlanLoadsResponse_Progress{Progress: p}})
	}
	done, err := s.takeTurn(ctx, k, tell)
	if err != nil {
		return nil, err
	}
	defer done()
	// A search ends with its caller.
	searchCtx, cancel := context.WithCancel(ctx)
	defer cancel()
	var sendErr error
	plan, err := problem.Solve(searchCtx, searchOptions(req, func(p classload.Progress) {
		if sendErr == nil {
			sendErr = tell(encodeProgress(p))
		}
		if sendErr != nil {
			cancel()
		}
	}))
	if err := errors.Join(sendErr, ctx.Err()); err != nil {
		return nil, err
	}
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.LoadPlan
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.LoadPlan, error) {
			stored, err := tx.AddLoadPlan(ctx, *plan)
			if err != nil {
				return nil, err
			}
			return encodeLoadPlan(k, stored), nil
		})
		return err
	})
	return out, err
}

// searchEach is about how long a search runs, to tell those whom a full queue turns away.
const searchEach = defaultSearchTime

// takeTurn waits until there is a processor for one more search of the kitchen, and tells
// the caller how many are before theirs; done gives it back.
func (s *loadService) takeTurn(ctx context.Context, k string, tell func(*stillroomv1.PlanProgress) error) (done func(), err error) {
	return s.door.queueing(ctx, s.door.searches, "searches", k, searchEach, func(ahead int) error {
		return tell(&stillroomv1.PlanProgress{WaitingBehind: proto.Int32(int32(ahead))})
	})
}

func searchOptions(req *stillroomv1.PlanLoadsRequest, progress func(classload.Progress)) classload.Options {
	o := classload.Options{Time: defaultSearchTime, Work: defaultSearchWork, Seed: req.GetSeed(), Gains: !req.GetSkipGains(), Progress: progress}
	if req.GetTimeLimit() != nil {
		o.Time = req.GetTimeLimit().AsDuration()
	}
	if req.GetWorkLimit() > 0 {
		o.Work = req.GetWorkLimit()
	}
	return o
}

func encodeProgress(p classload.Progress) *stillroomv1.PlanProgress {
	return &stillroomv1.PlanProgress{
		UnprocessedJars: int32(p.Unprocessed), FinishMinutes: int32(p.Finish), Loads: int32(p.Loads),
		BoundUnprocessedJars: int32(p.BoundUnprocessed), BoundFinishMinutes: int32(p.BoundFinish),
		Gap: gap(p.Finish, p.BoundFinish), Elapsed: durationpb.New(p.Elapsed), Work: p.Work,
	}
}

// gap is the minutes between a finish and its bound as a share of the bound; 1 while nothing is proven.
func gap(finish, bound int) float64 {
	switch {
	case finish <= bound:
		return 0
	case bound <= 0:
		return 1
	}
	return float64(finish-bound) / float64(bound)
}

// addPlanRequest adds to an input what the request says beyond the class.
func addPlanRequest(ctx context.Context, tx *store.Tx, k, class string, req *stillroomv1.PlanLoadsRequest, in *classload.Input) error {
	in.Assume = decodeAssumptions(req.GetAssumptions())
	var c fault.Collector
	batchID := func(field, name string) string {
		var of, id string
		if err := within(k, field, name, batchPattern, &of, &id); err != nil {
			c.AddErr("", err)
		} else if of != class {
			c.Add(field, name, "belongs to another class", `give a name under "`+req.GetParent()+`"`)
		}
		return id
	}
	unitID := func(field string, u *stillroomv1.EquipmentUnit) string {
		var equipment string
		c.AddErr("", within(k, field+".equipment", u.GetEquipment(), equipmentPattern, &equipment))
		return classload.UnitID(kitchen.Unit{Equipment: kitchen.Equipment{ID: equipment}, Number: int(u.GetNumber())})
	}
	in.Choices = decodeChoices(k, req.GetChoices(), []string{class}, &c)[class]
	if h := req.GetHappened(); h != nil {
		in.Happened = &classload.Happened{Now: h.GetNow().AsTime(), Filled: map[string]time.Time{}}
		for i, f := range h.GetFilled() {
			in.Happened.Filled[batchID(fmt.Sprintf("happened.filled[%d].batch", i), f.GetBatch())] = f.GetLiddedTime().AsTime()
		}
		for i, l := range h.GetLoads() {
			at := fmt.Sprintf("happened.loads[%d].", i)
			load := classload.HappenedLoad{Unit: unitID(at+"canner", l.GetCanner()), Start: l.GetInTime().AsTime(), Jars: map[string]int{}}
			if l.GetOutTime() != nil {
				load.End = l.GetOutTime().AsTime()
			}
			for j, b := range l.GetJars() {
				load.Jars[batchID(fmt.Sprintf("%sjars[%d].batch", at, j), b.GetBatch())] += int(b.GetJars())
			}
			in.Happened.Loads = append(in.Happened.Loads, load)
		}
		for i, u := range h.GetGone() {
			in.Happened.Gone = append(in.Happened.Gone, unitID(fmt.Sprintf("happened.gone[%d]", i), u))
		}
	}
	if err := c.Err(); err != nil {
		return err
	}
	if req.GetPreviousPlan() != "" {
		var of, number string
		if err := within(k, "previous_plan", req.GetPreviousPlan(), loadPlanPattern, &of, &number); err != nil {
			return err
		}
		if of != class {
			return fault.Field("previous_plan", req.GetPreviousPlan(), "belongs to another class", `give a name under "`+req.GetParent()+`"`)
		}
		previous, err := tx.LoadPlan(ctx, class, number)
		if err != nil {
			return err
		}
		in.Previous = &previous
	}
	for i, name := range req.GetAroundPlans() {
		field := fmt.Sprintf("around_plans[%d]", i)
		var of, number string
		if err := within(k, field, name, loadPlanPattern, &of, &number); err != nil {
			return err
		}
		if of == class || slices.ContainsFunc(in.Around, func(p classload.Plan) bool { return p.Class == of }) {
			return fault.Field(field, name, "is the class itself or a class named before", "give one plan for each other class")
		}
		plan, err := tx.LoadPlan(ctx, of, number)
		if err != nil {
			return err
		}
		in.Around = append(in.Around, plan)
	}
	return nil
}

// decodeChoices are the choices for batches of the given classes, by class and batch.
func decodeChoices(k string, picks []*stillroomv1.ProcessPick, classes []string, c *fault.Collector) map[string]map[string]classload.Choice {
	all := map[string]map[string]classload.Choice{}
	for _, class := range classes {
		all[class] = map[string]classload.Choice{}
	}
	for i, pick := range picks {
		field := fmt.Sprintf("choices[%d].batch", i)
		var class, id string
		if err := within(k, field, pick.GetBatch(), batchPattern, &class, &id); err != nil {
			c.AddErr("", err)
			continue
		}
		of := all[class]
		if of == nil {
			c.Add(field, pick.GetBatch(), "belongs to another class", `give a name under "`+nameOf(classPattern, k, classes[0])+`"`)
			continue
		}
		if _, twice := of[id]; twice {
			c.Add(field, pick.GetBatch(), "is chosen for twice", "give one choice for a batch")
		}
		of[id] = classload.Choice{Method: decodeMethod(pick.GetMethod()), Pressure: measure.GaugePounds(pick.GetPressurePounds())}
	}
	return all
}

func (s *loadService) GetLoadPlan(ctx context.Context, req *stillroomv1.GetLoadPlanRequest) (*stillroomv1.LoadPlan, error) {
	var k, class, number string
	if err := parseName("name", req.GetName(), loadPlanPattern, &k, &class, &number); err != nil {
		return nil, err
	}
	var out *stillroomv1.LoadPlan
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		p, err := tx.LoadPlan(ctx, class, number)
		if err != nil {
			return err
		}
		out = encodeLoadPlan(k, p)
		return nil
	})
	return out, err
}

// fewPlans is the page size of plans when none is asked for: they are large.
const fewPlans = 10

func (s *loadService) ListLoadPlans(ctx context.Context, req *stillroomv1.ListLoadPlansRequest) (*stillroomv1.ListLoadPlansResponse, error) {
	var k, class string
	if err := parseName("parent", req.GetParent(), classPattern, &k, &class); err != nil {
		return nil, err
	}
	list := strings.TrimSuffix(req.GetParent(), "/") + "/loadPlans"
	var before int
	if err := readPage(req.GetPageToken(), list, &before); err != nil {
		return nil, err
	}
	size := req.GetPageSize()
	if size == 0 {
		size = fewPlans
	}
	out := &stillroomv1.ListLoadPlansResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		if _, err := tx.Class(ctx, class); err != nil {
			return err
		}
		rows, err := tx.LoadPlans(ctx, class, before, size+1)
		rows, more := cut(rows, size)
		for _, p := range rows {
			out.LoadPlans = append(out.LoadPlans, encodeLoadPlan(k, p))
		}
		if more {
			out.NextPageToken = nextPage(list, rows[len(rows)-1].Number)
		}
		return err
	})
	return out, err
}
