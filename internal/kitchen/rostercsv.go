package kitchen

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"net/mail"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// rosterColumns are the columns of a roster file, in the order they are written.
// The last two are written for readers and ignored when read.
var rosterColumns = []string{"name", "email", "phone", "allergies", "home_altitude", "station", "state", "waiting_position"}

// Limits of a participant's fields, in characters; the contract states the same.
const (
	longestName      = 120
	longestPhone     = 40
	longestAllergies = 500
)

// RosterLine is a good line of a roster file.
type RosterLine struct {
	// Line is its number in the file, from 1.
	Line  int
	Entry RosterEntry
}

// BadLine is a line of an imported file that could not be used.
type BadLine struct {
	// Line is its number in the file, from 1.
	Line int
	// Field is the column, empty when the whole line is at fault.
	Field   string
	Problem string
}

// ReadRoster reads a roster file: CSV by RFC 4180, UTF-8 with or without a
// byte-order mark, column names in the first line in any order and case. It
// returns the good lines and the bad ones; the error is for a file that cannot be
// read as a whole (no name column, an unknown or repeated column, not UTF-8).
func ReadRoster(data []byte) ([]RosterLine, []BadLine, error) {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if !utf8.Valid(data) {
		return nil, nil, fault.Field("csv", "", "is not UTF-8 text", "save the file as UTF-8")
	}
	r := csv.NewReader(bytes.NewReader(data))
	r.FieldsPerRecord = -1
	header, err := r.Read()
	if err != nil {
		return nil, nil, fault.Field("csv", "", "has no header line", "begin with a line of column names: "+strings.Join(rosterColumns, ", "))
	}
	columns, err := readHeader(header)
	if err != nil {
		return nil, nil, err
	}
	var good []RosterLine
	var bad []BadLine
	seen := map[string]int{}
	for {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			return good, bad, nil
		}
		var broken *csv.ParseError
		if errors.As(err, &broken) {
			bad = append(bad, BadLine{Line: broken.StartLine, Problem: "is not CSV: " + broken.Err.Error() + "; double every quote inside a quoted field"})
			continue
		}
		if err != nil {
			return nil, nil, err
		}
		line, _ := r.FieldPos(0)
		if len(record) != len(columns) {
			bad = append(bad, BadLine{Line: line, Problem: fmt.Sprintf("has %d fields where the header has %d; quote fields that hold commas", len(record), len(columns))})
			continue
		}
		entry, problems := readEntry(line, columns, record)
		if key := strings.ToLower(entry.Email); key != "" && len(problems) == 0 {
			if first, twice := seen[key]; twice {
				problems = append(problems, BadLine{Line: line, Field: "email", Problem: fmt.Sprintf("%q stands in line %d already; give each person one line", fault.Shorten(entry.Email), first)})
			} else {
				seen[key] = line
			}
		}
		if len(problems) > 0 {
			bad = append(bad, problems...)
			continue
		}
		good = append(good, RosterLine{Line: line, Entry: entry})
	}
}

func readHeader(header []string) ([]string, error) {
	var c fault.Collector
	columns := make([]string, len(header))
	seen := map[string]bool{}
	for i, name := range header {
		column := strings.ReplaceAll(strings.ToLower(strings.TrimSpace(name)), " ", "_")
		known := false
		for _, k := range rosterColumns {
			known = known || k == column
		}
		switch {
		case !known:
			c.Add("csv, header", name, "is not a column of a roster", "use: "+strings.Join(rosterColumns, ", "))
		case seen[column]:
			c.Add("csv, header", name, "stands twice", "keep one of the two columns")
		}
		seen[column] = true
		columns[i] = column
	}
	if c.Len() == 0 && !seen["name"] {
		c.Add("csv, header", strings.Join(header, ","), "has no name column", "name one column \"name\"")
	}
	return columns, c.Err()
}

func readEntry(line int, columns, record []string) (RosterEntry, []BadLine) {
	var e RosterEntry
	var bad []BadLine
	refuse := func(column, problem string) { bad = append(bad, BadLine{Line: line, Field: column, Problem: problem}) }
	for i, column := range columns {
		value := strings.TrimSpace(record[i])
		if hasControl(value) {
			refuse(column, "holds control characters; remove them")
			continue
		}
		switch column {
		case "name":
			e.Name = value
			if n := utf8.RuneCountInString(value); n == 0 {
				refuse(column, "is empty; every line needs a name")
			} else if n > longestName {
				refuse(column, fmt.Sprintf("has %d characters; at most %d", n, longestName))
			}
		case "email":
			e.Email = value
			if address, err := mail.ParseAddress(value); value != "" && (err != nil || address.Address != value) {
				refuse(column, fmt.Sprintf("%q is not a mail address; give one like ana@example.org, or leave it empty", fault.Shorten(value)))
			}
		case "phone":
			e.Phone = value
			if utf8.RuneCountInString(value) > longestPhone {
				refuse(column, fmt.Sprintf("is longer than %d characters", longestPhone))
			}
		case "allergies":
			e.Allergies = value
			if utf8.RuneCountInString(value) > longestAllergies {
				refuse(column, fmt.Sprintf("is longer than %d characters", longestAllergies))
			}
		case "home_altitude":
			if value == "" {
				break
			}
			altitude, err := measure.ParseAltitude(value)
			if err != nil {
				refuse(column, err.Error())
				break
			}
			e.HomeAltitude = &altitude
		case "station":
			e.Station = value
		}
	}
	return e, bad
}

func hasControl(s string) bool {
	return strings.ContainsFunc(s, func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) })
}

// WriteRoster writes a roster as ReadRoster reads it, with state and waiting
// position beside: RFC 4180 with CRLF line ends, UTF-8 without a byte-order mark.
func WriteRoster(entries []RosterEntry) ([]byte, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	if err := w.Write(rosterColumns); err != nil {
		return nil, err
	}
	for _, e := range entries {
		altitude, position := "", ""
		if e.HomeAltitude != nil {
			altitude = e.HomeAltitude.Metres().Decimal(3) + " m"
		}
		if e.WaitingPosition > 0 {
			position = strconv.Itoa(e.WaitingPosition)
		}
		if err := w.Write([]string{e.Name, e.Email, e.Phone, e.Allergies, altitude, e.Station, string(e.State), position}); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return out.Bytes(), w.Error()
}
