package web

import (
	"context"
	"fmt"
	"math/big"
	"net/url"
	"regexp"
	"strconv"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// myHome answers how a jar is processed where the participant lives.
type myHome struct {
	mine
	Form form
	Jars []homeJar
	// Asked says that the form was filled in and could be read.
	Asked    bool
	Jar      homeJar
	Altitude *stillroomv1.Altitude
	Kept     bool
	// Found or Refused is the answer.
	Found   *homeProcess
	Refused *homeRefusal
	// Refrigerate says why no process holds for the jar at all; empty when one may.
	Refrigerate string
}

// homeJar is a jar that the participant's class makes.
type homeJar struct {
	Key, Title string
	Size       stillroomv1.JarSize
	Mine       bool
	revision   string
	formula    *stillroomv1.Formula
}

// homeProcess is a published process by one method.
type homeProcess struct {
	Method string
	*stillroomv1.LookUpProcessResponse
	Pack string
}

// homeRefusal is a method for which nothing is printed, and what is missing.
type homeRefusal struct{ Method, Why string }

// wayOf is a way of processing.
type wayOf struct {
	Key, Words string
	method     stillroomv1.ProcessMethod
}

// waysOf are the ways of processing, the one that most people have a pot for first.
var waysOf = []wayOf{
	{"boiling", "Boiling water", stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER},
	{"steam", "Atmospheric steam", stillroomv1.ProcessMethod_PROCESS_METHOD_ATMOSPHERIC_STEAM},
	{"dial", "Pressure, dial gauge", stillroomv1.ProcessMethod_PROCESS_METHOD_PRESSURE_DIAL},
	{"weighted", "Pressure, weighted gauge", stillroomv1.ProcessMethod_PROCESS_METHOD_PRESSURE_WEIGHTED},
}

// Ways are the choices of the form.
func (h myHome) Ways() []wayOf { return waysOf }

// way is the one chosen; the first unless another is.
func (h myHome) way() wayOf {
	for _, w := range waysOf {
		if w.Key == h.Form.Values.Get("method") {
			return w
		}
	}
	return waysOf[0]
}

// methodKeys puts words for the keys by which a refusal lists the methods that are printed.
var methodKeys = strings.NewReplacer("boiling_water", "boiling water", "atmospheric_steam", "atmospheric steam",
	"pressure_dial", "pressure by dial gauge", "pressure_weighted", "pressure by weighted gauge")

func packName(p stillroomv1.Pack) string {
	switch p {
	case stillroomv1.Pack_PACK_HOT:
		return "hot pack"
	case stillroomv1.Pack_PACK_RAW:
		return "raw pack"
	}
	return ""
}

// homeJars are the jars of the class, the participant's own first, each kind once.
func (v *visit) homeJars(ctx context.Context, m mine) ([]homeJar, error) {
	all, err := every(func(token string) (*stillroomv1.ListBatchesResponse, error) {
		return v.classes().ListBatches(ctx, &stillroomv1.ListBatchesRequest{Parent: m.GetName(), PageSize: most, PageToken: token})
	}, (*stillroomv1.ListBatchesResponse).GetBatches)
	if err != nil {
		return nil, err
	}
	var own, others []homeJar
	seen := map[string]bool{}
	for _, mineFirst := range []bool{true, false} {
		for _, b := range all {
			isMine := m.Enrolled() && m.Enrolment.GetStation() != "" && b.GetStation() == m.Enrolment.GetStation()
			key := fmt.Sprintf("%s %d", strings.TrimPrefix(b.GetRecipeRevision(), v.caller.GetKitchen()+"/"), b.GetJarSize())
			if isMine != mineFirst || seen[key] {
				continue
			}
			seen[key] = true
			jar := homeJar{Key: key, Size: b.GetJarSize(), Mine: isMine, revision: b.GetRecipeRevision()}
			if isMine {
				own = append(own, jar)
			} else {
				others = append(others, jar)
			}
		}
	}
	jars := append(own, others...)
	formulas := map[string]*stillroomv1.Formula{}
	for i := range jars {
		f := formulas[jars[i].revision]
		if f == nil {
			r, err := v.recipes().GetRecipeRevision(ctx, &stillroomv1.GetRecipeRevisionRequest{Name: jars[i].revision})
			if err != nil {
				return nil, err
			}
			f = r.GetFormula()
			formulas[jars[i].revision] = f
		}
		jars[i].formula, jars[i].Title = f, f.GetTitle()
	}
	return jars, nil
}

func showMyHome(v *visit) error {
	h, err := v.myHome(v.r.URL.Query())
	if err != nil {
		return err
	}
	p := v.myPage(h.mine, "home", "Processing at home", h)
	if h.Form.refused() {
		return v.renderForm("my-home", p)
	}
	return v.render("my-home", p)
}

// myHome reads the form and looks up what it asks for.
func (v *visit) myHome(values url.Values) (myHome, error) {
	m, err := v.mine(v.ctx)
	if err != nil {
		return myHome{}, err
	}
	h := myHome{mine: m, Form: form{Values: values, Problems: map[string]string{}}}
	person := &stillroomv1.Participant{}
	err = v.together(func(ctx context.Context) (err error) {
		h.Jars, err = v.homeJars(ctx, m)
		return err
	}, func(ctx context.Context) (err error) {
		person, err = v.rosters().GetParticipant(ctx, &stillroomv1.GetParticipantRequest{Name: v.caller.GetParticipant()})
		return err
	})
	if err != nil {
		return h, err
	}
	if !values.Has("altitude") {
		h.Form.Values = url.Values{"unit": {"ft"}}
		if a := person.GetHomeAltitude(); a != nil {
			h.Form.Values.Set("altitude", strconv.FormatFloat(a.GetMetres(), 'f', -1, 64))
			h.Form.Values.Set("unit", "m")
		}
		return h, nil
	}
	metres, problem := readAltitude(values.Get("altitude"), values.Get("unit"))
	if problem != "" {
		h.Form.Problems["altitude"] = problem
	}
	for _, j := range h.Jars {
		if j.Key == values.Get("jar") {
			h.Jar = j
		}
	}
	if h.Jar.Key == "" {
		h.Form.Problems["jar"] = "Choose one of the jars of your class."
	}
	if h.Form.refused() {
		return h, nil
	}
	h.Altitude = &stillroomv1.Altitude{Metres: metres}
	h.Kept = person.GetHomeAltitude() != nil && person.GetHomeAltitude().GetMetres() == metres
	return h, v.lookUp(&h)
}

// lookUp asks for the process of the chosen jar in the chosen way.
func (v *visit) lookUp(h *myHome) error {
	f := h.Jar.formula
	if f.GetProcessKey() == "" || f.GetNotForLoadReason() != "" {
		h.Asked = true
		h.Refrigerate = sentence(f.GetNotForLoadReason())
		if h.Refrigerate == "" {
			h.Refrigerate = "No process is published for this recipe."
		}
		return nil
	}
	way := h.way()
	reply, err := v.processes().LookUpProcess(v.ctx, &stillroomv1.LookUpProcessRequest{
		ProductKey: f.GetProcessKey(), Pack: f.GetPack(), JarSize: h.Jar.Size, Method: way.method,
		Place: &stillroomv1.LookUpProcessRequest_Altitude{Altitude: h.Altitude},
	})
	switch status.Code(err) {
	case codes.OK:
		h.Found = &homeProcess{Method: way.Words, LookUpProcessResponse: reply, Pack: packName(f.GetPack())}
	case codes.FailedPrecondition, codes.NotFound:
		h.Refused = &homeRefusal{way.Words, sentence(methodKeys.Replace(status.Convert(err).Message()))}
	case codes.InvalidArgument:
		problems, _ := refused(err)
		for field, problem := range problems {
			if field == "metres" || field == "" {
				h.Form.Problems["altitude"] = problem
			} else {
				h.Form.Problems["jar"] = problem
			}
		}
		return nil
	default:
		return err
	}
	h.Asked = true
	return nil
}

// readAltitude reads a height in feet or metres; else it says what is wrong with it.
func readAltitude(text, unit string) (metres float64, problem string) {
	text = strings.ReplaceAll(strings.TrimSpace(text), ",", "")
	for _, u := range []string{"ft", "feet", "m", "metres", "meters"} {
		if bare, ok := strings.CutSuffix(strings.ToLower(text), u); ok {
			text, unit = strings.TrimSpace(bare), u[:1]
			break
		}
	}
	n, ok := new(big.Rat), altitudeText.MatchString(text)
	if ok {
		n, ok = n.SetString(text)
	}
	if !ok {
		return 0, "Write your altitude as a number, such as 5,430. A map or the town’s pages tell it."
	}
	if strings.HasPrefix(unit, "f") {
		n.Mul(n, footInMetres)
	}
	// The nearest decimal of what was typed: 6,000 ft must not come out a hair above 6,000 ft.
	metres, _ = n.Float64()
	if metres < -430 || metres > 9000 {
		return 0, "Nobody lives that high or that low: between −430 and 9,000 m (−1,410 and 29,527 ft) is taken. Is it feet or metres?"
	}
	return metres, ""
}

// footInMetres is the international foot, exactly.
var footInMetres = big.NewRat(3048, 10000)

// altitudeText is what a height looks like once its commas are gone.
var altitudeText = regexp.MustCompile(`^[-+]?[0-9]{1,9}(\.[0-9]{0,9})?$`)

// keepMyHome remembers the altitude of a participant's home.
func keepMyHome(v *visit) error {
	metres, problem := readAltitude(v.form("altitude"), v.form("unit"))
	back := "/my/home?" + url.Values{"altitude": {v.form("altitude")}, "unit": {v.form("unit")}, "jar": {v.form("jar")}, "method": {v.form("method")}}.Encode()
	if problem != "" {
		return v.see(back)
	}
	_, err := v.rosters().UpdateParticipant(v.ctx, &stillroomv1.UpdateParticipantRequest{
		Participant: &stillroomv1.Participant{Name: v.caller.GetParticipant(), HomeAltitude: &stillroomv1.Altitude{Metres: metres}},
		UpdateMask:  &fieldmaskpb.FieldMask{Paths: []string{"home_altitude"}},
	})
	if err != nil {
		return err
	}
	return v.done(back, "Your home’s altitude is kept with your name on the kitchen’s roster.")
}
