package canning_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/canning"
)

// USDA AIB 539 (rev. 2015), Guide 1, p. 1-25: jars cool undisturbed for 12 to 24 hours,
// then lids are tested; p. 1-26: a jar that failed to seal is reprocessed within 24 hours.
func TestSealTestOf(t *testing.T) {
	t.Parallel()
	noon := time.Date(2027, 8, 21, 12, 0, 0, 0, time.UTC)
	test := canning.SealTestOf(noon, noon.Add(50*time.Minute))
	require.Equal(t, noon.Add(12*time.Hour+50*time.Minute), test.From, "12 hours after the last")
	require.Equal(t, noon.Add(24*time.Hour), test.Until, "24 hours after the first")
	far := canning.SealTestOf(noon, noon.Add(20*time.Hour))
	require.Equal(t, far.Until, far.From)
}

func TestUnsealedSteps(t *testing.T) {
	t.Parallel()
	texts := func(steps []canning.Step) (all []string) {
		for _, s := range steps {
			require.Equal(t, canning.Unsealed, s.Stage)
			require.Contains(t, s.Source.Publication, "AIB 539", s.Text)
			all = append(all, s.Text)
		}
		return all
	}
	// The sentences' figures are those of Guide 1, p. 1-26 (24 hours, 1-1/2 inch) and p. 1-27 (30 minutes, 1 inch).
	soon := texts(canning.UnsealedSteps(false))
	require.Len(t, soon, 4)
	require.Contains(t, soon[0], "within 24 hours, with a new lid")
	require.Contains(t, soon[2], "1-1/2 inches")
	late := texts(canning.UnsealedSteps(true))
	require.Contains(t, late[0], "24 hours")
	require.Contains(t, late[1], "not tasted")
	require.Contains(t, late[2], "30 minutes, with at least 1 inch")
	for _, s := range late {
		require.NotContains(t, s, "refrigerate", "what stood for longer is not kept")
	}
	require.Equal(t, canning.CheckingSeals, canning.SealSteps()[len(canning.SealSteps())-1].Stage)
	require.Equal(t, canning.AuthorityFirst, canning.SealCautions()[0].Text)
}
