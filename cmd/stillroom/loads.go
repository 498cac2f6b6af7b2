package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"
	"google.golang.org/protobuf/types/known/durationpb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newLoads(s *session) *cobra.Command {
	return parent(groupPlan, "loads", "Canner loads: which jars go in when, and what cannot",
		newLoadsPlan(s), newLoadsTogether(s), newLoadsReplan(s), newLoadsShow(s), newLoadsList(s))
}

func newLoadsPlan(s *session) *cobra.Command {
	var limit time.Duration
	var methods, around []string
	var previous string
	var assumptions func() *stillroomv1.WorkAssumptions
	req := &stillroomv1.PlanLoadsRequest{}
	cmd := &cobra.Command{
		Use: "plan CLASS", Short: "Plan a class's canner loads and store the plan", Args: cobra.ExactArgs(1),
		Long: `Plan how every jar of a class gets through the canners before the room closes. Jars
without a published process go into no load; the plan says why. The plan is stored
and numbered; planning again makes a new one.`,
		Example: `  stillroom loads plan relish-day
  stillroom loads plan relish-day --prepare 45 --method bench-3-1=pressure-weighted`,
		RunE: func(cmd *cobra.Command, args []string) error {
			class, zone, err := s.getClass(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			req.Parent, req.RequestId = class.GetName(), newRequestID()
			if limit > 0 {
				req.TimeLimit = durationpb.New(limit)
			}
			req.Assumptions = assumptions()
			for _, m := range methods {
				batch, method, ok := strings.Cut(m, "=")
				if !ok {
					return fmt.Errorf("--method %q: write BATCH=METHOD, e.g. bench-3-1=boiling-water", m)
				}
				pick := &stillroomv1.ProcessPick{Batch: class.GetName() + "/batches/" + batch}
				if pick.Method, err = readMethod(method); err != nil {
					return err
				}
				req.Choices = append(req.Choices, pick)
			}
			if previous != "" {
				req.PreviousPlan = class.GetName() + "/loadPlans/" + previous
			}
			for _, other := range around {
				id, number, ok := strings.Cut(other, "/")
				if !ok {
					return fmt.Errorf("--around %q: write CLASS/NUMBER, e.g. jam-day/2", other)
				}
				name, err := s.under("classes", id, "loadPlans", number)
				if err != nil {
					return err
				}
				req.AroundPlans = append(req.AroundPlans, name)
			}
			plan, err := s.planLoads(cmd.Context(), req)
			if err != nil {
				return err
			}
			return s.show(plan, func(w io.Writer) { writeLoadPlan(w, plan, zone) })
		},
	}
	flags := cmd.Flags()
	flags.DurationVar(&limit, "time", 0, "longest to search (10s when left out)")
	flags.Int64Var(&req.WorkLimit, "work", 0, "most effort to spend; with the same effort and seed the plan is the same everywhere")
	flags.Uint64Var(&req.Seed, "seed", 0, "the luck to search with")
	flags.BoolVar(&req.SkipGains, "no-gains", false, "do not ask what a little more of something would gain")
	assumptions = assumptionFlags(cmd)
	flags.StringArrayVar(&methods, "method", nil, "BATCH=METHOD to use instead of the program's choice; may be given several times")
	flags.StringArrayVar(&around, "around", nil, "CLASS/NUMBER of a plan that uses the same canners and burners; may be given several times")
	flags.StringVar(&previous, "keep", "", "number of an earlier plan to stay close to")
	return cmd
}

// assumptionFlags adds the flags for working times that nobody prints, and returns what they were set to.
func assumptionFlags(cmd *cobra.Command) func() *stillroomv1.WorkAssumptions {
	var prepare, heat, fill int32
	flags := cmd.Flags()
	flags.Int32Var(&prepare, "prepare", 0, "minutes to wash, peel and cut, for two people (30 when left out; not a published figure)")
	flags.Int32Var(&heat, "heat", 0, "minutes to bring a pot to the heat (10 when left out; not a published figure)")
	flags.Int32Var(&fill, "fill", 0, "minutes to fill and lid a jar, for two people (1 when left out; not a published figure)")
	return func() *stillroomv1.WorkAssumptions {
		given := &stillroomv1.WorkAssumptions{}
		for flag, set := range map[string]func(){
			"prepare": func() { given.PrepareMinutes = &prepare },
			"heat":    func() { given.HeatMinutes = &heat },
			"fill":    func() { given.FillMinutesPerJar = &fill },
		} {
			if flags.Changed(flag) {
				set()
			}
		}
		return given
	}
}

// planLoads asks for a plan.
func (s *session) planLoads(ctx context.Context, req *stillroomv1.PlanLoadsRequest) (*stillroomv1.LoadPlan, error) {
	conn, err := s.dial()
	if err != nil {
		return nil, err
	}
	// Twice the search, for the questions of what would help, besides the usual patience.
	ctx, cancel := context.WithTimeout(ctx, s.timeout+2*req.GetTimeLimit().AsDuration())
	defer cancel()
	stream, err := stillroomv1.NewLoadServiceClient(conn).PlanLoads(ctx, req)
	if err != nil {
		return nil, err
	}
	return followSearch(s, stream.Recv, (*stillroomv1.PlanLoadsResponse).GetLoadPlan)
}

// searchMessage is a message of a search: how far it has come, or its end.
type searchMessage interface {
	GetProgress() *stillroomv1.PlanProgress
}

// followSearch shows the progress of a search until its answer comes.
func followSearch[M searchMessage, A any](s *session, receive func() (M, error), answer func(M) *A) (*A, error) {
	bar := progressLine{}
	if f, ok := s.errOut.(*os.File); ok && s.output != "json" && term.IsTerminal(int(f.Fd())) {
		bar.w = f
	}
	defer bar.clear()
	for {
		message, err := receive()
		if errors.Is(err, io.EOF) {
			return nil, errors.New("the server ended the search without a plan")
		}
		if err != nil {
			return nil, err
		}
		if found := answer(message); found != nil {
			return found, nil
		}
		bar.show(message.GetProgress())
	}
}

// progressLine is one line of a terminal that is written over and over.
type progressLine struct{ w io.Writer }

// barWidth is the length of the bar in characters; full means proven.
const barWidth = 24

func (b progressLine) show(p *stillroomv1.PlanProgress) {
	if b.w == nil {
		return
	}
	if p.WaitingBehind != nil {
		fmt.Fprintf(b.w, "\r\x1b[Kwaiting for a free processor, %d before this search", p.GetWaitingBehind())
		return
	}
	full := int((1 - min(p.GetGap(), 1)) * barWidth)
	if p.GetUnprocessedJars() > p.GetBoundUnprocessedJars() {
		full = 0
	}
	fmt.Fprintf(b.w, "\r\x1b[K[%s%s] out at %s, not before %s, %d jars left over, %.1f s",
		strings.Repeat("#", full), strings.Repeat(".", barWidth-full), afterOpening(p.GetFinishMinutes()), afterOpening(p.GetBoundFinishMinutes()),
		p.GetUnprocessedJars(), p.GetElapsed().AsDuration().Seconds())
}

func (b progressLine) clear() {
	if b.w != nil {
		fmt.Fprint(b.w, "\r\x1b[K")
	}
}

// afterOpening is a minute of the class as hours and minutes: "3:52".
func afterOpening(minutes int32) string { return fmt.Sprintf("%d:%02d", minutes/60, minutes%60) }

func newLoadsShow(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "show CLASS [NUMBER]", Short: "Show a stored plan, the newest when no number is given", Args: cobra.RangeArgs(1, 2),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, zone, err := s.getClass(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			plan, err := call(cmd.Context(), s, stillroomv1.NewLoadServiceClient, func(ctx context.Context, c stillroomv1.LoadServiceClient) (*stillroomv1.LoadPlan, error) {
				if len(args) == 2 {
					return c.GetLoadPlan(ctx, &stillroomv1.GetLoadPlanRequest{Name: class.GetName() + "/loadPlans/" + args[1]})
				}
				newest, err := c.ListLoadPlans(ctx, &stillroomv1.ListLoadPlansRequest{Parent: class.GetName(), PageSize: 1})
				if err == nil && len(newest.GetLoadPlans()) == 0 {
					return nil, fmt.Errorf("no plan yet; make one with: stillroom loads plan %s", args[0])
				}
				if err != nil {
					return nil, err
				}
				return newest.GetLoadPlans()[0], nil
			})
			if err != nil {
				return err
			}
			return s.show(plan, func(w io.Writer) { writeLoadPlan(w, plan, zone) })
		},
	}
}

func newLoadsList(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "list CLASS", Short: "List a class's plans, the newest first", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, zone, err := s.getClass(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewLoadServiceClient, func(ctx context.Context, c stillroomv1.LoadServiceClient, token string) (*stillroomv1.ListLoadPlansResponse, error) {
				return c.ListLoadPlans(ctx, &stillroomv1.ListLoadPlansRequest{Parent: class.GetName(), PageToken: token, PageSize: 100})
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) {
				g := newGrid("PLAN", "MADE", ">JARS", ">LEFT OVER", ">LOADS", "LAST OUT", "PROVEN")
				for _, p := range all.GetLoadPlans() {
					proven := "yes"
					if !p.GetOutcome().GetOptimal() {
						proven = fmt.Sprintf("within %.0f %%", 100*p.GetOutcome().GetGap())
					}
					g.add(last(p.GetName()), clock(p.GetCreateTime(), zone), p.GetOutcome().GetJars(), p.GetOutcome().GetUnprocessedJars(), p.GetOutcome().GetLoads(),
						wallClock(p.GetOutcome().GetFinishTime(), zone), proven)
				}
				g.write(w, "No plan yet; make one with: stillroom loads plan "+args[0])
			})
		},
	}
}
