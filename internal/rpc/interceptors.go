package rpc

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"stillroom/internal/fault"
)

// guardUnary turns a panic into one INTERNAL and every error into a status.
func (b *backend) guardUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (resp any, err error) {
	defer func() {
		if p := recover(); p != nil {
			resp, err = nil, b.panicked(ctx, info.FullMethod, p)
		}
	}()
	resp, err = handler(ctx, req)
	return resp, b.finish(ctx, err)
}

// guardStream does for streams what guardUnary does for calls.
func (b *backend) guardStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = b.panicked(ss.Context(), info.FullMethod, p)
		}
	}()
	return b.finish(ss.Context(), handler(srv, ss))
}

func (b *backend) panicked(ctx context.Context, method string, p any) error {
	b.log.ErrorContext(ctx, "a handler panicked", "method", method, "panic", blot(fmt.Sprint(p)), "stack", string(debug.Stack()))
	return status.Error(codes.Internal, internalMessage)
}

// finish gives the status a caller sees, and keeps the error for the log.
func (b *backend) finish(ctx context.Context, err error) error {
	if err == nil {
		return nil
	}
	observed(ctx).cause = err
	if why := whyEnded(ctx); why != nil {
		b.door.count(ctx, "time")
		return why.st.Err()
	}
	return toStatus(err).Err()
}

// validateUnary enforces the rules declared in the contract.
func (b *backend) validateUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if m, ok := req.(proto.Message); ok {
		if err := b.validate(m); err != nil {
			return nil, err
		}
	}
	return handler(ctx, req)
}

// validateStream enforces the rules on every message a client streams in.
func (b *backend) validateStream(srv any, ss grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	return handler(srv, &validatingStream{ServerStream: ss, backend: b})
}

type validatingStream struct {
	grpc.ServerStream
	backend *backend
}

func (s *validatingStream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	if pm, ok := m.(proto.Message); ok {
		return s.backend.validate(pm)
	}
	return nil
}

// validate checks a message against its declared rules. An update carries only the
// fields it changes, so the resource inside it is checked after merging (see merge).
func (b *backend) validate(m proto.Message) error {
	if err := refuseUnreadable(m); err != nil {
		return err
	}
	var options []protovalidate.ValidationOption
	if _, update := m.(interface{ GetUpdateMask() *fieldmaskpb.FieldMask }); update {
		request := m.ProtoReflect().Descriptor().FullName()
		options = append(options, protovalidate.WithFilter(protovalidate.FilterFunc(
			func(msg protoreflect.Message, _ protoreflect.Descriptor) bool {
				return msg.Descriptor().FullName() == request
			})))
	}
	if err := violations("", b.validator.Validate(m, options...)); err != nil {
		return err
	}
	var c fault.Collector
	refuseUnkeepable(&c, "", m.ProtoReflect())
	return c.Err()
}

// refuseUnkeepable finds what protobuf carries and Postgres cannot keep: texts with a NUL character, and times
// outside the years 1 to 9999 or with a wrong count of nanoseconds.
func refuseUnkeepable(c *fault.Collector, prefix string, m protoreflect.Message) {
	if moment, ok := m.Interface().(*timestamppb.Timestamp); ok && !moment.IsValid() {
		c.Add(strings.TrimSuffix(prefix, "."), fmt.Sprintf("%d s, %d ns", moment.GetSeconds(), moment.GetNanos()), "is no time",
			"give one of the years 1 to 9999, with 0 to 999,999,999 nanoseconds")
		return
	}
	check := func(path, text string) {
		if strings.ContainsRune(text, 0) {
			c.Add(path, fault.Shorten(strings.ReplaceAll(text, "\x00", "\u2400")), "holds a NUL character (shown as \u2400)", "leave it out")
		}
	}
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		path := prefix + string(f.Name())
		switch {
		case f.IsMap():
			v.Map().Range(func(k protoreflect.MapKey, v protoreflect.Value) bool {
				check(path, k.String())
				if f.MapValue().Kind() == protoreflect.StringKind {
					check(path, v.String())
				}
				return true
			})
		case f.IsList() && (f.Message() != nil || f.Kind() == protoreflect.StringKind):
			for i := range v.List().Len() {
				at := fmt.Sprintf("%s[%d]", path, i)
				if f.Message() != nil {
					refuseUnkeepable(c, at+".", v.List().Get(i).Message())
				} else {
					check(at, v.List().Get(i).String())
				}
			}
		case f.Message() != nil:
			refuseUnkeepable(c, path+".", v.Message())
		case f.Kind() == protoreflect.StringKind:
			check(path, v.String())
		}
		return true
	})
}

// patternWords says in words what the contract's patterns mean.
var patternWords = map[string]struct{ reason, wayOut string }{
	"^([a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)?$": {"is not an id", "use 1 to 63 lower-case letters, digits and hyphens, beginning and ending with a letter or digit"},
	"^[A-Z]{3}$": {"is not a currency code", `give an ISO 4217 code of three capital letters, such as "USD"`},
}

// violations turns what protovalidate found into a fault with one violation per field.
func violations(prefix string, err error) error {
	if err == nil {
		return nil
	}
	var invalid *protovalidate.ValidationError
	if !errors.As(err, &invalid) {
		return err
	}
	var c fault.Collector
	for _, v := range invalid.Violations {
		value := ""
		if v.FieldDescriptor != nil && !v.FieldDescriptor.IsList() && !v.FieldDescriptor.IsMap() &&
			v.FieldDescriptor.Message() == nil && v.FieldValue.IsValid() {
			value = v.FieldValue.String()
		}
		reason, wayOut := v.Proto.GetMessage(), ""
		if v.Proto.GetRuleId() == "string.pattern" && v.RuleValue.IsValid() {
			if known, ok := patternWords[v.RuleValue.String()]; ok {
				reason, wayOut = known.reason, known.wayOut
			}
		}
		c.Add(prefix+protovalidate.FieldPathString(v.Proto.GetField()), value, reason, wayOut)
	}
	return c.Err()
}
