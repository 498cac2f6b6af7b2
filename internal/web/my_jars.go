package web

import (
	"context"
	"fmt"
	"net/url"
	"strconv"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// myJars are a participant's jars, and their seals.
type myJars struct {
	mine
	Home   *stillroomv1.TakeHome
	Shares []jarShare
}

// jarShare is a participant's jars of one batch.
type jarShare struct {
	*stillroomv1.JarShare
	mine  mine
	steps []*stillroomv1.ProcedureStep
	// ID is the last part of the batch's name.
	ID   string
	Form form
}

// How are the published ways to test a seal.
func (s jarShare) How() []*stillroomv1.ProcedureStep {
	var how []*stillroomv1.ProcedureStep
	for _, step := range s.steps {
		if step.GetStage() == sealTesting {
			how = append(how, step)
		}
	}
	return how
}

// sealTesting is the stage at which seals are tested, as the service calls it.
const sealTesting = "checking seals"

// Out says that the jars are out of a canner, as far as is known.
func (s jarShare) Out() bool {
	if at := s.GetFirstOutTime(); at != nil {
		return !s.mine.Now.Before(at.AsTime())
	}
	return !s.mine.Now.Before(s.mine.End())
}

// Testable says that the jars have stood long enough for their seals to be tested.
func (s jarShare) Testable() bool {
	return s.GetTestFromTime() != nil && !s.mine.Now.Before(s.GetTestFromTime().AsTime())
}

// Late says that unsealed jars can no longer be processed again.
func (s jarShare) Late() bool {
	return s.GetReprocessUntilTime() != nil && s.mine.Now.After(s.GetReprocessUntilTime().AsTime())
}

// jarAnswer is one jar of the form: whether it sealed.
type jarAnswer struct {
	Name    string
	Number  int
	Yes, No bool
}

// Answers are the form's jars, with what was sent, else with what was told before.
func (s jarShare) Answers() []jarAnswer {
	n := int(max(s.GetJars(), s.GetSealCheck().GetSealedJars()+s.GetSealCheck().GetUnsealedJars()))
	all := make([]jarAnswer, n)
	sealed, unsealed := int(s.GetSealCheck().GetSealedJars()), int(s.GetSealCheck().GetUnsealedJars())
	for i := range all {
		all[i] = jarAnswer{Name: jarField(s.ID, i+1), Number: i + 1}
		if s.Form.Values != nil {
			all[i].Yes, all[i].No = s.Form.Values.Get(all[i].Name) == "yes", s.Form.Values.Get(all[i].Name) == "no"
		} else {
			all[i].Yes, all[i].No = i < sealed, i >= sealed && i < sealed+unsealed
		}
	}
	return all
}

func jarField(batch string, number int) string { return "jar-" + batch + "-" + strconv.Itoa(number) }

func (v *visit) myJars(ctx context.Context, f form, of string) (myJars, error) {
	m, err := v.mine(ctx)
	if err != nil {
		return myJars{}, err
	}
	home, err := v.takeHome(ctx, m)
	jars := myJars{mine: m, Home: home}
	for _, j := range home.GetJars() {
		j.RefrigerateReason = sentence(j.GetRefrigerateReason())
		s := jarShare{JarShare: j, mine: m, steps: home.GetSteps(), ID: last(j.GetBatch())}
		if s.ID == of {
			s.Form = f
		}
		jars.Shares = append(jars.Shares, s)
	}
	return jars, err
}

func showMyJars(v *visit) error { return v.showJars(form{}, "") }

func (v *visit) showJars(f form, of string) error {
	jars, err := v.myJars(v.ctx, f, of)
	if err != nil {
		return err
	}
	p := v.myPage(jars.mine, "jars", "Your jars", jars)
	if f.refused() {
		return v.renderForm("my-jars", p)
	}
	return v.render("my-jars", p)
}

// mostJars is the largest number of jars of a batch.
const mostJars = 200

// tellMySeals tells how the seals of a batch's jars came out, or corrects what was told.
func tellMySeals(v *visit) error {
	id := v.r.PathValue("batch")
	jars, err := v.myJars(v.ctx, form{}, "")
	if err != nil {
		return err
	}
	var share *jarShare
	for i := range jars.Shares {
		if jars.Shares[i].ID == id {
			share = &jars.Shares[i]
		}
	}
	if share == nil {
		return status.Error(codes.NotFound, "you have no jars of this batch")
	}
	check := &stillroomv1.SealCheck{Batch: share.GetBatch()}
	if n, err := strconv.ParseInt(v.form("unsealed"), 10, 32); err == nil && n >= 0 && n <= mostJars {
		check.UnsealedJars = int32(n) // told before the seals are tested
	}
	for i := range mostJars {
		switch v.form(jarField(id, i+1)) {
		case "yes":
			check.SealedJars++
		case "no":
			check.UnsealedJars++
		}
	}
	if check.GetSealedJars()+check.GetUnsealedJars() == 0 {
		return v.showJars(form{Values: sent(v), Problems: map[string]string{"": "Say of one jar at least whether it sealed."}}, id)
	}
	if was := share.GetSealCheck(); was != nil {
		check.Name, check.Etag = was.GetName(), v.form("etag")
		_, err = v.seals().UpdateSealCheck(v.ctx, &stillroomv1.UpdateSealCheckRequest{SealCheck: check})
	} else {
		_, err = v.seals().CreateSealCheck(v.ctx, &stillroomv1.CreateSealCheckRequest{Parent: jars.GetName(), SealCheck: check})
	}
	if err != nil {
		return v.refuse(err, func(f form) error {
			for field, problem := range f.Problems { // the form has no field of its own for a count
				if field != "" {
					f.Problems[""] = problem
				}
			}
			return v.showJars(f, id)
		})
	}
	v.pages.nudges.wake("class " + v.caller.GetClass())
	said := fmt.Sprintf("Thank you: %s sealed.", allOf(check.GetSealedJars()))
	if check.GetUnsealedJars() > 0 {
		said = fmt.Sprintf("Thank you. %s did not seal: what to do stands below.", count(check.GetUnsealedJars(), "jar", "jars"))
	}
	return v.done("/my/jars#batch-"+url.PathEscape(id), said)
}

func allOf(n int32) string {
	if n == 1 {
		return "your jar"
	}
	return fmt.Sprintf("all %d jars", n)
}

// sent are the values of the form that was sent.
func sent(v *visit) url.Values {
	_ = v.r.ParseForm()
	return v.r.PostForm
}
