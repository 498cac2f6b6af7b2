package rpc

import (
	"context"
	"fmt"
	"sync"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/questions"
	"stillroom/internal/store"
	"stillroom/internal/store/storetest"
)

type watching struct {
	t      testing.TB
	stream stillroomv1.QuestionService_WatchQuestionsClient
	cancel context.CancelFunc
	// seen are the etags received; the same state of a question may come twice.
	seen map[string]string
}

func (s *testServer) watch(t testing.TB, req *stillroomv1.WatchQuestionsRequest) *watching {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	t.Cleanup(cancel)
	req.Parent = "kitchens/k"
	stream, err := s.questions().WatchQuestions(ctx, req)
	require.NoError(t, err)
	return &watching{t, stream, cancel, map[string]string{}}
}

func (w *watching) next(kind stillroomv1.WatchKind) *stillroomv1.WatchQuestionsResponse {
	w.t.Helper()
	for {
		m, err := w.stream.Recv()
		require.NoError(w.t, err)
		q := m.GetQuestion()
		if m.GetKind() == changedKind && w.seen[q.GetName()] == q.GetEtag() {
			continue
		}
		require.Equal(w.t, kind, m.GetKind(), "%v", m)
		w.seen[q.GetName()] = q.GetEtag()
		return m
	}
}

const (
	snapshot    = stillroomv1.WatchKind_WATCH_KIND_SNAPSHOT
	snapshotEnd = stillroomv1.WatchKind_WATCH_KIND_SNAPSHOT_END
	changedKind = stillroomv1.WatchKind_WATCH_KIND_CHANGED
)

// Two servers on one database: what is written through one is seen through the
// other, and a watcher that lost its connection resumes where it was.
func TestWatchAcrossServers(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	open := func() *testServer {
		st, err := store.Open(t.Context(), url)
		require.NoError(t, err)
		t.Cleanup(st.Close)
		return serveStore(t, st)
	}
	one, two := open(), open()
	one.setTable(t, 20)
	one.people(t, 3)
	one.ask(t, "a", "p0", "How?")
	q, err := one.questions().CreateQuestion(t.Context(), &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k", QuestionId: "b",
		Question: &stillroomv1.Question{Asker: person("p1"), Text: "My jar did not seal", Unnamed: true}})
	require.NoError(t, err)

	all := two.watch(t, &stillroomv1.WatchQuestionsRequest{})
	require.Equal(t, q.GetName(), all.next(snapshot).GetQuestion().GetName())
	require.Equal(t, question("a"), all.next(snapshot).GetQuestion().GetName())
	token := all.next(snapshotEnd).GetResumeToken()
	require.NotEmpty(t, token)
	class := two.watch(t, &stillroomv1.WatchQuestionsRequest{Class: theClass, Viewer: person("p2")})
	require.Equal(t, question("a"), class.next(snapshot).GetQuestion().GetName())
	class.next(snapshotEnd)

	one.ask(t, "c", "p2", "How much?")
	m := all.next(changedKind)
	require.Equal(t, question("c"), m.GetQuestion().GetName())
	require.Equal(t, question("c"), class.next(changedKind).GetQuestion().GetName())
	all.cancel()

	// Meanwhile two changes of one question and one of another.
	_, err = one.questions().EndorseQuestion(t.Context(), &stillroomv1.EndorseQuestionRequest{Name: question("b"), Participant: person("p0")})
	require.NoError(t, err)
	one.answer(t, "b", "Within 24 hours.")
	_, err = two.questions().WithdrawQuestion(t.Context(), &stillroomv1.WithdrawQuestionRequest{Name: question("a")})
	require.NoError(t, err)

	resumed := one.watch(t, &stillroomv1.WatchQuestionsRequest{ResumeToken: m.GetResumeToken(), Viewer: person("p2")})
	b := resumed.next(changedKind).GetQuestion()
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_ANSWERED, b.GetState(), "as it is now, once")
	require.Empty(t, b.GetAsker(), "unnamed stays unnamed")
	require.Equal(t, stillroomv1.QuestionState_QUESTION_STATE_WITHDRAWN, resumed.next(changedKind).GetQuestion().GetState())
	require.Equal(t, question("a"), class.next(changedKind).GetQuestion().GetName())

	// From the first token on everything comes again, in order, to a host with names.
	again := one.watch(t, &stillroomv1.WatchQuestionsRequest{ResumeToken: token})
	for i, id := range []string{"c", "b", "a"} {
		got := again.next(changedKind).GetQuestion()
		require.Equal(t, question(id), got.GetName(), "change %d", i)
		require.NotEmpty(t, got.GetAsker())
	}

	// Who watches a class hears when a question leaves it.
	moved, err := one.questions().CarryOverQuestions(t.Context(), &stillroomv1.CarryOverQuestionsRequest{FromClass: theClass})
	require.NoError(t, err)
	require.Len(t, moved.GetQuestions(), 1)
	require.Empty(t, class.next(changedKind).GetQuestion().GetClass())

	// A position that this database never reached gets a snapshot.
	ahead := one.watch(t, &stillroomv1.WatchQuestionsRequest{ResumeToken: "ffffffffffff-1"})
	ahead.next(snapshot)
	for _, bad := range []string{"x", "1-", "1-1-1", "-1-1", "01-1", "1-1 "} {
		_, err = one.watch(t, &stillroomv1.WatchQuestionsRequest{ResumeToken: bad}).stream.Recv()
		require.Equal(t, []string{"resume_token"}, badFields(t, requireCode(t, codes.InvalidArgument, err)), bad)
	}
	_, err = one.watch(t, &stillroomv1.WatchQuestionsRequest{Class: "kitchens/k/classes/ghost"}).stream.Recv()
	requireCode(t, codes.NotFound, err)
}

// Many writers at once, through two servers: every watcher ends with exactly
// what the table holds, and never sees a question go back to an older version.
func TestWatchersEndWithTheTruth(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	var servers []*testServer
	for range 2 {
		st, err := store.Open(t.Context(), url)
		require.NoError(t, err)
		t.Cleanup(st.Close)
		servers = append(servers, serveStore(t, st))
	}
	servers[0].setTable(t, 40)
	servers[0].people(t, 12)
	const each = 8
	var watchers []*watching
	for i := range 4 {
		w := servers[i%2].watch(t, &stillroomv1.WatchQuestionsRequest{})
		w.next(snapshotEnd)
		watchers = append(watchers, w)
	}
	var writers sync.WaitGroup
	for p := range 12 {
		writers.Go(func() {
			s := servers[p%2]
			for i := range each {
				id := fmt.Sprintf("q%d-%d", p, i)
				_, err := s.questions().CreateQuestion(t.Context(), &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k", QuestionId: id, RequestId: uuid.NewString(),
					Question: &stillroomv1.Question{Class: theClass, Asker: person(fmt.Sprintf("p%d", p)), Text: "How?"}})
				if err == nil {
					_, err = s.questions().EndorseQuestion(t.Context(), &stillroomv1.EndorseQuestionRequest{Name: question(id), Participant: person(fmt.Sprintf("p%d", (p+1)%12))})
				}
				if err == nil && i%2 == 0 {
					_, err = s.questions().ParkQuestion(t.Context(), &stillroomv1.ParkQuestionRequest{Name: question(id)})
				}
				if err != nil {
					t.Errorf("%s: %v", id, err)
				}
			}
		})
	}
	writers.Wait()
	// The last write, after all others: who has seen it has seen everything.
	servers[0].ask(t, "last", "p0", "Was that all?")
	for i, w := range watchers {
		versions := map[string]string{}
		for versions[question("last")] == "" {
			q := w.next(changedKind).GetQuestion()
			require.Less(t, versions[q.GetName()], q.GetEtag(), "watcher %d sees %s go back", i, q.GetName())
			versions[q.GetName()] = q.GetEtag()
		}
		require.Len(t, versions, 12*each+1)
		for name, version := range versions {
			got, err := servers[1].questions().GetQuestion(t.Context(), &stillroomv1.GetQuestionRequest{Name: name})
			require.NoError(t, err)
			require.Equal(t, got.GetEtag(), version, "watcher %d, %s", i, name)
		}
	}
}

// A watcher whose buffer is full is told to resume; the others get everything.
func TestSlowWatcherIsToldToResume(t *testing.T) {
	t.Parallel()
	k := &kitchenFeed{id: "k", watchers: map[*watcher]struct{}{}}
	slow := &watcher{updates: make(chan update, 2), behind: make(chan struct{})}
	quick := &watcher{updates: make(chan update, 10), behind: make(chan struct{})}
	elsewhere := &watcher{class: "other", updates: make(chan update, 1), behind: make(chan struct{})}
	for _, w := range []*watcher{slow, quick, elsewhere} {
		k.watchers[w] = struct{}{}
	}
	for i := range 5 {
		k.deliver(news{change: store.Change{At: store.FeedPosition{Xid: int64(i)}, Question: questions.Question{Class: "c"}}, everyone: update{at: store.FeedPosition{Xid: int64(i)}}})
	}
	<-slow.behind
	require.Len(t, slow.updates, 2)
	require.Len(t, quick.updates, 5)
	require.Empty(t, elsewhere.updates)
	require.NotContains(t, k.watchers, slow)
	require.Contains(t, k.watchers, quick)
}

// The feed stops reading and listening when the last watcher is gone.
func TestFeedRestsWhenNobodyWatches(t *testing.T) {
	t.Parallel()
	st := storetest.Open(t)
	s := serveStore(t, st)
	s.setTable(t, 5)
	desk, err := questions.NewDesk()
	require.NoError(t, err)
	svc := &questionService{backend: &backend{store: st}, desk: desk}
	feed := newQueueFeed(st, nil, svc.encode)
	w := &watcher{updates: make(chan update, 1), behind: make(chan struct{})}
	require.Equal(t, codes.Unknown, status.Code(feed.join(t.Context(), "ghost", w)), "a fault, not yet a status")
	require.Nil(t, feed.unlisten)
	require.NoError(t, feed.join(t.Context(), "k", w))
	require.NotNil(t, feed.unlisten)
	feed.leave("k", w)
	feed.leave("k", w)
	require.Nil(t, feed.unlisten)
	require.Empty(t, feed.kitchens)
}

// A server that stops does not leave its watchers hanging.
func TestWatchersAreSentElsewhere(t *testing.T) {
	t.Parallel()
	st := storetest.Open(t)
	s := serveStore(t, st)
	s.setTable(t, 5)
	w := s.watch(t, &stillroomv1.WatchQuestionsRequest{})
	w.next(snapshotEnd)
	s.server.EndWatches()
	s.server.EndWatches()
	_, err := w.stream.Recv()
	require.Contains(t, requireCode(t, codes.Unavailable, err).Message(), "resume_token")
	s.server.GracefulStop() // would wait for ever otherwise
}
