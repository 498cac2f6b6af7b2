package rpc

import (
	"cmp"
	"context"
	"log/slog"
	"runtime"
	"time"

	"buf.build/go/protovalidate"
	"go.opentelemetry.io/otel/metric"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/access"
	"stillroom/internal/store"
)

const (
	// maxReplyBytes bounds a reply; the largest is an exported file or a whole plan.
	maxReplyBytes = 64 << 20
	// maxHeaderBytes bounds the headers of a call, a token and a trace among them.
	maxHeaderBytes = 64 << 10
	// maxConnectionStreams bounds what one connection has under way. Everybody who looks at a page shares that
	// of the pages.
	maxConnectionStreams = 10_000
	// handshakeTime is how long a connection may take to be made.
	handshakeTime = 20 * time.Second
)

// Options are what a server needs. All fields but Store may be left zero.
type Options struct {
	Store *store.Store
	// Log receives one line per failed call, and at debug one per call; the default logger when nil.
	Log *slog.Logger
	// Now is the clock; time.Now when nil.
	Now func() time.Time
	// OperatorSecret is the bearer token of the service's operator; empty for none.
	OperatorSecret string
	// Identity knows the tokens of the kitchens' identity providers; nil for none.
	Identity Identity
	// Open takes every caller without a token for the operator. For a server that only its own machine can reach.
	Open bool
	// Limits bound what callers may ask; none but the sizes when left zero.
	Limits Limits
	// Transport is the server's TLS; nil for plain text.
	Transport credentials.TransportCredentials
	// Traces and Meters are where spans and measures of calls go; nil for nowhere. Propagator reads the
	// trace that a caller is in.
	Traces     trace.TracerProvider
	Meters     metric.MeterProvider
	Propagator propagation.TextMapPropagator

	// keepalive is how often a quiet connection is asked whether anybody is there; a minute when zero.
	keepalive keepalive.ServerParameters
}

// Identity finds out who a token of an identity provider stands for.
type Identity interface {
	Caller(ctx context.Context, token string) (access.Caller, error)
}

// backend is what every service shares.
type backend struct {
	store     *store.Store
	log       *slog.Logger
	now       func() time.Time
	validator protovalidate.Validator

	open         bool
	operatorHash []byte
	identity     Identity
	door         *doorman
	// rules holds who may call what, by full method name; it does not change once serving.
	rules map[string]rule
}

// Server is the gRPC server with its health service.
type Server struct {
	*grpc.Server
	// Health reports per service; serve sets it to not serving before it stops.
	Health *health.Server

	queue *questionService
}

// EndWatches tells those who watch a queue to resume elsewhere, so that a
// graceful stop need not wait for streams that never end by themselves.
func (s *Server) EndWatches() { s.queue.feed.end() }

// NewServer makes a server with every service, health and reflection registered.
func NewServer(o Options) (*Server, error) {
	validator, err := protovalidate.New()
	if err != nil {
		return nil, err
	}
	b := &backend{store: o.Store, log: o.Log, now: o.Now, validator: validator, open: o.Open, identity: o.Identity}
	if o.OperatorSecret != "" {
		b.operatorHash = access.Hash(o.OperatorSecret)
	}
	if b.log == nil {
		b.log = slog.Default()
	}
	if b.now == nil {
		b.now = time.Now
	}
	instrument := o.instrument()
	if b.door, err = newDoorman(o.Limits, b.now, runtime.GOMAXPROCS(0), o.Meters); err != nil {
		return nil, err
	}
	queue, err := newQuestionService(b)
	if err != nil {
		return nil, err
	}
	if o.keepalive.Time == 0 {
		o.keepalive = keepalive.ServerParameters{Time: time.Minute, Timeout: 20 * time.Second}
	}
	var streaming map[string]bool // set below, before the first call
	options := []grpc.ServerOption{
		grpc.MaxRecvMsgSize(cmp.Or(o.Limits.RequestBytes, DefaultLimits().RequestBytes)),
		grpc.MaxSendMsgSize(maxReplyBytes),
		grpc.MaxHeaderListSize(maxHeaderBytes),
		grpc.MaxConcurrentStreams(maxConnectionStreams),
		grpc.ConnectionTimeout(handshakeTime),
		grpc.InTapHandle(b.timed(func(method string) bool { return streaming[method] })),
		grpc.ForceServerCodecV2(newLenient()),
		grpc.KeepaliveParams(o.keepalive),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 10 * time.Second, PermitWithoutStream: true}),
		instrument,
		grpc.ChainUnaryInterceptor(b.observeUnary, b.guardUnary, b.authoriseUnary, b.validateUnary),
		grpc.ChainStreamInterceptor(b.observeStream, b.guardStream, b.authoriseStream, b.validateStream),
	}
	if o.Transport != nil {
		options = append(options, grpc.Creds(o.Transport))
	}
	s := grpc.NewServer(options...)
	stillroomv1.RegisterAccessServiceServer(s, &accessService{backend: b})
	stillroomv1.RegisterQuestionServiceServer(s, queue)
	stillroomv1.RegisterKitchenServiceServer(s, &kitchenService{backend: b})
	stillroomv1.RegisterClassServiceServer(s, &classService{backend: b})
	stillroomv1.RegisterRosterServiceServer(s, &rosterService{backend: b, queue: queue})
	stillroomv1.RegisterShoppingServiceServer(s, &shoppingService{backend: b})
	stillroomv1.RegisterEquipmentServiceServer(s, &equipmentService{backend: b})
	stillroomv1.RegisterLoadServiceServer(s, &loadService{backend: b})
	stillroomv1.RegisterProcessServiceServer(s, &processService{backend: b})
	stillroomv1.RegisterSealServiceServer(s, &sealService{backend: b})
	stillroomv1.RegisterRecipeServiceServer(s, &recipeService{backend: b})

	if b.rules, err = readRules(s.GetServiceInfo()); err != nil {
		return nil, err
	}
	h := health.NewServer()
	healthpb.RegisterHealthServer(s, h)
	for name := range s.GetServiceInfo() {
		h.SetServingStatus(name, healthpb.HealthCheckResponse_SERVING)
	}
	reflection.Register(s)
	streaming = streams(s.GetServiceInfo())
	if err := o.measure(queue, b.door); err != nil {
		return nil, err
	}
	return &Server{Server: s, Health: h, queue: queue}, nil
}
