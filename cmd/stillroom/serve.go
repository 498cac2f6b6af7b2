package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"stillroom/internal/localpg"
	"stillroom/internal/rpc"
	"stillroom/internal/store"
)

// stopWithin is how long calls may take to finish once the server is asked to stop.
const stopWithin = 10 * time.Second

// databaseName is the database inside a private Postgres.
const databaseName = "stillroom"

func newServe(s *session) *cobra.Command {
	var listen, database, data string
	cmd := &cobra.Command{
		Use:     "serve",
		Short:   "Run the server, with a Postgres of its own when it is given none",
		GroupID: groupRun,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			log := slog.New(slog.NewTextHandler(s.errOut, nil))
			srv, err := startServer(cmd.Context(), serverOptions{listen: listen, database: database, data: data, log: log, notice: s.notice})
			if err != nil {
				return err
			}
			fmt.Fprintf(s.out, "stillroom serves on %s (%s); stop it with Ctrl-C\n", srv.address, srv.where)
			err = srv.wait(cmd.Context())
			return errors.Join(err, srv.stop())
		},
	}
	cmd.Flags().StringVar(&listen, "listen", defaultServer, "address to listen on, host:port; port 0 takes a free one")
	cmd.Flags().StringVar(&database, "database", os.Getenv(localpg.URLVariable), "Postgres to use, postgres://user@host:port/name (or $"+localpg.URLVariable+")")
	cmd.Flags().StringVar(&data, "data", os.Getenv(localpg.FolderVariable), "folder of the private Postgres (or $"+localpg.FolderVariable+")")
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
}

// server is a running server with what it stands on.
type server struct {
	address string
	// where says which database it uses, for people.
	where    string
	grpc     *rpc.Server
	store    *store.Store
	postgres *localpg.Server
	failed   chan error
}

// startServer opens the database, private or given, and serves until stop.
func startServer(ctx context.Context, o serverOptions) (_ *server, err error) {
	srv := &server{failed: make(chan error, 1)}
	defer func() {
		if err != nil {
			err = errors.Join(err, srv.stop())
		}
	}()
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
	if srv.store, err = store.Open(ctx, url); err != nil {
		return nil, err
	}
	if srv.grpc, err = rpc.NewServer(rpc.Options{Store: srv.store, Log: o.log, Now: o.now}); err != nil {
		return nil, err
	}
	listener, err := net.Listen("tcp", o.listen)
	if err != nil {
		return nil, fmt.Errorf("listening on %s: %w; choose another address with --listen", o.listen, err)
	}
	srv.address = listener.Addr().String()
	go func() { srv.failed <- srv.grpc.Serve(listener) }()
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
// the database below.
func (s *server) stop() error {
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
	if s.store != nil {
		s.store.Close()
	}
	if s.postgres != nil {
		return s.postgres.Stop()
	}
	return nil
}
