package limit

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var noon = time.Date(2027, 8, 14, 12, 0, 0, 0, time.UTC)

// TestRates reads like what happens at the door: arithmetic by hand at 2 a second and 3 at once.
func TestRates(t *testing.T) {
	t.Parallel()
	r := NewRates(2, 3, 10)
	for range 3 {
		require.Zero(t, r.Take("ana", noon))
	}
	require.Equal(t, 500*time.Millisecond, r.Take("ana", noon), "the next is there in half a second")
	require.Equal(t, 500*time.Millisecond, r.Wait("ana", noon), "asking in vain costs nothing")
	require.Zero(t, r.Take("bo", noon), "another is not held back")
	require.Equal(t, 100*time.Millisecond, r.Take("ana", noon.Add(400*time.Millisecond)))
	require.Zero(t, r.Take("ana", noon.Add(500*time.Millisecond)))
	require.Equal(t, 500*time.Millisecond, r.Take("ana", noon.Add(500*time.Millisecond)))
	for range 3 {
		require.Zero(t, r.Take("ana", noon.Add(time.Hour)), "a full bucket, and no more than that")
	}
	require.Positive(t, r.Take("ana", noon.Add(time.Hour)))
	require.Zero(t, r.Wait("nobody yet", noon))
}

// TestNoLimits: what is not limited is nil and lets everybody through.
func TestNoLimits(t *testing.T) {
	t.Parallel()
	r, p := NewRates(0, 5, 5), NewPlaces(0)
	require.Nil(t, r)
	require.Nil(t, p)
	for range 1000 {
		require.Zero(t, r.Take("ana", noon))
		require.Zero(t, r.Wait("ana", noon))
		require.True(t, p.Enter("ana"))
	}
	p.Leave("ana")
}

// TestRatesForgetTheQuiet: memory is bounded, and it is the quiet who are forgotten.
func TestRatesForgetTheQuiet(t *testing.T) {
	t.Parallel()
	r := NewRates(1, 1, 100)
	require.Zero(t, r.Take("busy", noon))
	for i := range 10_000 {
		require.Zero(t, r.Take(fmt.Sprint("passer-by ", i), noon))
		require.Positive(t, r.Take("busy", noon))
	}
	require.Equal(t, 100, r.buckets.Len())
}

// TestRatesHoldOverAnyTime: whenever calls come, a key gets at most its burst and so many a
// second since the first, and whoever waits as told gets in.
func TestRatesHoldOverAnyTime(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		each := rapid.Float64Range(0.1, 1000).Draw(t, "each")
		burst := rapid.IntRange(1, 50).Draw(t, "burst")
		r, now, taken := NewRates(each, burst, 4), noon, 0
		for range rapid.IntRange(1, 200).Draw(t, "calls") {
			now = now.Add(time.Duration(rapid.Int64Range(0, int64(2*time.Second)).Draw(t, "gap")))
			wait := r.Take("ana", now)
			if wait == 0 {
				taken++
			} else if rapid.Bool().Draw(t, "waits") {
				now = now.Add(wait)
				require.Zero(t, r.Take("ana", now))
				taken++
			}
		}
		require.LessOrEqual(t, float64(taken), float64(burst)+each*now.Sub(noon).Seconds()+1e-3)
	})
}

func TestPlaces(t *testing.T) {
	t.Parallel()
	p := NewPlaces(2)
	require.Equal(t, 2, p.Most())
	require.True(t, p.Enter("ana"))
	require.True(t, p.Enter("ana"))
	require.False(t, p.Enter("ana"))
	require.True(t, p.Enter("bo"), "another is not held back")
	p.Leave("ana")
	require.True(t, p.Enter("ana"))
	p.Leave("ana")
	p.Leave("ana")
	p.Leave("bo")
	require.Empty(t, p.now, "who has nothing under way is not remembered")
}
