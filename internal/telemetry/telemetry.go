// Package telemetry lets others see the program from outside: traces and metrics by
// OpenTelemetry, and log lines that carry the trace they belong to.
//
// Metrics can always be read in Prometheus' format from Metrics. Traces and metrics
// are pushed by OTLP only when the standard environment asks for it; a server that is
// told of no collector contacts none.
package telemetry

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"runtime"
	"runtime/debug"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/exporters/otlp/otlpmetric/otlpmetricgrpc"
	"go.opentelemetry.io/otel/exporters/otlp/otlpmetric/otlpmetrichttp"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracegrpc"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracehttp"
	otelprometheus "go.opentelemetry.io/otel/exporters/prometheus"
	"go.opentelemetry.io/otel/metric"
	"go.opentelemetry.io/otel/propagation"
	sdkmetric "go.opentelemetry.io/otel/sdk/metric"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"
)

// Propagator reads and writes the trace a call belongs to as the W3C recommendations
// "Trace Context" and "Baggage" say.
var Propagator = propagation.NewCompositeTextMapPropagator(propagation.TraceContext{}, propagation.Baggage{})

// Telemetry is where traces and metrics go. Close it last.
type Telemetry struct {
	traces   *sdktrace.TracerProvider
	metrics  *sdkmetric.MeterProvider
	registry *prometheus.Registry
}

// Start reads the standard environment: OTEL_EXPORTER_OTLP_ENDPOINT, or
// OTEL_EXPORTER_OTLP_TRACES_ENDPOINT and OTEL_EXPORTER_OTLP_METRICS_ENDPOINT, ask for
// export, and the other OTEL_ variables of that specification say how. A protocol that
// is neither "grpc" nor "http/protobuf" is an error.
func Start(ctx context.Context) (_ *Telemetry, err error) {
	build := Build()
	about, err := resource.New(ctx,
		resource.WithAttributes(attribute.String("service.name", "stillroom"), attribute.String("service.version", build.Version)),
		resource.WithFromEnv(), resource.WithTelemetrySDK())
	if err != nil {
		return nil, fmt.Errorf("reading OTEL_RESOURCE_ATTRIBUTES: %w", err)
	}
	t := &Telemetry{registry: prometheus.NewRegistry()}

	// Without an exporter nothing is recorded, but calls have trace ids all the same, for the log.
	tracing := []sdktrace.TracerProviderOption{sdktrace.WithResource(about)}
	if asked("TRACES") {
		exporter, err := traceExporter(ctx)
		if err != nil {
			return nil, err
		}
		tracing = append(tracing, sdktrace.WithBatcher(exporter))
	} else {
		tracing = append(tracing, sdktrace.WithSampler(sdktrace.NeverSample()))
	}
	t.traces = sdktrace.NewTracerProvider(tracing...)

	pulled, err := otelprometheus.New(otelprometheus.WithRegisterer(t.registry), otelprometheus.WithoutScopeInfo())
	if err != nil {
		return nil, err
	}
	measuring := []sdkmetric.Option{sdkmetric.WithResource(about), sdkmetric.WithReader(pulled)}
	if asked("METRICS") {
		exporter, err := metricExporter(ctx)
		if err != nil {
			return nil, errors.Join(err, t.traces.Shutdown(ctx))
		}
		measuring = append(measuring, sdkmetric.WithReader(sdkmetric.NewPeriodicReader(exporter)))
	}
	t.metrics = sdkmetric.NewMeterProvider(measuring...)

	info := prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "stillroom_build_info", Help: "The build that runs; the value is always 1.",
		ConstLabels: prometheus.Labels{"version": build.Version, "revision": build.Revision, "go_version": build.Go},
	}, func() float64 { return 1 })
	t.registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), info)
	return t, nil
}

// Traces is where spans are made.
func (t *Telemetry) Traces() trace.TracerProvider { return t.traces }

// Meters is where measures are taken.
func (t *Telemetry) Meters() metric.MeterProvider { return t.metrics }

// Metrics serves every figure in Prometheus' text format.
func (t *Telemetry) Metrics() http.Handler {
	return promhttp.HandlerFor(t.registry, promhttp.HandlerOpts{})
}

// Close sends what has been collected and not yet sent.
func (t *Telemetry) Close(ctx context.Context) error {
	return errors.Join(t.traces.Shutdown(ctx), t.metrics.Shutdown(ctx))
}

// BuildInfo says what program this is.
type BuildInfo struct {
	// Version is the module's version, "(devel)" when it was built from a checkout.
	Version string `json:"version"`
	// Revision is the commit it was built from, empty when unknown; Changed says that files differed from it.
	Revision string `json:"revision,omitempty"`
	Changed  bool   `json:"changed,omitempty"`
	// Go is the version of the toolchain.
	Go string `json:"go"`
}

// Build reads what the toolchain wrote into the program.
func Build() BuildInfo {
	b := BuildInfo{Version: "(devel)", Go: runtime.Version()}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return b
	}
	if info.Main.Version != "" {
		b.Version = info.Main.Version
	}
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			b.Revision = s.Value
		case "vcs.modified":
			b.Changed = s.Value == "true"
		}
	}
	return b
}

// asked says whether the environment asks to export a signal, TRACES or METRICS.
func asked(signal string) bool {
	if os.Getenv("OTEL_SDK_DISABLED") == "true" || os.Getenv("OTEL_"+signal+"_EXPORTER") == "none" {
		return false
	}
	return os.Getenv("OTEL_EXPORTER_OTLP_ENDPOINT") != "" || os.Getenv("OTEL_EXPORTER_OTLP_"+signal+"_ENDPOINT") != ""
}

// protocol is how a signal is to be sent. The specification's default is http/protobuf.
func protocol(signal string) (string, error) {
	for _, variable := range []string{"OTEL_EXPORTER_OTLP_" + signal + "_PROTOCOL", "OTEL_EXPORTER_OTLP_PROTOCOL"} {
		switch v := os.Getenv(variable); v {
		case "":
		case "grpc", "http/protobuf":
			return v, nil
		default:
			return "", fmt.Errorf("%s is %q; give grpc or http/protobuf", variable, v)
		}
	}
	return "http/protobuf", nil
}

func traceExporter(ctx context.Context) (sdktrace.SpanExporter, error) {
	p, err := protocol("TRACES")
	if err != nil {
		return nil, err
	}
	if p == "grpc" {
		return otlptracegrpc.New(ctx)
	}
	return otlptracehttp.New(ctx)
}

func metricExporter(ctx context.Context) (sdkmetric.Exporter, error) {
	p, err := protocol("METRICS")
	if err != nil {
		return nil, err
	}
	if p == "grpc" {
		return otlpmetricgrpc.New(ctx)
	}
	return otlpmetrichttp.New(ctx)
}
