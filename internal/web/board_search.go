package web

import (
	"context"
	"errors"
	"io"
	"slices"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// searches are the plans being made through this server's pages. A search belongs to no
// browser: who asked for it may leave, others see how it comes along, and its plan is
// stored when it ends. It ends with the server.
type searches struct {
	mu      sync.Mutex
	byClass map[string]*search
}

// search is one plan, or the plans of several classes, being made.
type search struct {
	id      string
	classes []string
	began   time.Time
	cancel  context.CancelFunc
	// moved is closed when the first progress or the end has come, done when it is over.
	moved, done chan struct{}

	// Under the mutex of searches.
	progress *stillroomv1.PlanProgress
	plans    []string
	err      error
	stopped  bool
	ended    time.Time
}

// errSearching refuses a second search of a class at a time.
var errSearching = status.Error(codes.FailedPrecondition, "a plan of this class is being made already; wait for it or stop it")

// failureShown is how long a failed search is told of.
const failureShown = 2 * time.Minute

// searchTopic is what those who follow a class's searches wait for.
func searchTopic(class string) string { return "search of " + class }

// maker makes plans, and tells how far it has come; it returns the plans' names.
type maker func(ctx context.Context, report func(*stillroomv1.PlanProgress)) ([]string, error)

// search begins to make plans of classes for a visitor.
func (v *visit) search(id string, classes []string, run maker) (*search, error) {
	all := &v.pages.searches
	// It goes on when the visitor leaves, and ends with the server.
	ctx, cancel := context.WithCancel(context.WithoutCancel(v.ctx))
	s := &search{id: id, classes: classes, began: v.pages.Now(), cancel: cancel, moved: make(chan struct{}), done: make(chan struct{})}
	all.mu.Lock()
	defer all.mu.Unlock()
	for _, c := range classes {
		if other := all.byClass[c]; other != nil && other.ended.IsZero() {
			cancel()
			return nil, errSearching
		}
	}
	if all.byClass == nil {
		all.byClass = map[string]*search{}
	}
	for _, c := range classes {
		all.byClass[c] = s
	}
	stop := context.AfterFunc(v.pages.ending, cancel)
	go func() {
		defer cancel()
		defer stop()
		plans, err := run(ctx, func(p *stillroomv1.PlanProgress) {
			all.mu.Lock()
			if s.progress == nil {
				close(s.moved)
			}
			s.progress = p
			all.mu.Unlock()
			v.pages.wakeSearch(s)
		})
		all.mu.Lock()
		if s.progress == nil {
			close(s.moved)
		}
		s.plans, s.err, s.ended = plans, err, v.pages.Now()
		all.mu.Unlock()
		close(s.done)
		v.pages.wakeSearch(s)
	}()
	v.pages.wakeSearch(s)
	return s, nil
}

func (p *Pages) wakeSearch(s *search) {
	for _, c := range s.classes {
		p.nudges.wake(searchTopic(c))
	}
}

// result is what a search that is over has come to.
func (all *searches) result(s *search) ([]string, error) {
	all.mu.Lock()
	defer all.mu.Unlock()
	return s.plans, s.err
}

// stop ends the search of a class, if one runs.
func (all *searches) stop(class string) bool {
	all.mu.Lock()
	defer all.mu.Unlock()
	s := all.byClass[class]
	if s == nil || !s.ended.IsZero() {
		return false
	}
	s.stopped = true
	s.cancel()
	return true
}

// searchNow is how a class's search stands, for a page.
type searchNow struct {
	// ID is the search's; empty when there is nothing to tell.
	ID       string
	Progress *stillroomv1.PlanProgress
	// Running says that it goes on; otherwise Plans or Problem tell how it ended.
	Running bool
	Plans   []string
	Problem string
	// Lost says that the browser saw a search of which this server knows nothing.
	Lost bool
	// Several says that it plans more than one class.
	Several bool
}

// Over says that a search has ended with plans.
func (s searchNow) Over() bool { return len(s.Plans) > 0 }

// Share is how much of the gap between plan and bound is closed, for the bar: 100 when proven.
func (s searchNow) Share() int {
	p := s.Progress
	if p == nil || p.GetUnprocessedJars() > p.GetBoundUnprocessedJars() {
		return 0
	}
	return int((1-min(p.GetGap(), 1))*100 + 0.5)
}

// Proven says that nothing better can be found, so that only what would help is still asked.
func (s searchNow) Proven() bool {
	p := s.Progress
	return p != nil && p.GetGap() == 0 && p.GetUnprocessedJars() <= p.GetBoundUnprocessedJars()
}

// Seconds is how long it has searched, in tenths.
func (s searchNow) Seconds() float64 {
	return float64(s.Progress.GetElapsed().AsDuration().Milliseconds()/100) / 10
}

// now is how the search of a class stands. Known is one that the browser saw before; empty when it saw none.
func (all *searches) now(class, known string, at time.Time) searchNow {
	all.mu.Lock()
	defer all.mu.Unlock()
	s := all.byClass[class]
	switch {
	case s == nil && known != "":
		return searchNow{Lost: true}
	case s == nil:
		return searchNow{}
	}
	n := searchNow{ID: s.id, Progress: s.progress, Running: s.ended.IsZero(), Plans: s.plans, Several: len(s.classes) > 1}
	switch {
	case s.err == nil:
	case s.stopped:
		n.Problem = "The search was stopped; the board is as it was."
	case at.Sub(s.ended) > failureShown && known == "":
		return searchNow{}
	default:
		n.Problem = problemWords(s.err)
	}
	return n
}

// problemWords is an error of a call in words.
func problemWords(err error) string {
	if problems, ok := refused(err); ok {
		return strings.Join(sortedProblems(problems), " ")
	}
	t := explain(err)
	return strings.TrimSpace(sentence(t.Title) + " " + sentence(t.Detail) + " " + t.Advice)
}

func sortedProblems(problems map[string]string) []string {
	var all []string
	for _, text := range problems {
		all = append(all, text)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// splitMark reads what a stream's event ids carry: the plan shown and the search followed.
func splitMark(mark string) (plan, search string) {
	plan, search, _ = strings.Cut(mark, "-")
	return plan, search
}

// receiver is a stream of a search.
type receiver[M any] interface{ Recv() (M, error) }

// searched follows a stream to its end.
func searched[M interface {
	comparable
	GetProgress() *stillroomv1.PlanProgress
}](stream receiver[M], report func(*stillroomv1.PlanProgress), names func(M) []string) ([]string, error) {
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil, status.Error(codes.Internal, "a search ended without a plan")
		}
		if err != nil {
			return nil, err
		}
		if found := names(m); len(found) > 0 {
			return found, nil
		}
		report(m.GetProgress())
	}
}

// plan makes a plan of one class.
func (v *visit) plan(req *stillroomv1.PlanLoadsRequest) maker {
	client := v.loads()
	return func(ctx context.Context, report func(*stillroomv1.PlanProgress)) ([]string, error) {
		stream, err := client.PlanLoads(ctx, req)
		if err != nil {
			return nil, err
		}
		return searched(stream, report, func(m *stillroomv1.PlanLoadsResponse) []string {
			if m.GetLoadPlan() == nil {
				return nil
			}
			return []string{m.GetLoadPlan().GetName()}
		})
	}
}

// planAll makes plans of several classes together.
func (v *visit) planAll(req *stillroomv1.PlanClassesTogetherRequest) maker {
	client := v.loads()
	return func(ctx context.Context, report func(*stillroomv1.PlanProgress)) ([]string, error) {
		stream, err := client.PlanClassesTogether(ctx, req)
		if err != nil {
			return nil, err
		}
		return searched(stream, report, func(m *stillroomv1.PlanClassesTogetherResponse) []string {
			var names []string
			for _, p := range m.GetJointPlans().GetLoadPlans() {
				names = append(names, p.GetName())
			}
			return names
		})
	}
}
