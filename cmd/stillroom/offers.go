package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/shopping"
)

func newOffer(s *session) *cobra.Command {
	return parent(groupPlan, "offer", "Offers: how things are sold, and for how much",
		newOfferAdd(s), newOfferImport(s), newOfferList(s), newOfferPrice(s), newOfferDelete(s))
}

// offerText is an offer as people write it, on a command line or in a CSV file.
type offerText struct {
	id, item, label, shop, section, kind, content, step, weight, price, acidity string
}

// read turns the texts into a message; currency is the kitchen's.
func (o offerText) read(currency string) (*stillroomv1.Offer, error) {
	kind, ok := stillroomv1.OfferKind_value["OFFER_KIND_"+strings.ToUpper(o.kind)]
	if !ok || kind == 0 {
		return nil, fmt.Errorf("kind %q: choose loose, each, bag, bunch, can, tube, bottle, case or box", o.kind)
	}
	price, err := readMoney(o.price, currency)
	if err != nil {
		return nil, err
	}
	acidity, err := readTenths(o.acidity)
	if err != nil {
		return nil, fmt.Errorf("acidity %q: write it in percent, such as 5", o.acidity)
	}
	return &stillroomv1.Offer{
		Item: o.item, Label: o.label, Shop: o.shop, Section: o.section, Kind: stillroomv1.OfferKind(kind), Content: o.content,
		Step: o.step, AverageWeight: o.weight, Price: price, AcidityPermille: acidity,
	}, nil
}

// readMoney reads "1.80" in a currency, exactly.
func readMoney(text, currency string) (*stillroomv1.Money, error) {
	digits := shopping.MinorDigits(currency)
	whole, fraction, _ := strings.Cut(strings.TrimSpace(text), ".")
	if len(fraction) > digits || whole == "" || strings.ContainsAny(whole+fraction, "+-_ ") {
		return nil, fmt.Errorf("price %q: write it like %s", text, shopping.Money{Minor: 180, Currency: currency})
	}
	n, err := strconv.ParseInt(whole+fraction+strings.Repeat("0", digits-len(fraction)), 10, 64)
	if err != nil {
		return nil, fmt.Errorf("price %q: write it like %s", text, shopping.Money{Minor: 180, Currency: currency})
	}
	return &stillroomv1.Money{CurrencyCode: currency, MinorUnits: n}, nil
}

// readTenths reads a percentage in tenths of a percent; an empty text is 0.
func readTenths(text string) (int32, error) {
	if text == "" {
		return 0, nil
	}
	f, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSpace(text), "%"), 64)
	if err != nil || f < 0 || f > 100 {
		return 0, errors.New("not a percentage")
	}
	return int32(math.Round(f * 10)), nil
}

// currency is the kitchen's.
func (s *session) currency(ctx context.Context, kitchenName string) (string, error) {
	k, err := call(ctx, s, stillroomv1.NewKitchenServiceClient, func(ctx context.Context, c stillroomv1.KitchenServiceClient) (*stillroomv1.Kitchen, error) {
		return c.GetKitchen(ctx, &stillroomv1.GetKitchenRequest{Name: kitchenName})
	})
	return k.GetCurrencyCode(), err
}

func newOfferAdd(s *session) *cobra.Command {
	var o offerText
	cmd := &cobra.Command{
		Use: "add ITEM --kind KIND --content QUANTITY --price PRICE", Short: "Record how a thing is sold", Args: cobra.ExactArgs(1),
		Example: `  stillroom offer add onions --kind bag --content "2 kg" --price 1.80 --shop market
  stillroom offer add onions --kind loose --content "1 kg" --step "100 g" --price 2.40 --shop greengrocer
  stillroom offer add vinegar_white --kind bottle --content "1 l" --price 2.50 --acidity 5
  stillroom offer add lid --kind box --content "1 dozen" --price 3.29`,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.item = args[0]
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			added, err := s.addOffer(cmd.Context(), k, o)
			if err != nil {
				return err
			}
			return s.showOffers(&stillroomv1.ListOffersResponse{Offers: []*stillroomv1.Offer{added}})
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&o.id, "id", "", "id of the offer; one is made up when empty")
	flags.StringVar(&o.kind, "kind", "", "loose, each, bag, bunch, can, tube, bottle, case or box")
	flags.StringVar(&o.content, "content", "", `what the price buys, such as "2 kg" or "12 each"`)
	flags.StringVar(&o.step, "step", "", `for loose goods, the smallest quantity sold, such as "100 g"`)
	flags.StringVar(&o.weight, "weight", "", `average weight of one, where content is a count, such as "110 g"`)
	flags.StringVar(&o.price, "price", "", "price of content in the kitchen's currency, such as 1.80")
	flags.StringVar(&o.label, "label", "", "what the shelf says")
	flags.StringVar(&o.shop, "shop", "", "the shop")
	flags.StringVar(&o.section, "section", "", "section of the shop")
	flags.StringVar(&o.acidity, "acidity", "", "acidity of a vinegar in percent, such as 5")
	for _, required := range []string{"kind", "content", "price"} {
		_ = cmd.MarkFlagRequired(required)
	}
	return cmd
}

func (s *session) addOffer(ctx context.Context, kitchenName string, o offerText) (*stillroomv1.Offer, error) {
	currency, err := s.currency(ctx, kitchenName)
	if err != nil {
		return nil, err
	}
	message, err := o.read(currency)
	if err != nil {
		return nil, err
	}
	return call(ctx, s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient) (*stillroomv1.Offer, error) {
		return c.CreateOffer(ctx, &stillroomv1.CreateOfferRequest{Parent: kitchenName, OfferId: o.id, Offer: message, RequestId: newRequestID()})
	})
}

// offerColumns are the columns of an offers file, in any order, without regard to case.
var offerColumns = []string{"id", "item", "label", "shop", "section", "kind", "content", "step", "average_weight", "price", "acidity"}

func newOfferImport(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "import FILE.csv", Short: "Record offers from a CSV file", Args: cobra.ExactArgs(1),
		Long: "Record offers from a CSV file (RFC 4180, UTF-8). Columns, in any order: " + strings.Join(offerColumns, ", ") + `.
Item, kind, content and price are needed. All lines are recorded, or none; at most 1000 at a time.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			data, err := s.readInput(args[0])
			if err != nil {
				return err
			}
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			currency, err := s.currency(cmd.Context(), k)
			if err != nil {
				return err
			}
			offers, err := readOffers(data, currency)
			if err != nil {
				return err
			}
			request := newRequestID()
			recorded, err := call(cmd.Context(), s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient) (*stillroomv1.BatchCreateOffersResponse, error) {
				return c.BatchCreateOffers(ctx, &stillroomv1.BatchCreateOffersRequest{Parent: k, Offers: offers, RequestId: request})
			})
			if err != nil {
				fmt.Fprintln(s.errOut, "no offer was recorded; offers[0] is the first below the header")
				return err
			}
			return s.showOffers(&stillroomv1.ListOffersResponse{Offers: recorded.GetOffers()})
		},
	}
}

// readOffers reads an offers file; every bad line is reported with its number.
func readOffers(data []byte, currency string) ([]*stillroomv1.OfferToCreate, error) {
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))))
	head, err := r.Read()
	if err != nil {
		return nil, fmt.Errorf("the file has no header line; name some of: %s", strings.Join(offerColumns, ", "))
	}
	at := map[string]int{}
	for i, name := range head {
		name = strings.ToLower(strings.TrimSpace(name))
		if !slices.Contains(offerColumns, name) {
			return nil, fmt.Errorf("column %q is not known; name some of: %s", name, strings.Join(offerColumns, ", "))
		}
		at[name] = i
	}
	var offers []*stillroomv1.OfferToCreate
	var bad []error
	for {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		line, _ := r.FieldPos(0)
		field := func(name string) string {
			if i, ok := at[name]; ok {
				return strings.TrimSpace(record[i])
			}
			return ""
		}
		o := offerText{
			id: field("id"), item: field("item"), label: field("label"), shop: field("shop"), section: field("section"), kind: field("kind"),
			content: field("content"), step: field("step"), weight: field("average_weight"), price: field("price"), acidity: field("acidity"),
		}
		message, err := o.read(currency)
		if err != nil {
			bad = append(bad, fmt.Errorf("line %d: %w", line, err))
			continue
		}
		offers = append(offers, &stillroomv1.OfferToCreate{OfferId: o.id, Offer: message})
	}
	return offers, errors.Join(bad...)
}

func newOfferList(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List what is on offer", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient, token string) (*stillroomv1.ListOffersResponse, error) {
				return c.ListOffers(ctx, &stillroomv1.ListOffersRequest{Parent: k, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.showOffers(all)
		},
	}
}

func newOfferPrice(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "price ID PRICE", Short: "Change the price of an offer", Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			full, err := s.under("offers", args[0])
			if err != nil {
				return err
			}
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			currency, err := s.currency(cmd.Context(), k)
			if err != nil {
				return err
			}
			price, err := readMoney(args[1], currency)
			if err != nil {
				return err
			}
			o, err := call(cmd.Context(), s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient) (*stillroomv1.Offer, error) {
				return c.UpdateOffer(ctx, &stillroomv1.UpdateOfferRequest{
					Offer: &stillroomv1.Offer{Name: full, Price: price}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"price"}},
				})
			})
			if err != nil {
				return err
			}
			return s.showOffers(&stillroomv1.ListOffersResponse{Offers: []*stillroomv1.Offer{o}})
		},
	}
}

func newOfferDelete(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "delete ID", Short: "Remove an offer", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			full, err := s.under("offers", args[0])
			if err != nil {
				return err
			}
			_, err = call(cmd.Context(), s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient) (any, error) {
				return c.DeleteOffer(ctx, &stillroomv1.DeleteOfferRequest{Name: full})
			})
			return s.done(err, "offer %s is removed", last(full))
		},
	}
}

func (s *session) showOffers(all *stillroomv1.ListOffersResponse) error {
	return s.show(all, func(w io.Writer) {
		g := newGrid("ITEM", "OFFER", "KIND", "CONTENT", ">PRICE", "SHOP", "LABEL")
		for _, o := range all.GetOffers() {
			content := o.GetContent()
			if o.GetStep() != "" {
				content += " by " + o.GetStep()
			}
			if o.GetAverageWeight() != "" {
				content += " of about " + o.GetAverageWeight()
			}
			if o.GetAcidityPermille() > 0 {
				content += fmt.Sprintf(", %g %% acidity", float64(o.GetAcidityPermille())/10)
			}
			kind := strings.ToLower(strings.TrimPrefix(o.GetKind().String(), "OFFER_KIND_"))
			g.add(o.GetItem(), last(o.GetName()), kind, content, money(o.GetPrice()), o.GetShop(), o.GetLabel())
		}
		g.write(w, "Nothing is on offer yet; add something with: stillroom offer add ITEM ...")
	})
}

// money is an amount for people, "1.80 USD"; nothing when unset.
func money(m *stillroomv1.Money) string {
	if m == nil {
		return ""
	}
	return shopping.Money{Minor: m.GetMinorUnits(), Currency: m.GetCurrencyCode()}.String()
}
