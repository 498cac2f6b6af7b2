package telemetry

import (
	"context"
	"log/slog"

	"go.opentelemetry.io/otel/trace"
)

// Traced gives every line that is logged within a call the trace_id and span_id of
// the call, in the form of the W3C recommendation "Trace Context".
func Traced(h slog.Handler) slog.Handler { return tracedHandler{h} }

type tracedHandler struct{ slog.Handler }

func (h tracedHandler) Handle(ctx context.Context, r slog.Record) error {
	if span := trace.SpanContextFromContext(ctx); span.IsValid() {
		r = r.Clone()
		r.AddAttrs(slog.String("trace_id", span.TraceID().String()), slog.String("span_id", span.SpanID().String()))
	}
	return h.Handler.Handle(ctx, r)
}

func (h tracedHandler) WithAttrs(attrs []slog.Attr) slog.Handler {
	return tracedHandler{h.Handler.WithAttrs(attrs)}
}

func (h tracedHandler) WithGroup(name string) slog.Handler {
	return tracedHandler{h.Handler.WithGroup(name)}
}
