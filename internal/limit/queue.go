package limit

import (
	"context"
	"fmt"
	"sync"
)

// Queue lets a few works run at a time and a few wait. Next comes whose key has the
// fewest running, and among those who came first; no key may have more than half of the
// waiting places. So one key, however busy, does not keep another out. It is safe for
// concurrent use.
type Queue struct {
	places, waiting, share int

	mu      sync.Mutex
	running map[string]int
	runs    int
	line    []*waiter
}

type waiter struct {
	key string
	// ready is closed when the waiter has a place.
	ready chan struct{}
	// ahead holds the latest number of waiters before this one.
	ahead chan int
}

// NewQueue makes a queue in which so many run and so many wait.
func NewQueue(places, waiting int) *Queue {
	places, waiting = max(1, places), max(0, waiting)
	return &Queue{places: places, waiting: waiting, share: (waiting + 1) / 2, running: map[string]int{}}
}

// Full says that there is no place to wait in.
type Full struct {
	// Running and Waiting are how many there were, of all keys.
	Running, Waiting int
	// Own says that there are places left, but the key has its share of them.
	Own bool
}

func (f *Full) Error() string {
	if f.Own {
		return fmt.Sprintf("the key has its share of the queue, in which %d run and %d wait", f.Running, f.Waiting)
	}
	return fmt.Sprintf("the queue is full: %d run and %d wait", f.Running, f.Waiting)
}

// Enter waits for a place and takes it; leave gives it back and must be called once. While
// waiting, moved, unless nil, is told how many are before it, at first and whenever that changes; an
// error of moved ends the waiting, as ctx does. The error is a *Full when there is no place to wait in.
func (q *Queue) Enter(ctx context.Context, key string, moved func(ahead int) error) (leave func(), err error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	leave = func() { q.leave(key) }
	q.mu.Lock()
	if q.runs < q.places {
		q.start(key)
		q.mu.Unlock()
		return leave, nil
	}
	own := 0
	for _, w := range q.line {
		if w.key == key {
			own++
		}
	}
	if len(q.line) >= q.waiting || own >= q.share {
		full := &Full{Running: q.runs, Waiting: len(q.line), Own: len(q.line) < q.waiting}
		q.mu.Unlock()
		return nil, full
	}
	w := &waiter{key: key, ready: make(chan struct{}), ahead: make(chan int, 1)}
	w.ahead <- len(q.line)
	q.line = append(q.line, w)
	q.mu.Unlock()
	for {
		select {
		case <-w.ready:
			return leave, nil
		case n := <-w.ahead:
			if moved == nil {
				continue
			}
			if err := moved(n); err != nil {
				q.abandon(w)
				return nil, err
			}
		case <-ctx.Done():
			q.abandon(w)
			return nil, ctx.Err()
		}
	}
}

// Running and Waiting are how many there are now; Places is how many may run.
func (q *Queue) Running() int { q.mu.Lock(); defer q.mu.Unlock(); return q.runs }

// Waiting is how many wait now.
func (q *Queue) Waiting() int { q.mu.Lock(); defer q.mu.Unlock(); return len(q.line) }

// Places is how many may run at a time.
func (q *Queue) Places() int { return q.places }

func (q *Queue) start(key string) {
	q.runs++
	q.running[key]++
}

func (q *Queue) leave(key string) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.runs--
	if q.running[key]--; q.running[key] <= 0 {
		delete(q.running, key)
	}
	q.advance()
}

// abandon takes a waiter out of the line, or gives back the place it got meanwhile.
func (q *Queue) abandon(w *waiter) {
	q.mu.Lock()
	for i, other := range q.line {
		if other == w {
			q.line = append(q.line[:i], q.line[i+1:]...)
			q.tell()
			q.mu.Unlock()
			return
		}
	}
	q.mu.Unlock()
	q.leave(w.key)
}

// advance gives free places to those who are next. The lock is held.
func (q *Queue) advance() {
	for q.runs < q.places && len(q.line) > 0 {
		next := 0
		for i, w := range q.line {
			if q.running[w.key] < q.running[q.line[next].key] {
				next = i
			}
		}
		w := q.line[next]
		q.line = append(q.line[:next], q.line[next+1:]...)
		q.start(w.key)
		close(w.ready)
	}
	q.tell()
}

// tell tells everybody who waits how many are before them, by when they came. The lock is held.
func (q *Queue) tell() {
	for i, w := range q.line {
		select {
		case <-w.ahead:
		default:
		}
		w.ahead <- i
	}
}
