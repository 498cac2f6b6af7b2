package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
)

// newHealth asks what a supervisor wants to know: the exit status is 0 when the server serves.
func newHealth(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "health", Short: "Say whether the server serves; the exit status tells a script", GroupID: groupRun, Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := s.dial()
			if err != nil {
				return err
			}
			ctx, cancel := context.WithTimeout(cmd.Context(), s.timeout)
			defer cancel()
			reply, err := healthpb.NewHealthClient(conn).Check(ctx, &healthpb.HealthCheckRequest{})
			if err != nil {
				return err
			}
			if reply.GetStatus() != healthpb.HealthCheckResponse_SERVING {
				return fmt.Errorf("the server at %s answers %s", s.server, reply.GetStatus())
			}
			return s.show(reply, func(out io.Writer) { fmt.Fprintln(out, "serving") })
		},
	}
}
