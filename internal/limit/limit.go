// Package limit keeps one caller from taking what others need: how often somebody may
// ask, how much they may have under way, and who is next where work has to queue.
//
// Callers are keys, whatever these mean. Time is given, never read, and what is kept is
// bounded whoever calls.
package limit

import (
	"math"
	"sync"
	"time"

	"github.com/hashicorp/golang-lru/v2/simplelru"
	"golang.org/x/time/rate"
)

// Rates holds back keys that ask too often, each by a token bucket of its own. A nil
// *Rates holds back nobody. It is safe for concurrent use.
type Rates struct {
	each  rate.Limit
	burst int

	mu sync.Mutex
	// buckets forgets the key that has been quiet longest: its bucket is the likeliest to be full again.
	buckets *simplelru.LRU[string, *rate.Limiter]
}

// NewRates lets each key ask so often in a second on the long run, and burst times at
// once; it remembers the most recent keys. Nil, without limit, when perSecond is not positive.
func NewRates(perSecond float64, burst, remembered int) *Rates {
	if perSecond <= 0 {
		return nil
	}
	buckets, err := simplelru.NewLRU[string, *rate.Limiter](max(1, remembered), nil)
	if err != nil {
		panic(err) // only for a size that is not positive
	}
	return &Rates{each: rate.Limit(perSecond), burst: max(1, burst), buckets: buckets}
}

func (r *Rates) bucket(key string) *rate.Limiter {
	b, ok := r.buckets.Get(key)
	if !ok {
		b = rate.NewLimiter(r.each, r.burst)
		r.buckets.Add(key, b)
	}
	return b
}

// Take lets a key ask once now. Otherwise it takes nothing and says how long to wait.
func (r *Rates) Take(key string, now time.Time) (wait time.Duration) {
	if r == nil {
		return 0
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	b := r.bucket(key)
	if b.AllowN(now, 1) {
		return 0
	}
	return r.missing(b, now)
}

// Wait says how long a key has to wait before it may ask, and takes nothing.
func (r *Rates) Wait(key string, now time.Time) time.Duration {
	if r == nil {
		return 0
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	b, ok := r.buckets.Get(key)
	if !ok {
		return 0
	}
	return r.missing(b, now)
}

// roundingError is how many milliseconds the arithmetic of buckets may be off.
const roundingError = 1e-5

// missing is how long it takes until a bucket holds one again, rounded up to a millisecond.
func (r *Rates) missing(b *rate.Limiter, now time.Time) time.Duration {
	if left := b.TokensAt(now); left < 1 {
		return max(1, time.Duration(math.Ceil((1-left)/float64(r.each)*1000-roundingError))) * time.Millisecond
	}
	return 0
}

// Places bounds what each key has under way. A nil *Places bounds nothing. It is safe for
// concurrent use, and remembers only keys that have something under way.
type Places struct {
	most int

	mu  sync.Mutex
	now map[string]int
}

// NewPlaces gives each key so many places; nil, without limit, when that is not positive.
func NewPlaces(most int) *Places {
	if most <= 0 {
		return nil
	}
	return &Places{most: most, now: map[string]int{}}
}

// Enter takes a place for a key, unless it has none left. Leave gives it back.
func (p *Places) Enter(key string) bool {
	if p == nil {
		return true
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.now[key] >= p.most {
		return false
	}
	p.now[key]++
	return true
}

// Leave gives back a place that Enter took.
func (p *Places) Leave(key string) {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.now[key]--; p.now[key] <= 0 {
		delete(p.now, key)
	}
}

// Most is how many places a key has.
func (p *Places) Most() int { return p.most }
