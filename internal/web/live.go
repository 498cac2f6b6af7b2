package web

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// livePages are a class's live session of questions.
func (p *Pages) livePages() {
	p.tab(50, "live", "Live session", "/live")
	const at = "/kitchens/{kitchen}/classes/{class}/live"
	p.get(at, showLive)
	p.get(at+"/watch", watchLive)
	p.post(at+"/open", openLive)
	p.post(at+"/{session}/next", nextLive)
	p.post(at+"/{session}/close", closeLive)
}

// live is a live session as its page shows it.
type live struct {
	Class classroom
	Zone  *time.Location
	Base  string
	Back  string
	// Session is the open session; nil when there is none.
	Session *stillroomv1.Session
	Past    []*stillroomv1.Session
	// Now are the questions being answered, Next the running order as it stands, Rest what it leaves out.
	Now    []liveQuestion
	Next   []*stillroomv1.RunningOrderPosition
	Rest   []*stillroomv1.LeftOut
	Urgent int
	Parked []queued
	Host   string
	// Watching leaves out what hosts do, and is in larger type.
	Watching bool
	Ends     *timestamppb.Timestamp
	Request  string
}

// liveQuestion is a question that a host is answering.
type liveQuestion struct {
	queued
	// Mine says that this browser's host took it.
	Mine bool
	// Me is the name that the visitor hosts under, Live the open session.
	Me      string
	Live    *stillroomv1.Session
	Request string
}

// live gathers a class's live session from what is known of its questions.
func (v *visit) live(ctx context.Context, c classroom, all []*stillroomv1.Question, watching bool) (*live, error) {
	l := &live{
		Class: c, Zone: c.Zone, Base: "/" + c.GetName(), Back: "/" + c.GetName() + "/live", Host: v.host(), Watching: watching,
	}
	w := v.with(ctx)
	err := w.together(func(ctx context.Context) error {
		sessions, err := v.sessions(ctx, c.GetName())
		for _, s := range sessions {
			if s.GetState() == stillroomv1.SessionState_SESSION_STATE_OPEN {
				l.Session = s
			} else {
				l.Past = append(l.Past, s)
			}
		}
		slices.Reverse(l.Past)
		return err
	}, func(ctx context.Context) error {
		order, err := v.questions().PlanRunningOrder(ctx, &stillroomv1.PlanRunningOrderRequest{Class: c.GetName()})
		l.Next, l.Rest = order.GetPositions(), order.GetLeftOut()
		return err
	})
	if err != nil {
		return nil, err
	}
	// The same while nothing has happened, so that the part is not sent again for it.
	l.Request = derivedID(c.GetName(), strconv.Itoa(len(l.Past)))
	if l.Session != nil && c.GetLiveSessionMinutes() > 0 {
		l.Ends = timestamppb.New(l.Session.GetOpenTime().AsTime().Add(time.Duration(c.GetLiveSessionMinutes()) * time.Minute))
	}
	q := queue{Base: l.Base, Back: l.Back, Zone: c.Zone}
	q.sort(all)
	for _, one := range slices.Concat(q.Urgent, q.Waiting, q.Parked) {
		switch {
		case one.Taken():
			l.Now = append(l.Now, liveQuestion{queued: one, Mine: one.GetHost() == l.Host, Me: l.Host, Live: l.Session, Request: derivedID(one.GetName(), one.GetEtag())})
		case one.GetUrgent() && one.Asked():
			l.Urgent++
		case one.Parked():
			l.Parked = append(l.Parked, one)
		}
	}
	// What is being answered is not next.
	l.Next = slices.DeleteFunc(l.Next, func(p *stillroomv1.RunningOrderPosition) bool {
		return p.GetQuestion().GetState() == stillroomv1.QuestionState_QUESTION_STATE_TAKEN
	})
	return l, nil
}

func showLive(v *visit) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	all, err := v.questionsOf(v.ctx, c.GetName())
	if err != nil {
		return err
	}
	watching := v.r.URL.Query().Get("watch") != "" || !v.least(stillroomv1.Role_ROLE_ASSISTANT)
	l, err := v.live(v.ctx, c, all, watching)
	if err != nil {
		return err
	}
	return v.render("live", v.classPage(c, "live", "Live session: "+c.GetDisplayName(), l))
}

// openLive opens a live session.
func openLive(v *visit) error {
	_, err := v.questions().CreateSession(v.ctx, &stillroomv1.CreateSessionRequest{
		Parent: v.name("kitchens", "classes"), Host: v.hostSent(), RequestId: requestID(v.form("request"))})
	if err != nil {
		return err
	}
	v.pages.nudges.wake(liveTopic(v.name("kitchens", "classes")))
	return v.done("/"+v.name("kitchens", "classes")+"/live", "The live session is open.")
}

// nextLive gives the host the next question.
func nextLive(v *visit) error {
	return v.takeNext(v.name("kitchens", "classes", "sessions"), v.hostSent(), "")
}

// takeNext takes the next question of a session for a host, and comes back to the live page.
func (v *visit) takeNext(session, host, before string) error {
	_, err := v.questions().TakeNextQuestion(v.ctx, &stillroomv1.TakeNextQuestionRequest{Session: session, Host: host, RequestId: uuid.NewString()})
	at := "/" + v.name("kitchens", "classes") + "/live"
	switch status.Code(err) {
	case codes.OK:
		return v.done(at, before+"Here is the next question.")
	case codes.NotFound:
		return v.done(at, before+"No question is left.")
	}
	if problems, ok := refused(err); ok && before != "" { // what was done is done
		return v.done(at, before+"The next question was not taken: "+strings.Join(sortedProblems(problems), " "))
	}
	return err
}

// derivedID is a UUID that is the same for the same texts.
func derivedID(texts ...string) string {
	return uuid.NewSHA1(uuid.Nil, []byte(strings.Join(texts, "\x00"))).String()
}

// closeLive closes a session.
func closeLive(v *visit) error {
	s, err := v.questions().CloseSession(v.ctx, &stillroomv1.CloseSessionRequest{Name: v.name("kitchens", "classes", "sessions")})
	if err != nil {
		return err
	}
	v.pages.nudges.wake(liveTopic(v.name("kitchens", "classes")))
	return v.done("/"+v.name("kitchens", "classes")+"/live", "The live session is closed: "+count(s.GetAnsweredCount(), "question was", "questions were")+" answered.")
}

// liveTopic wakes those who look at a class's live page when its session opens or closes.
func liveTopic(class string) string { return "live session of " + class }

// liveEvery is how often a live page looks whether a session was opened or closed on another server.
const liveEvery = 5 * time.Second

// settleFor is how long a live page waits for further changes after one, so that it shows them as one.
const settleFor = 100 * time.Millisecond

// watched is what a watch has come to know.
type watched struct {
	// all are the questions as they are now, by name.
	all map[string]*stillroomv1.Question
	// token goes on from here.
	token string
}

// list are the questions in the order of the service's lists: urgent first, then by the people who want to know, then the oldest.
func (w watched) list() []*stillroomv1.Question {
	all := make([]*stillroomv1.Question, 0, len(w.all))
	for _, q := range w.all {
		all = append(all, q)
	}
	slices.SortFunc(all, func(a, b *stillroomv1.Question) int {
		if a.GetUrgent() != b.GetUrgent() {
			if a.GetUrgent() {
				return -1
			}
			return 1
		}
		if d := b.GetAskerCount() + b.GetEndorsementCount() - a.GetAskerCount() - a.GetEndorsementCount(); d != 0 {
			return int(d)
		}
		if d := a.GetCreateTime().AsTime().Compare(b.GetCreateTime().AsTime()); d != 0 {
			return d
		}
		return strings.Compare(a.GetName(), b.GetName())
	})
	return all
}

// watch follows a class's questions from a token, or from the beginning when it is empty,
// and tells of each change once it knows all questions. A watch that fell behind goes on from its last token.
func (v *visit) watch(ctx context.Context, class, token string, tell func(watched) error) error {
	w := watched{all: map[string]*stillroomv1.Question{}, token: token}
	if token != "" {
		// What the browser saw is gone from here, so read it all; what has happened since the token is sent once more, as it is now.
		all, err := v.with(ctx).questionsOf(ctx, class)
		if err != nil {
			return err
		}
		for _, q := range all {
			w.all[q.GetName()] = q
		}
	}
	for {
		err := v.watchOnce(ctx, class, &w, tell)
		switch status.Code(err) {
		case codes.ResourceExhausted: // too slow: on from the last token
		case codes.InvalidArgument:
			if w.token == "" {
				return err
			}
			w = watched{all: map[string]*stillroomv1.Question{}} // a token of another making: from the beginning
		default:
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(watchAgain):
		}
	}
}

// watchAgain is how long a watch that was refused waits; the service asks for a second.
const watchAgain = time.Second

// errGone says that whoever was told is not there any more.
var errGone = errors.New("the visitor is gone")

func (v *visit) watchOnce(ctx context.Context, class string, w *watched, tell func(watched) error) error {
	stream, err := v.questions().WatchQuestions(ctx, &stillroomv1.WatchQuestionsRequest{Parent: v.name("kitchens"), Class: class, ResumeToken: w.token})
	if err != nil {
		return err
	}
	if w.token != "" {
		if err := tell(*w); err != nil {
			return err
		}
	}
	for {
		m, err := stream.Recv()
		if err != nil {
			return err
		}
		if q := m.GetQuestion(); q != nil {
			if q.GetClass() != class || q.GetState() == stillroomv1.QuestionState_QUESTION_STATE_WITHDRAWN {
				delete(w.all, q.GetName())
			} else {
				w.all[q.GetName()] = q
			}
		}
		if m.GetResumeToken() != "" {
			w.token = m.GetResumeToken()
		}
		if m.GetKind() == stillroomv1.WatchKind_WATCH_KIND_SNAPSHOT_END || m.GetKind() == stillroomv1.WatchKind_WATCH_KIND_CHANGED {
			if err := tell(*w); err != nil {
				return err
			}
		}
	}
}

// liveParts are the parts of the live page that change.
var liveParts = []string{"live-head", "live-now", "live-next", "live-rest"}

// watchLive keeps a live page fresh. Each event carries the watch's token, and a browser
// that comes back with it, here or to another server, misses nothing.
func watchLive(v *visit) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	watching := v.r.URL.Query().Get("watch") != ""
	return v.stream(func(ctx context.Context, out *events) error {
		ctx, cancel := context.WithCancelCause(ctx)
		defer cancel(nil)
		type change struct {
			questions []*stillroomv1.Question
			token     string
		}
		changes := make(chan change)
		go func() {
			cancel(v.watch(ctx, c.GetName(), v.after(), func(w watched) error {
				select {
				case changes <- change{w.list(), w.token}:
					return nil
				case <-ctx.Done():
					return errGone
				}
			}))
		}()
		timer := time.NewTicker(liveEvery)
		defer timer.Stop()
		var sent sentParts
		var known change
		for {
			woken := v.pages.nudges.wait(liveTopic(c.GetName()))
			select {
			case <-ctx.Done():
				return context.Cause(ctx)
			case known = <-changes:
				// An answer and the next question come together; what is between them is not worth a look.
				settled := time.After(settleFor)
				for settling := true; settling; {
					select {
					case known = <-changes:
					case <-settled:
						settling = false
					case <-ctx.Done():
						return context.Cause(ctx)
					}
				}
			case <-woken:
			case <-timer.C:
			}
			if known.token == "" {
				continue
			}
			l, err := v.live(ctx, c, known.questions, watching)
			if err != nil {
				return err
			}
			for _, part := range liveParts {
				if err := v.sendPart(out, &sent, known.token, "live", part, l); err != nil {
					return nil // the visitor is gone
				}
			}
		}
	})
}
