package questions

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/fault"
)

func TestDraft(t *testing.T) {
	desk, err := NewDesk()
	require.NoError(t, err)
	q, err := desk.Draft(Question{Text: "  The lid on my\u202e peaches did not seal\r\n"})
	require.NoError(t, err)
	require.Equal(t, "The lid on my peaches did not seal", q.Text)
	require.Equal(t, "peach", q.Topic)
	require.True(t, q.Urgent)
	require.Equal(t, "unsealed", q.Raised[0].Rule)
	f, ok := desk.Rules.Recall(q.Raised[0])
	require.True(t, ok)
	require.Equal(t, q.Raised[0].Matched, f.Matched)
	_, ok = desk.Rules.Recall(Raised{Rule: "gone"})
	require.False(t, ok)

	// What was raised once stays raised when the words are edited away.
	q.Text = "Never mind"
	q, err = desk.Draft(q)
	require.NoError(t, err)
	require.True(t, q.Urgent)
	require.Len(t, q.Raised, 1)

	q, err = desk.Draft(Question{Text: "Where do the lids go?", Topic: " Lids "})
	require.NoError(t, err)
	require.Equal(t, "Lids", q.Topic)
	require.False(t, q.Urgent)

	_, err = desk.Draft(Question{Text: " ", Topic: strings.Repeat("x", 81), Step: 3, Pinned: true, Excluded: true})
	for _, field := range []string{"text", "topic", "step", "pinned"} {
		require.ErrorContains(t, err, field)
	}
	require.Equal(t, "lid", desk.Vocabulary.Topic("Where do the lids go?"))
	require.Equal(t, "salsa", desk.Vocabulary.Topic("Can I add corn to my jars of salsa?"))
	require.Equal(t, "tomato", desk.Vocabulary.Topic("How do I peel tomatoes?"))
	require.Empty(t, desk.Vocabulary.Topic("When?"))
}

func TestDraftReply(t *testing.T) {
	r, err := DraftReply(Reply{Text: " With a new lid.\x0a", Sources: []Source{{Title: " USDA AIB 539 (rev. 2015) "}}})
	require.NoError(t, err)
	require.Equal(t, Reply{Text: "With a new lid.", Sources: []Source{{Title: "USDA AIB 539 (rev. 2015)"}}}, r)
	_, err = DraftReply(Reply{By: "\x00", Sources: []Source{{}}})
	for _, field := range []string{"text", "answered_by", "sources.publication"} {
		require.ErrorContains(t, err, field)
	}
	require.Equal(t, []Audience{ToClass, ToLibrary}, ToClass.Wider())
}

func TestCheckPace(t *testing.T) {
	require.NoError(t, CheckPace(9, noon, noon))
	err := CheckPace(10, noon.Add(-45*time.Second), noon)
	require.Equal(t, fault.Exhausted, fault.KindOf(err))
	var f *fault.Error
	require.ErrorAs(t, err, &f)
	require.Equal(t, 15*time.Second, f.RetryAfter)
	require.ErrorAs(t, CheckPace(900, noon.Add(-time.Hour), noon), &f)
	require.Equal(t, time.Second, f.RetryAfter)
}
