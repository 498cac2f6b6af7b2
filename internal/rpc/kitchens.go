package rpc

import (
	"context"

	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/store"
)

type kitchenService struct {
	stillroomv1.UnimplementedKitchenServiceServer
	*backend
}

func (s *kitchenService) CreateKitchen(ctx context.Context, req *stillroomv1.CreateKitchenRequest) (*stillroomv1.Kitchen, error) {
	var out *stillroomv1.Kitchen
	err := s.store.Across(ctx, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Kitchen, error) {
			k, err := tx.CreateKitchen(ctx, kitchen.Kitchen{
				ID:          req.GetKitchenId(),
				DisplayName: req.GetKitchen().GetDisplayName(),
				Currency:    req.GetKitchen().GetCurrencyCode(),
			})
			return encodeKitchen(k), err
		})
		return err
	})
	return out, err
}

func (s *kitchenService) GetKitchen(ctx context.Context, req *stillroomv1.GetKitchenRequest) (*stillroomv1.Kitchen, error) {
	var id string
	if err := parseName("name", req.GetName(), kitchenPattern, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Kitchen
	err := s.store.In(ctx, id, func(tx *store.Tx) error {
		k, err := tx.Kitchen(ctx, id)
		out = encodeKitchen(k)
		return err
	})
	return out, err
}

func (s *kitchenService) ListKitchens(ctx context.Context, req *stillroomv1.ListKitchensRequest) (*stillroomv1.ListKitchensResponse, error) {
	var after string
	if err := readPage(req.GetPageToken(), "kitchens", &after); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListKitchensResponse{}
	err := s.store.Across(ctx, func(tx *store.Tx) error {
		out.Reset()
		rows, err := tx.Kitchens(ctx, after, size+1)
		rows, more := cut(rows, size)
		for _, k := range rows {
			out.Kitchens = append(out.Kitchens, encodeKitchen(k))
		}
		if more {
			out.NextPageToken = nextPage("kitchens", rows[len(rows)-1].ID)
		}
		return err
	})
	return out, err
}

func (s *kitchenService) UpdateKitchen(ctx context.Context, req *stillroomv1.UpdateKitchenRequest) (*stillroomv1.Kitchen, error) {
	var id string
	if err := parseName("kitchen.name", req.GetKitchen().GetName(), kitchenPattern, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Kitchen
	err := s.store.In(ctx, id, func(tx *store.Tx) error {
		k, err := tx.Kitchen(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetKitchen().GetEtag(), k.Version); err != nil {
			return err
		}
		merged := encodeKitchen(k)
		if err := s.merge("kitchen", merged, req.GetKitchen(), req.GetUpdateMask(), "display_name", "currency_code"); err != nil {
			return err
		}
		k.DisplayName, k.Currency = merged.GetDisplayName(), merged.GetCurrencyCode()
		k, err = tx.UpdateKitchen(ctx, k)
		out = encodeKitchen(k)
		return err
	})
	return out, err
}

func (s *kitchenService) CreateSite(ctx context.Context, req *stillroomv1.CreateSiteRequest) (*stillroomv1.Site, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	site, err := decodeSite("site.", req.GetSiteId(), req.GetSite())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.Site
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Site, error) {
			created, err := tx.CreateSite(ctx, site)
			return encodeSite(k, created), err
		})
		return err
	})
	return out, err
}

func (s *kitchenService) GetSite(ctx context.Context, req *stillroomv1.GetSiteRequest) (*stillroomv1.Site, error) {
	var k, id string
	if err := parseName("name", req.GetName(), sitePattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Site
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		site, err := tx.Site(ctx, id)
		out = encodeSite(k, site)
		return err
	})
	return out, err
}

func (s *kitchenService) ListSites(ctx context.Context, req *stillroomv1.ListSitesRequest) (*stillroomv1.ListSitesResponse, error) {
	var k, after string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/sites"
	if err := readPage(req.GetPageToken(), list, &after); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListSitesResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		rows, err := tx.Sites(ctx, after, size+1)
		rows, more := cut(rows, size)
		for _, site := range rows {
			out.Sites = append(out.Sites, encodeSite(k, site))
		}
		if more {
			out.NextPageToken = nextPage(list, rows[len(rows)-1].ID)
		}
		return err
	})
	return out, err
}

func (s *kitchenService) UpdateSite(ctx context.Context, req *stillroomv1.UpdateSiteRequest) (*stillroomv1.Site, error) {
	var k, id string
	if err := parseName("site.name", req.GetSite().GetName(), sitePattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Site
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		site, err := tx.Site(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetSite().GetEtag(), site.Version); err != nil {
			return err
		}
		merged := encodeSite(k, site)
		if err := s.merge("site", merged, req.GetSite(), req.GetUpdateMask(), "display_name", "altitude", "time_zone"); err != nil {
			return err
		}
		changed, err := decodeSite("site.", id, merged)
		if err != nil {
			return err
		}
		changed.Version = site.Version
		changed, err = tx.UpdateSite(ctx, changed)
		out = encodeSite(k, changed)
		return err
	})
	return out, err
}

func (s *kitchenService) DeleteSite(ctx context.Context, req *stillroomv1.DeleteSiteRequest) (*emptypb.Empty, error) {
	var k, id string
	if err := parseName("name", req.GetName(), sitePattern, &k, &id); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.store.In(ctx, k, func(tx *store.Tx) error {
		site, err := tx.Site(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetEtag(), site.Version); err != nil {
			return err
		}
		return tx.DeleteSite(ctx, site)
	})
}

func encodeKitchen(k kitchen.Kitchen) *stillroomv1.Kitchen {
	return &stillroomv1.Kitchen{
		Name:         nameOf(kitchenPattern, k.ID),
		DisplayName:  k.DisplayName,
		CurrencyCode: k.Currency,
		CreateTime:   timestamppb.New(k.CreatedAt),
		Etag:         etag(k.Version),
	}
}

func encodeSite(kitchenID string, s kitchen.Site) *stillroomv1.Site {
	return &stillroomv1.Site{
		Name:        nameOf(sitePattern, kitchenID, s.ID),
		DisplayName: s.DisplayName,
		Altitude:    &stillroomv1.Altitude{Metres: s.Altitude.Metres().Float64()},
		TimeZone:    s.TimeZone,
		CreateTime:  timestamppb.New(s.CreatedAt),
		Etag:        etag(s.Version),
	}
}

// decodeSite reads a site; prefix leads the field names of its faults.
func decodeSite(prefix, id string, m *stillroomv1.Site) (kitchen.Site, error) {
	var c fault.Collector
	altitude, err := measure.AltitudeFromFloat(m.GetAltitude().GetMetres())
	c.AddErr(prefix, measured(err))
	site := kitchen.Site{ID: id, DisplayName: m.GetDisplayName(), Altitude: altitude, TimeZone: m.GetTimeZone()}
	_, err = site.Location()
	c.AddErr(prefix, err)
	return site, c.Err()
}
