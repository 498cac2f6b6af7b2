package web

import (
	"context"
	"html/template"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/chart"
)

// boardPages are the canner board of a class: its plans, and making new ones.
func (p *Pages) boardPages() {
	p.tab(30, "board", "Canner board", "/board")
	const at = "/kitchens/{kitchen}/classes/{class}/board"
	p.get(at, func(v *visit) error { return v.showBoard(noForms()) })
	p.get(at+"/{plan}", func(v *visit) error { return v.showBoard(noForms()) })
	p.get(at+"/live", followBoard)
	p.post(at+"/plan", planAnew)
	p.post(at+"/together", planTogether)
	p.post(at+"/stop", stopSearch)
	p.post(at+"/{plan}/what-if", planWhatIf)
	p.post(at+"/{plan}/replan", planRest)
}

// plansShown is how many stored plans a board lists.
const plansShown = 8

// board is a plan as its page shows it.
type board struct {
	Class classroom
	Zone  *time.Location
	// Path is the address of the class's board.
	Path string
	// Plan is the plan shown; nil while there is none.
	Plan   *stillroomv1.LoadPlan
	Number string
	// Pinned says that this plan was asked for, not the newest.
	Pinned bool
	// Newest is the number of the newest plan.
	Newest string
	Stored []*stillroomv1.LoadPlan
	// Older is the token of the stored plans before those listed.
	Older      string
	Now        time.Time
	Chart, Key template.HTML
	Coming     coming
	Proof      string
	Sources    []string
	Loads      []boardLoad
	Batches    []boardBatch
	Search     searchNow
	// MayPlan says that the visitor may make plans; then there are forms.
	MayPlan bool
	Forms   boardForms
	// Others are classes that have the room at the same time.
	Others []listedClass
	// Request makes sending a form twice harmless.
	Request string
	drawing drawing
}

// ShownNumber is the number of the plan shown, "0" for none.
func (b *board) ShownNumber() string {
	if b.Plan == nil {
		return "0"
	}
	return b.Number
}

// Newer says that there is a newer plan than the one shown.
func (b *board) Newer() bool { return b.Plan != nil && b.Newest != b.Number }

// PreparedBefore says that something is to be done before the class.
func (b *board) PreparedBefore() bool {
	return slices.ContainsFunc(b.Batches, func(b boardBatch) bool { return len(b.GetBeforeClass()) > 0 })
}

// boardForms are the forms of a board as they were sent, with what was wrong with them.
type boardForms struct{ Plan, WhatIf, Replan, Together form }

func noForms() boardForms { return boardForms{} }

// showBoard shows the plan that the path names, or the newest.
func (v *visit) showBoard(forms boardForms) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	b, err := v.board(c, v.r.PathValue("plan"))
	if err != nil {
		return err
	}
	b.Forms = forms
	if b.MayPlan {
		if b.Others, err = v.sharingRoom(c); err != nil {
			return err
		}
	}
	p := v.classPage(c, "board", "Canner board: "+c.GetDisplayName(), b)
	for _, f := range []form{forms.Plan, forms.WhatIf, forms.Replan, forms.Together} {
		if f.refused() {
			return v.renderForm("board", p)
		}
	}
	return v.render("board", p)
}

// board gathers what a board shows; number names a plan, the newest when empty.
func (v *visit) board(c classroom, number string) (*board, error) {
	b := &board{
		Class: c, Zone: c.Zone, Path: "/" + c.GetName() + "/board", Pinned: number != "", Now: v.pages.Now(),
		MayPlan: v.least(stillroomv1.Role_ROLE_INSTRUCTOR), Request: uuid.NewString(),
	}
	stations := map[string]string{}
	err := v.together(func(ctx context.Context) error {
		r, err := v.loads().ListLoadPlans(ctx, &stillroomv1.ListLoadPlansRequest{Parent: c.GetName(), PageSize: plansShown, PageToken: v.r.URL.Query().Get("older")})
		b.Stored, b.Older = r.GetLoadPlans(), r.GetNextPageToken()
		return err
	}, func(ctx context.Context) (err error) {
		if number != "" {
			b.Plan, err = v.loads().GetLoadPlan(ctx, &stillroomv1.GetLoadPlanRequest{Name: c.GetName() + "/loadPlans/" + number})
			return err
		}
		b.Plan, err = v.newestPlan(ctx, c.GetName())
		return err
	}, func(ctx context.Context) error {
		all, err := every(func(token string) (*stillroomv1.ListStationsResponse, error) {
			return v.classes().ListStations(ctx, &stillroomv1.ListStationsRequest{Parent: c.GetName(), PageSize: most, PageToken: token})
		}, (*stillroomv1.ListStationsResponse).GetStations)
		for _, s := range all {
			stations[s.GetName()] = s.GetDisplayName()
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	if b.Newest = last(b.Plan.GetName()); v.r.URL.Query().Get("older") == "" && len(b.Stored) > 0 {
		b.Newest = last(b.Stored[0].GetName())
	}
	b.Search = v.pages.searches.now(c.GetName(), "", b.Now)
	if b.Plan == nil {
		return b, nil
	}
	b.Number = last(b.Plan.GetName())
	b.drawing = drawing{plan: b.Plan, zone: c.Zone, stations: stations}
	b.drawing.fill(b)
	return b, nil
}

// newestPlan is a class's newest plan; nil when it has none.
func (v *visit) newestPlan(ctx context.Context, class string) (*stillroomv1.LoadPlan, error) {
	r, err := v.loads().ListLoadPlans(ctx, &stillroomv1.ListLoadPlansRequest{Parent: class, PageSize: 1})
	if err != nil || len(r.GetLoadPlans()) == 0 {
		return nil, err
	}
	return r.GetLoadPlans()[0], nil
}

// sharingRoom are the other classes at the same site that overlap with a class in time.
func (v *visit) sharingRoom(c classroom) ([]listedClass, error) {
	all, err := every(func(token string) (*stillroomv1.ListClassesResponse, error) {
		return v.classes().ListClasses(v.ctx, &stillroomv1.ListClassesRequest{Parent: v.name("kitchens"), PageSize: most, PageToken: token})
	}, (*stillroomv1.ListClassesResponse).GetClasses)
	if err != nil {
		return nil, err
	}
	var others []listedClass
	for _, other := range all {
		o := classroom{Class: other}
		if other.GetName() != c.GetName() && other.GetSite() == c.GetSite() &&
			other.GetStartTime().AsTime().Before(c.End()) && o.End().After(c.GetStartTime().AsTime()) {
			others = append(others, listedClass{Class: other, Site: c.Site, Zone: c.Zone})
		}
	}
	return others, nil
}

// boardEvery is how often a board looks for plans that other servers made, and for what is next.
const boardEvery = 5 * time.Second

// progressEvery bounds how often progress is sent.
const progressEvery = 200 * time.Millisecond

// followBoard keeps a board fresh: what is next, how a search comes along, and the newest plan.
func followBoard(v *visit) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	pinned := v.r.URL.Query().Get("pinned")
	shown := v.r.URL.Query().Get("plan")
	known := ""
	if after := v.after(); after != "" {
		shown, known = splitMark(after)
	}
	return v.stream(func(ctx context.Context, out *events) error {
		timer := time.NewTicker(boardEvery)
		defer timer.Stop()
		var sent sentParts
		var have *board
		for look := true; ; {
			woken := v.pages.nudges.wait(searchTopic(c.GetName()))
			state := v.pages.searches.now(c.GetName(), known, v.pages.Now())
			renew := look || state.Over()
			if renew {
				if have, err = v.with(ctx).renewed(c, pinned, have); err != nil {
					return err
				}
				if have.ShownNumber() != shown { // whoever made it
					state.Lost = false
				}
			}
			// A search that is over is nothing to come back for.
			switch {
			case state.Running:
				known = state.ID
			case !state.Lost:
				known = ""
			}
			b := &board{Class: c, Zone: c.Zone, Path: "/" + c.GetName() + "/board", Search: state, MayPlan: v.least(stillroomv1.Role_ROLE_INSTRUCTOR)}
			if err := v.sendPart(out, &sent, shown+"-"+known, "board", "board-search", b); err != nil {
				return nil // the visitor is gone
			}
			if renew {
				if shown, err = v.sendBoard(ctx, out, &sent, have, shown, known); err != nil {
					return err
				}
			}
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-woken:
				look = false
				// What comes in quick succession is sent as one.
				select {
				case <-ctx.Done():
					return ctx.Err()
				case <-time.After(progressEvery):
				}
			case <-timer.C:
				look = true
			}
		}
	})
}

// renewed is a board as it is now. A plan never changes, so only the clock goes on until there is another.
func (v *visit) renewed(c classroom, pinned string, have *board) (*board, error) {
	newest, err := v.newestPlan(v.ctx, c.GetName())
	if err != nil {
		return nil, err
	}
	if have == nil || have.Newest != last(newest.GetName()) {
		return v.board(c, pinned)
	}
	b := *have
	b.Now = v.pages.Now()
	if b.Plan != nil {
		b.Coming = b.drawing.coming(b.Loads, b.Batches, b.Now)
	}
	return &b, nil
}

// sendBoard sends what changed on a board with the clock and with new plans; it returns the number of the plan shown then.
func (v *visit) sendBoard(ctx context.Context, out *events, sent *sentParts, b *board, shown, known string) (string, error) {
	var err error
	if b.MayPlan && b.ShownNumber() != shown {
		if b.Others, err = v.with(ctx).sharingRoom(b.Class); err != nil {
			return shown, err
		}
	}
	parts := []string{"board-next", "board-newer"}
	if b.ShownNumber() != shown {
		parts = []string{"board-next", "board-newer", "board-plan", "board-forms", "board-stored"}
	}
	for i, part := range parts {
		mark := shown + "-" + known
		if i == len(parts)-1 { // only who got all parts has the plan
			mark = b.ShownNumber() + "-" + known
		}
		if v.sendPart(out, sent, mark, "board", part, b) != nil {
			return shown, context.Canceled // the visitor is gone
		}
	}
	return b.ShownNumber(), nil
}

// sentParts are the parts of a page as they were last sent.
type sentParts map[string]string

// sendPart sends a part of a page when it is not as it was sent before.
func (v *visit) sendPart(out *events, sent *sentParts, mark, page, part string, data any) error {
	fresh, err := v.fragment(page, part, data)
	if err != nil {
		return err
	}
	if *sent == nil {
		*sent = sentParts{}
	}
	if (*sent)[part] == string(fresh) {
		return nil
	}
	(*sent)[part] = string(fresh)
	return out.swap(mark, fresh)
}

// with is the visit with another context for its calls.
func (v *visit) with(ctx context.Context) *visit {
	w := *v
	w.ctx = ctx
	return &w
}

// minutesFrom is a number of minutes after an instant, on the clock.
func minutesFrom(open time.Time, minutes int32, zone *time.Location) string {
	return open.Add(time.Duration(minutes) * time.Minute).In(zone).Format("15:04")
}

// percent is a share in whole percent, at least 1 for what is not nothing.
func percent(share float64) string {
	p := int(share*100 + 0.5)
	if p == 0 && share > 0 {
		p = 1
	}
	return strconv.Itoa(p) + " %"
}

// boardSize is the drawing on a screen: a wide one, since it scrolls by itself on a narrow page.
var boardSize = chart.ScreenSize
