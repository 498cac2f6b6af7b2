package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/durationpb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newLoadsTogether(s *session) *cobra.Command {
	var limit time.Duration
	var assumptions func() *stillroomv1.WorkAssumptions
	req := &stillroomv1.PlanClassesTogetherRequest{}
	cmd := &cobra.Command{
		Use: "together CLASS CLASS...", Short: "Plan classes that share canners and burners on one day, all at once", Args: cobra.RangeArgs(2, 4),
		Long: `Plan the canner loads of two to four classes that use the same canners and burners, so
that no canner is needed twice at a time. Each class has hands of its own, and no load
mixes the jars of two classes. A plan of each class is stored.`,
		Example: "  stillroom loads together relish-day jam-evening",
		RunE: func(cmd *cobra.Command, args []string) error {
			zones := map[string]*time.Location{}
			for _, id := range args {
				class, zone, err := s.getClass(cmd.Context(), id)
				if err != nil {
					return err
				}
				req.Classes, zones[class.GetName()] = append(req.Classes, class.GetName()), zone
			}
			var err error
			if req.Parent, err = s.kitchenName(); err != nil {
				return err
			}
			if limit > 0 {
				req.TimeLimit = durationpb.New(limit)
			}
			req.RequestId, req.Assumptions = newRequestID(), assumptions()
			plans, err := s.planTogether(cmd.Context(), req)
			if err != nil {
				return err
			}
			return s.show(plans, func(w io.Writer) {
				writeJoint(w, plans)
				for i, p := range plans.GetLoadPlans() {
					fmt.Fprintf(w, "\n%s\n", args[i])
					writeLoadPlan(w, p, zones[req.Classes[i]])
				}
			})
		},
	}
	flags := cmd.Flags()
	flags.DurationVar(&limit, "time", 0, "longest to search for all the classes (20s when left out)")
	flags.Int64Var(&req.WorkLimit, "work", 0, "most effort to spend; with the same effort and seed the plans are the same everywhere")
	flags.Uint64Var(&req.Seed, "seed", 0, "the luck to search with")
	flags.BoolVar(&req.SkipGains, "no-gains", false, "do not ask what a little more of something would gain")
	assumptions = assumptionFlags(cmd)
	return cmd
}

func (s *session) planTogether(ctx context.Context, req *stillroomv1.PlanClassesTogetherRequest) (*stillroomv1.JointPlans, error) {
	conn, err := s.dial()
	if err != nil {
		return nil, err
	}
	// Twice the search, for the questions of what would help, besides the usual patience.
	ctx, cancel := context.WithTimeout(ctx, s.timeout+2*req.GetTimeLimit().AsDuration())
	defer cancel()
	stream, err := stillroomv1.NewLoadServiceClient(conn).PlanClassesTogether(ctx, req)
	if err != nil {
		return nil, err
	}
	return followSearch(s, stream.Recv, (*stillroomv1.PlanClassesTogetherResponse).GetJointPlans)
}

func writeJoint(w io.Writer, plans *stillroomv1.JointPlans) {
	jars := int32(0)
	for _, p := range plans.GetLoadPlans() {
		jars += p.GetOutcome().GetJars()
	}
	proof := "no plans are better (proven)"
	if !plans.GetOptimal() {
		proof = fmt.Sprintf("alone, each in a room of its own, the classes could not need less than %s", hours(plans.GetBoundFinishMinutes()))
	}
	fmt.Fprintf(w, "%d classes together: %d jars in loads, %d find no room, %s from opening to last jar over all classes; %s.\n",
		len(plans.GetLoadPlans()), jars, plans.GetUnprocessedJars(), hours(plans.GetFinishMinutes()), proof)
}
