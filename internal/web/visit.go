package web

import (
	"bytes"
	"context"
	"net/http"
	"strings"
	"time"

	"google.golang.org/grpc/metadata"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/inert"
)

// visit is one request for a page, by somebody.
type visit struct {
	pages *Pages
	w     http.ResponseWriter
	r     *http.Request
	// ctx carries the visitor's token to the services.
	ctx context.Context
	// caller is who the services take the visitor for; nil before identify.
	caller *stillroomv1.Caller
	status int
}

func (p *Pages) visit(w http.ResponseWriter, r *http.Request) *visit {
	return &visit{pages: p, w: w, r: r, ctx: withToken(fromVisitor(r), p.token(r)), status: http.StatusOK}
}

// fromVisitor is a request's context from which calls say whose they are: what one visitor gets wrong
// must not count on another.
func fromVisitor(r *http.Request) context.Context {
	return metadata.AppendToOutgoingContext(r.Context(), "stillroom-visitor", r.RemoteAddr)
}

// withToken makes calls carry a token, if there is one.
func withToken(ctx context.Context, token string) context.Context {
	if token == "" {
		return ctx
	}
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+token)
}

// identify asks the services who the visitor is.
func (v *visit) identify() (err error) {
	v.caller, err = v.access().GetCaller(v.ctx, &stillroomv1.GetCallerRequest{})
	return err
}

// least says whether the visitor has a role or a higher one. Pages ask it to leave out
// what would be refused; the services decide.
func (v *visit) least(role stillroomv1.Role) bool { return v.caller.GetRole() >= role }

// name is the resource name of what the path's segments say: name("kitchens", "classes")
// on /kitchens/{kitchen}/classes/{class}/… is "kitchens/K/classes/C".
func (v *visit) name(collections ...string) string {
	var parts []string
	for _, c := range collections {
		parts = append(parts, c, v.r.PathValue(singular[c]))
	}
	return strings.Join(parts, "/")
}

// singular is how a collection's part is called in paths.
var singular = map[string]string{
	"kitchens": "kitchen", "classes": "class", "participants": "participant", "enrolments": "enrolment", "stations": "station",
	"batches": "batch", "shoppingLists": "list", "loadPlans": "plan", "questions": "question", "sessions": "session", "recipes": "recipe",
}

// form is a sent value, without spaces around it.
func (v *visit) form(name string) string { return strings.TrimSpace(v.r.PostFormValue(name)) }

// page is what a template is given besides what every page has.
type page struct {
	// Title names the page in the browser and in its head.
	Title string
	// Trail leads from the kitchen to the page.
	Trail []crumb
	// Class is the class whose pages the head leads to, and Tab the key of the one shown; both may be empty.
	Class, Tab string
	// Zone is the clock of the site; nil shows UTC.
	Zone *time.Location
	// Plain leaves out the head, for pages that stand alone.
	Plain bool
	Data  any
}

// crumb is a step of a trail.
type crumb struct{ Title, Path string }

// shown is what every template sees.
type shown struct {
	page
	Caller *stillroomv1.Caller
	Open   bool
	Notice string
	Tabs   []tab
	Path   string
}

// render answers with a whole page.
func (v *visit) render(name string, p page) error {
	p.Title = inert.Text(p.Title)
	for i := range p.Trail {
		p.Trail[i].Title = inert.Text(p.Trail[i].Title)
	}
	s := shown{page: p, Caller: v.caller, Open: v.pages.Open, Notice: v.takeNotice(), Path: v.r.URL.Path}
	if p.Class != "" && v.least(stillroomv1.Role_ROLE_ASSISTANT) {
		s.Tabs = v.pages.tabs
	}
	if p.Class == myRoot {
		s.Tabs = myTabs
	}
	var out bytes.Buffer
	if err := v.pages.looks.execute(&out, name, "layout", s); err != nil {
		return err
	}
	v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	v.pages.looks.send(v.w, v.r, v.status, out.Bytes())
	return nil
}

// renderForm answers with a page whose form was refused.
func (v *visit) renderForm(name string, p page) error {
	v.status = http.StatusUnprocessableEntity
	return v.render(name, p)
}

// fragment is a part of a page, by the page's name and its own.
func (v *visit) fragment(name, part string, data any) ([]byte, error) {
	var out bytes.Buffer
	err := v.pages.looks.execute(&out, name, part, data)
	return out.Bytes(), err
}

// see sends the visitor to another page.
func (v *visit) see(path string) error {
	http.Redirect(v.w, v.r, path, http.StatusSeeOther)
	return nil
}

// done sends the visitor to another page, which tells what happened.
func (v *visit) done(path, notice string) error {
	v.leaveNotice(notice)
	return v.see(path)
}

func (v *visit) access() stillroomv1.AccessServiceClient {
	return stillroomv1.NewAccessServiceClient(v.pages.Services)
}
func (v *visit) kitchens() stillroomv1.KitchenServiceClient {
	return stillroomv1.NewKitchenServiceClient(v.pages.Services)
}
func (v *visit) classes() stillroomv1.ClassServiceClient {
	return stillroomv1.NewClassServiceClient(v.pages.Services)
}
func (v *visit) rosters() stillroomv1.RosterServiceClient {
	return stillroomv1.NewRosterServiceClient(v.pages.Services)
}
func (v *visit) recipes() stillroomv1.RecipeServiceClient {
	return stillroomv1.NewRecipeServiceClient(v.pages.Services)
}
func (v *visit) shopping() stillroomv1.ShoppingServiceClient {
	return stillroomv1.NewShoppingServiceClient(v.pages.Services)
}
func (v *visit) loads() stillroomv1.LoadServiceClient {
	return stillroomv1.NewLoadServiceClient(v.pages.Services)
}
func (v *visit) processes() stillroomv1.ProcessServiceClient {
	return stillroomv1.NewProcessServiceClient(v.pages.Services)
}
func (v *visit) questions() stillroomv1.QuestionServiceClient {
	return stillroomv1.NewQuestionServiceClient(v.pages.Services)
}
