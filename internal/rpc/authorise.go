package rpc

import (
	"context"
	"crypto/subtle"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/tap"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/access"
	"stillroom/internal/fault"
	"stillroom/internal/identity"
)

// ourPackage is the contract's package; methods of other services (health,
// reflection) are open to anyone.
const ourPackage = "stillroom.v1."

// rule is what the contract declares of one method.
type rule struct {
	*stillroomv1.Access
	// reads says that the method changes nothing, so that it is not recorded.
	reads bool
}

// readRules collects the declarations of every method of the registered services.
// A method of ours without one is an error: the server must not start.
func readRules(services map[string]grpc.ServiceInfo) (map[string]rule, error) {
	rules := map[string]rule{}
	var undeclared []string
	for service, info := range services {
		if !strings.HasPrefix(service, ourPackage) {
			continue
		}
		d, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(service))
		if err != nil {
			return nil, err
		}
		methods := d.(protoreflect.ServiceDescriptor).Methods()
		for _, m := range info.Methods {
			options, _ := methods.ByName(protoreflect.Name(m.Name)).Options().(*descriptorpb.MethodOptions)
			declared, _ := proto.GetExtension(options, stillroomv1.E_Access).(*stillroomv1.Access)
			if declared.GetLeast() == stillroomv1.Role_ROLE_UNSPECIFIED && !declared.GetAnyone() {
				undeclared = append(undeclared, service+"/"+m.Name)
			}
			rules["/"+service+"/"+m.Name] = rule{
				Access: declared,
				reads:  options.GetIdempotencyLevel() == descriptorpb.MethodOptions_NO_SIDE_EFFECTS,
			}
		}
	}
	if len(undeclared) > 0 {
		slices.Sort(undeclared)
		return nil, fmt.Errorf("methods without a declared access: %s", strings.Join(undeclared, ", "))
	}
	return rules, nil
}

// identify finds out who calls, from the bearer token of the call, and whose limits the
// call counts on.
func (b *backend) identify(ctx context.Context) (c access.Caller, key string, err error) {
	values := metadata.ValueFromIncomingContext(ctx, "authorization")
	if b.open && len(values) == 0 {
		key = peerOf(ctx)
		return access.Caller{Role: access.Operator, DisplayName: "operator"}, key, b.door.ask(ctx, key)
	}
	if len(values) == 0 {
		return c, "", fault.New(fault.Unauthenticated, "the call has no token; send one as \"authorization: Bearer SECRET\"")
	}
	kind, secret, _ := strings.Cut(values[0], " ")
	if !strings.EqualFold(kind, "Bearer") || secret == "" {
		return c, "", fault.New(fault.Unauthenticated, "the authorization is not a bearer token; send it as \"authorization: Bearer SECRET\"")
	}
	return b.door.identified(ctx, secret, func() (access.Caller, error) { return b.bearer(ctx, secret) })
}

// bearer is the caller whom a secret lets in.
func (b *backend) bearer(ctx context.Context, secret string) (access.Caller, error) {
	if b.operatorHash != nil && subtle.ConstantTimeCompare(access.Hash(secret), b.operatorHash) == 1 {
		return access.Caller{Role: access.Operator, DisplayName: "operator"}, nil
	}
	if b.identity != nil && identity.Issued(secret) {
		return b.identity.Caller(ctx, secret)
	}
	return b.store.Caller(ctx, secret, b.now())
}

// permit says whether a caller may make a call, by the contract's declaration and
// the resource the request names.
func permit(c access.Caller, r rule, method string, req proto.Message) error {
	if c.Role == access.Operator {
		return nil
	}
	for _, name := range resourcesOf(req.ProtoReflect(), nil) {
		if k := segmentAfter(name, "kitchens"); k != "" && k != c.Kitchen {
			return fault.New(fault.Denied, "your token belongs to another kitchen")
		}
	}
	if c.Role == access.Participant {
		return permitParticipant(c, r, method, resourceOf(req), req)
	}
	if int32(c.Role) < int32(r.GetLeast()) {
		return denied(c, method)
	}
	return nil
}

// permitParticipant lets a participant call what is declared for them, about
// themselves and their class only.
func permitParticipant(c access.Caller, r rule, method, resource string, req proto.Message) error {
	if !r.GetParticipant() {
		return denied(c, method)
	}
	if class := segmentAfter(resource, "classes"); class != "" && class != c.Class {
		return fault.New(fault.Denied, "your invitation opens another class")
	}
	if who := segmentAfter(resource, "participants"); who != "" && who != c.Participant {
		return fault.New(fault.Denied, "that is somebody else")
	}
	return bindParticipant(c, req)
}

// bindParticipant makes a participant's request speak of themselves and their class:
// fields that say who looks, who asks, or of which class, are filled in when empty,
// and must be theirs when not.
func bindParticipant(c access.Caller, req proto.Message) error {
	me := nameOf(participantPattern, c.Kitchen, c.Participant)
	class := nameOf(classPattern, c.Kitchen, c.Class)
	for field, own := range map[protoreflect.Name]string{"viewer": me, "participant": me, "asker": me, "class": class} {
		if err := bind(req.ProtoReflect(), field, own, field != "asker"); err != nil {
			return err
		}
	}
	if told, ok := req.(*stillroomv1.CreateSealCheckRequest); ok && told.GetSealCheck() != nil {
		return bind(told.GetSealCheck().ProtoReflect(), "participant", me, true)
	}
	if ask, ok := req.(*stillroomv1.CreateQuestionRequest); ok && ask.GetQuestion() != nil {
		q := ask.GetQuestion().ProtoReflect()
		if err := bind(q, "asker", me, true); err != nil {
			return err
		}
		return bind(q, "class", class, true)
	}
	return nil
}

// bind checks a text field against the only value it may have, and fills it in when
// it is empty and fill is set.
func bind(m protoreflect.Message, field protoreflect.Name, own string, fill bool) error {
	f := m.Descriptor().Fields().ByName(field)
	if f == nil || f.Kind() != protoreflect.StringKind || f.IsList() {
		return nil
	}
	switch m.Get(f).String() {
	case own:
		return nil
	case "":
		if fill {
			m.Set(f, protoreflect.ValueOfString(own))
		}
		return nil
	}
	return fault.New(fault.Denied, "%s must be your own: %q", field, own)
}

func denied(c access.Caller, method string) error {
	return fault.New(fault.Denied, "%s may not call %s; ask the kitchen's owner", article(c.Role.String()), strings.TrimPrefix(method, "/"+ourPackage))
}

func article(word string) string {
	if strings.ContainsAny(word[:1], "aeiou") {
		return "an " + word
	}
	return "a " + word
}

// resourceOf is the name a request is about: its name, its parent, or the first
// resource it names otherwise; empty when it names none.
func resourceOf(req proto.Message) string {
	names := resourcesOf(req.ProtoReflect(), nil)
	if len(names) == 0 {
		return ""
	}
	return names[0]
}

// resourcesOf gathers every resource that a message names, in the order of its
// fields: in fields called name or parent, and in those declared to refer to one.
func resourcesOf(m protoreflect.Message, names []string) []string {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		switch {
		case f.IsMap() || !m.Has(f):
		case f.Kind() == protoreflect.MessageKind && f.IsList():
			for l, j := m.Get(f).List(), 0; j < l.Len(); j++ {
				names = resourcesOf(l.Get(j).Message(), names)
			}
		case f.Kind() == protoreflect.MessageKind:
			names = resourcesOf(m.Get(f).Message(), names)
		case f.Kind() == protoreflect.StringKind && refers(f) && f.IsList():
			for l, j := m.Get(f).List(), 0; j < l.Len(); j++ {
				names = append(names, l.Get(j).String())
			}
		case f.Kind() == protoreflect.StringKind && refers(f):
			names = append(names, m.Get(f).String())
		}
	}
	return names
}

// refers says whether a text field holds the name of a resource.
func refers(f protoreflect.FieldDescriptor) bool {
	return f.Name() == "name" || f.Name() == "parent" || proto.HasExtension(f.Options(), annotations.E_ResourceReference)
}

// segmentAfter is the segment of a resource name that follows a collection's.
func segmentAfter(name, collection string) string {
	parts := strings.Split(name, "/")
	for i := 0; i+1 < len(parts); i += 2 {
		if parts[i] == collection {
			return parts[i+1]
		}
	}
	return ""
}

// admit identifies the caller, checks the declaration, and returns the context that
// the call goes on with, and what to do when it has ended.
func (b *backend) admit(ctx context.Context, method string, req proto.Message, stream bool) (_ context.Context, leave func(), err error) {
	r, ours := b.rules[method]
	if !ours || r.GetAnyone() {
		leave, err = b.admitAnyone(ctx, method, stream)
		return ctx, leave, err
	}
	caller, key, err := b.identify(ctx)
	if err != nil {
		return nil, nil, err
	}
	observed(ctx).caller = caller
	if err := permit(caller, r, method, req); err != nil {
		return nil, nil, err
	}
	if leave, err = b.door.enter(ctx, key, stream); err != nil {
		return nil, nil, err
	}
	ctx = access.With(ctx, caller)
	if stream && !caller.Until.IsZero() {
		// A call ends soon by itself, but a stream could outlast what let its caller in.
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeoutCause(ctx, caller.Until.Sub(b.now()), expired)
		place := leave
		leave = func() { cancel(); place() }
	}
	if r.reads {
		return ctx, leave, nil
	}
	entry := access.Entry{
		Time: b.now(), Caller: caller.Name(), Role: caller.Role, Method: strings.TrimPrefix(method, "/"), Resource: resourceOf(req),
	}
	if c, ok := req.(creation); ok {
		entry.RequestID = c.GetRequestId()
	}
	return access.Recording(ctx, entry), leave, nil
}

// admitAnyone counts a call for which nobody need say who they are on its address. Whether
// the server is well may always be asked: who asks too often must not make it look ill.
func (b *backend) admitAnyone(ctx context.Context, method string, stream bool) (leave func(), err error) {
	if method == healthpb.Health_Check_FullMethodName {
		return func() {}, nil
	}
	from := peerOf(ctx)
	if err := b.door.ask(ctx, from); err != nil {
		return nil, err
	}
	return b.door.enter(ctx, from, stream)
}

// authoriseUnary enforces who may call what, and how much at a time.
func (b *backend) authoriseUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	m, ok := req.(proto.Message)
	if !ok {
		return nil, fmt.Errorf("request of %s is no protobuf message", info.FullMethod)
	}
	ctx, leave, err := b.admit(ctx, info.FullMethod, m, false)
	if err != nil {
		return nil, err
	}
	defer leave()
	if longCalls[info.FullMethod] {
		done, err := b.door.queueing(ctx, b.door.long, "long calls", segmentAfter(resourceOf(m), "kitchens"), time.Second, nil)
		if err != nil {
			return nil, err
		}
		defer done()
	}
	return handler(ctx, req)
}

// authoriseStream does for streams what authoriseUnary does for calls, when the
// first message says what the call is about.
func (b *backend) authoriseStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	s := &admittingStream{ServerStream: ss, backend: b, method: info.FullMethod}
	defer func() {
		if s.leave != nil {
			s.leave()
		}
	}()
	err := handler(srv, s)
	if why := whyEnded(s.Context()); err != nil && why != nil {
		return why.st.Err()
	}
	return err
}

type admittingStream struct {
	grpc.ServerStream
	backend *backend
	method  string
	ctx     context.Context
	leave   func()
}

func (s *admittingStream) Context() context.Context {
	if s.ctx != nil {
		return s.ctx
	}
	return s.ServerStream.Context()
}

func (s *admittingStream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	pm, ok := m.(proto.Message)
	if !ok || s.ctx != nil {
		return nil
	}
	ctx, leave, err := s.backend.admit(s.ServerStream.Context(), s.method, pm, true)
	if err == nil {
		s.ctx, s.leave = ctx, leave
	}
	return err
}

// streams are the methods that stream, by full name.
func streams(services map[string]grpc.ServiceInfo) map[string]bool {
	out := map[string]bool{}
	for service, info := range services {
		for _, m := range info.Methods {
			if m.IsServerStream || m.IsClientStream {
				out["/"+service+"/"+m.Name] = true
			}
		}
	}
	return out
}

// timed gives every call its time, from before its message is read, so that nobody keeps
// a call open by sending nothing.
func (b *backend) timed(streams func(method string) bool) tap.ServerInHandle {
	return func(ctx context.Context, info *tap.Info) (context.Context, error) {
		stream := streams(info.FullMethodName)
		limit := b.door.timeFor(info.FullMethodName, stream)
		if limit <= 0 {
			return ctx, nil
		}
		ctx, cancel := context.WithTimeoutCause(ctx, limit, tooLong(info.FullMethodName, stream, limit))
		_ = cancel // what ctx is made from ends with the call
		return ctx, nil
	}
}
