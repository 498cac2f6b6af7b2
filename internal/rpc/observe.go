package rpc

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"regexp"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"stillroom/internal/access"
)

// observation is what becomes known of a call on its way, for the line in the log.
// Interceptors of one call fill it in one after another.
type observation struct {
	caller access.Caller
	// request is the call's first message; only its kitchen is ever logged.
	request proto.Message
	// cause is what went wrong before it became a status.
	cause error
}

type observationKey struct{}

// observed is the observation of the call, or one that nobody looks at.
func observed(ctx context.Context) *observation {
	if o, ok := ctx.Value(observationKey{}).(*observation); ok {
		return o
	}
	return &observation{}
}

// observeUnary logs a call when it ends; see report.
func (b *backend) observeUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	o, begun := &observation{}, time.Now()
	o.request, _ = req.(proto.Message)
	ctx = context.WithValue(ctx, observationKey{}, o)
	resp, err := handler(ctx, req)
	b.report(ctx, info.FullMethod, o, time.Since(begun), err)
	return resp, err
}

// observeStream does for streams what observeUnary does for calls.
func (b *backend) observeStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	o, begun := &observation{}, time.Now()
	ctx := context.WithValue(ss.Context(), observationKey{}, o)
	err := handler(srv, &observedStream{ServerStream: ss, ctx: ctx, seen: o})
	b.report(ctx, info.FullMethod, o, time.Since(begun), err)
	return err
}

type observedStream struct {
	grpc.ServerStream
	ctx  context.Context
	seen *observation
}

func (s *observedStream) Context() context.Context { return s.ctx }

func (s *observedStream) RecvMsg(m any) error {
	err := s.ServerStream.RecvMsg(m)
	if err == nil && s.seen.request == nil {
		s.seen.request, _ = m.(proto.Message)
	}
	return err
}

// kitchenID is what a kitchen's id may look like; a request may name anything.
var kitchenID = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$`)

// kitchen is the kitchen a call is about: the caller's, or the one that an operator
// names. Empty when there is none.
func (o *observation) kitchen() string {
	if o.caller.Kitchen != "" || o.caller.Role != access.Operator || o.request == nil {
		return o.caller.Kitchen
	}
	if k := segmentAfter(resourceOf(o.request), "kitchens"); kitchenID.MatchString(k) {
		return k
	}
	return ""
}

// report logs a call: one line when it failed, and at debug one for every call. A line
// holds nothing that a person wrote: neither the request, nor the message of the
// status, which may quote it. What nobody foresaw comes with its cause, in which
// quoted values are blotted out.
func (b *backend) report(ctx context.Context, method string, o *observation, took time.Duration, err error) {
	code := status.Code(err)
	level, line := slog.LevelDebug, "call"
	switch code {
	case codes.OK:
	case codes.Internal, codes.Unknown, codes.DataLoss:
		level, line = slog.LevelError, "call failed"
	case codes.Unavailable:
		level, line = slog.LevelWarn, "call failed"
	default:
		level, line = slog.LevelInfo, "call failed"
	}
	if !b.log.Enabled(ctx, level) {
		return
	}
	attrs := []slog.Attr{
		slog.String("method", strings.TrimPrefix(method, "/")), slog.String("code", code.String()),
		slog.Duration("duration", took),
	}
	if o.caller.Role != 0 {
		attrs = append(attrs, slog.String("role", o.caller.Role.String()))
	}
	if k := o.kitchen(); k != "" {
		attrs = append(attrs, slog.String("kitchen", k))
	}
	if level >= slog.LevelWarn && o.cause != nil {
		attrs = append(attrs, slog.String("cause", explainCause(o.cause)))
	}
	b.log.LogAttrs(ctx, level, line, attrs...)
}

// quoted finds the values in a message: ours quote them by %q, Postgres and the
// standard library in double quotes. A single quote counts only where a word may
// begin. What is opened and never closed goes to the end.
var quoted = regexp.MustCompile(`(?s)"(?:[^"\\]|\\.)*(?:"|$)|“[^”]*(?:”|$)|` + "`[^`]*(?:`|$)" + `|(^|[\s(=:,])'[^']*(?:'|$)`)

// blot takes quoted values out of a message.
func blot(message string) string { return quoted.ReplaceAllString(message, `${1}"…"`) }

// sqlState is a database error that says which of its kinds it is.
type sqlState interface{ SQLState() string }

// explainCause gives an error and what it came from, without quoted values.
func explainCause(err error) string {
	text := blot(err.Error())
	if cause := errors.Unwrap(err); cause != nil && !strings.Contains(err.Error(), cause.Error()) {
		text += ": " + blot(cause.Error())
	}
	var state sqlState
	if errors.As(err, &state) && !strings.Contains(text, state.SQLState()) {
		text += fmt.Sprintf(" (SQLSTATE %s)", state.SQLState())
	}
	return text
}
