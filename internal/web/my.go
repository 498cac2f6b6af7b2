package web

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// myPages are a participant's own: their class, their bench, their jars, what they ask.
func (p *Pages) myPages() {
	p.get("/my", showMy)
	p.get("/my/live", watchMy)
	p.get("/my/calendar", myCalendar)
	p.get("/my/card", showMyCard)
	p.get("/my/card/live", watchMyCard)
	p.get("/my/jars", showMyJars)
	p.post("/my/jars/{batch}", tellMySeals)
	p.get("/my/home", showMyHome)
	p.post("/my/home", keepMyHome)
	p.get("/my/questions", showMyQuestions)
	p.get("/my/questions/live", watchMyQuestions)
	p.post("/my/questions", askMine)
	p.post("/my/questions/{question}/{step}", stepMyQuestion)
}

// asksPattern is the form that a question is asked by; what was typed into it is never lost.
const asksPattern = "POST /my/questions"

// myTabs lead from each of a participant's pages to the others.
var myTabs = []tab{
	{Key: "class", Title: "Class"}, {Key: "card", Title: "Card", Path: "/card"}, {Key: "jars", Title: "Jars", Path: "/jars"},
	{Key: "home", Title: "At home", Path: "/home"}, {Key: "questions", Title: "Ask", Path: "/questions"},
}

// myRoot is where a participant's pages begin, as the head's links have it.
const myRoot = "my"

// mine is what all pages of a participant know.
type mine struct {
	classroom
	// Enrolment is nil for who gave their place back.
	Enrolment *stillroomv1.Enrolment
	Now       time.Time
}

// Enrolled says whether the participant holds a place.
func (m mine) Enrolled() bool {
	return m.Enrolment.GetState() == stillroomv1.EnrolmentState_ENROLMENT_STATE_ENROLLED
}

// Waiting says whether the participant waits for one.
func (m mine) Waiting() bool {
	return m.Enrolment.GetState() == stillroomv1.EnrolmentState_ENROLMENT_STATE_WAITING
}

// mine fetches the class that the visitor was invited to, and their place in it.
func (v *visit) mine(ctx context.Context) (m mine, err error) {
	m.Now = v.pages.Now()
	if v.caller.GetRole() != stillroomv1.Role_ROLE_PARTICIPANT {
		return m, status.Error(codes.PermissionDenied, "these pages are a participant's own; they open with the link of an invitation")
	}
	err = v.together(func(ctx context.Context) (err error) {
		m.classroom, err = v.classroomOf(ctx, v.caller.GetClass())
		return err
	}, func(ctx context.Context) (err error) {
		m.Enrolment, err = v.rosters().FindEnrolment(ctx, &stillroomv1.FindEnrolmentRequest{Parent: v.caller.GetClass()})
		if status.Code(err) == codes.NotFound {
			m.Enrolment, err = nil, nil
		}
		return err
	})
	return m, err
}

// takeHome are the participant's jars; empty without a place.
func (v *visit) takeHome(ctx context.Context, m mine) (*stillroomv1.TakeHome, error) {
	if m.Enrolment == nil {
		return &stillroomv1.TakeHome{}, nil
	}
	return v.seals().GetTakeHome(ctx, &stillroomv1.GetTakeHomeRequest{Name: m.Enrolment.GetName()})
}

func (v *visit) seals() stillroomv1.SealServiceClient {
	return stillroomv1.NewSealServiceClient(v.pages.Services)
}

// myPage is one of a participant's pages.
func (v *visit) myPage(m mine, tab, title string, data any) page {
	return page{Title: title, Class: myRoot, Tab: tab, Zone: m.Zone, Data: data}
}

// moments are what happens to a participant on the day, in order.
type moments []momentOf

// momentOf is one thing at a time of day.
type momentOf struct {
	At   *timestamppb.Timestamp
	What string
	// Title is the recipe it is about, as its author called it; may be empty.
	Title string
	// State is "done", "next" or "later".
	State string
}

// myDay is what the newest plan has for a station, from the opening of the room to its closing.
func myDay(m mine, plan *stillroomv1.LoadPlan) moments {
	station := m.Enrolment.GetStation()
	day := moments{{At: m.GetStartTime(), What: "The class opens"}}
	if t := m.GetLiveSessionTime(); t != nil {
		day = append(day, momentOf{At: t, What: "Live questions begin"})
	}
	for _, b := range plan.GetBatches() {
		if b.GetStation() == station && station != "" {
			if len(b.GetPreparing()) > 0 {
				day = append(day, momentOf{At: timestamppb.New(b.GetCookTime().AsTime().Add(-minutesOf(b.GetPreparing()))), What: "Begin washing and cutting", Title: b.GetTitle()})
			}
			day = append(day, momentOf{At: b.GetCookTime(), What: "Start cooking", Title: b.GetTitle()},
				momentOf{At: b.GetLiddedTime(), What: "Your last jar is lidded by now", Title: b.GetTitle()})
		}
	}
	for _, c := range plan.GetCanners() {
		for _, l := range c.GetLoads() {
			for _, j := range l.GetJars() {
				if j.GetStation() != station || station == "" {
					continue
				}
				jars := jarCount(j.GetJars(), l.GetJarSize())
				day = append(day, momentOf{At: l.GetInTime(), What: jars + " into " + c.GetDisplayName(), Title: j.GetTitle()},
					momentOf{At: l.GetOutTime(), What: jars + " out, to cool undisturbed", Title: j.GetTitle()})
			}
		}
	}
	day = append(day, momentOf{At: timestamppb.New(m.End()), What: "The room closes"})
	slices.SortStableFunc(day, func(a, b momentOf) int { return cmp.Compare(a.At.AsTime().Unix(), b.At.AsTime().Unix()) })
	next := false
	for i := range day {
		switch {
		case !day[i].At.AsTime().After(m.Now):
			day[i].State = "done"
		case !next:
			day[i].State, next = "next", true
		default:
			day[i].State = "later"
		}
	}
	return day
}

// myClass is a participant's first page.
type myClass struct {
	mine
	Station *stillroomv1.Station
	Sheet   *stillroomv1.BringSheet
	Home    *stillroomv1.TakeHome
	Plan    *stillroomv1.LoadPlan
	Day     moments
	// TestFrom and TestUntil are the widest times of the seal check; nil when there is nothing to test.
	TestFrom, TestUntil *timestamppb.Timestamp
	Told                bool
	// Over says that the class has ended, Testable that its seals may be tested, Late that it is late for that.
	Over, Testable, Late bool
}

// Others is how many others work at the participant's bench.
func (c myClass) Others() int32 { return max(0, c.Station.GetParticipantCount()-1) }

func (v *visit) myClass(ctx context.Context) (myClass, error) {
	m, err := v.mine(ctx)
	if err != nil {
		return myClass{}, err
	}
	c := myClass{mine: m}
	err = v.together(func(ctx context.Context) (err error) {
		c.Sheet, err = v.shopping().GetBringSheet(ctx, &stillroomv1.GetBringSheetRequest{})
		return err
	}, func(ctx context.Context) (err error) {
		c.Home, err = v.takeHome(ctx, m)
		return err
	}, func(ctx context.Context) (err error) {
		c.Plan, err = v.newestPlan(ctx, m.GetName())
		return err
	}, func(ctx context.Context) (err error) {
		if m.Enrolment.GetStation() != "" {
			c.Station, err = v.classes().GetStation(ctx, &stillroomv1.GetStationRequest{Name: m.Enrolment.GetStation()})
		}
		return err
	})
	c.Day, c.Told, c.Over = myDay(m, c.Plan), true, !m.Now.Before(m.End())
	for _, j := range c.Home.GetJars() {
		if j.GetJars() == 0 {
			continue
		}
		c.Told = c.Told && j.GetSealCheck() != nil
		if c.TestFrom == nil || j.GetTestFromTime().AsTime().After(c.TestFrom.AsTime()) {
			c.TestFrom = j.GetTestFromTime()
		}
		if c.TestUntil == nil || j.GetReprocessUntilTime().AsTime().Before(c.TestUntil.AsTime()) {
			c.TestUntil = j.GetReprocessUntilTime()
		}
	}
	c.Testable = c.TestFrom != nil && !m.Now.Before(c.TestFrom.AsTime())
	c.Late = c.TestUntil != nil && m.Now.After(c.TestUntil.AsTime())
	return c, err
}

func showMy(v *visit) error {
	c, err := v.myClass(v.ctx)
	if err != nil {
		return err
	}
	return v.render("my", v.myPage(c.mine, "class", c.GetDisplayName(), c))
}

// myEvery is how often a participant's pages look whether something has changed.
const myEvery = 15 * time.Second

// watchMy keeps the place and the day of a participant fresh.
func watchMy(v *visit) error {
	return v.follow("class "+v.caller.GetClass(), myEvery, func(ctx context.Context) ([]byte, error) {
		if err := v.stillIn(ctx); err != nil {
			return nil, err
		}
		c, err := v.with(ctx).myClass(ctx)
		if err != nil {
			return nil, err
		}
		return v.fragment("my", "my-fresh", c)
	})
}

// stillIn sees whether the invitation still opens the class.
func (v *visit) stillIn(ctx context.Context) error {
	_, err := v.access().GetCaller(ctx, &stillroomv1.GetCallerRequest{})
	return err
}

// myCalendar gives the class, its live questions and the seal check to the telephone's calendar.
func myCalendar(v *visit) error {
	if _, err := v.mine(v.ctx); err != nil {
		return err
	}
	c, err := v.questions().ExportClassCalendar(v.ctx, &stillroomv1.ExportClassCalendarRequest{Class: v.caller.GetClass()})
	if err != nil {
		return err
	}
	v.w.Header().Set("Content-Type", c.GetMediaType())
	v.w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", c.GetFileName()))
	_, err = v.w.Write(c.GetContent())
	return err
}

// isMine says whether a path is one of the participants' pages.
func isMine(path string) bool {
	return path == "/"+myRoot || strings.HasPrefix(path, "/"+myRoot+"/")
}

// invitationOver tells somebody kindly that their link opens nothing, and whom to ask.
func (v *visit) invitationOver(code int) error {
	v.status = code
	v.caller = nil
	return v.render("invitation-over", page{Title: "This invitation opens nothing any more", Plain: true})
}

// pendingCookie keeps an invitation for a moment, until somebody who is signed in as
// another has said what they want, so that it need not stay in the address.
const pendingCookie, pendingSeconds = "stillroom-invitation", 600

// joinInstead asks whether to open an invitation in the place of the present session.
func (v *visit) joinInstead() error {
	c, err := v.r.Cookie(v.pages.cookieName(v.r, pendingCookie))
	if err != nil || !plausible(c.Value) {
		return v.see("/")
	}
	v.setCookie(pendingCookie, "", -1)
	invited, err := v.who(c.Value)
	if status.Code(err) == codes.Unauthenticated {
		return v.invitationOver(http.StatusNotFound)
	}
	if err != nil {
		return err
	}
	other, err := v.who(v.pages.token(v.r))
	if err != nil {
		v.begin(c.Value, invited)
		return v.see("/")
	}
	return v.render("join", page{Title: "Open the invitation?", Plain: true, Data: map[string]any{"Secret": c.Value, "Other": other, "Caller": invited}})
}
