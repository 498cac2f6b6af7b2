package web

import (
	"context"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// queuePages are a class's questions before and after a live session.
func (p *Pages) queuePages() {
	p.tab(40, "questions", "Questions", "/questions")
	const at = "/kitchens/{kitchen}/classes/{class}/questions"
	p.get(at, func(v *visit) error { return v.showQueue(form{}) })
	p.get(at+"/changes", followQueue)
	p.get(at+"/export", exportAnswers)
	p.get(at+"/calendar", exportCalendar)
	p.post(at, askForSomebody)
	p.post(at+"/merge", mergeQuestions)
	p.post(at+"/order", useOrder)
	p.post(at+"/carry", carryOver)
	const one = "/kitchens/{kitchen}/classes/{class}/question/{question}"
	p.get(one, func(v *visit) error { return v.showQuestion(questionForms{}) })
	p.post(one+"/step", stepQuestion)
	p.post(one+"/answer", answerQuestion)
	p.post(one+"/publish", publishAnswer)
	p.post(one+"/edit", editQuestion)
}

// queue is a class's questions as their page shows them.
type queue struct {
	Class classroom
	Zone  *time.Location
	// Base is the address of the class's pages, Back where a step comes back to.
	Base, Back string
	Urgent     []queued
	Waiting    []queued
	Parked     []queued
	Answered   []queued
	Withdrawn  int
	Groups     []*stillroomv1.QuestionGroup
	Order      *stillroomv1.RunningOrder
	// Minutes and Opening are what the running order was worked out for.
	Minutes, Opening string
	OrderProblem     string
	Session          *stillroomv1.Session
	Host             string
	// General are open questions of the kitchen that are about no class, such as those carried over.
	General    []queued
	Others     []*stillroomv1.Class
	People     []*stillroomv1.Enrolment
	MayPublish bool
	Ask        form
	Request    string
}

// queued is a question with those that were merged into it.
type queued struct {
	*stillroomv1.Question
	Merged []*stillroomv1.Question
	// Base and Back are those of the queue.
	Base, Back string
	Zone       *time.Location
}

// ID is the last part of the question's name.
func (q queued) ID() string { return last(q.GetName()) }

// People is how many want to know.
func (q queued) People() int32 { return q.GetAskerCount() + q.GetEndorsementCount() }

// Open says that it can still be answered.
func (q queued) Open() bool {
	return q.Asked() || q.Taken() || q.Parked()
}

// Asked, Taken, Parked and Answered say where it is in its life.
func (q queued) Asked() bool  { return q.GetState() == stillroomv1.QuestionState_QUESTION_STATE_ASKED }
func (q queued) Taken() bool  { return q.GetState() == stillroomv1.QuestionState_QUESTION_STATE_TAKEN }
func (q queued) Parked() bool { return q.GetState() == stillroomv1.QuestionState_QUESTION_STATE_PARKED }
func (q queued) Answered() bool {
	return q.GetState() == stillroomv1.QuestionState_QUESTION_STATE_ANSWERED
}

// allButWithdrawn are the states that the pages of a queue show.
var allButWithdrawn = []stillroomv1.QuestionState{
	stillroomv1.QuestionState_QUESTION_STATE_ASKED, stillroomv1.QuestionState_QUESTION_STATE_TAKEN, stillroomv1.QuestionState_QUESTION_STATE_PARKED,
	stillroomv1.QuestionState_QUESTION_STATE_ANSWERED, stillroomv1.QuestionState_QUESTION_STATE_MERGED,
}

// stillOpen are the states of questions that can still be answered.
var stillOpen = allButWithdrawn[:3]

// questionsOf are a class's questions, urgent ones first, then by the people who want to know.
func (v *visit) questionsOf(ctx context.Context, class string) ([]*stillroomv1.Question, error) {
	return every(func(token string) (*stillroomv1.ListQuestionsResponse, error) {
		return v.questions().ListQuestions(ctx, &stillroomv1.ListQuestionsRequest{
			Parent: v.name("kitchens"), Class: class, States: allButWithdrawn, PageSize: most, PageToken: token})
	}, (*stillroomv1.ListQuestionsResponse).GetQuestions)
}

// showQueue shows the questions of a class.
func (v *visit) showQueue(ask form) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	q, err := v.queue(c)
	if err != nil {
		return err
	}
	q.Ask = ask
	err = v.together(func(ctx context.Context) (err error) {
		q.Others, err = every(func(token string) (*stillroomv1.ListClassesResponse, error) {
			return v.classes().ListClasses(ctx, &stillroomv1.ListClassesRequest{Parent: v.name("kitchens"), PageSize: most, PageToken: token})
		}, (*stillroomv1.ListClassesResponse).GetClasses)
		q.Others = slices.DeleteFunc(q.Others, func(o *stillroomv1.Class) bool { return o.GetName() == c.GetName() })
		return err
	}, func(ctx context.Context) error {
		all, err := every(func(token string) (*stillroomv1.ListQuestionsResponse, error) {
			return v.questions().ListQuestions(ctx, &stillroomv1.ListQuestionsRequest{Parent: v.name("kitchens"), States: stillOpen, PageSize: most, PageToken: token})
		}, (*stillroomv1.ListQuestionsResponse).GetQuestions)
		for _, one := range all {
			if one.GetClass() == "" {
				q.General = append(q.General, queued{Question: one, Base: q.Base, Back: q.Back, Zone: q.Zone})
			}
		}
		return err
	}, func(ctx context.Context) (err error) {
		q.People, err = every(func(token string) (*stillroomv1.ListEnrolmentsResponse, error) {
			return v.rosters().ListEnrolments(ctx, &stillroomv1.ListEnrolmentsRequest{Parent: c.GetName(), PageSize: most, PageToken: token})
		}, (*stillroomv1.ListEnrolmentsResponse).GetEnrolments)
		return err
	})
	if err != nil {
		return err
	}
	p := v.classPage(c, "questions", "Questions: "+c.GetDisplayName(), q)
	if ask.refused() {
		return v.renderForm("queue", p)
	}
	return v.render("queue", p)
}

// queue gathers what changes on the page of a class's questions.
func (v *visit) queue(c classroom) (*queue, error) {
	q := &queue{
		Class: c, Zone: c.Zone, Base: "/" + c.GetName(), Back: "/" + c.GetName() + "/questions", Host: v.host(),
		MayPublish: v.least(stillroomv1.Role_ROLE_INSTRUCTOR), Request: uuid.NewString(),
	}
	var all []*stillroomv1.Question
	err := v.together(func(ctx context.Context) (err error) {
		all, err = v.questionsOf(ctx, c.GetName())
		return err
	}, func(ctx context.Context) error {
		r, err := v.questions().SuggestGroups(ctx, &stillroomv1.SuggestGroupsRequest{Parent: v.name("kitchens"), Class: c.GetName()})
		q.Groups = r.GetGroups()
		return err
	}, func(ctx context.Context) error {
		return v.orderFor(ctx, c, q)
	}, func(ctx context.Context) (err error) {
		q.Session, err = v.openSession(ctx, c.GetName())
		return err
	})
	if err != nil {
		return nil, err
	}
	q.sort(all)
	return q, nil
}

// sort puts questions where the page shows them.
func (q *queue) sort(all []*stillroomv1.Question) {
	merged := map[string][]*stillroomv1.Question{}
	for _, one := range all {
		if one.GetMergedInto() != "" {
			merged[one.GetMergedInto()] = append(merged[one.GetMergedInto()], one)
		}
	}
	for _, one := range all {
		item := queued{Question: one, Merged: merged[one.GetName()], Base: q.Base, Back: q.Back, Zone: q.Zone}
		switch {
		case one.GetMergedInto() != "":
		case item.Answered():
			q.Answered = append(q.Answered, item)
		case one.GetUrgent():
			q.Urgent = append(q.Urgent, item)
		case item.Parked():
			q.Parked = append(q.Parked, item)
		case item.Asked(), item.Taken():
			q.Waiting = append(q.Waiting, item)
		}
	}
}

// orderFor works out the running order for the minutes that the address asks for.
func (v *visit) orderFor(ctx context.Context, c classroom, q *queue) error {
	f := sentForm{form{Values: v.r.URL.Query(), Problems: map[string]string{}}}
	req := f.order(c.GetName())
	q.Minutes, q.Opening = f.Values.Get("minutes"), f.Values.Get("opening")
	if f.refused() {
		q.OrderProblem = strings.Join(sortedProblems(f.Problems), " ")
		req = &stillroomv1.PlanRunningOrderRequest{Class: c.GetName()}
	}
	order, err := v.questions().PlanRunningOrder(ctx, req)
	q.Order = order
	return err
}

// order is a request for a running order by the fields "minutes" and "opening".
func (f sentForm) order(class string) *stillroomv1.PlanRunningOrderRequest {
	req := &stillroomv1.PlanRunningOrderRequest{Class: class}
	if text := strings.TrimSpace(f.Values.Get("minutes")); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > 720 {
			f.Problems["minutes"] = "The time for questions is 1 to 720 minutes."
		}
		req.SessionMinutes = int32(min(max(n, 0), 720))
	}
	if text := strings.TrimSpace(f.Values.Get("opening")); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 0 || n > 3600 {
			f.Problems["opening"] = "Opening a topic takes 0 to 3600 seconds."
		}
		seconds := int32(min(max(n, 0), 3600))
		req.OpeningSeconds = &seconds
	}
	return req
}

// openSession is a class's open live session; nil when there is none.
func (v *visit) openSession(ctx context.Context, class string) (*stillroomv1.Session, error) {
	all, err := v.sessions(ctx, class)
	if err != nil {
		return nil, err
	}
	for _, s := range all {
		if s.GetState() == stillroomv1.SessionState_SESSION_STATE_OPEN {
			return s, nil
		}
	}
	return nil, nil //nolint:nilnil // none is open
}

func (v *visit) sessions(ctx context.Context, class string) ([]*stillroomv1.Session, error) {
	return every(func(token string) (*stillroomv1.ListSessionsResponse, error) {
		return v.questions().ListSessions(ctx, &stillroomv1.ListSessionsRequest{Parent: class, PageSize: most, PageToken: token})
	}, (*stillroomv1.ListSessionsResponse).GetSessions)
}

// hostCookie remembers the name that a host works under in this browser.
const hostCookie = "stillroom-host"

// longestHost is the longest name of a host, in characters.
const longestHost = 120

// host is the name that the visitor hosts under: the one last used in this browser, else the token's.
func (v *visit) host() string {
	if c, err := v.r.Cookie(v.pages.cookieName(v.r, hostCookie)); err == nil {
		if name, err := url.QueryUnescape(c.Value); err == nil && name != "" && len([]rune(name)) <= longestHost {
			return name
		}
	}
	return v.caller.GetDisplayName()
}

// hostSent is the host's name in the form that was sent, and remembers it.
func (v *visit) hostSent() string {
	name := v.form("host")
	if name == "" {
		return v.host()
	}
	if len([]rune(name)) <= longestHost {
		v.setCookie(hostCookie, url.QueryEscape(name), int(longestSession/time.Second))
	}
	return name
}

// followQueue keeps the page of a class's questions fresh: it watches, and sends what looks different after a change.
func followQueue(v *visit) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	return v.stream(func(ctx context.Context, out *events) error {
		var sent sentParts
		return v.watch(ctx, c.GetName(), "", func(watched) error {
			q, err := v.with(ctx).queue(c)
			if err != nil {
				return err
			}
			for _, part := range []string{"queue-list", "queue-groups", "queue-order", "queue-session"} {
				if err := v.sendPart(out, &sent, "", "queue", part, q); err != nil {
					return err
				}
			}
			return nil
		})
	})
}

// peopleWords is how many people want to know: "3 people want to know".
func peopleWords(n int32) string {
	return count(n, "person wants", "people want") + " to know"
}

// minuteClock is a span in minutes and seconds, "3:30".
func minuteClock(seconds int32) string { return fmt.Sprintf("%d:%02d", seconds/60, seconds%60) }
