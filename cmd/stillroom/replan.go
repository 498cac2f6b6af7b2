package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newLoadsReplan(s *session) *cobra.Command {
	var at string
	var gone []string
	var lost, limit time.Duration
	cmd := &cobra.Command{
		Use: "replan CLASS NUMBER", Short: "Plan the rest of a class under way again", Args: cobra.ExactArgs(2),
		Long: `Plan the rest of a class again from a plan that was followed up to now. What has begun
stays; what is to come is planned anew and kept close to the plan. Say which canners
are gone, and how many minutes what is cooking or in a canner has fallen behind.`,
		Example: `  stillroom loads replan relish-day 1 --now "2027-08-21 10:45" --gone big-canner/2
  stillroom loads replan relish-day 1 --lost 10m`,
		RunE: func(cmd *cobra.Command, args []string) error {
			class, zone, err := s.getClass(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			now := timestamppb.Now()
			if at != "" {
				if now, err = readTime("--now", at, zone); err != nil {
					return err
				}
			}
			plan, err := call(cmd.Context(), s, stillroomv1.NewLoadServiceClient, func(ctx context.Context, c stillroomv1.LoadServiceClient) (*stillroomv1.LoadPlan, error) {
				return c.GetLoadPlan(ctx, &stillroomv1.GetLoadPlanRequest{Name: class.GetName() + "/loadPlans/" + args[1]})
			})
			if err != nil {
				return err
			}
			req := &stillroomv1.PlanLoadsRequest{Parent: class.GetName(), PreviousPlan: plan.GetName(), Assumptions: plan.GetAssumptions(),
				Choices: plan.GetChoices(), AroundPlans: plan.GetAroundPlans(), Happened: followed(plan, now, lost), RequestId: newRequestID()}
			if limit > 0 {
				req.TimeLimit = durationpb.New(limit)
			}
			for _, g := range gone {
				id, number, _ := strings.Cut(g, "/")
				n, err := strconv.Atoi(number)
				if err != nil {
					return fmt.Errorf("--gone %q: write CANNER/NUMBER, e.g. big-canner/2", g)
				}
				name, err := s.under("equipment", id)
				if err != nil {
					return err
				}
				req.Happened.Gone = append(req.Happened.Gone, &stillroomv1.EquipmentUnit{Equipment: name, Number: int32(n)})
			}
			after, err := s.planLoads(cmd.Context(), req)
			if err != nil {
				return err
			}
			return s.show(after, func(w io.Writer) { writeLoadPlan(w, after, zone) })
		},
	}
	cmd.Flags().StringVar(&at, "now", "", `the moment to plan from, in the site's time: "2027-08-21 10:45"; this moment when left out`)
	cmd.Flags().StringArrayVar(&gone, "gone", nil, "CANNER/NUMBER that cannot be used any more; may be given several times")
	cmd.Flags().DurationVar(&lost, "lost", 0, "how far what has begun is behind the plan, e.g. 10m")
	cmd.Flags().DurationVar(&limit, "time", 0, "longest to search (10s when left out)")
	return cmd
}

// followed is what has happened when a plan was followed up to now, and what has begun
// and is not done is behind it by some time.
func followed(plan *stillroomv1.LoadPlan, now *timestamppb.Timestamp, behind time.Duration) *stillroomv1.Happened {
	h := &stillroomv1.Happened{Now: now}
	end := func(t *timestamppb.Timestamp) *timestamppb.Timestamp {
		if t.AsTime().After(now.AsTime()) {
			return timestamppb.New(t.AsTime().Add(behind))
		}
		return t
	}
	for _, b := range plan.GetBatches() {
		if b.GetCookTime().AsTime().Before(now.AsTime()) {
			h.Filled = append(h.Filled, &stillroomv1.FilledBatch{Batch: b.GetBatch(), LiddedTime: end(b.GetLiddedTime())})
		}
	}
	for _, c := range plan.GetCanners() {
		for _, l := range c.GetLoads() {
			if !l.GetInTime().AsTime().Before(now.AsTime()) {
				continue
			}
			load := &stillroomv1.HappenedLoad{Canner: c.GetUnit(), InTime: l.GetInTime(), OutTime: end(l.GetOutTime())}
			for _, j := range l.GetJars() {
				load.Jars = append(load.Jars, &stillroomv1.BatchJars{Batch: j.GetBatch(), Jars: j.GetJars()})
			}
			h.Loads = append(h.Loads, load)
		}
	}
	return h
}
