package web

import (
	"context"
	"fmt"
	"net/url"
	"strconv"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// batchPages change what a class makes.
func (p *Pages) batchPages() {
	p.get("/kitchens/{kitchen}/classes/{class}/batches/new", func(v *visit) error { return v.showNewBatch(form{}) })
	p.post("/kitchens/{kitchen}/classes/{class}/batches", addBatch)
	p.post("/kitchens/{kitchen}/classes/{class}/batches/{batch}/remove", removeBatch)
	p.get("/kitchens/{kitchen}/classes/{class}/propose", func(v *visit) error { return v.showPropose(form{}, nil) })
	p.post("/kitchens/{kitchen}/classes/{class}/propose", propose)
}

// choosing is a form that chooses among the kitchen's recipes.
type choosing struct {
	classroom
	Stations []*stillroomv1.Station
	Recipes  []*stillroomv1.Recipe
	Sizes    []stillroomv1.JarSize
	// Proposal is what was worked out; nil before.
	Proposal *stillroomv1.ProposeBatchesResponse
	Titles   map[string]string
	Benches  map[string]string
	Form     form
}

func (v *visit) choosing(f form) (choosing, error) {
	class := v.name("kitchens", "classes")
	d := choosing{Form: f, Titles: map[string]string{}, Benches: map[string]string{}}
	if d.Form.Values == nil {
		d.Form.Values = url.Values{}
	}
	for s := range stillroomv1.JarSize_name {
		if s != 0 {
			d.Sizes = append(d.Sizes, stillroomv1.JarSize(s))
		}
	}
	sortSizes(d.Sizes)
	err := v.together(func(ctx context.Context) (err error) {
		d.classroom, err = v.classroom(ctx)
		return err
	}, func(ctx context.Context) (err error) {
		d.Stations, err = v.stations(ctx, class)
		return err
	}, func(ctx context.Context) (err error) {
		d.Recipes, err = every(func(token string) (*stillroomv1.ListRecipesResponse, error) {
			return v.recipes().ListRecipes(ctx, &stillroomv1.ListRecipesRequest{Parent: v.name("kitchens"), PageSize: most, PageToken: token})
		}, (*stillroomv1.ListRecipesResponse).GetRecipes)
		return err
	})
	for _, r := range d.Recipes {
		d.Titles[r.GetLatestRevision().GetName()] = r.GetTitle()
	}
	for _, s := range d.Stations {
		d.Benches[s.GetName()] = s.GetDisplayName()
	}
	return d, err
}

func (v *visit) showNewBatch(f form) error {
	d, err := v.choosing(f)
	if err != nil {
		return err
	}
	p := v.classPage(d.classroom, "class", "Add a batch", d)
	if f.refused() {
		return v.renderForm("batch", p)
	}
	return v.render("batch", p)
}

// number reads a whole number from a form; zero when there is none, for the service to refuse.
func (v *visit) number(name string) int32 {
	n, err := strconv.ParseInt(v.form(name), 10, 32)
	if err != nil {
		return 0
	}
	return int32(n)
}

func addBatch(v *visit) error {
	class := v.name("kitchens", "classes")
	b, err := v.classes().CreateBatch(v.ctx, &stillroomv1.CreateBatchRequest{
		Parent: class, RequestId: v.form("request_id"),
		Batch: &stillroomv1.Batch{
			Station: v.form("station"), RecipeRevision: v.form("recipe_revision"),
			JarSize: stillroomv1.JarSize(v.number("jar_size")), Jars: v.number("jars"), MaySplit: v.form("may_split") != "",
		},
	})
	if err != nil {
		return v.refuse(err, v.showNewBatch)
	}
	said := "The batch is added: " + jarCount(b.GetJars(), b.GetJarSize()) + "."
	if why := b.GetNotForShelfReason(); why != "" {
		said = "The batch is added. Its jars are for the refrigerator or freezer: " + why
	}
	return v.done("/"+class+"#stations", said)
}

func removeBatch(v *visit) error {
	_, err := v.classes().DeleteBatch(v.ctx, &stillroomv1.DeleteBatchRequest{Name: v.name("kitchens", "classes", "batches"), Etag: v.form("etag")})
	if err != nil {
		return v.refuse(err, v.showGlance)
	}
	return v.done("/"+v.name("kitchens", "classes")+"#stations", "The batch is taken out.")
}

func (v *visit) showPropose(f form, proposal *stillroomv1.ProposeBatchesResponse) error {
	d, err := v.choosing(f)
	if err != nil {
		return err
	}
	d.Proposal = proposal
	p := v.classPage(d.classroom, "class", "Work out the batches", d)
	if f.refused() {
		return v.renderForm("propose", p)
	}
	return v.render("propose", p)
}

// propose works out the batches that give everybody the jars asked for. They are shown
// first, and take the place of the class's batches when asked for.
func propose(v *visit) error {
	class := v.name("kitchens", "classes")
	req := &stillroomv1.ProposeBatchesRequest{Name: class, Apply: v.form("apply") != ""}
	if err := v.r.ParseForm(); err != nil {
		return err
	}
	f := form{Values: v.r.PostForm}
	for i, revision := range v.r.PostForm["recipe_revision"] {
		wish := &stillroomv1.JarWish{RecipeRevision: revision, JarsPerParticipant: v.number(fmt.Sprintf("each-%d", i)), JarSize: stillroomv1.JarSize(v.number(fmt.Sprintf("size-%d", i)))}
		if v.form(fmt.Sprintf("each-%d", i)) != "" && v.form(fmt.Sprintf("each-%d", i)) != "0" {
			req.Wishes = append(req.Wishes, wish)
		}
	}
	if len(req.Wishes) == 0 {
		f.Problems = map[string]string{"": "Say of at least one recipe how many jars each person takes home."}
		return v.showPropose(f, nil)
	}
	reply, err := v.classes().ProposeBatches(v.ctx, req)
	if err != nil {
		return v.refuse(err, func(f form) error { return v.showPropose(f, nil) })
	}
	if reply.GetApplied() {
		return v.done("/"+class+"#stations", "The class makes "+count(len(reply.GetBatches()), "batch", "batches")+" now.")
	}
	return v.showPropose(f, reply)
}
