package web

import (
	"context"
	"time"

	"golang.org/x/sync/errgroup"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// kitchenPages are the first page and a kitchen's classes.
func (p *Pages) kitchenPages() {
	p.get("/{$}", showStart)
	p.get("/kitchens/{kitchen}", showKitchen)
}

// showStart leads everybody to their own first page.
func showStart(v *visit) error {
	switch {
	case v.caller.GetRole() == stillroomv1.Role_ROLE_PARTICIPANT:
		return v.see("/my")
	case v.caller.GetKitchen() != "":
		return v.see("/" + v.caller.GetKitchen())
	}
	all, err := every(func(token string) (*stillroomv1.ListKitchensResponse, error) {
		return v.kitchens().ListKitchens(v.ctx, &stillroomv1.ListKitchensRequest{PageSize: most, PageToken: token})
	}, (*stillroomv1.ListKitchensResponse).GetKitchens)
	if err != nil {
		return err
	}
	return v.render("kitchens", page{Title: "Kitchens", Data: all})
}

// listedClass is a class with the clock of its site.
type listedClass struct {
	*stillroomv1.Class
	Site *stillroomv1.Site
	Zone *time.Location
}

// showKitchen lists the classes: those to come first, then those that were, latest first.
func showKitchen(v *visit) error {
	k := v.name("kitchens")
	var kitchen *stillroomv1.Kitchen
	var classes []*stillroomv1.Class
	var sites []*stillroomv1.Site
	err := v.together(func(ctx context.Context) (err error) {
		kitchen, err = v.kitchens().GetKitchen(ctx, &stillroomv1.GetKitchenRequest{Name: k})
		return err
	}, func(ctx context.Context) (err error) {
		classes, err = every(func(token string) (*stillroomv1.ListClassesResponse, error) {
			return v.classes().ListClasses(ctx, &stillroomv1.ListClassesRequest{Parent: k, PageSize: most, PageToken: token})
		}, (*stillroomv1.ListClassesResponse).GetClasses)
		return err
	}, func(ctx context.Context) (err error) {
		sites, err = every(func(token string) (*stillroomv1.ListSitesResponse, error) {
			return v.kitchens().ListSites(ctx, &stillroomv1.ListSitesRequest{Parent: k, PageSize: most, PageToken: token})
		}, (*stillroomv1.ListSitesResponse).GetSites)
		return err
	})
	if err != nil {
		return err
	}
	bySite := map[string]*stillroomv1.Site{}
	for _, s := range sites {
		bySite[s.GetName()] = s
	}
	var data struct {
		Coming, Past []listedClass
		// Edits says whether the visitor may announce classes.
		Edits bool
	}
	data.Edits = v.least(stillroomv1.Role_ROLE_INSTRUCTOR)
	now := v.pages.Now()
	for _, c := range classes {
		l := listedClass{Class: c, Site: bySite[c.GetSite()], Zone: zoneOf(bySite[c.GetSite()])}
		if c.GetStartTime().AsTime().Add(time.Duration(c.GetDurationMinutes()) * time.Minute).After(now) {
			data.Coming = append(data.Coming, l)
		} else {
			data.Past = append([]listedClass{l}, data.Past...)
		}
	}
	return v.render("kitchen", page{Title: kitchen.GetDisplayName(), Trail: v.trail(), Data: data})
}

// zoneOf is the clock of a site; UTC when the zone is not known here.
func zoneOf(site *stillroomv1.Site) *time.Location {
	zone, err := time.LoadLocation(site.GetTimeZone())
	if err != nil {
		return time.UTC
	}
	return zone
}

// trail leads to all kitchens, for those who see several, and to the kitchen.
func (v *visit) trail(more ...crumb) []crumb {
	var steps []crumb
	if v.caller.GetKitchen() == "" {
		steps = append(steps, crumb{"Kitchens", "/"})
	}
	if len(more) > 0 {
		steps = append(steps, crumb{"Classes", "/" + v.name("kitchens")})
	}
	return append(steps, more...)
}

// together makes calls at the same time; the first error ends the others.
func (v *visit) together(calls ...func(context.Context) error) error {
	g, ctx := errgroup.WithContext(v.ctx)
	for _, call := range calls {
		g.Go(func() error { return call(ctx) })
	}
	return g.Wait()
}

// most is the largest page that a list gives.
const most = 1000

// every gathers all pages of a list.
func every[R interface{ GetNextPageToken() string }, T any](list func(token string) (R, error), of func(R) []T) ([]T, error) {
	var all []T
	for token := ""; ; {
		r, err := list(token)
		if err != nil {
			return nil, err
		}
		all = append(all, of(r)...)
		if token = r.GetNextPageToken(); token == "" {
			return all, nil
		}
	}
}
