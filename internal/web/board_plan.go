package web

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/words"
)

// quickFailure is how long a live page waits for a search to be refused before it shows
// the progress instead of the form.
const quickFailure = 500 * time.Millisecond

// planAnew plans a class from nothing.
func planAnew(v *visit) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	f, refuse := v.sentForm()
	req := &stillroomv1.PlanLoadsRequest{Parent: c.GetName(), RequestId: f.request(), TimeLimit: f.seconds()}
	return v.planWith(f, []string{c.GetName()}, req.GetRequestId(), v.plan(req), func(f form) error { return v.showBoard(boardForms{Plan: f}) }, refuse)
}

// planWhatIf plans a class with other working times or methods.
func planWhatIf(v *visit) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	old, err := v.loads().GetLoadPlan(v.ctx, &stillroomv1.GetLoadPlanRequest{Name: v.name("kitchens", "classes", "loadPlans")})
	if err != nil {
		return err
	}
	f, refuse := v.sentForm()
	req := &stillroomv1.PlanLoadsRequest{Parent: c.GetName(), RequestId: f.request(), TimeLimit: f.seconds(), AroundPlans: old.GetAroundPlans(), Assumptions: f.assumptions()}
	req.Choices = f.choices(old)
	if f.Values.Get("keep") != "" {
		req.PreviousPlan = old.GetName()
	}
	return v.planWith(f, []string{c.GetName()}, req.GetRequestId(), v.plan(req), func(f form) error { return v.showBoard(boardForms{WhatIf: f}) }, refuse)
}

// planRest plans the rest of a class that is under way.
func planRest(v *visit) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	old, err := v.loads().GetLoadPlan(v.ctx, &stillroomv1.GetLoadPlanRequest{Name: v.name("kitchens", "classes", "loadPlans")})
	if err != nil {
		return err
	}
	f, refuse := v.sentForm()
	happened := readHappened(f, old, c.Zone)
	req := &stillroomv1.PlanLoadsRequest{
		Parent: c.GetName(), RequestId: f.request(), TimeLimit: f.seconds(), PreviousPlan: old.GetName(),
		Assumptions: old.GetAssumptions(), Choices: old.GetChoices(), AroundPlans: old.GetAroundPlans(), Happened: happened,
	}
	return v.planWith(f, []string{c.GetName()}, req.GetRequestId(), v.plan(req), func(f form) error { return v.showBoard(boardForms{Replan: f}) }, refuse)
}

// planTogether plans classes that share the room, all at once.
func planTogether(v *visit) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	f, refuse := v.sentForm()
	req := &stillroomv1.PlanClassesTogetherRequest{
		Parent: v.name("kitchens"), Classes: append([]string{c.GetName()}, f.Values["class"]...), RequestId: f.request(), TimeLimit: f.seconds(),
	}
	if len(req.GetClasses()) < 2 {
		f.Problems["class"] = "Choose at least one other class."
	}
	return v.planWith(f, req.GetClasses(), req.GetRequestId(), v.planAll(req), func(f form) error { return v.showBoard(boardForms{Together: f}) }, refuse)
}

// stopSearch ends a search before its time; nothing is stored.
func stopSearch(v *visit) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	text := "No search was under way."
	if v.least(stillroomv1.Role_ROLE_INSTRUCTOR) && v.pages.searches.stop(c.GetName()) {
		text = "The search was stopped; the board is as it was."
	}
	return v.done("/"+c.GetName()+"/board", text)
}

// planWith makes plans by a form. A browser with scripts is sent to the board, which
// shows how the search comes along; another waits for the plan. A refused form is shown again.
func (v *visit) planWith(f sentForm, classes []string, id string, make maker, show func(form) error, refuse func(error, func(form) error) error) error {
	if f.refused() {
		return show(f.form)
	}
	s, err := v.search(id, classes, make)
	if err != nil {
		return refuse(err, show)
	}
	board := "/" + classes[0] + "/board"
	if f.Values.Get("live") != "" {
		select {
		case <-s.moved:
		case <-time.After(quickFailure):
		}
		select {
		case <-s.done:
		default:
			return v.see(board + "#board-search")
		}
	}
	select {
	case <-s.done:
	case <-v.r.Context().Done():
		return v.r.Context().Err()
	}
	plans, err := v.pages.searches.result(s)
	if err != nil {
		return refuse(err, show)
	}
	text := "Plan " + last(plans[0]) + " is made."
	if len(plans) > 1 {
		text = fmt.Sprintf("%d plans are made; this is plan %s of this class.", len(plans), last(plans[0]))
	}
	return v.done(board, text)
}

// sentForm is a form of the board that was sent.
type sentForm struct{ form }

// sentForm reads the form; refuse shows it again with what the services said.
func (v *visit) sentForm() (f sentForm, refuse func(error, func(form) error) error) {
	if err := v.r.ParseForm(); err != nil {
		v.r.PostForm = url.Values{}
	}
	f = sentForm{form{Values: v.r.PostForm, Problems: map[string]string{}}}
	return f, func(err error, show func(form) error) error {
		problems, ok := refused(err)
		if !ok {
			return err
		}
		for field, text := range problems {
			f.Problems[field] = text
		}
		return show(f.form)
	}
}

// request is the UUID that the form was given, so that sending it twice makes one plan.
func (f sentForm) request() string {
	return requestID(f.Values.Get("request"))
}

// seconds is how long to search; unset leaves it to the service.
func (f sentForm) seconds() *durationpb.Duration {
	text := strings.TrimSpace(f.Values.Get("seconds"))
	if text == "" {
		return nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > 60 {
		f.Problems["seconds"] = "How long to search is 1 to 60 seconds."
		return nil
	}
	return durationpb.New(time.Duration(n) * time.Second)
}

// workTimes are the working times that no publication prints.
var workTimes = []struct {
	Field, Label string
	of           func(*stillroomv1.WorkAssumptions) **int32
}{
	{"prepare_minutes", "Wash, peel and cut before the first pot, for two people", func(a *stillroomv1.WorkAssumptions) **int32 { return &a.PrepareMinutes }},
	{"heat_minutes", "Bring a pot to the heat", func(a *stillroomv1.WorkAssumptions) **int32 { return &a.HeatMinutes }},
	{"fill_minutes_per_jar", "Fill, wipe and lid a jar, for two people", func(a *stillroomv1.WorkAssumptions) **int32 { return &a.FillMinutesPerJar }},
	{"unprinted_step_minutes", "Any other step without a printed time", func(a *stillroomv1.WorkAssumptions) **int32 { return &a.UnprintedStepMinutes }},
	{"before_class_minutes", "A printed soak this long or longer is done before the class (0: none is)", func(a *stillroomv1.WorkAssumptions) **int32 { return &a.BeforeClassMinutes }},
}

// assumptions are the working times in the form; an empty field leaves one to the program.
func (f sentForm) assumptions() *stillroomv1.WorkAssumptions {
	a := &stillroomv1.WorkAssumptions{}
	for _, w := range workTimes {
		text := strings.TrimSpace(f.Values.Get(w.Field))
		if text == "" {
			continue
		}
		n, err := strconv.Atoi(text)
		if err != nil || n < 0 || n > 480 {
			f.Problems[w.Field] = "This is whole minutes, 0 to 480."
			continue
		}
		m := int32(n)
		*w.of(a) = &m
	}
	return a
}

// choices are the methods picked in the form.
func (f sentForm) choices(plan *stillroomv1.LoadPlan) []*stillroomv1.ProcessPick {
	var picks []*stillroomv1.ProcessPick
	for _, b := range plan.GetBatches() {
		field := "method-" + last(b.GetBatch())
		method, err := strconv.Atoi(f.Values.Get(field))
		if err != nil || method == 0 {
			continue
		}
		if words.Method(stillroomv1.ProcessMethod(method)) == "" {
			f.Problems[field] = "Choose one of the methods."
			continue
		}
		picks = append(picks, &stillroomv1.ProcessPick{Batch: b.GetBatch(), Method: stillroomv1.ProcessMethod(method)})
	}
	return picks
}

// workTime is a working time as its form shows it.
type workTime struct{ Field, Label, Value, Problem string }

// WorkTimes are the working times of the plan shown, or as they were typed.
func (b *board) WorkTimes() []workTime {
	var all []workTime
	for _, w := range workTimes {
		t := workTime{Field: w.Field, Label: w.Label, Problem: b.Forms.WhatIf.Problems[w.Field]}
		if a := b.Plan.GetAssumptions(); a != nil {
			if set := *w.of(a); set != nil {
				t.Value = strconv.Itoa(int(*set))
			}
		}
		if b.Forms.WhatIf.refused() {
			t.Value = b.Forms.WhatIf.Values.Get(w.Field)
		}
		all = append(all, t)
	}
	return all
}

// methodChoice is a batch's choice of methods.
type methodChoice struct {
	boardBatch
	Field   string
	Options []methodOption
}

type methodOption struct {
	Value  int
	Words  string
	Chosen bool
}

// Methods are the choices of methods for each batch, as the plan shown was asked for or as they were chosen.
func (b *board) Methods() []methodChoice {
	chosen := map[string]int{}
	for _, pick := range b.Plan.GetChoices() {
		chosen[pick.GetBatch()] = int(pick.GetMethod())
	}
	var all []methodChoice
	for _, batch := range b.Batches {
		m := methodChoice{boardBatch: batch, Field: "method-" + batch.Key()}
		at := chosen[batch.GetBatch()]
		if b.Forms.WhatIf.refused() {
			at, _ = strconv.Atoi(b.Forms.WhatIf.Values.Get(m.Field))
		}
		m.Options = append(m.Options, methodOption{Words: "the program's choice", Chosen: at == 0})
		for method := stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER; words.Method(method) != ""; method++ {
			m.Options = append(m.Options, methodOption{Value: int(method), Words: words.Method(method), Chosen: at == int(method)})
		}
		all = append(all, m)
	}
	return all
}
