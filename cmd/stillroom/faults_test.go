package main

import (
	"context"
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// faultsFor makes a long run of TestFaults: go test ./cmd/stillroom -run TestFaults -v -timeout 1h -faults 10m
var faultsFor = flag.Duration("faults", 20*time.Second, "how long TestFaults breaks things")

const busyKitchen = "kitchens/busy"

// ledger is what callers know at the end.
type ledger struct {
	lastServed atomic.Int64 // when, in nanoseconds of the run

	mu       sync.Mutex
	sent     map[string]string // request_id to kind, of all that was ever sent
	made     map[string]string // request_id to name, of what was acknowledged
	texts    map[string]string // name to its unique text
	endorsed map[string]map[string]bool
	served   map[string]int
	attempts int
	retried  int
	unknown  int
	odd      []string
	last     string // what the last call that failed was told
}

// carry makes an errand until it is served, with the same request_id each time, as a
// caller does who wants it done. Outcomes that no retry mends are odd.
func (l *ledger) carry(ctx context.Context, conn *grpc.ClientConn, e *errand, begun time.Time) bool {
	l.mu.Lock()
	if id := e.requestID(); id != "" {
		l.sent[id] = e.kind
	}
	l.mu.Unlock()
	for attempt := 0; ; attempt++ {
		one, cancel := context.WithTimeout(ctx, 2*time.Second)
		err := e.run(one, conn)
		cancel()
		code := status.Code(err)
		l.mu.Lock()
		l.attempts++
		if attempt > 0 {
			l.retried++
		}
		if err != nil {
			l.last = fmt.Sprintf("%s: %v", e.kind, err)
		}
		switch code {
		case codes.OK:
			l.lastServed.Store(int64(time.Since(begun)))
			l.served[e.kind]++
			if name := e.made(); name != "" {
				l.made[e.requestID()] = name
				l.texts[name] = uniqueText(e)
			}
			if endorse, ok := e.request.(*stillroomv1.EndorseQuestionRequest); ok {
				if l.endorsed[endorse.GetName()] == nil {
					l.endorsed[endorse.GetName()] = map[string]bool{}
				}
				l.endorsed[endorse.GetName()][endorse.GetParticipant()] = true
			}
			l.mu.Unlock()
			return true
		case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled:
			l.unknown++ // it may have been done
		case codes.Aborted, codes.ResourceExhausted:
		default:
			if len(l.odd) < 10 {
				l.odd = append(l.odd, fmt.Sprintf("%s: %v", e.kind, err))
			}
			l.mu.Unlock()
			return false
		}
		l.mu.Unlock()
		if ctx.Err() != nil {
			return false
		}
		time.Sleep(time.Duration(10+rand.IntN(40)) * time.Millisecond)
	}
}

// uniqueText is the text by which what an errand makes is known from all others.
func uniqueText(e *errand) string {
	switch r := e.request.(type) {
	case *stillroomv1.CreateParticipantRequest:
		return r.GetParticipant().GetDisplayName()
	case *stillroomv1.CreateStockItemRequest:
		return r.GetStockItem().GetNote()
	case *stillroomv1.CreateQuestionRequest:
		return r.GetQuestion().GetText()
	case *stillroomv1.CreateEnrolmentRequest:
		return r.GetEnrolment().GetParticipant()
	}
	return ""
}

// TestFaults: mixed traffic goes on while the server is killed, Postgres stops in
// immediate mode, and the links are cut, silenced, reset and slowed. In the end
// everything acknowledged is there, and nothing was done twice.
func TestFaults(t *testing.T) {
	f := newFrail(t)
	require.NoError(t, furnish(t.Context(), f.program.dial(), busyKitchen))
	l := &ledger{sent: map[string]string{}, made: map[string]string{}, texts: map[string]string{}, endorsed: map[string]map[string]bool{}, served: map[string]int{}}
	shared := &limited{kitchen: busyKitchen}
	begun := time.Now()
	working, enough := context.WithCancel(t.Context())
	defer enough()
	var callers sync.WaitGroup
	for id := range 6 {
		// A caller that waits for a server to come back dials again soon, and not a minute later.
		conn, err := grpc.NewClient(f.toServer.Listen, grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithConnectParams(grpc.ConnectParams{
			MinConnectTimeout: time.Second, Backoff: backoff.Config{BaseDelay: 50 * time.Millisecond, Multiplier: 1.5, Jitter: 0.2, MaxDelay: 500 * time.Millisecond}}))
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		v := newVisitor(id, shared)
		callers.Go(func() {
			for working.Err() == nil {
				e := v.next()
				if enrol, ok := e.request.(*stillroomv1.CreateEnrolmentRequest); ok { // whoever comes first opens the class
					open := v.openClass(strings.TrimPrefix(enrol.GetParent(), busyKitchen+"/classes/"), placesInLimited)
					open.request.(*stillroomv1.CreateClassRequest).RequestId = ""
					for code := codes.Unknown; code != codes.OK && code != codes.AlreadyExists; {
						one, cancel := context.WithTimeout(t.Context(), 2*time.Second)
						code = status.Code(open.run(one, conn))
						cancel()
						time.Sleep(time.Millisecond)
					}
				}
				// What was begun is carried through, also after the last fault.
				if l.carry(t.Context(), conn, e, begun) {
					v.back(e)
				}
			}
		})
	}

	recoveries := map[string][]time.Duration{}
	for round := 0; round == 0 || time.Since(begun) < *faultsFor; round++ {
		for _, i := range f.pick.Perm(len(faultsOf)) {
			if round > 0 && time.Since(begun) > *faultsFor {
				break
			}
			kind := faultsOf[i]
			mend := kind.on(f)
			time.Sleep(time.Duration(200+f.pick.IntN(800)) * time.Millisecond)
			mended := mend()
			served := func() bool { return l.lastServed.Load() > int64(mended.Sub(begun)) }
			for deadline, told := time.Now().Add(time.Minute), time.Now().Add(2*time.Second); !served(); time.Sleep(time.Millisecond) {
				if time.Now().After(told) {
					told = told.Add(5 * time.Second)
					l.mu.Lock()
					t.Logf("%s: mended, and still: %s", kind.name, l.last)
					l.mu.Unlock()
				}
				require.True(t, time.Now().Before(deadline), "%s: no call is served a minute after it is mended; serve logged: %.4000s", kind.name, f.program.log)
			}
			t.Logf("%6s %s: served again %s after mending", time.Since(begun).Round(100*time.Millisecond), kind.name, (time.Duration(l.lastServed.Load()) - mended.Sub(begun)).Round(time.Millisecond))
			recoveries[kind.name] = append(recoveries[kind.name], time.Duration(l.lastServed.Load())-mended.Sub(begun))
			time.Sleep(time.Duration(100+f.pick.IntN(400)) * time.Millisecond)
		}
	}
	enough()
	callers.Wait()
	lasted := time.Since(begun)

	l.check(t, f)
	t.Logf("%d acknowledged in %s (%s)\n%d attempts, %d of them retries, %d with an unknown outcome", len(l.made)+l.served["endorsement"]+l.served["stock used"], lasted.Round(time.Second),
		tallies(l.served), l.attempts, l.retried, l.unknown)
	for _, kind := range slices.Sorted(maps.Keys(recoveries)) {
		took := recoveries[kind]
		slices.Sort(took)
		over := len(took) - len(slices.DeleteFunc(slices.Clone(took), func(d time.Duration) bool { return d > 2*time.Second }))
		t.Logf("%-30s %4d times, served again after median %4d ms, most %5d ms; %d took over 2 s",
			kind, len(took), took[len(took)/2].Milliseconds(), took[len(took)-1].Milliseconds(), over)
	}
}

func tallies(counts map[string]int) string {
	var parts []string
	for _, kind := range slices.Sorted(maps.Keys(counts)) {
		parts = append(parts, fmt.Sprintf("%s %d", kind, counts[kind]))
	}
	return strings.Join(parts, ", ")
}

// check compares what callers were told with what there is.
func (l *ledger) check(t *testing.T, f *frail) {
	t.Helper()
	conn := f.program.dial()
	require.Empty(t, l.odd, "outcomes that a retry does not mend")
	require.NotEmpty(t, l.made)

	there := map[string]bool{}
	texts := map[string]int{}
	keep := func(name, text string) {
		require.False(t, there[name], "%s is listed twice", name)
		there[name] = true
		if text != "" {
			texts[text]++
		}
	}
	for _, m := range listed(t, conn, stillroomv1.RosterService_ListParticipants_FullMethodName, &stillroomv1.ListParticipantsRequest{Parent: busyKitchen}, &stillroomv1.ListParticipantsResponse{}) {
		keep(m.(*stillroomv1.Participant).GetName(), m.(*stillroomv1.Participant).GetDisplayName())
	}
	for _, m := range listed(t, conn, stillroomv1.ShoppingService_ListStockItems_FullMethodName, &stillroomv1.ListStockItemsRequest{Parent: busyKitchen}, &stillroomv1.ListStockItemsResponse{}) {
		keep(m.(*stillroomv1.StockItem).GetName(), m.(*stillroomv1.StockItem).GetNote())
	}
	for _, m := range listed(t, conn, stillroomv1.QuestionService_ListQuestions_FullMethodName, &stillroomv1.ListQuestionsRequest{Parent: busyKitchen}, &stillroomv1.ListQuestionsResponse{}) {
		q := m.(*stillroomv1.Question)
		keep(q.GetName(), q.GetText())
		require.GreaterOrEqual(t, int(q.GetEndorsementCount()), len(l.endorsed[q.GetName()]), "endorsements of %s", q.GetName())
	}
	inClasses := 0
	for _, m := range listed(t, conn, stillroomv1.ClassService_ListClasses_FullMethodName, &stillroomv1.ListClassesRequest{Parent: busyKitchen}, &stillroomv1.ListClassesResponse{}) {
		class := m.(*stillroomv1.Class)
		keep(class.GetName(), "")
		if strings.Contains(class.GetName(), "/limited-") {
			comers := listed(t, conn, stillroomv1.RosterService_ListEnrolments_FullMethodName, &stillroomv1.ListEnrolmentsRequest{Parent: class.GetName()}, &stillroomv1.ListEnrolmentsResponse{})
			enrolled := 0
			for _, m := range comers {
				e := m.(*stillroomv1.Enrolment)
				keep(e.GetName(), e.GetParticipant())
				if e.GetState() == stillroomv1.EnrolmentState_ENROLMENT_STATE_ENROLLED {
					enrolled++
				}
			}
			require.Equal(t, min(len(comers), placesInLimited), enrolled, "places of %s", class.GetName())
			continue
		}
		for _, m := range listed(t, conn, stillroomv1.ClassService_ListStations_FullMethodName, &stillroomv1.ListStationsRequest{Parent: class.GetName()}, &stillroomv1.ListStationsResponse{}) {
			keep(m.(*stillroomv1.Station).GetName(), "")
		}
		for _, m := range listed(t, conn, stillroomv1.ClassService_ListBatches_FullMethodName, &stillroomv1.ListBatchesRequest{Parent: class.GetName()}, &stillroomv1.ListBatchesResponse{}) {
			keep(m.(*stillroomv1.Batch).GetName(), "")
			inClasses++
		}
		for _, m := range listed(t, conn, stillroomv1.ShoppingService_ListShoppingLists_FullMethodName, &stillroomv1.ListShoppingListsRequest{Parent: class.GetName()}, &stillroomv1.ListShoppingListsResponse{}) {
			keep(m.(*stillroomv1.ShoppingList).GetName(), "")
			inClasses++
		}
		for _, m := range listed(t, conn, stillroomv1.LoadService_ListLoadPlans_FullMethodName, &stillroomv1.ListLoadPlansRequest{Parent: class.GetName()}, &stillroomv1.ListLoadPlansResponse{}) {
			keep(m.(*stillroomv1.LoadPlan).GetName(), "")
			inClasses++
		}
	}
	for id, name := range l.made {
		require.True(t, there[name], "%s was acknowledged (%s, request %s) and is not there", name, l.sent[id], id)
	}
	for text, n := range texts {
		// A participant's name is the text of its enrolment, and its own text is another.
		require.Equal(t, 1, n, "%q is there %d times", text, n)
	}
	require.Equal(t, l.served["batch"]+l.served["shopping list"]+l.served["load plan"], inClasses, "one effect for one request_id")
	require.Len(t, l.made, len(l.sent), "all that was begun was carried through")

	// The record of changes has one entry for each request_id.
	db, err := pgx.Connect(t.Context(), f.url)
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close(t.Context())) }()
	rows, err := db.Query(t.Context(), `SELECT request_id, count(*) FROM audit_entries WHERE request_id <> '' GROUP BY request_id`)
	require.NoError(t, err)
	entries := map[string]int{}
	var id string
	var n int
	_, err = pgx.ForEachRow(rows, []any{&id, &n}, func() error { entries[id] = n; return nil })
	require.NoError(t, err)
	for id := range l.made {
		require.Equal(t, 1, entries[id], "entries in the record for request %s (%s)", id, l.sent[id])
	}
}
