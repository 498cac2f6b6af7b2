package oven

import "fmt"

// InputError says which field of an instance is wrong and what would put it right.
type InputError struct {
	// Field is the name as the file has it, with a position from 1: "min_time[3]".
	Field string
	// Value is what was given, shortened; empty when nothing was.
	Value string
	// Reason says what is wrong with it.
	Reason string
	// WayOut says what would be accepted.
	WayOut string
}

// Error gives the trouble as one sentence.
func (e *InputError) Error() string {
	s := e.Field
	if e.Value != "" {
		s += fmt.Sprintf(" %q", e.Value)
	}
	s += ": " + e.Reason
	if e.WayOut != "" {
		s += "; " + e.WayOut
	}
	return s
}

func bad(field, value, reason, wayOut string) error {
	return &InputError{Field: field, Value: shorten(value), Reason: reason, WayOut: wayOut}
}

func shorten(s string) string {
	const most = 60
	r := []rune(s)
	if len(r) <= most {
		return s
	}
	return string(r[:most]) + "…"
}
