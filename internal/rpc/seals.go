package rpc

import (
	"context"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/access"
	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/store"
)

const sealCheckPattern = "kitchens/{kitchen}/classes/{class}/sealChecks/{seal_check}"

type sealService struct {
	stillroomv1.UnimplementedSealServiceServer
	*backend
}

func (s *sealService) CreateSealCheck(ctx context.Context, req *stillroomv1.CreateSealCheckRequest) (*stillroomv1.SealCheck, error) {
	var k string
	check := kitchen.SealCheck{Sealed: int(req.GetSealCheck().GetSealedJars()), Unsealed: int(req.GetSealCheck().GetUnsealedJars())}
	if err := parseName("parent", req.GetParent(), classPattern, &k, &check.Class); err != nil {
		return nil, err
	}
	var c fault.Collector
	var of string
	c.AddErr("", within(k, "seal_check.batch", req.GetSealCheck().GetBatch(), batchPattern, &of, &check.Batch))
	if of != "" && of != check.Class {
		c.Add("seal_check.batch", req.GetSealCheck().GetBatch(), "is a batch of another class", `give a name under "`+req.GetParent()+`"`)
	}
	c.AddErr("", within(k, "seal_check.participant", req.GetSealCheck().GetParticipant(), participantPattern, &check.Participant))
	c.AddErr("seal_check.", countsOf(check))
	if err := c.Err(); err != nil {
		return nil, err
	}
	var out *stillroomv1.SealCheck
	err := s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.SealCheck, error) {
			tested, err := s.testable(ctx, tx, check)
			if err != nil {
				return nil, err
			}
			stored, err := tx.CreateSealCheck(ctx, check, tested.Canned, s.now())
			return encodeSealCheck(k, stored, tested, s.now()), err
		})
		return err
	})
	return out, err
}

// countsOf refuses a seal check of no jars.
func countsOf(c kitchen.SealCheck) error {
	if c.Jars() == 0 {
		return fault.Field("sealed_jars", "0", "and unsealed_jars are both 0", "say how many jars sealed and how many did not")
	}
	return nil
}

func (s *sealService) UpdateSealCheck(ctx context.Context, req *stillroomv1.UpdateSealCheckRequest) (*stillroomv1.SealCheck, error) {
	var k, class, id string
	if err := parseName("seal_check.name", req.GetSealCheck().GetName(), sealCheckPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.SealCheck
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		check, err := ownSealCheck(ctx, tx, class, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetSealCheck().GetEtag(), check.Version); err != nil {
			return err
		}
		merged := encodeSealCheck(k, check, tested{}, s.now())
		if len(req.GetUpdateMask().GetPaths()) == 0 {
			// Both counts, so that a 0 counts too.
			merged.SealedJars, merged.UnsealedJars = req.GetSealCheck().GetSealedJars(), req.GetSealCheck().GetUnsealedJars()
		}
		if err := s.merge("seal_check", merged, req.GetSealCheck(), req.GetUpdateMask(), "sealed_jars", "unsealed_jars"); err != nil {
			return err
		}
		check.Sealed, check.Unsealed = int(merged.GetSealedJars()), int(merged.GetUnsealedJars())
		if err := prefixed("seal_check.", countsOf(check)); err != nil {
			return err
		}
		tested, err := s.testable(ctx, tx, check)
		if err != nil {
			return err
		}
		check, err = tx.UpdateSealCheck(ctx, check, tested.Canned, s.now())
		out = encodeSealCheck(k, check, tested, s.now())
		return err
	})
	return out, err
}

// ownSealCheck is a seal check; to participants those of others are not there.
func ownSealCheck(ctx context.Context, tx *store.Tx, class, id string) (kitchen.SealCheck, error) {
	check, err := tx.SealCheck(ctx, class, id)
	if c := access.From(ctx); err == nil && c.Role == access.Participant && check.Participant != c.Participant {
		return kitchen.SealCheck{}, fault.Missing("seal check", id)
	}
	return check, err
}

// testable are the jars that a seal check tells of, when it may be told now.
func (s *sealService) testable(ctx context.Context, tx *store.Tx, check kitchen.SealCheck) (tested, error) {
	class, err := tx.Class(ctx, check.Class)
	if err != nil {
		return tested{}, err
	}
	batch, err := tx.Batch(ctx, check.Class, check.Batch)
	if err != nil {
		return tested{}, err
	}
	enrolment, ok, err := tx.FindEnrolment(ctx, check.Class, check.Participant)
	if err != nil {
		return tested{}, err
	}
	if !ok || enrolment.State != kitchen.Enrolled || enrolment.Station != batch.Station {
		return tested{}, fault.New(fault.Precondition, "the jars of batch %s belong to those with a place at its station, and this participant has none there", batch.ID)
	}
	plan, err := newestPlan(ctx, tx, check.Class)
	if err != nil {
		return tested{}, err
	}
	t := testOf(class, batch, plan)
	site, err := tx.Site(ctx, class.Site)
	if err != nil {
		return tested{}, err
	}
	zone, err := site.Location()
	if err != nil {
		return tested{}, err
	}
	clock := func(at time.Time) string { return at.In(zone).Format("15:04 on Monday 2 January") }
	switch now := s.now(); {
	case t.Canned == 0:
		return t, fault.New(fault.Precondition, "these jars did not go through a canner, so there are no seals to test; they are refrigerated or frozen: %s", t.Reason)
	case now.Before(t.out):
		return t, fault.New(fault.Precondition, "the first of these jars are out of the canner at %s; test their seals after they have cooled", clock(t.out))
	case check.Sealed > 0 && now.Before(t.From):
		return t, fault.New(fault.Precondition, "jars stand undisturbed before their seals are tested, these until %s; only one that plainly did not seal can be told of sooner", clock(t.From))
	}
	if access.From(ctx).Role != access.Participant {
		return t, nil
	}
	sharers, err := sharersOf(ctx, tx, check.Class, batch.Station)
	if err != nil {
		return t, err
	}
	if most := kitchen.LargestShare(t.Canned, len(sharers)); check.Jars() > most {
		return t, fault.New(fault.Precondition, "your share of this batch is at most %d of %d jars, and %d are more; if you took more home, tell your instructor", most, t.Canned, check.Jars())
	}
	return t, nil
}

func (s *sealService) GetSealCheck(ctx context.Context, req *stillroomv1.GetSealCheckRequest) (*stillroomv1.SealCheck, error) {
	var k, class, id string
	if err := parseName("name", req.GetName(), sealCheckPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.SealCheck
	err := s.store.Look(ctx, k, func(tx *store.Tx) error {
		check, err := ownSealCheck(ctx, tx, class, id)
		if err != nil {
			return err
		}
		all, err := encodeSealChecks(ctx, tx, k, class, []kitchen.SealCheck{check}, s.now())
		if err != nil {
			return err
		}
		out = all[0]
		return nil
	})
	return out, err
}

func (s *sealService) ListSealChecks(ctx context.Context, req *stillroomv1.ListSealChecksRequest) (*stillroomv1.ListSealChecksResponse, error) {
	var k, class, who string
	if err := parseName("parent", req.GetParent(), classPattern, &k, &class); err != nil {
		return nil, err
	}
	if req.GetParticipant() != "" {
		if err := within(k, "participant", req.GetParticipant(), participantPattern, &who); err != nil {
			return nil, err
		}
	}
	list := req.GetParent() + "/sealChecks?" + who
	var after uuid.UUID
	if err := readPage(req.GetPageToken(), list, &after); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListSealChecksResponse{}
	err := s.store.Look(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		rows, cursors, err := tx.SealChecks(ctx, class, who, after, size+1)
		if err != nil {
			return err
		}
		rows, more := cut(rows, size)
		if more {
			out.NextPageToken = nextPage(list, cursors[size-1])
		}
		out.SealChecks, err = encodeSealChecks(ctx, tx, k, class, rows, s.now())
		return err
	})
	return out, err
}

// encodeSealChecks encodes seal checks of a class with what is to be done by now.
func encodeSealChecks(ctx context.Context, tx *store.Tx, k, classID string, checks []kitchen.SealCheck, now time.Time) ([]*stillroomv1.SealCheck, error) {
	class, err := tx.Class(ctx, classID)
	if err != nil {
		return nil, err
	}
	plan, err := newestPlan(ctx, tx, classID)
	if err != nil {
		return nil, err
	}
	tests := map[string]tested{}
	batches, err := tx.AllBatches(ctx, classID)
	if err != nil {
		return nil, err
	}
	for _, b := range batches {
		tests[b.ID] = testOf(class, b, plan)
	}
	out := make([]*stillroomv1.SealCheck, len(checks))
	for i, check := range checks {
		out[i] = encodeSealCheck(k, check, tests[check.Batch], now)
	}
	return out, nil
}

func encodeSealCheck(k string, c kitchen.SealCheck, t tested, now time.Time) *stillroomv1.SealCheck {
	out := &stillroomv1.SealCheck{
		Name: nameOf(sealCheckPattern, k, c.Class, c.ID), Batch: nameOf(batchPattern, k, c.Class, c.Batch),
		Participant: nameOf(participantPattern, k, c.Participant), ParticipantDisplayName: c.ParticipantName,
		SealedJars: int32(c.Sealed), UnsealedJars: int32(c.Unsealed),
		CreateTime: timestamppb.New(c.CreatedAt), UpdateTime: timestamppb.New(c.UpdatedAt), Etag: etag(c.Version),
	}
	if !t.Until.IsZero() {
		out.ReprocessUntilTime = timestamppb.New(t.Until)
	}
	if c.Unsealed > 0 {
		out.Advice = encodeSteps(canning.UnsealedSteps(now.After(t.Until)))
	}
	return out
}

func encodeSteps(steps []canning.Step) []*stillroomv1.ProcedureStep {
	out := make([]*stillroomv1.ProcedureStep, len(steps))
	for i, step := range steps {
		out[i] = &stillroomv1.ProcedureStep{Stage: string(step.Stage), Text: step.Text, FactKey: step.Key, Source: encodeSource(step.Source)}
	}
	return out
}
