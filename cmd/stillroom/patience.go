package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
)

// tries bounds how often a call that a limit refused is made again, as retryPolicy does
// for a server that is away.
const tries = 3

// longPause is how long a pause may be before people are told of it.
const longPause = 2 * time.Second

// patience makes calls again that a limit of the server refused, after the time that the
// server said. A refused call has done nothing.
type patience struct {
	notice func(string)
	// pause waits; it ends with the context.
	pause func(context.Context, time.Duration) error
}

func (s *session) patience() patience { return patience{notice: s.notice, pause: pause} }

func pause(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}

// advised is how long the server said to wait; false when it did not say, so that
// calling again would not help.
func advised(err error) (time.Duration, bool) {
	st, ok := status.FromError(err)
	if !ok || st.Code() != codes.ResourceExhausted {
		return 0, false
	}
	for _, d := range st.Details() {
		if retry, ok := d.(*errdetails.RetryInfo); ok {
			return retry.GetRetryDelay().AsDuration(), true
		}
	}
	return 0, false
}

// again says whether to call again, after waiting. It does not wait for what would come
// too late: the refusal says more than a deadline does.
func (p patience) again(ctx context.Context, tried int, err error) bool {
	wait, ok := advised(err)
	if !ok || tried >= tries {
		return false
	}
	// A little longer than advised, and each caller differently, so that those turned away together do not
	// come back together.
	wait += time.Duration(rand.Float64() * float64(wait) / 4)
	if deadline, ok := ctx.Deadline(); ok && time.Until(deadline) <= wait {
		return false
	}
	if wait >= longPause {
		p.notice(fmt.Sprintf("%s: waiting", status.Convert(err).Message()))
	}
	return p.pause(ctx, wait) == nil
}

func (p patience) unary(ctx context.Context, method string, req, reply any, conn *grpc.ClientConn, invoke grpc.UnaryInvoker, options ...grpc.CallOption) error {
	for tried := 0; ; tried++ {
		err := invoke(ctx, method, req, reply, conn, options...)
		if err == nil || !p.again(ctx, tried, err) {
			return err
		}
	}
}

func (p patience) stream(ctx context.Context, d *grpc.StreamDesc, conn *grpc.ClientConn, method string, open grpc.Streamer, options ...grpc.CallOption) (grpc.ClientStream, error) {
	stream, err := open(ctx, d, conn, method, options...)
	if err != nil || d.ClientStreams {
		return stream, err
	}
	again := func(tried int, err error) bool { return p.again(ctx, tried, err) }
	return &patientStream{ClientStream: stream, again: again, open: func() (grpc.ClientStream, error) { return open(ctx, d, conn, method, options...) }}, nil
}

// patientStream opens a stream of answers again that was refused before the first.
type patientStream struct {
	grpc.ClientStream
	// again is patience's, with the context of the caller: a stream's own ends with it.
	again   func(tried int, err error) bool
	open    func() (grpc.ClientStream, error)
	request any
	tried   int
	begun   bool
}

func (s *patientStream) SendMsg(m any) error {
	s.request = m
	return s.ClientStream.SendMsg(m)
}

func (s *patientStream) RecvMsg(m any) error {
	for {
		err := s.ClientStream.RecvMsg(m)
		if s.begun || err == nil || !s.again(s.tried, err) {
			s.begun = s.begun || err == nil
			return err
		}
		s.tried++
		next, err := s.open()
		if err != nil {
			return err
		}
		s.ClientStream = next
		if err := next.SendMsg(proto.Clone(s.request.(proto.Message))); err != nil {
			return err
		}
		if err := next.CloseSend(); err != nil {
			return err
		}
	}
}
