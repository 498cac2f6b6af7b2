package rpc

import (
	"context"

	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/otel/metric"
	metricnoop "go.opentelemetry.io/otel/metric/noop"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace/noop"
	"google.golang.org/grpc"
)

// instrument has every call traced and timed. Nothing is left to global settings, so
// that two servers in one process do not mix.
func (o *Options) instrument() grpc.ServerOption {
	if o.Traces == nil {
		o.Traces = noop.NewTracerProvider()
	}
	if o.Meters == nil {
		o.Meters = metricnoop.NewMeterProvider()
	}
	if o.Propagator == nil {
		o.Propagator = propagation.TraceContext{}
	}
	return grpc.StatsHandler(otelgrpc.NewServerHandler(
		otelgrpc.WithTracerProvider(o.Traces), otelgrpc.WithMeterProvider(o.Meters), otelgrpc.WithPropagators(o.Propagator)))
}

// measure registers the figures that no single call shows.
func (o *Options) measure(queue *questionService, door *doorman) error {
	meter := o.Meters.Meter("stillroom/internal/rpc")
	for _, m := range []struct {
		name, about string
		value       func() int
	}{
		{"stillroom.watchers", "Clients that watch a queue of questions.", queue.feed.watching},
		{"stillroom.plans.searching", "Searches for load plans that run.", door.searches.Running},
		{"stillroom.plans.waiting", "Searches for load plans that wait for a processor.", door.searches.Waiting},
		{"stillroom.plans.places", "Searches for load plans that may run at a time.", door.searches.Places},
	} {
		observe := func(_ context.Context, into metric.Int64Observer) error {
			into.Observe(int64(m.value()))
			return nil
		}
		if _, err := meter.Int64ObservableGauge(m.name, metric.WithDescription(m.about), metric.WithInt64Callback(observe)); err != nil {
			return err
		}
	}
	return nil
}

// watching counts the watchers of all kitchens.
func (f *queueFeed) watching() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	n := 0
	for _, k := range f.kitchens {
		k.mu.Lock()
		n += len(k.watchers)
		k.mu.Unlock()
	}
	return n
}
