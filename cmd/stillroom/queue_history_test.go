package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"sort"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"
	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/store/storetest"
)

// The queue as one person would keep it on paper. It is written here a second
// time, by hand, so that the service is held to it: every history of calls that
// clients saw must be one that this paper queue could have given, one call after
// the other (linearizability, checked by porcupine).

type queueCall struct{ kind, id, into string }

// queueReply is ok, refused (the state did not allow it), missing, none (nothing
// to take), or unknown (the server died: it may have happened or not).
type queueReply struct{ outcome, id string }

// paperQueue maps questions to their states.
type paperQueue map[string]string

func (q paperQueue) String() string {
	lines := make([]string, 0, len(q))
	for id, state := range q {
		lines = append(lines, id+"="+state)
	}
	sort.Strings(lines)
	return strings.Join(lines, ";")
}

func readPaper(text string) paperQueue {
	q := paperQueue{}
	for _, line := range strings.Split(text, ";") {
		if id, state, ok := strings.Cut(line, "="); ok {
			q[id] = state
		}
	}
	return q
}

// with is the queue after one question changed.
func (q paperQueue) with(id, state string) string {
	next := readPaper(q.String())
	next[id] = state
	return next.String()
}

var (
	paperFrom = map[string]string{"answer": "asked taken parked", "park": "asked taken", "skip": "taken", "reopen": "taken parked answered", "merge": "asked parked", "withdraw": "asked parked"}
	paperTo   = map[string]string{"answer": "answered", "park": "parked", "skip": "asked", "reopen": "asked", "merge": "merged", "withdraw": "withdrawn"}
)

// allows reports whether a call succeeds now.
func (q paperQueue) allows(c queueCall) bool {
	if !strings.Contains(paperFrom[c.kind], q[c.id]) || q[c.id] == "" {
		return false
	}
	return c.kind != "merge" || (c.into != c.id && strings.Contains("asked taken parked answered", q[c.into]) && q[c.into] != "")
}

// step gives the queues that may follow a call with its reply; none when the reply is impossible.
func (q paperQueue) step(c queueCall, r queueReply) []string {
	same := []string{q.String()}
	var done []string
	switch c.kind {
	case "create":
		if q[c.id] == "" {
			done = []string{q.with(c.id, "asked")}
		}
	case "take":
		for id, state := range q {
			if state == "asked" && (r.outcome == "unknown" || r.id == id) {
				done = append(done, q.with(id, "taken"))
			}
		}
	default:
		if q.allows(c) {
			done = []string{q.with(c.id, paperTo[c.kind])}
		}
	}
	switch r.outcome {
	case "ok":
		return done
	case "unknown":
		return append(done, same...)
	case "none":
		for _, state := range q {
			if state == "asked" {
				return nil
			}
		}
		return same
	case "missing":
		if q[c.id] == "" || (c.kind == "merge" && q[c.into] == "") {
			return same
		}
	case "refused":
		if !q.allows(c) {
			return same
		}
	}
	return nil
}

var paperModel = (&porcupine.NondeterministicModel{
	Init: func() []any { return []any{""} },
	Step: func(state, input, output any) []any {
		var next []any
		for _, q := range readPaper(state.(string)).step(input.(queueCall), output.(queueReply)) {
			next = append(next, q)
		}
		return next
	},
	Equal: func(a, b any) bool { return a.(string) == b.(string) },
}).ToModel()

// The paper itself must refuse what may not be.
func TestPaperQueueRefusesImpossibleHistories(t *testing.T) {
	t.Parallel()
	at := func(i int, c queueCall, r queueReply) porcupine.Operation {
		return porcupine.Operation{ClientId: i, Input: c, Output: r, Call: int64(2 * i), Return: int64(2*i + 1)}
	}
	history := []porcupine.Operation{
		at(0, queueCall{kind: "create", id: "a"}, queueReply{outcome: "ok"}),
		at(1, queueCall{kind: "take"}, queueReply{"ok", "a"}),
	}
	require.True(t, porcupine.CheckOperations(paperModel, history))
	require.False(t, porcupine.CheckOperations(paperModel, append(history, at(2, queueCall{kind: "take"}, queueReply{"ok", "a"}))), "taken twice")
	require.False(t, porcupine.CheckOperations(paperModel, append(history[:1:1], at(2, queueCall{kind: "take"}, queueReply{outcome: "none"}))), "lost")
	require.False(t, porcupine.CheckOperations(paperModel, append(history, at(2, queueCall{kind: "skip", id: "a"}, queueReply{outcome: "refused"}))))
	require.True(t, porcupine.CheckOperations(paperModel, append(history, at(2, queueCall{kind: "answer", id: "a"}, queueReply{outcome: "unknown"}), at(3, queueCall{kind: "answer", id: "a"}, queueReply{outcome: "refused"}))))
}

// queueRun drives one class's queue from many clients against several servers.
type queueRun struct {
	clients []stillroomv1.QuestionServiceClient
	kitchen string
	class   string
	session string
	people  []string
	start   time.Time

	mu      sync.Mutex
	asked   []string
	history []porcupine.Operation
}

func (r *queueRun) name(id string) string { return r.kitchen + "/questions/" + id }

// one makes one call, again with the same request_id when a server died under it,
// and records it. Calls without a request_id are made once; then nobody knows.
func (r *queueRun) one(ctx context.Context, client int, c queueCall) {
	request := uuid.NewString()
	begun := time.Since(r.start).Nanoseconds()
	var reply queueReply
	for attempt := 0; ; attempt++ {
		api := r.clients[(client+attempt)%len(r.clients)]
		q, err := r.send(ctx, api, c, request)
		code := status.Code(err)
		reply = queueReply{outcome: "unknown"}
		switch code {
		case codes.OK:
			reply = queueReply{"ok", q.GetName()[strings.LastIndexByte(q.GetName(), '/')+1:]}
		case codes.FailedPrecondition, codes.InvalidArgument:
			reply.outcome = "refused"
		case codes.NotFound:
			reply.outcome = "missing"
			if c.kind == "take" {
				reply.outcome = "none"
			}
		case codes.Unavailable, codes.Aborted, codes.Canceled:
			repeatable := c.kind == "create" || c.kind == "take" || c.kind == "answer" || c.kind == "merge"
			if (repeatable || code == codes.Aborted) && attempt < 400 && ctx.Err() == nil {
				time.Sleep(25 * time.Millisecond)
				continue
			}
		default:
			reply.outcome = "unexpected " + err.Error() // no step of the model allows this
		}
		break
	}
	ended := time.Since(r.start).Nanoseconds()
	if reply.outcome == "unknown" {
		ended = 1 << 62 // it may still happen, whenever
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.history = append(r.history, porcupine.Operation{ClientId: len(r.history), Input: c, Call: begun, Output: reply, Return: ended})
	if reply.outcome == "ok" && c.kind == "create" {
		r.asked = append(r.asked, c.id)
	}
}

func (r *queueRun) send(ctx context.Context, api stillroomv1.QuestionServiceClient, c queueCall, request string) (*stillroomv1.Question, error) {
	ctx, cancel := context.WithTimeout(ctx, 20*time.Second)
	defer cancel()
	switch c.kind {
	case "create":
		n, _ := strconv.Atoi(c.id[1:])
		return api.CreateQuestion(ctx, &stillroomv1.CreateQuestionRequest{Parent: r.kitchen, QuestionId: r.class + "-" + c.id, RequestId: request,
			Question: &stillroomv1.Question{Class: r.kitchen + "/classes/" + r.class, Asker: r.people[n%len(r.people)], Text: "Question " + c.id + "?"}})
	case "take":
		return api.TakeNextQuestion(ctx, &stillroomv1.TakeNextQuestionRequest{Session: r.session, Host: "H", RequestId: request})
	case "answer":
		return api.AnswerQuestion(ctx, &stillroomv1.AnswerQuestionRequest{Name: r.name(r.class + "-" + c.id), RequestId: request, Answer: &stillroomv1.Answer{Text: "Answer " + request}})
	case "park":
		return api.ParkQuestion(ctx, &stillroomv1.ParkQuestionRequest{Name: r.name(r.class + "-" + c.id)})
	case "skip":
		return api.SkipQuestion(ctx, &stillroomv1.SkipQuestionRequest{Name: r.name(r.class + "-" + c.id)})
	case "reopen":
		return api.ReopenQuestion(ctx, &stillroomv1.ReopenQuestionRequest{Name: r.name(r.class + "-" + c.id)})
	case "withdraw":
		return api.WithdrawQuestion(ctx, &stillroomv1.WithdrawQuestionRequest{Name: r.name(r.class + "-" + c.id)})
	case "merge":
		return api.MergeQuestions(ctx, &stillroomv1.MergeQuestionsRequest{Name: r.name(r.class + "-" + c.into), Others: []string{r.name(r.class + "-" + c.id)}, RequestId: request})
	}
	return nil, fmt.Errorf("no call %q", c.kind)
}

// work is one client: so many calls at random.
func (r *queueRun) work(ctx context.Context, client, calls int) {
	pick := rand.New(rand.NewPCG(uint64(client), uint64(len(r.class))))
	kinds := []string{"create", "create", "take", "take", "take", "answer", "answer", "park", "skip", "reopen", "merge", "withdraw"}
	for i := range calls {
		c := queueCall{kind: kinds[pick.IntN(len(kinds))]}
		r.mu.Lock()
		known := append([]string{}, r.asked...)
		r.mu.Unlock()
		switch {
		case i == 0 || len(known) == 0:
			c.kind = "create"
		case c.kind != "create" && c.kind != "take":
			c.id, c.into = known[pick.IntN(len(known))], known[pick.IntN(len(known))]
			if c.kind != "merge" {
				c.into = ""
			}
		}
		if c.kind == "create" {
			c.id = fmt.Sprintf("q%d", client*1000+i)
		}
		r.one(ctx, client, c)
	}
}

// awaitCalls returns when so many calls have been answered.
func (r *queueRun) awaitCalls(t *testing.T, calls int) {
	t.Helper()
	require.Eventually(t, func() bool {
		r.mu.Lock()
		defer r.mu.Unlock()
		return len(r.history) >= calls
	}, time.Minute, time.Millisecond)
}

// check holds the history to the paper queue, and the table to the history's end:
// what was acknowledged as asked is there, whatever became of it.
func (r *queueRun) check(t *testing.T) {
	t.Helper()
	for i := range r.history {
		out := r.history[i].Output.(queueReply)
		out.id = strings.TrimPrefix(out.id, r.class+"-")
		r.history[i].Output = out
	}
	result := porcupine.CheckOperationsTimeout(paperModel, r.history, 2*time.Minute)
	require.Equal(t, porcupine.Ok, result, "%s: %d calls: %v", r.class, len(r.history), r.history)
	for _, id := range r.asked {
		_, err := r.clients[0].GetQuestion(t.Context(), &stillroomv1.GetQuestionRequest{Name: r.name(r.class + "-" + id)})
		require.NoError(t, err, "an acknowledged question is there")
	}
}

// queueRuns makes a kitchen with so many classes, each with an open session.
func queueRuns(t *testing.T, programs []*program, classes int) []*queueRun {
	t.Helper()
	p := programs[0]
	p.run("kitchen", "create", "high-meadow", "--currency", "USD", "--name", "High Meadow")
	p.run("site", "create", "main", "--altitude", "5,430 ft", "--zone", "America/Denver")
	var roster strings.Builder
	roster.WriteString("name\n")
	for i := range 100 {
		fmt.Fprintf(&roster, "Person %d\n", i)
	}
	people := p.file("roster.csv", roster.String())
	var clients []stillroomv1.QuestionServiceClient
	for _, each := range programs {
		conn, err := grpc.NewClient(each.address, grpc.WithTransportCredentials(insecure.NewCredentials()),
			grpc.WithConnectParams(grpc.ConnectParams{MinConnectTimeout: time.Second}))
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		clients = append(clients, stillroomv1.NewQuestionServiceClient(conn))
	}
	runs := make([]*queueRun, classes)
	for i := range runs {
		class := fmt.Sprintf("c%d", i)
		p.run("class", "create", class, "--site", "main", "--start", "2027-08-21 09:00", "--length", "4h", "--places", "200")
		p.run("roster", "import", class, people)
		p.run("live", "open", class, "--id", "s", "--host", "H")
		r := &queueRun{clients: clients, kitchen: "kitchens/high-meadow", class: class, session: "kitchens/high-meadow/classes/" + class + "/sessions/s", start: time.Now()}
		for _, e := range p.json("roster", "list", class)["enrolments"].([]any) {
			r.people = append(r.people, e.(map[string]any)["participant"].(string))
		}
		runs[i] = r
	}
	return runs
}

// TestQueueIsLinearizable: many clients, two server processes, one database.
func TestQueueIsLinearizable(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	runs := queueRuns(t, []*program{startProgram(t, "--database", url), startProgram(t, "--database", url)}, 3)
	for _, r := range runs {
		r.start = time.Now()
		var clients sync.WaitGroup
		for client := range 8 {
			clients.Go(func() { r.work(t.Context(), client, 20) })
		}
		clients.Wait()
		r.check(t)
	}
}

// crashVariable lengthens TestQueueSurvivesKilledServers: seconds of traffic.
const crashVariable = "STILLROOM_CRASH_SECONDS"

// TestQueueSurvivesKilledServers: the same while one of the two processes is
// killed with SIGKILL again and again and started anew at its address.
func TestQueueSurvivesKilledServers(t *testing.T) {
	t.Parallel()
	lasting := 8 * time.Second
	if s, err := strconv.Atoi(os.Getenv(crashVariable)); err == nil {
		lasting = time.Duration(s) * time.Second
	}
	url := storetest.URL(t)
	steady, mortal := startProgram(t, "--database", url), startProgram(t, "--database", url)
	runs := queueRuns(t, []*program{steady, mortal}, max(4, int(lasting/(2*time.Second))))
	deadline := time.Now().Add(lasting)
	kills := 0
	for _, r := range runs {
		r.start = time.Now()
		var clients sync.WaitGroup
		for client := range 6 {
			clients.Go(func() { r.work(t.Context(), client, 20) })
		}
		r.awaitCalls(t, 20) // in the middle of the traffic, however fast the machine is
		require.NoError(t, mortal.serve.Process.Signal(syscall.SIGKILL))
		_ = mortal.serve.Wait()
		kills++
		mortal = startProgram(t, "--database", url, "--listen", mortal.address)
		clients.Wait()
		if time.Now().After(deadline) {
			break
		}
	}
	calls, unknown := 0, 0
	for _, r := range runs {
		r.check(t)
		calls += len(r.history)
		for _, o := range r.history {
			if o.Output.(queueReply).outcome == "unknown" {
				unknown++
			}
		}
	}
	t.Logf("%d calls, %d of them with no reply, %d kills: no question lost, none taken twice", calls, unknown, kills)
	require.Positive(t, kills)
}
