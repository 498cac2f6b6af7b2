package telemetry

import (
	"bytes"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"
)

// collector is an OTLP collector that keeps what it is sent, by path.
type collector struct {
	*httptest.Server
	mu       sync.Mutex
	received map[string]int
}

func newCollector(t *testing.T) *collector {
	t.Helper()
	c := &collector{received: map[string]int{}}
	c.Server = httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		c.mu.Lock()
		defer c.mu.Unlock()
		c.received[r.URL.Path] += len(body)
	}))
	t.Cleanup(c.Close)
	return c
}

// at is how many bytes a path was sent.
func (c *collector) at(path string) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.received[path]
}

// alone takes away what the environment of the test says about export.
func alone(t *testing.T) {
	t.Helper()
	for _, v := range []string{
		"OTEL_SDK_DISABLED", "OTEL_TRACES_EXPORTER", "OTEL_METRICS_EXPORTER", "OTEL_EXPORTER_OTLP_ENDPOINT", "OTEL_EXPORTER_OTLP_PROTOCOL",
		"OTEL_EXPORTER_OTLP_TRACES_ENDPOINT", "OTEL_EXPORTER_OTLP_METRICS_ENDPOINT", "OTEL_EXPORTER_OTLP_TRACES_PROTOCOL",
		"OTEL_EXPORTER_OTLP_METRICS_PROTOCOL", "OTEL_TRACES_SAMPLER", "OTEL_RESOURCE_ATTRIBUTES",
	} {
		t.Setenv(v, "")
	}
}

// work makes one span and takes one measure, and sends what there is to send.
func work(t *testing.T) trace.SpanContext {
	t.Helper()
	seen, err := Start(t.Context())
	require.NoError(t, err)
	_, span := seen.Traces().Tracer("test").Start(t.Context(), "work")
	counter, err := seen.Meters().Meter("test").Int64Counter("done")
	require.NoError(t, err)
	counter.Add(t.Context(), 1)
	span.End()
	require.NoError(t, seen.Close(t.Context()))
	return span.SpanContext()
}

// The paths are those of the OTLP specification, "OTLP/HTTP request", default URL paths.
func TestExportOnlyWhenAsked(t *testing.T) {
	const traces, metrics = "/v1/traces", "/v1/metrics"
	t.Run("not asked", func(t *testing.T) {
		alone(t)
		at := work(t)
		require.True(t, at.IsValid(), "lines in the log have trace ids all the same")
		require.False(t, at.IsSampled())
	})
	t.Run("both", func(t *testing.T) {
		alone(t)
		c := newCollector(t)
		t.Setenv("OTEL_EXPORTER_OTLP_ENDPOINT", c.URL)
		require.True(t, work(t).IsSampled())
		require.Positive(t, c.at(traces))
		require.Positive(t, c.at(metrics))
	})
	t.Run("traces only", func(t *testing.T) {
		alone(t)
		c := newCollector(t)
		t.Setenv("OTEL_EXPORTER_OTLP_TRACES_ENDPOINT", c.URL+traces)
		work(t)
		require.Positive(t, c.at(traces))
		require.Zero(t, c.at(metrics))
	})
	t.Run("one exporter off", func(t *testing.T) {
		alone(t)
		c := newCollector(t)
		t.Setenv("OTEL_EXPORTER_OTLP_ENDPOINT", c.URL)
		t.Setenv("OTEL_TRACES_EXPORTER", "none")
		work(t)
		require.Zero(t, c.at(traces))
		require.Positive(t, c.at(metrics))
	})
	t.Run("switched off", func(t *testing.T) {
		alone(t)
		c := newCollector(t)
		t.Setenv("OTEL_EXPORTER_OTLP_ENDPOINT", c.URL)
		t.Setenv("OTEL_SDK_DISABLED", "true")
		work(t)
		require.Zero(t, c.at(traces)+c.at(metrics))
	})
	t.Run("unknown protocol", func(t *testing.T) {
		alone(t)
		t.Setenv("OTEL_EXPORTER_OTLP_ENDPOINT", "http://127.0.0.1:1")
		t.Setenv("OTEL_EXPORTER_OTLP_PROTOCOL", "pigeon")
		_, err := Start(t.Context())
		require.EqualError(t, err, `OTEL_EXPORTER_OTLP_PROTOCOL is "pigeon"; give grpc or http/protobuf`)
	})
}

func TestMetricsHoldTheBuildAndTheRuntime(t *testing.T) {
	alone(t)
	seen, err := Start(t.Context())
	require.NoError(t, err)
	defer func() { require.NoError(t, seen.Close(t.Context())) }()
	reply := httptest.NewRecorder()
	seen.Metrics().ServeHTTP(reply, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	require.Equal(t, http.StatusOK, reply.Code)
	require.Contains(t, reply.Body.String(), "stillroom_build_info{go_version=\""+Build().Go)
	require.Contains(t, reply.Body.String(), "\ngo_goroutines ")
}

// The header is the example of the W3C recommendation "Trace Context", section 3.2.3.4.
func TestLinesCarryTheirTrace(t *testing.T) {
	var out bytes.Buffer
	log := slog.New(Traced(slog.NewJSONHandler(&out, nil))).With("a", 1)
	ctx := Propagator.Extract(t.Context(), propagation.MapCarrier{"traceparent": "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01"})
	log.InfoContext(ctx, "inside")
	var line map[string]any
	require.NoError(t, json.Unmarshal(out.Bytes(), &line))
	require.Equal(t, "4bf92f3577b34da6a3ce929d0e0e4736", line["trace_id"])
	require.Equal(t, "00f067aa0ba902b7", line["span_id"])
	out.Reset()
	log.InfoContext(t.Context(), "outside")
	require.NotContains(t, out.String(), "trace_id")
}
