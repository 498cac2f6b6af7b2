package class

import (
	"fmt"
	"strings"
)

// Invalid is one thing wrong with an instance, told so that the reader can mend it.
type Invalid struct {
	Field  string // path of the field, such as batches[2].jars
	Value  string // what was given, as text
	Reason string // why that cannot be
	WayOut string // what would be accepted
}

// Error puts the four parts into one line.
func (e *Invalid) Error() string {
	return fmt.Sprintf("%s = %s: %s; %s", e.Field, e.Value, e.Reason, e.WayOut)
}

// InvalidSpec is everything found wrong with an instance, in the order of its fields.
type InvalidSpec []*Invalid

// Error lists every fault, one a line.
func (e InvalidSpec) Error() string {
	lines := make([]string, len(e))
	for i, x := range e {
		lines[i] = x.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives the single faults to errors.As.
func (e InvalidSpec) Unwrap() []error {
	out := make([]error, len(e))
	for i, x := range e {
		out[i] = x
	}
	return out
}

// faults collects what is wrong, up to a number that a person would still read.
type faults struct{ list InvalidSpec }

const mostFaults = 50

func (f *faults) add(field string, value any, reason, wayOut string) {
	if len(f.list) < mostFaults {
		f.list = append(f.list, &Invalid{Field: field, Value: fmt.Sprint(value), Reason: reason, WayOut: wayOut})
	}
}

func (f *faults) err() error {
	if len(f.list) == 0 {
		return nil
	}
	return f.list
}

// between checks least <= v <= most.
func (f *faults) between(field string, v, least, most int, what string) bool {
	switch {
	case v < 0 && least >= 0:
		f.add(field, v, what+" cannot be negative", fmt.Sprintf("give a whole number from %d to %d", least, most))
	case v < least:
		f.add(field, v, fmt.Sprintf("%s must be at least %d", what, least), fmt.Sprintf("give a whole number from %d to %d", least, most))
	case v > most:
		f.add(field, v, fmt.Sprintf("%s must be at most %d", what, most), fmt.Sprintf("give a whole number from %d to %d", least, most))
	default:
		return true
	}
	return false
}
