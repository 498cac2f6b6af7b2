package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"

	"stillroom/internal/web"
)

// webVariable stands in for the address by which people reach the pages.
const webVariable = "STILLROOM_WEB_ADDRESS"

// defaultPages is where serve shows its pages.
const defaultPages = "127.0.0.1:7418"

// insideBuffer is how much may be under way between the pages and the services, in bytes.
const insideBuffer = 1 << 20

// inside is how the pages reach the services of their own program: through memory, so
// no token crosses a wire, whatever callers from outside must show.
type inside struct{ *bufconn.Listener }

func newInside() inside { return inside{bufconn.Listen(insideBuffer)} }

// insideConn marks a connection that came through memory.
type insideConn struct{ net.Conn }

func (l inside) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	return insideConn{c}, nil
}

// dial is a connection to the services of this program.
func (l inside) dial() (*grpc.ClientConn, error) {
	return grpc.NewClient("passthrough:///inside",
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return l.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxReply)))
}

// besidesInside asks for TLS of everybody but the program's own pages.
type besidesInside struct {
	credentials.TransportCredentials
}

func (c besidesInside) ServerHandshake(conn net.Conn) (net.Conn, credentials.AuthInfo, error) {
	if own, ok := conn.(insideConn); ok {
		return insecure.NewCredentials().ServerHandshake(own)
	}
	return c.TransportCredentials.ServerHandshake(conn)
}

// pagesServer shows the pages.
type pagesServer struct {
	// address is where people find them, a whole URL.
	address string
	http    *http.Server
	conn    *grpc.ClientConn
}

// pagesOptions say where pages are shown and how.
type pagesOptions struct {
	listen  string
	public  string
	open    bool
	tls     *tls.Config
	log     *slog.Logger
	now     func() time.Time
	failed  chan<- error
	through inside
	// signIns are the identity providers by which visitors may sign in; nil for none.
	signIns web.SignIns
}

// startPages shows the pages on an address until stop.
func startPages(o pagesOptions) (*pagesServer, error) {
	public, err := publicAddress(o.public)
	if err != nil {
		return nil, err
	}
	conn, err := o.through.dial()
	if err != nil {
		return nil, err
	}
	pages, err := web.New(web.Options{Services: conn, Log: o.log, Now: o.now, Open: o.open, SignIns: o.signIns, Public: public})
	if err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	listener, err := net.Listen("tcp", o.listen)
	if err != nil {
		_ = conn.Close()
		return nil, fmt.Errorf("showing the pages on %s: %w; choose another address with --web, or none with --web \"\"", o.listen, err)
	}
	s := &pagesServer{address: "http://" + listener.Addr().String(), conn: conn, http: &http.Server{
		Handler: pages, TLSConfig: o.tls, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute,
		ErrorLog: slog.NewLogLogger(slog.DiscardHandler, slog.LevelDebug), // broken connections of browsers
	}}
	s.http.RegisterOnShutdown(pages.EndStreams)
	serve := func() error { return s.http.Serve(listener) }
	if o.tls != nil {
		s.address = "https://" + listener.Addr().String()
		serve = func() error { return s.http.ServeTLS(listener, "", "") }
	}
	if public != nil {
		s.address = public.String()
	}
	go func() {
		if err := serve(); !errors.Is(err, http.ErrServerClosed) {
			o.failed <- err
		}
	}()
	return s, nil
}

// publicAddress reads the address by which people reach the pages; nil when none is given.
func publicAddress(text string) (*url.URL, error) {
	if text == "" {
		return nil, nil //nolint:nilnil // there is none
	}
	u, err := url.Parse(text)
	if err != nil || (u.Scheme != "https" && u.Scheme != "http") || u.Host == "" || u.User != nil || u.RawQuery != "" || u.Fragment != "" || (u.Path != "" && u.Path != "/") {
		return nil, fmt.Errorf("--web-address %q is no address of pages: write it as https://stillroom.example", text)
	}
	u.Path = ""
	return u, nil
}

// stop ends live parts, lets what is being sent finish, and leaves the services.
func (s *pagesServer) stop() error {
	ctx, cancel := context.WithTimeout(context.Background(), stopWithin)
	defer cancel()
	err := s.http.Shutdown(ctx)
	if errors.Is(err, context.DeadlineExceeded) {
		err = s.http.Close()
	}
	return errors.Join(err, s.conn.Close())
}
