package kitchen

import (
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

func TestWhatAComeUpEstimateRestsOn(t *testing.T) {
	canner := Canner{
		Methods: []canning.Method{canning.BoilingWater},
		Holds:   []canning.RackSpace{{Jar: canning.Quart, Jars: 7}, {Jar: canning.Pint, Jars: 9}},
	}
	load := canning.HeatLoad{Method: canning.BoilingWater, Jar: canning.ML500, Pack: reference.HotPack}

	e, err := canner.EstimateComeUp("blue", load)
	require.NoError(t, err)
	require.Equal(t, canning.FromPhysics, e.Basis)
	require.Contains(t, e.Assumptions[len(e.Assumptions)-1], "Nobody said what heats this canner")

	canner.ComeUp = ComeUpLine{Base: "12.5", PerJar: "0.35"}
	e, err = canner.EstimateComeUp("blue", load)
	require.NoError(t, err)
	require.Equal(t, AsEntered, e.Basis)
	// 12.5 + 9 * 0.35 = 15.65, so 16 whole minutes; 12.5 + 10 * 0.35 is 16 exactly and stays 16.
	require.Equal(t, measure.Minutes(16), e.Minutes(9))
	require.Equal(t, measure.Minutes(16), e.Minutes(10))

	// Three timed come-ups win over what was entered. They are those of a pot that gets 1,500 W: worked back from
	// the balance, the fit must find that power again.
	for _, jars := range []int{3, 6, 9} {
		o := canning.Observation{Load: load}
		o.Load.Jars = jars
		b, err := canner.Physical("blue").Balance(o.Load)
		require.NoError(t, err)
		o.Minutes, err = b.Minutes(1500)
		require.NoError(t, err)
		canner.Record = append(canner.Record, ComeUp{Observation: o})
	}
	e, err = canner.EstimateComeUp("blue", load)
	require.NoError(t, err)
	require.Equal(t, canning.FromRecord, e.Basis)
	require.InDelta(t, 1500, float64(e.Power), 0.1)
	require.Equal(t, 3, e.Observations)

	// A come-up with more jars than the canner holds any more is left out, and two are too few.
	canner.Holds[1].Jars = 8
	e, err = canner.EstimateComeUp("blue", load)
	require.NoError(t, err)
	require.Equal(t, AsEntered, e.Basis)
	require.Contains(t, e.Assumptions[0], "2 are recorded")

	load.Jar = canning.HalfGallon
	_, err = canner.EstimateComeUp("blue", load)
	require.Equal(t, fault.Invalid, fault.KindOf(err))
	require.ErrorContains(t, err, "jar_size")
}
