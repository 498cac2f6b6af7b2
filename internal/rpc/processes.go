package rpc

import (
	"context"
	"errors"
	"strings"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
	"stillroom/internal/store"
)

type processService struct {
	stillroomv1.UnimplementedProcessServiceServer
	*backend
}

func (s *processService) ListProducts(_ context.Context, req *stillroomv1.ListProductsRequest) (*stillroomv1.ListProductsResponse, error) {
	words := strings.FieldsFunc(strings.ToLower(req.GetQuery()), func(c rune) bool { return c == ' ' || c == '_' || c == ',' })
	list := "products?" + strings.Join(words, "+")
	var after string
	if err := readPage(req.GetPageToken(), list, &after); err != nil {
		return nil, err
	}
	var found []reference.Product
	for _, p := range canning.Published().Products() {
		if p.Key > after && containsAll(p, words) {
			found = append(found, p)
		}
	}
	found, more := cut(found, pageSize(req.GetPageSize()))
	out := &stillroomv1.ListProductsResponse{}
	for _, p := range found {
		out.Products = append(out.Products, encodeProduct(p))
	}
	if more {
		out.NextPageToken = nextPage(list, found[len(found)-1].Key)
	}
	return out, nil
}

// containsAll says whether every word is in the product's key or name.
func containsAll(p reference.Product, words []string) bool {
	text := p.Key + " " + strings.ToLower(p.Name)
	for _, w := range words {
		if !strings.Contains(text, w) {
			return false
		}
	}
	return true
}

func (s *processService) LookUpProcess(ctx context.Context, req *stillroomv1.LookUpProcessRequest) (*stillroomv1.LookUpProcessResponse, error) {
	altitude, err := s.altitudeAt(ctx, req)
	if err != nil {
		return nil, err
	}
	pack := decodePack(req.GetPack())
	if pack == "" {
		pack = reference.AnyPack
	}
	process, err := canning.Published().LookUp(canning.Request{
		ProductKey: req.GetProductKey(), Pack: pack, Jar: decodeJarSize(req.GetJarSize()), Method: decodeMethod(req.GetMethod()), Altitude: altitude,
	})
	if err != nil {
		return nil, inRequest(err)
	}
	return encodeProcess(process), nil
}

// inRequest puts the names of the request's fields in the place of the canning room's.
func inRequest(err error) error {
	var f *fault.Error
	if !errors.As(err, &f) {
		return err
	}
	named := fault.New(f.Kind, "%s", f.Message).Because(err)
	for _, v := range f.Violations {
		switch v.Field {
		case "product":
			v.Field = "product_key"
		case "jar":
			v.Field = "jar_size"
		}
		named.Violations = append(named.Violations, v)
	}
	return named
}

func (s *processService) EstimateComeUp(ctx context.Context, req *stillroomv1.EstimateComeUpRequest) (*stillroomv1.EstimateComeUpResponse, error) {
	var k, id string
	if err := parseName("name", req.GetName(), equipmentPattern, &k, &id); err != nil {
		return nil, err
	}
	altitude, err := s.altitudeAt(ctx, req)
	if err != nil {
		return nil, err
	}
	load := canning.HeatLoad{Method: decodeMethod(req.GetMethod()), Jar: decodeJarSize(req.GetJarSize()), Pack: decodePack(req.GetPack()), Altitude: altitude}
	var piece kitchen.Equipment
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		piece, err = tx.Equipment(ctx, id)
		return err
	})
	if err != nil {
		return nil, err
	}
	if piece.Canner == nil {
		return nil, fault.New(fault.Precondition, "%s is a %s, not a canner; only a canner comes to the boil", req.GetName(), piece.Kind)
	}
	estimate, err := piece.Canner.EstimateComeUp(piece.DisplayName, load)
	if err != nil {
		return nil, err
	}
	full := piece.Canner.Physical(piece.DisplayName).Holds(load.Jar)
	return &stillroomv1.EstimateComeUpResponse{
		Basis: estimateBases[estimate.Basis], BaseMinutes: estimate.Base, MinutesPerJar: estimate.PerJar,
		FullLoadJars: int32(full), FullLoadMinutes: int32(estimate.Minutes(full)),
		EffectiveWatts: float64(estimate.Power), Observations: int32(estimate.Observations),
		ErrorMinutes: estimate.ErrorMinutes, EffectiveWattsError: float64(estimate.PowerError), Assumptions: estimate.Assumptions,
	}, nil
}

var estimateBases = map[canning.Basis]stillroomv1.EstimateBasis{
	canning.FromPhysics: stillroomv1.EstimateBasis_ESTIMATE_BASIS_PHYSICS,
	kitchen.AsEntered:   stillroomv1.EstimateBasis_ESTIMATE_BASIS_ENTERED,
	canning.FromRecord:  stillroomv1.EstimateBasis_ESTIMATE_BASIS_RECORD,
}

// placed is a request that names an altitude, or a site that has one.
type placed interface {
	GetAltitude() *stillroomv1.Altitude
	GetSite() string
}

// altitudeAt is the altitude a request names, or that of the site it names.
func (s *processService) altitudeAt(ctx context.Context, req placed) (measure.Altitude, error) {
	if a := req.GetAltitude(); a != nil {
		altitude, err := measure.AltitudeFromFloat(a.GetMetres())
		return altitude, measured(err)
	}
	// No place at all is refused here too: at sea level, where a zero would put it, times are shortest.
	var k, id string
	if err := parseName("site", req.GetSite(), sitePattern, &k, &id); err != nil {
		return measure.Altitude{}, err
	}
	var altitude measure.Altitude
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		site, err := tx.Site(ctx, id)
		altitude = site.Altitude
		return err
	})
	return altitude, err
}

func encodeProduct(p reference.Product) *stillroomv1.Product {
	out := &stillroomv1.Product{Key: p.Key, DisplayName: p.Name}
	for _, c := range canning.Published().Printed(p.Key) {
		coverage := &stillroomv1.ProcessCoverage{Method: encodeMethod(c.Method)}
		if c.Pack == reference.AnyPack {
			coverage.Packs = []stillroomv1.Pack{stillroomv1.Pack_PACK_HOT, stillroomv1.Pack_PACK_RAW}
		} else {
			coverage.Packs = []stillroomv1.Pack{encodePack(c.Pack)}
		}
		for _, j := range c.Jars {
			coverage.JarSizes = append(coverage.JarSizes, encodeJarSize(j))
		}
		out.Coverage = append(out.Coverage, coverage)
	}
	return out
}

func encodeProcess(p canning.Process) *stillroomv1.LookUpProcessResponse {
	altitude := p.Request.Altitude
	out := &stillroomv1.LookUpProcessResponse{
		Product:             encodeProduct(p.Product),
		Altitude:            &stillroomv1.Altitude{Metres: altitude.Metres().Float64()},
		AltitudeFeet:        altitude.Feet().Float64(),
		Band:                encodeBand(p.Band),
		PrintedJarSize:      encodeJarSize(p.PrintedJar),
		BoilingPointCelsius: float64(canning.BoilingPoint(altitude)),
	}
	out.Choices = encodeChoices(p)
	for _, n := range p.Notes {
		out.Notes = append(out.Notes, encodeCaution(n.Text, n.Source))
	}
	for _, step := range canning.Procedure(p) {
		out.Steps = append(out.Steps, &stillroomv1.ProcedureStep{Stage: string(step.Stage), Text: step.Text, FactKey: step.Key, Source: encodeSource(step.Source)})
	}
	out.Phases = encodePhases(p)
	for _, step := range canning.Cautions(p) {
		out.Cautions = append(out.Cautions, encodeCaution(step.Text, step.Source))
	}
	return out
}

func encodeBand(b reference.Band) *stillroomv1.AltitudeBand {
	out := &stillroomv1.AltitudeBand{MinFeet: int32(b.Min), Text: canning.BandText(b)}
	if !b.Open {
		top := int32(b.Max)
		out.MaxFeet = &top
	}
	return out
}

func encodeChoices(p canning.Process) []*stillroomv1.ProcessChoice {
	var out []*stillroomv1.ProcessChoice
	for _, c := range p.Choices {
		choice := &stillroomv1.ProcessChoice{Minutes: int32(c.Minutes), PressurePounds: int32(c.Pressure), Source: encodeSource(c.Source)}
		if c.HeadspacePrinted {
			inches := float64(c.Headspace)
			choice.HeadspaceInches = &inches
		}
		out = append(out, choice)
	}
	return out
}

// encodePhases gives the phases of a process's first choice.
func encodePhases(p canning.Process) []*stillroomv1.LoadPhase {
	var out []*stillroomv1.LoadPhase
	for _, phase := range canning.Phases(p, p.Choices[0]) {
		m := &stillroomv1.LoadPhase{DisplayName: phase.Name, Minutes: int32(phase.Minutes)}
		if phase.Source.Publication != "" {
			m.Source = encodeSource(phase.Source)
		}
		out = append(out, m)
	}
	return out
}

// encodeCaution leaves the publication of common practice empty, as the contract says.
func encodeCaution(text string, source reference.Source) *stillroomv1.Caution {
	if source.Publication == canning.CommonPractice {
		return &stillroomv1.Caution{Text: text}
	}
	return &stillroomv1.Caution{Text: text, Source: encodeSource(source)}
}
