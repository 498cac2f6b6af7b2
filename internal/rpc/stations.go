package rpc

import (
	"context"

	"google.golang.org/protobuf/types/known/emptypb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/kitchen"
	"stillroom/internal/store"
)

func (s *classService) CreateStation(ctx context.Context, req *stillroomv1.CreateStationRequest) (*stillroomv1.Station, error) {
	var k, class string
	if err := parseName("parent", req.GetParent(), classPattern, &k, &class); err != nil {
		return nil, err
	}
	var out *stillroomv1.Station
	err := s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Station, error) {
			created, err := tx.CreateStation(ctx, kitchen.Station{
				ID: req.GetStationId(), Class: class,
				DisplayName: req.GetStation().GetDisplayName(), Position: int(req.GetStation().GetPosition()),
			})
			return encodeStation(k, created), err
		})
		return err
	})
	return out, err
}

func (s *classService) GetStation(ctx context.Context, req *stillroomv1.GetStationRequest) (*stillroomv1.Station, error) {
	var k, class, id string
	if err := parseName("name", req.GetName(), stationPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Station
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		station, err := tx.Station(ctx, class, id)
		out = encodeStation(k, station)
		return err
	})
	return out, err
}

func (s *classService) ListStations(ctx context.Context, req *stillroomv1.ListStationsRequest) (*stillroomv1.ListStationsResponse, error) {
	var k, class string
	if err := parseName("parent", req.GetParent(), classPattern, &k, &class); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/stations"
	var after int
	if err := readPage(req.GetPageToken(), list, &after); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListStationsResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		if _, err := tx.Class(ctx, class); err != nil {
			return err
		}
		rows, err := tx.Stations(ctx, class, after, size+1)
		rows, more := cut(rows, size)
		for _, station := range rows {
			out.Stations = append(out.Stations, encodeStation(k, station))
		}
		if more {
			out.NextPageToken = nextPage(list, rows[len(rows)-1].Position)
		}
		return err
	})
	return out, err
}

func (s *classService) UpdateStation(ctx context.Context, req *stillroomv1.UpdateStationRequest) (*stillroomv1.Station, error) {
	var k, class, id string
	if err := parseName("station.name", req.GetStation().GetName(), stationPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Station
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		station, err := tx.Station(ctx, class, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetStation().GetEtag(), station.Version); err != nil {
			return err
		}
		merged := encodeStation(k, station)
		if err := s.merge("station", merged, req.GetStation(), req.GetUpdateMask(), "display_name", "position"); err != nil {
			return err
		}
		station.DisplayName = merged.GetDisplayName()
		if merged.GetPosition() > 0 {
			station.Position = int(merged.GetPosition())
		}
		station, err = tx.UpdateStation(ctx, station)
		out = encodeStation(k, station)
		return err
	})
	return out, err
}

func (s *classService) DeleteStation(ctx context.Context, req *stillroomv1.DeleteStationRequest) (*emptypb.Empty, error) {
	var k, class, id string
	if err := parseName("name", req.GetName(), stationPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.store.In(ctx, k, func(tx *store.Tx) error {
		station, err := tx.Station(ctx, class, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetEtag(), station.Version); err != nil {
			return err
		}
		return tx.DeleteStation(ctx, station)
	})
}

func encodeStation(k string, s kitchen.Station) *stillroomv1.Station {
	return &stillroomv1.Station{
		Name:             nameOf(stationPattern, k, s.Class, s.ID),
		DisplayName:      s.DisplayName,
		Position:         int32(s.Position),
		ParticipantCount: int32(s.Participants),
		Etag:             etag(s.Version),
	}
}
