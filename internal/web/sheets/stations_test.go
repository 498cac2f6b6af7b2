package sheets

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// By hand: cooking begins at 10:00 after half an hour of cutting and ten minutes of draining; the boil takes 10 minutes
// to reach and 5 to keep, the simmer 10 and 20, and filling 6. The soak was done the day before.
func TestTimeSteps(t *testing.T) {
	t.Parallel()
	ten := time.Date(2027, 8, 21, 10, 0, 0, 0, time.UTC)
	at := func(minutes int) time.Time { return ten.Add(time.Duration(minutes) * time.Minute) }
	steps := []*stillroomv1.RecipeStep{
		{Action: "soak", MinutesMin: 720, MinutesMax: 1080}, {Action: "drain"}, {Action: "boil", MinutesMin: 5, MinutesMax: 5},
		{Action: "stir"}, {Action: "simmer", MinutesMin: 20, MinutesMax: 20}, {Action: "fill"},
	}
	plan := &stillroomv1.PlannedBatch{
		CookTime: timestamppb.New(ten), LiddedTime: timestamppb.New(at(51)),
		BeforeClass: []*stillroomv1.WorkPart{{What: "soak", Minutes: 1080}},
		Preparing:   []*stillroomv1.WorkPart{{What: "wash, peel, cut", Minutes: 30, Assumed: true}, {What: "drain", Minutes: 10, Assumed: true}},
		Cooking: []*stillroomv1.WorkPart{{What: "bring to the heat for: boil", Minutes: 10, Assumed: true}, {What: "boil", Minutes: 5},
			{What: "bring to the heat for: simmer", Minutes: 10, Assumed: true}, {What: "simmer", Minutes: 20}, {What: "fill 6 jars", Minutes: 6, Assumed: true}},
	}
	got := timeSteps(plan, steps)
	require.Equal(t, at(-40), got.begin)
	require.Equal(t, int32(30), got.prepare)
	require.Equal(t, []bool{true, false, false, false, false, false}, got.before)
	require.Equal(t, []time.Time{{}, at(-10), at(0), {}, at(15), at(45)}, got.steps, "stirring takes no time of its own")
	require.Equal(t, at(51), got.lidded)
	// Without a plan nothing has a time.
	none := timeSteps(nil, steps)
	require.Equal(t, make([]time.Time, len(steps)), none.steps)
	require.True(t, none.lidded.IsZero())
}

// A pound is 16 ounces of 28.349523125 g (NIST Handbook 44, appendix C): 960 g are 33.86 oz, to the quarter 33.75.
func TestWeight(t *testing.T) {
	t.Parallel()
	for grams, want := range map[float64][2]string{0: {"", ""}, 960: {"960 g", "2 lb 1.75 oz"}, 4.25: {"4.2 g", "0.25 oz"}, 453.6: {"454 g", "1 lb"}, 12500: {"12.5 kg", "27 lb 9 oz"}} {
		require.Equal(t, want[0], Options{}.weight(grams))
		require.Equal(t, want[1], Options{US: true}.weight(grams))
	}
}

func TestStepMinutes(t *testing.T) {
	t.Parallel()
	for want, s := range map[string]*stillroomv1.RecipeStep{
		"": {}, "5 min": {MinutesMin: 5, MinutesMax: 5}, "20 to 30 min": {MinutesMin: 20, MinutesMax: 30}, "12 to 18 h": {MinutesMin: 720, MinutesMax: 1080}, "90 min": {MinutesMax: 90},
	} {
		require.Equal(t, want, stepMinutes(s))
	}
}
