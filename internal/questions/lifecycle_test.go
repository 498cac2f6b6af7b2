package questions

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/fault"
)

func TestEveryStepFromEveryState(t *testing.T) {
	// The drawing in State's comment, written out a second time by hand.
	allowed := map[string]string{
		"asked take": "taken", "asked answer": "answered", "asked park": "parked", "asked merge": "merged",
		"asked withdraw": "withdrawn", "asked edit": "asked", "asked endorse": "asked",
		"taken answer": "answered", "taken park": "parked", "taken skip": "asked", "taken undo": "asked", "taken endorse": "taken",
		"parked take": "taken", "parked answer": "answered", "parked undo": "asked", "parked merge": "merged",
		"parked withdraw": "withdrawn", "parked edit": "parked", "parked endorse": "parked",
		"answered undo": "asked", "merged split": "asked",
	}
	for _, s := range States {
		for _, step := range Steps {
			next, err := s.After(step)
			if want, ok := allowed[s.String()+" "+step.String()]; ok {
				require.NoError(t, err, "%s %s", s, step)
				require.Equal(t, want, next.String(), "%s %s", s, step)
				continue
			}
			require.Equal(t, fault.Precondition, fault.KindOf(err), "%s %s", s, step)
			require.Equal(t, s, next)
			require.ErrorContains(t, err, s.String())
		}
	}
	require.Len(t, allowed, 21)
}

func TestAskedTillTheEnd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Asked
		for _, step := range rapid.SliceOfN(rapid.SampledFrom(Steps), 1, 40).Draw(t, "steps") {
			before := s
			next, err := s.After(step)
			if err == nil {
				s = next
			}
			if before == Withdrawn {
				require.Equal(t, Withdrawn, s)
			}
			if !before.Open() && s.Open() {
				require.Contains(t, []Step{Undo, Split}, step, "only these reopen a question")
			}
		}
		parsed, err := ParseState(s.String())
		require.NoError(t, err)
		require.Equal(t, s, parsed)
	})
	_, err := ParseState("lost")
	require.ErrorContains(t, err, `state "lost"`)
	require.Equal(t, "State(9)", State(9).String())
	require.Equal(t, "Step(-1)", Step(-1).String())
}

func TestCheckMerge(t *testing.T) {
	require.NoError(t, CheckMerge("a", "b", Asked, Asked, ""))
	require.NoError(t, CheckMerge("a", "b", Parked, Answered, ""))
	require.Equal(t, fault.Invalid, fault.KindOf(CheckMerge("a", "a", Asked, Asked, "")))
	require.ErrorContains(t, CheckMerge("a", "b", Asked, Merged, "a"), "merged into this question already")
	require.ErrorContains(t, CheckMerge("a", "b", Asked, Merged, "c"), "merge into c")
	require.ErrorContains(t, CheckMerge("a", "b", Asked, Withdrawn, ""), "withdrawn")
	require.ErrorContains(t, CheckMerge("a", "b", Taken, Asked, ""), "cannot be merged")
}
