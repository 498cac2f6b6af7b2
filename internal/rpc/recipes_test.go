package rpc

import (
	"sync"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func (s *testServer) recipes() stillroomv1.RecipeServiceClient {
	return stillroomv1.NewRecipeServiceClient(s.conn)
}

func (s *testServer) adoptRecipe(t testing.TB, key string) *stillroomv1.Recipe {
	t.Helper()
	r, err := s.recipes().AdoptRecipe(t.Context(), &stillroomv1.AdoptRecipeRequest{Parent: "kitchens/k", PublishedRecipe: "publishedRecipes/" + key})
	require.NoError(t, err)
	return r
}

func TestPublishedLibrary(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	var names []string
	filter := &stillroomv1.RecipeFilter{Ingredients: []string{"onions"}, Methods: []stillroomv1.ProcessMethod{stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER}}
	for token := ""; ; {
		page, err := s.recipes().ListPublishedRecipes(t.Context(), &stillroomv1.ListPublishedRecipesRequest{Filter: filter, PageSize: 7, PageToken: token})
		require.NoError(t, err)
		for _, r := range page.GetPublishedRecipes() {
			names = append(names, r.GetName())
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
		_, err = s.recipes().ListPublishedRecipes(t.Context(), &stillroomv1.ListPublishedRecipesRequest{PageToken: token})
		requireCode(t, codes.InvalidArgument, err)
	}
	// Counted in the shipped recipes: those with an "onion" line that is not the pearl onions alone.
	require.Contains(t, names, "publishedRecipes/chile_salsa")
	require.NotContains(t, names, "publishedRecipes/apple_butter")
	require.Len(t, names, len(uniq(names)))

	r, err := s.recipes().GetPublishedRecipe(t.Context(), &stillroomv1.GetPublishedRecipeRequest{Name: "publishedRecipes/chile_salsa"})
	require.NoError(t, err)
	f := r.GetFormula()
	require.True(t, f.GetShelfStable())
	require.Empty(t, f.GetNotForLoadReason())
	require.Equal(t, stillroomv1.JarSize_JAR_SIZE_PINT, f.GetYield().GetJarSize())
	require.Equal(t, "Guide 3, p. 3-21", f.GetSource().GetLocator())
	require.Len(t, f.GetIngredientLines(), 6)
	vinegar := f.GetIngredientLines()[3]
	require.Equal(t, "1 cup", vinegar.GetAmount())
	require.InDelta(t, 238, vinegar.GetGrams(), 1e-9, "SR 28: a cup of distilled vinegar is 238 g")
	require.Equal(t, stillroomv1.MayVary_MAY_VARY_KIND_ONLY, vinegar.GetMayVary())

	_, err = s.recipes().GetPublishedRecipe(t.Context(), &stillroomv1.GetPublishedRecipeRequest{Name: "publishedRecipes/lasagne"})
	requireCode(t, codes.NotFound, err)
}

func uniq(names []string) map[string]bool {
	m := map[string]bool{}
	for _, n := range names {
		m[n] = true
	}
	return m
}

func TestAdoptReviewAndRevise(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	adopted := s.adoptRecipe(t, "chile_salsa")
	require.Equal(t, "kitchens/k/recipes/chile_salsa", adopted.GetName())
	require.Equal(t, "publishedRecipes/chile_salsa", adopted.GetPublishedRecipe())
	require.Equal(t, int32(1), adopted.GetLatestRevision().GetNumber())
	_, err := s.recipes().AdoptRecipe(t.Context(), &stillroomv1.AdoptRecipeRequest{Parent: "kitchens/k", PublishedRecipe: "publishedRecipes/chile_salsa"})
	requireCode(t, codes.AlreadyExists, err)

	more := []*stillroomv1.Change{{Kind: stillroomv1.ChangeKind_CHANGE_KIND_RAISE, LineId: "onions", Amount: "2 lb"}}
	rv, err := s.recipes().ReviewChanges(t.Context(), &stillroomv1.ReviewChangesRequest{Name: adopted.GetName(), Changes: more})
	require.NoError(t, err)
	require.Equal(t, stillroomv1.Verdict_VERDICT_FORBIDDEN, rv.GetReview().GetVerdict())
	require.Equal(t, stillroomv1.Consequence_CONSEQUENCE_REFRIGERATE_OR_FREEZE, rv.GetReview().GetConsequence())
	require.Equal(t, "salsa_onion_substitution", rv.GetReview().GetFindings()[0].GetCitations()[0].GetFactKey())
	require.Less(t, rv.GetReview().GetAcidShareAfter().GetShare(), rv.GetReview().GetAcidShareBefore().GetShare())
	require.False(t, rv.GetFormula().GetShelfStable())

	// A review keeps nothing.
	got, err := s.recipes().GetRecipe(t.Context(), &stillroomv1.GetRecipeRequest{Name: adopted.GetName()})
	require.NoError(t, err)
	require.True(t, proto.Equal(adopted, got))

	id := uuid.NewString()
	create := &stillroomv1.CreateRecipeRevisionRequest{Parent: adopted.GetName(), Changes: more, RequestId: id}
	second, err := s.recipes().CreateRecipeRevision(t.Context(), create)
	require.NoError(t, err)
	require.Equal(t, "kitchens/k/recipes/chile_salsa/revisions/2", second.GetName())
	require.Contains(t, second.GetFormula().GetNotForLoadReason(), "onions: 1 pound to 2 pounds is forbidden")
	again, err := s.recipes().CreateRecipeRevision(t.Context(), create)
	require.NoError(t, err)
	require.True(t, proto.Equal(second, again), "a retry returns the first result")

	// From the first revision again: an allowed change.
	third, err := s.recipes().CreateRecipeRevision(t.Context(), &stillroomv1.CreateRecipeRevisionRequest{Parent: adopted.GetName(), BaseNumber: 1,
		Changes: []*stillroomv1.Change{{Kind: stillroomv1.ChangeKind_CHANGE_KIND_SWAP, LineId: "vinegar", Ingredient: "bottled lemon juice"}}})
	require.NoError(t, err)
	require.Equal(t, int32(3), third.GetNumber())
	require.True(t, third.GetFormula().GetShelfStable())
	require.Empty(t, third.GetFormula().GetNotForLoadReason())
	read, err := s.recipes().GetRecipeRevision(t.Context(), &stillroomv1.GetRecipeRevisionRequest{Name: third.GetName()})
	require.NoError(t, err)
	require.True(t, proto.Equal(third, read), "the review is kept with the revision")

	page, err := s.recipes().ListRecipeRevisions(t.Context(), &stillroomv1.ListRecipeRevisionsRequest{Parent: adopted.GetName(), PageSize: 2})
	require.NoError(t, err)
	require.Equal(t, int32(3), page.GetRecipeRevisions()[0].GetNumber())
	page, err = s.recipes().ListRecipeRevisions(t.Context(), &stillroomv1.ListRecipeRevisionsRequest{Parent: adopted.GetName(), PageSize: 2, PageToken: page.GetNextPageToken()})
	require.NoError(t, err)
	require.Len(t, page.GetRecipeRevisions(), 1)
	require.Empty(t, page.GetNextPageToken())

	// Errors name the field of the contract.
	_, err = s.recipes().ReviewChanges(t.Context(), &stillroomv1.ReviewChangesRequest{Name: second.GetName(), Changes: []*stillroomv1.Change{
		{Kind: stillroomv1.ChangeKind_CHANGE_KIND_OMIT, LineId: "lemon"}, {Kind: stillroomv1.ChangeKind_CHANGE_KIND_RAISE, LineId: "salt", Amount: "-1 tsp"}}})
	require.Equal(t, []string{"changes[0].line_id", "changes[1].amount"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	for name, code := range map[string]codes.Code{
		"kitchens/k/recipes/ghost": codes.NotFound, "kitchens/k/recipes/chile_salsa/revisions/9": codes.NotFound, "kitchens/ghost/recipes/x": codes.NotFound,
		"publishedRecipes/ghost": codes.NotFound, "kitchens/k": codes.InvalidArgument, "kitchens/k/recipes/chile_salsa/revisions/x": codes.InvalidArgument,
	} {
		_, err = s.recipes().ReviewChanges(t.Context(), &stillroomv1.ReviewChangesRequest{Name: name, Changes: more})
		requireCode(t, code, err)
	}
}

// A batch pins its revision: the recipe cannot go while it does, and the reason that keeps jars out of loads shows
// on the batch.
func TestBatchPinsARevision(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	s.adoptRecipe(t, "chile_salsa")
	_, err := s.recipes().CreateRecipeRevision(t.Context(), &stillroomv1.CreateRecipeRevisionRequest{Parent: "kitchens/k/recipes/chile_salsa",
		Changes: []*stillroomv1.Change{{Kind: stillroomv1.ChangeKind_CHANGE_KIND_REDUCE, LineId: "vinegar", Amount: "1/2 cup"}}})
	require.NoError(t, err)
	batch, err := s.classes().CreateBatch(t.Context(), &stillroomv1.CreateBatchRequest{Parent: "kitchens/k/classes/c", Batch: &stillroomv1.Batch{
		Station: "kitchens/k/classes/c/stations/a", RecipeRevision: "kitchens/k/recipes/chile_salsa/revisions/2", JarSize: stillroomv1.JarSize_JAR_SIZE_PINT, Jars: 6}})
	require.NoError(t, err)
	require.Contains(t, batch.GetNotForShelfReason(), "vinegar: 1 cup to 1/2 cup is forbidden")
	_, err = s.recipes().DeleteRecipe(t.Context(), &stillroomv1.DeleteRecipeRequest{Name: "kitchens/k/recipes/chile_salsa"})
	requireCode(t, codes.FailedPrecondition, err)

	s.adoptRecipe(t, "apple_butter")
	_, err = s.recipes().DeleteRecipe(t.Context(), &stillroomv1.DeleteRecipeRequest{Name: "kitchens/k/recipes/apple_butter", Etag: "v9"})
	requireCode(t, codes.Aborted, err)
	_, err = s.recipes().DeleteRecipe(t.Context(), &stillroomv1.DeleteRecipeRequest{Name: "kitchens/k/recipes/apple_butter"})
	require.NoError(t, err)
	_, err = s.recipes().GetRecipe(t.Context(), &stillroomv1.GetRecipeRequest{Name: "kitchens/k/recipes/apple_butter"})
	requireCode(t, codes.NotFound, err)
}

func TestRevisionNumbersUnderRaces(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	s.adoptRecipe(t, "pickled_beets")
	const together = 12
	numbers := make([]int32, together)
	errs := make([]error, together)
	var wg sync.WaitGroup
	for i := range together {
		wg.Go(func() {
			r, err := s.recipes().CreateRecipeRevision(t.Context(), &stillroomv1.CreateRecipeRevisionRequest{Parent: "kitchens/k/recipes/pickled_beets",
				BaseNumber: 1, Changes: []*stillroomv1.Change{{Kind: stillroomv1.ChangeKind_CHANGE_KIND_OMIT, LineId: "salt_canning"}}})
			numbers[i], errs[i] = r.GetNumber(), err
		})
	}
	wg.Wait()
	seen := map[int32]bool{}
	for i, n := range numbers {
		require.NoError(t, errs[i])
		require.False(t, seen[n], "number %d was given twice", n)
		seen[n] = true
		require.True(t, n >= 2 && n <= together+1)
	}
}

func TestCreateRecipeOfOnesOwn(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	own := &stillroomv1.Formula{
		Title: "Plum sauce", Yield: &stillroomv1.BatchYield{JarSize: stillroomv1.JarSize_JAR_SIZE_HALF_PINT, JarsMin: 4},
		IngredientLines: []*stillroomv1.IngredientLine{{Ingredient: "plums", Amount: "3 lb"}, {Ingredient: "cider vinegar (5%)", Amount: "1-1/2 cups"}},
		Steps:           []*stillroomv1.RecipeStep{{Action: "simmer", Text: "Simmer.", MinutesMin: 20, MinutesMax: 30}},
	}
	r, err := s.recipes().CreateRecipe(t.Context(), &stillroomv1.CreateRecipeRequest{Parent: "kitchens/k", RecipeId: "plum-sauce", Formula: own})
	require.NoError(t, err)
	f := r.GetLatestRevision().GetFormula()
	require.False(t, f.GetShelfStable())
	require.NotEmpty(t, f.GetNotForLoadReason())
	require.Equal(t, int32(4), f.GetYield().GetJarsMax())
	require.True(t, f.GetSteps()[0].GetBurner())
	require.Equal(t, "plums", f.GetIngredientLines()[0].GetIngredientKey())

	bad := proto.CloneOf(own)
	bad.IngredientLines[0].Amount = "-3 lb"
	bad.ProcessKey = "plum"
	bad.Yield.JarsMax = 2
	_, err = s.recipes().CreateRecipe(t.Context(), &stillroomv1.CreateRecipeRequest{Parent: "kitchens/k", Formula: bad})
	require.ElementsMatch(t, []string{"formula.ingredient_lines[0].amount", "formula.process_key", "formula.yield.jars_max"},
		badFields(t, requireCode(t, codes.InvalidArgument, err)))
	// What the contract itself refuses.
	_, err = s.recipes().CreateRecipe(t.Context(), &stillroomv1.CreateRecipeRequest{Parent: "kitchens/k", Formula: &stillroomv1.Formula{Title: "x"}})
	requireCode(t, codes.InvalidArgument, err)

	// Titles change by an update, formulas do not.
	changed, err := s.recipes().UpdateRecipe(t.Context(), &stillroomv1.UpdateRecipeRequest{Recipe: &stillroomv1.Recipe{Name: r.GetName(), Title: "Sauce", Etag: r.GetEtag()}})
	require.NoError(t, err)
	require.Equal(t, "Sauce", changed.GetTitle())
	_, err = s.recipes().UpdateRecipe(t.Context(), &stillroomv1.UpdateRecipeRequest{Recipe: &stillroomv1.Recipe{Name: r.GetName(), Title: "Late", Etag: r.GetEtag()}})
	requireCode(t, codes.Aborted, err)
	_, err = s.recipes().UpdateRecipe(t.Context(), &stillroomv1.UpdateRecipeRequest{Recipe: &stillroomv1.Recipe{Name: r.GetName()}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"latest_revision"}}})
	requireCode(t, codes.InvalidArgument, err)
}

func TestExportAndImport(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	export := func(name string, format stillroomv1.RecipeFormat) *stillroomv1.ExportRecipeResponse {
		out, err := s.recipes().ExportRecipe(t.Context(), &stillroomv1.ExportRecipeRequest{Name: name, Format: format})
		require.NoError(t, err)
		return out
	}
	text := export("publishedRecipes/chile_salsa", stillroomv1.RecipeFormat_RECIPE_FORMAT_TEXT)
	require.Contains(t, string(text.GetContent()), "Cautions")
	require.Equal(t, "text/plain; charset=utf-8", text.GetMediaType())

	yaml := export("publishedRecipes/chile_salsa", stillroomv1.RecipeFormat_RECIPE_FORMAT_YAML)
	request := &stillroomv1.ImportRecipesRequest{Parent: "kitchens/k", Format: stillroomv1.RecipeFormat_RECIPE_FORMAT_YAML, Content: yaml.GetContent(), RequestId: uuid.NewString()}
	in, err := s.recipes().ImportRecipes(t.Context(), request)
	require.NoError(t, err)
	require.Len(t, in.GetRecipes(), 1)
	require.True(t, in.GetRecipes()[0].GetLatestRevision().GetFormula().GetShelfStable(), "it is the printed recipe, line by line")
	again, err := s.recipes().ImportRecipes(t.Context(), request)
	require.NoError(t, err)
	require.True(t, proto.Equal(in, again))
	require.Equal(t, string(yaml.GetContent()), string(export("kitchens/k/recipes/chile_salsa", stillroomv1.RecipeFormat_RECIPE_FORMAT_YAML).GetContent()))

	request.RequestId = uuid.NewString()
	_, err = s.recipes().ImportRecipes(t.Context(), request)
	require.Contains(t, requireCode(t, codes.AlreadyExists, err).Message(), `"chile_salsa"`)

	web := []byte(`{"@type":"Recipe","name":"Web jam","recipeYield":"4 half-pints","recipeIngredient":["2 lb strawberries","1 kg sugar"]}`)
	in, err = s.recipes().ImportRecipes(t.Context(), &stillroomv1.ImportRecipesRequest{Parent: "kitchens/k", Format: stillroomv1.RecipeFormat_RECIPE_FORMAT_JSON_LD, Content: web})
	require.NoError(t, err)
	require.False(t, in.GetRecipes()[0].GetLatestRevision().GetFormula().GetShelfStable())

	// A file of two, the second broken: nothing of it is kept.
	two := []byte("recipes:\n- {title: A, yield: {jar: pint, jars_min: 1}, ingredients: [{name: plums, amount: 1 lb}]}\n- {title: B, yield: {jar: pint, jars_min: 1}, ingredients: [{name: plums, amount: 1 smidgen}]}\n")
	_, err = s.recipes().ImportRecipes(t.Context(), &stillroomv1.ImportRecipesRequest{Parent: "kitchens/k", Format: stillroomv1.RecipeFormat_RECIPE_FORMAT_YAML, Content: two})
	require.Equal(t, []string{"content, line 3, recipes[1].ingredients[0].amount"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	list, err := s.recipes().ListRecipes(t.Context(), &stillroomv1.ListRecipesRequest{Parent: "kitchens/k"})
	require.NoError(t, err)
	require.Len(t, list.GetRecipes(), 2)
}

func TestListRecipesByFilterAndPage(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	for _, key := range []string{"apple_butter", "chile_salsa", "chile_salsa_ii", "pear_apple_jam", "pickled_beets", "tomatillo_green_salsa"} {
		s.adoptRecipe(t, key)
	}
	var got []string
	for token := ""; ; {
		page, err := s.recipes().ListRecipes(t.Context(), &stillroomv1.ListRecipesRequest{Parent: "kitchens/k", PageSize: 2, PageToken: token,
			Filter: &stillroomv1.RecipeFilter{Text: "salsa"}})
		require.NoError(t, err)
		require.LessOrEqual(t, len(page.GetRecipes()), 2)
		for _, r := range page.GetRecipes() {
			got = append(got, idOf(r.GetName()))
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	require.Equal(t, []string{"chile_salsa", "chile_salsa_ii", "tomatillo_green_salsa"}, got)
}

// Every word of the recipe room has its value in the contract.
func TestRecipeEnumsAreWhole(t *testing.T) {
	require.Len(t, roleOf, len(stillroomv1.IngredientRole_name)-1)
	require.Len(t, varyOf, len(stillroomv1.MayVary_name)-1)
	require.Len(t, seasonOf, len(stillroomv1.Season_name)-1)
	require.Len(t, changeKindOf, len(stillroomv1.ChangeKind_name)-1)
	require.Len(t, verdictOf, len(stillroomv1.Verdict_name)-1)
	require.Len(t, consequenceOf, len(stillroomv1.Consequence_name)-1)
}
