package kitchen

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
)

// Printed yields: USDA AIB 539 (rev. 2015), Guide 3, chile salsa, "6 to 8 pints";
// Guide 6, pickled three-bean salad, "about 5 to 6 half-pints".
var (
	salsa = Formula{Revision: RevisionRef{"chile-salsa", 1}, Title: "Chile salsa", Jar: canning.Pint, JarsMin: 6, JarsMax: 8,
		Needs: []Need{{Burner, 2}, {"large pot", 1}}}
	beans = Formula{Revision: RevisionRef{"three-bean", 1}, Title: "Three-bean salad", Jar: canning.HalfPint, JarsMin: 5, JarsMax: 6,
		Needs: []Need{{Burner, 1}}}
)

func benches(participants ...int) []Station {
	var out []Station
	for i, n := range participants {
		out = append(out, Station{ID: string(rune('a' + i)), Class: "c", Position: i + 1, Participants: n})
	}
	return out
}

// TestProposalByHand works one class out on paper.
//
//	16 participants, each 2 pints of salsa: 32 pints; 6 a batch at least: 32/6 = 5.33, so 6 batches, 36 pints, 4 left over.
//	each 1 half-pint of beans: 16; 5 a batch at least: 3.2, so 4 batches, 20 half-pints, 4 left over.
//	10 batches on 8 benches in turn: salsa a to f, beans g h a b.
func TestProposalByHand(t *testing.T) {
	p, err := Propose(16, benches(2, 2, 2, 2, 2, 2, 2, 2), []Wish{{Formula: salsa, JarsEach: 2}, {Formula: beans, JarsEach: 1}})
	require.NoError(t, err)
	require.Equal(t, []int{32, 6, 36, 4}, []int{p.Outcomes[0].Wanted, p.Outcomes[0].Batches, p.Outcomes[0].Filled, p.Outcomes[0].LeftOver})
	require.Equal(t, []int{16, 4, 20, 4}, []int{p.Outcomes[1].Wanted, p.Outcomes[1].Batches, p.Outcomes[1].Filled, p.Outcomes[1].LeftOver})
	var placed []string
	for _, b := range p.Batches {
		placed = append(placed, b.Station+" "+b.Revision.Recipe)
	}
	require.Equal(t, []string{"a chile-salsa", "a three-bean", "b chile-salsa", "b three-bean", "c chile-salsa", "d chile-salsa",
		"e chile-salsa", "f chile-salsa", "g three-bean", "h three-bean"}, placed)
	require.Equal(t, 8, p.Batches[0].Jars, "jars are set out for the high end of the yield")
}

func TestYieldInAnotherSizeCountsWholeJars(t *testing.T) {
	// A pint is two half-pints exactly; 6 pints are 2,839.06 ml: 5 whole 500 ml jars; 8 pints are 3,785.41 ml: 7.
	y, err := salsa.YieldIn(canning.HalfPint)
	require.NoError(t, err)
	require.Equal(t, [2]int{12, 16}, [2]int{y.Min, y.Max})
	y, err = salsa.YieldIn(canning.ML500)
	require.NoError(t, err)
	require.Equal(t, [2]int{5, 7}, [2]int{y.Min, y.Max})
	require.Equal(t, "by volume from the printed 6 to 8 pints; only whole jars count", y.Note)
	_, err = Formula{Title: "Mint sauce", Jar: canning.HalfPint, JarsMin: 3, JarsMax: 4}.YieldIn(canning.Quart)
	require.Equal(t, fault.Invalid, fault.KindOf(err))
}

func TestProposalSaysWhatIsMissing(t *testing.T) {
	_, err := Propose(0, nil, []Wish{{Formula: salsa, JarsEach: 1}})
	require.ErrorContains(t, err, "nobody is enrolled")
	require.ErrorContains(t, err, "no stations")
	_, err = Propose(1000, benches(1), []Wish{{Formula: salsa, JarsEach: 50}})
	require.ErrorContains(t, err, "500 batches")
}

// TestProposalAlwaysCovers: whatever the room, every wish is covered by whole
// batches with less than one batch to spare, benches differ by at most one batch,
// and each bench's batches are numbered without a gap.
func TestProposalAlwaysCovers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		people := rapid.IntRange(1, 60).Draw(t, "people")
		room := benches(make([]int, rapid.IntRange(1, 12).Draw(t, "stations"))...)
		wishes := []Wish{
			{Formula: salsa, JarsEach: rapid.IntRange(1, 4).Draw(t, "salsa"), JarSize: rapid.SampledFrom([]canning.JarSize{"", canning.ML500, canning.HalfPint}).Draw(t, "size")},
			{Formula: beans, JarsEach: rapid.IntRange(1, 4).Draw(t, "beans")},
		}
		p, err := Propose(people, room, wishes)
		require.NoError(t, err)
		per := map[string]int{}
		for _, b := range p.Batches {
			per[b.Station]++
			require.Equal(t, per[b.Station], b.Order)
		}
		least, most := len(p.Batches), 0
		for _, s := range room {
			least, most = min(least, per[s.ID]), max(most, per[s.ID])
		}
		require.LessOrEqual(t, most-least, 1)
		for i, o := range p.Outcomes {
			require.Equal(t, people*wishes[i].JarsEach, o.Wanted)
			require.GreaterOrEqual(t, o.Filled, o.Wanted)
			require.Less(t, o.LeftOver, o.Yield.Min)
		}
	})
}

// TestShortagesByHand: benches a and b make salsa (2 burners each), c beans (1), and
// two canners stand on a burner each: 2+2+1+2 = 7 burners. The kitchen owns 6 and
// another class has one: 5 free, 2 short. Two large pots are needed, 1 is owned.
func TestShortagesByHand(t *testing.T) {
	batches := []Batch{
		{Station: "a", StationPosition: 1, Order: 1, Revision: salsa.Revision, JarSize: canning.Pint, Jars: 8},
		{Station: "a", StationPosition: 1, Order: 2, Revision: beans.Revision, JarSize: canning.HalfPint, Jars: 6},
		{Station: "b", StationPosition: 2, Order: 1, Revision: salsa.Revision, JarSize: canning.ML500, Jars: 7},
		{Station: "c", StationPosition: 3, Order: 1, Revision: beans.Revision, JarSize: canning.HalfPint, Jars: 6},
	}
	formulas := map[RevisionRef]Formula{salsa.Revision: salsa, beans.Revision: beans}
	canners := []CannerSupply{
		{Name: "tall", Capacity: map[canning.JarSize]int{canning.Pint: 9}, OnBurner: true},
		{Name: "wide", Capacity: map[canning.JarSize]int{canning.Pint: 12}, OnBurner: true},
	}
	short := Short(batches, formulas, []Supply{{Kind: Burner, Owned: 6, Reserved: 1}, {Kind: "large pot", Owned: 1}}, canners)
	require.Len(t, short, 3)
	require.Equal(t, Shortage{Kind: Burner, Needed: 7, Available: 5, Stations: []string{"a", "b", "c"},
		Explanation: "3 stations need 5 at once, and the canners 2 more; the kitchen owns 6, of which other classes have reserved 1"}, short[0])
	require.Equal(t, "large pot", short[1].Kind)
	require.Equal(t, []string{"a", "b"}, short[1].Stations)
	require.Equal(t, "canner", short[2].Kind, "a 500 ml jar goes where a pint goes, a half-pint has nowhere to go")
	require.Equal(t, []string{"a", "c"}, short[2].Stations)

	require.Empty(t, Short(batches[:1], formulas, []Supply{{Kind: Burner, Owned: 4}, {Kind: "large pot", Owned: 1}}, canners))
}
