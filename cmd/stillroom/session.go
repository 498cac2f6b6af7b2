package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/google/uuid"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
)

// session is one run of the program: its streams, its common flags and its
// connection, opened by the first command that needs it.
type session struct {
	in          io.Reader
	out, errOut io.Writer

	server  string
	kitchen string
	output  string
	timeout time.Duration
	// tls, caFile and plaintext say how the server is reached; see clientTransport.
	tls, plaintext bool
	caFile         string

	conn *grpc.ClientConn
}

// maxReply bounds a reply; the largest is an exported file or a whole plan.
const maxReply = 64 << 20

// retryPolicy lets a client call again while a server or its database comes back.
// Creates carry a request_id, so calling again does nothing twice.
const retryPolicy = `{"methodConfig":[{"name":[{}],"retryPolicy":{"maxAttempts":4,"initialBackoff":"0.2s",` +
	`"maxBackoff":"2s","backoffMultiplier":2,"retryableStatusCodes":["UNAVAILABLE"]}}]}`

// dial is the connection to the server. It connects when the first call is made.
func (s *session) dial() (*grpc.ClientConn, error) {
	if s.conn != nil {
		return s.conn, nil
	}
	transport, err := s.clientTransport()
	if err != nil {
		return nil, err
	}
	options := []grpc.DialOption{
		grpc.WithTransportCredentials(transport),
		grpc.WithDefaultServiceConfig(retryPolicy),
		grpc.WithChainUnaryInterceptor(s.patience().unary),
		grpc.WithChainStreamInterceptor(s.patience().stream),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxReply)),
	}
	if secret := callerSecret(s.server); secret != "" {
		plain := transport.Info().SecurityProtocol == "insecure"
		options = append(options, grpc.WithPerRPCCredentials(bearer{secret: secret, plain: plain}))
	}
	conn, err := grpc.NewClient(s.server, options...)
	if err != nil {
		return nil, fmt.Errorf("--server %q: %w", s.server, err)
	}
	s.conn = conn
	return conn, nil
}

func (s *session) close() {
	if s.conn != nil {
		_ = s.conn.Close()
	}
}

// kitchenName is the resource name of the kitchen chosen by flag or environment.
func (s *session) kitchenName() (string, error) {
	if s.kitchen == "" {
		return "", fmt.Errorf("which kitchen? give --kitchen ID or set %s; %q lists them", kitchenVariable, "stillroom kitchen list")
	}
	return "kitchens/" + strings.TrimPrefix(s.kitchen, "kitchens/"), nil
}

// under is the name of something below the kitchen: under("classes", "jam-day",
// "stations", "bench-1"). A part that is a full name already is taken as it is.
func (s *session) under(parts ...string) (string, error) {
	if last := parts[len(parts)-1]; strings.HasPrefix(last, "kitchens/") {
		return last, nil
	}
	k, err := s.kitchenName()
	if err != nil {
		return "", err
	}
	return k + "/" + strings.Join(parts, "/"), nil
}

// newRequestID makes a retry of a create harmless.
func newRequestID() string { return uuid.NewString() }

// explain tells an error on stderr in words.
func (s *session) explain(err error) {
	st, isStatus := status.FromError(err)
	var inner interface{ GRPCStatus() *status.Status }
	if !isStatus && errors.As(err, &inner) {
		st, isStatus = inner.GRPCStatus(), true
	}
	switch {
	case !isStatus || st.Code() == codes.Unknown:
		fmt.Fprintln(s.errOut, "stillroom:", err)
	case st.Code() == codes.Unavailable && len(st.Details()) == 0:
		fmt.Fprintf(s.errOut, "stillroom: no server answers at %s; start one with %q, or name another with --server\n", s.server, "stillroom serve")
	case st.Code() == codes.DeadlineExceeded:
		fmt.Fprintf(s.errOut, "stillroom: no answer within %s; give more with --timeout\n", s.timeout)
	case st.Code() == codes.Unauthenticated:
		fmt.Fprintf(s.errOut, "stillroom: %s; commands take it from $%s\n", st.Message(), tokenVariable)
	default:
		s.explainStatus(st)
	}
}

func (s *session) explainStatus(st *status.Status) {
	for _, d := range st.Details() {
		bad, ok := d.(*errdetails.BadRequest)
		if !ok {
			continue
		}
		fmt.Fprintln(s.errOut, "stillroom: that cannot be taken:")
		for _, v := range bad.GetFieldViolations() {
			fmt.Fprintf(s.errOut, "  %s: %s\n", v.GetField(), v.GetDescription())
		}
		return
	}
	fmt.Fprintln(s.errOut, "stillroom:", st.Message())
}

// readInput reads a file, or standard input for "-".
func (s *session) readInput(path string) ([]byte, error) {
	const most = 10 << 20
	r := s.in
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		defer func() { _ = f.Close() }()
		r = f
	}
	data, err := io.ReadAll(io.LimitReader(r, most+1))
	if err == nil && len(data) > most {
		return nil, fmt.Errorf("%s is larger than 10 MB", path)
	}
	return data, err
}

// call opens the connection and makes one call within the timeout.
func call[C, R any](ctx context.Context, s *session, newClient func(grpc.ClientConnInterface) C, do func(context.Context, C) (R, error)) (R, error) {
	var none R
	conn, err := s.dial()
	if err != nil {
		return none, err
	}
	ctx, cancel := s.withTimeout(ctx)
	defer cancel()
	return do(ctx, newClient(conn))
}

// everyPage is the page size of commands that list everything.
const everyPage = 1000

// pageOf is a reply to a List call.
type pageOf interface {
	proto.Message
	GetNextPageToken() string
}

// everything lists all pages of a list as one reply.
func everything[C any, R pageOf](ctx context.Context, s *session, newClient func(grpc.ClientConnInterface) C, list func(ctx context.Context, c C, token string) (R, error)) (R, error) {
	var all R
	for token, first := "", true; ; first = false {
		page, err := call(ctx, s, newClient, func(ctx context.Context, c C) (R, error) { return list(ctx, c, token) })
		if err != nil {
			return all, err
		}
		token = page.GetNextPageToken()
		if first {
			all = page
		} else {
			proto.Merge(all, page) // appends the page's resources
		}
		if token == "" {
			m := all.ProtoReflect()
			m.Clear(m.Descriptor().Fields().ByName("next_page_token"))
			return all, nil
		}
	}
}
