package rpc

import (
	"context"
	"math"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/access"
	"stillroom/internal/canning"
	"stillroom/internal/classload"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/store"
)

// tested is what becomes of the jars of a batch, and when their seals are tested.
type tested struct {
	classload.Outing
	canning.SealTest
	// planned says that a load plan tells; otherwise the times are bounds.
	planned bool
	// out is when the first jars are out for sure.
	out time.Time
}

// testOf is what becomes of a batch by the newest plan, which may be nil or older than the
// batch. Then all its jars are taken to be canned when they may be, at the earliest when
// the class begins, at the latest when it ends.
func testOf(class kitchen.Class, b kitchen.Batch, plan *classload.Plan) tested {
	if b.NotForShelf != "" {
		return tested{Outing: classload.Outing{Refrigerated: b.Jars, Reason: b.NotForShelf}}
	}
	if plan != nil {
		if out, known := plan.Outing(b.ID); known {
			t := tested{Outing: out, planned: true, out: out.First}
			if out.Canned > 0 {
				t.SealTest = canning.SealTestOf(out.First, out.Last)
			}
			return t
		}
	}
	return tested{
		Outing: classload.Outing{Canned: b.Jars}, SealTest: canning.SealTestOf(class.Start, class.End()), out: class.End(),
	}
}

// newestPlan is the newest load plan of a class; nil when there is none.
func newestPlan(ctx context.Context, tx *store.Tx, class string) (*classload.Plan, error) {
	plans, err := tx.LoadPlans(ctx, class, 0, 1)
	if err != nil || len(plans) == 0 {
		return nil, err
	}
	return &plans[0], nil
}

// firstJarsOut is when the first load of a class is out by its newest plan; zero when none tells.
func firstJarsOut(ctx context.Context, tx *store.Tx, class string) (time.Time, error) {
	var first time.Time
	plan, err := newestPlan(ctx, tx, class)
	if plan == nil {
		return first, err
	}
	for _, b := range plan.Batches {
		if out, _ := plan.Outing(b.Batch); out.Canned > 0 && (first.IsZero() || out.First.Before(first)) {
			first = out.First
		}
	}
	return first, nil
}

// sharersOf are the participants among whom a station's jars are shared, in the order in which they asked for their places.
func sharersOf(ctx context.Context, tx *store.Tx, class, station string) ([]string, error) {
	roster, err := tx.Enrolments(ctx, class, false, store.EnrolmentCursor{}, math.MaxInt32)
	var sharers []string
	for _, e := range roster {
		if e.State == kitchen.Enrolled && e.Station == station {
			sharers = append(sharers, e.Participant)
		}
	}
	return sharers, err
}

func (s *sealService) GetTakeHome(ctx context.Context, req *stillroomv1.GetTakeHomeRequest) (*stillroomv1.TakeHome, error) {
	var k, class, id string
	if err := parseName("name", req.GetName(), enrolmentPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.TakeHome
	err := s.store.Look(ctx, k, func(tx *store.Tx) error {
		e, err := tx.Enrolment(ctx, class, id)
		if err != nil {
			return err
		}
		if c := access.From(ctx); c.Role == access.Participant && e.Participant != c.Participant {
			return fault.Missing("enrolment", id)
		}
		out, err = s.takeHome(ctx, tx, k, e)
		return err
	})
	return out, err
}

func (s *sealService) takeHome(ctx context.Context, tx *store.Tx, k string, e kitchen.Enrolment) (*stillroomv1.TakeHome, error) {
	out := &stillroomv1.TakeHome{Enrolment: nameOf(enrolmentPattern, k, e.Class, e.ID), Steps: encodeSteps(canning.SealSteps())}
	for _, caution := range canning.SealCautions() {
		out.Cautions = append(out.Cautions, encodeCaution(caution.Text, caution.Source))
	}
	if e.State != kitchen.Enrolled || e.Station == "" {
		return out, nil
	}
	out.Station = nameOf(stationPattern, k, e.Class, e.Station)
	class, err := tx.Class(ctx, e.Class)
	if err != nil {
		return nil, err
	}
	plan, err := newestPlan(ctx, tx, e.Class)
	if err != nil {
		return nil, err
	}
	if plan != nil {
		out.LoadPlan = nameOf(loadPlanPattern, k, e.Class, strconv.Itoa(plan.Number))
	}
	batches, err := tx.AllBatches(ctx, e.Class)
	if err != nil {
		return nil, err
	}
	batches = slices.DeleteFunc(batches, func(b kitchen.Batch) bool { return b.Station != e.Station })
	recipes, err := tx.FormulasOf(ctx, batches)
	if err != nil {
		return nil, err
	}
	sharers, err := sharersOf(ctx, tx, e.Class, e.Station)
	if err != nil {
		return nil, err
	}
	told, _, err := tx.SealChecks(ctx, e.Class, e.Participant, uuid.Nil, math.MaxInt32)
	if err != nil {
		return nil, err
	}
	me := slices.Index(sharers, e.Participant)
	canned, refrigerated := kitchen.Among(len(sharers)), kitchen.Among(len(sharers))
	out.Sharers = int32(len(sharers))
	for _, b := range batches {
		t := testOf(class, b, plan)
		share := &stillroomv1.JarShare{
			Batch: nameOf(batchPattern, k, e.Class, b.ID), RecipeRevision: encodeRevisionRef(k, b.Revision), Title: recipes[b.Revision].Title,
			JarSize: encodeJarSize(b.JarSize), BatchJars: int32(b.Jars), RefrigerateReason: t.Reason,
			Jars: int32(canned.Deal(t.Canned)[me]), RefrigeratedJars: int32(refrigerated.Deal(t.Refrigerated)[me]),
		}
		if t.Canned > 0 {
			share.TestFromTime, share.ReprocessUntilTime = timestamppb.New(t.From), timestamppb.New(t.Until)
		}
		if t.planned && t.Canned > 0 {
			share.FirstOutTime, share.LastOutTime = timestamppb.New(t.First), timestamppb.New(t.Last)
			share.Process = encodeLoadProcess(t.Process)
		}
		for _, check := range told {
			if check.Batch == b.ID {
				share.SealCheck = encodeSealCheck(k, check, t, s.now())
			}
		}
		out.Jars = append(out.Jars, share)
	}
	return out, nil
}
