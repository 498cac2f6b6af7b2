package rpc

import (
	"context"
	"log/slog"
	"slices"
	"sync"
	"time"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/questions"
	"stillroom/internal/store"
)

const (
	// watcherBuffer is how many changes may wait for a slow watcher before it is told to resume.
	watcherBuffer = 256
	// pollEvery is how often the table is read although nobody hinted at a change.
	pollEvery = time.Second
	// pollSoon is how soon it is read again when a hint came but nothing could be read yet,
	// because another transaction that began earlier is still running. It doubles up to pollEvery.
	pollSoon = 5 * time.Millisecond
	// aliveEvery is how often watchers get a fresh token although nothing happened.
	aliveEvery = 30 * time.Second
	// feedBatch is how many events are read at a time.
	feedBatch = 500
)

// queueFeed follows the record of each kitchen that somebody watches and hands
// changes to its watchers. There is one reader for each kitchen, however many
// watch. The table is the truth; notifications only say when to look.
type queueFeed struct {
	store  *store.Store
	log    *slog.Logger
	encode func(kitchen string, q questions.Question, viewer string) *stillroomv1.Question

	mu       sync.Mutex
	kitchens map[string]*kitchenFeed
	// unlisten stops the listener; it runs while anybody watches.
	unlisten context.CancelFunc

	// ending is closed when the server is about to stop.
	ending  chan struct{}
	endOnce sync.Once

	hintMu sync.Mutex
	hinted map[string]bool // kitchens whose hint is still to be sent
	hints  bool            // whether a goroutine is sending hints
}

type kitchenFeed struct {
	id   string
	wake chan struct{}
	stop context.CancelFunc

	mu       sync.Mutex
	watchers map[*watcher]struct{}
}

// update is what a watcher gets: a change, or the news that nothing happened.
type update struct {
	at      store.FeedPosition
	message *stillroomv1.WatchQuestionsResponse
}

type watcher struct {
	// class filters; empty takes the whole kitchen. hosts see every name.
	class string
	host  bool
	// updates is bounded; when it is full the watcher is dropped and behind is closed.
	updates chan update
	behind  chan struct{}
}

func newQueueFeed(s *store.Store, log *slog.Logger, encode func(string, questions.Question, string) *stillroomv1.Question) *queueFeed {
	return &queueFeed{store: s, log: log, encode: encode, kitchens: map[string]*kitchenFeed{}, ending: make(chan struct{}), hinted: map[string]bool{}}
}

// end tells every watcher to resume elsewhere.
func (f *queueFeed) end() { f.endOnce.Do(func() { close(f.ending) }) }

// touch says that something happened in a kitchen: it wakes the watchers of this
// process and hints to the others. It waits for nobody.
func (f *queueFeed) touch(ctx context.Context, kitchen string) {
	f.wake(kitchen)
	f.hintMu.Lock()
	defer f.hintMu.Unlock()
	f.hinted[kitchen] = true
	if !f.hints {
		f.hints = true
		go f.sendHints(context.WithoutCancel(ctx))
	}
}

// sendHints notifies until nothing is left to notify of. However many changes
// came meanwhile, a kitchen is notified of once.
func (f *queueFeed) sendHints(ctx context.Context) {
	for {
		f.hintMu.Lock()
		kitchen, left := "", false
		for kitchen = range f.hinted {
			left = true
			break
		}
		if !left {
			f.hints = false
			f.hintMu.Unlock()
			return
		}
		delete(f.hinted, kitchen)
		f.hintMu.Unlock()
		ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
		if err := f.store.HintFeed(ctx, kitchen); err != nil {
			f.log.DebugContext(ctx, "no hint was sent; the others will find out by polling", "error", err)
		}
		cancel()
	}
}

// wake makes the reader of a kitchen look; an empty kitchen wakes all.
func (f *queueFeed) wake(kitchen string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for id, k := range f.kitchens {
		if kitchen == "" || kitchen == id {
			select {
			case k.wake <- struct{}{}:
			default: // it is about to look anyway
			}
		}
	}
}

// join adds a watcher. From here on its buffer gets every change that the reader
// has not yet passed.
func (f *queueFeed) join(ctx context.Context, kitchen string, w *watcher) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.unlisten == nil {
		listening, cancel := context.WithCancel(context.WithoutCancel(ctx))
		f.unlisten = cancel
		go f.store.ListenFeed(listening, f.wake)
	}
	k, ok := f.kitchens[kitchen]
	if !ok {
		running, cancel := context.WithCancel(context.WithoutCancel(ctx))
		k = &kitchenFeed{id: kitchen, wake: make(chan struct{}, 1), stop: cancel, watchers: map[*watcher]struct{}{}}
		var from store.FeedPosition
		err := f.store.In(ctx, kitchen, func(tx *store.Tx) (err error) {
			if err := tx.AgeFeed(ctx); err != nil {
				return err
			}
			from, err = tx.FeedHorizon(ctx)
			return err
		})
		if err != nil {
			cancel()
			f.quiet()
			return err
		}
		f.kitchens[kitchen] = k
		go f.follow(running, k, from)
	}
	k.mu.Lock()
	k.watchers[w] = struct{}{}
	k.mu.Unlock()
	return nil
}

// leave removes a watcher, and its kitchen's reader with the last one.
func (f *queueFeed) leave(kitchen string, w *watcher) {
	f.mu.Lock()
	defer f.mu.Unlock()
	k, ok := f.kitchens[kitchen]
	if !ok {
		return
	}
	k.mu.Lock()
	delete(k.watchers, w)
	empty := len(k.watchers) == 0
	k.mu.Unlock()
	if empty {
		k.stop()
		delete(f.kitchens, kitchen)
	}
	f.quiet()
}

// quiet stops listening when nobody watches any more. The caller holds mu.
func (f *queueFeed) quiet() {
	if len(f.kitchens) == 0 && f.unlisten != nil {
		f.unlisten()
		f.unlisten = nil
	}
}

// follow reads a kitchen's record from a position on until ctx ends.
func (f *queueFeed) follow(ctx context.Context, k *kitchenFeed, at store.FeedPosition) {
	again := pollEvery
	timer := time.NewTimer(again)
	defer timer.Stop()
	alive := time.NewTicker(aliveEvery)
	defer alive.Stop()
	for {
		hinted := false
		select {
		case <-ctx.Done():
			return
		case <-k.wake:
			hinted = true
		case <-timer.C:
		case <-alive.C:
			k.send(update{at, &stillroomv1.WatchQuestionsResponse{Kind: stillroomv1.WatchKind_WATCH_KIND_ALIVE, ResumeToken: encodeToken(at)}})
			continue
		}
		read, err := f.drain(ctx, k, &at)
		switch {
		case err != nil && ctx.Err() == nil:
			f.log.WarnContext(ctx, "reading the record of questions failed; trying again", "error", err)
			again = pollEvery
		case read > 0:
			again = pollEvery
		case hinted:
			again = pollSoon
		default:
			again = min(2*again, pollEvery)
		}
		timer.Reset(again)
	}
}

// drain hands on what happened since a position and moves it on.
func (f *queueFeed) drain(ctx context.Context, k *kitchenFeed, at *store.FeedPosition) (read int, err error) {
	for {
		var changes []store.Change
		var upTo store.FeedPosition
		var more bool
		err := f.store.In(ctx, k.id, func(tx *store.Tx) (err error) {
			changes, upTo, more, err = tx.Changes(ctx, *at, feedBatch)
			return err
		})
		if err != nil {
			return read, err
		}
		for _, c := range changes {
			k.deliver(f.changed(k.id, c))
		}
		read += len(changes)
		*at = upTo
		if !more {
			return read, nil
		}
	}
}

// news is one change, encoded for hosts and for participants.
type news struct {
	change          store.Change
	hosts, everyone update
}

func (f *queueFeed) changed(kitchen string, c store.Change) news {
	message := func(viewer string) update {
		return update{c.At, &stillroomv1.WatchQuestionsResponse{
			Kind: stillroomv1.WatchKind_WATCH_KIND_CHANGED, Question: f.encode(kitchen, c.Question, viewer), ResumeToken: encodeToken(c.At),
		}}
	}
	return news{c, message(""), message(anybody)}
}

// concerns reports whether a watcher of a class is to hear of a change; an empty class hears of all.
func concerns(c store.Change, class string) bool {
	return class == "" || class == c.Question.Class || slices.Contains(c.FormerClasses, class)
}

func (k *kitchenFeed) deliver(n news) {
	k.each(func(w *watcher) *update {
		switch {
		case !concerns(n.change, w.class):
			return nil
		case w.host:
			return &n.hosts
		}
		return &n.everyone
	})
}

func (k *kitchenFeed) send(u update) { k.each(func(*watcher) *update { return &u }) }

// each gives every watcher its update. One whose buffer is full is dropped.
func (k *kitchenFeed) each(pick func(*watcher) *update) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for w := range k.watchers {
		u := pick(w)
		if u == nil {
			continue
		}
		select {
		case w.updates <- *u:
		default:
			delete(k.watchers, w)
			close(w.behind)
		}
	}
}
