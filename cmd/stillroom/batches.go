package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/canning"
)

func newBatch(s *session) *cobra.Command {
	return parent(groupClass, "batch", "Batches: what each station makes",
		newBatchPropose(s), newBatchList(s), newBatchAdd(s), newBatchChange(s), newBatchDelete(s), newBatchCheck(s))
}

func newBatchPropose(s *session) *cobra.Command {
	var wants []string
	var apply bool
	var people int32
	cmd := &cobra.Command{
		Use: "propose CLASS --want RECIPE=JARS[,SIZE]", Short: "Work out whole batches for everybody's jars", Args: cobra.ExactArgs(1),
		Example: `  stillroom batch propose relish-day --want chile-salsa=2 --want bread-and-butter@1=1,half_pint --apply`,
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			req := &stillroomv1.ProposeBatchesRequest{Name: class, Apply: apply, Participants: people}
			for _, w := range wants {
				wish, err := s.readWish(w)
				if err != nil {
					return err
				}
				req.Wishes = append(req.Wishes, wish)
			}
			plan, err := call(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient) (*stillroomv1.ProposeBatchesResponse, error) {
				return c.ProposeBatches(ctx, req)
			})
			if err != nil {
				return err
			}
			if err := s.show(plan, func(w io.Writer) { writeProposal(w, plan) }); err != nil || !apply {
				return err
			}
			return s.warnOfAllergies(cmd.Context(), class, "")
		},
	}
	cmd.Flags().StringArrayVar(&wants, "want", nil, "RECIPE=JARS for each participant, or RECIPE@REVISION=JARS,SIZE; may be given several times")
	cmd.Flags().BoolVar(&apply, "apply", false, "put the proposal in the place of the class's batches")
	cmd.Flags().Int32Var(&people, "people", 0, "plan for this many instead of those enrolled")
	_ = cmd.MarkFlagRequired("want")
	return cmd
}

// readWish reads RECIPE[@REVISION]=JARS[,SIZE].
func (s *session) readWish(text string) (*stillroomv1.JarWish, error) {
	recipe, rest, ok := strings.Cut(text, "=")
	count, size, sized := strings.Cut(rest, ",")
	jars, err := strconv.Atoi(count)
	if !ok || err != nil || jars < 1 {
		return nil, fmt.Errorf("--want %q: write RECIPE=JARS, e.g. chile-salsa=2 or chile-salsa@1=2,half_pint", text)
	}
	wish := &stillroomv1.JarWish{JarsPerParticipant: int32(jars)}
	if wish.RecipeRevision, err = s.revisionName(recipe); err != nil {
		return nil, err
	}
	if sized {
		wish.JarSize, err = readJarSize(size)
	}
	return wish, err
}

// revisionName turns RECIPE[@REVISION] into a resource name; revision 1 when none is said.
func (s *session) revisionName(text string) (string, error) {
	if strings.HasPrefix(text, "kitchens/") {
		return text, nil
	}
	recipe, revision, ok := strings.Cut(text, "@")
	if !ok {
		revision = "1"
	}
	return s.under("recipes", recipe, "revisions", revision)
}

// shortRevision turns a revision's resource name into RECIPE@REVISION.
func shortRevision(name string) string {
	parts := strings.Split(name, "/")
	if len(parts) != 6 {
		return name
	}
	return parts[3] + "@" + parts[5]
}

// readJarSize reads a jar size as people write it: "pint", "500 ml".
func readJarSize(text string) (stillroomv1.JarSize, error) {
	size, err := canning.ParseJarSize(text)
	if err != nil {
		return 0, err
	}
	value, ok := stillroomv1.JarSize_value["JAR_SIZE_"+strings.ToUpper(string(size))]
	if !ok {
		return 0, fmt.Errorf("the contract has no %s jars", size.Name())
	}
	return stillroomv1.JarSize(value), nil
}

// jarSize names a jar size for people.
func jarSize(size stillroomv1.JarSize) string {
	return canning.JarSize(strings.ToLower(strings.TrimPrefix(size.String(), "JAR_SIZE_"))).Name()
}

func writeProposal(w io.Writer, plan *stillroomv1.ProposeBatchesResponse) {
	fmt.Fprintf(w, "For %d participants:\n\n", plan.GetParticipants())
	g := newGrid("RECIPE", "JAR", ">EACH", ">WANTED", ">BATCHES", ">YIELD", ">FILLED", ">LEFT OVER")
	for _, o := range plan.GetOutcomes() {
		g.add(shortRevision(o.GetWish().GetRecipeRevision()), jarSize(o.GetWish().GetJarSize()), o.GetWish().GetJarsPerParticipant(),
			o.GetJarsWanted(), o.GetBatches(), yieldRange(o), o.GetJarsFilled(), o.GetJarsLeftOver())
	}
	g.write(w, "")
	fmt.Fprintln(w)
	writeBatches(w, plan.GetBatches())
	fmt.Fprintln(w)
	writeShortages(w, plan.GetShortages())
	writeCautions(w, plan.GetCautions())
	if !plan.GetApplied() {
		fmt.Fprintln(w, "\nThis is a proposal; --apply puts it in the place of the class's batches.")
	}
}

func yieldRange(o *stillroomv1.WishOutcome) string {
	if o.GetYieldMinJars() == o.GetYieldMaxJars() {
		return strconv.Itoa(int(o.GetYieldMinJars()))
	}
	return fmt.Sprintf("%d–%d", o.GetYieldMinJars(), o.GetYieldMaxJars())
}

func writeBatches(w io.Writer, batches []*stillroomv1.Batch) {
	g := newGrid("STATION", ">TURN", "RECIPE", ">JARS", "SIZE", "KEEPS", "BATCH")
	for _, b := range batches {
		keeps := "shelf"
		if b.GetNotForShelfReason() != "" {
			keeps = "refrigerate or freeze: " + b.GetNotForShelfReason()
		}
		g.add(last(b.GetStation()), b.GetOrder(), shortRevision(b.GetRecipeRevision()), b.GetJars(), jarSize(b.GetJarSize()), keeps, last(b.GetName()))
	}
	g.write(w, "No batches yet; have some worked out with: stillroom batch propose CLASS --want RECIPE=JARS")
}

func writeShortages(w io.Writer, shortages []*stillroomv1.Shortage) {
	if len(shortages) == 0 {
		fmt.Fprintln(w, "Equipment suffices.")
		return
	}
	g := newGrid("SHORT OF", ">NEEDED", ">FREE", "STATIONS", "WHY")
	for _, short := range shortages {
		var stations []string
		for _, st := range short.GetStations() {
			stations = append(stations, last(st))
		}
		g.add(short.GetKind(), short.GetNeeded(), short.GetAvailable(), strings.Join(stations, " "), short.GetExplanation())
	}
	g.write(w, "")
}

func writeCautions(w io.Writer, cautions []*stillroomv1.Caution) {
	for _, c := range cautions {
		fmt.Fprintf(w, "! %s", c.GetText())
		if p := c.GetSource().GetPublication(); p != "" {
			fmt.Fprintf(w, " (%s)", strings.TrimSuffix(p+", "+c.GetSource().GetLocator(), ", "))
		}
		fmt.Fprintln(w)
	}
}

func newBatchList(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "list CLASS", Short: "List a class's batches by station", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient, token string) (*stillroomv1.ListBatchesResponse, error) {
				return c.ListBatches(ctx, &stillroomv1.ListBatchesRequest{Parent: class, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			if err := s.show(all, func(w io.Writer) { writeBatches(w, all.GetBatches()) }); err != nil {
				return err
			}
			return s.warnOfAllergies(cmd.Context(), class, "")
		},
	}
}

// batchFlags are the fields of a batch that add and change share.
type batchFlags struct {
	station, recipe, size string
	jars, turn            int32
	whole                 bool
}

func (f *batchFlags) bind(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.station, "station", "", "id of the station")
	cmd.Flags().StringVar(&f.recipe, "recipe", "", "RECIPE, or RECIPE@REVISION")
	cmd.Flags().StringVar(&f.size, "size", "", "jar size: half_pint, pint, quart, ml_250, ml_500, l_1")
	cmd.Flags().Int32Var(&f.jars, "jars", 0, "jars it fills")
	cmd.Flags().Int32Var(&f.turn, "turn", 0, "its turn at the station; last when left out")
	cmd.Flags().BoolVar(&f.whole, "one-load", false, "keep its jars together in one canner load")
}

func (f *batchFlags) batch(s *session, class string) (*stillroomv1.Batch, error) {
	b := &stillroomv1.Batch{Jars: f.jars, Order: f.turn, MaySplit: !f.whole}
	var err error
	if f.station != "" {
		if b.Station, err = s.under("classes", class, "stations", f.station); err != nil {
			return nil, err
		}
	}
	if f.recipe != "" {
		if b.RecipeRevision, err = s.revisionName(f.recipe); err != nil {
			return nil, err
		}
	}
	if f.size != "" {
		b.JarSize, err = readJarSize(f.size)
	}
	return b, err
}

func newBatchAdd(s *session) *cobra.Command {
	var f batchFlags
	cmd := &cobra.Command{
		Use: "add CLASS", Short: "Add one batch to a station", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			b, err := f.batch(s, args[0])
			if err != nil {
				return err
			}
			b, err = call(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient) (*stillroomv1.Batch, error) {
				return c.CreateBatch(ctx, &stillroomv1.CreateBatchRequest{Parent: class, Batch: b, RequestId: newRequestID()})
			})
			if err := s.showBatch(b, err); err != nil {
				return err
			}
			return s.warnOfAllergies(cmd.Context(), class, b.GetStation())
		},
	}
	f.bind(cmd)
	for _, required := range []string{"station", "recipe", "size", "jars"} {
		_ = cmd.MarkFlagRequired(required)
	}
	return cmd
}

func newBatchChange(s *session) *cobra.Command {
	var f batchFlags
	cmd := &cobra.Command{
		Use: "change CLASS BATCH", Short: "Change a batch", Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			full, err := s.under("classes", args[0], "batches", args[1])
			if err != nil {
				return err
			}
			b, err := f.batch(s, args[0])
			if err != nil {
				return err
			}
			b.Name = full
			mask := changedFields(cmd, map[string]string{
				"station": "station", "recipe": "recipe_revision", "size": "jar_size", "jars": "jars", "turn": "order", "one-load": "may_split",
			})
			if len(mask.GetPaths()) == 0 {
				return fmt.Errorf("nothing to change; see %q", cmd.CommandPath()+" --help")
			}
			b, err = call(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient) (*stillroomv1.Batch, error) {
				return c.UpdateBatch(ctx, &stillroomv1.UpdateBatchRequest{Batch: b, UpdateMask: mask})
			})
			return s.showBatch(b, err)
		},
	}
	f.bind(cmd)
	return cmd
}

func newBatchDelete(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "delete CLASS BATCH", Short: "Remove a batch", Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			full, err := s.under("classes", args[0], "batches", args[1])
			if err != nil {
				return err
			}
			_, err = call(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient) (any, error) {
				return c.DeleteBatch(ctx, &stillroomv1.DeleteBatchRequest{Name: full})
			})
			return s.done(err, "batch %s is removed", last(full))
		},
	}
}

func newBatchCheck(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "check CLASS", Short: "Compare what the batches need with the equipment", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			reply, err := call(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient) (*stillroomv1.CheckEquipmentResponse, error) {
				return c.CheckEquipment(ctx, &stillroomv1.CheckEquipmentRequest{Name: class})
			})
			if err != nil {
				return err
			}
			return s.show(reply, func(w io.Writer) { writeShortages(w, reply.GetShortages()) })
		},
	}
}

func (s *session) showBatch(b *stillroomv1.Batch, err error) error {
	if err != nil {
		return err
	}
	return s.show(b, func(w io.Writer) { writeBatches(w, []*stillroomv1.Batch{b}) })
}
