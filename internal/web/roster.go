package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"net/url"
	"slices"
	"strings"

	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// rosterPages change who comes to a class.
func (p *Pages) rosterPages() {
	p.get("/kitchens/{kitchen}/classes/{class}/enrol", func(v *visit) error { return v.showEnrol(form{}) })
	p.post("/kitchens/{kitchen}/classes/{class}/enrol", enrol)
	p.post("/kitchens/{kitchen}/classes/{class}/enrolments/{enrolment}/cancel", cancelPlace)
	p.post("/kitchens/{kitchen}/classes/{class}/enrolments/{enrolment}/move", movePlace)
	p.post("/kitchens/{kitchen}/classes/{class}/enrolments/{enrolment}/invite", invite)
}

// enrolling is the form that gives a place.
type enrolling struct {
	classroom
	Full     bool
	Stations []*stillroomv1.Station
	// People are those of the kitchen who are not in the class.
	People []*stillroomv1.Participant
	Form   form
}

func (v *visit) showEnrol(f form) error {
	class := v.name("kitchens", "classes")
	var d enrolling
	var people []*stillroomv1.Participant
	var places []*stillroomv1.Enrolment
	err := v.together(func(ctx context.Context) (err error) {
		d.classroom, err = v.classroom(ctx)
		return err
	}, func(ctx context.Context) (err error) {
		d.Stations, err = v.stations(ctx, class)
		return err
	}, func(ctx context.Context) (err error) {
		people, err = v.people(ctx)
		return err
	}, func(ctx context.Context) (err error) {
		places, err = v.enrolments(ctx, class)
		return err
	})
	if err != nil {
		return err
	}
	here := map[string]bool{}
	for _, e := range places {
		here[e.GetParticipant()] = true
	}
	for _, p := range people {
		if !here[p.GetName()] {
			d.People = append(d.People, p)
		}
	}
	slices.SortFunc(d.People, func(a, b *stillroomv1.Participant) int {
		return strings.Compare(strings.ToLower(a.GetDisplayName())+a.GetName(), strings.ToLower(b.GetDisplayName())+b.GetName())
	})
	d.Full, d.Form = d.GetEnrolledCount() >= d.GetCapacity(), f
	if d.Form.Values == nil {
		d.Form.Values = url.Values{}
	}
	p := v.classPage(d.classroom, "class", "Give a place", d)
	if f.refused() {
		return v.renderForm("enrol", p)
	}
	return v.render("enrol", p)
}

// enrol gives a place to somebody the kitchen knows, or to somebody new. Somebody new is
// sent as a roster of one line, so that they are added and get their place in one step.
func enrol(v *visit) error {
	class := v.name("kitchens", "classes")
	if who := v.form("participant"); who != "" {
		e, err := v.rosters().CreateEnrolment(v.ctx, &stillroomv1.CreateEnrolmentRequest{
			Parent: class, WhenFull: stillroomv1.WhenFull_WHEN_FULL_WAIT, RequestId: v.form("request_id"),
			Enrolment: &stillroomv1.Enrolment{Participant: who, Station: v.form("station")},
		})
		if err != nil {
			return v.refuse(err, v.showEnrol)
		}
		return v.done("/"+class, placeGiven(e))
	}
	if v.form("name") == "" {
		return v.showEnrol(form{Values: v.r.PostForm, Problems: map[string]string{"name": "Choose somebody above, or write the name of somebody new."}})
	}
	var file bytes.Buffer
	w := csv.NewWriter(&file)
	_ = w.Write([]string{"name", "email", "phone", "allergies", "home_altitude", "station"})
	_ = w.Write([]string{v.form("name"), v.form("email"), v.form("phone"), v.form("allergies"), v.form("home_altitude"), last(v.form("station"))})
	w.Flush()
	reply, err := v.rosters().ImportRoster(v.ctx, &stillroomv1.ImportRosterRequest{Parent: class, Csv: file.Bytes(), RequestId: v.form("request_id")})
	if err != nil {
		return v.refuse(err, v.showEnrol)
	}
	if reply.GetAlreadyEnrolled() > 0 || len(reply.GetEnrolments()) == 0 {
		return v.done("/"+class, v.form("name")+" was on the roster already; nothing was changed.")
	}
	return v.done("/"+class, placeGiven(reply.GetEnrolments()[0]))
}

func placeGiven(e *stillroomv1.Enrolment) string {
	if e.GetState() == stillroomv1.EnrolmentState_ENROLMENT_STATE_WAITING {
		return e.GetParticipantDisplayName() + " is number " + count(e.GetWaitingPosition(), "", "") + " on the waiting list."
	}
	return e.GetParticipantDisplayName() + " has a place."
}

// cancelPlace gives a place back; the first who waits gets it.
func cancelPlace(v *visit) error {
	reply, err := v.rosters().CancelEnrolment(v.ctx, &stillroomv1.CancelEnrolmentRequest{Name: v.name("kitchens", "classes", "enrolments"), Etag: v.form("etag")})
	if err != nil {
		return v.refuse(err, v.showGlance)
	}
	said := reply.GetCancelled().GetParticipantDisplayName() + " gave the place back."
	if up := reply.GetPromoted(); up != nil {
		said += " " + up.GetParticipantDisplayName() + " has it now."
	}
	return v.done("/"+v.name("kitchens", "classes")+"#roster", said)
}

// movePlace sends somebody to another station.
func movePlace(v *visit) error {
	e, err := v.rosters().UpdateEnrolment(v.ctx, &stillroomv1.UpdateEnrolmentRequest{
		Enrolment:  &stillroomv1.Enrolment{Name: v.name("kitchens", "classes", "enrolments"), Station: v.form("station"), Etag: v.form("etag")},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"station"}},
	})
	if err != nil {
		return v.refuse(err, v.showGlance)
	}
	return v.done("/"+v.name("kitchens", "classes")+"#roster", e.GetParticipantDisplayName()+" works at another station now.")
}

// invited shows an invitation, this once.
type invited struct {
	classroom
	Who, Link, Token string
	Until            *timestamppb.Timestamp
}

// invite makes an invitation for somebody on the roster and shows its link.
func invite(v *visit) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	e, err := v.rosters().GetEnrolment(v.ctx, &stillroomv1.GetEnrolmentRequest{Name: v.name("kitchens", "classes", "enrolments")})
	if err != nil {
		return err
	}
	reply, err := v.access().CreateToken(v.ctx, &stillroomv1.CreateTokenRequest{Parent: v.name("kitchens"), Token: &stillroomv1.Token{
		DisplayName: "invitation to " + last(c.GetName()), Role: stillroomv1.Role_ROLE_PARTICIPANT, Participant: e.GetParticipant(), Class: c.GetName(),
	}})
	if err != nil {
		return err
	}
	return v.render("invited", v.classPage(c, "class", "Invitation", invited{
		classroom: c, Who: e.GetParticipantDisplayName(), Link: v.pages.address(v.r, "/join/"+reply.GetSecret()),
		Token: reply.GetToken().GetName(), Until: reply.GetToken().GetExpireTime(),
	}))
}
