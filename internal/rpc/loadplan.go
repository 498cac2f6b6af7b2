package rpc

import (
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/classload"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// planEncoder writes a plan whose minutes count from its opening.
type planEncoder struct {
	kitchen string
	plan    classload.Plan
}

func (e planEncoder) at(minute int) *timestamppb.Timestamp {
	return timestamppb.New(e.plan.Opens.Add(time.Duration(minute) * time.Minute))
}

func (e planEncoder) batch(id string) string {
	return nameOf(batchPattern, e.kitchen, e.plan.Class, id)
}

func (e planEncoder) station(id string) string {
	return nameOf(stationPattern, e.kitchen, e.plan.Class, id)
}

func encodeLoadPlan(k string, p classload.Plan) *stillroomv1.LoadPlan {
	e := planEncoder{kitchen: k, plan: p}
	out := &stillroomv1.LoadPlan{
		Name:       nameOf(loadPlanPattern, k, p.Class, strconv.Itoa(p.Number)),
		CreateTime: timestamppb.New(p.CreatedAt), OpenTime: e.at(0), CloseTime: e.at(p.Close),
		Altitude: &stillroomv1.Altitude{Metres: p.AltitudeMetres},
		Outcome:  e.outcome(), Burners: e.rows(p.BurnerUse), Handlers: e.rows(p.HandlerUse),
		Assumptions: encodeAssumptions(p.Assume), Notes: p.Notes, Cautions: encodePlanCautions(p.Cautions),
		InstanceJson: string(p.Instance), AnswerJson: string(p.Answer),
	}
	for _, id := range slices.Sorted(maps.Keys(p.Choices)) {
		out.Choices = append(out.Choices, &stillroomv1.ProcessPick{Batch: e.batch(id), Method: encodeMethod(p.Choices[id].Method), PressurePounds: int32(p.Choices[id].Pressure)})
	}
	for _, r := range p.Around {
		out.AroundPlans = append(out.AroundPlans, nameOf(loadPlanPattern, k, r.Class, strconv.Itoa(r.Number)))
	}
	for _, b := range p.Batches {
		out.Batches = append(out.Batches, &stillroomv1.PlannedBatch{
			Batch: e.batch(b.Batch), Station: e.station(b.Station), RecipeRevision: nameOf(revisionPattern, k, b.Recipe, strconv.Itoa(b.Revision)),
			Title: b.Title, JarSize: encodeJarSize(b.JarSize), Jars: int32(b.Jars), CookTime: e.at(b.Cook), LiddedTime: e.at(b.Lidded),
			BeforeClass: encodeParts(b.Work.Before), Preparing: encodeParts(b.Work.Preparing), Cooking: encodeParts(b.Work.Cooking), Done: b.Done,
		})
	}
	for _, c := range p.Canners {
		out.Canners = append(out.Canners, e.canner(c))
	}
	for _, u := range p.Unplaced {
		out.Unplaced = append(out.Unplaced, &stillroomv1.UnplacedJars{
			Batch: e.batch(u.Batch), Station: e.station(u.Station), Title: u.Title, Jars: int32(u.Jars), JarSize: encodeJarSize(u.JarSize),
			Reason: u.Reason, NoRoom: u.NoRoom,
		})
	}
	for _, l := range p.Chain {
		out.Chain = append(out.Chain, &stillroomv1.ChainLink{StartTime: e.at(l.From), EndTime: e.at(l.Until), What: l.What, Because: l.Because})
	}
	for _, g := range p.Gains {
		out.Gains = append(out.Gains, &stillroomv1.Gain{
			Change: g.Change, UnprocessedJars: int32(g.Unprocessed), FinishMinutes: int32(g.Finish), Proven: g.Proven, Words: g.Words})
	}
	return out
}

func (e planEncoder) outcome() *stillroomv1.PlanOutcome {
	o := e.plan.Outcome
	out := &stillroomv1.PlanOutcome{
		Jars: int32(o.Jars), UnprocessedJars: int32(o.Unprocessed), FinishMinutes: int32(o.Finish), Loads: int32(o.Loads),
		HotWaitingJarMinutes: int32(o.Hold), MovedJarMinutes: int32(o.Moved), BoundUnprocessedJars: int32(o.BoundUnprocessed),
		BoundFinishMinutes: int32(o.BoundFinish), Optimal: o.Optimal, Work: o.Work, Seed: o.Seed, Elapsed: durationpb.New(o.Elapsed),
		FuelMinutes: int32(o.FuelMinutes), WaterLitres: o.WaterLitres,
	}
	if !o.Optimal {
		out.Gap = gap(o.Finish, o.BoundFinish)
	}
	if o.Loads > 0 {
		out.FinishTime = e.at(o.Finish)
	}
	return out
}

func (e planEncoder) canner(c classload.CannerPlan) *stillroomv1.PlannedCanner {
	_, number, _ := strings.Cut(c.ID, "#")
	n, _ := strconv.Atoi(number)
	out := &stillroomv1.PlannedCanner{
		Unit:        &stillroomv1.EquipmentUnit{Equipment: nameOf(equipmentPattern, e.kitchen, c.Equipment), Number: int32(n)},
		DisplayName: c.Name, ResetMinutes: int32(c.Reset),
	}
	for _, h := range c.Held {
		out.Held = append(out.Held, &stillroomv1.HeldSpan{StartTime: e.at(h.From), EndTime: e.at(h.Until), Class: nameOf(classPattern, e.kitchen, h.Class)})
	}
	for _, l := range c.Loads {
		out.Loads = append(out.Loads, e.load(l))
	}
	return out
}

func (e planEncoder) load(l classload.LoadPlan) *stillroomv1.PlannedLoad {
	out := &stillroomv1.PlannedLoad{
		InTime: e.at(l.In), BoilTime: e.at(l.Boil), ClockTime: e.at(l.Clock), OffTime: e.at(l.Off), UnloadTime: e.at(l.Unload), OutTime: e.at(l.Out),
		JarSize: encodeJarSize(l.Size), Done: l.Done,
		Process: encodeLoadProcess(l.Process),
		ComeUp: &stillroomv1.ComeUpBasis{
			Basis: l.ComeUp.Basis, BaseMinutes: l.ComeUp.Base, MinutesPerJar: l.ComeUp.PerJar, ErrorMinutes: l.ComeUp.ErrorMinutes, Assumptions: l.ComeUp.Assumptions,
		},
	}
	for _, j := range l.Jars {
		out.Jars = append(out.Jars, &stillroomv1.JarsInLoad{
			Batch: e.batch(j.Batch), Station: e.station(j.Station), Title: j.Title, Jars: int32(j.Jars), WaitMinutes: int32(j.Wait),
			Product: j.Product, Source: encodePlanSource(j.Source), Notes: encodePlanCautions(j.Notes),
		})
	}
	for _, p := range l.Phases {
		out.Phases = append(out.Phases, &stillroomv1.PlannedPhase{
			Name: p.Name, Part: p.Part, StartTime: e.at(p.From), EndTime: e.at(p.Until), Source: encodePlanSource(p.Source)})
	}
	return out
}

func encodeLoadProcess(p classload.ProcessBasis) *stillroomv1.LoadProcess {
	return &stillroomv1.LoadProcess{
		Method: encodeMethod(p.Method), Minutes: int32(p.Minutes), PressurePounds: int32(p.Pressure),
		Pack: encodePack(reference.Pack(p.Pack)), AltitudeBand: p.Band,
	}
}

func (e planEncoder) rows(rows []classload.Row) []*stillroomv1.UseRow {
	out := make([]*stillroomv1.UseRow, len(rows))
	for i, r := range rows {
		out[i] = &stillroomv1.UseRow{}
		for _, u := range r.Uses {
			out[i].Uses = append(out[i].Uses, &stillroomv1.Use{StartTime: e.at(u.From), EndTime: e.at(u.Until), What: u.What, OtherClass: u.Other})
		}
	}
	return out
}

func encodeParts(parts []classload.Part) []*stillroomv1.WorkPart {
	var out []*stillroomv1.WorkPart
	for _, p := range parts {
		out = append(out, &stillroomv1.WorkPart{What: p.What, Minutes: int32(p.Minutes), Assumed: p.Assumed})
	}
	return out
}

// encodePlanSource is nil for a figure that is reckoned and not printed.
func encodePlanSource(s classload.Source) *stillroomv1.Source {
	if s == (classload.Source{}) {
		return nil
	}
	return &stillroomv1.Source{Publication: s.Publication, Locator: s.Locator}
}

func encodePlanCautions(cautions []classload.Caution) []*stillroomv1.Caution {
	var out []*stillroomv1.Caution
	for _, c := range cautions {
		out = append(out, &stillroomv1.Caution{Text: c.Text, Source: encodePlanSource(c.Source)})
	}
	return out
}

// decodeAssumptions takes the program's own assumptions where none are given.
func decodeAssumptions(a *stillroomv1.WorkAssumptions) classload.Assumptions {
	out := classload.DefaultAssumptions()
	if a == nil {
		return out
	}
	set := func(into *measure.Minutes, given *int32) {
		if given != nil {
			*into = measure.Minutes(*given)
		}
	}
	set(&out.Prepare, a.PrepareMinutes)
	set(&out.Heat, a.HeatMinutes)
	set(&out.FillPerJar, a.FillMinutesPerJar)
	set(&out.Unprinted, a.UnprintedStepMinutes)
	set(&out.BeforeClass, a.BeforeClassMinutes)
	return out
}

func encodeAssumptions(a classload.Assumptions) *stillroomv1.WorkAssumptions {
	given := func(m measure.Minutes) *int32 {
		n := int32(m)
		return &n
	}
	return &stillroomv1.WorkAssumptions{
		PrepareMinutes: given(a.Prepare), HeatMinutes: given(a.Heat), FillMinutesPerJar: given(a.FillPerJar),
		UnprintedStepMinutes: given(a.Unprinted), BeforeClassMinutes: given(a.BeforeClass),
	}
}
