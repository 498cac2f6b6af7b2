package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/pprof"
	"sync/atomic"
	"time"

	"stillroom/internal/telemetry"
)

// readyWithin is how long the database may take to answer before the server counts as not ready.
const readyWithin = 2 * time.Second

// adminServer is a listener apart for those who look after the server. It asks nobody
// for a token, so it is off unless asked for and on loopback unless allowed by name.
type adminServer struct {
	address  string
	http     *http.Server
	stopping atomic.Bool
}

// startAdmin listens on an address. Ready asks the database whether it answers.
func startAdmin(address string, plaintext bool, t *telemetry.Telemetry, ready func(context.Context) error) (*adminServer, error) {
	if !onLoopback(address) && !plaintext {
		return nil, fmt.Errorf("--admin %s can be reached from other machines, without a token and unencrypted: give a loopback address, or --admin-plaintext when only those who look after the server can reach it", address)
	}
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("listening on %s: %w; choose another address with --admin", address, err)
	}
	a := &adminServer{address: listener.Addr().String()}
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", t.Metrics())
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { answer(w, http.StatusOK, "alive") })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, r *http.Request) {
		ctx, cancel := context.WithTimeout(r.Context(), readyWithin)
		defer cancel()
		switch {
		case a.stopping.Load():
			answer(w, http.StatusServiceUnavailable, "stopping")
		case ready(ctx) != nil:
			answer(w, http.StatusServiceUnavailable, "the database does not answer")
		default:
			answer(w, http.StatusOK, "ready")
		}
	})
	mux.HandleFunc("GET /version", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(telemetry.Build())
	})
	mux.HandleFunc("/debug/pprof/", ownMachine(pprof.Index))
	mux.HandleFunc("/debug/pprof/profile", ownMachine(pprof.Profile))
	mux.HandleFunc("/debug/pprof/symbol", ownMachine(pprof.Symbol))
	mux.HandleFunc("/debug/pprof/trace", ownMachine(pprof.Trace))
	a.http = &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second}
	go func() { _ = a.http.Serve(listener) }()
	return a, nil
}

func answer(w http.ResponseWriter, code int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(code)
	_, _ = fmt.Fprintln(w, text)
}

// ownMachine serves callers on this machine only: a profile can show what people wrote,
// and taking one costs processor time. A name other than the machine's own in the
// request means that a page in a browser was led here.
func ownMachine(h http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if !onLoopback(r.RemoteAddr) || !onLoopback(withPort(r.Host)) {
			answer(w, http.StatusForbidden, "profiles are given to this machine only; forward a port from it")
			return
		}
		h(w, r)
	}
}

// withPort is an address as onLoopback reads it; a Host header leaves out port 80.
func withPort(host string) string {
	if _, _, err := net.SplitHostPort(host); err != nil {
		return net.JoinHostPort(host, "80")
	}
	return host
}

// stop ends the listener with what it is answering.
func (a *adminServer) stop() error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	err := a.http.Shutdown(ctx)
	if errors.Is(err, context.DeadlineExceeded) {
		err = a.http.Close() // somebody is taking a long profile
	}
	return err
}
