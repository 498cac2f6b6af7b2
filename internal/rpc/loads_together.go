package rpc

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/durationpb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/classload"
	"stillroom/internal/fault"
	"stillroom/internal/store"
)

// What a search for several classes may take when the caller does not say.
const (
	defaultJointTime = 2 * defaultSearchTime
	defaultJointWork = classload.MostTogether * defaultSearchWork
)

func (s *loadService) PlanClassesTogether(req *stillroomv1.PlanClassesTogetherRequest, stream grpc.ServerStreamingServer[stillroomv1.PlanClassesTogetherResponse]) error {
	ctx := stream.Context()
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return err
	}
	plans, err := served[*stillroomv1.JointPlans](ctx, s.store, k, req)
	if err != nil {
		return err
	}
	if plans == nil {
		if plans, err = s.planTogether(ctx, k, req, stream); err != nil {
			return err
		}
	}
	return stream.Send(&stillroomv1.PlanClassesTogetherResponse{Content: &stillroomv1.PlanClassesTogetherResponse_JointPlans{JointPlans: plans}})
}

// planTogether reads the classes, searches without holding a transaction, and stores the plans.
func (s *loadService) planTogether(ctx context.Context, k string, req *stillroomv1.PlanClassesTogetherRequest, stream grpc.ServerStreamingServer[stillroomv1.PlanClassesTogetherResponse]) (*stillroomv1.JointPlans, error) {
	inputs, err := s.jointInputs(ctx, k, req)
	if err != nil {
		return nil, err
	}
	tell := func(p *stillroomv1.PlanProgress) error {
		return stream.Send(&stillroomv1.PlanClassesTogetherResponse{Content: &stillroomv1.PlanClassesTogetherResponse_Progress{Progress: p}})
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
	plans, joint, err := classload.Together(searchCtx, inputs, jointOptions(req, func(p classload.Progress) {
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
	made := make([]classload.Plan, len(plans))
	for i, p := range plans {
		made[i] = *p
	}
	var out *stillroomv1.JointPlans
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.JointPlans, error) {
			stored, err := tx.AddLoadPlans(ctx, made)
			if err != nil {
				return nil, err
			}
			return encodeJointPlans(k, stored, joint), nil
		})
		return err
	})
	return out, err
}

// jointInputs reads each class with what the request says of it.
func (s *loadService) jointInputs(ctx context.Context, k string, req *stillroomv1.PlanClassesTogetherRequest) ([]classload.Input, error) {
	var c fault.Collector
	classes := make([]string, len(req.GetClasses()))
	for i, name := range req.GetClasses() {
		c.AddErr("", within(k, fmt.Sprintf("classes[%d]", i), name, classPattern, &classes[i]))
	}
	if err := c.Err(); err != nil {
		return nil, err
	}
	choices := decodeChoices(k, req.GetChoices(), classes, &c)
	if err := c.Err(); err != nil {
		return nil, err
	}
	inputs := make([]classload.Input, len(classes))
	err := s.store.Look(ctx, k, func(tx *store.Tx) error {
		for i, class := range classes {
			in, err := tx.LoadInput(ctx, class)
			if err != nil {
				return err
			}
			in.Assume, in.Choices = decodeAssumptions(req.GetAssumptions()), choices[class]
			inputs[i] = in
		}
		return nil
	})
	return inputs, err
}

func jointOptions(req *stillroomv1.PlanClassesTogetherRequest, progress func(classload.Progress)) classload.Options {
	o := classload.Options{Time: defaultJointTime, Work: defaultJointWork, Seed: req.GetSeed(), Gains: !req.GetSkipGains(), Progress: progress}
	if req.GetTimeLimit() != nil {
		o.Time = req.GetTimeLimit().AsDuration()
	}
	if req.GetWorkLimit() > 0 {
		o.Work = req.GetWorkLimit()
	}
	return o
}

func encodeJointPlans(k string, plans []classload.Plan, j classload.Joint) *stillroomv1.JointPlans {
	out := &stillroomv1.JointPlans{
		UnprocessedJars: int32(j.Unprocessed), FinishMinutes: int32(j.Finish), BoundUnprocessedJars: int32(j.BoundUnprocessed), BoundFinishMinutes: int32(j.BoundFinish),
		Optimal: j.Optimal(), Work: j.Work, Seed: j.Seed, Elapsed: durationpb.New(j.Elapsed.Round(time.Microsecond)),
	}
	for _, p := range plans {
		out.LoadPlans = append(out.LoadPlans, encodeLoadPlan(k, p))
	}
	return out
}
