package recipe

import (
	"errors"
	"strings"
	"unicode"
	"unicode/utf8"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// renamed gives a measure error as a fault about a field of ours.
func renamed(err error, field string) error {
	var m *measure.Error
	if errors.As(err, &m) {
		return fault.Field(field, m.Value, m.Reason, m.WayOut)
	}
	var f *fault.Error
	if errors.As(err, &f) && len(f.Violations) == 1 {
		v := f.Violations[0]
		return fault.Field(field, v.Value, v.Reason, v.WayOut)
	}
	return fault.Field(field, "", err.Error(), "")
}

// checkText refuses text that is too long, is not UTF-8 or holds control characters.
func checkText(field, s string, longest int) error {
	switch {
	case !utf8.ValidString(s):
		return fault.Field(field, "", "is not valid UTF-8 text", "save the file as UTF-8")
	case len(s) > longest:
		return fault.Field(field, s, "is too long", "keep it under "+itoa(longest)+" bytes")
	case strings.IndexFunc(s, func(c rune) bool { return unicode.IsControl(c) && c != '\n' && c != '\t' }) >= 0:
		return fault.Field(field, "", "holds control characters", "write plain text")
	}
	return nil
}
