package web

import (
	"context"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// classPages are a class at a glance.
func (p *Pages) classPages() {
	p.tab(10, "class", "The class", "")
	p.get("/kitchens/{kitchen}/classes/{class}", showClass)
}

// place is somebody's place in a class.
type place struct {
	*stillroomv1.Enrolment
	Station string
	// Allergic says that the person told of an allergy; for instructors only.
	Allergic bool
}

// allergy is what somebody told of, with what it met in what they make.
type allergy struct {
	Who, Station, Words string
	// Met are the ingredients that it met; none when no word matched.
	Met []*stillroomv1.AllergyWarning
}

// made is a batch at a station.
type made struct {
	*stillroomv1.Batch
	Title string
}

// bench is a station with who works there and what they make.
type bench struct {
	*stillroomv1.Station
	People  []place
	Batches []made
}

// check is one thing that must be ready before a class. State is "ready", "open" or "short".
type check struct{ State, What, Says, Path, Link string }

// glance is everything about a class on one page.
type glance struct {
	classroom
	Checks    []check
	Places    []place
	Waiting   []place
	Benches   []bench
	Unplaced  int
	Shortages []*stillroomv1.Shortage
	Cautions  []*stillroomv1.Caution
	Allergies []allergy
	// AllergyCaution is what comparing allergies with ingredients is worth.
	AllergyCaution string
	Boiling        float64
	// Edits says whether the visitor may change the roster and the batches.
	Edits bool
	// Invites says whether the visitor may make invitations.
	Invites bool
	Form    form
}

func showClass(v *visit) error { return v.showGlance(form{}) }

// showGlance renders a class, with what was refused of a form on it.
func (v *visit) showGlance(f form) error {
	g, err := v.glance()
	if err != nil {
		return err
	}
	g.Form = f
	p := v.classPage(g.classroom, "class", g.GetDisplayName(), g)
	p.Trail = v.trail(crumb{g.GetDisplayName(), "/" + g.GetName()})[:len(v.trail(crumb{}))-1]
	if f.refused() {
		return v.renderForm("class", p)
	}
	return v.render("class", p)
}

// facts are the answers that a glance is made of.
type facts struct {
	room      classroom
	places    []*stillroomv1.Enrolment
	stations  []*stillroomv1.Station
	batches   []*stillroomv1.Batch
	shortages []*stillroomv1.Shortage
	procedure *stillroomv1.ClassProcedure
	list      *stillroomv1.ShoppingList
	ticks     int
	plan      *stillroomv1.LoadPlan
	allergies *stillroomv1.CheckAllergiesResponse
}

func (v *visit) glance() (*glance, error) {
	f, err := v.facts()
	if err != nil {
		return nil, err
	}
	g := &glance{classroom: f.room, Shortages: f.shortages, Boiling: f.procedure.GetBoilingPointCelsius(), Edits: v.least(stillroomv1.Role_ROLE_INSTRUCTOR),
		Invites: v.least(stillroomv1.Role_ROLE_OWNER)}
	for _, c := range f.procedure.GetCautions() {
		g.Cautions = append(g.Cautions, &stillroomv1.Caution{Text: c.GetText(), Source: c.GetSource()})
	}
	at := map[string]int{}
	for i, s := range f.stations {
		at[s.GetName()] = i
		g.Benches = append(g.Benches, bench{Station: s})
	}
	g.Allergies, g.AllergyCaution = allergiesOf(f.allergies, f.stations), f.allergies.GetCaution()
	allergic := map[string]bool{}
	for _, w := range f.allergies.GetWarnings() {
		allergic[w.GetParticipant()] = true
	}
	for _, u := range f.allergies.GetUnmatched() {
		allergic[u.GetParticipant()] = true
	}
	for _, e := range f.places {
		p := place{Enrolment: e, Allergic: allergic[e.GetParticipant()]}
		i, placed := at[e.GetStation()]
		if placed {
			p.Station = f.stations[i].GetDisplayName()
		}
		switch {
		case e.GetState() == stillroomv1.EnrolmentState_ENROLMENT_STATE_WAITING:
			g.Waiting = append(g.Waiting, p)
			continue
		case placed:
			g.Benches[i].People = append(g.Benches[i].People, p)
		default:
			g.Unplaced++
		}
		g.Places = append(g.Places, p)
	}
	titles := map[string]string{}
	for _, p := range f.procedure.GetProcesses() {
		titles[p.GetRecipeRevision()] = p.GetTitle()
	}
	for _, b := range f.batches {
		if i, ok := at[b.GetStation()]; ok {
			g.Benches[i].Batches = append(g.Benches[i].Batches, made{Batch: b, Title: titles[b.GetRecipeRevision()]})
		}
	}
	g.Checks = v.checks(f, g)
	return g, nil
}

// facts asks for everything at the same time.
func (v *visit) facts() (*facts, error) {
	class := v.name("kitchens", "classes")
	f := &facts{}
	err := v.together(func(ctx context.Context) (err error) {
		f.room, err = v.classroom(ctx)
		return err
	}, func(ctx context.Context) (err error) {
		f.places, err = v.enrolments(ctx, class)
		return err
	}, func(ctx context.Context) (err error) {
		f.stations, err = v.stations(ctx, class)
		return err
	}, func(ctx context.Context) (err error) {
		f.batches, err = every(func(token string) (*stillroomv1.ListBatchesResponse, error) {
			return v.classes().ListBatches(ctx, &stillroomv1.ListBatchesRequest{Parent: class, PageSize: most, PageToken: token})
		}, (*stillroomv1.ListBatchesResponse).GetBatches)
		return err
	}, func(ctx context.Context) error {
		reply, err := v.classes().CheckEquipment(ctx, &stillroomv1.CheckEquipmentRequest{Name: class})
		f.shortages = reply.GetShortages()
		return err
	}, func(ctx context.Context) (err error) {
		f.procedure, err = v.processes().GetClassProcedure(ctx, &stillroomv1.GetClassProcedureRequest{Name: class})
		if status.Code(err) == codes.FailedPrecondition {
			return nil // it has no batches yet
		}
		return err
	}, func(ctx context.Context) error {
		lists, err := v.shopping().ListShoppingLists(ctx, &stillroomv1.ListShoppingListsRequest{Parent: class, PageSize: 1})
		if err != nil || len(lists.GetShoppingLists()) == 0 {
			return err
		}
		f.list = lists.GetShoppingLists()[0]
		ticks, err := v.shopping().GetShoppingTicks(ctx, &stillroomv1.GetShoppingTicksRequest{Name: f.list.GetName()})
		f.ticks = len(ticks.GetTicks())
		return err
	}, func(ctx context.Context) error {
		plans, err := v.loads().ListLoadPlans(ctx, &stillroomv1.ListLoadPlansRequest{Parent: class, PageSize: 1})
		if len(plans.GetLoadPlans()) > 0 {
			f.plan = plans.GetLoadPlans()[0]
		}
		return err
	}, func(ctx context.Context) (err error) {
		if !v.least(stillroomv1.Role_ROLE_INSTRUCTOR) {
			return nil
		}
		f.allergies, err = v.classes().CheckAllergies(ctx, &stillroomv1.CheckAllergiesRequest{Name: class})
		return err
	})
	return f, err
}

func (v *visit) enrolments(ctx context.Context, class string) ([]*stillroomv1.Enrolment, error) {
	return every(func(token string) (*stillroomv1.ListEnrolmentsResponse, error) {
		return v.rosters().ListEnrolments(ctx, &stillroomv1.ListEnrolmentsRequest{Parent: class, PageSize: most, PageToken: token})
	}, (*stillroomv1.ListEnrolmentsResponse).GetEnrolments)
}

func (v *visit) stations(ctx context.Context, class string) ([]*stillroomv1.Station, error) {
	return every(func(token string) (*stillroomv1.ListStationsResponse, error) {
		return v.classes().ListStations(ctx, &stillroomv1.ListStationsRequest{Parent: class, PageSize: most, PageToken: token})
	}, (*stillroomv1.ListStationsResponse).GetStations)
}

// people are all participants of the kitchen.
func (v *visit) people(ctx context.Context) ([]*stillroomv1.Participant, error) {
	return every(func(token string) (*stillroomv1.ListParticipantsResponse, error) {
		return v.rosters().ListParticipants(ctx, &stillroomv1.ListParticipantsRequest{Parent: v.name("kitchens"), PageSize: most, PageToken: token})
	}, (*stillroomv1.ListParticipantsResponse).GetParticipants)
}

// allergiesOf puts what was found of one person and one allergy together.
func allergiesOf(found *stillroomv1.CheckAllergiesResponse, stations []*stillroomv1.Station) []allergy {
	benches := map[string]string{}
	for _, s := range stations {
		benches[s.GetName()] = s.GetDisplayName()
	}
	var all []allergy
	type key struct{ who, words string }
	at, seen := map[key]int{}, map[string]bool{}
	for _, w := range found.GetWarnings() {
		k := key{w.GetParticipant(), w.GetAllergies()}
		i, ok := at[k]
		if !ok {
			i = len(all)
			at[k] = i
			all = append(all, allergy{Who: w.GetParticipantDisplayName(), Station: benches[w.GetStation()], Words: w.GetAllergies()})
		}
		// One recipe is often made in several batches.
		if once := k.who + "\n" + k.words + "\n" + w.GetRecipeRevision() + "\n" + w.GetIngredient(); !seen[once] {
			seen[once] = true
			all[i].Met = append(all[i].Met, w)
		}
	}
	for _, u := range found.GetUnmatched() {
		all = append(all, allergy{Who: u.GetParticipantDisplayName(), Station: benches[u.GetStation()], Words: u.GetAllergies()})
	}
	return all
}

// checks says what is ready for the class and what is not, in the order of the work.
func (v *visit) checks(f *facts, g *glance) []check {
	c := check{State: "ready", What: "Places", Says: count(f.room.GetEnrolledCount(), "place taken", "places taken") + " of " + count(f.room.GetCapacity(), "", "")}
	if n := f.room.GetWaitingCount(); n > 0 {
		c.Says += ", " + count(n, "person waits", "people wait")
	}
	if f.room.GetEnrolledCount() == 0 {
		c.State = "open"
	}
	if g.Unplaced > 0 {
		c.State, c.Says = "open", c.Says+"; "+count(g.Unplaced, "person has", "people have")+" no station"
	}
	all := []check{c}

	jars, kept := 0, 0
	for _, b := range f.batches {
		jars += int(b.GetJars())
		if b.GetNotForShelfReason() == "" {
			kept += int(b.GetJars())
		}
	}
	c = check{State: "ready", What: "Batches", Says: count(len(f.batches), "batch", "batches") + ", " + count(jars, "jar", "jars")}
	switch {
	case len(f.batches) == 0:
		c = check{State: "open", What: "Batches", Says: "none yet"}
	case kept < jars:
		c.Says += "; " + count(jars-kept, "jar is", "jars are") + " for the refrigerator or freezer only"
	}
	all = append(all, c)

	c = check{State: "ready", What: "Equipment", Says: "the kitchen owns enough"}
	if len(f.shortages) > 0 {
		var kinds []string
		for _, s := range f.shortages {
			kinds = append(kinds, s.GetKind())
		}
		c.State, c.Says, c.Path, c.Link = "short", "too little: "+strings.Join(kinds, ", "), "#shortages", "What falls short"
	}
	all = append(all, c)
	return append(all, listCheck(f, jars), planCheck(f), sessionCheck(f.room))
}

func listCheck(f *facts, jars int) check {
	c := check{State: "open", What: "Shopping list", Says: "not computed yet", Path: "/" + f.room.GetName() + "/shopping", Link: "Compute it"}
	if f.list == nil {
		return c
	}
	c.Link = "Open the list"
	c.Says = "version " + last(f.list.GetName()) + " of " + moment(f.room.Zone, f.list.GetCreateTime()) + ", " +
		count(f.ticks, "line", "lines") + " of " + count(f.list.GetLineCount(), "", "") + " bought"
	if f.list.GetJars() != int64(jars) {
		c.Says = "the batches have changed since version " + last(f.list.GetName()) + " was computed"
		return c
	}
	c.State = "ready"
	return c
}

func planCheck(f *facts) check {
	c := check{State: "open", What: "Canner loads", Says: "not planned yet", Path: "/" + f.room.GetName() + "/board", Link: "Plan them"}
	if f.plan == nil {
		return c
	}
	c.Link = "Open the canner board"
	o := f.plan.GetOutcome()
	switch {
	case !slices.Equal(plannedBatches(f.plan), presentBatches(f.batches)):
		c.Says = "the batches have changed since plan " + last(f.plan.GetName())
	case o.GetUnprocessedJars() > 0:
		c.State, c.Says = "short", "no room for "+count(o.GetUnprocessedJars(), "jar", "jars")+" in plan "+last(f.plan.GetName())
	case o.GetFinishTime() == nil:
		c.State, c.Says = "ready", "nothing goes into a canner"
	default:
		c.State, c.Says = "ready", count(o.GetJars(), "jar", "jars")+" in "+count(o.GetLoads(), "load", "loads")+", the last out at "+clock(f.room.Zone, o.GetFinishTime())
	}
	return c
}

// planned is what a plan was made for, to tell whether the batches are still the same.
type planned struct {
	name, revision string
	size           stillroomv1.JarSize
	jars           int32
}

func plannedBatches(p *stillroomv1.LoadPlan) []planned {
	var all []planned
	for _, b := range p.GetBatches() {
		all = append(all, planned{b.GetBatch(), b.GetRecipeRevision(), b.GetJarSize(), b.GetJars()})
	}
	slices.SortFunc(all, byName)
	return all
}

func presentBatches(batches []*stillroomv1.Batch) []planned {
	var all []planned
	for _, b := range batches {
		all = append(all, planned{b.GetName(), b.GetRecipeRevision(), b.GetJarSize(), b.GetJars()})
	}
	slices.SortFunc(all, byName)
	return all
}

func byName(a, b planned) int { return strings.Compare(a.name, b.name) }

func sessionCheck(room classroom) check {
	c := check{State: "ready", What: "Questions", Says: "no live session", Path: "/" + room.GetName() + "/questions", Link: "Open the questions"}
	if t := room.GetLiveSessionTime(); t != nil {
		c.Says = "live at " + clock(room.Zone, t) + " for " + count(room.GetLiveSessionMinutes(), "minute", "minutes")
		if a, b := in(room.Zone, t), in(room.Zone, room.GetStartTime()); a.Format(time.DateOnly) != b.Format(time.DateOnly) {
			c.Says = "live on " + day(room.Zone, t) + " at " + clock(room.Zone, t)
		}
	}
	return c
}
