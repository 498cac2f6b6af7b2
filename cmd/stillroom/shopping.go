package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/measure"
)

func newShopping(s *session) *cobra.Command {
	return parent(groupPlan, "shopping", "Shopping lists: what to buy for a class, and why",
		newShoppingMake(s), newShoppingShow(s), newShoppingList(s), newShoppingCompare(s), newShoppingExport(s))
}

// listParent is the class of a list, or the kitchen when no class is named.
func (s *session) listParent(args []string) (string, error) {
	if len(args) == 0 {
		return s.kitchenName()
	}
	return s.under("classes", args[0])
}

// systemFlag reads --units.
func systemFlag(cmd *cobra.Command, units *string) {
	cmd.Flags().StringVar(units, "units", "metric", "metric or us")
	_ = cmd.RegisterFlagCompletionFunc("units", cobra.FixedCompletions([]string{"metric", "us"}, cobra.ShellCompDirectiveNoFileComp))
}

func readSystem(units string) (stillroomv1.MeasureSystem, error) {
	if err := oneOf("--units", units, "metric", "us"); err != nil {
		return 0, err
	}
	if units == "us" {
		return stillroomv1.MeasureSystem_MEASURE_SYSTEM_US_CUSTOMARY, nil
	}
	return stillroomv1.MeasureSystem_MEASURE_SYSTEM_METRIC, nil
}

func newShoppingMake(s *session) *cobra.Command {
	var units, aim, station, participant string
	var explain bool
	var choices, allowances, classes []string
	settings := &stillroomv1.ShoppingSettings{}
	cmd := &cobra.Command{
		Use: "make [CLASS]", Short: "Work out what to buy, as the next version of the list", Args: cobra.MaximumNArgs(1),
		Long: `Work out what to buy for a class, or for several classes of the kitchen, from their
batches, what is on offer and what is on hand. The list is stored whole; making it
again makes the next version.`,
		Example: `  stillroom shopping make relish-day --bring jar_pint
  stillroom shopping make relish-day --choose sweet_peppers=bell_peppers_red:2,bell_peppers_green:1
  stillroom shopping make --from 2026-08-01 --to 2026-08-31 --aim surplus`,
		RunE: func(cmd *cobra.Command, args []string) error {
			to, err := s.listParent(args)
			if err != nil {
				return err
			}
			if err := s.readSettings(settings, args, aim, station, participant, choices, allowances, classes); err != nil {
				return err
			}
			system, err := readSystem(units)
			if err != nil {
				return err
			}
			list, err := call(cmd.Context(), s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient) (*stillroomv1.ShoppingList, error) {
				return c.CreateShoppingList(ctx, &stillroomv1.CreateShoppingListRequest{Parent: to, Settings: settings, RequestId: newRequestID()})
			})
			if err != nil {
				return err
			}
			return s.showList(cmd.Context(), list, system, explain)
		},
	}
	flags := cmd.Flags()
	systemFlag(cmd, &units)
	flags.BoolVar(&explain, "explain", false, "open every line to its recipe lines and published figures")
	flags.StringVar(&settings.FromDay, "from", "", "first day of the classes, such as 2026-08-01")
	flags.StringVar(&settings.ToDay, "to", "", "last day of the classes")
	flags.StringSliceVar(&classes, "class", nil, "only these classes of the kitchen")
	flags.StringVar(&station, "station", "", "only this station of the class")
	flags.StringVar(&participant, "participant", "", "only this participant, making one batch of each recipe at home")
	flags.StringArrayVar(&choices, "choose", nil, "GROUP=ITEM[:PARTS],... how an interchangeable group is bought")
	flags.StringArrayVar(&allowances, "allow", nil, "ITEM=PERCENT to buy on top; produce has 5, the rest 0")
	flags.StringSliceVar(&settings.BringOwn, "bring", nil, "items that participants bring, such as jar_pint")
	flags.BoolVar(&settings.LeaveOutOptional, "no-optional", false, "leave out what recipes mark optional")
	flags.StringVar(&aim, "aim", "cost", "cost, for the cheapest packs, or surplus, for the least left over")
	flags.StringVar(&settings.Shop, "shop", "", "buy only at this shop")
	return cmd
}

func (s *session) readSettings(to *stillroomv1.ShoppingSettings, args []string, aim, station, participant string, choices, allowances, classes []string) error {
	if err := oneOf("--aim", aim, "cost", "surplus"); err != nil {
		return err
	}
	if aim == "surplus" {
		to.Aim = stillroomv1.ShoppingAim_SHOPPING_AIM_LEAST_SURPLUS
	}
	for _, id := range classes {
		name, err := s.under("classes", id)
		if err != nil {
			return err
		}
		to.Classes = append(to.Classes, name)
	}
	if station != "" {
		if len(args) == 0 {
			return fmt.Errorf("--station needs a class: stillroom shopping make CLASS --station %s", station)
		}
		name, err := s.under("classes", args[0], "stations", station)
		if err != nil {
			return err
		}
		to.Station = name
	}
	if participant != "" {
		name, err := s.under("participants", participant)
		if err != nil {
			return err
		}
		to.Participant = name
	}
	for _, text := range choices {
		choice, err := readChoice(text)
		if err != nil {
			return err
		}
		to.Choices = append(to.Choices, choice)
	}
	for _, text := range allowances {
		item, percent, ok := strings.Cut(text, "=")
		n, err := measure.Decimal(strings.TrimSuffix(percent, "%"))
		bp, whole := n.Mul(measure.Int(100)).Int64()
		if !ok || err != nil || !whole {
			return fmt.Errorf("--allow %q: write ITEM=PERCENT with at most two decimals, such as onions=7.5", text)
		}
		if to.Allowances == nil {
			to.Allowances = map[string]int64{}
		}
		to.Allowances[item] = bp
	}
	return nil
}

// readChoice reads GROUP=ITEM[:PARTS],...
func readChoice(text string) (*stillroomv1.KindChoice, error) {
	group, items, ok := strings.Cut(text, "=")
	wrong := fmt.Errorf("--choose %q: write GROUP=ITEM[:PARTS],..., such as sweet_peppers=bell_peppers_red:2,bell_peppers_green:1", text)
	if !ok || items == "" {
		return nil, wrong
	}
	choice := &stillroomv1.KindChoice{Group: group}
	for _, part := range strings.Split(items, ",") {
		item, share, given := strings.Cut(part, ":")
		n := int64(1)
		if given {
			var err error
			if n, err = strconv.ParseInt(share, 10, 64); err != nil {
				return nil, wrong
			}
		}
		choice.Shares = append(choice.Shares, &stillroomv1.KindShare{Item: item, Parts: n})
	}
	return choice, nil
}

// showList prints a list as the server lays it out, so that every client shows the same.
func (s *session) showList(ctx context.Context, list *stillroomv1.ShoppingList, system stillroomv1.MeasureSystem, explain bool) error {
	if s.output == "json" {
		return s.show(list, nil)
	}
	file, err := call(ctx, s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient) (*stillroomv1.ExportShoppingListResponse, error) {
		return c.ExportShoppingList(ctx, &stillroomv1.ExportShoppingListRequest{
			Name: list.GetName(), Format: stillroomv1.ShoppingFormat_SHOPPING_FORMAT_TABLE, System: system, Explain: explain,
		})
	})
	if err != nil {
		return err
	}
	if _, err := s.out.Write(file.GetContent()); err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "\nStored as version %s.\n", last(list.GetName()))
	return err
}

func newShoppingShow(s *session) *cobra.Command {
	var units, version string
	var explain bool
	cmd := &cobra.Command{
		Use: "show [CLASS]", Short: "Show a stored list, the newest unless --version says otherwise", Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			system, err := readSystem(units)
			if err != nil {
				return err
			}
			of, err := s.listParent(args)
			if err != nil {
				return err
			}
			list, err := call(cmd.Context(), s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient) (*stillroomv1.ShoppingList, error) {
				return c.GetShoppingList(ctx, &stillroomv1.GetShoppingListRequest{Name: of + "/shoppingLists/" + version})
			})
			if err != nil {
				return err
			}
			return s.showList(cmd.Context(), list, system, explain)
		},
	}
	systemFlag(cmd, &units)
	cmd.Flags().StringVar(&version, "version", "latest", "which version")
	cmd.Flags().BoolVar(&explain, "explain", false, "open every line to its recipe lines and published figures")
	return cmd
}

func newShoppingList(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "list [CLASS]", Short: "List the stored versions", Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			of, err := s.listParent(args)
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient, token string) (*stillroomv1.ListShoppingListsResponse, error) {
				return c.ListShoppingLists(ctx, &stillroomv1.ListShoppingListsRequest{Parent: of, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) {
				g := newGrid(">VERSION", "MADE", ">LINES", ">NEED A PERSON", ">JARS", ">TOTAL")
				for _, l := range all.GetShoppingLists() {
					made := l.GetCreateTime().AsTime().Local().Format("2006-01-02 15:04")
					g.add(last(l.GetName()), made, l.GetLineCount(), l.GetUnconvertedCount(), l.GetJars(), money(l.GetTotal()))
				}
				g.write(w, "No list yet; make one with: stillroom shopping make CLASS")
			})
		},
	}
}

func newShoppingCompare(s *session) *cobra.Command {
	var units string
	cmd := &cobra.Command{
		Use: "compare CLASS BEFORE AFTER", Short: "Say what changed between two versions", Args: cobra.ExactArgs(3),
		Example: `  stillroom shopping compare relish-day 1 latest`,
		RunE: func(cmd *cobra.Command, args []string) error {
			system, err := readSystem(units)
			if err != nil {
				return err
			}
			of, err := s.listParent(args[:1])
			if err != nil {
				return err
			}
			changes, err := call(cmd.Context(), s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient) (*stillroomv1.CompareShoppingListsResponse, error) {
				return c.CompareShoppingLists(ctx, &stillroomv1.CompareShoppingListsRequest{
					Before: of + "/shoppingLists/" + args[1], After: of + "/shoppingLists/" + args[2],
				})
			})
			if err != nil {
				return err
			}
			return s.show(changes, func(w io.Writer) { writeChanges(w, changes, system) })
		},
	}
	systemFlag(cmd, &units)
	return cmd
}

func writeChanges(w io.Writer, changes *stillroomv1.CompareShoppingListsResponse, system stillroomv1.MeasureSystem) {
	us := system == stillroomv1.MeasureSystem_MEASURE_SYSTEM_US_CUSTOMARY
	if len(changes.GetChanges()) == 0 {
		fmt.Fprintln(w, "Nothing changed.")
		return
	}
	for _, c := range changes.GetChanges() {
		text := c.GetMetric()
		if us {
			text = c.GetUsCustomary()
		}
		fmt.Fprintln(w, text)
		for _, cause := range c.GetCauses() {
			before, after := cause.GetBefore().GetMetric(), cause.GetAfter().GetMetric()
			if us {
				before, after = cause.GetBefore().GetUsCustomary(), cause.GetAfter().GetUsCustomary()
			}
			where := strings.TrimSpace(last(cause.GetStation()) + " " + last(cause.GetBatch()))
			fmt.Fprintf(w, "    %s, %s: %s, was %s  (%s)\n", last(cause.GetClass()), where, after, before, cause.GetText())
		}
	}
	if changes.GetTotalBefore() != nil && changes.GetTotalAfter() != nil {
		fmt.Fprintf(w, "Total %s, was %s\n", money(changes.GetTotalAfter()), money(changes.GetTotalBefore()))
	}
}

func newShoppingExport(s *session) *cobra.Command {
	var units, version, format, file string
	cmd := &cobra.Command{
		Use: "export [CLASS]", Short: "Write a stored list as CSV, JSON or text", Args: cobra.MaximumNArgs(1),
		Example: `  stillroom shopping export relish-day --format csv --file list.csv`,
		RunE: func(cmd *cobra.Command, args []string) error {
			system, err := readSystem(units)
			if err != nil {
				return err
			}
			if err := oneOf("--format", format, "csv", "json", "text"); err != nil {
				return err
			}
			of, err := s.listParent(args)
			if err != nil {
				return err
			}
			as := map[string]stillroomv1.ShoppingFormat{
				"csv": stillroomv1.ShoppingFormat_SHOPPING_FORMAT_CSV, "json": stillroomv1.ShoppingFormat_SHOPPING_FORMAT_JSON,
				"text": stillroomv1.ShoppingFormat_SHOPPING_FORMAT_TABLE,
			}[format]
			out, err := call(cmd.Context(), s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient) (*stillroomv1.ExportShoppingListResponse, error) {
				return c.ExportShoppingList(ctx, &stillroomv1.ExportShoppingListRequest{Name: of + "/shoppingLists/" + version, Format: as, System: system, Explain: true})
			})
			if err != nil {
				return err
			}
			if file == "" || file == "-" {
				_, err = s.out.Write(out.GetContent())
				return err
			}
			err = os.WriteFile(file, out.GetContent(), 0o644)
			return s.done(err, "the list is in %s", file)
		},
	}
	systemFlag(cmd, &units)
	cmd.Flags().StringVar(&version, "version", "latest", "which version")
	cmd.Flags().StringVar(&format, "format", "csv", "csv, json or text")
	cmd.Flags().StringVar(&file, "file", "", "write to this file instead of standard output")
	return cmd
}
