package fault

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

func TestCollectorNamesEveryField(t *testing.T) {
	var c Collector
	require.NoError(t, c.Err())
	c.Add("jars", "-1", "is negative", "give 1 or more")
	c.AddErr("lines[3].", Field("unit", "smidgen", "is not a unit we know", "use cup"))
	c.AddErr("lines[4].", errors.New("unreadable"))
	c.AddErr("lines[5].", nil)
	err := c.Err()
	require.Equal(t, Invalid, KindOf(err))
	require.EqualError(t, err, `jars "-1": is negative; give 1 or more; lines[3].unit "smidgen": is not a unit we know; use cup; lines[4]: unreadable`)
}

func TestKindOfLooksThroughWrapping(t *testing.T) {
	err := fmt.Errorf("reading: %w", Missing("class", "salsa").Because(errors.New("no rows")))
	require.Equal(t, NotFound, KindOf(err))
	require.NotContains(t, err.Error(), "no rows")
	require.Equal(t, Internal, KindOf(errors.New("x")))
}

func TestShortenKeepsRunesWhole(t *testing.T) {
	s := Shorten(strings.Repeat("é", 500))
	require.True(t, utf8.ValidString(s))
	require.LessOrEqual(t, len(s), longestValue+len("…"))
}
