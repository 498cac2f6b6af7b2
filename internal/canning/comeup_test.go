package canning

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// sevenQuart is the usual canner: 7 quarts, 9 pints or 12 half-pints.
func sevenQuart(b Burner) Canner {
	return Canner{
		Name: "blue enamel", Methods: []Method{BoilingWater},
		Racks:  []RackSpace{{Quart, 7}, {Pint, 9}, {HalfPint, 12}},
		Vessel: StandardVessel(), Burner: b,
	}
}

// Energy balances worked by hand from the thermal and procedure facts (cp and masses as printed there):
//
//	vessel 21.5 qt = 20.3466 l, 3.5 kg of steel at 510 J/(kg K); half full is 10.1733 l * 0.98321 = 10.0025 kg of water at 4188.6 J/(kg K)
//	area of a 0.33 m circle 0.085530 m2, height 0.0203466/0.085530 = 0.23789 m, wall + lid 0.24663 + 0.08553 = 0.33216 m2
//	loss K = 13.6 * 0.33216 = 4.5174 W/K; 180 °F = 82.222 °C, 140 °F = 60 °C
//	t = C/K * ln((P - K(T0-20))/(P - K(Tb-20)))
func TestComeUpAgainstHandWorkedBalances(t *testing.T) {
	aluminium := sevenQuart(Burner{ElectricBurner, 2500})
	aluminium.Methods = []Method{PressureDial}
	aluminium.Vessel.Kilograms, aluminium.Vessel.Material = 5.5, Aluminium
	mile, err := measure.ParseAltitude("1600 m")
	require.NoError(t, err)
	sea := measure.Altitude{}

	for _, c := range []struct {
		name    string
		canner  Canner
		load    HeatLoad
		minutes float64
	}{
		// Seven quarts filled hot, at sea level (99.97 °C), 1750 W electric * 0.74 = 1295 W:
		//   water 41,896 and vessel 1,785 J/K, glass 3.15 kg * 840 = 2,646, food 6.6245 kg * 4000 = 26,498, all at 82.22; lids 64 at 20
		//   C = 72,890 J/K, T0 = 82.167; 1295 - 280.83 = 1014.17; 1295 - 361.25 = 933.75
		//   t = 72890/4.5174 * ln(1014.17/933.75) = 1333.1 s
		{"quarts hot at sea level", sevenQuart(Burner{ElectricBurner, 1750}),
			HeatLoad{Method: BoilingWater, Jar: Quart, Pack: reference.HotPack, Jars: 7, Altitude: sea}, 22.22},
		// Nine pints packed raw at 1,600 m (94.65 °C), gas 15,000 Btu/h = 4396 W * 0.32 = 1406.7 W:
		//   water 41,896 and vessel 1,785 at 60, glass 2.7 kg * 840 = 2,268 at 82.22, food 4.2586 kg * 4000 = 17,034 at (20+94.65)/2 = 57.33, lids 83 at 20
		//   C = 63,066 J/K, T0 = 60.024; 1406.7 - 180.8 = 1225.9; 1406.7 - 337.2 = 1069.5
		//   t = 63066/4.5174 * ln(1225.9/1069.5) = 1905.6 s
		{"pints raw at 1,600 m", sevenQuart(Burner{GasBurner, 4396.066}),
			HeatLoad{Method: BoilingWater, Jar: Pint, Pack: reference.RawPack, Jars: 9, Altitude: mile}, 31.76},
		// Four of nine pints, hot, induction 1800 W * 0.74 = 1332 W; five jars' room, 5*(0.473176+0.12) = 2.966 l, is
		// topped up with boiling water: 2.9161 kg = 12,214 J/K at 99.97
		//   C = 64,511 J/K, T0 = 85.547; 1332 - 296.1 = 1035.9; 1332 - 361.2 = 970.8
		//   t = 64511/4.5174 * ln(1035.9/970.75) = 927.7 s
		{"four pints hot", sevenQuart(Burner{InductionBurner, 1800}),
			HeatLoad{Method: BoilingWater, Jar: Pint, Pack: reference.HotPack, Jars: 4, Altitude: sea}, 15.46},
		// Seven quarts raw in a 5.5 kg aluminium pressure canner with 3 in of water (0.0762 m * 0.085530 m2 * 983.21 = 6.408 kg),
		// 2500 W * 0.74 = 1850 W, to steam:
		//   water 26,840 and vessel 4,950 at 60, glass 2,646 at 82.22, food 26,498 at 59.98, lids 64 at 20
		//   C = 60,999 J/K, T0 = 60.915; 1850 - 184.8 = 1665.2; 1850 - 361.2 = 1488.8
		//   t = 60999/4.5174 * ln(1665.2/1488.75) = 1512.3 s
		{"quarts raw to steam", aluminium,
			HeatLoad{Method: PressureDial, Jar: Quart, Pack: reference.RawPack, Jars: 7, Altitude: sea}, 25.20},
	} {
		b, err := c.canner.Balance(c.load)
		require.NoError(t, err, c.name)
		power, err := c.canner.Burner.Effective()
		require.NoError(t, err, c.name)
		got, err := b.Minutes(power)
		require.NoError(t, err, c.name)
		require.InDelta(t, c.minutes, got, 0.02, c.name)
		require.InDelta(t, float64(power), float64(b.power(got)), 1e-6, "power and minutes are inverse")
	}
}

// USDA AIB 539 (2015), Guide 1, p. 1-17: 20 to 30 minutes for a loaded boiling-water canner, 12 to 15 for a pressure canner to
// vent. At the burners a household has (1,750 W large element, NCHFP; 2,500 W large smooth-top element), preheated as the
// guide tells.
func TestComeUpMeetsThePublishedTimesAtHouseholdPower(t *testing.T) {
	shortest, longest := reference.MustFigure("bw_heat_up_minutes_min"), reference.MustFigure("bw_heat_up_minutes_max")
	for _, c := range []struct {
		jar   JarSize
		pack  reference.Pack
		rated Watts
	}{{Pint, reference.HotPack, 1750}, {Quart, reference.HotPack, 1750}, {Pint, reference.RawPack, 2500}} {
		canner := sevenQuart(Burner{ElectricBurner, c.rated})
		e, err := canner.FromPhysics(HeatLoad{Method: BoilingWater, Jar: c.jar, Pack: c.pack})
		require.NoError(t, err)
		require.Equal(t, FromPhysics, e.Basis)
		minutes := float64(e.Minutes(canner.Holds(c.jar)))
		require.GreaterOrEqual(t, minutes, shortest, "%v", c)
		require.LessOrEqual(t, minutes, longest, "%v", c)
	}

	// From cold tap water (20 °C) the published half hour takes a stronger burner: between 2.2 and 2.6 kW into the pot, which is a
	// 3.0 to 3.5 kW element at the published 0.74, above the 2.5 kW listed as large ("some are higher").
	cold := measure.Celsius(20)
	canner := sevenQuart(Burner{ElectricBurner, 2500})
	b, err := canner.Balance(HeatLoad{Method: BoilingWater, Jar: Pint, Pack: reference.HotPack, Jars: 9, Water: &cold})
	require.NoError(t, err)
	need := b.power(longest)
	require.Greater(t, need, Watts(2200))
	require.Less(t, need, Watts(2600))

	canner.Methods = []Method{PressureWeighted}
	low, high := reference.MustFigure("pc_heat_to_vent_min"), reference.MustFigure("pc_heat_to_vent_max")
	e, err := canner.FromPhysics(HeatLoad{Method: PressureWeighted, Jar: Quart, Pack: reference.HotPack})
	require.NoError(t, err)
	require.GreaterOrEqual(t, float64(e.Minutes(7)), low)
	require.LessOrEqual(t, float64(e.Minutes(7)), high)
}

func TestEstimateIsNowhereBelowTheBalanceAndSaysWhatItAssumes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		canner := sevenQuart(Burner{rapid.SampledFrom([]BurnerKind{GasBurner, ElectricBurner, InductionBurner}).Draw(t, "kind"), Watts(rapid.IntRange(1800, 6000).Draw(t, "W"))})
		canner.Methods = Methods()
		load := HeatLoad{
			Method: rapid.SampledFrom(Methods()).Draw(t, "method"), Jar: rapid.SampledFrom([]JarSize{HalfPint, Pint, Quart, ML500}).Draw(t, "jar"),
			Pack:     rapid.SampledFrom([]reference.Pack{reference.HotPack, reference.RawPack}).Draw(t, "pack"),
			Altitude: inFeet(t, measure.Int(rapid.Int64Range(-1000, 12000).Draw(t, "ft"))),
		}
		e, err := canner.FromPhysics(load)
		require.NoError(t, err)
		require.NotEmpty(t, e.Assumptions)
		require.GreaterOrEqual(t, e.PerJar, 0.0)
		for n := 1; n <= canner.Holds(load.Jar); n++ {
			load.Jars = n
			b, err := canner.Balance(load)
			require.NoError(t, err)
			m, err := b.Minutes(e.Power)
			require.NoError(t, err)
			require.GreaterOrEqual(t, e.Base+e.PerJar*float64(n)+1e-6, m)
			require.LessOrEqual(t, e.Base+e.PerJar*float64(n), max(m+1, m*1.02), "within a minute or 2 %")
			require.GreaterOrEqual(t, float64(e.Minutes(n)), m-1e-6)
		}
	})
}

func TestAWeakBurnerIsSaidToNeverBoil(t *testing.T) {
	_, err := sevenQuart(Burner{ElectricBurner, 400}).FromPhysics(HeatLoad{Method: BoilingWater, Jar: Pint, Pack: reference.HotPack})
	require.Equal(t, fault.Precondition, fault.KindOf(err))
	require.ErrorContains(t, err, "never brings this load to the boil")
}

// record simulates come-ups of a canner whose pot gets a known power, timed with an error.
func record(t require.TestingT, c Canner, power Watts, n int, noise float64, seed uint64) []Observation {
	r := rand.New(rand.NewPCG(seed, 7))
	var obs []Observation
	for i := range n {
		jar := []JarSize{Pint, Quart, HalfPint}[i%3]
		load := HeatLoad{Method: BoilingWater, Jar: jar, Pack: []reference.Pack{reference.HotPack, reference.RawPack}[i%2],
			Jars: 1 + r.IntN(c.Holds(jar)), Altitude: inFeet(t, measure.Int(5280))}
		b, err := c.Balance(load)
		require.NoError(t, err)
		m, err := b.Minutes(power)
		require.NoError(t, err)
		obs = append(obs, Observation{Load: load, Minutes: math.Max(1, m+noise*r.NormFloat64())})
	}
	return obs
}

func TestFitRecoversAKnownPowerFromNoisyRecords(t *testing.T) {
	// A cook reads a kitchen clock: half a minute of standard deviation on a dozen come-ups. The fit must come within 3 %.
	for seed := range uint64(40) {
		c := sevenQuart(Burner{ElectricBurner, 2500})
		truth := Watts(900 + 60*seed)
		c.Record = record(t, c, truth, 12, 0.5, seed)
		e, err := c.ComeUp(HeatLoad{Method: BoilingWater, Jar: Pint, Pack: reference.HotPack, Altitude: feet(t, "5280")})
		require.NoError(t, err)
		require.Equal(t, FromRecord, e.Basis)
		require.InEpsilon(t, float64(truth), float64(e.Power), 0.03, "seed %d", seed)
		require.Equal(t, 12, e.Observations)
		require.Positive(t, e.ErrorMinutes)
		require.Less(t, e.ErrorMinutes, 1.0)
		require.Less(t, math.Abs(float64(e.Power-truth)), 4*float64(e.PowerError), "the stated error covers the miss")
	}
}

func TestFitIsExactOnExactRecords(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := sevenQuart(Burner{ElectricBurner, 2500})
		truth := Watts(rapid.IntRange(700, 6000).Draw(t, "W"))
		c.Record = record(t, c, truth, rapid.IntRange(3, 9).Draw(t, "n"), 0, rapid.Uint64().Draw(t, "seed"))
		for _, o := range c.Record {
			if o.Minutes > longestComeUp {
				t.Skip("too slow to be a record")
			}
		}
		e, err := c.FromRecord(HeatLoad{Method: BoilingWater, Jar: Quart, Pack: reference.HotPack})
		require.NoError(t, err)
		require.InEpsilon(t, float64(truth), float64(e.Power), 1e-6)
		require.InDelta(t, 0, e.ErrorMinutes, 1e-3)
	})
}

func TestPhysicsHoldsUntilThreeObservations(t *testing.T) {
	c := sevenQuart(Burner{ElectricBurner, 2500})
	load := HeatLoad{Method: BoilingWater, Jar: Pint, Pack: reference.HotPack}
	c.Record = record(t, c, 1500, 2, 0, 1)
	e, err := c.ComeUp(load)
	require.NoError(t, err)
	require.Equal(t, FromPhysics, e.Basis)
	require.Contains(t, e.Assumptions[len(e.Assumptions)-1], "2 of the 3")
	_, err = c.FromRecord(load)
	require.Equal(t, fault.Precondition, fault.KindOf(err))
}

func TestCannerCheckNamesEveryField(t *testing.T) {
	require.NoError(t, sevenQuart(Burner{GasBurner, 3000}).Check())
	bad := Canner{
		Methods: []Method{"oven"}, Racks: []RackSpace{{Pint, 0}, {ML500, 9}, {"bucket", 1}},
		Vessel: Vessel{Litres: -1, DiameterMetres: math.NaN(), Kilograms: 1e9, Material: "glass"},
		Burner: Burner{"coal", 0},
		Record: []Observation{{Load: HeatLoad{Method: BoilingWater, Jar: Pint, Pack: reference.HotPack, Jars: 99}, Minutes: -3}},
	}
	err := bad.Check()
	require.Equal(t, fault.Invalid, fault.KindOf(err))
	for _, field := range []string{"methods[0]", "racks[0].jars", "racks[1].jar", "racks[2].jar", "vessel.litres", "vessel.diameter_metres",
		"vessel.kilograms", "vessel.material", "burner.kind", "burner.rated", "record[0].method", "record[0].minutes"} {
		require.ErrorContains(t, err, field)
	}
	require.ErrorContains(t, Canner{}.Check(), "methods: are missing")
}

func TestRackSpaceGoesByTradeSizeAndUpwards(t *testing.T) {
	c := sevenQuart(Burner{GasBurner, 3000})
	for jar, want := range map[JarSize]int{Quart: 7, L1: 7, Pint: 9, ML500: 9, HalfPint: 12, ML250: 12, FourOunce: 12, TwelveOunce: 9, OneAndHalfPint: 7, HalfGallon: 0} {
		require.Equal(t, want, c.Holds(jar), jar)
	}
	small := Canner{Methods: []Method{PressureDial}, Racks: []RackSpace{{Pint, 4}}}
	rule, tooSmall := small.TooSmallForPressure()
	require.True(t, tooSmall)
	require.Equal(t, "pressure_canner_min_size", rule.Key)
	_, tooSmall = c.TooSmallForPressure()
	require.False(t, tooSmall)
}
