package web

import (
	"context"
	"time"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// classroom is a class with its site, whose clock all its pages go by.
type classroom struct {
	*stillroomv1.Class
	Site *stillroomv1.Site
	Zone *time.Location
}

// End is when the room closes.
func (c classroom) End() time.Time {
	return c.GetStartTime().AsTime().Add(time.Duration(c.GetDurationMinutes()) * time.Minute)
}

// classroom fetches the class that the path names.
func (v *visit) classroom(ctx context.Context) (classroom, error) {
	return v.classroomOf(ctx, v.name("kitchens", "classes"))
}

// classroomOf fetches a class by its name.
func (v *visit) classroomOf(ctx context.Context, name string) (classroom, error) {
	class, err := v.classes().GetClass(ctx, &stillroomv1.GetClassRequest{Name: name})
	if err != nil {
		return classroom{}, err
	}
	site, err := v.kitchens().GetSite(ctx, &stillroomv1.GetSiteRequest{Name: class.GetSite()})
	return classroom{Class: class, Site: site, Zone: zoneOf(site)}, err
}

// classPage is a page of a class, under one of the tabs of its head.
func (v *visit) classPage(c classroom, tab, title string, data any) page {
	return page{
		Title: title, Trail: v.trail(crumb{c.GetDisplayName(), "/" + c.GetName()}), Class: c.GetName(), Tab: tab, Zone: c.Zone, Data: data,
	}
}
