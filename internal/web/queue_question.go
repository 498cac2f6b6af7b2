package web

import (
	"context"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// longestTitle is how much of a question its page's title shows, in characters.
const longestTitle = 120

// oneLine shortens a text to one line of at most so many characters.
func oneLine(text string, most int) string {
	runes := []rune(strings.Join(strings.Fields(text), " "))
	if len(runes) <= most {
		return string(runes)
	}
	return string(runes[:most-1]) + "…"
}

// sourceFields is how many sources the form of an answer takes.
const sourceFields = 3

// questionForms are the forms of a question's page as they were sent, with what was wrong.
type questionForms struct{ Answer, Publish, Edit form }

func (f questionForms) refused() bool {
	return f.Answer.refused() || f.Publish.refused() || f.Edit.refused()
}

// questionPage is one question with all that can be done about it.
type questionPage struct {
	queued
	// Long says that the title holds only its beginning.
	Long   bool
	Into   *stillroomv1.Question
	Steps  []*stillroomv1.QuestionStep
	Drafts []draft
	Forms  questionForms
	// Me is the name that the visitor answers under.
	Me         string
	MayPublish bool
	Request    string
	Audiences  any
}

// draft is an answer that the service suggests to start from.
type draft struct {
	Key, Text string
	Sources   []*stillroomv1.Source
	Cautions  []*stillroomv1.Caution
	// Of is the question that it answered; empty for one that was worked out.
	Of string
	// Started says that the form holds it.
	Started bool
}

// showQuestion shows one question.
func (v *visit) showQuestion(forms questionForms) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	q, err := v.questions().GetQuestion(v.ctx, &stillroomv1.GetQuestionRequest{Name: v.question()})
	if err != nil {
		return err
	}
	base := "/" + c.GetName()
	d := questionPage{
		queued: queued{Question: q, Base: base, Back: base + "/question/" + last(q.GetName()), Zone: c.Zone}, Forms: forms, Me: v.host(),
		MayPublish: v.least(stillroomv1.Role_ROLE_INSTRUCTOR), Request: uuid.NewString(), Audiences: audiences,
	}
	var suggested *stillroomv1.SuggestAnswersResponse
	err = v.together(func(ctx context.Context) (err error) {
		d.Steps, err = every(func(token string) (*stillroomv1.ListQuestionStepsResponse, error) {
			return v.questions().ListQuestionSteps(ctx, &stillroomv1.ListQuestionStepsRequest{Parent: q.GetName(), PageSize: most, PageToken: token})
		}, (*stillroomv1.ListQuestionStepsResponse).GetSteps)
		return err
	}, func(ctx context.Context) (err error) {
		if d.Open() {
			suggested, err = v.questions().SuggestAnswers(ctx, &stillroomv1.SuggestAnswersRequest{Parent: v.name("kitchens"), Class: q.GetClass(), Text: q.GetText()})
		}
		return err
	}, func(ctx context.Context) error {
		all, err := v.questionsOf(ctx, q.GetClass())
		for _, other := range all {
			if other.GetMergedInto() == q.GetName() {
				d.Merged = append(d.Merged, other)
			}
			if other.GetName() == q.GetMergedInto() {
				d.Into = other
			}
		}
		return err
	})
	if err != nil {
		return err
	}
	d.Drafts = draftsOf(suggested, v.r.URL.Query().Get("from"))
	d.start()
	title := oneLine(q.GetText(), longestTitle)
	d.Long = title != q.GetText()
	p := v.classPage(c, "questions", title, d)
	p.Trail = append(p.Trail, crumb{"Questions", base + "/questions"})
	if forms.refused() {
		return v.renderForm("question", p)
	}
	return v.render("question", p)
}

// draftsOf are the suggested answers: those that were worked out first.
func draftsOf(s *stillroomv1.SuggestAnswersResponse, started string) []draft {
	var all []draft
	for i, a := range s.GetComputed() {
		all = append(all, draft{Key: fmt.Sprintf("worked-out-%d", i+1), Text: a.GetText(), Sources: a.GetSources(), Cautions: a.GetCautions()})
	}
	for i, a := range s.GetAnswers() {
		answer := a.GetQuestion().GetAnswer()
		all = append(all, draft{Key: fmt.Sprintf("published-%d", i+1), Text: answer.GetText(), Sources: answer.GetSources(), Of: a.GetQuestion().GetText()})
	}
	for i := range all {
		all[i].Started = all[i].Key == started
	}
	return all
}

// start fills the forms that were not sent with what is known: the draft that was chosen, the answer, the question.
func (d *questionPage) start() {
	if !d.Forms.Answer.refused() {
		values := url.Values{"host": {d.Me}}
		for _, s := range d.Drafts {
			if !s.Started {
				continue
			}
			text := s.Text
			for _, c := range s.Cautions { // they belong to a process that is named
				text += "\n" + c.GetText()
			}
			values.Set("text", text)
			for i, source := range s.Sources {
				if i < sourceFields {
					values.Set(fmt.Sprintf("publication-%d", i+1), source.GetPublication())
					values.Set(fmt.Sprintf("locator-%d", i+1), source.GetLocator())
				}
			}
		}
		d.Forms.Answer = form{Values: values}
	}
	if !d.Forms.Publish.refused() {
		d.Forms.Publish = form{Values: url.Values{"reviewer": {d.Me}, "text": {d.GetAnswer().GetText()}, "audience": {"class"}}}
	}
	if !d.Forms.Edit.refused() {
		values := url.Values{"text": {d.GetText()}, "topic": {d.GetTopic()}, "order": {"free"}}
		if d.GetAnswerSeconds() > 0 {
			values.Set("minutes", strconv.FormatFloat(float64(d.GetAnswerSeconds())/60, 'f', -1, 64))
		}
		switch {
		case d.GetPinned():
			values.Set("order", "in")
		case d.GetExcluded():
			values.Set("order", "out")
		}
		d.Forms.Edit = form{Values: values}
	}
}

// SourceRows are the numbers of the form's sources.
func (d questionPage) SourceRows() []int {
	rows := make([]int, sourceFields)
	for i := range rows {
		rows[i] = i + 1
	}
	return rows
}

// AudienceWords says who may read the answer.
func (d questionPage) AudienceWords() string {
	for _, a := range audiences {
		if a.Value == d.GetAnswer().GetAudience() {
			return a.Who
		}
	}
	return "nobody yet"
}

var stepWords = map[string]string{
	"ask": "asked", "edit": "changed", "endorse": "endorsed", "take": "taken", "park": "set aside", "skip": "put back behind the others",
	"undo": "put back into the queue", "answer": "answered", "publish": "published", "merge": "merged into another", "split": "split off again",
	"withdraw": "taken back", "carry": "carried over from another class",
}

// stepWord says what happened to a question.
func stepWord(step string) string {
	if w := stepWords[step]; w != "" {
		return w
	}
	return step
}

var stateWords = map[stillroomv1.QuestionState]string{
	stillroomv1.QuestionState_QUESTION_STATE_ASKED: "waiting", stillroomv1.QuestionState_QUESTION_STATE_TAKEN: "being answered",
	stillroomv1.QuestionState_QUESTION_STATE_PARKED: "set aside", stillroomv1.QuestionState_QUESTION_STATE_ANSWERED: "answered",
	stillroomv1.QuestionState_QUESTION_STATE_MERGED: "part of another", stillroomv1.QuestionState_QUESTION_STATE_WITHDRAWN: "taken back",
}

// ruleWord is a rule's name as people say it.
func ruleWord(rule string) string { return strings.ReplaceAll(rule, "_", " ") }

// stateWord is where a question is in its life, in words.
func stateWord(s stillroomv1.QuestionState) string { return stateWords[s] }

// badForm refuses a form before any call.
func badForm(field, problem string) error {
	st := status.New(codes.InvalidArgument, problem)
	if with, err := st.WithDetails(&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{{Field: field, Description: problem}}}); err == nil {
		st = with
	}
	return st.Err()
}

// requestID is a UUID that a form was given, or a new one.
func requestID(sent string) string {
	if id, err := uuid.Parse(strings.TrimSpace(sent)); err == nil {
		return id.String()
	}
	return uuid.NewString()
}
