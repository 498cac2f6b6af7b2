package rpc

import (
	"context"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/canning"
	"stillroom/internal/kitchen"
	"stillroom/internal/store"
)

func (s *processService) GetClassProcedure(ctx context.Context, req *stillroomv1.GetClassProcedureRequest) (*stillroomv1.ClassProcedure, error) {
	var k, id string
	if err := parseName("name", req.GetName(), classPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.ClassProcedure
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		class, err := tx.Class(ctx, id)
		if err != nil {
			return err
		}
		site, err := tx.Site(ctx, class.Site)
		if err != nil {
			return err
		}
		batches, err := tx.AllBatches(ctx, id)
		if err != nil {
			return err
		}
		formulas, err := tx.FormulasOf(ctx, batches)
		if err != nil {
			return err
		}
		units, err := tx.UnitsFor(ctx, id)
		if err != nil {
			return err
		}
		var canners []kitchen.Canner
		for _, u := range units {
			if u.Equipment.Canner != nil && len(u.FreeWithin(class.Start, class.End())) > 0 {
				canners = append(canners, *u.Equipment.Canner)
			}
		}
		out = encodeClassProcedure(k, id, kitchen.ProcedureOf(batches, formulas, canners, site.Altitude))
		out.Altitude = &stillroomv1.Altitude{Metres: site.Altitude.Metres().Float64()}
		out.BoilingPointCelsius = float64(canning.BoilingPoint(site.Altitude))
		return nil
	})
	return out, err
}

func encodeClassProcedure(k, class string, p kitchen.Procedure) *stillroomv1.ClassProcedure {
	out := &stillroomv1.ClassProcedure{Class: nameOf(classPattern, k, class)}
	// The lines count processes, the reply lists those without one too.
	var at []int32
	for _, f := range p.Fillings {
		base := func() *stillroomv1.ClassProcess {
			m := &stillroomv1.ClassProcess{RecipeRevision: encodeRevisionRef(k, f.Revision), Title: f.Title, JarSize: encodeJarSize(f.Jar), RefrigerateReason: f.Refrigerate}
			for _, b := range f.Batches {
				m.Batches = append(m.Batches, nameOf(batchPattern, k, class, b))
			}
			return m
		}
		if len(f.Processes) == 0 {
			out.Processes = append(out.Processes, base())
		}
		for _, process := range f.Processes {
			m := base()
			m.Method, m.Band, m.Choices, m.Phases = encodeMethod(process.Request.Method), encodeBand(process.Band), encodeChoices(process), encodePhases(process)
			for _, n := range process.Notes {
				m.Notes = append(m.Notes, encodeCaution(n.Text, n.Source))
			}
			at = append(at, int32(len(out.Processes)))
			out.Processes = append(out.Processes, m)
		}
	}
	out.Steps, out.Cautions = encodeLines(p.Steps, at), encodeLines(p.Cautions, at)
	return out
}

// encodeLines writes lines; at says where each process stands in the reply.
func encodeLines(items []canning.ChecklistItem, at []int32) []*stillroomv1.ProcedureLine {
	var out []*stillroomv1.ProcedureLine
	for _, item := range items {
		line := &stillroomv1.ProcedureLine{Stage: string(item.Stage), Text: item.Text, FactKey: item.Key}
		if item.Source.Publication != canning.CommonPractice {
			line.Source = encodeSource(item.Source)
		}
		if len(item.For) < len(at) {
			for _, i := range item.For {
				line.Processes = append(line.Processes, at[i])
			}
		}
		out = append(out, line)
	}
	return out
}
