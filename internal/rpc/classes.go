package rpc

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/store"
)

type classService struct {
	stillroomv1.UnimplementedClassServiceServer
	*backend
}

func (s *classService) CreateClass(ctx context.Context, req *stillroomv1.CreateClassRequest) (*stillroomv1.Class, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	class, err := decodeClass(k, req.GetClassId(), req.GetClass())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.Class
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Class, error) {
			created, err := tx.CreateClass(ctx, class)
			return encodeClass(k, created), err
		})
		return err
	})
	return out, err
}

func (s *classService) GetClass(ctx context.Context, req *stillroomv1.GetClassRequest) (*stillroomv1.Class, error) {
	var k, id string
	if err := parseName("name", req.GetName(), classPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Class
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		class, err := tx.Class(ctx, id)
		out = encodeClass(k, class)
		return err
	})
	return out, err
}

func (s *classService) ListClasses(ctx context.Context, req *stillroomv1.ListClassesRequest) (*stillroomv1.ListClassesResponse, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/classes"
	var after store.ClassCursor
	if err := readPage(req.GetPageToken(), list, &after.Start, &after.ID); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListClassesResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		rows, err := tx.Classes(ctx, after, size+1)
		rows, more := cut(rows, size)
		for _, class := range rows {
			out.Classes = append(out.Classes, encodeClass(k, class))
		}
		if more {
			last := rows[len(rows)-1]
			out.NextPageToken = nextPage(list, last.Start, last.ID)
		}
		return err
	})
	return out, err
}

func (s *classService) UpdateClass(ctx context.Context, req *stillroomv1.UpdateClassRequest) (*stillroomv1.Class, error) {
	var k, id string
	if err := parseName("class.name", req.GetClass().GetName(), classPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Class
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		class, err := tx.Class(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetClass().GetEtag(), class.Version); err != nil {
			return err
		}
		merged := encodeClass(k, class)
		if err := s.merge("class", merged, req.GetClass(), req.GetUpdateMask(), "display_name", "site", "start_time",
			"duration_minutes", "capacity", "canning_team", "live_session_time", "live_session_minutes"); err != nil {
			return err
		}
		changed, err := decodeClass(k, id, merged)
		if err != nil {
			return err
		}
		changed.Version = class.Version
		changed, err = tx.UpdateClass(ctx, changed)
		out = encodeClass(k, changed)
		return err
	})
	return out, err
}

func (s *classService) DeleteClass(ctx context.Context, req *stillroomv1.DeleteClassRequest) (*emptypb.Empty, error) {
	var k, id string
	if err := parseName("name", req.GetName(), classPattern, &k, &id); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.store.In(ctx, k, func(tx *store.Tx) error {
		class, err := tx.Class(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetEtag(), class.Version); err != nil {
			return err
		}
		return tx.DeleteClass(ctx, class)
	})
}

func encodeClass(k string, c kitchen.Class) *stillroomv1.Class {
	out := &stillroomv1.Class{
		Name:            nameOf(classPattern, k, c.ID),
		DisplayName:     c.DisplayName,
		Site:            nameOf(sitePattern, k, c.Site),
		StartTime:       timestamppb.New(c.Start),
		DurationMinutes: wholeMinutes(c.Duration),
		Capacity:        int32(c.Capacity),
		EnrolledCount:   int32(c.Enrolled),
		WaitingCount:    int32(c.Waiting),
		CanningTeam: &stillroomv1.CanningTeam{
			Handlers: int32(c.Team.Handlers), HandlingMinutes: wholeMinutes(c.Team.Handling), HotHoldMaxMinutes: wholeMinutes(c.Team.HotHold),
		},
		LiveSessionMinutes: wholeMinutes(c.LiveSessionLength),
		CreateTime:         timestamppb.New(c.CreatedAt),
		Etag:               etag(c.Version),
	}
	if !c.LiveSession.IsZero() {
		out.LiveSessionTime = timestamppb.New(c.LiveSession)
	}
	return out
}

// decodeClass reads a class of kitchen k.
func decodeClass(k, id string, m *stillroomv1.Class) (kitchen.Class, error) {
	var c fault.Collector
	class := kitchen.Class{
		ID:          id,
		DisplayName: m.GetDisplayName(),
		Duration:    span(m.GetDurationMinutes()),
		Capacity:    int(m.GetCapacity()),
		Team: kitchen.CanningTeam{
			Handlers: int(m.GetCanningTeam().GetHandlers()),
			Handling: span(m.GetCanningTeam().GetHandlingMinutes()),
			HotHold:  span(m.GetCanningTeam().GetHotHoldMaxMinutes()),
		},
		LiveSessionLength: span(m.GetLiveSessionMinutes()),
	}
	c.AddErr("", within(k, "class.site", m.GetSite(), sitePattern, &class.Site))
	class.Start = decodeTime(&c, "class.start_time", m.GetStartTime())
	class.LiveSession = decodeTime(&c, "class.live_session_time", m.GetLiveSessionTime())
	return class, c.Err()
}

// earliestTime and latestTime bound the instants a class may have; beyond them
// something was mistyped.
var (
	earliestTime = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	latestTime   = time.Date(2200, 1, 1, 0, 0, 0, 0, time.UTC)
)

// decodeTime reads an instant to the whole second; the zero time when unset.
func decodeTime(c *fault.Collector, field string, m *timestamppb.Timestamp) time.Time {
	if m == nil {
		return time.Time{}
	}
	t := m.AsTime().Truncate(time.Second)
	if m.CheckValid() != nil || t.Before(earliestTime) || t.After(latestTime) {
		c.Add(field, m.String(), "is not a time we can plan for", "give an instant between the years 2000 and 2200")
		return time.Time{}
	}
	return t
}

func span(minutes int32) time.Duration { return time.Duration(minutes) * time.Minute }

func wholeMinutes(d time.Duration) int32 { return int32(d / time.Minute) }
