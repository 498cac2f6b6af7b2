package web

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"sync"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

const (
	// aliveEvery is how often a quiet stream says that it is there; live.js takes it for dead after three times that.
	aliveEvery = 10 * time.Second
	// writeWithin is how long a browser may take to read what is sent.
	writeWithin = 15 * time.Second
)

// events are server-sent events (WHATWG HTML, "Server-sent events") on the way to one browser.
type events struct {
	mu sync.Mutex
	w  http.ResponseWriter
	rc *http.ResponseController
}

// stream keeps the answer open and lets run send parts of the page. It ends when run
// does, when the visitor leaves, or when the server stops; the browser then comes back,
// unless it was told that there is nothing to come back for.
func (v *visit) stream(run func(ctx context.Context, out *events) error) error {
	h := v.w.Header()
	h.Set("Content-Type", "text/event-stream; charset=utf-8")
	h.Set("X-Accel-Buffering", "no") // proxies that know it pass events on at once
	out := &events{w: v.w, rc: http.NewResponseController(v.w)}
	if err := out.write("retry: 1000\n\n"); err != nil {
		return nil // the visitor is gone
	}
	// It outlasts what a page may take.
	ctx, cancel := context.WithCancel(withToken(fromVisitor(v.r), v.pages.token(v.r)))
	defer cancel()
	stop := context.AfterFunc(v.pages.ending, cancel)
	defer stop()
	var beating sync.WaitGroup
	beating.Go(func() {
		beat := time.NewTicker(aliveEvery)
		defer beat.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-beat.C:
				if out.write("event: alive\ndata:\n\n") != nil {
					cancel()
					return
				}
			}
		}
	})
	err := run(ctx, out)
	cancel()
	beating.Wait()
	switch status.Code(err) {
	case codes.Unauthenticated, codes.PermissionDenied, codes.NotFound, codes.InvalidArgument, codes.FailedPrecondition:
		said := explain(err).Title + ". " + explain(err).Advice
		if status.Code(err) == codes.Unauthenticated && isMine(v.r.URL.Path) {
			said = "Your invitation opens nothing any more; ask the instructor who invited you for a new link."
		}
		_ = out.event("ended", "", []byte(said))
	case codes.Unknown, codes.Internal, codes.DataLoss:
		if err != nil && v.r.Context().Err() == nil && v.pages.ending.Err() == nil {
			v.pages.Log.ErrorContext(v.ctx, "a live page failed", "page", v.r.Pattern, "error", quoted(err))
		}
	}
	return nil
}

// after is the id of the last event that the browser got; empty at first.
func (v *visit) after() string {
	if id := v.r.Header.Get("Last-Event-ID"); id != "" {
		return id
	}
	return v.r.URL.Query().Get("after")
}

// swap sends fragments, elements with ids that take the place of those on the page. The
// id, when not empty, is what after gives when the browser comes back.
func (e *events) swap(id string, fragments []byte) error { return e.event("swap", id, fragments) }

func (e *events) event(kind, id string, data []byte) error {
	var out bytes.Buffer
	if id != "" {
		fmt.Fprintf(&out, "id: %s\n", id)
	}
	fmt.Fprintf(&out, "event: %s\n", kind)
	for line := range bytes.Lines(data) {
		line = bytes.TrimRight(line, "\n")
		// A carriage return ends a line too; people may have typed one.
		fmt.Fprintf(&out, "data: %s\n", bytes.ReplaceAll(line, []byte("\r"), []byte(" ")))
	}
	if len(data) == 0 {
		out.WriteString("data:\n")
	}
	out.WriteByte('\n')
	return e.write(out.String())
}

func (e *events) write(text string) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	// Not every writer knows deadlines; then the connection's own failing has to do. One that is left standing
	// would end a quiet stream over HTTP/2, and spoil the next answer over HTTP/1.
	_ = e.rc.SetWriteDeadline(time.Now().Add(writeWithin))
	defer func() { _ = e.rc.SetWriteDeadline(time.Time{}) }()
	if _, err := e.w.Write([]byte(text)); err != nil {
		return err
	}
	return e.rc.Flush()
}

// follow looks again and again at what a page shows and sends it when it has changed:
// at once, whenever this server was told that something about the topic changed, and
// every so often besides, for what other servers changed.
func (v *visit) follow(topic string, every time.Duration, look func(context.Context) ([]byte, error)) error {
	return v.stream(func(ctx context.Context, out *events) error {
		timer := time.NewTicker(every)
		defer timer.Stop()
		var sent []byte
		for {
			woken := v.pages.nudges.wait(topic)
			now, err := look(ctx)
			switch {
			case ctx.Err() != nil:
				return ctx.Err()
			case err != nil:
				return err
			case !bytes.Equal(now, sent):
				if err := out.swap("", now); err != nil {
					return nil // the visitor is gone
				}
				sent = now
			}
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-woken:
			case <-timer.C:
			}
		}
	})
}

// nudges wake those who follow a topic on this server.
type nudges struct {
	mu     sync.Mutex
	topics map[string]chan struct{}
}

// wait is closed by the next wake of the topic.
func (n *nudges) wait(topic string) <-chan struct{} {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.topics == nil {
		n.topics = map[string]chan struct{}{}
	}
	c, ok := n.topics[topic]
	if !ok {
		c = make(chan struct{})
		n.topics[topic] = c
	}
	return c
}

func (n *nudges) wake(topic string) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if c, ok := n.topics[topic]; ok {
		close(c)
		delete(n.topics, topic)
	}
}
