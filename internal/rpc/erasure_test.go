package rpc

import (
	"encoding/hex"
	"regexp"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/store"
)

const (
	anaName  = "Ána Moreno"
	anaMail  = "Ana.Moreno@example.org"
	anaPhone = "+1 (555) 010-7788"
	anaFull  = "kitchens/k/participants/ana-moreno"
)

var bytesInRow = regexp.MustCompile(`\\x[0-9a-f]+`)

// rowsHolding is an excerpt of every row of every table that holds one of some words, in any case, bytes read as text
// too, by table.
func rowsHolding(t testing.TB, st *store.Store, words ...string) map[string][]string {
	t.Helper()
	rows, err := st.Pool().Query(t.Context(), `SELECT c.oid::regclass::text FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
		WHERE c.relkind IN ('r', 'p', 'm') AND n.nspname NOT LIKE 'pg\_%' AND n.nspname <> 'information_schema'`)
	require.NoError(t, err)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	require.Greater(t, len(tables), 20)
	found := map[string][]string{}
	for _, table := range tables {
		rows, err := st.Pool().Query(t.Context(), `SELECT x::text FROM `+table+` x`)
		require.NoError(t, err)
		texts, err := pgx.CollectRows(rows, pgx.RowTo[string])
		require.NoError(t, err)
		for _, text := range texts {
			plain := bytesInRow.ReplaceAllStringFunc(text, func(h string) string {
				raw, err := hex.DecodeString(h[2:])
				if err != nil {
					return h
				}
				return string(raw)
			})
			for _, word := range words {
				if at := strings.Index(strings.ToLower(plain), strings.ToLower(word)); at >= 0 {
					found[table] = append(found[table], plain[max(0, at-40):min(len(plain), at+60)])
					break
				}
			}
		}
	}
	return found
}

// spokenOf is a kitchen whose class "c" has begun, with "Ána Moreno" on its roster and in whatever a kitchen writes, and
// a class "ahead" of one place that is hers, for which Bo waits.
func spokenOf(t testing.TB) *testServer {
	t.Helper()
	s := kitchenToPlan(t, "salsa")
	ctx := t.Context()
	_, err := s.rosters().CreateParticipant(ctx, &stillroomv1.CreateParticipantRequest{Parent: "kitchens/k", ParticipantId: "ana-moreno", RequestId: uuid.NewString(),
		Participant: &stillroomv1.Participant{DisplayName: "Ana Former", Email: anaMail, Phone: anaPhone, Allergies: "mustard", HomeAltitude: &stillroomv1.Altitude{Metres: 1700}}})
	require.NoError(t, err)
	_, err = s.rosters().UpdateParticipant(ctx, &stillroomv1.UpdateParticipantRequest{
		Participant: &stillroomv1.Participant{Name: anaFull, DisplayName: anaName}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"display_name"}}})
	require.NoError(t, err)
	s.addPerson(t, "bo")
	_, err = s.classes().CreateClass(ctx, &stillroomv1.CreateClassRequest{Parent: "kitchens/k", ClassId: "ahead", Class: &stillroomv1.Class{
		DisplayName: "With " + anaName, Site: "kitchens/k/sites/main", StartTime: timestamppb.New(testNow.AddDate(0, 0, 9)), DurationMinutes: 60, Capacity: 1}})
	require.NoError(t, err)
	for _, e := range []struct{ class, id, who, station string }{
		{"c", "place-of-ana-moreno", anaFull, "kitchens/k/classes/c/stations/s0"}, {"c", "", "kitchens/k/participants/bo", "kitchens/k/classes/c/stations/s0"},
		{"ahead", "", anaFull, ""}, {"ahead", "", "kitchens/k/participants/bo", ""},
	} {
		_, err := s.rosters().CreateEnrolment(ctx, &stillroomv1.CreateEnrolmentRequest{Parent: "kitchens/k/classes/" + e.class, EnrolmentId: e.id, RequestId: uuid.NewString(),
			WhenFull: stillroomv1.WhenFull_WHEN_FULL_WAIT, Enrolment: &stillroomv1.Enrolment{Participant: e.who, Station: e.station}})
		require.NoError(t, err)
	}
	_, err = s.classes().UpdateStation(ctx, &stillroomv1.UpdateStationRequest{UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"display_name"}},
		Station: &stillroomv1.Station{Name: "kitchens/k/classes/c/stations/s0", DisplayName: anaName + "'s bench"}})
	require.NoError(t, err)
	_, err = s.equipment().UpdateEquipment(ctx, &stillroomv1.UpdateEquipmentRequest{UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"display_name"}},
		Equipment: &stillroomv1.Equipment{Name: "kitchens/k/equipment/big", DisplayName: anaName + "'s canner"}})
	require.NoError(t, err)
	_, err = s.shopping().CreateStockItem(ctx, &stillroomv1.CreateStockItemRequest{Parent: "kitchens/k", RequestId: uuid.NewString(),
		StockItem: &stillroomv1.StockItem{Item: "lid", Content: "30 each", Note: "lent by ANA MORENO? no: by ána  moreno, " + anaPhone}})
	require.NoError(t, err)
	_, err = stillroomv1.NewAccessServiceClient(s.conn).CreateToken(ctx, &stillroomv1.CreateTokenRequest{Parent: "kitchens/k", TokenId: "phone-of-ana-moreno", RequestId: uuid.NewString(),
		Token: &stillroomv1.Token{DisplayName: "for " + anaName, Role: stillroomv1.Role_ROLE_PARTICIPANT, Participant: anaFull, Class: "kitchens/k/classes/c"}})
	require.NoError(t, err)
	for _, q := range []struct{ id, asker, text string }{
		{"ana-moreno-asks", "ana-moreno", "May I use less salt? Write to " + strings.ToLower(anaMail) + "\nÁna Moreno"},
		{"bo-asks", "bo", "Is what ÁNA MORENO said about jars right?"},
	} {
		_, err := s.questions().CreateQuestion(ctx, &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k", QuestionId: q.id, RequestId: uuid.NewString(),
			Question: &stillroomv1.Question{Class: "kitchens/k/classes/c", Asker: "kitchens/k/participants/" + q.asker, Text: q.text}})
		require.NoError(t, err)
	}
	_, err = s.questions().UpdateQuestion(ctx, &stillroomv1.UpdateQuestionRequest{UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"text"}},
		Question: &stillroomv1.Question{Name: "kitchens/k/questions/ana-moreno-asks", Text: "May I use less salt, I, " + anaName + "?"}})
	require.NoError(t, err)
	_, err = s.questions().EndorseQuestion(ctx, &stillroomv1.EndorseQuestionRequest{Name: "kitchens/k/questions/bo-asks", Participant: anaFull})
	require.NoError(t, err)
	s.answer(t, "bo-asks", "Yes; thank you, "+anaName+".")
	for _, settings := range []*stillroomv1.ShoppingSettings{{BringOwn: []string{"jar_pint"}}, {Participant: anaFull}} {
		_, err = s.shopping().CreateShoppingList(ctx, &stillroomv1.CreateShoppingListRequest{Parent: "kitchens/k/classes/c", Settings: settings, RequestId: uuid.NewString()})
		require.NoError(t, err)
	}
	_, _, err = s.planned(ctx, &stillroomv1.PlanLoadsRequest{Parent: "kitchens/k/classes/c", RequestId: uuid.NewString()})
	require.NoError(t, err)
	_, err = s.store.Pool().Exec(ctx, `UPDATE classes SET starts_at = $1 WHERE slug = 'c'`, testNow.AddDate(0, 0, -1))
	require.NoError(t, err)
	return s
}

// requireSame compares messages by their JSON, which says where they differ.
func requireSame(t testing.TB, want, got proto.Message, says ...any) {
	t.Helper()
	a, err := protojson.Marshal(want)
	require.NoError(t, err)
	b, err := protojson.Marshal(got)
	require.NoError(t, err)
	require.JSONEq(t, string(a), string(b), says...)
}

// counted is what must add up as before.
func counted(t testing.TB, s *testServer) []proto.Message {
	t.Helper()
	ctx := t.Context()
	class, err := s.classes().GetClass(ctx, &stillroomv1.GetClassRequest{Name: "kitchens/k/classes/c"})
	require.NoError(t, err)
	batches, err := s.classes().ListBatches(ctx, &stillroomv1.ListBatchesRequest{Parent: "kitchens/k/classes/c"})
	require.NoError(t, err)
	plan, err := s.loads().GetLoadPlan(ctx, &stillroomv1.GetLoadPlanRequest{Name: "kitchens/k/classes/c/loadPlans/1"})
	require.NoError(t, err)
	out := []proto.Message{class, batches, plan}
	for _, n := range []string{"1", "2"} {
		list, err := s.shopping().GetShoppingList(ctx, &stillroomv1.GetShoppingListRequest{Name: "kitchens/k/classes/c/shoppingLists/" + n})
		require.NoError(t, err)
		out = append(out, list)
	}
	roster, err := s.rosters().ListEnrolments(ctx, &stillroomv1.ListEnrolmentsRequest{Parent: "kitchens/k/classes/c", ShowCancelled: true})
	require.NoError(t, err)
	for _, e := range roster.GetEnrolments() {
		e.Name = "" // an id that somebody chose is replaced
	}
	out = append(out, roster)
	asked, err := s.questions().GetQuestion(ctx, &stillroomv1.GetQuestionRequest{Name: "kitchens/k/questions/bo-asks"})
	require.NoError(t, err)
	return append(out, &stillroomv1.Question{AskerCount: asked.GetAskerCount(), EndorsementCount: asked.GetEndorsementCount(), State: asked.GetState()})
}

func TestErasureLeavesNoTraceAndEverythingAddsUp(t *testing.T) {
	t.Parallel()
	s := spokenOf(t)
	ctx := t.Context()
	words := []string{anaName, "Ana Former", anaMail, anaPhone, "ana-moreno"}
	before := rowsHolding(t, s.store, words...)
	for _, table := range []string{"participants", "requests", "audit_entries", "questions", "question_events", "shopping_lists", "load_plans",
		"stations", "classes", "equipment", "stock_items", "tokens", "enrolments"} {
		require.NotEmpty(t, before[table], "the test should speak of her in %s", table)
	}
	sums := counted(t, s)

	request := &stillroomv1.EraseParticipantRequest{Name: anaFull, RequestId: uuid.NewString()}
	reply, err := s.rosters().EraseParticipant(ctx, request)
	require.NoError(t, err)
	require.Empty(t, rowsHolding(t, s.store, words...))
	require.Equal(t, "erased", reply.GetParticipant().GetDisplayName())
	require.Equal(t, testNow, reply.GetParticipant().GetEraseTime().AsTime())
	require.EqualValues(t, 1, reply.GetTokensRevoked())
	require.Len(t, reply.GetCancelled(), 1)
	require.Len(t, reply.GetPromoted(), 1)
	require.Equal(t, "kitchens/k/participants/bo", reply.GetPromoted()[0].GetParticipant())
	require.Equal(t, stillroomv1.EnrolmentState_ENROLMENT_STATE_ENROLLED, reply.GetPromoted()[0].GetState())
	ahead, err := s.classes().GetClass(ctx, &stillroomv1.GetClassRequest{Name: "kitchens/k/classes/ahead"})
	require.NoError(t, err)
	require.EqualValues(t, 1, ahead.GetEnrolledCount(), "Bo has the place")

	after := counted(t, s)
	for i := range sums {
		// All that may differ is how she is called.
		forget(sums[i].ProtoReflect(), store.Oblivion{Resource: anaFull, Traces: []string{anaName},
			Renamed: map[string]string{anaFull: reply.GetParticipant().GetName()}})
		requireSame(t, sums[i], after[i])
	}

	again, err := s.rosters().EraseParticipant(ctx, request)
	require.NoError(t, err)
	requireSame(t, reply, again, "a retry gets the first answer")
	twice, err := s.rosters().EraseParticipant(ctx, &stillroomv1.EraseParticipantRequest{Name: reply.GetParticipant().GetName()})
	require.NoError(t, err)
	requireSame(t, reply.GetParticipant(), twice.GetParticipant(), "erasing twice changes nothing")
	_, err = s.rosters().EraseParticipant(ctx, &stillroomv1.EraseParticipantRequest{Name: anaFull})
	requireCode(t, codes.NotFound, err)

	// Nothing brings her back under what is left.
	gone := reply.GetParticipant().GetName()
	_, err = s.rosters().UpdateParticipant(ctx, &stillroomv1.UpdateParticipantRequest{
		Participant: &stillroomv1.Participant{Name: gone, DisplayName: anaName}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"display_name"}}})
	requireCode(t, codes.FailedPrecondition, err)
	_, err = s.rosters().CreateEnrolment(ctx, &stillroomv1.CreateEnrolmentRequest{Parent: "kitchens/k/classes/ahead",
		WhenFull: stillroomv1.WhenFull_WHEN_FULL_WAIT, Enrolment: &stillroomv1.Enrolment{Participant: gone}})
	requireCode(t, codes.FailedPrecondition, err)
	_, err = s.questions().CreateQuestion(ctx, &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k",
		Question: &stillroomv1.Question{Asker: gone, Text: "Am I still here?"}})
	requireCode(t, codes.FailedPrecondition, err)
	_, err = stillroomv1.NewAccessServiceClient(s.conn).CreateToken(ctx, &stillroomv1.CreateTokenRequest{Parent: "kitchens/k",
		Token: &stillroomv1.Token{DisplayName: "t", Role: stillroomv1.Role_ROLE_PARTICIPANT, Participant: gone, Class: "kitchens/k/classes/c"}})
	requireCode(t, codes.FailedPrecondition, err)
}

// TestErasureLeavesOthersAlone: a name that two people bear, that is a word of the trade, or that is one word only goes
// where the person is meant, and nowhere else; so does a telephone that two share.
func TestErasureLeavesOthersAlone(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"Bay Leaf", "Ana Moreno", "Basil"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := newTestServer(t)
			s.setTable(t, 4)
			ctx := t.Context()
			for _, id := range []string{"one", "other"} {
				display := name
				if id == "other" && name != "Ana Moreno" {
					display = "Somebody Else"
				}
				_, err := s.rosters().CreateParticipant(ctx, &stillroomv1.CreateParticipantRequest{Parent: "kitchens/k", ParticipantId: id,
					Participant: &stillroomv1.Participant{DisplayName: display, Phone: "555 010 7788"}})
				require.NoError(t, err)
			}
			_, err := s.questions().CreateQuestion(ctx, &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k", QuestionId: "theirs",
				Question: &stillroomv1.Question{Asker: "kitchens/k/participants/one", Text: "I am " + name + ": how long?"}})
			require.NoError(t, err)
			_, err = s.questions().CreateQuestion(ctx, &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k", QuestionId: "others",
				Question: &stillroomv1.Question{Asker: "kitchens/k/participants/other", Text: "How much " + name + "? Ring 555 010 7788."}})
			require.NoError(t, err)
			_, err = s.rosters().EraseParticipant(ctx, &stillroomv1.EraseParticipantRequest{Name: "kitchens/k/participants/one"})
			require.NoError(t, err)
			left, err := s.questions().GetQuestion(ctx, &stillroomv1.GetQuestionRequest{Name: "kitchens/k/questions/others"})
			require.NoError(t, err)
			require.Equal(t, "How much "+name+"? Ring 555 010 7788.", left.GetText())
			other, err := s.rosters().GetParticipant(ctx, &stillroomv1.GetParticipantRequest{Name: "kitchens/k/participants/other"})
			require.NoError(t, err)
			require.NotEqual(t, "erased", other.GetDisplayName())
			require.Equal(t, "555 010 7788", other.GetPhone())
			var text string
			require.NoError(t, s.store.Pool().QueryRow(ctx, `SELECT body FROM questions WHERE slug = id::text`).Scan(&text))
			require.Equal(t, "I am erased: how long?", text)
		})
	}
}

// TestTheRecordKeepsNoErasedName: entries stay, whom they are about is called by a made-up id, and what the person was
// let in with lets nobody in.
func TestTheRecordKeepsNoErasedName(t *testing.T) {
	t.Parallel()
	g := newGuarded(t)
	ctx := t.Context()
	access := stillroomv1.NewAccessServiceClient(g.conn)
	_, err := g.rosters().UpdateParticipant(ctx, &stillroomv1.UpdateParticipantRequest{
		Participant: &stillroomv1.Participant{Name: "kitchens/k/participants/ana", Email: anaMail}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"email"}}})
	require.NoError(t, err)
	mine, token := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_PARTICIPANT, Participant: "kitchens/k/participants/ana", Class: "kitchens/k/classes/c"})
	_, err = g.rosters().UpdateParticipant(mine, &stillroomv1.UpdateParticipantRequest{
		Participant: &stillroomv1.Participant{Name: "kitchens/k/participants/ana", Phone: anaPhone}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"phone"}}})
	require.NoError(t, err)

	held, err := g.rosters().ExportParticipantData(ctx, &stillroomv1.ExportParticipantDataRequest{Name: "kitchens/k/participants/ana"})
	require.NoError(t, err)
	require.Equal(t, anaPhone, held.GetParticipant().GetPhone())
	require.Len(t, held.GetTokens(), 1)
	require.Len(t, held.GetAuditEntries(), 2, "what was done to her, and by her")
	_, err = g.rosters().ExportParticipantData(mine, &stillroomv1.ExportParticipantDataRequest{Name: "kitchens/k/participants/ana"})
	requireCode(t, codes.PermissionDenied, err)

	entries := func() []*stillroomv1.AuditEntry {
		reply, err := access.ListAuditEntries(ctx, &stillroomv1.ListAuditEntriesRequest{Parent: "kitchens/k", PageSize: 1000})
		require.NoError(t, err)
		return reply.GetAuditEntries()
	}
	was := entries()
	require.Equal(t, "stillroom.v1.RosterService/ExportParticipantData", was[0].GetMethod(), "handing data out is recorded")
	reply, err := g.rosters().EraseParticipant(ctx, &stillroomv1.EraseParticipantRequest{Name: "kitchens/k/participants/ana"})
	require.NoError(t, err)
	now := entries()
	require.Len(t, now, len(was)+1)
	require.Equal(t, reply.GetParticipant().GetName(), now[0].GetResource())
	for i, e := range now[1:] {
		require.NotContains(t, e.GetResource(), "/participants/ana")
		was[i].Resource = e.GetResource()
		requireSame(t, was[i], e)
	}
	require.Equal(t, token.GetName(), "kitchens/k/"+now[2].GetCaller())
	_, err = g.rosters().GetParticipant(mine, &stillroomv1.GetParticipantRequest{Name: reply.GetParticipant().GetName()})
	requireCode(t, codes.Unauthenticated, err)
	require.Empty(t, rowsHolding(t, g.store, anaMail, anaPhone, "Person ana"))
}

// TestOnlyErasureTouchesWhatNeverChanges: the service's role changes no list, plan or entry, whatever setting it makes.
func TestOnlyErasureTouchesWhatNeverChanges(t *testing.T) {
	t.Parallel()
	s := spokenOf(t)
	for _, sql := range []string{
		`UPDATE shopping_lists SET document = '{}'`, `UPDATE load_plans SET document = '{}'`, `UPDATE audit_entries SET resource = ''`, `DELETE FROM audit_entries`,
	} {
		tx, err := s.store.Pool().BeginTx(t.Context(), pgx.TxOptions{BeginQuery: "BEGIN; SET LOCAL stillroom.erasing = 'on'; SET LOCAL ROLE stillroom_service"})
		require.NoError(t, err)
		_, err = tx.Exec(t.Context(), `SELECT set_config('stillroom.kitchen', id::text, true) FROM (SELECT set_config('stillroom.scope', 'service', true)) s, kitchens`)
		require.NoError(t, err)
		_, err = tx.Exec(t.Context(), sql)
		require.Error(t, err, sql)
		require.NoError(t, tx.Rollback(t.Context()))
	}
}
