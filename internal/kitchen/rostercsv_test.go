package kitchen

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"stillroom/internal/measure"
)

func TestRosterRoundTrip(t *testing.T) {
	altitude, err := measure.ParseAltitude("5,280 ft")
	require.NoError(t, err)
	in := []RosterEntry{
		{Name: `Quote "Q", Junior`, Email: "q@example.org", Phone: "+1 555 0100", Allergies: "nuts, sesame", HomeAltitude: &altitude, Station: "bench-1"},
		{Name: "Zoë"},
	}
	data, err := WriteRoster(in)
	require.NoError(t, err)
	require.True(t, strings.HasSuffix(string(data), "\r\n"), "RFC 4180 ends lines with CRLF")
	lines, bad, err := ReadRoster(data)
	require.NoError(t, err)
	require.Empty(t, bad)
	require.Len(t, lines, 2)
	for i, l := range lines {
		require.Equal(t, i+2, l.Line)
		require.Equal(t, in[i].Name, l.Entry.Name)
		require.Equal(t, in[i].Allergies, l.Entry.Allergies)
	}
	require.Zero(t, lines[0].Entry.HomeAltitude.Cmp(altitude), "feet survive the way through metres")
}

func TestRosterCountsLinesOfTheFile(t *testing.T) {
	lines, bad, err := ReadRoster([]byte("NAME,Allergies\n\"Ana\",\"one\ntwo\"\nBo,x,y\n\"Cy,\nDi,\n"))
	require.NoError(t, err)
	require.Equal(t, []BadLine{
		{Line: 2, Field: "allergies", Problem: "holds control characters; remove them"},
		{Line: 4, Problem: "has 3 fields where the header has 2; quote fields that hold commas"},
	}, bad[:2])
	require.Len(t, bad, 3, "a quote that never closes is one bad line")
	require.Equal(t, 5, bad[2].Line)
	require.Empty(t, lines)
}

func FuzzReadRoster(f *testing.F) {
	f.Add([]byte("name,email\nAna,ana@example.org\n"))
	f.Add([]byte("\xef\xbb\xbfNAME\r\n\"A\"\"b\"\r\n"))
	f.Add([]byte("name\n\"open"))
	f.Fuzz(func(t *testing.T, data []byte) {
		lines, _, err := ReadRoster(data)
		if err != nil {
			return
		}
		entries := make([]RosterEntry, len(lines))
		for i, l := range lines {
			require.NotEmpty(t, l.Entry.Name)
			require.True(t, utf8.ValidString(l.Entry.Name))
			entries[i] = l.Entry
		}
		written, err := WriteRoster(entries)
		require.NoError(t, err)
		again, bad, err := ReadRoster(written)
		require.NoError(t, err)
		require.Empty(t, bad)
		require.Len(t, again, len(lines), "what was read can be written and read again")
	})
}
