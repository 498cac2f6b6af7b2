package web

import (
	"bytes"
	"context"
	"net/http"
	"net/url"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// myQuestions are what a participant asked, what others ask, and what was answered.
type myQuestions struct {
	Zone  *time.Location
	Class classroom
	Ask   myAsking
	// Own are the participant's questions, Queue those of others that are open, Answered those of others with an answer.
	Own, Queue, Answered []myQuestion
	// Session is the open live session; nil when there is none.
	Session *stillroomv1.Session
}

// myAsking is the form for a question.
type myAsking struct {
	Form    form
	Recipes []askAbout
	Request string
	// Just is the question that was asked a moment ago; nil when none was.
	Just *myQuestion
	// Looked says that answers were looked for; Answers, Computed and Notices are what was found.
	Looked   bool
	Answers  []*stillroomv1.SuggestedAnswer
	Computed []*stillroomv1.ComputedAnswer
	Notices  []*stillroomv1.TriageNotice
}

// askAbout is a recipe that a question may be about.
type askAbout struct{ Name, Title string }

// myQuestion is a question as a participant sees it: who asked it is nobody's business.
type myQuestion struct {
	*stillroomv1.Question
	ID   string
	Mine bool
	// Wanted is how many people want to know.
	Wanted int32
}

// Where is where the question stands, in words.
func (q myQuestion) Where() string {
	switch q.GetState() {
	case stillroomv1.QuestionState_QUESTION_STATE_TAKEN:
		return "being answered now"
	case stillroomv1.QuestionState_QUESTION_STATE_PARKED:
		return "set aside: somebody looks it up"
	case stillroomv1.QuestionState_QUESTION_STATE_ANSWERED:
		return "answered"
	case stillroomv1.QuestionState_QUESTION_STATE_MERGED:
		return "asked together with another that asks the same"
	}
	return "waiting"
}

// Open says that the question is still to be answered.
func (q myQuestion) Open() bool {
	switch q.GetState() {
	case stillroomv1.QuestionState_QUESTION_STATE_ASKED, stillroomv1.QuestionState_QUESTION_STATE_TAKEN, stillroomv1.QuestionState_QUESTION_STATE_PARKED:
		return true
	}
	return false
}

// myStates are the states of questions that a participant sees.
var myStates = []stillroomv1.QuestionState{
	stillroomv1.QuestionState_QUESTION_STATE_ASKED, stillroomv1.QuestionState_QUESTION_STATE_TAKEN, stillroomv1.QuestionState_QUESTION_STATE_PARKED,
	stillroomv1.QuestionState_QUESTION_STATE_ANSWERED, stillroomv1.QuestionState_QUESTION_STATE_MERGED,
}

// myQueue fetches the questions of the class.
func (v *visit) myQueue(ctx context.Context, c classroom) (myQuestions, error) {
	q := myQuestions{Zone: c.Zone, Class: c}
	var all []*stillroomv1.Question
	err := v.together(func(ctx context.Context) (err error) {
		all, err = every(func(token string) (*stillroomv1.ListQuestionsResponse, error) {
			return v.questions().ListQuestions(ctx, &stillroomv1.ListQuestionsRequest{Parent: v.caller.GetKitchen(), States: myStates, PageSize: most, PageToken: token})
		}, (*stillroomv1.ListQuestionsResponse).GetQuestions)
		return err
	}, func(ctx context.Context) error {
		sessions, err := every(func(token string) (*stillroomv1.ListSessionsResponse, error) {
			return v.questions().ListSessions(ctx, &stillroomv1.ListSessionsRequest{Parent: v.caller.GetClass(), PageSize: most, PageToken: token})
		}, (*stillroomv1.ListSessionsResponse).GetSessions)
		for _, s := range sessions {
			if s.GetState() == stillroomv1.SessionState_SESSION_STATE_OPEN {
				q.Session = s
			}
		}
		return err
	})
	for _, one := range all {
		m := myQuestion{Question: one, ID: last(one.GetName()), Mine: one.GetAsker() == v.caller.GetParticipant(), Wanted: one.GetAskerCount() + one.GetEndorsementCount()}
		switch {
		case m.Mine:
			q.Own = append(q.Own, m)
		case m.Open():
			q.Queue = append(q.Queue, m)
		case one.GetAnswer() != nil && one.GetState() == stillroomv1.QuestionState_QUESTION_STATE_ANSWERED:
			q.Answered = append(q.Answered, m)
		}
	}
	return q, err
}

// recipesToAsk are the recipes of the class, the participant's own first.
func (v *visit) recipesToAsk(ctx context.Context, m mine) ([]askAbout, error) {
	jars, err := v.homeJars(ctx, m)
	var all []askAbout
	seen := map[string]bool{}
	for _, j := range jars {
		if name := parent(j.revision); !seen[name] {
			seen[name] = true
			all = append(all, askAbout{Name: name, Title: j.Title})
		}
	}
	return all, err
}

func showMyQuestions(v *visit) error { return v.showAsking(myAsking{}) }

// showAsking shows the questions with a form as it stands.
func (v *visit) showAsking(a myAsking) error {
	m, err := v.mine(v.ctx)
	if err != nil {
		return err
	}
	var q myQuestions
	err = v.together(func(ctx context.Context) (err error) {
		q, err = v.myQueue(ctx, m.classroom)
		return err
	}, func(ctx context.Context) (err error) {
		a.Recipes, err = v.recipesToAsk(ctx, m)
		return err
	})
	if err != nil {
		return err
	}
	if a.Request == "" {
		a.Request = uuid.NewString()
	}
	for i := range q.Own {
		if id := v.r.URL.Query().Get("asked"); id == q.Own[i].ID && q.Own[i].Open() {
			a.Just = &q.Own[i]
		}
	}
	q.Ask = a
	p := v.myPage(m, "questions", "Questions", q)
	if a.Form.refused() {
		return v.renderForm("my-questions", p)
	}
	return v.render("my-questions", p)
}

// askMine asks a question, or looks for an answer to it first. What was typed is shown
// again whenever it was not taken, also when the services cannot be reached.
func askMine(v *visit) error {
	a := v.asking()
	text := v.form("text")
	if text == "" {
		a.Form.Problems["text"] = "Type your question."
		return v.showAsking(a)
	}
	if v.form("do") == "look" {
		found, err := v.questions().SuggestAnswers(v.ctx, &stillroomv1.SuggestAnswersRequest{Parent: v.caller.GetKitchen(), Text: text})
		if err != nil {
			return v.askAgain(err, a)
		}
		a.Looked, a.Answers, a.Computed, a.Notices = true, found.GetAnswers(), found.GetComputed(), found.GetNotices()
		return v.showAsking(a)
	}
	asked, err := v.questions().CreateQuestion(v.ctx, &stillroomv1.CreateQuestionRequest{
		Parent: v.caller.GetKitchen(), RequestId: a.Request,
		Question: &stillroomv1.Question{Text: text, Recipe: v.form("recipe"), Unnamed: v.form("unnamed") != ""},
	})
	if err != nil {
		return v.askAgain(err, a)
	}
	said := "Your question is in the queue."
	if asked.GetUrgent() {
		said = "Your question is in the queue, marked as one that cannot wait. What to do until your instructor answers stands below."
	}
	return v.done("/my/questions?asked="+url.QueryEscape(last(asked.GetName())), said)
}

// asking is the form for a question as it was sent.
func (v *visit) asking() myAsking {
	a := myAsking{Form: form{Values: sent(v), Problems: map[string]string{}}, Request: v.form("request")}
	if _, err := uuid.Parse(a.Request); err != nil {
		a.Request = uuid.NewString()
	}
	return a
}

// askAgain shows the form again with what was typed and why it was not taken.
func (v *visit) askAgain(err error, a myAsking) error {
	problems, ok := refused(err)
	t := explain(err)
	switch {
	case ok:
		a.Form.Problems = problems
		if problems["text"] == "" && problems[""] == "" {
			for _, p := range problems {
				a.Form.Problems[""] = p
			}
		}
		return v.showAsking(a)
	case t.Status == http.StatusUnauthorized:
		return err
	}
	if t.Status == http.StatusTooManyRequests {
		a.Form.Problems[""] = sentence(t.Detail)
		return v.showAsking(a)
	}
	return v.askUnsent(t, a)
}

// askUnsent shows what was typed when nothing can be reached: the rest of the page needs the services, the words do not.
func (v *visit) askUnsent(t trouble, a myAsking) error {
	a.Form.Problems[""] = "It was not sent. " + t.Title + ". " + t.Advice
	v.status = t.Status
	return v.render("my-ask", page{Title: "Your question was not sent yet", Class: myRoot, Tab: "questions", Data: a})
}

// stepMyQuestion endorses a question, takes that back, or withdraws one's own.
func stepMyQuestion(v *visit) error {
	name := v.caller.GetKitchen() + "/questions/" + v.r.PathValue("question")
	var err error
	said := ""
	switch v.r.PathValue("step") {
	case "endorse":
		_, err = v.questions().EndorseQuestion(v.ctx, &stillroomv1.EndorseQuestionRequest{Name: name})
		said = "You want to know that too."
	case "unendorse":
		_, err = v.questions().UnendorseQuestion(v.ctx, &stillroomv1.UnendorseQuestionRequest{Name: name})
		said = "You no longer ask for that."
	case "withdraw":
		_, err = v.questions().WithdrawQuestion(v.ctx, &stillroomv1.WithdrawQuestionRequest{Name: name})
		said = "Your question is taken back."
	default:
		err = status.Error(codes.NotFound, "there is no such page")
	}
	if problems, ok := refused(err); ok {
		return v.done("/my/questions", problems[""])
	}
	if err != nil {
		return err
	}
	return v.done("/my/questions", said)
}

// watchMyQuestions keeps the queue fresh: the service tells of each change, and what is
// shown is then read anew, as this participant may see it. A browser that comes back
// with the token of the last event it got is told of what it missed, and only then.
func watchMyQuestions(v *visit) error {
	c, err := v.classroomOf(v.ctx, v.caller.GetClass())
	if err != nil {
		return err
	}
	return v.stream(func(ctx context.Context, out *events) error {
		var shown []byte
		show := func(token string) error {
			q, err := v.with(ctx).myQueue(ctx, c)
			if err != nil {
				return err
			}
			now, err := v.fragment("my-questions", "my-queue", q)
			if err != nil || bytes.Equal(now, shown) {
				return err
			}
			shown = now
			return out.swap(token, now)
		}
		return v.watchMine(ctx, v.after(), show)
	})
}

// watchMine tells of each change of the class's questions, with the token to go on from.
func (v *visit) watchMine(ctx context.Context, token string, tell func(token string) error) error {
	for {
		stream, err := v.questions().WatchQuestions(ctx, &stillroomv1.WatchQuestionsRequest{Parent: v.caller.GetKitchen(), ResumeToken: token})
		for err == nil {
			var m *stillroomv1.WatchQuestionsResponse
			if m, err = stream.Recv(); err != nil {
				break
			}
			if m.GetResumeToken() != "" {
				token = m.GetResumeToken()
			}
			switch m.GetKind() {
			case stillroomv1.WatchKind_WATCH_KIND_SNAPSHOT_END, stillroomv1.WatchKind_WATCH_KIND_CHANGED:
				err = tell(token)
			case stillroomv1.WatchKind_WATCH_KIND_ALIVE:
				err = v.stillIn(ctx)
			}
		}
		switch status.Code(err) {
		case codes.ResourceExhausted: // too slow: on from the last token
		case codes.InvalidArgument:
			if token == "" {
				return err
			}
			token = "" // of another making: from the beginning
		default:
			return err
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
	}
}
