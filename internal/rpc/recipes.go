package rpc

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"math"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/fault"
	"stillroom/internal/recipe"
	"stillroom/internal/store"
)

// publishedPattern names a printed recipe, which belongs to no kitchen.
const publishedPattern = "publishedRecipes/{published_recipe}"

type recipeService struct {
	stillroomv1.UnimplementedRecipeServiceServer
	*backend
}

func (s *recipeService) ListPublishedRecipes(_ context.Context, req *stillroomv1.ListPublishedRecipesRequest) (*stillroomv1.ListPublishedRecipesResponse, error) {
	list := "publishedRecipes?" + selection(req.GetFilter())
	var after int
	if err := readPage(req.GetPageToken(), list, &after); err != nil {
		return nil, err
	}
	found := recipe.Search(decodeFilter(req.GetFilter()))
	size := pageSize(req.GetPageSize())
	rows, more := cut(found[min(max(after, 0), len(found)):], size)
	out := &stillroomv1.ListPublishedRecipesResponse{}
	for _, r := range rows {
		out.PublishedRecipes = append(out.PublishedRecipes, encodePublished(r))
	}
	if more {
		out.NextPageToken = nextPage(list, after+len(rows))
	}
	return out, nil
}

func (s *recipeService) GetPublishedRecipe(_ context.Context, req *stillroomv1.GetPublishedRecipeRequest) (*stillroomv1.PublishedRecipe, error) {
	r, err := published("name", req.GetName())
	if err != nil {
		return nil, err
	}
	return encodePublished(r), nil
}

// published finds a printed recipe by its resource name.
func published(field, name string) (*recipe.Revision, error) {
	var key string
	if err := parseName(field, name, publishedPattern, &key); err != nil {
		return nil, err
	}
	return recipe.Published(key)
}

func (s *recipeService) AdoptRecipe(ctx context.Context, req *stillroomv1.AdoptRecipeRequest) (*stillroomv1.Recipe, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	r, err := published("published_recipe", req.GetPublishedRecipe())
	if err != nil {
		return nil, err
	}
	id := req.GetRecipeId()
	if id == "" {
		id = r.Key
	}
	return s.create(ctx, k, req, id, r)
}

func (s *recipeService) CreateRecipe(ctx context.Context, req *stillroomv1.CreateRecipeRequest) (*stillroomv1.Recipe, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	r, err := decodeFormula("formula.", req.GetFormula())
	if err != nil {
		return nil, err
	}
	id := req.GetRecipeId()
	if id == "" {
		id = r.Key
	}
	return s.create(ctx, k, req, id, r)
}

// create keeps a formula as the first revision of a new recipe.
func (s *recipeService) create(ctx context.Context, k string, req creation, id string, r *recipe.Revision) (*stillroomv1.Recipe, error) {
	var out *stillroomv1.Recipe
	err := s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Recipe, error) {
			created, err := tx.CreateRecipe(ctx, recipe.Recipe{ID: id, Title: r.Title, PublishedKey: r.BasedOn}, recipe.Keep(r))
			if err != nil {
				return nil, err
			}
			return encodeRecipe(k, created), nil
		})
		return err
	})
	return out, err
}

func (s *recipeService) ImportRecipes(ctx context.Context, req *stillroomv1.ImportRecipesRequest) (*stillroomv1.ImportRecipesResponse, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	read := recipe.ImportYAML
	if req.GetFormat() == stillroomv1.RecipeFormat_RECIPE_FORMAT_JSON_LD {
		read = recipe.ImportJSONLD
	}
	all, err := read(bytes.NewReader(req.GetContent()))
	if err != nil {
		return nil, prefixed("content, ", err)
	}
	var out *stillroomv1.ImportRecipesResponse
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.ImportRecipesResponse, error) {
			reply := &stillroomv1.ImportRecipesResponse{}
			for _, r := range all {
				created, err := tx.CreateRecipe(ctx, recipe.Recipe{ID: r.Key, Title: r.Title, PublishedKey: r.BasedOn}, recipe.Keep(r))
				if err != nil {
					return nil, taken(err, r.Key)
				}
				reply.Recipes = append(reply.Recipes, encodeRecipe(k, created))
			}
			return reply, nil
		})
		return err
	})
	return out, err
}

// taken names the recipe of a file whose id is taken; nothing of the file is kept.
func taken(err error, key string) error {
	var f *fault.Error
	if errors.As(err, &f) && f.Kind == fault.AlreadyExists {
		return fault.New(fault.AlreadyExists, "the kitchen, or the file before it, has a recipe %q already; give this one another key; nothing was imported", key).Because(err)
	}
	return err
}

func (s *recipeService) GetRecipe(ctx context.Context, req *stillroomv1.GetRecipeRequest) (*stillroomv1.Recipe, error) {
	var k, id string
	if err := parseName("name", req.GetName(), recipePattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Recipe
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		r, err := tx.Recipe(ctx, id)
		if err != nil {
			return err
		}
		out = encodeRecipe(k, r)
		return nil
	})
	return out, err
}

func (s *recipeService) ListRecipes(ctx context.Context, req *stillroomv1.ListRecipesRequest) (*stillroomv1.ListRecipesResponse, error) {
	var k, after string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/recipes?" + selection(req.GetFilter())
	if err := readPage(req.GetPageToken(), list, &after); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	filter := decodeFilter(req.GetFilter())
	out := &stillroomv1.ListRecipesResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		// The filter reads formulas, which the database does not; rows are read on until the page is full.
		for from := after; ; {
			rows, err := tx.Recipes(ctx, from, size+1)
			if err != nil {
				return err
			}
			for _, r := range rows {
				from = r.ID
				if !filter.Matches(r.Latest.Revision) {
					continue
				}
				if len(out.Recipes) == int(size) {
					out.NextPageToken = nextPage(list, idOf(out.GetRecipes()[size-1].GetName()))
					return nil
				}
				out.Recipes = append(out.Recipes, encodeRecipe(k, r))
			}
			if len(rows) <= int(size) {
				return nil
			}
		}
	})
	return out, err
}

// selection names a filter in a page token, the same from build to build.
func selection(f *stillroomv1.RecipeFilter) string {
	wire, err := proto.MarshalOptions{Deterministic: true}.Marshal(f)
	if err != nil {
		panic(err) // the request came over the wire
	}
	return base64.RawURLEncoding.EncodeToString(wire)
}

// idOf is the last segment of a resource name.
func idOf(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

func (s *recipeService) UpdateRecipe(ctx context.Context, req *stillroomv1.UpdateRecipeRequest) (*stillroomv1.Recipe, error) {
	var k, id string
	if err := parseName("recipe.name", req.GetRecipe().GetName(), recipePattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Recipe
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		r, err := tx.Recipe(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetRecipe().GetEtag(), r.Version); err != nil {
			return err
		}
		merged := &stillroomv1.Recipe{Title: r.Title}
		if err := s.merge("recipe", merged, req.GetRecipe(), req.GetUpdateMask(), "title"); err != nil {
			return err
		}
		r.Title = merged.GetTitle()
		if r, err = tx.UpdateRecipe(ctx, r); err != nil {
			return err
		}
		out = encodeRecipe(k, r)
		return nil
	})
	return out, err
}

func (s *recipeService) DeleteRecipe(ctx context.Context, req *stillroomv1.DeleteRecipeRequest) (*emptypb.Empty, error) {
	var k, id string
	if err := parseName("name", req.GetName(), recipePattern, &k, &id); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.store.In(ctx, k, func(tx *store.Tx) error {
		r, err := tx.Recipe(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetEtag(), r.Version); err != nil {
			return err
		}
		return tx.DeleteRecipe(ctx, r)
	})
}

// formulaNamed finds the formula of a printed recipe, a recipe (its newest revision) or a revision.
func (s *recipeService) formulaNamed(ctx context.Context, name string) (*recipe.Revision, error) {
	if strings.HasPrefix(name, "publishedRecipes/") {
		return published("name", name)
	}
	var k, id, number string
	if err := parseName("name", name, revisionPattern, &k, &id, &number); err != nil {
		if err := parseName("name", name, recipePattern, &k, &id); err != nil {
			return nil, fault.Field("name", name, "names no formula",
				`give "`+revisionPattern+`", "`+recipePattern+`" or "`+publishedPattern+`"`)
		}
	}
	var found recipe.Kept
	err := s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		if number == "" {
			r, err := tx.Recipe(ctx, id)
			found = r.Latest
			return err
		}
		ref, err := decodeRevisionRef(k, "name", name)
		if err != nil {
			return err
		}
		found, err = tx.Revision(ctx, id, ref.Number)
		return err
	})
	return found.Revision, err
}

func (s *recipeService) ReviewChanges(ctx context.Context, req *stillroomv1.ReviewChangesRequest) (*stillroomv1.ReviewChangesResponse, error) {
	base, err := s.formulaNamed(ctx, req.GetName())
	if err != nil {
		return nil, err
	}
	changed, review, err := recipe.ReviewChanges(base, decodeChanges(req.GetChanges()))
	if err != nil {
		return nil, changeFields(err)
	}
	return &stillroomv1.ReviewChangesResponse{Review: encodeReview(review), Formula: encodeFormula(changed)}, nil
}

func (s *recipeService) CreateRecipeRevision(ctx context.Context, req *stillroomv1.CreateRecipeRevisionRequest) (*stillroomv1.RecipeRevision, error) {
	var k, id string
	if err := parseName("parent", req.GetParent(), recipePattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.RecipeRevision
	err := s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.RecipeRevision, error) {
			base, err := baseRevision(ctx, tx, id, int(req.GetBaseNumber()))
			if err != nil {
				return nil, err
			}
			changed, _, err := recipe.ReviewChanges(base, decodeChanges(req.GetChanges()))
			if err != nil {
				return nil, changeFields(err)
			}
			kept, err := tx.AddRevision(ctx, id, recipe.Keep(changed))
			if err != nil {
				return nil, err
			}
			return encodeKept(k, kept), nil
		})
		return err
	})
	return out, err
}

// baseRevision is the revision of a number, the newest for 0.
func baseRevision(ctx context.Context, tx *store.Tx, id string, number int) (*recipe.Revision, error) {
	if number != 0 {
		kept, err := tx.Revision(ctx, id, number)
		return kept.Revision, err
	}
	r, err := tx.Recipe(ctx, id)
	return r.Latest.Revision, err
}

func (s *recipeService) GetRecipeRevision(ctx context.Context, req *stillroomv1.GetRecipeRevisionRequest) (*stillroomv1.RecipeRevision, error) {
	var k, id, number string
	if err := parseName("name", req.GetName(), revisionPattern, &k, &id, &number); err != nil {
		return nil, err
	}
	ref, err := decodeRevisionRef(k, "name", req.GetName())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.RecipeRevision
	err = s.store.In(ctx, k, func(tx *store.Tx) error {
		kept, err := tx.Revision(ctx, id, ref.Number)
		if err != nil {
			return err
		}
		out = encodeKept(k, kept)
		return nil
	})
	return out, err
}

func (s *recipeService) ListRecipeRevisions(ctx context.Context, req *stillroomv1.ListRecipeRevisionsRequest) (*stillroomv1.ListRecipeRevisionsResponse, error) {
	var k, id string
	if err := parseName("parent", req.GetParent(), recipePattern, &k, &id); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/revisions"
	before := int32(math.MaxInt32)
	if err := readPage(req.GetPageToken(), list, &before); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListRecipeRevisionsResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		if _, err := tx.Recipe(ctx, id); err != nil {
			return err
		}
		rows, err := tx.Revisions(ctx, id, before, size+1)
		if err != nil {
			return err
		}
		rows, more := cut(rows, size)
		for _, r := range rows {
			out.RecipeRevisions = append(out.RecipeRevisions, encodeKept(k, r))
		}
		if more {
			out.NextPageToken = nextPage(list, rows[len(rows)-1].Number)
		}
		return nil
	})
	return out, err
}

func (s *recipeService) ExportRecipe(ctx context.Context, req *stillroomv1.ExportRecipeRequest) (*stillroomv1.ExportRecipeResponse, error) {
	r, err := s.formulaNamed(ctx, req.GetName())
	if err != nil {
		return nil, err
	}
	out := &stillroomv1.ExportRecipeResponse{}
	switch req.GetFormat() {
	case stillroomv1.RecipeFormat_RECIPE_FORMAT_YAML:
		out.MediaType = "application/yaml"
		out.Content, err = recipe.ExportYAML(r)
	case stillroomv1.RecipeFormat_RECIPE_FORMAT_JSON_LD:
		out.MediaType = "application/ld+json"
		out.Content, err = recipe.ExportJSONLD(r)
	default:
		out.MediaType = "text/plain; charset=utf-8"
		out.Content = []byte(recipe.Text(r))
	}
	return out, err
}

// changeFields turns the field names of the recipe room into those of the contract.
func changeFields(err error) error {
	return renameFields(err, strings.NewReplacer(".line", ".line_id"))
}

// formulaFields does the same for a draft.
func formulaFields(prefix string, err error) error {
	return prefixed(prefix, renameFields(err, strings.NewReplacer(
		"ingredients", "ingredient_lines", "].name", "].ingredient", "].id", "].line_id", "yield.jars", "yield.jars", "yield.jar", "yield.jar_size",
		"headspace", "headspace_inches", "source", "source.publication", "locator", "source.locator", "method", "other_method",
	)))
}

func renameFields(err error, names *strings.Replacer) error {
	var f *fault.Error
	if !errors.As(err, &f) {
		return err
	}
	var c fault.Collector
	for _, v := range f.Violations {
		c.Add(names.Replace(v.Field), v.Value, v.Reason, v.WayOut)
	}
	if c.Len() == 0 {
		return err
	}
	return c.Err()
}

// inches writes a headspace as the recipe room reads it; empty for none.
func inches(in float64) string {
	if in == 0 {
		return ""
	}
	return strconv.FormatFloat(in, 'f', -1, 64)
}
