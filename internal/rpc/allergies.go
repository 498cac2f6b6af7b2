package rpc

import (
	"context"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/kitchen"
	"stillroom/internal/reference"
	"stillroom/internal/store"
)

func (s *classService) CheckAllergies(ctx context.Context, req *stillroomv1.CheckAllergiesRequest) (*stillroomv1.CheckAllergiesResponse, error) {
	var k, class string
	if err := parseName("name", req.GetName(), classPattern, &k, &class); err != nil {
		return nil, err
	}
	var check kitchen.AllergyCheck
	err := s.store.Look(ctx, k, func(tx *store.Tx) error {
		if _, err := tx.Class(ctx, class); err != nil {
			return err
		}
		guests, err := tx.Guests(ctx, class)
		if err != nil {
			return err
		}
		batches, err := tx.AllBatches(ctx, class)
		if err != nil {
			return err
		}
		formulas, err := tx.FormulasOf(ctx, batches)
		if err != nil {
			return err
		}
		check = kitchen.CheckAllergies(guests, batches, formulas)
		return nil
	})
	if err != nil {
		return nil, err
	}
	out := &stillroomv1.CheckAllergiesResponse{Caution: kitchen.AllergyCaution}
	for _, w := range check.Warnings {
		warning := &stillroomv1.AllergyWarning{
			Station: nameOf(stationPattern, k, class, w.Station), Batch: nameOf(batchPattern, k, class, w.Batch),
			RecipeRevision: encodeRevisionRef(k, w.Revision), Participant: nameOf(participantPattern, k, w.Guest.Participant),
			ParticipantDisplayName: w.Guest.Name, Allergies: w.Said, Ingredient: w.Ingredient, Reason: w.Reason,
		}
		if w.Source != (reference.Source{}) {
			warning.Source = encodeSource(w.Source)
		}
		out.Warnings = append(out.Warnings, warning)
	}
	for _, g := range check.Unmatched {
		unmatched := &stillroomv1.UnmatchedAllergy{
			Participant: nameOf(participantPattern, k, g.Participant), ParticipantDisplayName: g.Name, Allergies: g.Allergies,
		}
		if g.Station != "" {
			unmatched.Station = nameOf(stationPattern, k, class, g.Station)
		}
		out.Unmatched = append(out.Unmatched, unmatched)
	}
	return out, nil
}
