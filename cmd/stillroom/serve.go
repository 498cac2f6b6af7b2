package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"stillroom/internal/localpg"
	"stillroom/internal/rpc"
	"stillroom/internal/store"
	"stillroom/internal/telemetry"
)

// stopWithin is how long calls may take to finish once the server is asked to stop.
const stopWithin = 10 * time.Second

// sendWithin is how long a collector may take to receive the last traces and metrics.
const sendWithin = 2 * time.Second

// databaseName is the database inside a private Postgres.
const databaseName = "stillroom"

func newServe(s *session) *cobra.Command {
	var o serverOptions
	var level slog.Level
	var logLevel string
	cmd := &cobra.Command{
		Use:     "serve",
		Short:   "Run the server, with a Postgres of its own when it is given none",
		GroupID: groupRun,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := checkLimits(o.limits); err != nil {
				return err
			}
			if err := level.UnmarshalText([]byte(logLevel)); err != nil {
				return fmt.Errorf("--log-level %q is none of debug, info, warn and error", logLevel)
			}
			o.log, o.notice = slog.New(telemetry.Traced(slog.NewTextHandler(s.errOut, &slog.HandlerOptions{Level: level}))), s.notice
			slog.SetDefault(o.log)
			srv, err := startServer(cmd.Context(), o)
			if err != nil {
				return err
			}
			fmt.Fprintf(s.out, "stillroom serves on %s (%s; %s); stop it with Ctrl-C\n", srv.address, srv.where, srv.door)
			if srv.pages != nil {
				fmt.Fprintf(s.out, "its pages are on %s\n", srv.pages.address)
			}
			if srv.admin != nil {
				fmt.Fprintf(s.out, "metrics, health and profiles are on http://%s\n", srv.admin.address)
			}
			err = srv.wait(cmd.Context())
			return errors.Join(err, srv.stop())
		},
	}
	cmd.Flags().BoolVar(&o.open, "open", false, "ask nobody for a token; on a loopback address only")
	cmd.Flags().StringVar(&o.identity, "identity", "", "YAML file of the kitchens' identity providers (OpenID Connect); deploy/README.md shows one")
	limitFlags(cmd.Flags(), &o.limits)
	cmd.Flags().StringVar(&o.tlsCert, "tls-cert", "", "PEM file of the certificate to serve TLS with; read again when it changes")
	cmd.Flags().StringVar(&o.tlsKey, "tls-key", "", "PEM file of its key")
	cmd.Flags().StringVar(&o.tlsClientCA, "tls-client-ca", "", "ask clients for certificates of the authorities in this PEM file")
	cmd.Flags().BoolVar(&o.plaintext, "plaintext", false, "serve unencrypted on an address that others can reach")
	cmd.MarkFlagsRequiredTogether("tls-cert", "tls-key")
	cmd.Flags().StringVar(&o.web, "web", defaultPages, "address to show the pages on, host:port; port 0 takes a free one; none when empty")
	cmd.Flags().StringVar(&o.webAddress, "web-address", os.Getenv(webVariable), "address by which people reach the pages where another program passes requests on, such as https://stillroom.example (or $"+webVariable+")")
	cmd.Flags().StringVar(&o.admin, "admin", "", "address for /metrics, /healthz, /readyz, /version and /debug/pprof, such as 127.0.0.1:7420; off when empty")
	cmd.Flags().BoolVar(&o.adminPlaintext, "admin-plaintext", false, "let --admin be an address that others can reach, without a token and unencrypted")
	cmd.Flags().StringVar(&logLevel, "log-level", "info", "least of debug, info, warn and error to log; at debug there is a line for every call")
	cmd.Flags().StringVar(&o.listen, "listen", defaultServer, "address to listen on, host:port; port 0 takes a free one")
	cmd.Flags().StringVar(&o.database, "database", os.Getenv(localpg.URLVariable), "Postgres to use, postgres://user@host:port/name (or $"+localpg.URLVariable+")")
	cmd.Flags().StringVar(&o.data, "data", os.Getenv(localpg.FolderVariable), "folder of the private Postgres (or $"+localpg.FolderVariable+")")
	return cmd
}

// notice tells people what takes long.
func (s *session) notice(line string) { fmt.Fprintln(s.errOut, "stillroom:", line) }

type serverOptions struct {
	listen   string
	database string
	data     string
	// disposable throws the private Postgres away at the end.
	disposable bool
	log        *slog.Logger
	notice     func(string)
	now        func() time.Time
	// open takes every caller for the operator; else there are tokens.
	open bool
	// identity is the file of identity providers; empty for none.
	identity string
	// limits bound what callers may ask; none when left zero.
	limits rpc.Limits
	// TLS, from files; plaintext allows an address that others can reach to go without.
	tlsCert, tlsKey, tlsClientCA string
	plaintext                    bool
	// web is where the pages are shown, empty for nowhere; webAddress how people reach them when that differs.
	web, webAddress string
	// admin is where those who look after the server listen in; adminPlaintext allows one that others can reach.
	admin          string
	adminPlaintext bool
}

// transport checks the addresses against what protects them. Nil is plain text.
func (o serverOptions) transport() (*tls.Config, error) {
	if o.tlsCert != "" {
		return serverTLS(o.tlsCert, o.tlsKey, o.tlsClientCA)
	}
	if o.tlsClientCA != "" {
		return nil, errors.New("--tls-client-ca goes with --tls-cert and --tls-key")
	}
	if !onLoopback(o.listen) && !o.plaintext {
		return nil, fmt.Errorf("--listen %s can be reached from other machines: give --tls-cert and --tls-key, or --plaintext to serve unencrypted", o.listen)
	}
	if o.web != "" && !onLoopback(o.web) && !o.plaintext {
		return nil, fmt.Errorf("--web %s can be reached from other machines: give --tls-cert and --tls-key, or --plaintext to show the pages unencrypted", o.web)
	}
	return nil, nil //nolint:nilnil // plain text
}

// server is a running server with what it stands on.
type server struct {
	address string
	// where says which database it uses, for people.
	where string
	// door says who is let in, for people.
	door     string
	grpc     *rpc.Server
	store    *store.Store
	admin    *adminServer
	pages    *pagesServer
	seen     *telemetry.Telemetry
	postgres *localpg.Server
	failed   chan error
}

// startServer opens the database, private or given, and serves until stop.
func startServer(ctx context.Context, o serverOptions) (_ *server, err error) {
	srv := &server{failed: make(chan error, 3)}
	defer func() {
		if err != nil {
			err = errors.Join(err, srv.stop())
		}
	}()
	transport, err := o.transport()
	if err != nil {
		return nil, err
	}
	for _, address := range []string{o.listen, o.web} {
		if o.open && address != "" && !onLoopback(address) {
			return nil, fmt.Errorf("--open goes with a loopback address only; %s can be reached from other machines", address)
		}
	}
	providers, err := o.identityProviders()
	if err != nil {
		return nil, err
	}
	if srv.seen, err = telemetry.Start(ctx); err != nil {
		return nil, err
	}
	url := o.database
	srv.where = "database given"
	if url == "" {
		srv.postgres, err = localpg.Start(ctx, localpg.Options{Folder: o.data, Disposable: o.disposable, Notice: o.notice})
		if err != nil {
			return nil, err
		}
		if url, err = srv.postgres.Database(ctx, databaseName); err != nil {
			return nil, err
		}
		srv.where = "private Postgres in " + srv.postgres.Folder()
	}
	if srv.store, err = store.Open(ctx, url, store.WithTracer(srv.seen.Statements())); err != nil {
		return nil, err
	}
	if err := srv.seen.WatchPool(srv.store.Pool()); err != nil {
		return nil, err
	}
	options := rpc.Options{
		Store: srv.store, Log: o.log, Now: o.now, Open: o.open, Limits: o.limits,
		Traces: srv.seen.Traces(), Meters: srv.seen.Meters(), Propagator: telemetry.Propagator,
	}
	if transport != nil {
		options.Transport = besidesInside{credentials.NewTLS(transport)}
	}
	if providers != nil {
		options.Identity = providers
		go providers.Warm(ctx)
	}
	if srv.door = "open to this machine"; !o.open {
		var from string
		if options.OperatorSecret, from, err = operatorSecret(o.data); err != nil {
			return nil, err
		}
		srv.door = "the operator's token is in " + from
	}
	if srv.grpc, err = rpc.NewServer(options); err != nil {
		return nil, err
	}
	if o.admin != "" {
		if srv.admin, err = startAdmin(o.admin, o.adminPlaintext, srv.seen, srv.store.Ping); err != nil {
			return nil, err
		}
	}
	listener, err := net.Listen("tcp", o.listen)
	if err != nil {
		return nil, fmt.Errorf("listening on %s: %w; choose another address with --listen", o.listen, err)
	}
	srv.address = listener.Addr().String()
	go func() { srv.failed <- srv.grpc.Serve(listener) }()
	if o.web != "" {
		through := newInside()
		go func() { srv.failed <- srv.grpc.Serve(through) }()
		pages := pagesOptions{
			listen: o.web, public: o.webAddress, open: o.open, tls: transport, log: o.log, now: o.now, failed: srv.failed, through: through,
		}
		if providers != nil && len(providers.Titles()) > 0 {
			pages.signIns = providers
		}
		srv.pages, err = startPages(pages)
		if err != nil {
			return nil, err
		}
	}
	return srv, nil
}

// wait returns when ctx ends, serving fails, or the private Postgres ends of itself.
func (s *server) wait(ctx context.Context) error {
	var ended <-chan struct{}
	if s.postgres != nil {
		ended = s.postgres.Done()
	}
	select {
	case <-ended:
		return fmt.Errorf("the private Postgres has ended; its log is in %s", s.postgres.Folder())
	case <-ctx.Done():
		return nil
	case err := <-s.failed:
		if errors.Is(err, grpc.ErrServerStopped) {
			return nil
		}
		return err
	}
}

// stop says not serving, lets running calls finish within stopWithin, and closes
// the database below. What was measured on the way is sent last.
func (s *server) stop() error {
	if s.admin != nil {
		s.admin.stopping.Store(true)
	}
	var errs []error
	if s.pages != nil {
		errs = append(errs, s.pages.stop())
	}
	if s.grpc != nil {
		s.grpc.Health.SetServingStatus("", healthpb.HealthCheckResponse_NOT_SERVING)
		s.grpc.Health.Shutdown()
		s.grpc.EndWatches()
		done := make(chan struct{})
		go func() { s.grpc.GracefulStop(); close(done) }()
		select {
		case <-done:
		case <-time.After(stopWithin):
			s.grpc.Stop()
			<-done
		}
	}
	if s.admin != nil {
		errs = append(errs, s.admin.stop())
	}
	if s.seen != nil {
		ctx, cancel := context.WithTimeout(context.Background(), sendWithin)
		defer cancel()
		if err := s.seen.Close(ctx); err != nil {
			slog.Warn("the last traces or metrics were not sent", "error", err) // no reason to fail
		}
	}
	if s.store != nil {
		s.store.Close()
	}
	if s.postgres != nil {
		errs = append(errs, s.postgres.Stop())
	}
	return errors.Join(errs...)
}
