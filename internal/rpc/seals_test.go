package rpc

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// sealClass is a guarded class whose first station, of Ana and Bo, makes seven pints of a
// tested salsa and whose second, of Cy, seven of one that is refrigerated; it has a load plan.
type sealClass struct {
	*guarded
	plan        *stillroomv1.LoadPlan
	ana, bo, cy context.Context
	out         time.Time
}

func newSealClass(t *testing.T) *sealClass {
	t.Helper()
	c := &sealClass{guarded: newGuarded(t)}
	c.setToPlan(t, "salsa", "weak-salsa")
	c.addPerson(t, "cy")
	for _, who := range []string{"ana", "bo", "cy"} { // in this order, so the odd jar is Ana's
		station := "s0"
		if who == "cy" {
			station = "s1"
		}
		_, err := c.rosters().CreateEnrolment(t.Context(), &stillroomv1.CreateEnrolmentRequest{Parent: theClass, EnrolmentId: "e-" + who,
			Enrolment: &stillroomv1.Enrolment{Participant: "kitchens/k/participants/" + who, Station: theClass + "/stations/" + station}})
		require.NoError(t, err)
	}
	plan, _, err := c.planned(withToken(t.Context(), testOperator), &stillroomv1.PlanLoadsRequest{
		Parent: theClass, WorkLimit: 2000, TimeLimit: durationpb.New(30 * time.Second), SkipGains: true})
	require.NoError(t, err)
	c.plan = plan
	c.out = plan.GetOutcome().GetFinishTime().AsTime()
	invite := func(who string) context.Context {
		ctx, _ := c.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_PARTICIPANT, Participant: "kitchens/k/participants/" + who, Class: theClass})
		return ctx
	}
	c.ana, c.bo, c.cy = invite("ana"), invite("bo"), invite("cy")
	return c
}

func (c *sealClass) seals() stillroomv1.SealServiceClient {
	return stillroomv1.NewSealServiceClient(c.conn)
}

func (c *sealClass) tell(ctx context.Context, batch string, sealed, unsealed int32) (*stillroomv1.SealCheck, error) {
	return c.seals().CreateSealCheck(ctx, &stillroomv1.CreateSealCheckRequest{Parent: theClass, SealCheck: &stillroomv1.SealCheck{
		Batch: theClass + "/batches/" + batch, SealedJars: sealed, UnsealedJars: unsealed}})
}

func TestTakeHome(t *testing.T) {
	t.Parallel()
	c := newSealClass(t)
	own := func(ctx context.Context, who string) *stillroomv1.TakeHome {
		e, err := c.rosters().FindEnrolment(ctx, &stillroomv1.FindEnrolmentRequest{Parent: theClass})
		require.NoError(t, err)
		require.Equal(t, "kitchens/k/participants/"+who, e.GetParticipant(), "who asks is filled in")
		home, err := c.seals().GetTakeHome(ctx, &stillroomv1.GetTakeHomeRequest{Name: e.GetName()})
		require.NoError(t, err)
		return home
	}
	ana, bo, cy := own(c.ana, "ana"), own(c.bo, "bo"), own(c.cy, "cy")
	require.EqualValues(t, 3, bo.GetJars()[0].GetJars(), "of seven pints among two")
	require.EqualValues(t, 2, ana.GetSharers())
	share := ana.GetJars()[0]
	require.EqualValues(t, 4, share.GetJars())
	require.Equal(t, c.plan.GetName(), ana.GetLoadPlan())
	require.Equal(t, c.out, share.GetLastOutTime().AsTime())
	// USDA AIB 539 (rev. 2015), Guide 1, pp. 1-25 and 1-26: 12 hours undisturbed, 24 hours to process again.
	require.Equal(t, share.GetLastOutTime().AsTime().Add(12*time.Hour), share.GetTestFromTime().AsTime())
	require.Equal(t, share.GetFirstOutTime().AsTime().Add(24*time.Hour), share.GetReprocessUntilTime().AsTime())
	// Chile Salsa, AIB 539 Guide 3, p. 3-21: pints, hot pack, 15 minutes up to 1,000 ft and 20 minutes at 1,001 to 6,000 ft;
	// the site lies at 5,280 ft.
	require.EqualValues(t, 20, share.GetProcess().GetMinutes())
	require.NotEmpty(t, ana.GetSteps())

	require.Zero(t, cy.GetJars()[0].GetJars())
	require.EqualValues(t, 7, cy.GetJars()[0].GetRefrigeratedJars())
	require.NotEmpty(t, cy.GetJars()[0].GetRefrigerateReason())
	require.Nil(t, cy.GetJars()[0].GetTestFromTime())

	_, err := c.seals().GetTakeHome(c.bo, &stillroomv1.GetTakeHomeRequest{Name: theClass + "/enrolments/e-ana"})
	requireCode(t, codes.NotFound, err)
	_, err = c.rosters().FindEnrolment(c.bo, &stillroomv1.FindEnrolmentRequest{Parent: theClass, Participant: "kitchens/k/participants/ana"})
	requireCode(t, codes.PermissionDenied, err)
}

func TestSealCheckTimes(t *testing.T) {
	t.Parallel()
	c := newSealClass(t)
	c.clock = c.out.Add(-time.Minute)
	_, err := c.tell(c.ana, "b0", 0, 1)
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "out of the canner at")
	c.clock = c.out.Add(11 * time.Hour)
	_, err = c.tell(c.ana, "b0", 3, 0)
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "stand undisturbed")
	early, err := c.tell(c.ana, "b0", 0, 1)
	require.NoError(t, err, "a lid that plainly did not hold can be told of")
	require.Len(t, early.GetAdvice(), 4)
	require.Contains(t, early.GetAdvice()[0].GetText(), "reprocessed within 24 hours")
	require.Equal(t, "USDA AIB 539 (rev. 2015)", early.GetAdvice()[0].GetSource().GetPublication())

	c.clock = c.out.Add(13 * time.Hour)
	now, err := c.seals().UpdateSealCheck(c.ana, &stillroomv1.UpdateSealCheckRequest{SealCheck: &stillroomv1.SealCheck{
		Name: early.GetName(), SealedJars: 3, UnsealedJars: 0, Etag: early.GetEtag()}})
	require.NoError(t, err)
	require.EqualValues(t, 3, now.GetSealedJars())
	require.Zero(t, now.GetUnsealedJars())
	require.Empty(t, now.GetAdvice(), "all sealed")
	_, err = c.seals().UpdateSealCheck(c.ana, &stillroomv1.UpdateSealCheckRequest{SealCheck: &stillroomv1.SealCheck{
		Name: early.GetName(), SealedJars: 2, Etag: early.GetEtag()}})
	requireCode(t, codes.Aborted, err)
	one, err := c.seals().UpdateSealCheck(c.ana, &stillroomv1.UpdateSealCheckRequest{SealCheck: &stillroomv1.SealCheck{
		Name: early.GetName(), UnsealedJars: 1}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"unsealed_jars"}}})
	require.NoError(t, err)
	require.EqualValues(t, 3, one.GetSealedJars(), "only the field of the mask changes")
	c.clock = c.out.Add(25 * time.Hour)
	_, err = c.seals().UpdateSealCheck(c.ana, &stillroomv1.UpdateSealCheckRequest{SealCheck: &stillroomv1.SealCheck{Name: early.GetName(), SealedJars: 2, UnsealedJars: 1}})
	require.NoError(t, err)
	late, err := c.seals().GetSealCheck(c.ana, &stillroomv1.GetSealCheckRequest{Name: early.GetName()})
	require.NoError(t, err)
	require.Contains(t, late.GetAdvice()[0].GetText(), "are over")
	require.Contains(t, late.GetAdvice()[1].GetText(), "not tasted")
}

func TestSealCheckCounts(t *testing.T) {
	t.Parallel()
	c := newSealClass(t)
	c.clock = c.out.Add(13 * time.Hour)
	_, err := c.tell(c.ana, "b0", 0, 0)
	require.Equal(t, []string{"seal_check.sealed_jars"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	_, err = c.tell(c.ana, "b0", -1, 0)
	requireCode(t, codes.InvalidArgument, err)
	_, err = c.tell(c.ana, "b0", 5, 0)
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "at most 4 of 7 jars")
	_, err = c.tell(c.ana, "b1", 1, 0)
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "none there")
	_, err = c.tell(c.cy, "b1", 1, 0)
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "refrigerated or frozen")
	_, err = c.tell(c.ana, "nothing", 1, 0)
	requireCode(t, codes.NotFound, err)

	req := &stillroomv1.CreateSealCheckRequest{Parent: theClass, RequestId: "6f1c8a52-1111-4222-8333-944455556677", SealCheck: &stillroomv1.SealCheck{
		Batch: theClass + "/batches/b0", SealedJars: 3, UnsealedJars: 1}}
	first, err := c.seals().CreateSealCheck(c.ana, req)
	require.NoError(t, err)
	again, err := c.seals().CreateSealCheck(c.ana, req)
	require.NoError(t, err)
	require.True(t, proto.Equal(first, again), "a retry changes nothing")
	_, err = c.tell(c.ana, "b0", 1, 0)
	requireCode(t, codes.AlreadyExists, err)
	_, err = c.tell(c.bo, "b0", 4, 0)
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "4 were told of already")
	_, err = c.tell(c.bo, "b0", 2, 1)
	require.NoError(t, err)

	all, err := c.seals().ListSealChecks(t.Context(), &stillroomv1.ListSealChecksRequest{Parent: theClass, PageSize: 1})
	require.NoError(t, err)
	require.Equal(t, first.GetName(), all.GetSealChecks()[0].GetName())
	all, err = c.seals().ListSealChecks(t.Context(), &stillroomv1.ListSealChecksRequest{Parent: theClass, PageSize: 1, PageToken: all.GetNextPageToken()})
	require.NoError(t, err)
	require.Equal(t, "Person bo", all.GetSealChecks()[0].GetParticipantDisplayName())
	require.Empty(t, all.GetNextPageToken())

	_, err = c.classes().DeleteBatch(t.Context(), &stillroomv1.DeleteBatchRequest{Name: theClass + "/batches/b0"})
	require.Contains(t, requireCode(t, codes.FailedPrecondition, err).Message(), "stays as it is")
	_, err = c.classes().DeleteClass(t.Context(), &stillroomv1.DeleteClassRequest{Name: theClass})
	require.NoError(t, err, "a class goes with all that is below it")
}

// TestSealChecksOfOthers: a participant neither reads, nor changes, nor writes what another found.
func TestSealChecksOfOthers(t *testing.T) {
	t.Parallel()
	c := newSealClass(t)
	c.clock = c.out.Add(13 * time.Hour)
	anas, err := c.tell(c.ana, "b0", 3, 0)
	require.NoError(t, err)
	_, err = c.seals().GetSealCheck(c.bo, &stillroomv1.GetSealCheckRequest{Name: anas.GetName()})
	requireCode(t, codes.NotFound, err)
	_, err = c.seals().UpdateSealCheck(c.bo, &stillroomv1.UpdateSealCheckRequest{SealCheck: &stillroomv1.SealCheck{Name: anas.GetName(), UnsealedJars: 3}})
	requireCode(t, codes.NotFound, err)
	_, err = c.seals().CreateSealCheck(c.bo, &stillroomv1.CreateSealCheckRequest{Parent: theClass, SealCheck: &stillroomv1.SealCheck{
		Batch: theClass + "/batches/b0", Participant: "kitchens/k/participants/ana", SealedJars: 1}})
	requireCode(t, codes.PermissionDenied, err)
	_, err = c.seals().ListSealChecks(c.bo, &stillroomv1.ListSealChecksRequest{Parent: theClass, Participant: "kitchens/k/participants/ana"})
	requireCode(t, codes.PermissionDenied, err)
	list, err := c.seals().ListSealChecks(c.bo, &stillroomv1.ListSealChecksRequest{Parent: theClass})
	require.NoError(t, err)
	require.Empty(t, list.GetSealChecks())
	assistant, _ := c.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_ASSISTANT})
	list, err = c.seals().ListSealChecks(assistant, &stillroomv1.ListSealChecksRequest{Parent: theClass})
	require.NoError(t, err)
	require.Len(t, list.GetSealChecks(), 1)
	held, err := c.rosters().ExportParticipantData(t.Context(), &stillroomv1.ExportParticipantDataRequest{Name: "kitchens/k/participants/ana"})
	require.NoError(t, err)
	require.Len(t, held.GetSealChecks(), 1, "what is held about a participant is handed out with the rest")
	require.True(t, proto.Equal(anas, held.GetSealChecks()[0]))
	told, err := c.seals().CreateSealCheck(assistant, &stillroomv1.CreateSealCheckRequest{Parent: theClass, SealCheck: &stillroomv1.SealCheck{
		Batch: theClass + "/batches/b0", Participant: "kitchens/k/participants/bo", SealedJars: 4}})
	require.NoError(t, err, "an assistant may write down what a participant says")
	require.EqualValues(t, 4, told.GetSealedJars())
}

// TestNoJarIsToldOfTwice: both halves of a bench tell of four of seven jars at once.
func TestNoJarIsToldOfTwice(t *testing.T) {
	t.Parallel()
	c := newSealClass(t)
	c.clock = c.out.Add(13 * time.Hour)
	var wg sync.WaitGroup
	errs := make([]error, 2)
	for i, who := range []context.Context{c.ana, c.bo} {
		wg.Go(func() { _, errs[i] = c.tell(who, "b0", 4, 0) })
	}
	wg.Wait()
	codesOf := []codes.Code{status.Code(errs[0]), status.Code(errs[1])}
	require.ElementsMatch(t, []codes.Code{codes.OK, codes.FailedPrecondition}, codesOf)
}

// TestSealCheckWithoutPlan counts from bounds: tested 12 hours after the class's end, processed again within 24 of its start.
func TestSealCheckWithoutPlan(t *testing.T) {
	t.Parallel()
	s := kitchenToPlan(t, "salsa")
	s.addPerson(t, "ana")
	_, err := s.rosters().CreateEnrolment(t.Context(), &stillroomv1.CreateEnrolmentRequest{Parent: theClass, EnrolmentId: "e",
		Enrolment: &stillroomv1.Enrolment{Participant: "kitchens/k/participants/ana", Station: theClass + "/stations/s0"}})
	require.NoError(t, err)
	home, err := stillroomv1.NewSealServiceClient(s.conn).GetTakeHome(t.Context(), &stillroomv1.GetTakeHomeRequest{Name: theClass + "/enrolments/e"})
	require.NoError(t, err)
	class, err := s.classes().GetClass(t.Context(), &stillroomv1.GetClassRequest{Name: theClass})
	require.NoError(t, err)
	share, opens := home.GetJars()[0], class.GetStartTime().AsTime()
	require.Nil(t, share.GetFirstOutTime())
	require.Empty(t, home.GetLoadPlan())
	require.Equal(t, opens.Add(4*time.Hour+12*time.Hour), share.GetTestFromTime().AsTime())
	require.Equal(t, opens.Add(24*time.Hour), share.GetReprocessUntilTime().AsTime())
}
