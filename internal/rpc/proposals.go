package rpc

import (
	"context"
	"fmt"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/recipe"
	"stillroom/internal/store"
)

func (s *classService) ProposeBatches(ctx context.Context, req *stillroomv1.ProposeBatchesRequest) (*stillroomv1.ProposeBatchesResponse, error) {
	var k, id string
	if err := parseName("name", req.GetName(), classPattern, &k, &id); err != nil {
		return nil, err
	}
	refs := make([]kitchen.RevisionRef, len(req.GetWishes()))
	var c fault.Collector
	for i, w := range req.GetWishes() {
		ref, err := decodeRevisionRef(k, fmt.Sprintf("wishes[%d].recipe_revision", i), w.GetRecipeRevision())
		c.AddErr("", err)
		refs[i] = ref
	}
	if err := c.Err(); err != nil {
		return nil, err
	}
	transact := s.store.Look // a proposal changes nothing
	if req.GetApply() {
		transact = s.store.In
	}
	var out *stillroomv1.ProposeBatchesResponse
	err := transact(ctx, k, func(tx *store.Tx) error {
		class, err := tx.Class(ctx, id)
		if err != nil {
			return err
		}
		formulas, notForShelf := map[kitchen.RevisionRef]*recipe.Revision{}, map[kitchen.RevisionRef]string{}
		for _, ref := range refs {
			if formulas[ref], notForShelf[ref], err = tx.Formula(ctx, ref); err != nil {
				return err
			}
		}
		plan, err := proposeBatches(ctx, tx, class, refs, formulas, req)
		if err != nil {
			return err
		}
		if req.GetApply() {
			if plan.Batches, err = tx.ReplaceBatches(ctx, id, plan.Batches); err != nil {
				return err
			}
		} else {
			for i, b := range plan.Batches {
				plan.Batches[i].NotForShelf = notForShelf[b.Revision]
			}
		}
		short, err := shortages(ctx, tx, class, plan.Batches, formulas)
		if err != nil {
			return err
		}
		cautions, err := processCautions(ctx, tx, class, plan.Batches, formulas)
		if err != nil {
			return err
		}
		out = encodeProposal(k, class, plan, short)
		out.Applied = req.GetApply()
		out.Cautions = cautions
		return nil
	})
	return out, err
}

// proposeBatches gathers what the plan needs and has it made; refs are the wishes' revisions, in their order.
func proposeBatches(ctx context.Context, tx *store.Tx, class kitchen.Class, refs []kitchen.RevisionRef, formulas map[kitchen.RevisionRef]*recipe.Revision, req *stillroomv1.ProposeBatchesRequest) (kitchen.Proposal, error) {
	stations, err := tx.AllStations(ctx, class.ID)
	if err != nil {
		return kitchen.Proposal{}, err
	}
	wishes := make([]kitchen.Wish, len(refs))
	for i, ref := range refs {
		wishes[i] = kitchen.Wish{
			Formula: kitchen.FormulaOf(ref, formulas[ref]), JarSize: decodeJarSize(req.GetWishes()[i].GetJarSize()), JarsEach: int(req.GetWishes()[i].GetJarsPerParticipant()),
		}
	}
	people := int(req.GetParticipants())
	if people == 0 {
		people = class.Enrolled
	}
	return kitchen.Propose(people, stations, wishes)
}

func (s *classService) CheckEquipment(ctx context.Context, req *stillroomv1.CheckEquipmentRequest) (*stillroomv1.CheckEquipmentResponse, error) {
	var k, id string
	if err := parseName("name", req.GetName(), classPattern, &k, &id); err != nil {
		return nil, err
	}
	out := &stillroomv1.CheckEquipmentResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		class, err := tx.Class(ctx, id)
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
		short, err := shortages(ctx, tx, class, batches, formulas)
		out.Shortages = encodeShortages(k, id, short)
		return err
	})
	return out, err
}

// shortages compares what the batches need with what the class can use.
func shortages(ctx context.Context, tx *store.Tx, class kitchen.Class, batches []kitchen.Batch, revisions map[kitchen.RevisionRef]*recipe.Revision) ([]kitchen.Shortage, error) {
	formulas := make(map[kitchen.RevisionRef]kitchen.Formula, len(revisions))
	for ref, r := range revisions {
		formulas[ref] = kitchen.FormulaOf(ref, r)
	}
	supplies, canners, err := tx.Supply(ctx, class)
	if err != nil {
		return nil, err
	}
	return kitchen.Short(batches, formulas, supplies, canners), nil
}

// processCautions says, once for each revision and jar size, when no process is
// published for it at the class's site, and then that local codes and current
// guidance come first.
func processCautions(ctx context.Context, tx *store.Tx, class kitchen.Class, batches []kitchen.Batch, formulas map[kitchen.RevisionRef]*recipe.Revision) ([]*stillroomv1.Caution, error) {
	site, err := tx.Site(ctx, class.Site)
	if err != nil {
		return nil, err
	}
	var cautions []*stillroomv1.Caution
	type pair struct {
		ref  kitchen.RevisionRef
		size canning.JarSize
	}
	seen := map[pair]bool{}
	for _, b := range batches {
		if p := (pair{b.Revision, b.JarSize}); seen[p] {
			continue
		} else {
			seen[p] = true
		}
		why := b.NotForShelf
		if why == "" {
			why = noProcess(formulas[b.Revision], b.JarSize, site.Altitude)
		}
		if why != "" {
			cautions = append(cautions, &stillroomv1.Caution{
				Text: fmt.Sprintf("%s in %s jars: refrigerate or freeze, never shelve: %s", formulas[b.Revision].Title, b.JarSize.Name(), why)})
		}
	}
	return append(cautions, &stillroomv1.Caution{
		Text: "Local codes, current tested guidance and licensed practice come before this plan."}), nil
}

// noProcess says why a formula has no published process in a jar at an altitude;
// empty when it has one by some method.
func noProcess(r *recipe.Revision, size canning.JarSize, altitude measure.Altitude) string {
	why := "it names no published process"
	if r.ProcessKey == "" {
		return why
	}
	for i, method := range canning.Methods() {
		_, err := canning.Published().LookUp(canning.Request{
			ProductKey: r.ProcessKey, Pack: r.Pack, Jar: size, Method: method, Altitude: altitude,
		})
		if err == nil {
			return ""
		}
		if i == 0 {
			why = err.Error()
		}
	}
	return why
}

func encodeProposal(k string, class kitchen.Class, p kitchen.Proposal, short []kitchen.Shortage) *stillroomv1.ProposeBatchesResponse {
	out := &stillroomv1.ProposeBatchesResponse{Participants: int32(p.Participants), Shortages: encodeShortages(k, class.ID, short)}
	for _, b := range p.Batches {
		m := encodeBatch(k, b)
		if b.Version == 0 { // proposed, not stored
			m.Name, m.Etag = "", ""
		}
		out.Batches = append(out.Batches, m)
	}
	for _, o := range p.Outcomes {
		out.Outcomes = append(out.Outcomes, &stillroomv1.WishOutcome{
			Wish: &stillroomv1.JarWish{
				RecipeRevision: encodeRevisionRef(k, o.Wish.Formula.Revision), JarSize: encodeJarSize(o.Wish.JarSize), JarsPerParticipant: int32(o.Wish.JarsEach),
			},
			JarsWanted: int32(o.Wanted), Batches: int32(o.Batches), JarsFilled: int32(o.Filled), JarsLeftOver: int32(o.LeftOver),
			YieldMinJars: int32(o.Yield.Min), YieldMaxJars: int32(o.Yield.Max), YieldNote: o.Yield.Note,
		})
	}
	return out
}

func encodeShortages(k, class string, short []kitchen.Shortage) []*stillroomv1.Shortage {
	var out []*stillroomv1.Shortage
	for _, s := range short {
		m := &stillroomv1.Shortage{Kind: s.Kind, Needed: int32(s.Needed), Available: int32(s.Available), Explanation: s.Explanation}
		for _, st := range s.Stations {
			m.Stations = append(m.Stations, nameOf(stationPattern, k, class, st))
		}
		out = append(out, m)
	}
	return out
}
