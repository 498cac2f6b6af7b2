package rpc

import (
	"context"
	"errors"

	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/store"
)

const (
	equipmentPattern   = "kitchens/{kitchen}/equipment/{equipment}"
	reservationPattern = "kitchens/{kitchen}/equipment/{equipment}/reservations/{reservation}"
)

type equipmentService struct {
	stillroomv1.UnimplementedEquipmentServiceServer
	*backend
}

func (s *equipmentService) CreateEquipment(ctx context.Context, req *stillroomv1.CreateEquipmentRequest) (*stillroomv1.Equipment, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	e, err := decodeEquipment(k, req.GetEquipmentId(), req.GetEquipment())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.Equipment
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Equipment, error) {
			created, err := tx.CreateEquipment(ctx, e)
			return encodeEquipment(k, created), err
		})
		return err
	})
	return out, err
}

func (s *equipmentService) GetEquipment(ctx context.Context, req *stillroomv1.GetEquipmentRequest) (*stillroomv1.Equipment, error) {
	var k, id string
	if err := parseName("name", req.GetName(), equipmentPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Equipment
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		e, err := tx.Equipment(ctx, id)
		out = encodeEquipment(k, e)
		return err
	})
	return out, err
}

func (s *equipmentService) ListEquipment(ctx context.Context, req *stillroomv1.ListEquipmentRequest) (*stillroomv1.ListEquipmentResponse, error) {
	var k, after string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/equipment?kind=" + req.GetKind()
	if err := readPage(req.GetPageToken(), list, &after); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListEquipmentResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		rows, err := tx.EquipmentList(ctx, req.GetKind(), after, size+1)
		rows, more := cut(rows, size)
		for _, e := range rows {
			out.Equipment = append(out.Equipment, encodeEquipment(k, e))
		}
		if more {
			out.NextPageToken = nextPage(list, rows[len(rows)-1].ID)
		}
		return err
	})
	return out, err
}

func (s *equipmentService) UpdateEquipment(ctx context.Context, req *stillroomv1.UpdateEquipmentRequest) (*stillroomv1.Equipment, error) {
	var k, id string
	if err := parseName("equipment.name", req.GetEquipment().GetName(), equipmentPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Equipment
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		e, err := tx.Equipment(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetEquipment().GetEtag(), e.Version); err != nil {
			return err
		}
		merged := encodeEquipment(k, e)
		if err := s.merge("equipment", merged, req.GetEquipment(), req.GetUpdateMask(), "display_name", "owned_count", "site", "canner"); err != nil {
			return err
		}
		changed, err := decodeEquipment(k, id, merged)
		if err != nil {
			return err
		}
		changed.Version = e.Version
		e, err = tx.UpdateEquipment(ctx, changed, s.now())
		out = encodeEquipment(k, e)
		return err
	})
	return out, err
}

func (s *equipmentService) DeleteEquipment(ctx context.Context, req *stillroomv1.DeleteEquipmentRequest) (*emptypb.Empty, error) {
	var k, id string
	if err := parseName("name", req.GetName(), equipmentPattern, &k, &id); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.store.In(ctx, k, func(tx *store.Tx) error {
		e, err := tx.Equipment(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetEtag(), e.Version); err != nil {
			return err
		}
		return tx.DeleteEquipment(ctx, e)
	})
}

func (s *equipmentService) ImportEquipment(ctx context.Context, req *stillroomv1.ImportEquipmentRequest) (*stillroomv1.ImportEquipmentResponse, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	entries, err := kitchen.ReadEquipmentYAML(req.GetYaml())
	if err != nil {
		return nil, err
	}
	// A trial does everything and then lets go of it.
	letGo := errors.New("this is a trial")
	var out *stillroomv1.ImportEquipmentResponse
	importAll := func(tx *store.Tx) (*stillroomv1.ImportEquipmentResponse, error) {
		resp := &stillroomv1.ImportEquipmentResponse{}
		for _, e := range entries {
			had, err := tx.Equipment(ctx, e.ID)
			switch {
			case err == nil && had.Kind != e.Kind:
				return nil, fault.Field(e.ID+".kind", e.Kind, "is another kind than the kitchen's, "+had.Kind, "choose another id; a kind never changes")
			case err == nil:
				e.Version = had.Version
				e, err = tx.UpdateEquipment(ctx, e, s.now())
				resp.Updated++
			case fault.KindOf(err) == fault.NotFound:
				e, err = tx.CreateEquipment(ctx, e)
				resp.Created++
			}
			if err != nil {
				return nil, err
			}
			resp.Equipment = append(resp.Equipment, encodeEquipment(k, e))
		}
		return resp, nil
	}
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		if req.GetValidateOnly() {
			if out, err = importAll(tx); err == nil {
				err = letGo
			}
			return err
		}
		out, err = once(ctx, tx, req, func() (*stillroomv1.ImportEquipmentResponse, error) { return importAll(tx) })
		return err
	})
	if errors.Is(err, letGo) {
		err = nil
	}
	return out, err
}

func (s *equipmentService) RecordComeUp(ctx context.Context, req *stillroomv1.RecordComeUpRequest) (*stillroomv1.Equipment, error) {
	var k, id string
	if err := parseName("name", req.GetName(), equipmentPattern, &k, &id); err != nil {
		return nil, err
	}
	o, err := decodeComeUp(req.GetComeUp())
	if err != nil {
		return nil, prefixed("come_up.", err)
	}
	if o.At.IsZero() {
		o.At = s.now()
	}
	var out *stillroomv1.Equipment
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Equipment, error) {
			e, err := tx.Equipment(ctx, id)
			if err != nil {
				return nil, err
			}
			if e.Canner != nil {
				if err := e.Canner.CheckComeUp(e.DisplayName, o); err != nil {
					return nil, prefixed("come_up.", err)
				}
			}
			e, err = tx.RecordComeUp(ctx, id, o)
			return encodeEquipment(k, e), err
		})
		return err
	})
	return out, err
}

func (s *equipmentService) CreateReservation(ctx context.Context, req *stillroomv1.CreateReservationRequest) (*stillroomv1.Reservation, error) {
	r := kitchen.Reservation{ID: req.GetReservationId(), Units: int(req.GetReservation().GetUnits())}
	var k string
	if err := parseName("parent", req.GetParent(), equipmentPattern, &k, &r.Equipment); err != nil {
		return nil, err
	}
	if err := within(k, "reservation.class", req.GetReservation().GetClass(), classPattern, &r.Class); err != nil {
		return nil, err
	}
	if t := req.GetReservation().GetStartTime(); t != nil {
		r.Start = t.AsTime()
	}
	if t := req.GetReservation().GetEndTime(); t != nil {
		r.End = t.AsTime()
	}
	var out *stillroomv1.Reservation
	err := s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Reservation, error) {
			created, err := tx.CreateReservation(ctx, r)
			return encodeReservation(k, created), err
		})
		return err
	})
	return out, err
}

func (s *equipmentService) GetReservation(ctx context.Context, req *stillroomv1.GetReservationRequest) (*stillroomv1.Reservation, error) {
	var k, equipment, id string
	if err := parseName("name", req.GetName(), reservationPattern, &k, &equipment, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Reservation
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		r, err := tx.Reservation(ctx, equipment, id)
		out = encodeReservation(k, r)
		return err
	})
	return out, err
}

func (s *equipmentService) ListReservations(ctx context.Context, req *stillroomv1.ListReservationsRequest) (*stillroomv1.ListReservationsResponse, error) {
	var k, equipment string
	if suffix := "/equipment/-"; len(req.GetParent()) > len(suffix) && req.GetParent()[len(req.GetParent())-len(suffix):] == suffix {
		if err := parseName("parent", req.GetParent()[:len(req.GetParent())-len(suffix)], kitchenPattern, &k); err != nil {
			return nil, err
		}
	} else if err := parseName("parent", req.GetParent(), equipmentPattern, &k, &equipment); err != nil {
		return nil, err
	}
	from := req.GetFromTime().AsTime()
	list := req.GetParent() + "/reservations?from=" + from.String()
	var after store.ReservationCursor
	if err := readPage(req.GetPageToken(), list, &after.Start, &after.Equipment, &after.ID); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListReservationsResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		if equipment != "" {
			if _, err := tx.Equipment(ctx, equipment); err != nil {
				return err
			}
		}
		rows, err := tx.Reservations(ctx, equipment, from, after, size+1)
		rows, more := cut(rows, size)
		for _, r := range rows {
			out.Reservations = append(out.Reservations, encodeReservation(k, r))
		}
		if more {
			last := rows[len(rows)-1]
			out.NextPageToken = nextPage(list, last.Start, last.Equipment, last.ID)
		}
		return err
	})
	return out, err
}

func (s *equipmentService) DeleteReservation(ctx context.Context, req *stillroomv1.DeleteReservationRequest) (*emptypb.Empty, error) {
	var k, equipment, id string
	if err := parseName("name", req.GetName(), reservationPattern, &k, &equipment, &id); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.store.In(ctx, k, func(tx *store.Tx) error {
		r, err := tx.Reservation(ctx, equipment, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetEtag(), r.Version); err != nil {
			return err
		}
		return tx.DeleteReservation(ctx, r)
	})
}

func encodeReservation(k string, r kitchen.Reservation) *stillroomv1.Reservation {
	out := &stillroomv1.Reservation{
		Name:       nameOf(reservationPattern, k, r.Equipment, r.ID),
		Class:      nameOf(classPattern, k, r.Class),
		Units:      int32(r.Units),
		StartTime:  timestamppb.New(r.Start),
		EndTime:    timestamppb.New(r.End),
		CreateTime: timestamppb.New(r.CreatedAt),
		Etag:       etag(r.Version),
	}
	for _, n := range r.Numbers {
		out.UnitNumbers = append(out.UnitNumbers, int32(n))
	}
	return out
}
