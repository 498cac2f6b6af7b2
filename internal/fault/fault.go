// Package fault is the small vocabulary of errors that every room speaks.
//
// A fault says what kind of trouble it is, in a sentence for people, and, for
// bad input, which fields are wrong and what would put them right. The rpc room
// translates a fault to a gRPC status in one place; anything that is not a fault
// is internal, and its text stays in the log.
package fault

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// Kind sorts faults by what the caller can do about them.
type Kind int

const (
	// Internal is everything nobody foresaw; its cause is logged, never shown.
	Internal Kind = iota
	// Invalid input: fix the fields named in Violations and call again.
	Invalid
	// NotFound: the named thing does not exist in this kitchen.
	NotFound
	// AlreadyExists: the name or the place is taken.
	AlreadyExists
	// Precondition: the world must change first (a full class, a used revision).
	Precondition
	// Conflict: somebody else was faster; read again and retry the change.
	Conflict
	// Exhausted: a limit was reached; wait for RetryAfter.
	Exhausted
	// Unavailable: the database is away; retry the same call after RetryAfter.
	Unavailable
	// Denied: the caller may not do this.
	Denied
	// Unauthenticated: the caller did not say who they are, or not credibly.
	Unauthenticated
)

// Violation is one wrong field of a request or of an imported file.
type Violation struct {
	// Field is the path of the field as the caller knows it, e.g. "batches[2].jars" or "line 14, email".
	Field string
	// Value is what was given, shortened for printing; empty when nothing was.
	Value string
	// Reason says what is wrong with it.
	Reason string
	// WayOut says what would be accepted.
	WayOut string
}

// String gives the violation as one readable clause.
func (v Violation) String() string {
	var b strings.Builder
	b.WriteString(v.Field)
	if v.Value != "" {
		fmt.Fprintf(&b, " %q", v.Value)
	}
	b.WriteString(": " + v.Reason)
	if v.WayOut != "" {
		b.WriteString("; " + v.WayOut)
	}
	return b.String()
}

// Error is a fault. Message is for people and holds no SQL, no stack and no secret.
type Error struct {
	Kind       Kind
	Message    string
	Violations []Violation
	// RetryAfter is set for Exhausted and Unavailable, zero otherwise.
	RetryAfter time.Duration
	// Reason tells programs more than Kind does, in capitals and underscores; empty where Kind says it all.
	Reason string

	cause error
}

// Error is the message, followed by each violation.
func (e *Error) Error() string {
	if len(e.Violations) == 0 {
		return e.Message
	}
	parts := make([]string, len(e.Violations))
	for i, v := range e.Violations {
		parts[i] = v.String()
	}
	if e.Message == "" {
		return strings.Join(parts, "; ")
	}
	return e.Message + ": " + strings.Join(parts, "; ")
}

// Unwrap gives the private cause, for logs.
func (e *Error) Unwrap() error { return e.cause }

// Because attaches the private cause and returns the same fault.
func (e *Error) Because(cause error) *Error {
	e.cause = cause
	return e
}

// New makes a fault of a kind with a formatted message.
func New(kind Kind, format string, args ...any) *Error {
	return &Error{Kind: kind, Message: fmt.Sprintf(format, args...)}
}

// Field makes an Invalid fault about one field.
func Field(field, value, reason, wayOut string) *Error {
	return &Error{Kind: Invalid, Violations: []Violation{{Field: field, Value: Shorten(value), Reason: reason, WayOut: wayOut}}}
}

// Missing makes a NotFound fault that names the thing asked for.
func Missing(what, name string) *Error {
	return New(NotFound, "there is no %s named %q", what, Shorten(name))
}

// KindOf is the kind of the first fault in err's chain, Internal when there is none.
func KindOf(err error) Kind {
	var f *Error
	if errors.As(err, &f) {
		return f.Kind
	}
	return Internal
}

// Collector gathers violations so that a caller hears of all wrong fields at once.
type Collector struct{ violations []Violation }

// Add records one violation.
func (c *Collector) Add(field, value, reason, wayOut string) {
	c.violations = append(c.violations, Violation{Field: field, Value: Shorten(value), Reason: reason, WayOut: wayOut})
}

// AddErr takes over the violations of a fault under a prefix ("lines[3].");
// any other error becomes one violation of the prefix itself. A nil err adds nothing.
func (c *Collector) AddErr(prefix string, err error) {
	if err == nil {
		return
	}
	var f *Error
	if errors.As(err, &f) && len(f.Violations) > 0 {
		for _, v := range f.Violations {
			v.Field = prefix + v.Field
			c.violations = append(c.violations, v)
		}
		return
	}
	c.Add(strings.TrimSuffix(prefix, "."), "", err.Error(), "")
}

// Len is the number of violations so far.
func (c *Collector) Len() int { return len(c.violations) }

// Err is an Invalid fault with everything collected, or nil.
func (c *Collector) Err() error {
	if len(c.violations) == 0 {
		return nil
	}
	return &Error{Kind: Invalid, Violations: c.violations}
}

// longestValue is how much of a bad value an error repeats, in bytes.
const longestValue = 80

// Shorten cuts a value for printing, at a rune boundary.
func Shorten(s string) string {
	if len(s) <= longestValue {
		return s
	}
	cut := longestValue
	for cut > 0 && s[cut]&0xC0 == 0x80 {
		cut--
	}
	return s[:cut] + "…"
}
