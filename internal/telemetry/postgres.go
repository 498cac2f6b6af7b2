package telemetry

import (
	"github.com/exaring/otelpgx"
	"github.com/jackc/pgx/v5"
	semconv "go.opentelemetry.io/otel/semconv/v1.40.0"
)

// Statements traces and times every statement. A span holds the text of a statement,
// which has placeholders where values go, and never the values.
func (t *Telemetry) Statements() pgx.QueryTracer {
	return otelpgx.NewTracer(otelpgx.WithTracerProvider(t.traces), otelpgx.WithMeterProvider(t.metrics))
}

// WatchPool measures a pool of connections from now on.
func (t *Telemetry) WatchPool(pool otelpgx.PoolStats) error {
	return otelpgx.RecordStats(pool, otelpgx.WithStatsMeterProvider(t.metrics),
		otelpgx.WithStatsAttributes(semconv.DBClientConnectionPoolName("stillroom")))
}
