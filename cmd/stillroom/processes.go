package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/canning"
	"stillroom/internal/measure"
)

func newProcess(s *session) *cobra.Command {
	return parent(groupPlan, "process", "Processes: published times for a jar at an altitude, and the procedure with them",
		newProcessShow(s), newProcessList(s), newProcessClass(s), newProcessComeUp(s))
}

func newProcessList(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "list [WORD...]", Short: "List foods with a published process table",
		Example: "  stillroom process list\n  stillroom process list tomato salsa",
		RunE: func(cmd *cobra.Command, args []string) error {
			all, err := everything(cmd.Context(), s, stillroomv1.NewProcessServiceClient, func(ctx context.Context, c stillroomv1.ProcessServiceClient, token string) (*stillroomv1.ListProductsResponse, error) {
				return c.ListProducts(ctx, &stillroomv1.ListProductsRequest{Query: strings.Join(args, " "), PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) {
				g := newGrid("PRODUCT", "NAME", "METHODS", "JARS")
				for _, p := range all.GetProducts() {
					methods, jars := coverageWords(p.GetCoverage())
					g.add(p.GetKey(), p.GetDisplayName(), methods, jars)
				}
				g.write(w, "No food with a process table has all these words; try one of them alone")
			})
		},
	}
}

// coverageWords sums a product's coverage up, each method and each jar size once.
func coverageWords(coverage []*stillroomv1.ProcessCoverage) (methods, jars string) {
	var m, j []string
	add := func(list *[]string, word string) {
		for _, have := range *list {
			if have == word {
				return
			}
		}
		*list = append(*list, word)
	}
	for _, c := range coverage {
		add(&m, methodName(c.GetMethod()))
		for _, size := range c.GetJarSizes() {
			add(&j, jarSize(size))
		}
	}
	return strings.Join(m, ", "), strings.Join(j, ", ")
}

func newProcessShow(s *session) *cobra.Command {
	var jar, pack, method, altitude, site string
	var steps bool
	cmd := &cobra.Command{
		Use: "show PRODUCT", Short: "Look up a published process", Args: cobra.ExactArgs(1),
		Example: `  stillroom process show crushed_tomatoes --size pint --pack hot --method boiling_water --altitude "5,280 ft"
  stillroom process show green_beans --size quart --pack raw --method dial --site main --steps`,
		RunE: func(cmd *cobra.Command, args []string) error {
			req := &stillroomv1.LookUpProcessRequest{ProductKey: args[0]}
			var err error
			if req.JarSize, err = readJarSize(jar); err != nil {
				return err
			}
			if req.Method, err = readMethod(method); err != nil {
				return err
			}
			if pack != "" {
				if req.Pack, err = readPack(pack); err != nil {
					return err
				}
			}
			height, siteName, err := s.readPlace(altitude, site)
			if err != nil {
				return err
			}
			if height != nil {
				req.Place = &stillroomv1.LookUpProcessRequest_Altitude{Altitude: height}
			} else {
				req.Place = &stillroomv1.LookUpProcessRequest_Site{Site: siteName}
			}
			process, err := call(cmd.Context(), s, stillroomv1.NewProcessServiceClient, func(ctx context.Context, c stillroomv1.ProcessServiceClient) (*stillroomv1.LookUpProcessResponse, error) {
				return c.LookUpProcess(ctx, req)
			})
			if err != nil {
				return err
			}
			return s.show(process, func(w io.Writer) { writeProcess(w, req, process, steps) })
		},
	}
	cmd.Flags().StringVar(&jar, "size", "", "size of the jar: half-pint, pint, quart, 250 ml, 500 ml, 1 l, …")
	cmd.Flags().StringVar(&pack, "pack", "", "hot or raw; may be left out where the table prints both together")
	cmd.Flags().StringVar(&method, "method", "boiling_water", "boiling_water, steam, dial or weighted")
	cmd.Flags().BoolVar(&steps, "steps", false, "print the checklist too")
	_ = cmd.MarkFlagRequired("size")
	placeFlags(cmd, &altitude, &site)
	return cmd
}

// placeFlags adds the two ways to say where jars are processed, of which one is needed.
func placeFlags(cmd *cobra.Command, altitude, site *string) {
	cmd.Flags().StringVar(altitude, "altitude", "", `where the jars are processed, "1600 m" or "5,280 ft"`)
	cmd.Flags().StringVar(site, "site", "", "or the id of a site")
	cmd.MarkFlagsOneRequired("altitude", "site")
	cmd.MarkFlagsMutuallyExclusive("altitude", "site")
}

// readPlace reads an altitude, or the name of a site when no altitude is given.
func (s *session) readPlace(altitude, site string) (*stillroomv1.Altitude, string, error) {
	if altitude != "" {
		a, err := readAltitude(altitude)
		return a, "", err
	}
	name, err := s.under("sites", site)
	return nil, name, err
}

func newProcessClass(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "class CLASS", Short: "Print the processes of a class's batches and the checklist for its canners", Args: cobra.ExactArgs(1),
		Example: "  stillroom process class salsa-day",
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			p, err := call(cmd.Context(), s, stillroomv1.NewProcessServiceClient, func(ctx context.Context, c stillroomv1.ProcessServiceClient) (*stillroomv1.ClassProcedure, error) {
				return c.GetClassProcedure(ctx, &stillroomv1.GetClassProcedureRequest{Name: name})
			})
			if err != nil {
				return err
			}
			return s.show(p, func(w io.Writer) { writeClassProcedure(w, p) })
		},
	}
}

func writeClassProcedure(w io.Writer, p *stillroomv1.ClassProcedure) {
	fmt.Fprintf(w, "%s, at %s (water boils at %s)\n\n", last(p.GetClass()), height(p.GetAltitude()), measure.Celsius(p.GetBoilingPointCelsius()))
	g := newGrid(">NO.", "RECIPE", "JAR", "METHOD", "PROCESS", ">HEADSPACE", "SOURCE")
	for i, process := range p.GetProcesses() {
		if process.GetRefrigerateReason() != "" {
			g.add(i+1, process.GetTitle(), jarSize(process.GetJarSize()), "none", "refrigerate or freeze", "–", "–")
			continue
		}
		for j, c := range process.GetChoices() {
			number, or := fmt.Sprint(i+1), ""
			if j > 0 {
				number, or = "", "or "
			}
			headspace := "not printed"
			if c.HeadspaceInches != nil {
				headspace = measure.Inches(c.GetHeadspaceInches()).String()
			}
			choice := canning.Choice{Minutes: measure.Minutes(c.GetMinutes()), Pressure: measure.GaugePounds(c.GetPressurePounds())}
			g.add(number, process.GetTitle(), jarSize(process.GetJarSize()), methodName(process.GetMethod()), or+choice.String(), headspace, citation(c.GetSource()))
		}
	}
	g.write(w, "No batches yet; have some worked out with: stillroom batch propose CLASS --want RECIPE=JARS")
	for i, process := range p.GetProcesses() {
		if why := process.GetRefrigerateReason(); why != "" {
			fmt.Fprintf(w, "\nNo. %d is refrigerated or frozen, never shelved: %s\n", i+1, why)
		}
		for _, n := range process.GetNotes() {
			fmt.Fprintf(w, "\nNo. %d: %s (%s)\n", i+1, n.GetText(), citation(n.GetSource()))
		}
	}
	stage := ""
	for _, line := range p.GetSteps() {
		if line.GetStage() != stage {
			stage = line.GetStage()
			fmt.Fprintf(w, "\n%s\n", strings.ToUpper(stage[:1])+stage[1:])
		}
		fmt.Fprintf(w, "  [ ] %s%s (%s)\n", onlyFor(line.GetProcesses()), line.GetText(), citation(line.GetSource()))
	}
	fmt.Fprintln(w)
	for _, line := range p.GetCautions() {
		writeCautions(w, []*stillroomv1.Caution{{Text: onlyFor(line.GetProcesses()) + line.GetText(), Source: line.GetSource()}})
	}
}

// onlyFor names the processes a line belongs to, counted from 1 as the table does; nothing when to all.
func onlyFor(processes []int32) string {
	if len(processes) == 0 {
		return ""
	}
	numbers := make([]string, len(processes))
	for i, p := range processes {
		numbers[i] = fmt.Sprint(p + 1)
	}
	return "For no. " + strings.Join(numbers, ", ") + ": "
}

func newProcessComeUp(s *session) *cobra.Command {
	var jar, pack, method, altitude, site string
	cmd := &cobra.Command{
		Use: "come-up CANNER", Short: "Estimate how long a canner takes to come to the boil", Args: cobra.ExactArgs(1),
		Example: `  stillroom process come-up big-blue --size pint --pack hot --site main`,
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("equipment", args[0])
			if err != nil {
				return err
			}
			req := &stillroomv1.EstimateComeUpRequest{Name: name}
			if req.JarSize, err = readJarSize(jar); err != nil {
				return err
			}
			if req.Method, err = readMethod(method); err != nil {
				return err
			}
			if req.Pack, err = readPack(pack); err != nil {
				return err
			}
			height, siteName, err := s.readPlace(altitude, site)
			if err != nil {
				return err
			}
			if height != nil {
				req.Place = &stillroomv1.EstimateComeUpRequest_Altitude{Altitude: height}
			} else {
				req.Place = &stillroomv1.EstimateComeUpRequest_Site{Site: siteName}
			}
			e, err := call(cmd.Context(), s, stillroomv1.NewProcessServiceClient, func(ctx context.Context, c stillroomv1.ProcessServiceClient) (*stillroomv1.EstimateComeUpResponse, error) {
				return c.EstimateComeUp(ctx, req)
			})
			if err != nil {
				return err
			}
			return s.show(e, func(w io.Writer) { writeComeUpEstimate(w, last(name), req, e) })
		},
	}
	cmd.Flags().StringVar(&jar, "size", "", "size of the jars")
	cmd.Flags().StringVar(&pack, "pack", "hot", "hot or raw")
	cmd.Flags().StringVar(&method, "method", "boiling_water", "boiling_water, steam, dial or weighted")
	_ = cmd.MarkFlagRequired("size")
	placeFlags(cmd, &altitude, &site)
	return cmd
}

// basisWords says what an estimate rests on.
var basisWords = map[stillroomv1.EstimateBasis]string{
	stillroomv1.EstimateBasis_ESTIMATE_BASIS_PHYSICS: "from physics",
	stillroomv1.EstimateBasis_ESTIMATE_BASIS_ENTERED: "as entered",
	stillroomv1.EstimateBasis_ESTIMATE_BASIS_RECORD:  "from the canner's record",
}

func writeComeUpEstimate(w io.Writer, canner string, req *stillroomv1.EstimateComeUpRequest, e *stillroomv1.EstimateComeUpResponse) {
	fmt.Fprintf(w, "%s: %d min for a full load of %d %s jars, %s\n", canner, e.GetFullLoadMinutes(), e.GetFullLoadJars(), jarSize(req.GetJarSize()), basisWords[e.GetBasis()])
	fmt.Fprintf(w, "  %.2f min and %.2f min for each jar, rounded up\n", e.GetBaseMinutes(), e.GetMinutesPerJar())
	if e.GetObservations() > 0 {
		fmt.Fprintf(w, "  give or take %.1f min (standard deviation of %d timed come-ups)\n", e.GetErrorMinutes(), e.GetObservations())
	}
	for _, a := range e.GetAssumptions() {
		fmt.Fprintf(w, "  • %s\n", a)
	}
}

// readPack reads how jars are filled.
func readPack(text string) (stillroomv1.Pack, error) {
	switch p := strings.ToLower(strings.TrimSpace(text)); p {
	case "hot":
		return stillroomv1.Pack_PACK_HOT, nil
	case "raw":
		return stillroomv1.Pack_PACK_RAW, nil
	}
	return 0, fmt.Errorf("--pack %q: choose hot or raw", text)
}

func writeProcess(w io.Writer, req *stillroomv1.LookUpProcessRequest, p *stillroomv1.LookUpProcessResponse, steps bool) {
	fmt.Fprintf(w, "%s, %s, at %s (band %s; water boils at %s)\n\n", p.GetProduct().GetDisplayName(),
		methodName(req.GetMethod()), height(p.GetAltitude()), p.GetBand().GetText(),
		measure.Celsius(p.GetBoilingPointCelsius()))
	g := newGrid(">MINUTES", ">PRESSURE", ">HEADSPACE", "SOURCE")
	for _, c := range p.GetChoices() {
		pressure, headspace := "–", "not printed"
		if c.GetPressurePounds() > 0 {
			pressure = measure.GaugePounds(c.GetPressurePounds()).String()
		}
		if c.HeadspaceInches != nil {
			headspace = measure.Inches(c.GetHeadspaceInches()).String()
		}
		g.add(c.GetMinutes(), pressure, headspace, citation(c.GetSource()))
	}
	g.write(w, "")
	for i, n := range p.GetNotes() {
		if i == 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "%s (%s)\n", n.GetText(), citation(n.GetSource()))
	}
	if steps {
		stage := ""
		for _, step := range p.GetSteps() {
			if step.GetStage() != stage {
				stage = step.GetStage()
				fmt.Fprintf(w, "\n%s\n", strings.ToUpper(stage[:1])+stage[1:])
			}
			fmt.Fprintf(w, "  [ ] %s (%s)\n", step.GetText(), citation(step.GetSource()))
		}
	}
	fmt.Fprintln(w)
	writeCautions(w, p.GetCautions())
}

// citation is a source on one line.
func citation(source *stillroomv1.Source) string {
	switch {
	case source.GetPublication() == "":
		return canning.CommonPractice
	case source.GetLocator() == "":
		return source.GetPublication()
	}
	return source.GetPublication() + ", " + source.GetLocator()
}
