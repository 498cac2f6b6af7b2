package web

import (
	"context"
	"net/url"
	"strconv"
	"time"

	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// announcePages announce a class, change it, and add its stations.
func (p *Pages) announcePages() {
	p.get("/kitchens/{kitchen}/announce", func(v *visit) error { return v.showAnnounce(form{}) })
	p.post("/kitchens/{kitchen}/announce", announce)
	p.get("/kitchens/{kitchen}/classes/{class}/change", func(v *visit) error { return v.showChange(form{}) })
	p.post("/kitchens/{kitchen}/classes/{class}/change", changeClass)
	p.post("/kitchens/{kitchen}/classes/{class}/stations", addStation)
}

// announcing is the form of a class.
type announcing struct {
	// To is where the form goes, and Back where who leaves it.
	To, Back string
	// Etag is the class's that is changed; empty for a new one.
	Etag  string
	Sites []*stillroomv1.Site
	Form  form
}

// wallTime is how a browser writes a time on a wall (HTML, "local date and time string").
const wallTime = "2006-01-02T15:04"

func (v *visit) sites(ctx context.Context) ([]*stillroomv1.Site, error) {
	return every(func(token string) (*stillroomv1.ListSitesResponse, error) {
		return v.kitchens().ListSites(ctx, &stillroomv1.ListSitesRequest{Parent: v.name("kitchens"), PageSize: most, PageToken: token})
	}, (*stillroomv1.ListSitesResponse).GetSites)
}

func (v *visit) showAnnounce(f form) error {
	sites, err := v.sites(v.ctx)
	if err != nil {
		return err
	}
	if f.Values == nil {
		f.Values = url.Values{"duration_minutes": {"240"}, "capacity": {"16"}}
	}
	k := "/" + v.name("kitchens")
	p := page{Title: "Announce a class", Trail: v.trail(crumb{Title: "Classes", Path: k})[:len(v.trail(crumb{}))-1], Data: announcing{To: k + "/announce", Back: k, Sites: sites, Form: f}}
	if f.refused() {
		return v.renderForm("announce", p)
	}
	return v.render("announce", p)
}

func (v *visit) showChange(f form) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	sites, err := v.sites(v.ctx)
	if err != nil {
		return err
	}
	etag := v.form("etag")
	if f.Values == nil {
		etag = c.GetEtag()
		f.Values = url.Values{
			"display_name": {c.GetDisplayName()}, "site": {c.GetSite()}, "start_time": {in(c.Zone, c.GetStartTime()).Format(wallTime)},
			"duration_minutes": {strconv.Itoa(int(c.GetDurationMinutes()))}, "capacity": {strconv.Itoa(int(c.GetCapacity()))},
		}
		if t := c.GetLiveSessionTime(); t != nil {
			f.Values.Set("live_session_time", in(c.Zone, t).Format(wallTime))
			f.Values.Set("live_session_minutes", strconv.Itoa(int(c.GetLiveSessionMinutes())))
		}
	}
	p := v.classPage(c, "class", "Change the class", announcing{To: "/" + c.GetName() + "/change", Back: "/" + c.GetName(), Etag: etag, Sites: sites, Form: f})
	if f.refused() {
		return v.renderForm("announce", p)
	}
	return v.render("announce", p)
}

// classOfForm reads the form of a class; its times are by the clock of the chosen site.
func (v *visit) classOfForm() (*stillroomv1.Class, map[string]string, error) {
	c := &stillroomv1.Class{
		DisplayName: v.form("display_name"), Site: v.form("site"), DurationMinutes: v.number("duration_minutes"), Capacity: v.number("capacity"),
		LiveSessionMinutes: v.number("live_session_minutes"),
	}
	if c.Site == "" {
		return nil, map[string]string{"site": "Choose where it is held."}, nil
	}
	site, err := v.kitchens().GetSite(v.ctx, &stillroomv1.GetSiteRequest{Name: c.Site})
	if err != nil {
		return nil, nil, err
	}
	problems := map[string]string{}
	zone := zoneOf(site)
	for field, to := range map[string]**timestamppb.Timestamp{"start_time": &c.StartTime, "live_session_time": &c.LiveSessionTime} {
		text := v.form(field)
		if text == "" {
			continue
		}
		t, err := time.ParseInLocation(wallTime, text, zone)
		switch {
		case err != nil:
			problems[field] = "Write it as a day and a time, 2027-08-21T09:00."
		case t.Format(wallTime) != text:
			problems[field] = "The clocks at this site skip this time on that day."
		default:
			*to = timestamppb.New(t)
		}
	}
	if v.form("start_time") == "" {
		problems["start_time"] = "Say when it opens."
	}
	return c, problems, nil
}

func announce(v *visit) error {
	c, problems, err := v.classOfForm()
	if err != nil {
		return v.refuse(err, v.showAnnounce)
	}
	if len(problems) > 0 {
		return v.showAnnounce(form{Values: v.r.PostForm, Problems: problems})
	}
	made, err := v.classes().CreateClass(v.ctx, &stillroomv1.CreateClassRequest{Parent: v.name("kitchens"), Class: c, RequestId: v.form("request_id")})
	if err != nil {
		return v.refuse(err, v.showAnnounce)
	}
	return v.done("/"+made.GetName(), made.GetDisplayName()+" is announced.")
}

func changeClass(v *visit) error {
	c, problems, err := v.classOfForm()
	if err != nil {
		return v.refuse(err, v.showChange)
	}
	if len(problems) > 0 {
		return v.showChange(form{Values: v.r.PostForm, Problems: problems})
	}
	c.Name, c.Etag = v.name("kitchens", "classes"), v.form("etag")
	_, err = v.classes().UpdateClass(v.ctx, &stillroomv1.UpdateClassRequest{Class: c, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{
		"display_name", "site", "start_time", "duration_minutes", "capacity", "live_session_time", "live_session_minutes"}}})
	if err != nil {
		return v.refuse(err, v.showChange)
	}
	return v.done("/"+c.GetName(), "The class is changed.")
}

func addStation(v *visit) error {
	s, err := v.classes().CreateStation(v.ctx, &stillroomv1.CreateStationRequest{
		Parent: v.name("kitchens", "classes"), Station: &stillroomv1.Station{DisplayName: v.form("display_name")}, RequestId: v.form("request_id")})
	if err != nil {
		return v.refuse(err, v.showGlance)
	}
	return v.done("/"+v.name("kitchens", "classes")+"#stations", s.GetDisplayName()+" is added.")
}
