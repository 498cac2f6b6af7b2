package measure

import "unicode/utf8"

// Error says which input is wrong, why, and what would be accepted.
type Error struct {
	// Field is what the text was read as: "quantity", "unit", "altitude", "number".
	Field string
	// Value is what was given, shortened for printing.
	Value string
	// Reason says what is wrong with it.
	Reason string
	// WayOut says what would be accepted.
	WayOut string
}

// Error is one readable sentence.
func (e *Error) Error() string {
	s := e.Field
	if e.Value != "" {
		s += ` "` + e.Value + `"`
	}
	s += ": " + e.Reason
	if e.WayOut != "" {
		s += "; " + e.WayOut
	}
	return s
}

func wrong(field, value, reason, wayOut string) *Error {
	const longest = 60
	if len(value) > longest {
		cut := longest
		for cut > 0 && !utf8.RuneStart(value[cut]) {
			cut--
		}
		value = value[:cut] + "…"
	}
	return &Error{Field: field, Value: value, Reason: reason, WayOut: wayOut}
}
