package sheets_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/sheets"
	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/sheets/sheettest"
	"stillroom/internal/web/webtest"
)

// addChutney adds a recipe without a published source and a batch of it at the first station.
func addChutney(t *testing.T, title string) func(*webtest.Kitchen) {
	return func(k *webtest.Kitchen) {
		_, err := stillroomv1.NewRecipeServiceClient(k.Conn).CreateRecipe(t.Context(), &stillroomv1.CreateRecipeRequest{Parent: webtest.Name, RecipeId: "chutney",
			Formula: &stillroomv1.Formula{Title: title, Yield: &stillroomv1.BatchYield{Text: "4 pints", JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, JarsMin: 4, JarsMax: 4},
				IngredientLines: []*stillroomv1.IngredientLine{{Ingredient: "plums", Amount: "3 pounds"}, {Ingredient: "onions", Amount: "2 cups", Preparation: "chopped"}, {Ingredient: "rowan berries", Amount: "3 cups"}},
				Steps:           []*stillroomv1.RecipeStep{{Action: "simmer", Text: "Simmer until thick.", MinutesMin: 40, MinutesMax: 60}, {Action: "fill", Text: "Fill."}}}})
		require.NoError(t, err)
		_, err = stillroomv1.NewClassServiceClient(k.Conn).CreateBatch(t.Context(), &stillroomv1.CreateBatchRequest{Parent: webtest.Class, BatchId: "chutney", Batch: &stillroomv1.Batch{
			Station: webtest.Class + "/stations/bench-1", RecipeRevision: webtest.Name + "/recipes/chutney/revisions/1", JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, Jars: 4}})
		require.NoError(t, err)
	}
}

func TestALabelForEveryJarAndAProcessForProcessedOnes(t *testing.T) {
	t.Parallel()
	e := newEvening(t, addChutney(t, "Plum chutney of the house"))
	for _, paper := range page.Papers() {
		for _, stock := range page.Stocks(paper) {
			doc := e.make(sheets.Labels, sheets.Options{Paper: paper, Stock: stock, Start: 4})
			labels, ok := doc.Blocks[0].(page.Labels)
			require.True(t, ok)
			require.Len(t, labels.Labels, 72+4)

			// From the paper: what stands in each position.
			at := map[int]string{}
			for n, p := range sheettest.Pages(t, pdf(t, doc)) {
				for _, w := range p.Words {
					for position := range stock.Count() {
						x, y := stock.Place(position)
						if w.Left >= x && w.Right <= x+stock.Width && w.Top >= y && w.Top <= y+stock.Height {
							at[n*stock.Count()+position] += w.Text + " "
						}
					}
				}
			}
			require.Len(t, at, 76, "%s", stock)
			require.Empty(t, at[2], "positions before the start stay free")
			printed := map[string]int{}
			for position := 3; position < 79; position++ {
				text := at[position]
				require.Contains(t, text, "Made Sat 21 Aug 2027", "%s, position %d", stock, position+1)
				require.Contains(t, text, "bench-")
				processed, cold := strings.Contains(text, " min"), strings.Contains(text, "REFRIGERATE OR FREEZE")
				require.NotEqual(t, processed, cold, "a jar is either processed or kept cold: %s", text)
				if strings.Contains(text, "chutney") {
					require.True(t, cold)
					require.NotContains(t, text, "boiling water")
					printed["chutney"]++
				}
				if processed {
					require.Contains(t, text, "at 1,001-6,000 ft")
					require.Contains(t, text, "USDA AIB 539 (rev. 2015), Guide ")
					printed["processed"]++
				}
			}
			require.Equal(t, 4, printed["chutney"])
			require.Equal(t, int(e.plan.GetOutcome().GetJars()), printed["processed"], "as many as the plan has in loads")
		}
	}
}

func TestRefrigerateOnlyJarsAreSaidLoudlyOnEverySheet(t *testing.T) {
	t.Parallel()
	e := newEvening(t, addChutney(t, "Plum chutney of the house"))
	reason := ""
	for _, u := range e.plan.GetUnplaced() {
		if u.GetTitle() == "Plum chutney of the house" {
			reason = u.GetReason()
		}
	}
	require.NotEmpty(t, reason)
	for _, kind := range []sheets.Kind{sheets.Stations, sheets.Board, sheets.SealCheck} {
		said := text(t, pdf(t, e.make(kind, sheets.Options{})))
		require.Contains(t, said, "REFRIGERATE OR FREEZE: 4 pint jars", kind)
		require.Contains(t, said, "Why: "+reason, kind)
	}
	// The card of the station that makes it has no canner for it.
	blocks := e.make(sheets.Stations, sheets.Options{}).Blocks
	at := slices.IndexFunc(blocks, func(b page.Block) bool {
		h, ok := b.(page.Heading)
		return ok && strings.HasSuffix(h.Text, "Plum chutney of the house")
	})
	require.GreaterOrEqual(t, at, 0)
	for _, b := range blocks[at+1:] {
		if h, ok := b.(page.Heading); ok && !h.Minor {
			break
		}
		if table, ok := b.(page.Table); ok {
			require.NotEqual(t, "In the canner", table.Caption)
		}
	}
}

// A plan that no longer fits the class gives no label, and the other sheets say so loudly.
func TestAnOutdatedPlan(t *testing.T) {
	t.Parallel()
	e := newEvening(t)
	classes := stillroomv1.NewClassServiceClient(e.Conn)
	b := e.plan.GetBatches()[0]
	_, err := classes.UpdateBatch(t.Context(), &stillroomv1.UpdateBatchRequest{Batch: &stillroomv1.Batch{Name: b.GetBatch(), Jars: b.GetJars() - 1}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"jars"}}})
	require.NoError(t, err)
	_, err = sheets.Make(t.Context(), e.Conn, sheets.Labels, webtest.Class, sheets.Options{})
	require.Equal(t, codes.FailedPrecondition, status.Code(err))
	require.ErrorContains(t, err, fmt.Sprintf("load plan 1 no longer fits the class: bench-1, batch bench-1-1 now fills %d pint jars, not %d pint jars", b.GetJars()-1, b.GetJars()))
	for _, kind := range []sheets.Kind{sheets.Stations, sheets.Board, sheets.SealCheck} {
		require.Contains(t, text(t, pdf(t, e.make(kind, sheets.Options{}))), "Load plan 1 no longer fits the class", kind)
	}
	e.planLoads()
	require.Len(t, e.make(sheets.Labels, sheets.Options{}).Blocks[0].(page.Labels).Labels, 71)
}

func TestATestPageNeedsNoClass(t *testing.T) {
	t.Parallel()
	for _, paper := range page.Papers() {
		for _, stock := range page.Stocks(paper) {
			doc, err := sheets.Make(t.Context(), nil, sheets.Labels, "", sheets.Options{Paper: paper, Stock: stock, TestPage: true})
			require.NoError(t, err)
			pages := sheettest.Pages(t, pdf(t, doc))
			require.Len(t, pages, 1)
			// The number of each position stands in its upper right corner.
			for position := range stock.Count() {
				x, y := stock.Place(position)
				found := 0
				for _, w := range pages[0].Words {
					if w.Text == fmt.Sprint(position+1) && w.Right > x+stock.Width-3 && w.Right < x+stock.Width && w.Top >= y && w.Bottom < y+8 {
						found++
					}
				}
				require.Equal(t, 1, found, "%s, position %d", stock, position+1)
			}
		}
	}
}
