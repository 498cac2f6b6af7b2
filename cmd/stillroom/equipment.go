package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/canning"
)

func newEquipment(s *session) *cobra.Command {
	return parent(groupPlan, "equipment", "Equipment: what the kitchen owns in number, and who has it when",
		newEquipmentImport(s), newEquipmentAdd(s), newEquipmentList(s), newEquipmentShow(s), newEquipmentChange(s), newEquipmentDelete(s),
		newEquipmentComeUp(s), newEquipmentReserve(s), newEquipmentReservations(s), newEquipmentRelease(s))
}

func newEquipmentImport(s *session) *cobra.Command {
	var check bool
	cmd := &cobra.Command{
		Use: "import FILE", Short: "Read equipment from a YAML file (- for standard input)", Args: cobra.ExactArgs(1),
		Long: `Read equipment from a YAML file, all of it or nothing. What the kitchen has under the
same id is changed, what is new is added.

equipment:
  - id: big-canner
    name: Big canner
    kind: canner                     # or burner, large pot, food mill … as recipes name it
    owned: 2
    site: main                       # optional: where it stands
    canner:                          # for canners only
      methods: [boiling water]       # boiling water, atmospheric steam, pressure dial, pressure weighted
      holds: {pint: 9, quart: 7}     # jars at once, by size
      come_up: {base: 14, per_jar: 0.35}   # optional: measured minutes to the boil
      reset: 5                       # optional: minutes between loads
      own_heat: false                # optional: it takes none of the room's burners
      vessel: {litres: 20, diameter_metres: 0.33, kilograms: 3, material: enamelled_steel}  # optional
      heat: {kind: gas, watts: 3500}                                                        # optional`,
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			data, err := s.readInput(args[0])
			if err != nil {
				return err
			}
			done, err := call(cmd.Context(), s, stillroomv1.NewEquipmentServiceClient, func(ctx context.Context, c stillroomv1.EquipmentServiceClient) (*stillroomv1.ImportEquipmentResponse, error) {
				return c.ImportEquipment(ctx, &stillroomv1.ImportEquipmentRequest{Parent: k, Yaml: data, ValidateOnly: check, RequestId: newRequestID()})
			})
			if err != nil {
				return err
			}
			return s.show(done, func(w io.Writer) {
				fmt.Fprintf(w, "%d added, %d changed\n\n", done.GetCreated(), done.GetUpdated())
				writeEquipment(w, done.GetEquipment())
				if check {
					fmt.Fprintln(w, "\nThis was a trial; nothing is changed.")
				}
			})
		},
	}
	cmd.Flags().BoolVar(&check, "check", false, "say what the file would do, and change nothing")
	return cmd
}

func newEquipmentAdd(s *session) *cobra.Command {
	e := &stillroomv1.Equipment{}
	cmd := &cobra.Command{
		Use: "add ID", Short: "Add equipment other than canners, which come from a file", Args: cobra.ExactArgs(1),
		Example: `  stillroom equipment add burners --kind burner --owned 6`,
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			e.DisplayName = orElse(e.GetDisplayName(), args[0])
			if e.GetSite() != "" {
				if e.Site, err = s.under("sites", e.GetSite()); err != nil {
					return err
				}
			}
			made, err := call(cmd.Context(), s, stillroomv1.NewEquipmentServiceClient, func(ctx context.Context, c stillroomv1.EquipmentServiceClient) (*stillroomv1.Equipment, error) {
				return c.CreateEquipment(ctx, &stillroomv1.CreateEquipmentRequest{Parent: k, EquipmentId: args[0], Equipment: e, RequestId: newRequestID()})
			})
			return s.showEquipment(made, err)
		},
	}
	cmd.Flags().StringVar(&e.DisplayName, "name", "", "name for people; the id when left out")
	cmd.Flags().StringVar(&e.Kind, "kind", "", `what it is, as recipes name it: "burner", "large pot"`)
	cmd.Flags().Int32Var(&e.OwnedCount, "owned", 1, "how many there are")
	cmd.Flags().StringVar(&e.Site, "site", "", "id of the site where it stands; anywhere when left out")
	_ = cmd.MarkFlagRequired("kind")
	return cmd
}

func newEquipmentList(s *session) *cobra.Command {
	var kind string
	cmd := &cobra.Command{
		Use: "list", Short: "List equipment", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewEquipmentServiceClient, func(ctx context.Context, c stillroomv1.EquipmentServiceClient, token string) (*stillroomv1.ListEquipmentResponse, error) {
				return c.ListEquipment(ctx, &stillroomv1.ListEquipmentRequest{Parent: k, Kind: kind, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) { writeEquipment(w, all.GetEquipment()) })
		},
	}
	cmd.Flags().StringVar(&kind, "kind", "", `only this kind, e.g. "canner"`)
	return cmd
}

func newEquipmentShow(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "show ID", Short: "Show equipment with its recorded come-ups", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("equipment", args[0])
			if err != nil {
				return err
			}
			e, err := call(cmd.Context(), s, stillroomv1.NewEquipmentServiceClient, func(ctx context.Context, c stillroomv1.EquipmentServiceClient) (*stillroomv1.Equipment, error) {
				return c.GetEquipment(ctx, &stillroomv1.GetEquipmentRequest{Name: name})
			})
			return s.showEquipment(e, err)
		},
	}
}

func newEquipmentChange(s *session) *cobra.Command {
	e := &stillroomv1.Equipment{}
	cmd := &cobra.Command{
		Use: "change ID", Short: "Change the name, the number owned or the place", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) (err error) {
			if e.Name, err = s.under("equipment", args[0]); err != nil {
				return err
			}
			if e.GetSite() != "" {
				if e.Site, err = s.under("sites", e.GetSite()); err != nil {
					return err
				}
			}
			mask := changedFields(cmd, map[string]string{"name": "display_name", "owned": "owned_count", "site": "site"})
			changed, err := call(cmd.Context(), s, stillroomv1.NewEquipmentServiceClient, func(ctx context.Context, c stillroomv1.EquipmentServiceClient) (*stillroomv1.Equipment, error) {
				return c.UpdateEquipment(ctx, &stillroomv1.UpdateEquipmentRequest{Equipment: e, UpdateMask: mask})
			})
			return s.showEquipment(changed, err)
		},
	}
	cmd.Flags().StringVar(&e.DisplayName, "name", "", "new name for people")
	cmd.Flags().Int32Var(&e.OwnedCount, "owned", 0, "how many there are now")
	cmd.Flags().StringVar(&e.Site, "site", "", `id of the site where it stands; "" for anywhere`)
	cmd.MarkFlagsOneRequired("name", "owned", "site")
	return cmd
}

func newEquipmentDelete(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "delete ID", Short: "Remove equipment that nobody has reserved", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("equipment", args[0])
			if err != nil {
				return err
			}
			_, err = call(cmd.Context(), s, stillroomv1.NewEquipmentServiceClient, func(ctx context.Context, c stillroomv1.EquipmentServiceClient) (any, error) {
				return c.DeleteEquipment(ctx, &stillroomv1.DeleteEquipmentRequest{Name: name})
			})
			return s.done(err, "equipment %s is removed", last(name))
		},
	}
}

func newEquipmentComeUp(s *session) *cobra.Command {
	var method, size, pack, altitude string
	var jars int32
	var minutes float64
	cmd := &cobra.Command{
		Use: "come-up CANNER", Short: "Record how long a canner took to come to the boil", Args: cobra.ExactArgs(1),
		Long:    "Record how long a canner took from lid on to the boil (under pressure or in steam, to a steady\nflow of steam). Three or more records replace what was assumed of its burner.",
		Example: `  stillroom equipment come-up big-canner --jars 9 --size pint --pack hot --altitude "5,280 ft" --minutes 21.5`,
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("equipment", args[0])
			if err != nil {
				return err
			}
			o := &stillroomv1.ComeUp{Jars: jars, Minutes: minutes}
			if o.Method, err = readMethod(method); err != nil {
				return err
			}
			if o.JarSize, err = readJarSize(size); err != nil {
				return err
			}
			if err := oneOf("--pack", pack, "hot", "raw"); err != nil {
				return err
			}
			o.Pack = stillroomv1.Pack(stillroomv1.Pack_value["PACK_"+strings.ToUpper(pack)])
			if o.Altitude, err = readAltitude(altitude); err != nil {
				return err
			}
			e, err := call(cmd.Context(), s, stillroomv1.NewEquipmentServiceClient, func(ctx context.Context, c stillroomv1.EquipmentServiceClient) (*stillroomv1.Equipment, error) {
				return c.RecordComeUp(ctx, &stillroomv1.RecordComeUpRequest{Name: name, ComeUp: o, RequestId: newRequestID()})
			})
			return s.showEquipment(e, err)
		},
	}
	cmd.Flags().StringVar(&method, "method", "boiling water", "boiling water, atmospheric steam, pressure dial or pressure weighted")
	cmd.Flags().StringVar(&size, "size", "pint", "size of the jars")
	cmd.Flags().StringVar(&pack, "pack", "hot", "hot or raw")
	cmd.Flags().StringVar(&altitude, "altitude", "", `where it was, "1600 m" or "5,280 ft"`)
	cmd.Flags().Int32Var(&jars, "jars", 0, "jars in the canner")
	cmd.Flags().Float64Var(&minutes, "minutes", 0, "how long it took")
	for _, required := range []string{"altitude", "jars", "minutes"} {
		_ = cmd.MarkFlagRequired(required)
	}
	return cmd
}

// readMethod reads a canning method as people write it.
func readMethod(text string) (stillroomv1.ProcessMethod, error) {
	m, err := canning.ParseMethod(text)
	if err != nil {
		return 0, err
	}
	return stillroomv1.ProcessMethod(stillroomv1.ProcessMethod_value["PROCESS_METHOD_"+strings.ToUpper(string(m))]), nil
}

// methodName names a canning method for people.
func methodName(m stillroomv1.ProcessMethod) string {
	return canning.Method(strings.ToLower(strings.TrimPrefix(m.String(), "PROCESS_METHOD_"))).Name()
}

func (s *session) showEquipment(e *stillroomv1.Equipment, err error) error {
	if err != nil {
		return err
	}
	return s.show(e, func(w io.Writer) {
		writeEquipment(w, []*stillroomv1.Equipment{e})
		if len(e.GetCanner().GetComeUps()) == 0 {
			return
		}
		fmt.Fprintln(w)
		g := newGrid("TIMED", "METHOD", "JAR", "PACK", ">JARS", ">ALTITUDE", ">MINUTES")
		for _, o := range e.GetCanner().GetComeUps() {
			g.add(o.GetObserveTime().AsTime().Format("2006-01-02"), methodName(o.GetMethod()), jarSize(o.GetJarSize()),
				strings.ToLower(strings.TrimPrefix(o.GetPack().String(), "PACK_")), o.GetJars(), height(o.GetAltitude()), fmt.Sprintf("%.1f", o.GetMinutes()))
		}
		g.write(w, "")
	})
}

func writeEquipment(w io.Writer, all []*stillroomv1.Equipment) {
	g := newGrid("EQUIPMENT", "NAME", "KIND", ">OWNED", "AT", "HOLDS", "COME-UP")
	for _, e := range all {
		at := "anywhere"
		if e.GetSite() != "" {
			at = last(e.GetSite())
		}
		var holds []string
		for _, c := range e.GetCanner().GetCapacities() {
			holds = append(holds, fmt.Sprintf("%d %s", c.GetJars(), jarSize(c.GetJarSize())))
		}
		comeUp := ""
		switch d := e.GetCanner(); {
		case d == nil:
		case len(d.GetComeUps()) >= 3:
			comeUp = fmt.Sprintf("from %d records", len(d.GetComeUps()))
		case d.GetComeUpBaseMinutes() != "":
			comeUp = fmt.Sprintf("%s + %s min a jar", d.GetComeUpBaseMinutes(), d.GetComeUpMinutesPerJar())
		default:
			comeUp = "from physics"
		}
		g.add(last(e.GetName()), e.GetDisplayName(), e.GetKind(), e.GetOwnedCount(), at, strings.Join(holds, ", "), comeUp)
	}
	g.write(w, "No equipment yet; bring a file with: stillroom equipment import FILE")
}
