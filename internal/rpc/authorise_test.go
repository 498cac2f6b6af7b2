package rpc

import (
	"context"
	"io"
	"log/slog"
	"net"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	_ "google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/access"
	"stillroom/internal/store/storetest"
)

const testOperator = "an operator's secret of thirty-two characters"

// guarded is a server that asks for tokens, with two kitchens furnished by its operator.
type guarded struct {
	*testServer
	clock time.Time
}

func newGuarded(t *testing.T, change ...func(*guarded, *Options)) *guarded {
	t.Helper()
	st := storetest.Open(t)
	g := &guarded{clock: testNow}
	options := Options{
		Store: st, Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Now: func() time.Time { return g.clock }, OperatorSecret: testOperator}
	for _, c := range change {
		c(g, &options)
	}
	srv, err := NewServer(options)
	require.NoError(t, err)
	listener := bufconn.Listen(1 << 20)
	go func() { _ = srv.Serve(listener) }()
	t.Cleanup(srv.Stop)
	conn, err := grpc.NewClient("passthrough:///test",
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithUnaryInterceptor(func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
			if _, ok := metadata.FromOutgoingContext(ctx); !ok {
				ctx = withToken(ctx, testOperator)
			}
			return invoke(ctx, method, req, reply, cc, opts...)
		}))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	g.testServer = &testServer{conn: conn, store: st, server: srv}
	g.setTable(t, 4)
	g.addPerson(t, "ana")
	g.addPerson(t, "bo")
	_, err = g.kitchens().CreateKitchen(t.Context(), &stillroomv1.CreateKitchenRequest{
		KitchenId: "other", Kitchen: &stillroomv1.Kitchen{DisplayName: "Other", CurrencyCode: "USD"}})
	require.NoError(t, err)
	return g
}

func withToken(ctx context.Context, secret string) context.Context {
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+secret)
}

// token makes a token in a kitchen and returns a context that carries its secret.
func (g *guarded) token(t *testing.T, kitchen string, token *stillroomv1.Token) (context.Context, *stillroomv1.Token) {
	t.Helper()
	token.DisplayName = "test"
	reply, err := stillroomv1.NewAccessServiceClient(g.conn).CreateToken(t.Context(), &stillroomv1.CreateTokenRequest{Parent: "kitchens/" + kitchen, Token: token})
	require.NoError(t, err)
	require.Len(t, reply.GetSecret(), len("stillroom_")+43, "256 random bits")
	return withToken(t.Context(), reply.GetSecret()), reply.GetToken()
}

// ourMethods calls fn for every method of the contract with its declaration.
func ourMethods(t *testing.T, g *guarded, fn func(method string, d protoreflect.MethodDescriptor)) {
	t.Helper()
	srv, err := NewServer(Options{Store: g.store, Open: true})
	require.NoError(t, err)
	defer srv.Stop()
	count := 0
	for service := range srv.GetServiceInfo() {
		if !strings.HasPrefix(service, ourPackage) {
			continue
		}
		d, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(service))
		require.NoError(t, err)
		methods := d.(protoreflect.ServiceDescriptor).Methods()
		for i := range methods.Len() {
			fn("/"+service+"/"+string(methods.Get(i).Name()), methods.Get(i))
			count++
		}
	}
	require.Greater(t, count, 90)
}

// callAny calls a method by its descriptor and returns the error, reading a stream's first message.
func (g *guarded) callAny(ctx context.Context, method string, d protoreflect.MethodDescriptor, req proto.Message) error {
	reply := newMessage(d.Output())
	if !d.IsStreamingServer() {
		return g.conn.Invoke(ctx, method, req, reply)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := g.conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, method)
	if err != nil {
		return err
	}
	if err := stream.SendMsg(req); err != nil {
		return err
	}
	if err := stream.CloseSend(); err != nil {
		return err
	}
	return stream.RecvMsg(reply)
}

func newMessage(d protoreflect.MessageDescriptor) proto.Message {
	t, err := protoregistry.GlobalTypes.FindMessageByName(d.FullName())
	if err != nil {
		panic(err)
	}
	return t.New().Interface()
}

// aimedAt makes a request of a method's type whose name or parent is the given resource.
func aimedAt(d protoreflect.MethodDescriptor, resource string) proto.Message {
	req := newMessage(d.Input())
	m := req.ProtoReflect()
	fields := m.Descriptor().Fields()
	for _, field := range []protoreflect.Name{"name", "parent"} {
		if f := fields.ByName(field); f != nil && f.Kind() == protoreflect.StringKind {
			m.Set(f, protoreflect.ValueOfString(resource))
			return req
		}
	}
	for i := range fields.Len() {
		f := fields.Get(i)
		if f.Kind() == protoreflect.MessageKind && !f.IsList() && !f.IsMap() && f.Message().Fields().ByName("name") != nil {
			inner := m.Mutable(f).Message()
			inner.Set(f.Message().Fields().ByName("name"), protoreflect.ValueOfString(resource))
			return req
		}
	}
	for i := range fields.Len() {
		if f := fields.Get(i); f.Kind() == protoreflect.StringKind && refers(f) && !f.IsList() {
			m.Set(f, protoreflect.ValueOfString(resource))
			return req
		}
	}
	return req
}

// TestNoMethodCrossesKitchens calls every method of the contract about another
// kitchen, as its own kitchen's owner: each is denied before anything is looked up.
func TestNoMethodCrossesKitchens(t *testing.T) {
	t.Parallel()
	g := newGuarded(t)
	owner, _ := g.token(t, "other", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_OWNER})
	ourMethods(t, g, func(method string, d protoreflect.MethodDescriptor) {
		req := aimedAt(d, theClass)
		if resourceOf(req) == "" {
			return // about no kitchen: published tables, the caller, the list of kitchens
		}
		err := g.callAny(owner, method, d, req)
		require.Equal(t, codes.PermissionDenied, status.Code(err), "%s: %v", method, err)
		require.Contains(t, err.Error(), "another kitchen", method)
	})
}

// TestRolesHoldForEveryMethod calls every method with every role, about the caller's
// own kitchen, and compares with the contract's declaration.
func TestRolesHoldForEveryMethod(t *testing.T) {
	t.Parallel()
	g := newGuarded(t)
	roles := []stillroomv1.Role{
		stillroomv1.Role_ROLE_PARTICIPANT, stillroomv1.Role_ROLE_ASSISTANT, stillroomv1.Role_ROLE_INSTRUCTOR, stillroomv1.Role_ROLE_OWNER}
	callers := map[stillroomv1.Role]context.Context{}
	for _, role := range roles {
		token := &stillroomv1.Token{Role: role}
		if role == stillroomv1.Role_ROLE_PARTICIPANT {
			token.Participant, token.Class = "kitchens/k/participants/ana", theClass
		}
		ctx, _ := g.token(t, "k", token)
		callers[role] = ctx //nolint:fatcontext // Each begins with the test's own context.
	}
	ourMethods(t, g, func(method string, d protoreflect.MethodDescriptor) {
		declared := proto.GetExtension(d.Options(), stillroomv1.E_Access).(*stillroomv1.Access)
		require.NotEqual(t, stillroomv1.Role_ROLE_UNSPECIFIED, declared.GetLeast(), method)
		for _, role := range roles {
			// A name that no handler takes, so that nothing is done where the caller may; a field
			// called class must be the participant's own, and only reading methods have one alone.
			aim := "kitchens/k/nothing/there/is/nothing"
			if fields := d.Input().Fields(); fields.ByName("name") == nil && fields.ByName("parent") == nil && fields.ByName("class") != nil {
				aim = theClass
			}
			err := g.callAny(callers[role], method, d, aimedAt(d, aim))
			denied := status.Code(err) == codes.PermissionDenied
			may := role >= declared.GetLeast()
			if role == stillroomv1.Role_ROLE_PARTICIPANT {
				may = declared.GetParticipant()
			}
			require.Equal(t, !may, denied, "%s as %s: %v", method, role, err)
		}
		err := g.callAny(withToken(t.Context(), "wrong"), method, d, aimedAt(d, theClass))
		require.Equal(t, codes.Unauthenticated, status.Code(err), method)
	})
}

// TestUndeclaredMethodKeepsTheServerFromStarting registers a service of the contract's
// package whose one method says nothing about access.
//
// Not in parallel: others range over the registered files, which cannot be while one is added.
func TestUndeclaredMethodKeepsTheServerFromStarting(t *testing.T) {
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto.String("undeclared.proto"), Package: proto.String("stillroom.v1"), Syntax: proto.String("proto3"), Dependency: []string{"google/protobuf/empty.proto"},
		Service: []*descriptorpb.ServiceDescriptorProto{{Name: proto.String("UndeclaredService"), Method: []*descriptorpb.MethodDescriptorProto{{
			Name: proto.String("Peek"), InputType: proto.String(".google.protobuf.Empty"), OutputType: proto.String(".google.protobuf.Empty")}}}},
	}, protoregistry.GlobalFiles)
	require.NoError(t, err)
	require.NoError(t, protoregistry.GlobalFiles.RegisterFile(file))
	_, err = readRules(map[string]grpc.ServiceInfo{
		"stillroom.v1.UndeclaredService": {Methods: []grpc.MethodInfo{{Name: "Peek"}}},
		"stillroom.v1.ClassService":      {Methods: []grpc.MethodInfo{{Name: "GetClass"}}},
	})
	require.EqualError(t, err, "methods without a declared access: stillroom.v1.UndeclaredService/Peek")
}

func TestTokensEnd(t *testing.T) {
	t.Parallel()
	g := newGuarded(t)
	ctx, token := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_ASSISTANT, ExpireTime: timestamppb.New(testNow.Add(time.Hour))})
	read := func() error {
		_, err := g.classes().GetClass(ctx, &stillroomv1.GetClassRequest{Name: theClass})
		return err
	}
	require.NoError(t, read())
	seen, err := stillroomv1.NewAccessServiceClient(g.conn).GetToken(t.Context(), &stillroomv1.GetTokenRequest{Name: token.GetName()})
	require.NoError(t, err)
	require.Equal(t, testNow, seen.GetLastUseTime().AsTime())
	g.clock = testNow.Add(2 * time.Hour)
	requireCode(t, codes.Unauthenticated, read())
	g.clock = testNow
	require.NoError(t, read())
	_, err = stillroomv1.NewAccessServiceClient(g.conn).RevokeToken(t.Context(), &stillroomv1.RevokeTokenRequest{Name: token.GetName()})
	require.NoError(t, err)
	requireCode(t, codes.Unauthenticated, read())
}

// TestSecretsAreShownOnce: a retry returns the token without its secret, and the
// database holds neither the secret nor the answer that showed it.
func TestSecretsAreShownOnce(t *testing.T) {
	t.Parallel()
	g := newGuarded(t)
	req := &stillroomv1.CreateTokenRequest{Parent: "kitchens/k", RequestId: "6f1c8a52-1111-4222-8333-944455556666",
		Token: &stillroomv1.Token{DisplayName: "till", Role: stillroomv1.Role_ROLE_ASSISTANT}}
	client := stillroomv1.NewAccessServiceClient(g.conn)
	first, err := client.CreateToken(t.Context(), req)
	require.NoError(t, err)
	again, err := client.CreateToken(t.Context(), req)
	require.NoError(t, err)
	require.Equal(t, first.GetToken().GetName(), again.GetToken().GetName())
	require.NotEmpty(t, first.GetSecret())
	require.Empty(t, again.GetSecret())
	var found int
	require.NoError(t, g.store.Pool().QueryRow(t.Context(),
		`SELECT count(*) FROM requests WHERE position(convert_to($1, 'UTF8') IN response) > 0`, first.GetSecret()).Scan(&found))
	require.Zero(t, found)
	var hash []byte
	require.NoError(t, g.store.Pool().QueryRow(t.Context(), `SELECT hash FROM tokens`).Scan(&hash))
	require.Equal(t, access.Hash(first.GetSecret()), hash)
}

// TestParticipantsSeeTheirOwn: a participant speaks for themselves, sees their class
// and nobody's contact.
func TestParticipantsSeeTheirOwn(t *testing.T) {
	t.Parallel()
	g := newGuarded(t)
	for _, p := range []string{"ana", "bo"} {
		_, err := g.enrol(t, p, stillroomv1.WhenFull_WHEN_FULL_FAIL)
		require.NoError(t, err)
	}
	invite := func(who string) context.Context {
		ctx, _ := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_PARTICIPANT, Participant: "kitchens/k/participants/" + who, Class: theClass})
		return ctx
	}
	ana, bo := invite("ana"), invite("bo")
	ask := stillroomv1.NewQuestionServiceClient(g.conn)
	mine, err := ask.CreateQuestion(ana, &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k", Question: &stillroomv1.Question{Text: "How long does it keep?", Unnamed: true}})
	require.NoError(t, err)
	require.Equal(t, "kitchens/k/participants/ana", mine.GetAsker(), "who asks is filled in")
	require.Equal(t, theClass, mine.GetClass())
	_, err = ask.CreateQuestion(ana, &stillroomv1.CreateQuestionRequest{Parent: "kitchens/k", Question: &stillroomv1.Question{
		Text: "In another's name?", Asker: "kitchens/k/participants/bo"}})
	requireCode(t, codes.PermissionDenied, err)

	seen, err := ask.GetQuestion(bo, &stillroomv1.GetQuestionRequest{Name: mine.GetName()})
	require.NoError(t, err)
	require.Empty(t, seen.GetAsker(), "unnamed stays unnamed")
	_, err = ask.GetQuestion(bo, &stillroomv1.GetQuestionRequest{Name: mine.GetName(), Viewer: "kitchens/k/participants/ana"})
	requireCode(t, codes.PermissionDenied, err)
	_, err = ask.WithdrawQuestion(bo, &stillroomv1.WithdrawQuestionRequest{Name: mine.GetName()})
	requireCode(t, codes.PermissionDenied, err)
	_, err = ask.UpdateQuestion(ana, &stillroomv1.UpdateQuestionRequest{Question: &stillroomv1.Question{Name: mine.GetName(), Pinned: true}})
	require.NoError(t, err, "a field that is not theirs is not theirs to change")
	got, err := ask.GetQuestion(ana, &stillroomv1.GetQuestionRequest{Name: mine.GetName()})
	require.NoError(t, err)
	require.False(t, got.GetPinned())
	endorsed, err := ask.EndorseQuestion(bo, &stillroomv1.EndorseQuestionRequest{Name: mine.GetName()})
	require.NoError(t, err)
	require.EqualValues(t, 1, endorsed.GetEndorsementCount())

	_, err = g.rosters().GetParticipant(ana, &stillroomv1.GetParticipantRequest{Name: "kitchens/k/participants/bo"})
	requireCode(t, codes.PermissionDenied, err)
	_, err = g.rosters().GetParticipant(ana, &stillroomv1.GetParticipantRequest{Name: "kitchens/k/participants/ana"})
	require.NoError(t, err)
	roster, err := g.rosters().ListEnrolments(t.Context(), &stillroomv1.ListEnrolmentsRequest{Parent: theClass})
	require.NoError(t, err)
	for _, e := range roster.GetEnrolments() {
		_, err := g.rosters().GetEnrolment(ana, &stillroomv1.GetEnrolmentRequest{Name: e.GetName()})
		if strings.HasSuffix(e.GetParticipant(), "/ana") {
			require.NoError(t, err)
		} else {
			requireCode(t, codes.NotFound, err)
		}
	}
}

// TestAChangeIsRecordedOnce: a retry that changes nothing leaves no second entry, and a
// call that reads in one transaction and writes in another leaves one.
func TestAChangeIsRecordedOnce(t *testing.T) {
	t.Parallel()
	s := kitchenToPlan(t, "salsa")
	entries := func(method string) (n int) {
		require.NoError(t, s.store.Pool().QueryRow(t.Context(), `SELECT count(*) FROM audit_entries WHERE method LIKE '%/' || $1`, method).Scan(&n))
		return n
	}
	create := &stillroomv1.CreateParticipantRequest{Parent: "kitchens/k", ParticipantId: "di", RequestId: "6f1c8a52-2222-4222-8333-944455556666",
		Participant: &stillroomv1.Participant{DisplayName: "Di"}}
	for range 3 {
		_, err := s.rosters().CreateParticipant(t.Context(), create)
		require.NoError(t, err)
	}
	require.Equal(t, 1, entries("CreateParticipant"))

	plan := planRequest()
	plan.RequestId = "6f1c8a52-3333-4222-8333-944455556666"
	for range 2 {
		_, _, err := s.planned(t.Context(), plan)
		require.NoError(t, err)
	}
	require.Equal(t, 1, entries("PlanLoads"))

	for i, apply := range []bool{false, true} {
		_, err := s.classes().ProposeBatches(t.Context(), &stillroomv1.ProposeBatchesRequest{Name: theClass, Participants: 2, Apply: apply,
			Wishes: []*stillroomv1.JarWish{{RecipeRevision: "kitchens/k/recipes/salsa/revisions/1", JarsPerParticipant: 1}}})
		require.NoError(t, err)
		require.Equal(t, i, entries("ProposeBatches"), "a proposal is no change until it is applied")
	}
}

// TestChangesAreRecorded: what changes a kitchen is recorded with it, what reads it or
// fails is not, and the record cannot be changed.
func TestChangesAreRecorded(t *testing.T) {
	t.Parallel()
	g := newGuarded(t)
	ctx, token := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_INSTRUCTOR})
	_, err := g.classes().UpdateClass(ctx, &stillroomv1.UpdateClassRequest{Class: &stillroomv1.Class{Name: theClass, Capacity: 9}})
	require.NoError(t, err)
	_, err = g.classes().UpdateClass(ctx, &stillroomv1.UpdateClassRequest{Class: &stillroomv1.Class{Name: theClass, Capacity: -1}})
	requireCode(t, codes.InvalidArgument, err)
	_, err = g.classes().GetClass(ctx, &stillroomv1.GetClassRequest{Name: theClass})
	require.NoError(t, err)

	client := stillroomv1.NewAccessServiceClient(g.conn)
	var entries []*stillroomv1.AuditEntry
	for page := ""; ; {
		reply, err := client.ListAuditEntries(t.Context(), &stillroomv1.ListAuditEntriesRequest{Parent: "kitchens/k", PageSize: 2, PageToken: page})
		require.NoError(t, err)
		entries = append(entries, reply.GetAuditEntries()...)
		if page = reply.GetNextPageToken(); page == "" {
			break
		}
	}
	byToken := slices.DeleteFunc(slices.Clone(entries), func(e *stillroomv1.AuditEntry) bool { return e.GetRole() == stillroomv1.Role_ROLE_OPERATOR })
	require.Len(t, byToken, 1)
	require.Equal(t, "stillroom.v1.ClassService/UpdateClass", byToken[0].GetMethod())
	require.Equal(t, theClass, byToken[0].GetResource())
	require.True(t, strings.HasSuffix(token.GetName(), "/"+byToken[0].GetCaller()), byToken[0].GetCaller())
	require.Greater(t, len(entries), 4, "what the operator furnished is recorded too")

	// A server that does not know the kitchen yet looks it up; that is no change.
	var strays int
	require.NoError(t, g.store.Pool().QueryRow(t.Context(), `SELECT count(*) FROM audit_entries
		WHERE kitchen_id NOT IN (SELECT id FROM kitchens) AND method NOT LIKE '%/CreateKitchen'`).Scan(&strays))
	require.Zero(t, strays, "entries that belong to no kitchen")

	_, err = g.store.Pool().Exec(t.Context(), `UPDATE audit_entries SET caller = 'nobody'`)
	require.ErrorContains(t, err, "only ever added to")
	_, err = g.store.Pool().Exec(t.Context(), `DELETE FROM audit_entries`)
	require.ErrorContains(t, err, "only ever added to")
}
