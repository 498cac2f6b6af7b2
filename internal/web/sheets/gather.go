package sheets

import (
	"context"
	"time"

	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/words"
)

// need is what a sheet is made from, beside the class and its site.
type need int

const (
	needStations need = 1 << iota
	needBatches
	needRoster
	needRevisions
	needPlan
	needProcedure
	needList
	needTakeHome
)

// needs are what each sheet asks for and no more, since not everybody may see everything.
var needs = map[Kind]need{
	Shopping:  needList | needStations,
	Stations:  needStations | needBatches | needRoster | needRevisions | needPlan,
	Board:     needStations | needBatches | needPlan,
	Labels:    needStations | needBatches | needPlan | needProcedure,
	SignIn:    needStations | needRoster,
	SealCheck: needStations | needBatches | needPlan | needProcedure | needRoster | needTakeHome,
}

// material is what the services said.
type material struct {
	class     *stillroomv1.Class
	site      *stillroomv1.Site
	zone      *time.Location
	stations  []*stillroomv1.Station
	batches   []*stillroomv1.Batch
	roster    []*stillroomv1.Enrolment
	revisions map[string]*stillroomv1.RecipeRevision
	plan      *stillroomv1.LoadPlan // nil when the class has none
	procedure *stillroomv1.ClassProcedure
	list      *stillroomv1.ShoppingList
	takeHome  []homeward
}

// homeward is the jars that somebody takes home.
type homeward struct {
	who  string
	jars []*stillroomv1.JarShare
}

func gather(ctx context.Context, conn grpc.ClientConnInterface, class string, want need) (*material, error) {
	m := &material{revisions: map[string]*stillroomv1.RecipeRevision{}}
	classes := stillroomv1.NewClassServiceClient(conn)
	g, ctx := errgroup.WithContext(ctx)
	ask := func(wanted need, call func() error) {
		if wanted == 0 || want&wanted != 0 {
			g.Go(call)
		}
	}
	ask(0, func() (err error) {
		if m.class, err = classes.GetClass(ctx, &stillroomv1.GetClassRequest{Name: class}); err != nil {
			return err
		}
		if m.site, err = stillroomv1.NewKitchenServiceClient(conn).GetSite(ctx, &stillroomv1.GetSiteRequest{Name: m.class.GetSite()}); err != nil {
			return err
		}
		if m.zone, err = time.LoadLocation(m.site.GetTimeZone()); err != nil {
			return status.Errorf(codes.FailedPrecondition, "the time zone %q of the site is not known on this machine", m.site.GetTimeZone())
		}
		return nil
	})
	ask(needStations, func() (err error) {
		m.stations, err = every(func(token string) (*stillroomv1.ListStationsResponse, error) {
			return classes.ListStations(ctx, &stillroomv1.ListStationsRequest{Parent: class, PageSize: most, PageToken: token})
		}, (*stillroomv1.ListStationsResponse).GetStations)
		return err
	})
	ask(needBatches, func() (err error) {
		m.batches, err = every(func(token string) (*stillroomv1.ListBatchesResponse, error) {
			return classes.ListBatches(ctx, &stillroomv1.ListBatchesRequest{Parent: class, PageSize: most, PageToken: token})
		}, (*stillroomv1.ListBatchesResponse).GetBatches)
		if err != nil || want&needRevisions == 0 {
			return err
		}
		recipes := stillroomv1.NewRecipeServiceClient(conn)
		for _, b := range m.batches {
			name := b.GetRecipeRevision()
			if m.revisions[name] == nil {
				if m.revisions[name], err = recipes.GetRecipeRevision(ctx, &stillroomv1.GetRecipeRevisionRequest{Name: name}); err != nil {
					return err
				}
			}
		}
		return nil
	})
	ask(needRoster, func() (err error) {
		m.roster, err = every(func(token string) (*stillroomv1.ListEnrolmentsResponse, error) {
			return stillroomv1.NewRosterServiceClient(conn).ListEnrolments(ctx, &stillroomv1.ListEnrolmentsRequest{Parent: class, PageSize: most, PageToken: token})
		}, (*stillroomv1.ListEnrolmentsResponse).GetEnrolments)
		if want&(needRevisions|needTakeHome) != 0 && status.Code(err) == codes.PermissionDenied {
			return nil // a participant gets the sheet, without the names of the others
		}
		if err == nil && want&needTakeHome != 0 {
			m.takeHome, err = takeHome(ctx, conn, m.roster)
		}
		return err
	})
	ask(needPlan, func() error {
		newest, err := stillroomv1.NewLoadServiceClient(conn).ListLoadPlans(ctx, &stillroomv1.ListLoadPlansRequest{Parent: class, PageSize: 1})
		if err == nil && len(newest.GetLoadPlans()) > 0 {
			m.plan = newest.GetLoadPlans()[0]
		}
		return err
	})
	ask(needProcedure, func() (err error) {
		m.procedure, err = stillroomv1.NewProcessServiceClient(conn).GetClassProcedure(ctx, &stillroomv1.GetClassProcedureRequest{Name: class})
		return err
	})
	ask(needList, func() (err error) {
		m.list, err = stillroomv1.NewShoppingServiceClient(conn).GetShoppingList(ctx, &stillroomv1.GetShoppingListRequest{Name: class + "/shoppingLists/latest"})
		if status.Code(err) == codes.NotFound {
			// The class itself may be what is missing; its own call says so.
			if _, missing := classes.GetClass(ctx, &stillroomv1.GetClassRequest{Name: class}); missing == nil {
				return status.Errorf(codes.FailedPrecondition, "the class has no shopping list yet; make one, for example with: stillroom shopping make %s", words.Last(class))
			}
		}
		return err
	})
	return m, g.Wait()
}

// takeHome asks whose which jars are, for everybody who has a place at a station.
func takeHome(ctx context.Context, conn grpc.ClientConnInterface, roster []*stillroomv1.Enrolment) ([]homeward, error) {
	all := make([]homeward, len(roster))
	seals := stillroomv1.NewSealServiceClient(conn)
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(8)
	for i, e := range roster {
		if e.GetState() != stillroomv1.EnrolmentState_ENROLMENT_STATE_ENROLLED || e.GetStation() == "" {
			continue
		}
		g.Go(func() error {
			home, err := seals.GetTakeHome(ctx, &stillroomv1.GetTakeHomeRequest{Name: e.GetName()})
			all[i] = homeward{e.GetParticipantDisplayName(), home.GetJars()}
			return err
		})
	}
	return all, g.Wait()
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

// station is the name of a station for people.
func (m *material) station(name string) string {
	for _, s := range m.stations {
		if s.GetName() == name {
			return s.GetDisplayName()
		}
	}
	return words.Last(name)
}

// planned is what the plan says of a batch; nil when it does not know it.
func (m *material) planned(batch string) *stillroomv1.PlannedBatch {
	for _, b := range m.plan.GetBatches() {
		if b.GetBatch() == batch {
			return b
		}
	}
	return nil
}

// part is jars of a batch in a load, with the canner.
type part struct {
	canner *stillroomv1.PlannedCanner
	load   *stillroomv1.PlannedLoad
	jars   *stillroomv1.JarsInLoad
}

// parts are the jars of a batch, load by load, in the order in which they go in.
func (m *material) parts(batch string) []part {
	var all []part
	for _, c := range m.plan.GetCanners() {
		for _, l := range c.GetLoads() {
			for _, j := range l.GetJars() {
				if j.GetBatch() == batch {
					all = append(all, part{c, l, j})
				}
			}
		}
	}
	sortByIn(all)
	return all
}

// unplaced are jars of a batch that go into no load.
func (m *material) unplaced(batch string) []*stillroomv1.UnplacedJars {
	var all []*stillroomv1.UnplacedJars
	for _, u := range m.plan.GetUnplaced() {
		if u.GetBatch() == batch {
			all = append(all, u)
		}
	}
	return all
}

// outdated says what the plan does not know of the batches as they stand now; empty when it fits them.
func (m *material) outdated() string {
	if m.plan == nil {
		return ""
	}
	known := map[string]bool{}
	for _, b := range m.batches {
		p := m.planned(b.GetName())
		where := m.station(b.GetStation()) + ", batch " + words.Last(b.GetName())
		switch {
		case p == nil:
			return where + " is not in it"
		case p.GetJars() != b.GetJars() || p.GetJarSize() != b.GetJarSize():
			return where + " now fills " + words.Jars(b.GetJars(), b.GetJarSize()) + ", not " + words.Jars(p.GetJars(), p.GetJarSize())
		case p.GetRecipeRevision() != b.GetRecipeRevision():
			return where + " now makes another recipe or revision"
		}
		known[b.GetName()] = true
	}
	for _, p := range m.plan.GetBatches() {
		if !known[p.GetBatch()] {
			return "it has " + p.GetTitle() + " (batch " + words.Last(p.GetBatch()) + "), which is no longer made"
		}
	}
	if altitude := m.plan.GetAltitude().GetMetres(); altitude != m.site.GetAltitude().GetMetres() {
		return "it was made for another altitude"
	}
	if !m.plan.GetOpenTime().AsTime().Equal(m.class.GetStartTime().AsTime()) {
		return "the class now opens at another time"
	}
	return ""
}
