package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// changeFlags are the flags that say what is to be changed.
type changeFlags struct {
	swap, reduce, raise, add, prepare, omit    []string
	jar, pack, batches, headspace, otherMethod string
	unsterile                                  bool
}

const changeHelp = `Lines are named by their ids, which "stillroom recipe show" lists.

  --swap "onions=red onions"          in the same amount
  --swap "carrots=baby carrots, 8-1/2 cups"
  --omit salt
  --reduce "sugar=1 cup"
  --raise "black_pepper=1 tsp"
  --add "paprika=1 tsp"
  --prepare "tomatoes=peeled, chopped and drained"
  --jar quart   --pack raw   --batches 2   --headspace 1/4   --processed-by "steam canner"`

func (f *changeFlags) on(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringArrayVar(&f.swap, "swap", nil, "LINE=INGREDIENT[, AMOUNT]")
	flags.StringArrayVar(&f.omit, "omit", nil, "LINE")
	flags.StringArrayVar(&f.reduce, "reduce", nil, "LINE=AMOUNT")
	flags.StringArrayVar(&f.raise, "raise", nil, "LINE=AMOUNT")
	flags.StringArrayVar(&f.add, "add", nil, "INGREDIENT=AMOUNT")
	flags.StringArrayVar(&f.prepare, "prepare", nil, "LINE=PREPARATION")
	flags.StringVar(&f.jar, "jar", "", "another jar size")
	flags.StringVar(&f.pack, "pack", "", "hot or raw")
	flags.StringVar(&f.batches, "batches", "", "batches made at once")
	flags.StringVar(&f.headspace, "headspace", "", "inches")
	flags.BoolVar(&f.unsterile, "unsterile-jars", false, "fill jars that were not sterilised")
	flags.StringVar(&f.otherMethod, "processed-by", "", "another way to process")
}

// changes reads the flags in a fixed order; the server says what is wrong with their content.
func (f *changeFlags) changes() ([]*stillroomv1.Change, error) {
	var all []*stillroomv1.Change
	var wrong []error
	pair := func(flag, text string) (left, right string) {
		left, right, ok := strings.Cut(text, "=")
		if !ok || strings.TrimSpace(left) == "" || strings.TrimSpace(right) == "" {
			wrong = append(wrong, fmt.Errorf("--%s %q: write it like --%s \"LINE=…\"", flag, text, flag))
		}
		return strings.TrimSpace(left), strings.TrimSpace(right)
	}
	for _, text := range f.swap {
		line, with := pair("swap", text)
		c := &stillroomv1.Change{Kind: stillroomv1.ChangeKind_CHANGE_KIND_SWAP, LineId: line, Ingredient: with}
		// What follows the last comma is an amount when it begins like one.
		if i := strings.LastIndexByte(with, ','); i > 0 {
			if amount := strings.TrimSpace(with[i+1:]); amount != "" && strings.ContainsRune("0123456789½¼¾⅓⅔⅛.", []rune(amount)[0]) {
				c.Ingredient, c.Amount = strings.TrimSpace(with[:i]), amount
			}
		}
		all = append(all, c)
	}
	for _, line := range f.omit {
		all = append(all, &stillroomv1.Change{Kind: stillroomv1.ChangeKind_CHANGE_KIND_OMIT, LineId: strings.TrimSpace(line)})
	}
	for _, text := range f.reduce {
		line, amount := pair("reduce", text)
		all = append(all, &stillroomv1.Change{Kind: stillroomv1.ChangeKind_CHANGE_KIND_REDUCE, LineId: line, Amount: amount})
	}
	for _, text := range f.raise {
		line, amount := pair("raise", text)
		all = append(all, &stillroomv1.Change{Kind: stillroomv1.ChangeKind_CHANGE_KIND_RAISE, LineId: line, Amount: amount})
	}
	for _, text := range f.add {
		what, amount := pair("add", text)
		all = append(all, &stillroomv1.Change{Kind: stillroomv1.ChangeKind_CHANGE_KIND_ADD, Ingredient: what, Amount: amount})
	}
	for _, text := range f.prepare {
		line, how := pair("prepare", text)
		all = append(all, &stillroomv1.Change{Kind: stillroomv1.ChangeKind_CHANGE_KIND_PREPARE, LineId: line, Preparation: how})
	}
	for _, whole := range []struct {
		kind stillroomv1.ChangeKind
		to   string
	}{
		{stillroomv1.ChangeKind_CHANGE_KIND_JAR_SIZE, f.jar}, {stillroomv1.ChangeKind_CHANGE_KIND_PACK, f.pack},
		{stillroomv1.ChangeKind_CHANGE_KIND_BATCHES, f.batches}, {stillroomv1.ChangeKind_CHANGE_KIND_HEADSPACE, f.headspace},
		{stillroomv1.ChangeKind_CHANGE_KIND_METHOD, f.otherMethod},
	} {
		if whole.to != "" {
			all = append(all, &stillroomv1.Change{Kind: whole.kind, To: whole.to})
		}
	}
	if f.unsterile {
		all = append(all, &stillroomv1.Change{Kind: stillroomv1.ChangeKind_CHANGE_KIND_UNSTERILE_JARS})
	}
	if len(all) == 0 {
		return nil, errors.New("what is to be changed? give at least one of --swap, --omit, --reduce, --raise, --add, --prepare, --jar, --pack, --batches; see --help")
	}
	return all, errors.Join(wrong...)
}

func newRecipeReview(s *session) *cobra.Command {
	var flags changeFlags
	cmd := &cobra.Command{
		Use: "review RECIPE", Short: "Ask what the publications say of changes, before making them", Args: cobra.ExactArgs(1),
		Long: "Ask what the publications say of changes. Nothing is kept.\n\n" + recipeHelp + "\n\n" + changeHelp,
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.formulaName(args[0])
			if err != nil {
				return err
			}
			changes, err := flags.changes()
			if err != nil {
				return err
			}
			reply, err := call(cmd.Context(), s, stillroomv1.NewRecipeServiceClient, func(ctx context.Context, c stillroomv1.RecipeServiceClient) (*stillroomv1.ReviewChangesResponse, error) {
				return c.ReviewChanges(ctx, &stillroomv1.ReviewChangesRequest{Name: name, Changes: changes})
			})
			if err != nil {
				return err
			}
			return s.show(reply, func(w io.Writer) {
				writeReview(w, reply.GetReview())
				fmt.Fprintf(w, "\nJars: %s\n", standingWords(reply.GetFormula()))
			})
		},
	}
	flags.on(cmd)
	return cmd
}

func newRecipeRevise(s *session) *cobra.Command {
	var flags changeFlags
	var from int32
	cmd := &cobra.Command{
		Use: "revise RECIPE", Short: "Keep a changed formula as the recipe's next revision", Args: cobra.ExactArgs(1),
		Long: "Keep a changed formula as the recipe's next revision, with its review. What the review does not allow is\n" +
			"kept too: it can be taught, and its jars never go into a load.\n\n" + changeHelp,
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("recipes", args[0])
			if err != nil {
				return err
			}
			changes, err := flags.changes()
			if err != nil {
				return err
			}
			rev, err := call(cmd.Context(), s, stillroomv1.NewRecipeServiceClient, func(ctx context.Context, c stillroomv1.RecipeServiceClient) (*stillroomv1.RecipeRevision, error) {
				return c.CreateRecipeRevision(ctx, &stillroomv1.CreateRecipeRevisionRequest{Parent: name, BaseNumber: from, Changes: changes, RequestId: newRequestID()})
			})
			if err != nil {
				return err
			}
			return s.show(rev, func(w io.Writer) { writeRevision(w, rev) })
		},
	}
	flags.on(cmd)
	cmd.Flags().Int32Var(&from, "from", 0, "number of the revision that is changed; the newest when left out")
	return cmd
}

// writeReview prints a review as a cook reads it: the verdict on each change with the published words, then the figures.
func writeReview(w io.Writer, rv *stillroomv1.Review) {
	for _, f := range rv.GetFindings() {
		fmt.Fprintf(w, "%s: %s; %s\n", f.GetChange(), strings.ToUpper(enumWords("VERDICT_", f.GetVerdict().String())), consequenceWords(f.GetConsequence()))
		fmt.Fprintf(w, "    %s.\n", f.GetBecause())
		if f.GetWayOut() != "" {
			fmt.Fprintf(w, "    Way out: %s.\n", f.GetWayOut())
		}
		for _, c := range f.GetCitations() {
			fmt.Fprintf(w, "    · %s [%s, %s]\n", c.GetStatement(), c.GetSource().GetPublication(), c.GetSource().GetLocator())
		}
	}
	fmt.Fprintln(w)
	g := newGrid("", ">PRINTED", ">CHANGED")
	g.add("acid share", shareWords(rv.GetAcidShareBefore()), shareWords(rv.GetAcidShareAfter()))
	g.add("salt", sumWords(rv.GetSaltBefore()), sumWords(rv.GetSaltAfter()))
	g.add("sugar", sumWords(rv.GetSugarBefore()), sumWords(rv.GetSugarAfter()))
	g.write(w, "")
	for _, n := range rv.GetNotes() {
		fmt.Fprintf(w, "Note: %s\n", n)
	}
}

func consequenceWords(c stillroomv1.Consequence) string {
	switch c {
	case stillroomv1.Consequence_CONSEQUENCE_SHELF_STABLE:
		return "still shelf-stable"
	case stillroomv1.Consequence_CONSEQUENCE_ANOTHER_PROCESS:
		return "needs another process"
	case stillroomv1.Consequence_CONSEQUENCE_REFRIGERATE_OR_FREEZE:
		return "refrigerate or freeze only"
	default:
		return "not known"
	}
}

func shareWords(s *stillroomv1.AcidShare) string {
	if s.GetAcidGrams()+s.GetLowAcidGrams() == 0 {
		return "not known"
	}
	text := fmt.Sprintf("%.1f %%", 100*s.GetShare())
	if !s.GetKnown() {
		text += " of what could be weighed"
	}
	return text
}

func sumWords(s *stillroomv1.IngredientSum) string {
	if s.GetGrams() == 0 && len(s.GetUnweighedLineIds()) > 0 {
		return "not known"
	}
	text := fmt.Sprintf("%.0f g", s.GetGrams())
	if len(s.GetUnweighedLineIds()) > 0 {
		text += " and more"
	}
	return text
}
