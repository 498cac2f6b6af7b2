package rpc

import (
	"encoding/csv"
	"fmt"
	"strings"
	"sync"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

const theClass = "kitchens/k/classes/c"

func (s *testServer) enrol(t testing.TB, person string, when stillroomv1.WhenFull) (*stillroomv1.Enrolment, error) {
	t.Helper()
	return s.rosters().CreateEnrolment(t.Context(), &stillroomv1.CreateEnrolmentRequest{
		Parent: theClass, Enrolment: &stillroomv1.Enrolment{Participant: "kitchens/k/participants/" + person}, WhenFull: when})
}

// TestLastPlacesAreGivenOnce: 64 people ask at once for the last 5 places; exactly 5
// get one and the rest wait, each at a position of their own.
func TestLastPlacesAreGivenOnce(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 16)
	for i := range 11 + 64 {
		s.addPerson(t, fmt.Sprintf("p%d", i))
	}
	for i := range 11 {
		_, err := s.enrol(t, fmt.Sprintf("p%d", i), stillroomv1.WhenFull_WHEN_FULL_FAIL)
		require.NoError(t, err)
	}
	var wg sync.WaitGroup
	results := make([]*stillroomv1.Enrolment, 64)
	errs := make([]error, 64)
	for i := range 64 {
		wg.Go(func() {
			results[i], errs[i] = s.rosters().CreateEnrolment(t.Context(), &stillroomv1.CreateEnrolmentRequest{
				Parent: theClass, WhenFull: stillroomv1.WhenFull_WHEN_FULL_WAIT, RequestId: uuid.NewString(),
				Enrolment: &stillroomv1.Enrolment{Participant: fmt.Sprintf("kitchens/k/participants/p%d", 11+i)}})
		})
	}
	wg.Wait()
	enrolled := 0
	positions := map[int32]bool{}
	for i, e := range results {
		require.NoError(t, errs[i])
		if e.GetState() == stillroomv1.EnrolmentState_ENROLMENT_STATE_ENROLLED {
			enrolled++
			continue
		}
		require.False(t, positions[e.GetWaitingPosition()], "position %d was given twice", e.GetWaitingPosition())
		positions[e.GetWaitingPosition()] = true
	}
	require.Equal(t, 5, enrolled)
	require.Len(t, positions, 59)
	for p := int32(1); p <= 59; p++ {
		require.True(t, positions[p], "nobody has position %d", p)
	}
	class, err := s.classes().GetClass(t.Context(), &stillroomv1.GetClassRequest{Name: theClass})
	require.NoError(t, err)
	require.EqualValues(t, 16, class.GetEnrolledCount())
	require.EqualValues(t, 59, class.GetWaitingCount())
}

func TestFullClassSaysHowToWait(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 1)
	for _, p := range []string{"ana", "bo", "cy"} {
		s.addPerson(t, p)
	}
	first, err := s.enrol(t, "ana", stillroomv1.WhenFull_WHEN_FULL_UNSPECIFIED)
	require.NoError(t, err)
	_, err = s.enrol(t, "bo", stillroomv1.WhenFull_WHEN_FULL_UNSPECIFIED)
	msg := requireCode(t, codes.FailedPrecondition, err).Message()
	require.Contains(t, msg, "WHEN_FULL_WAIT")
	require.Contains(t, msg, "position 1")
	_, err = s.enrol(t, "ana", stillroomv1.WhenFull_WHEN_FULL_WAIT)
	requireCode(t, codes.AlreadyExists, err)

	for i, p := range []string{"bo", "cy"} {
		e, err := s.enrol(t, p, stillroomv1.WhenFull_WHEN_FULL_WAIT)
		require.NoError(t, err)
		require.EqualValues(t, i+1, e.GetWaitingPosition())
	}
	reply, err := s.rosters().CancelEnrolment(t.Context(), &stillroomv1.CancelEnrolmentRequest{Name: first.GetName()})
	require.NoError(t, err)
	require.Equal(t, "Person bo", reply.GetPromoted().GetParticipantDisplayName(), "the first who waits gets the place")
	again, err := s.rosters().CancelEnrolment(t.Context(), &stillroomv1.CancelEnrolmentRequest{Name: first.GetName()})
	require.NoError(t, err)
	require.Nil(t, again.GetPromoted(), "cancelling twice gives one place back")
	list, err := s.rosters().ListEnrolments(t.Context(), &stillroomv1.ListEnrolmentsRequest{Parent: theClass, ShowCancelled: true})
	require.NoError(t, err)
	var standing []string
	for _, e := range list.GetEnrolments() {
		standing = append(standing, fmt.Sprintf("%s %s %d", e.GetParticipantDisplayName(), strings.TrimPrefix(e.GetState().String(), "ENROLMENT_STATE_"), e.GetWaitingPosition()))
	}
	require.Equal(t, []string{"Person bo ENROLLED 0", "Person cy WAITING 1", "Person ana CANCELLED 0"}, standing)
}

func TestMorePlacesServeTheWaiting(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 1)
	for _, p := range []string{"ana", "bo", "cy"} {
		s.addPerson(t, p)
		_, err := s.enrol(t, p, stillroomv1.WhenFull_WHEN_FULL_WAIT)
		require.NoError(t, err)
	}
	class, err := s.classes().UpdateClass(t.Context(), &stillroomv1.UpdateClassRequest{Class: &stillroomv1.Class{Name: theClass, Capacity: 2}})
	require.NoError(t, err)
	require.EqualValues(t, 2, class.GetEnrolledCount())
	require.EqualValues(t, 1, class.GetWaitingCount())
	_, err = s.classes().UpdateClass(t.Context(), &stillroomv1.UpdateClassRequest{Class: &stillroomv1.Class{Name: theClass, Capacity: 1}})
	requireCode(t, codes.FailedPrecondition, err)
}

func TestRosterFileGoesInAndComesOut(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 3)
	file := "\xef\xbb\xbfEmail,NAME,Home altitude,station\r\n" +
		"ana@example.org,\"Moreno, Ana\",\"6,000 ft\",a\r\n" +
		",Bo,,Bench b\r\n" +
		"cy@example.org,Cy,1600 m,\r\n" +
		"di@example.org,Di,,a\r\n"
	reply, err := s.rosters().ImportRoster(t.Context(), &stillroomv1.ImportRosterRequest{Parent: theClass, Csv: []byte(file)})
	require.NoError(t, err)
	require.Len(t, reply.GetEnrolments(), 4)
	require.Equal(t, theClass+"/stations/b", reply.GetEnrolments()[1].GetStation())
	require.Equal(t, stillroomv1.EnrolmentState_ENROLMENT_STATE_WAITING, reply.GetEnrolments()[3].GetState())

	again, err := s.rosters().ImportRoster(t.Context(), &stillroomv1.ImportRosterRequest{Parent: theClass, Csv: []byte(file)})
	require.NoError(t, err)
	require.EqualValues(t, 4, again.GetAlreadyEnrolled(), "importing a file twice enrols nobody twice")
	require.Empty(t, again.GetEnrolments())

	out, err := s.rosters().ExportRoster(t.Context(), &stillroomv1.ExportRosterRequest{Parent: theClass})
	require.NoError(t, err)
	rows, err := csv.NewReader(strings.NewReader(string(out.GetCsv()))).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"Moreno, Ana", "ana@example.org", "", "", "1828.8 m", "a", "enrolled", ""}, rows[1])
	require.Equal(t, []string{"Di", "di@example.org", "", "", "", "a", "waiting", "1"}, rows[4])
}

func TestBadRosterLineImportsNothing(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 30)
	file := "name,email,home_altitude,station\n" +
		"Ana,ana@example.org,,\n" +
		",nobody@example.org,,\n" +
		"Cy,not an address,,\n" +
		"Di,di@example.org,90000 m,\n" +
		"Ed,ed@example.org,,nowhere\n" +
		"Flo,ana@example.org,,\n" +
		"Gus,gus@example.org\n"
	_, err := s.rosters().ImportRoster(t.Context(), &stillroomv1.ImportRosterRequest{Parent: theClass, Csv: []byte(file)})
	require.ElementsMatch(t, []string{"csv, line 3, name", "csv, line 4, email", "csv, line 5, home_altitude",
		"csv, line 6, station", "csv, line 7, email", "csv, line 8"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	people, err := s.rosters().ListParticipants(t.Context(), &stillroomv1.ListParticipantsRequest{Parent: "kitchens/k"})
	require.NoError(t, err)
	require.Empty(t, people.GetParticipants(), "nothing is half-written")

	reply, err := s.rosters().ImportRoster(t.Context(), &stillroomv1.ImportRosterRequest{Parent: theClass, Csv: []byte(file), SkipBad: true})
	require.NoError(t, err)
	require.Len(t, reply.GetEnrolments(), 1)
	require.Len(t, reply.GetBadLines(), 6)

	for name, bad := range map[string]string{"no name column": "email\nx@example.org\n", "unknown column": "name,shoe size\nAna,40\n", "not text": "name\n\xff\xfe\n"} {
		_, err = s.rosters().ImportRoster(t.Context(), &stillroomv1.ImportRosterRequest{Parent: theClass, Csv: []byte(bad)})
		requireCode(t, codes.InvalidArgument, err)
		require.NotEmpty(t, badFields(t, requireCode(t, codes.InvalidArgument, err)), name)
	}
}
