package main

import (
	"fmt"
	"time"

	"github.com/spf13/pflag"

	"stillroom/internal/rpc"
)

// limitFlags adds the flags for what callers may ask of the server.
func limitFlags(flags *pflag.FlagSet, l *rpc.Limits) {
	*l = rpc.DefaultLimits()
	flags.DurationVar(&l.CallTime, "call-time", l.CallTime, "longest a call may take; 0 for no end")
	flags.DurationVar(&l.SearchTime, "search-time", l.SearchTime, "longest a search for a plan may take, its waiting included; 0 for no end")
	flags.DurationVar(&l.WatchTime, "watch-time", l.WatchTime, "longest a watch may last before it has to be resumed; 0 for no end")
	flags.IntVar(&l.RequestBytes, "request-bytes", l.RequestBytes, "largest request")
	flags.Float64Var(&l.CallerRate, "caller-rate", l.CallerRate, "calls a second that one caller may make on the long run; 0 for no limit")
	flags.IntVar(&l.CallerBurst, "caller-burst", l.CallerBurst, "calls that one caller may make at once")
	flags.IntVar(&l.CallerCalls, "caller-calls", l.CallerCalls, "calls that one caller may have under way; 0 for no limit")
	flags.IntVar(&l.CallerStreams, "caller-streams", l.CallerStreams, "watches and searches that one caller may have under way; 0 for no limit")
	flags.IntVar(&l.PeerFailures, "peer-failures", l.PeerFailures, "wrong tokens a minute that one address may show; 0 for no limit")
	flags.IntVar(&l.Searches, "searches", l.Searches, "searches for plans that run at a time; 0 for one a processor")
	flags.IntVar(&l.SearchesWaiting, "searches-waiting", l.SearchesWaiting, "searches that wait, at most half of them of one kitchen; 0 for no limit")
	flags.IntVar(&l.LongCalls, "long-calls", l.LongCalls, "imports, shopping lists and groupings that run at a time; 0 for two a processor")
	flags.IntVar(&l.LongCallsWaiting, "long-calls-waiting", l.LongCallsWaiting, "of these, how many wait, at most half of them of one kitchen; 0 for no limit")
}

// leastRequest lets everything but imports through.
const leastRequest = 64 << 10

// checkLimits finds limits that would let nobody do anything.
func checkLimits(l rpc.Limits) error {
	for _, d := range []struct {
		flag string
		time time.Duration
	}{{"--call-time", l.CallTime}, {"--search-time", l.SearchTime}, {"--watch-time", l.WatchTime}} {
		if d.time < 0 || d.time > 0 && d.time < time.Second {
			return fmt.Errorf("%s %s is too short to get anything done; give a second or more, or 0 for no end", d.flag, d.time)
		}
	}
	if l.RequestBytes < leastRequest {
		return fmt.Errorf("--request-bytes %d is too small for what people type; give at least %d", l.RequestBytes, leastRequest)
	}
	if l.CallerRate < 0 || l.CallerRate > 0 && l.CallerBurst < 1 {
		return fmt.Errorf("--caller-rate %g with --caller-burst %d lets nobody in; give a positive rate and at least one call at once, or --caller-rate 0 for no limit", l.CallerRate, l.CallerBurst)
	}
	for _, n := range []struct {
		flag  string
		value int
	}{
		{"--caller-calls", l.CallerCalls}, {"--caller-streams", l.CallerStreams}, {"--peer-failures", l.PeerFailures},
		{"--searches", l.Searches}, {"--searches-waiting", l.SearchesWaiting}, {"--long-calls", l.LongCalls}, {"--long-calls-waiting", l.LongCallsWaiting},
	} {
		if n.value < 0 {
			return fmt.Errorf("%s %d is negative; give 0 or more", n.flag, n.value)
		}
	}
	return nil
}
