package web

import (
	"fmt"
	"mime"
	"strconv"
	"strings"

	"google.golang.org/protobuf/types/known/fieldmaskpb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// question is the name of the question that the path names.
func (v *visit) question() string { return v.name("kitchens", "questions") }

// back goes to where a step was taken, and tells what happened. The service has published the change to all who watch.
func (v *visit) back(notice string) error {
	to := "/" + v.name("kitchens", "classes") + "/questions"
	if sent := v.form("back"); sent != "" {
		to = within(sent)
	}
	return v.done(to, notice)
}

// stepQuestion takes a question a step on: the form says which.
func stepQuestion(v *visit) error {
	name, service := v.question(), v.questions()
	var err error
	var notice string
	switch do := v.form("do"); do {
	case "park":
		_, err = service.ParkQuestion(v.ctx, &stillroomv1.ParkQuestionRequest{Name: name})
		notice = "It is set aside."
	case "skip":
		_, err = service.SkipQuestion(v.ctx, &stillroomv1.SkipQuestionRequest{Name: name})
		notice = "It went back behind the others."
	case "reopen":
		_, err = service.ReopenQuestion(v.ctx, &stillroomv1.ReopenQuestionRequest{Name: name})
		notice = "It is back in the queue."
	case "split":
		_, err = service.SplitQuestion(v.ctx, &stillroomv1.SplitQuestionRequest{Name: name})
		notice = "It is a question of its own again."
	case "withdraw":
		_, err = service.WithdrawQuestion(v.ctx, &stillroomv1.WithdrawQuestionRequest{Name: name})
		notice = "It is taken back."
	default:
		return badForm("do", "choose what to do with the question")
	}
	if err != nil {
		return err
	}
	return v.back(notice)
}

// mergeQuestions makes the picked questions part of one.
func mergeQuestions(v *visit) error {
	if err := v.r.ParseForm(); err != nil {
		return badForm("pick", "the form could not be read")
	}
	into := v.form("into")
	var others []string
	for _, name := range v.r.PostForm["pick"] {
		if into == "" {
			into = name
		} else if name != into {
			others = append(others, name)
		}
	}
	if len(others) == 0 {
		return badForm("pick", "pick at least two questions that ask the same")
	}
	q, err := v.questions().MergeQuestions(v.ctx, &stillroomv1.MergeQuestionsRequest{Name: into, Others: others, RequestId: requestID(v.form("request"))})
	if err != nil {
		return err
	}
	return v.back(fmt.Sprintf("%s in one now; %s.", count(len(others)+1, "question is", "questions are"), peopleWords(q.GetAskerCount()+q.GetEndorsementCount())))
}

// useOrder stores the running order, so that taking the next question follows it.
func useOrder(v *visit) error {
	f, refuse := v.sentForm()
	req := f.order(v.name("kitchens", "classes"))
	req.Apply = true
	if f.refused() {
		return v.showQueueProblem(f.Problems)
	}
	order, err := v.questions().PlanRunningOrder(v.ctx, req)
	if err != nil {
		return refuse(err, func(f form) error { return v.showQueueProblem(f.Problems) })
	}
	return v.back(fmt.Sprintf("The order of %s is stored; the live session follows it.", count(len(order.GetPositions()), "question", "questions")))
}

// showQueueProblem shows the page with what was wrong with a form that has no fields of its own to put it beside.
func (v *visit) showQueueProblem(problems map[string]string) error {
	return v.showQueue(form{Problems: map[string]string{"": strings.Join(sortedProblems(problems), " ")}})
}

// carryOver moves what is open to another class, or to the general questions.
func carryOver(v *visit) error {
	f, refuse := v.sentForm()
	reply, err := v.questions().CarryOverQuestions(v.ctx, &stillroomv1.CarryOverQuestionsRequest{
		FromClass: v.name("kitchens", "classes"), ToClass: v.form("to"), RequestId: f.request()})
	if err != nil {
		return refuse(err, func(f form) error { return v.showQueueProblem(f.Problems) })
	}
	return v.back(count(len(reply.GetQuestions()), "question was", "questions were") + " carried over.")
}

// askForSomebody asks a question that somebody said aloud.
func askForSomebody(v *visit) error {
	f, refuse := v.sentForm()
	q, err := v.questions().CreateQuestion(v.ctx, &stillroomv1.CreateQuestionRequest{
		Parent: v.name("kitchens"), RequestId: f.request(),
		Question: &stillroomv1.Question{Class: v.name("kitchens", "classes"), Asker: v.form("asker"), Text: v.form("text")},
	})
	if err != nil {
		return refuse(err, v.showQueue)
	}
	if q.GetUrgent() {
		return v.back("Asked. It cannot wait: read what is published about it.")
	}
	return v.back("Asked.")
}

var audiences = []struct {
	Value    stillroomv1.AnswerAudience
	Key, Who string
}{
	{stillroomv1.AnswerAudience_ANSWER_AUDIENCE_ASKERS, "askers", "those who asked or endorsed it"},
	{stillroomv1.AnswerAudience_ANSWER_AUDIENCE_CLASS, "class", "everybody in the class"},
	{stillroomv1.AnswerAudience_ANSWER_AUDIENCE_LIBRARY, "library", "everybody of the kitchen, for good"},
}

func audienceOf(key string) stillroomv1.AnswerAudience {
	for _, a := range audiences {
		if a.Key == key {
			return a.Value
		}
	}
	return stillroomv1.AnswerAudience_ANSWER_AUDIENCE_UNSPECIFIED
}

// answerQuestion records an answer, and takes the next question when asked to.
func answerQuestion(v *visit) error {
	f, refuse := v.sentForm()
	a := &stillroomv1.Answer{Text: v.form("text"), AnsweredBy: v.hostSent(), Spoken: v.form("spoken") != ""}
	for i := range sourceFields {
		publication, locator := v.form(fmt.Sprintf("publication-%d", i+1)), v.form(fmt.Sprintf("locator-%d", i+1))
		if publication != "" || locator != "" {
			a.Sources = append(a.Sources, &stillroomv1.Source{Publication: publication, Locator: locator})
		}
	}
	_, err := v.questions().AnswerQuestion(v.ctx, &stillroomv1.AnswerQuestionRequest{Name: v.question(), Answer: a, RequestId: f.request()})
	if err != nil {
		return refuse(err, func(f form) error { return v.showQuestion(questionForms{Answer: f}) })
	}
	if session := v.form("next"); session != "" {
		return v.takeNext(session, a.GetAnsweredBy(), "The answer is recorded. ")
	}
	return v.back("The answer is recorded.")
}

// publishAnswer shows a reviewed answer to more people.
func publishAnswer(v *visit) error {
	_, refuse := v.sentForm()
	_, err := v.questions().PublishAnswer(v.ctx, &stillroomv1.PublishAnswerRequest{
		Name: v.question(), Audience: audienceOf(v.form("audience")), Reviewer: v.form("reviewer"), Text: v.form("text"), Etag: v.form("etag")})
	if err != nil {
		return refuse(err, func(f form) error { return v.showQuestion(questionForms{Publish: f}) })
	}
	return v.back("The answer is published.")
}

// editQuestion changes a question's words, topic, minutes, or how a running order treats it.
func editQuestion(v *visit) error {
	f, refuse := v.sentForm()
	show := func(f form) error { return v.showQuestion(questionForms{Edit: f}) }
	q := &stillroomv1.Question{Name: v.question(), Text: v.form("text"), Topic: v.form("topic"), Etag: v.form("etag")}
	if text := v.form("minutes"); text != "" {
		minutes, err := strconv.ParseFloat(text, 64)
		if err != nil || minutes < 0 || minutes > 720 {
			f.Problems["minutes"] = "Answering takes 0 to 720 minutes; 0 means the usual time."
			return show(f.form)
		}
		q.AnswerSeconds = int32(minutes*60 + 0.5)
	}
	q.Pinned, q.Excluded = v.form("order") == "in", v.form("order") == "out"
	_, err := v.questions().UpdateQuestion(v.ctx, &stillroomv1.UpdateQuestionRequest{
		Question: q, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"text", "topic", "answer_seconds", "pinned", "excluded"}}})
	if err != nil {
		return refuse(err, show)
	}
	return v.back("The question is changed.")
}

var answerFormats = map[string]stillroomv1.AnswerFormat{
	"markdown": stillroomv1.AnswerFormat_ANSWER_FORMAT_MARKDOWN, "csv": stillroomv1.AnswerFormat_ANSWER_FORMAT_CSV, "json": stillroomv1.AnswerFormat_ANSWER_FORMAT_JSON,
}

// exportAnswers gives a class's answers as a file.
func exportAnswers(v *visit) error {
	reply, err := v.questions().ExportAnswers(v.ctx, &stillroomv1.ExportAnswersRequest{
		Parent: v.name("kitchens"), Class: v.name("kitchens", "classes"),
		Format: answerFormats[v.r.URL.Query().Get("format")], Audience: audienceOf(v.r.URL.Query().Get("audience"))})
	if err != nil {
		return err
	}
	return v.file(reply.GetFileName(), reply.GetMediaType(), reply.GetContent())
}

// exportCalendar gives the class, its live session and its seal check as a calendar file.
func exportCalendar(v *visit) error {
	reply, err := v.questions().ExportClassCalendar(v.ctx, &stillroomv1.ExportClassCalendarRequest{Class: v.name("kitchens", "classes")})
	if err != nil {
		return err
	}
	return v.file(reply.GetFileName(), reply.GetMediaType(), reply.GetContent())
}

// file answers with a file to keep.
func (v *visit) file(name, kind string, content []byte) error {
	h := v.w.Header()
	h.Set("Content-Type", kind)
	h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	h.Set("Content-Length", strconv.Itoa(len(content)))
	_, _ = v.w.Write(content)
	return nil
}
