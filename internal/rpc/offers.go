package rpc

import (
	"context"
	"strconv"
	"strings"

	"google.golang.org/protobuf/types/known/emptypb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/shopping"
	"stillroom/internal/store"
)

const (
	offerPattern     = "kitchens/{kitchen}/offers/{offer}"
	stockItemPattern = "kitchens/{kitchen}/stock/{stock_item}"
)

type shoppingService struct {
	stillroomv1.UnimplementedShoppingServiceServer
	*backend
}

var (
	offerKinds = map[stillroomv1.OfferKind]shopping.OfferKind{
		stillroomv1.OfferKind_OFFER_KIND_LOOSE:  shopping.Loose,
		stillroomv1.OfferKind_OFFER_KIND_EACH:   shopping.Single,
		stillroomv1.OfferKind_OFFER_KIND_BAG:    shopping.InBag,
		stillroomv1.OfferKind_OFFER_KIND_BUNCH:  shopping.Bunch,
		stillroomv1.OfferKind_OFFER_KIND_CAN:    shopping.Can,
		stillroomv1.OfferKind_OFFER_KIND_TUBE:   shopping.Tube,
		stillroomv1.OfferKind_OFFER_KIND_BOTTLE: shopping.Bottle,
		stillroomv1.OfferKind_OFFER_KIND_CASE:   shopping.Case,
		stillroomv1.OfferKind_OFFER_KIND_BOX:    shopping.Box,
	}
	offerKindOf = inverse(offerKinds)
)

func (s *shoppingService) CreateOffer(ctx context.Context, req *stillroomv1.CreateOfferRequest) (*stillroomv1.Offer, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	offer, err := decodeOffer(req.GetOfferId(), req.GetOffer())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.Offer
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Offer, error) {
			if err := inCurrencyOf(ctx, tx, k, offer); err != nil {
				return nil, err
			}
			created, err := tx.CreateOffer(ctx, offer)
			return encodeOffer(k, created), err
		})
		return err
	})
	return out, err
}

func (s *shoppingService) BatchCreateOffers(ctx context.Context, req *stillroomv1.BatchCreateOffersRequest) (*stillroomv1.BatchCreateOffersResponse, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	offers, err := decodeOffers(req.GetOffers())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.BatchCreateOffersResponse
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.BatchCreateOffersResponse, error) {
			answer := &stillroomv1.BatchCreateOffersResponse{}
			for i, offer := range offers {
				if err := inCurrencyOf(ctx, tx, k, offer); err != nil {
					return nil, prefixed(offerAt(i), err)
				}
				if offer.ID != "" {
					if _, err := tx.Offer(ctx, offer.ID); err == nil {
						return nil, fault.New(fault.AlreadyExists, "the kitchen has an offer %q already (%soffer_id); choose another id, or leave it empty", offer.ID, offerAt(i))
					}
				}
				created, err := tx.CreateOffer(ctx, offer)
				if err != nil {
					return nil, err
				}
				answer.Offers = append(answer.Offers, encodeOffer(k, created))
			}
			return answer, nil
		})
		return err
	})
	return out, err
}

func offerAt(i int) string { return "offers[" + strconv.Itoa(i) + "]." }

// decodeOffers reads several offers and tells of every one that is wrong.
func decodeOffers(all []*stillroomv1.OfferToCreate) ([]shopping.Offer, error) {
	var c fault.Collector
	offers := make([]shopping.Offer, len(all))
	first := map[string]int{}
	for i, o := range all {
		var err error
		offers[i], err = decodeOffer(o.GetOfferId(), o.GetOffer())
		c.AddErr(offerAt(i), err)
		if id := o.GetOfferId(); id != "" {
			if at, twice := first[id]; twice {
				c.Add(offerAt(i)+"offer_id", id, "is that of "+strings.TrimSuffix(offerAt(at), ".")+" too", "give each an id of its own, or leave it empty")
			} else {
				first[id] = i
			}
		}
	}
	return offers, c.Err()
}

func (s *shoppingService) GetOffer(ctx context.Context, req *stillroomv1.GetOfferRequest) (*stillroomv1.Offer, error) {
	var k, id string
	if err := parseName("name", req.GetName(), offerPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Offer
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		offer, err := tx.Offer(ctx, id)
		out = encodeOffer(k, offer)
		return err
	})
	return out, err
}

func (s *shoppingService) ListOffers(ctx context.Context, req *stillroomv1.ListOffersRequest) (*stillroomv1.ListOffersResponse, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/offers"
	var after store.ItemCursor
	if err := readPage(req.GetPageToken(), list, &after.Item, &after.ID); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListOffersResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		rows, err := tx.Offers(ctx, after, size+1)
		rows, more := cut(rows, size)
		for _, o := range rows {
			out.Offers = append(out.Offers, encodeOffer(k, o))
		}
		if more {
			last := rows[len(rows)-1]
			out.NextPageToken = nextPage(list, last.Item, last.ID)
		}
		return err
	})
	return out, err
}

func (s *shoppingService) UpdateOffer(ctx context.Context, req *stillroomv1.UpdateOfferRequest) (*stillroomv1.Offer, error) {
	var k, id string
	if err := parseName("offer.name", req.GetOffer().GetName(), offerPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Offer
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		offer, err := tx.Offer(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetOffer().GetEtag(), offer.Version); err != nil {
			return err
		}
		merged := encodeOffer(k, offer)
		if err := s.merge("offer", merged, req.GetOffer(), req.GetUpdateMask(),
			"item", "label", "shop", "section", "kind", "content", "step", "average_weight", "price", "acidity_permille"); err != nil {
			return err
		}
		changed, err := decodeOffer(id, merged)
		if err != nil {
			return err
		}
		if err := inCurrencyOf(ctx, tx, k, changed); err != nil {
			return err
		}
		changed.Version = offer.Version
		changed, err = tx.UpdateOffer(ctx, changed)
		out = encodeOffer(k, changed)
		return err
	})
	return out, err
}

func (s *shoppingService) DeleteOffer(ctx context.Context, req *stillroomv1.DeleteOfferRequest) (*emptypb.Empty, error) {
	var k, id string
	if err := parseName("name", req.GetName(), offerPattern, &k, &id); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.store.In(ctx, k, func(tx *store.Tx) error {
		offer, err := tx.Offer(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetEtag(), offer.Version); err != nil {
			return err
		}
		return tx.DeleteOffer(ctx, offer)
	})
}

func (s *shoppingService) CreateStockItem(ctx context.Context, req *stillroomv1.CreateStockItemRequest) (*stillroomv1.StockItem, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	item, err := decodeStockItem(req.GetStockItemId(), req.GetStockItem())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.StockItem
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.StockItem, error) {
			created, err := tx.CreateStockItem(ctx, item)
			return encodeStockItem(k, created), err
		})
		return err
	})
	return out, err
}

func (s *shoppingService) GetStockItem(ctx context.Context, req *stillroomv1.GetStockItemRequest) (*stillroomv1.StockItem, error) {
	var k, id string
	if err := parseName("name", req.GetName(), stockItemPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.StockItem
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		item, err := tx.StockItem(ctx, id)
		out = encodeStockItem(k, item)
		return err
	})
	return out, err
}

func (s *shoppingService) ListStockItems(ctx context.Context, req *stillroomv1.ListStockItemsRequest) (*stillroomv1.ListStockItemsResponse, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/stock"
	var after store.ItemCursor
	if err := readPage(req.GetPageToken(), list, &after.Item, &after.ID); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListStockItemsResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		rows, err := tx.StockItems(ctx, after, size+1)
		rows, more := cut(rows, size)
		for _, h := range rows {
			out.StockItems = append(out.StockItems, encodeStockItem(k, h))
		}
		if more {
			last := rows[len(rows)-1]
			out.NextPageToken = nextPage(list, last.Item, last.ID)
		}
		return err
	})
	return out, err
}

func (s *shoppingService) UpdateStockItem(ctx context.Context, req *stillroomv1.UpdateStockItemRequest) (*stillroomv1.StockItem, error) {
	var k, id string
	if err := parseName("stock_item.name", req.GetStockItem().GetName(), stockItemPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.StockItem
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		item, err := tx.StockItem(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetStockItem().GetEtag(), item.Version); err != nil {
			return err
		}
		merged := encodeStockItem(k, item)
		if err := s.merge("stock_item", merged, req.GetStockItem(), req.GetUpdateMask(), "item", "content", "best_before", "used", "note"); err != nil {
			return err
		}
		changed, err := decodeStockItem(id, merged)
		if err != nil {
			return err
		}
		changed.Version = item.Version
		changed, err = tx.UpdateStockItem(ctx, changed)
		out = encodeStockItem(k, changed)
		return err
	})
	return out, err
}

func (s *shoppingService) DeleteStockItem(ctx context.Context, req *stillroomv1.DeleteStockItemRequest) (*emptypb.Empty, error) {
	var k, id string
	if err := parseName("name", req.GetName(), stockItemPattern, &k, &id); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.store.In(ctx, k, func(tx *store.Tx) error {
		item, err := tx.StockItem(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetEtag(), item.Version); err != nil {
			return err
		}
		return tx.DeleteStockItem(ctx, item)
	})
}

// inCurrencyOf refuses a price in another currency than the kitchen's: one list cannot add two currencies.
func inCurrencyOf(ctx context.Context, tx *store.Tx, kitchenID string, o shopping.Offer) error {
	k, err := tx.Kitchen(ctx, kitchenID)
	if err != nil {
		return err
	}
	if o.Price.Currency != k.Currency {
		return fault.Field("offer.price.currency_code", o.Price.Currency, "is not the kitchen's currency", "give the price in "+k.Currency)
	}
	return nil
}

func encodeOffer(k string, o shopping.Offer) *stillroomv1.Offer {
	return &stillroomv1.Offer{
		Name: nameOf(offerPattern, k, o.ID), Item: o.Item, Label: o.Label, Shop: o.Shop, Section: o.Section, Kind: offerKindOf[o.Kind],
		Content: shopping.QuantityText(o.Content), Step: shopping.QuantityText(o.Step), AverageWeight: shopping.QuantityText(o.AverageWeight),
		Price: encodeMoney(o.Price), AcidityPermille: int32(o.Acidity), Etag: etag(o.Version),
	}
}

func decodeOffer(id string, m *stillroomv1.Offer) (shopping.Offer, error) {
	var c fault.Collector
	o := shopping.Offer{
		ID: id, Item: m.GetItem(), Label: m.GetLabel(), Shop: m.GetShop(), Section: m.GetSection(), Kind: offerKinds[m.GetKind()],
		Content: decodeQuantity(&c, "offer.content", m.GetContent()), Step: decodeQuantity(&c, "offer.step", m.GetStep()),
		AverageWeight: decodeQuantity(&c, "offer.average_weight", m.GetAverageWeight()),
		Price:         shopping.Money{Minor: m.GetPrice().GetMinorUnits(), Currency: m.GetPrice().GetCurrencyCode()},
		Acidity:       int(m.GetAcidityPermille()),
	}
	if err := c.Err(); err != nil {
		return o, err
	}
	return o, prefixed("offer.", o.Validate())
}

func encodeStockItem(k string, h shopping.OnHand) *stillroomv1.StockItem {
	return &stillroomv1.StockItem{
		Name: nameOf(stockItemPattern, k, h.ID), Item: h.Item, Content: shopping.QuantityText(h.Content), BestBefore: string(h.BestBefore),
		Used: h.Used, Note: h.Note, Etag: etag(h.Version),
	}
}

func decodeStockItem(id string, m *stillroomv1.StockItem) (shopping.OnHand, error) {
	var c fault.Collector
	h := shopping.OnHand{
		ID: id, Item: m.GetItem(), Content: decodeQuantity(&c, "stock_item.content", m.GetContent()),
		BestBefore: shopping.Day(m.GetBestBefore()), Used: m.GetUsed(), Note: m.GetNote(),
	}
	if err := c.Err(); err != nil {
		return h, err
	}
	return h, prefixed("stock_item.", h.Validate())
}

// decodeQuantity reads a quantity as people write it; an empty text is no quantity.
func decodeQuantity(c *fault.Collector, field, text string) measure.Quantity {
	if text == "" {
		return measure.Quantity{}
	}
	q, err := measure.ParseQuantity(text)
	if err != nil {
		c.Add(field, text, measureReason(err), `write it like "2 kg", "1-3/4 oz" or "12 each"`)
	}
	return q
}

func encodeMoney(m shopping.Money) *stillroomv1.Money {
	if m.Currency == "" {
		return nil
	}
	return &stillroomv1.Money{CurrencyCode: m.Currency, MinorUnits: m.Minor}
}
