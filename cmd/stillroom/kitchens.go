package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/measure"
)

func newKitchen(s *session) *cobra.Command {
	return parent(groupClass, "kitchen", "Kitchens: organisations that run classes",
		newKitchenCreate(s), newKitchenList(s), newKitchenShow(s), newKitchenChange(s))
}

func newKitchenCreate(s *session) *cobra.Command {
	var name, currency string
	cmd := &cobra.Command{
		Use: "create ID", Short: "Open a kitchen", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := call(cmd.Context(), s, stillroomv1.NewKitchenServiceClient, func(ctx context.Context, c stillroomv1.KitchenServiceClient) (*stillroomv1.Kitchen, error) {
				return c.CreateKitchen(ctx, &stillroomv1.CreateKitchenRequest{
					KitchenId: args[0], RequestId: newRequestID(),
					Kitchen: &stillroomv1.Kitchen{DisplayName: orElse(name, args[0]), CurrencyCode: currency},
				})
			})
			return s.showKitchen(k, err)
		},
	}
	cmd.Flags().StringVar(&name, "name", "", "name for people; the id when left out")
	cmd.Flags().StringVar(&currency, "currency", "", "ISO 4217 code of the currency its prices are in, e.g. USD")
	_ = cmd.MarkFlagRequired("currency")
	return cmd
}

func newKitchenList(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List kitchens", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			all, err := everything(cmd.Context(), s, stillroomv1.NewKitchenServiceClient, func(ctx context.Context, c stillroomv1.KitchenServiceClient, token string) (*stillroomv1.ListKitchensResponse, error) {
				return c.ListKitchens(ctx, &stillroomv1.ListKitchensRequest{PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) {
				g := newGrid("KITCHEN", "NAME", "CURRENCY")
				for _, k := range all.GetKitchens() {
					g.add(last(k.GetName()), k.GetDisplayName(), k.GetCurrencyCode())
				}
				g.write(w, "No kitchens yet; open one with: stillroom kitchen create ID --currency USD")
			})
		},
	}
}

func newKitchenShow(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "show [ID]", Short: "Show a kitchen", Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				s.kitchen = args[0]
			}
			name, err := s.kitchenName()
			if err != nil {
				return err
			}
			k, err := call(cmd.Context(), s, stillroomv1.NewKitchenServiceClient, func(ctx context.Context, c stillroomv1.KitchenServiceClient) (*stillroomv1.Kitchen, error) {
				return c.GetKitchen(ctx, &stillroomv1.GetKitchenRequest{Name: name})
			})
			return s.showKitchen(k, err)
		},
	}
}

func newKitchenChange(s *session) *cobra.Command {
	var name, currency string
	cmd := &cobra.Command{
		Use: "change ID", Short: "Change a kitchen's name or currency", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			mask := changedFields(cmd, map[string]string{"name": "display_name", "currency": "currency_code"})
			k, err := call(cmd.Context(), s, stillroomv1.NewKitchenServiceClient, func(ctx context.Context, c stillroomv1.KitchenServiceClient) (*stillroomv1.Kitchen, error) {
				return c.UpdateKitchen(ctx, &stillroomv1.UpdateKitchenRequest{
					Kitchen:    &stillroomv1.Kitchen{Name: "kitchens/" + args[0], DisplayName: name, CurrencyCode: currency},
					UpdateMask: mask,
				})
			})
			return s.showKitchen(k, err)
		},
	}
	cmd.Flags().StringVar(&name, "name", "", "new name for people")
	cmd.Flags().StringVar(&currency, "currency", "", "new ISO 4217 currency code")
	cmd.MarkFlagsOneRequired("name", "currency")
	return cmd
}

func (s *session) showKitchen(k *stillroomv1.Kitchen, err error) error {
	if err != nil {
		return err
	}
	return s.show(k, func(w io.Writer) {
		fmt.Fprintf(w, "%s  %s  (prices in %s)\n", last(k.GetName()), k.GetDisplayName(), k.GetCurrencyCode())
	})
}

func newSite(s *session) *cobra.Command {
	return parent(groupClass, "site", "Sites: places with an altitude where jars are processed",
		newSiteCreate(s), newSiteList(s), newSiteChange(s), newSiteDelete(s))
}

func newSiteCreate(s *session) *cobra.Command {
	var name, altitude, zone string
	cmd := &cobra.Command{
		Use: "create ID", Short: "Add a site", Args: cobra.ExactArgs(1),
		Example: `  stillroom site create main --name "Main room" --altitude "5,280 ft" --zone America/Denver`,
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			height, err := readAltitude(altitude)
			if err != nil {
				return err
			}
			site, err := call(cmd.Context(), s, stillroomv1.NewKitchenServiceClient, func(ctx context.Context, c stillroomv1.KitchenServiceClient) (*stillroomv1.Site, error) {
				return c.CreateSite(ctx, &stillroomv1.CreateSiteRequest{
					Parent: k, SiteId: args[0], RequestId: newRequestID(),
					Site: &stillroomv1.Site{DisplayName: orElse(name, args[0]), Altitude: height, TimeZone: zone},
				})
			})
			return s.showSite(site, err)
		},
	}
	cmd.Flags().StringVar(&name, "name", "", "name for people; the id when left out")
	cmd.Flags().StringVar(&altitude, "altitude", "", `how high it lies, "1600 m" or "5,280 ft"`)
	cmd.Flags().StringVar(&zone, "zone", "", "IANA time zone, e.g. America/Denver")
	_ = cmd.MarkFlagRequired("altitude")
	_ = cmd.MarkFlagRequired("zone")
	return cmd
}

func newSiteList(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List sites", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewKitchenServiceClient, func(ctx context.Context, c stillroomv1.KitchenServiceClient, token string) (*stillroomv1.ListSitesResponse, error) {
				return c.ListSites(ctx, &stillroomv1.ListSitesRequest{Parent: k, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) {
				g := newGrid("SITE", "NAME", ">ALTITUDE", "TIME ZONE")
				for _, site := range all.GetSites() {
					g.add(last(site.GetName()), site.GetDisplayName(), height(site.GetAltitude()), site.GetTimeZone())
				}
				g.write(w, "No sites yet; add one with: stillroom site create ID --altitude \"1600 m\" --zone America/Denver")
			})
		},
	}
}

func newSiteChange(s *session) *cobra.Command {
	var name, altitude, zone string
	cmd := &cobra.Command{
		Use: "change ID", Short: "Change a site", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			full, err := s.under("sites", args[0])
			if err != nil {
				return err
			}
			site := &stillroomv1.Site{Name: full, DisplayName: name, TimeZone: zone}
			if altitude != "" {
				if site.Altitude, err = readAltitude(altitude); err != nil {
					return err
				}
			}
			mask := changedFields(cmd, map[string]string{"name": "display_name", "altitude": "altitude", "zone": "time_zone"})
			site, err = call(cmd.Context(), s, stillroomv1.NewKitchenServiceClient, func(ctx context.Context, c stillroomv1.KitchenServiceClient) (*stillroomv1.Site, error) {
				return c.UpdateSite(ctx, &stillroomv1.UpdateSiteRequest{Site: site, UpdateMask: mask})
			})
			return s.showSite(site, err)
		},
	}
	cmd.Flags().StringVar(&name, "name", "", "new name for people")
	cmd.Flags().StringVar(&altitude, "altitude", "", `new altitude, "1600 m" or "5,280 ft"`)
	cmd.Flags().StringVar(&zone, "zone", "", "new IANA time zone")
	cmd.MarkFlagsOneRequired("name", "altitude", "zone")
	return cmd
}

func newSiteDelete(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "delete ID", Short: "Remove a site that holds no class", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			full, err := s.under("sites", args[0])
			if err != nil {
				return err
			}
			_, err = call(cmd.Context(), s, stillroomv1.NewKitchenServiceClient, func(ctx context.Context, c stillroomv1.KitchenServiceClient) (any, error) {
				return c.DeleteSite(ctx, &stillroomv1.DeleteSiteRequest{Name: full})
			})
			return s.done(err, "site %s is removed", last(full))
		},
	}
}

func (s *session) showSite(site *stillroomv1.Site, err error) error {
	if err != nil {
		return err
	}
	return s.show(site, func(w io.Writer) {
		fmt.Fprintf(w, "%s  %s  at %s, %s\n", last(site.GetName()), site.GetDisplayName(), height(site.GetAltitude()), site.GetTimeZone())
	})
}

// done tells that something without a reply was done; as JSON, an empty object.
func (s *session) done(err error, format string, args ...any) error {
	if err != nil {
		return err
	}
	if s.output == "json" {
		fmt.Fprintln(s.out, "{}")
		return nil
	}
	fmt.Fprintf(s.out, format+"\n", args...)
	return nil
}

// changedFields is the update mask of the flags that were given; fields maps flags to fields.
func changedFields(cmd *cobra.Command, fields map[string]string) *fieldmaskpb.FieldMask {
	mask := &fieldmaskpb.FieldMask{}
	for flag, field := range fields {
		if cmd.Flags().Changed(flag) {
			mask.Paths = append(mask.Paths, field)
		}
	}
	mask.Normalize()
	return mask
}

// readAltitude reads "1600 m" or "5,280 ft".
func readAltitude(text string) (*stillroomv1.Altitude, error) {
	a, err := measure.ParseAltitude(text)
	if err != nil {
		return nil, err
	}
	return &stillroomv1.Altitude{Metres: a.Metres().Float64()}, nil
}

// height writes an altitude in metres and feet.
func height(a *stillroomv1.Altitude) string {
	if a == nil {
		return ""
	}
	m, err := measure.AltitudeFromFloat(a.GetMetres())
	if err != nil {
		return fmt.Sprint(a.GetMetres(), " m")
	}
	return m.String()
}

func orElse(s, otherwise string) string {
	if s != "" {
		return s
	}
	return otherwise
}
