package questions

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"golang.org/x/text/unicode/norm"

	"stillroom/internal/fault"
)

func TestCleanMendsWhatPeoplePaste(t *testing.T) {
	for in, want := range map[string]string{
		"  How long?\r\n\r\n\r\n\r\nFor pints \t please  ": "How long?\n\nFor pints please",
		"jar 🫙 did not seal 👩🏽‍🍳":                          "jar 🫙 did not seal 👩🏽‍🍳",
		"is it \u202enepo\u202c?":                          "is it nepo?",
		"a\u2066b\u2069c\u200bd\ufeff":                     "abcd",
		"cafe\u0301":                                       "café",
		"مرحبا كيف أعرف؟":                                  "مرحبا كيف أعرف؟",
		"z\u0301\u0302\u0303\u0304\u0305\u0306\u0307y":     norm.NFC.String("z\u0301\u0302\u0303\u0304\u0305y"),
		"e\u200b\u0301":                                    "é",
		"😬":                                                "😬",
	} {
		got, err := Clean("text", in, LongestQuestion)
		require.NoError(t, err, in)
		require.Equal(t, want, got, "%q", in)
	}
}

func TestCleanRefusesByFieldValueAndWayOut(t *testing.T) {
	for in, reason := range map[string]string{
		"":                                "is empty",
		" \n\t ":                          "is empty",
		"\u202e\u200b":                    "is empty",
		"\u200d\ufe0f":                    "is empty",
		"a\x00b":                          "control character U+0000 at byte 1",
		"a\x1b[31m":                       "control character U+001B at byte 1",
		"\xff\xfe":                        "not valid UTF-8",
		strings.Repeat("é", 2001):         "has 2001 characters, more than 2000",
		strings.Repeat("jar ", 25_000):    "more than 2000", // 100 kB
		strings.Repeat("\u202e", 100_000): "more than 2000",
	} {
		_, err := Clean("question.text", in, LongestQuestion)
		require.Equal(t, fault.Invalid, fault.KindOf(err), "%.20q", in)
		var f *fault.Error
		require.ErrorAs(t, err, &f)
		require.Equal(t, "question.text", f.Violations[0].Field)
		require.Contains(t, f.Violations[0].Reason, reason)
		require.NotEmpty(t, f.Violations[0].WayOut)
		require.True(t, utf8.ValidString(err.Error()))
	}
	_, err := Clean("text", strings.Repeat("é", 2000), LongestQuestion)
	require.NoError(t, err)
}

func FuzzClean(f *testing.F) {
	f.Add("How long?")
	f.Add("\u202e😬\u200d\u0301\u0301\u0301\u0301\u0301\u0301 a\n\n\n b")
	f.Add("\ufdfa\u0344\u1100\u1161\u11a8")
	f.Fuzz(func(t *testing.T, text string) {
		got, err := Clean("text", text, LongestQuestion)
		if err != nil {
			require.Equal(t, fault.Invalid, fault.KindOf(err))
			return
		}
		require.NotEmpty(t, got)
		require.LessOrEqual(t, utf8.RuneCountInString(got), LongestQuestion)
		again, err := Clean("text", got, LongestQuestion)
		require.NoError(t, err)
		require.Equal(t, got, again, "cleaning twice changes nothing")
	})
}
