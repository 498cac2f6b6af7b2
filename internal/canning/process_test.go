package canning

import (
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

func feet(t require.TestingT, s string) measure.Altitude {
	n, err := measure.Decimal(s)
	require.NoError(t, err)
	a, err := measure.AltitudeInFeet(n)
	require.NoError(t, err)
	return a
}

func inFeet(t require.TestingT, n measure.Number) measure.Altitude {
	a, err := measure.AltitudeInFeet(n)
	require.NoError(t, err)
	return a
}

// inMetres takes the way of a site that was entered in metres with six decimals, rounded towards the sea.
func inMetres(t require.TestingT, ft measure.Number) measure.Altitude {
	m := ft.Mul(measure.MustDecimal("0.3048")).Mul(measure.Int(1_000_000)).Floor().Div(measure.Int(1_000_000))
	a, err := measure.AltitudeInMetres(m)
	require.NoError(t, err)
	return a
}

func requestFor(r reference.ProcessRow, a measure.Altitude) Request {
	return Request{ProductKey: r.ProductKey, Pack: r.Pack, Jar: JarSize(r.Jar), Method: Method(r.Method), Altitude: a}
}

// highestSite is above every printed band edge and within what an altitude can be.
const highestSite = 29000

func has(p Process, r reference.ProcessRow) bool {
	for _, c := range p.Choices {
		if c.Minutes == r.Minutes && c.Pressure == r.Pressure && c.Headspace == r.Headspace &&
			c.HeadspacePrinted == r.HeadspacePrinted && c.Source == r.Source && p.Band == r.Band {
			return true
		}
	}
	return false
}

// Every printed row of USDA AIB 539 (rev. 2015), Guides 1-4, 6 and 7, in data/process_times.csv: found at both ends of
// its band and in the middle, in feet and in metres; just outside it the next band or a refusal.
func TestEveryPrintedRowIsFoundInItsBandAndOnlyThere(t *testing.T) {
	table := Published()
	rows := reference.ProcessRows()
	require.Len(t, rows, 1317)
	hair := measure.MustDecimal("0.001")
	for _, r := range rows {
		low, high := measure.Int(int64(r.Band.Min)), measure.Int(highestSite)
		if !r.Band.Open {
			high = measure.Int(int64(r.Band.Max))
		}
		middle := low.Add(high).Div(measure.Int(2))
		for _, ft := range []measure.Number{low, middle, high} {
			p, err := table.LookUp(requestFor(r, inFeet(t, ft)))
			require.NoError(t, err, "%+v", r)
			require.True(t, has(p, r), "%v at %s ft", r, ft)
			require.Equal(t, JarSize(r.Jar), p.PrintedJar)
			require.Equal(t, r.Pack, p.PrintedPack)
			for _, n := range p.Notes {
				require.Equal(t, "jam_altitude_rule_text", n.Key, "a printed row needs no rule to be read")
			}
		}
		// In metres: just above the lower end, the middle, and the upper end rounded down.
		for _, ft := range []measure.Number{low.Add(hair), middle, high} {
			p, err := table.LookUp(requestFor(r, inMetres(t, ft)))
			require.NoError(t, err, "%+v", r)
			require.True(t, has(p, r), "%v at %s ft in metres", r, ft)
		}
		// Just below: the gap under a band still belongs to it, the printed foot under the gap does not.
		if r.Band.Min > 0 {
			p, err := table.LookUp(requestFor(r, inFeet(t, low.Sub(measure.MustDecimal("0.5")))))
			require.NoError(t, err)
			require.True(t, has(p, r), "the gap below %v", r.Band)
			p, err = table.LookUp(requestFor(r, inFeet(t, low.Sub(measure.Int(1)))))
			require.NoError(t, err)
			require.False(t, has(p, r))
			require.Equal(t, r.Band.Min-1, p.Band.Max)
		} else {
			requireRefusal(t, table, requestFor(r, inFeet(t, hair.Neg())), BelowTable)
		}
		if r.Band.Open {
			continue
		}
		// Just above: the next band, or the end of the table.
		above := requestFor(r, inFeet(t, high.Add(hair)))
		if p, err := table.LookUp(above); err == nil {
			require.False(t, has(p, r))
			require.Equal(t, r.Band.Max+1, p.Band.Min)
		} else {
			refusal := requireRefusal(t, table, above, AboveTable)
			require.Equal(t, reference.PressureDial, r.Method, "only dial-gauge tables end")
			require.Contains(t, refusal.Reason, "8,000 ft")
		}
	}
}

func requireRefusal(t require.TestingT, table *Table, q Request, why Why) Refusal {
	_, err := table.LookUp(q)
	var refusal *Refusal
	require.ErrorAs(t, err, &refusal, "%+v", q)
	require.Equal(t, why, refusal.Why, refusal.Error())
	require.NotEmpty(t, refusal.Field)
	require.NotEmpty(t, refusal.Reason)
	return *refusal
}

// drawRow picks a printed row, for properties over the table.
func drawRow(t *rapid.T) reference.ProcessRow {
	return rapid.SampledFrom(reference.ProcessRows()).Draw(t, "row")
}

func TestMinutesAndPressureNeverFallAsAltitudeRises(t *testing.T) {
	table := Published()
	rapid.Check(t, func(t *rapid.T) {
		r := drawRow(t)
		low := rapid.Int64Range(0, 8000).Draw(t, "lower, ft")
		high := rapid.Int64Range(low, 8000).Draw(t, "higher, ft")
		below, err := table.LookUp(requestFor(r, inFeet(t, measure.Int(low))))
		require.NoError(t, err)
		above, err := table.LookUp(requestFor(r, inFeet(t, measure.Int(high))))
		require.NoError(t, err)
		for _, a := range above.Choices {
			// What suffices higher up would have sufficed lower down: some choice there asks for no more.
			sufficed := false
			for _, b := range below.Choices {
				sufficed = sufficed || b.Minutes <= a.Minutes && b.Pressure <= a.Pressure
				if b.Pressure == a.Pressure {
					require.GreaterOrEqual(t, a.Minutes, b.Minutes)
				}
				if b.Minutes == a.Minutes {
					require.GreaterOrEqual(t, a.Pressure, b.Pressure)
				}
			}
			require.True(t, sufficed, "%s at %d ft has no lighter choice at %d ft", a, high, low)
		}
	})
}

func TestAnswersDoNotDependOnTheOrderOfTheTable(t *testing.T) {
	published := Published()
	rapid.Check(t, func(t *rapid.T) {
		rows := reference.ProcessRows()
		seed := rapid.Uint64().Draw(t, "seed")
		rand.New(rand.NewPCG(seed, 1)).Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
		shuffled := NewTable(rows)
		require.Equal(t, published.Products(), shuffled.Products())
		for range 50 {
			r := drawRow(t)
			q := requestFor(r, inFeet(t, measure.Int(rapid.Int64Range(-100, 12000).Draw(t, "ft"))))
			q.Jar = rapid.SampledFrom(JarSizes()).Draw(t, "jar")
			q.Method = rapid.SampledFrom(Methods()).Draw(t, "method")
			want, wantErr := published.LookUp(q)
			got, gotErr := shuffled.LookUp(q)
			require.Equal(t, want, got)
			require.Equal(t, wantErr, gotErr)
		}
		require.Equal(t, published.Printed("apple_juice"), shuffled.Printed("apple_juice"))
	})
}

func TestBandEdge(t *testing.T) {
	// USDA AIB 539 (2015), Guide 3: crushed tomatoes, hot pack, pints in boiling water: 35 min to 1,000 ft, 40 min at 1,001-3,000 ft.
	q := Request{ProductKey: "crushed_tomatoes", Pack: reference.HotPack, Jar: Pint, Method: BoilingWater}
	for at, minutes := range map[string]measure.Minutes{"1000": 35, "1000.5": 40, "1001": 40, "3000": 40, "3000.01": 45} {
		q.Altitude = feet(t, at)
		p, err := Published().LookUp(q)
		require.NoError(t, err)
		require.Equal(t, minutes, p.Choices[0].Minutes, at)
	}
	q.Altitude = feet(t, "1000.5")
	p, err := Published().LookUp(q)
	require.NoError(t, err)
	require.Equal(t, "1,001-3,000 ft", BandText(p.Band))
	require.Contains(t, p.Choices[0].Source.String(), "Guide 3")
}

func TestTomatoesOfferAllPrintedChoices(t *testing.T) {
	// USDA AIB 539 (2015), Guide 3, crushed tomatoes: dial gauge at 2,001-4,000 ft 20 min at 7 lb or 15 min at 12 lb;
	// weighted gauge to 1,000 ft three choices, above 1,000 ft two (the 15-lb option is not recommended there).
	q := Request{ProductKey: "crushed_tomatoes", Pack: reference.HotPack, Jar: Quart, Method: PressureDial, Altitude: feet(t, "3500")}
	require.Equal(t, []string{"20 min at 7 lb", "15 min at 12 lb"}, choices(t, q))
	q.Method, q.Altitude = PressureWeighted, feet(t, "500")
	require.Equal(t, []string{"20 min at 5 lb", "15 min at 10 lb", "10 min at 15 lb"}, choices(t, q))
	q.Altitude = feet(t, "5280")
	require.Equal(t, []string{"20 min at 10 lb", "15 min at 15 lb"}, choices(t, q))

	p, err := Published().LookUp(q)
	require.NoError(t, err)
	c, err := p.Choose(15)
	require.NoError(t, err)
	require.Equal(t, measure.Minutes(15), c.Minutes)
	c, err = p.Choose(0)
	require.NoError(t, err)
	require.Equal(t, measure.GaugePounds(10), c.Pressure)
	_, err = p.Choose(11)
	require.Equal(t, fault.Invalid, fault.KindOf(err))
	require.ErrorContains(t, err, "20 min at 10 lb, 15 min at 15 lb")
}

func choices(t *testing.T, q Request) []string {
	t.Helper()
	p, err := Published().LookUp(q)
	require.NoError(t, err)
	var list []string
	for _, c := range p.Choices {
		list = append(list, c.String())
	}
	return list
}

func TestMetricJarsLookUpAsTheirTradeSize(t *testing.T) {
	for metric, trade := range map[JarSize]JarSize{ML250: HalfPint, ML500: Pint, L1: Quart} {
		q := Request{ProductKey: "green_beans", Pack: reference.RawPack, Jar: metric, Method: PressureWeighted, Altitude: feet(t, "100")}
		p, err := Published().LookUp(q)
		require.NoError(t, err)
		q.Jar = trade
		same, err := Published().LookUp(q)
		require.NoError(t, err)
		require.Equal(t, same.Choices, p.Choices)
		require.Equal(t, CommonPractice, p.Notes[0].Source.Publication)
		require.Contains(t, p.Notes[0].Text, metric.Name())
	}
	// Not for arithmetic: 500 ml is more than a pint of 473.176473 ml (NIST Handbook 44).
	require.Equal(t, "500", ML500.Volume().Number().Exact())
	require.Equal(t, "473.176473", Pint.Volume().Number().Exact())
}

func TestSmallerJarsTakeTheSmallestPrintedTimeAndLargerOnesNone(t *testing.T) {
	base := Request{ProductKey: "crushed_tomatoes", Pack: reference.HotPack, Method: BoilingWater, Altitude: feet(t, "0")}
	for jar, want := range map[JarSize]struct {
		printed JarSize
		minutes measure.Minutes
		source  string
	}{
		// Pints 35 min, quarts 45 min (USDA AIB 539, Guide 3).
		HalfPint:        {Pint, 35, "Guide 1, p. 1-23"},  // half-pints as pints
		FourOunce:       {Pint, 35, "odd-sized jars"},    // as half-pints, which take the smallest printed
		TwelveOunce:     {Pint, 35, "odd-sized jars"},    // as pints
		OneAndHalfPint:  {Quart, 45, "Guide 1, p. 1-23"}, // as quarts
		TwentyFourOunce: {Quart, 45, "odd-sized jars"},   // as quarts
		TwentyEightOz:   {Quart, 45, "odd-sized jars"},   // as quarts
	} {
		q := base
		q.Jar = jar
		p, err := Published().LookUp(q)
		require.NoError(t, err, jar)
		require.Equal(t, want.printed, p.PrintedJar, jar)
		require.Equal(t, want.minutes, p.Choices[0].Minutes, jar)
		cited := ""
		for _, n := range p.Notes {
			cited += n.Source.String() + "; "
		}
		require.Contains(t, strings.ToLower(cited), strings.ToLower(want.source), jar)
	}
	q := base
	q.Jar = HalfGallon
	refusal := requireRefusal(t, Published(), q, JarTooLarge)
	require.Equal(t, []string{"pint", "quart"}, refusal.Has)
	require.Contains(t, refusal.Error(), reference.MustFact("larger_jar_rule").Statement)

	// Printed in its own row, an odd size needs no rule: pickled asparagus in 12-ounce jars (Guide 6).
	q = Request{ProductKey: "pickled_asparagus", Pack: reference.RawPack, Jar: TwelveOunce, Method: BoilingWater, Altitude: feet(t, "0")}
	p, err := Published().LookUp(q)
	require.NoError(t, err)
	require.Equal(t, TwelveOunce, p.PrintedJar)
	require.Empty(t, p.Notes)
	// A quart is larger than anything printed for it.
	q.Jar = L1
	requireRefusal(t, Published(), q, JarTooLarge)
	// Half-gallon juice is printed, and only for apple and grape juice.
	for _, r := range reference.ProcessRows() {
		if JarSize(r.Jar) == HalfGallon {
			require.Contains(t, []string{"apple_juice", "grape_juice"}, r.ProductKey)
		}
	}
}

func TestNoJarEverGetsATimePrintedForASmallerOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRow(t)
		q := requestFor(r, inFeet(t, measure.Int(rapid.Int64Range(0, 8000).Draw(t, "ft"))))
		q.Jar = rapid.SampledFrom(JarSizes()).Draw(t, "jar")
		p, err := Published().LookUp(q)
		if err != nil {
			var refusal *Refusal
			require.ErrorAs(t, err, &refusal)
			require.Equal(t, JarTooLarge, refusal.Why)
			return
		}
		require.LessOrEqual(t, CompareJars(q.Jar.Trade(), p.PrintedJar), 0)
		if q.Jar != p.PrintedJar {
			require.NotEmpty(t, p.Notes, "what was assumed is said")
		}
	})
}

func TestRefusalsArePrecise(t *testing.T) {
	ok := Request{ProductKey: "green_beans", Pack: reference.RawPack, Jar: Pint, Method: PressureDial, Altitude: feet(t, "100")}
	_, err := Published().LookUp(ok)
	require.NoError(t, err)

	q := ok
	q.ProductKey = "beans_green_tinned"
	refusal := requireRefusal(t, Published(), q, UnknownProduct)
	require.Contains(t, refusal.Has, "green_beans")
	require.Equal(t, fault.NotFound, fault.KindOf(&refusal))

	q = ok
	q.Method = BoilingWater
	refusal = requireRefusal(t, Published(), q, MethodNotPrinted)
	require.Equal(t, []string{"pressure_dial", "pressure_weighted"}, refusal.Has)
	require.Contains(t, refusal.Error(), "Low-acid foods are processed only in a pressure canner")
	require.Equal(t, fault.Precondition, fault.KindOf(&refusal))

	q = ok
	q.Method = AtmosphericSteam
	requireRefusal(t, Published(), q, MethodNotPrinted)

	q = Request{ProductKey: "applesauce", Pack: reference.RawPack, Jar: Pint, Method: BoilingWater, Altitude: feet(t, "0")}
	refusal = requireRefusal(t, Published(), q, PackNotPrinted)
	require.Equal(t, []string{"hot"}, refusal.Has)

	q = ok
	q.Altitude = feet(t, "8000.01")
	refusal = requireRefusal(t, Published(), q, AboveTable)
	require.Equal(t, []string{"0-2,000 ft", "2,001-4,000 ft", "4,001-6,000 ft", "6,001-8,000 ft"}, refusal.Has)

	q.Altitude = feet(t, "-10")
	refusal = requireRefusal(t, Published(), q, BelowTable)
	require.Contains(t, refusal.Error(), "plan the site as 0 m")

	_, err = Published().LookUp(Request{Pack: "warm", Jar: "bucket", Method: "pressure"})
	var f *fault.Error
	require.ErrorAs(t, err, &f)
	require.Equal(t, fault.Invalid, f.Kind)
	var fields []string
	for _, v := range f.Violations {
		fields = append(fields, v.Field)
	}
	require.Equal(t, []string{"product", "pack", "jar", "method"}, fields)
}

func TestDialAndWeightedFollowTheirOwnTables(t *testing.T) {
	// USDA AIB 539 (2015), Guide 4: low-acid food by dial gauge 11, 12, 13 and 14 lb by altitude; by weighted gauge 10 lb to
	// 1,000 ft and 15 lb above (facts dial_low_acid_pressures and weighted_gauge_above_1000ft_from_10).
	for at, want := range map[string][2]measure.GaugePounds{
		"0": {11, 10}, "1000": {11, 10}, "1001": {11, 15}, "2000": {11, 15}, "2001": {12, 15}, "4001": {13, 15}, "6001": {14, 15}, "8000": {14, 15},
	} {
		for i, m := range []Method{PressureDial, PressureWeighted} {
			p, err := Published().LookUp(Request{ProductKey: "green_beans", Pack: reference.HotPack, Jar: Quart, Method: m, Altitude: feet(t, at)})
			require.NoError(t, err)
			require.Equal(t, want[i], p.Choices[0].Pressure, "%s at %s", m, at)
		}
	}
}

func TestSteamHoldsOnlyUnderItsPublishedConditions(t *testing.T) {
	// The limit is 45 minutes, altitude adjustment included (NCHFP, steam canners). Crushed tomatoes in pints take 35 min at
	// sea level, 40 to 3,000 ft, 45 to 6,000 ft, 50 above; in quarts 45 at sea level, 50 to 3,000 ft.
	q := Request{ProductKey: "crushed_tomatoes", Pack: reference.HotPack, Jar: Pint, Method: AtmosphericSteam, Altitude: feet(t, "5280")}
	p, err := Published().LookUp(q)
	require.NoError(t, err)
	require.Equal(t, measure.Minutes(45), p.Choices[0].Minutes)
	cited := map[string]bool{}
	for _, n := range p.Notes {
		cited[n.Key] = true
	}
	for _, key := range []string{"steam_canner_ph_max", "steam_canner_max_process", "steam_canner_jar_sizes", "steam_canner_open_during_process"} {
		require.True(t, cited[key], key)
	}

	q.Altitude = feet(t, "6001")
	refusal := requireRefusal(t, Published(), q, SteamConditions)
	require.Contains(t, refusal.Error(), "45 min")
	q.Jar, q.Altitude = Quart, feet(t, "1001")
	requireRefusal(t, Published(), q, SteamConditions)

	q = Request{ProductKey: "apple_juice", Pack: reference.HotPack, Jar: HalfGallon, Method: AtmosphericSteam, Altitude: feet(t, "0")}
	refusal = requireRefusal(t, Published(), q, SteamConditions)
	require.Equal(t, "jar", refusal.Field)
	require.Equal(t, []string{"half_pint", "pint", "quart"}, refusal.Has)
}

func TestSteamNeverOutrunsBoilingWater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRow(t)
		q := requestFor(r, inFeet(t, measure.Int(rapid.Int64Range(0, 12000).Draw(t, "ft"))))
		q.Method = AtmosphericSteam
		p, err := Published().LookUp(q)
		if err != nil {
			return
		}
		require.LessOrEqual(t, p.longest(), measure.Minutes(45))
		q.Method = BoilingWater
		water, err := Published().LookUp(q)
		require.NoError(t, err)
		require.Equal(t, water.Choices, p.Choices)
	})
}

func TestDisagreementOnSweetSpreadsIsSaid(t *testing.T) {
	// USDA AIB 539 (2015): Guide 7, p. 7-8, prints 5, 10 and 15 min; Guide 1, p. 1-30, adds a minute per 1,000 ft to 5. At 5,000 ft
	// both say 10; at 6,000 ft the text makes 5 + 6 = 11.
	q := Request{ProductKey: "jams_and_jellies_with_added_pectin", Pack: reference.HotPack, Jar: HalfPint, Method: BoilingWater}
	for at, longer := range map[string]string{"0": "", "999": "", "1000": "makes 6 min", "1001": "", "5280": "", "6000": "makes 11 min", "6001": "", "10000": "", "11000": "makes 16 min"} {
		q.Altitude = feet(t, at)
		p, err := Published().LookUp(q)
		require.NoError(t, err)
		if longer == "" {
			require.Empty(t, p.Notes, at)
			continue
		}
		require.Len(t, p.Notes, 1, at)
		require.Contains(t, p.Notes[0].Text, longer)
		require.Equal(t, "Guide 1, p. 1-30", p.Notes[0].Source.Locator)
	}
	// Relishes with a 5-minute process are no sweet spreads.
	q = Request{ProductKey: "piccalilli", Pack: reference.HotPack, Jar: Pint, Method: BoilingWater, Altitude: feet(t, "5900")}
	p, err := Published().LookUp(q)
	require.NoError(t, err)
	require.NotContains(t, noteKeys(p), "jam_altitude_rule_text")
}

func noteKeys(p Process) []string {
	var keys []string
	for _, n := range p.Notes {
		keys = append(keys, n.Key)
	}
	return keys
}

func TestPrintedSaysWhatATableCovers(t *testing.T) {
	require.Equal(t, []Coverage{{Method: BoilingWater, Pack: reference.RawPack, Jars: []JarSize{TwelveOunce, Pint}}}, Published().Printed("pickled_asparagus"))
	require.Nil(t, Published().Printed("moonstones"))
	require.Len(t, Published().Products(), 130)
}

func FuzzParseJarAndMethod(f *testing.F) {
	for _, s := range []string{"pint", "half-pint jars", "500 ml", "1-1/2 pint", "ML_250", "quarts", "dial", "", "s", "½ pint"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if j, err := ParseJarSize(s); err == nil {
			require.True(t, j.Known())
			again, err := ParseJarSize(string(j))
			require.NoError(t, err)
			require.Equal(t, j, again)
		}
		if m, err := ParseMethod(s); err == nil {
			require.Contains(t, Methods(), m)
		}
	})
}

func BenchmarkLookUp(b *testing.B) {
	table := Published()
	a, err := measure.ParseAltitude("5,280 ft")
	require.NoError(b, err)
	q := Request{ProductKey: "crushed_tomatoes", Pack: reference.HotPack, Jar: Pint, Method: PressureDial, Altitude: a}
	for b.Loop() {
		if _, err := table.LookUp(q); err != nil {
			b.Fatal(err)
		}
	}
}
