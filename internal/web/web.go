package web

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"time"

	"google.golang.org/grpc"
)

// Options are what the pages need.
type Options struct {
	// Services is the way to the services. It adds no identity of its own: each call carries the visitor's token.
	Services grpc.ClientConnInterface
	// Log receives one line per failed visit; the default logger when nil.
	Log *slog.Logger
	// Now is the clock; time.Now when nil.
	Now func() time.Time
	// Open asks nobody to sign in, where the services take every caller without a token for the operator. Only
	// visitors from and to this machine are served then.
	Open bool
	// SignIns are the identity providers by which visitors may sign in; nil for none.
	SignIns SignIns
	// Public is the address by which people reach the pages, where it is not the one they ask for, such as
	// https://stillroom.example behind a proxy that ends TLS. Nil when there is no such thing.
	Public *url.URL
}

// Pages is the handler of all pages.
type Pages struct {
	Options
	mux      *http.ServeMux
	handler  http.Handler
	looks    *looks
	nudges   nudges
	searches searches
	tabs     []tab
	// ending is closed when the server stops.
	ending context.Context
	end    context.CancelFunc
}

// New makes the pages.
func New(o Options) (*Pages, error) {
	if o.Services == nil {
		return nil, errors.New("the pages need a way to the services")
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	p := &Pages{Options: o, mux: http.NewServeMux()}
	p.ending, p.end = context.WithCancel(context.Background())
	var err error
	if p.looks, err = readLooks(); err != nil {
		return nil, err
	}
	p.routes()
	guard := http.NewCrossOriginProtection()
	if o.Public != nil {
		if err := guard.AddTrustedOrigin(o.Public.Scheme + "://" + o.Public.Host); err != nil {
			return nil, err
		}
	}
	guard.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p.visit(w, r).fail(errElsewhere)
	}))
	p.handler = p.protect(guard.Handler(p.mux))
	return p, nil
}

// ServeHTTP answers one request.
func (p *Pages) ServeHTTP(w http.ResponseWriter, r *http.Request) { p.handler.ServeHTTP(w, r) }

// EndStreams ends the live parts of pages, which would otherwise keep a graceful stop
// waiting. Browsers come back by themselves.
func (p *Pages) EndStreams() { p.end() }

// policy lets a page use what comes from here and nothing else: no script and no style
// within the page, no frame around it.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; font-src 'self'; connect-src 'self'; " +
	"manifest-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

// protect sends with every answer what keeps it safe in a browser.
func (p *Pages) protect(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		// Not no-referrer: a browser without Sec-Fetch-Site then sends "Origin: null" with our own forms, which
		// cannot be told from somebody else's. No other site learns anything either way.
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=(), payment=()")
		h.Set("Cache-Control", "no-store")
		if p.secure(r) {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		if p.Open && !ownMachine(r.Host) {
			// A page elsewhere can give its own name this machine's address; who asks for us by another name
			// was led here.
			http.Error(w, "These pages ask nobody who they are, so they are for this machine only; ask for them as localhost.", http.StatusForbidden)
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, maxForm)
		next.ServeHTTP(w, r)
	})
}

// maxForm bounds what a form may send; the largest is an imported file.
const maxForm = 11 << 20

// ownMachine says whether a host, with or without a port, is this machine by a name that only it has.
func ownMachine(host string) bool {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// secure says whether what is sent to the visitor is encrypted on the way.
func (p *Pages) secure(r *http.Request) bool {
	return r.TLS != nil || (p.Public != nil && p.Public.Scheme == "https")
}

// address is what people type to reach a path of the pages.
func (p *Pages) address(r *http.Request, path string) string {
	u := url.URL{Scheme: "http", Host: r.Host, Path: path}
	if r.TLS != nil {
		u.Scheme = "https"
	}
	if p.Public != nil {
		u = *p.Public.JoinPath(path)
	}
	return u.String()
}
