package rpc

import (
	"context"
	"errors"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// internalMessage is all a caller learns of an error that nobody foresaw.
const internalMessage = "something went wrong on the server; it has been logged"

// errorDomain marks our ErrorInfo details (AIP-193).
const errorDomain = "stillroom"

// codeOf says which gRPC code a kind of fault becomes, and the reason in ErrorInfo.
// Litmus test of grpc/codes: UNAVAILABLE retries the call, ABORTED retries the
// transaction, FAILED_PRECONDITION fixes the world first.
var codeOf = map[fault.Kind]struct {
	code   codes.Code
	reason string
}{
	fault.Internal:        {codes.Internal, "INTERNAL"},
	fault.Invalid:         {codes.InvalidArgument, "INVALID_FIELDS"},
	fault.NotFound:        {codes.NotFound, "NO_SUCH_NAME"},
	fault.AlreadyExists:   {codes.AlreadyExists, "TAKEN"},
	fault.Precondition:    {codes.FailedPrecondition, "NOT_IN_THIS_STATE"},
	fault.Conflict:        {codes.Aborted, "LOST_RACE"},
	fault.Exhausted:       {codes.ResourceExhausted, "LIMIT_REACHED"},
	fault.Unavailable:     {codes.Unavailable, "DATABASE_AWAY"},
	fault.Denied:          {codes.PermissionDenied, "NOT_ALLOWED"},
	fault.Unauthenticated: {codes.Unauthenticated, "WHO_ARE_YOU"},
}

// toStatus translates an error to the status a caller sees. Faults keep their
// message, their violations (BadRequest) and their retry advice (RetryInfo);
// statuses pass; everything else is INTERNAL and keeps its text to itself.
func toStatus(err error) *status.Status {
	var f *fault.Error
	if !errors.As(err, &f) {
		if st, ok := status.FromError(err); ok {
			return st
		}
		if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
			return status.FromContextError(err)
		}
		return status.New(codes.Internal, internalMessage)
	}
	known, ok := codeOf[f.Kind]
	if !ok || f.Kind == fault.Internal {
		return status.New(codes.Internal, internalMessage)
	}
	st := status.New(known.code, f.Error())
	reason := known.reason
	if f.Reason != "" {
		reason = f.Reason
	}
	details := []protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: reason, Domain: errorDomain}}
	if len(f.Violations) > 0 {
		bad := &errdetails.BadRequest{}
		for _, v := range f.Violations {
			bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{
				Field: v.Field, Description: describe(v), Reason: known.reason,
			})
		}
		details = append(details, bad)
	}
	if f.RetryAfter > 0 {
		details = append(details, &errdetails.RetryInfo{RetryDelay: durationpb.New(f.RetryAfter)})
	}
	with, err := st.WithDetails(details...)
	if err != nil {
		return st
	}
	return with
}

// describe gives a violation without its field, which BadRequest carries apart.
func describe(v fault.Violation) string {
	s := v.Reason
	if v.Value != "" {
		s = `"` + v.Value + `" ` + s
	}
	if v.WayOut != "" {
		s += "; " + v.WayOut
	}
	return s
}

// measured turns an error of the measure room, which knows no faults, into one.
func measured(err error) error {
	var m *measure.Error
	if !errors.As(err, &m) {
		return err
	}
	return fault.Field(m.Field, m.Value, m.Reason, m.WayOut)
}

// prefixed puts a path before the field names of a fault.
func prefixed(prefix string, err error) error {
	if err == nil {
		return nil
	}
	var c fault.Collector
	c.AddErr(prefix, err)
	return c.Err()
}
