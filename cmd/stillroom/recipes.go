package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/recipe"
)

// publishedPrefix leads the names of printed recipes on the command line: "published/chile_salsa".
const publishedPrefix = "published/"

func newRecipe(s *session) *cobra.Command {
	return parent(groupPlan, "recipe", "Recipes: the printed library, the kitchen's own, and what may be changed",
		newRecipeLibrary(s), newRecipeAdopt(s), newRecipeImport(s), newRecipeList(s), newRecipeShow(s), newRecipePrint(s),
		newRecipeExport(s), newRecipeReview(s), newRecipeRevise(s), newRecipeRevisions(s), newRecipeRename(s), newRecipeDelete(s))
}

// recipeHelp says how recipes are named on the command line.
const recipeHelp = `A recipe is named by its id ("chile_salsa", its newest revision), by id and revision
("chile_salsa@2"), or, in the printed library, by "published/" and its key.`

// formulaName turns published/KEY, RECIPE or RECIPE@REVISION into a resource name.
func (s *session) formulaName(text string) (string, error) {
	if key, ok := strings.CutPrefix(text, publishedPrefix); ok {
		return "publishedRecipes/" + key, nil
	}
	if strings.HasPrefix(text, "publishedRecipes/") {
		return text, nil
	}
	if strings.Contains(text, "@") {
		return s.revisionName(text)
	}
	return s.under("recipes", text)
}

// filterFlags are the flags that narrow a list of recipes.
type filterFlags struct {
	ingredients       []string
	season, jar, text string
	methods           []string
}

func (f *filterFlags) on(cmd *cobra.Command) {
	cmd.Flags().StringSliceVarP(&f.ingredients, "ingredient", "i", nil, "must be in it; give it again for more")
	cmd.Flags().StringVar(&f.season, "season", "", "spring, summer, autumn or winter: when its main produce is harvested")
	cmd.Flags().StringSliceVar(&f.methods, "method", nil, "printed for this way of processing")
	cmd.Flags().StringVar(&f.jar, "jar", "", "printed for this jar size")
	cmd.Flags().StringVar(&f.text, "text", "", "words anywhere in it")
}

func (f *filterFlags) filter() (*stillroomv1.RecipeFilter, error) {
	out := &stillroomv1.RecipeFilter{Ingredients: f.ingredients, Text: f.text}
	if f.season != "" {
		season, err := recipe.ParseSeason(f.season)
		if err != nil {
			return nil, fmt.Errorf("--%w", err)
		}
		out.Season = stillroomv1.Season(stillroomv1.Season_value["SEASON_"+strings.ToUpper(string(season))])
	}
	for _, m := range f.methods {
		method, err := readMethod(m)
		if err != nil {
			return nil, fmt.Errorf("--%w", err)
		}
		out.Methods = append(out.Methods, method)
	}
	if f.jar != "" {
		size, err := readJarSize(f.jar)
		if err != nil {
			return nil, fmt.Errorf("--%w", err)
		}
		out.JarSize = size
	}
	return out, nil
}

func newRecipeLibrary(s *session) *cobra.Command {
	var flags filterFlags
	cmd := &cobra.Command{
		Use: "library", Short: "List and search the printed recipes that come with the program", Args: cobra.NoArgs,
		Example: `  stillroom recipe library --ingredient tomatoes --season summer
  stillroom recipe library --jar quart`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			filter, err := flags.filter()
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewRecipeServiceClient, func(ctx context.Context, c stillroomv1.RecipeServiceClient, token string) (*stillroomv1.ListPublishedRecipesResponse, error) {
				return c.ListPublishedRecipes(ctx, &stillroomv1.ListPublishedRecipesRequest{Filter: filter, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) {
				g := newGrid("RECIPE", "TITLE", "YIELD", "SEASON", "SOURCE")
				for _, r := range all.GetPublishedRecipes() {
					f := r.GetFormula()
					g.add(publishedPrefix+last(r.GetName()), f.GetTitle(), yieldWords(f.GetYield()), seasonWords(f.GetSeasons()), f.GetSource().GetLocator())
				}
				g.write(w, "No printed recipe is like that.")
				if len(all.GetPublishedRecipes()) > 0 {
					fmt.Fprintf(w, "\n%d recipes; places are in %s.\nSeasons are %s.\n", len(all.GetPublishedRecipes()),
						all.GetPublishedRecipes()[0].GetFormula().GetSource().GetPublication(), recipe.SeasonBasis)
				}
			})
		},
	}
	flags.on(cmd)
	return cmd
}

func yieldWords(y *stillroomv1.BatchYield) string {
	if y.GetText() != "" {
		return y.GetText()
	}
	if y.GetJarsMin() == y.GetJarsMax() {
		return fmt.Sprintf("%d × %s", y.GetJarsMin(), jarSize(y.GetJarSize()))
	}
	return fmt.Sprintf("%d to %d × %s", y.GetJarsMin(), y.GetJarsMax(), jarSize(y.GetJarSize()))
}

func seasonWords(seasons []stillroomv1.Season) string {
	words := make([]string, len(seasons))
	for i, s := range seasons {
		words[i] = enumWords("SEASON_", s.String())
	}
	return strings.Join(words, ", ")
}

// enumWords turns the name of an enum's value into words for people.
func enumWords(prefix, value string) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(value, prefix)), "_", " ")
}

func newRecipeAdopt(s *session) *cobra.Command {
	var id string
	cmd := &cobra.Command{
		Use: "adopt KEY", Short: "Bring a printed recipe into the kitchen, unchanged", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			key := strings.TrimPrefix(strings.TrimPrefix(args[0], publishedPrefix), "publishedRecipes/")
			r, err := call(cmd.Context(), s, stillroomv1.NewRecipeServiceClient, func(ctx context.Context, c stillroomv1.RecipeServiceClient) (*stillroomv1.Recipe, error) {
				return c.AdoptRecipe(ctx, &stillroomv1.AdoptRecipeRequest{
					Parent: k, PublishedRecipe: "publishedRecipes/" + key, RecipeId: id, RequestId: newRequestID(),
				})
			})
			return s.showRecipes(err, r)
		},
	}
	cmd.Flags().StringVar(&id, "id", "", "id in the kitchen; the printed recipe's key when left out")
	return cmd
}

// showRecipes shows recipes in a table; as JSON, one recipe as itself.
func (s *session) showRecipes(err error, rs ...*stillroomv1.Recipe) error {
	if err != nil {
		return err
	}
	if len(rs) == 1 {
		return s.show(rs[0], func(w io.Writer) { writeRecipes(w, rs) })
	}
	return s.show(&stillroomv1.ListRecipesResponse{Recipes: rs}, func(w io.Writer) { writeRecipes(w, rs) })
}

func writeRecipes(w io.Writer, rs []*stillroomv1.Recipe) {
	g := newGrid("RECIPE", "TITLE", "YIELD", "JARS", "FROM")
	for _, r := range rs {
		f := r.GetLatestRevision().GetFormula()
		from := "the kitchen's own"
		if r.GetPublishedRecipe() != "" {
			from = publishedPrefix + last(r.GetPublishedRecipe())
		}
		g.add(shortRevision(r.GetLatestRevision().GetName()), r.GetTitle(), yieldWords(f.GetYield()), standingWords(f), from)
	}
	g.write(w, "No recipes; bring one with: stillroom recipe adopt KEY (stillroom recipe library lists them)")
}

// standingWords says in two or three words what becomes of the jars.
func standingWords(f *stillroomv1.Formula) string {
	switch {
	case f.GetNotForLoadReason() == "":
		return "shelf-stable"
	case f.GetShelfStable():
		return "not for loads"
	}
	return "refrigerate or freeze"
}

func newRecipeList(s *session) *cobra.Command {
	var flags filterFlags
	cmd := &cobra.Command{
		Use: "list", Short: "List the kitchen's recipes", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			filter, err := flags.filter()
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewRecipeServiceClient, func(ctx context.Context, c stillroomv1.RecipeServiceClient, token string) (*stillroomv1.ListRecipesResponse, error) {
				return c.ListRecipes(ctx, &stillroomv1.ListRecipesRequest{Parent: k, Filter: filter, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) { writeRecipes(w, all.GetRecipes()) })
		},
	}
	flags.on(cmd)
	return cmd
}

func newRecipeImport(s *session) *cobra.Command {
	var format string
	cmd := &cobra.Command{
		Use: "import FILE", Short: "Add the recipes of a YAML or schema.org JSON-LD file, all or none", Args: cobra.ExactArgs(1),
		Long: `Add the recipes of a file, all of them or none ("-" reads standard input).

The format follows from the file's name: .json and .jsonld are schema.org Recipe, all else is YAML:

title: Green salsa
based_on: tomatillo_green_salsa      # the printed recipe it was changed from, if any
source: USDA AIB 539 (rev. 2015)     # where the formula was published, if it was
locator: Guide 3, p. 3-23
attested_by: R. Baker                # who says that it is as printed there
process_key: tomatillo_green_salsa   # product in the process tables, if any
pack: hot
headspace: 1/2 inch
yield: {text: About 5 pints, jar: pint, jars_min: 5, jars_max: 5}
ingredients:
- {name: tomatillos, amount: 5 cups, preparation: chopped}
- {name: canning salt, amount: 1/4 tsp, per_jar: pint}
steps:
- {action: simmer, text: Simmer., minutes: 20}

Several recipes go in a list under "recipes". What the publications do not cover is taught
and bought for, and its jars are refrigerated or frozen.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			kind, err := readFormat(format, args[0])
			if err != nil {
				return err
			}
			data, err := s.readInput(args[0])
			if err != nil {
				return err
			}
			reply, err := call(cmd.Context(), s, stillroomv1.NewRecipeServiceClient, func(ctx context.Context, c stillroomv1.RecipeServiceClient) (*stillroomv1.ImportRecipesResponse, error) {
				return c.ImportRecipes(ctx, &stillroomv1.ImportRecipesRequest{Parent: k, Format: kind, Content: data, RequestId: newRequestID()})
			})
			if err != nil {
				return err
			}
			return s.show(reply, func(w io.Writer) { writeRecipes(w, reply.GetRecipes()) })
		},
	}
	cmd.Flags().StringVar(&format, "format", "", "yaml or json-ld; by the file's name when left out")
	return cmd
}

// readFormat reads a format by its name, or by that of a file.
func readFormat(text, file string) (stillroomv1.RecipeFormat, error) {
	if text == "" {
		text = "yaml"
		switch strings.ToLower(filepath.Ext(file)) {
		case ".json", ".jsonld":
			text = "json-ld"
		case ".txt":
			text = "text"
		}
	}
	switch text {
	case "yaml":
		return stillroomv1.RecipeFormat_RECIPE_FORMAT_YAML, nil
	case "json-ld":
		return stillroomv1.RecipeFormat_RECIPE_FORMAT_JSON_LD, nil
	case "text":
		return stillroomv1.RecipeFormat_RECIPE_FORMAT_TEXT, nil
	}
	return 0, fmt.Errorf("--format %q: choose yaml, json-ld or text", text)
}

func newRecipePrint(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "print RECIPE", Short: "Print a recipe with its processes, sources and cautions", Args: cobra.ExactArgs(1), Long: "Print a recipe.\n\n" + recipeHelp,
		RunE: func(cmd *cobra.Command, args []string) error {
			reply, err := s.export(cmd.Context(), args[0], stillroomv1.RecipeFormat_RECIPE_FORMAT_TEXT)
			if err != nil {
				return err
			}
			return s.show(reply, func(w io.Writer) { _, _ = w.Write(reply.GetContent()) })
		},
	}
}

func (s *session) export(ctx context.Context, text string, format stillroomv1.RecipeFormat) (*stillroomv1.ExportRecipeResponse, error) {
	name, err := s.formulaName(text)
	if err != nil {
		return nil, err
	}
	return call(ctx, s, stillroomv1.NewRecipeServiceClient, func(ctx context.Context, c stillroomv1.RecipeServiceClient) (*stillroomv1.ExportRecipeResponse, error) {
		return c.ExportRecipe(ctx, &stillroomv1.ExportRecipeRequest{Name: name, Format: format})
	})
}

func newRecipeExport(s *session) *cobra.Command {
	var format, file string
	cmd := &cobra.Command{
		Use: "export RECIPE", Short: "Write a recipe as YAML, schema.org JSON-LD or text", Args: cobra.ExactArgs(1), Long: "Write a recipe.\n\n" + recipeHelp,
		RunE: func(cmd *cobra.Command, args []string) error {
			kind, err := readFormat(format, file)
			if err != nil {
				return err
			}
			reply, err := s.export(cmd.Context(), args[0], kind)
			if err != nil {
				return err
			}
			if file != "" {
				return os.WriteFile(file, reply.GetContent(), 0o600)
			}
			return s.show(reply, func(w io.Writer) { fmt.Fprintln(w, strings.TrimRight(string(reply.GetContent()), "\n")) })
		},
	}
	cmd.Flags().StringVar(&format, "format", "", "yaml, json-ld or text; by the file's name, else yaml")
	cmd.Flags().StringVarP(&file, "file", "f", "", "write to this file instead of standard output")
	return cmd
}

func newRecipeShow(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "show RECIPE", Short: "Show a recipe's lines, what may vary, and its review", Args: cobra.ExactArgs(1), Long: "Show a recipe.\n\n" + recipeHelp,
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.formulaName(args[0])
			if err != nil {
				return err
			}
			if strings.HasPrefix(name, "publishedRecipes/") {
				r, err := call(cmd.Context(), s, stillroomv1.NewRecipeServiceClient, func(ctx context.Context, c stillroomv1.RecipeServiceClient) (*stillroomv1.PublishedRecipe, error) {
					return c.GetPublishedRecipe(ctx, &stillroomv1.GetPublishedRecipeRequest{Name: name})
				})
				if err != nil {
					return err
				}
				return s.show(r, func(w io.Writer) { writeFormula(w, r.GetFormula()) })
			}
			rev, err := s.revision(cmd.Context(), name)
			if err != nil {
				return err
			}
			return s.show(rev, func(w io.Writer) { writeRevision(w, rev) })
		},
	}
}

// revision fetches a revision, or the newest of a recipe.
func (s *session) revision(ctx context.Context, name string) (*stillroomv1.RecipeRevision, error) {
	if strings.Contains(name, "/revisions/") {
		return call(ctx, s, stillroomv1.NewRecipeServiceClient, func(ctx context.Context, c stillroomv1.RecipeServiceClient) (*stillroomv1.RecipeRevision, error) {
			return c.GetRecipeRevision(ctx, &stillroomv1.GetRecipeRevisionRequest{Name: name})
		})
	}
	r, err := call(ctx, s, stillroomv1.NewRecipeServiceClient, func(ctx context.Context, c stillroomv1.RecipeServiceClient) (*stillroomv1.Recipe, error) {
		return c.GetRecipe(ctx, &stillroomv1.GetRecipeRequest{Name: name})
	})
	return r.GetLatestRevision(), err
}

func writeFormula(w io.Writer, f *stillroomv1.Formula) {
	fmt.Fprintf(w, "%s: %s\n%s: %s\n\n", f.GetTitle(), yieldWords(f.GetYield()), standingWords(f), orElse(f.GetNotForLoadReason(), f.GetShelfReason()))
	g := newGrid("LINE", ">AMOUNT", "INGREDIENT", ">GRAMS", "MAY VARY")
	for _, l := range f.GetIngredientLines() {
		amount := l.GetAmount()
		if l.GetPerJar() != stillroomv1.JarSize_JAR_SIZE_UNSPECIFIED {
			amount += " a " + jarSize(l.GetPerJar())
		}
		what := l.GetIngredient()
		if l.GetPreparation() != "" {
			what += ", " + l.GetPreparation()
		}
		grams := "–"
		if l.GetGrams() > 0 {
			grams = fmt.Sprintf("%.0f", l.GetGrams())
		}
		g.add(l.GetLineId(), amount, what, grams, enumWords("MAY_VARY_", l.GetMayVary().String()))
	}
	g.write(w, "No ingredients.")
}

func writeRevision(w io.Writer, r *stillroomv1.RecipeRevision) {
	fmt.Fprintf(w, "%s\n", shortRevision(r.GetName()))
	writeFormula(w, r.GetFormula())
	if len(r.GetReview().GetFindings()) > 0 {
		fmt.Fprintln(w)
		writeReview(w, r.GetReview())
	}
}

func newRecipeRevisions(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "revisions RECIPE", Short: "List a recipe's revisions, newest first", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("recipes", args[0])
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewRecipeServiceClient, func(ctx context.Context, c stillroomv1.RecipeServiceClient, token string) (*stillroomv1.ListRecipeRevisionsResponse, error) {
				return c.ListRecipeRevisions(ctx, &stillroomv1.ListRecipeRevisionsRequest{Parent: name, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) {
				g := newGrid("REVISION", "KEPT", "CHANGES", "JARS")
				for _, r := range all.GetRecipeRevisions() {
					var changes []string
					for _, f := range r.GetReview().GetFindings() {
						changes = append(changes, f.GetChange())
					}
					g.add(shortRevision(r.GetName()), r.GetCreateTime().AsTime().Format("2006-01-02 15:04"), orElse(strings.Join(changes, "; "), "none"), standingWords(r.GetFormula()))
				}
				g.write(w, "No revisions.")
			})
		},
	}
}

func newRecipeRename(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "rename RECIPE TITLE", Short: "Give a recipe another title", Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("recipes", args[0])
			if err != nil {
				return err
			}
			r, err := call(cmd.Context(), s, stillroomv1.NewRecipeServiceClient, func(ctx context.Context, c stillroomv1.RecipeServiceClient) (*stillroomv1.Recipe, error) {
				return c.UpdateRecipe(ctx, &stillroomv1.UpdateRecipeRequest{Recipe: &stillroomv1.Recipe{Name: name, Title: args[1]}})
			})
			return s.showRecipes(err, r)
		},
	}
}

func newRecipeDelete(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "delete RECIPE", Short: "Remove a recipe and its revisions, while no batch uses one", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("recipes", args[0])
			if err != nil {
				return err
			}
			_, err = call(cmd.Context(), s, stillroomv1.NewRecipeServiceClient, func(ctx context.Context, c stillroomv1.RecipeServiceClient) (any, error) {
				return c.DeleteRecipe(ctx, &stillroomv1.DeleteRecipeRequest{Name: name})
			})
			return s.done(err, "recipe %s is removed", last(name))
		},
	}
}
