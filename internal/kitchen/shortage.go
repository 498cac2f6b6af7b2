package kitchen

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/canning"
)

// Burner is the kind of need that canners compete for with cooking.
const Burner = "burner"

// Supply is equipment of one kind that a class can use.
type Supply struct {
	Kind string
	// Owned by the kitchen, and of those Reserved by other classes meanwhile.
	Owned, Reserved int
}

// CannerSupply is a canner a class can use.
type CannerSupply struct {
	Name string
	// Capacity is jars by size; sizes it cannot take are absent.
	Capacity map[canning.JarSize]int
	// OnBurner says that it stands on one of the room's burners.
	OnBurner bool
}

// Shortage is equipment that does not suffice.
type Shortage struct {
	Kind              string
	Needed, Available int
	// Stations it hits, in the order of the room.
	Stations    []string
	Explanation string
}

// Short compares what batches need at once with what there is.
//
// A station makes its batches one after another, so it needs of each kind the most
// that any one of its batches needs, and all stations may be at that point together.
// Every canner that stands on a burner needs one more while it is in use.
func Short(batches []Batch, formulas map[RevisionRef]Formula, supplies []Supply, canners []CannerSupply) []Shortage {
	have := map[string]Supply{}
	for _, s := range supplies {
		sum := have[s.Kind]
		have[s.Kind] = Supply{Kind: s.Kind, Owned: sum.Owned + s.Owned, Reserved: sum.Reserved + s.Reserved}
	}
	needs := stationNeeds(batches, formulas)
	var short []Shortage
	for _, kind := range kindsOf(needs) {
		var stations []string
		needed := 0
		for _, n := range needs {
			if n.count[kind] > 0 {
				needed += n.count[kind]
				stations = append(stations, n.station)
			}
		}
		why := fmt.Sprintf("%d stations need %d at once", len(stations), needed)
		if kind == Burner {
			if on := countOnBurner(canners); on > 0 {
				needed += on
				why += fmt.Sprintf(", and the canners %d more", on)
			}
		}
		s := have[kind]
		available := max(0, s.Owned-s.Reserved)
		if needed <= available {
			continue
		}
		why += fmt.Sprintf("; the kitchen owns %d", s.Owned)
		if s.Reserved > 0 {
			why += fmt.Sprintf(", of which other classes have reserved %d", s.Reserved)
		}
		short = append(short, Shortage{Kind: kind, Needed: needed, Available: available, Stations: stations, Explanation: why})
	}
	short = append(short, shortOfCanners(batches, canners)...)
	slices.SortStableFunc(short, func(a, b Shortage) int {
		return cmp.Compare(b.Needed-b.Available, a.Needed-a.Available)
	})
	return short
}

type needsOfStation struct {
	station  string
	position int
	count    map[string]int
}

// stationNeeds is, for every station with batches, the most any one of its batches needs of each kind.
func stationNeeds(batches []Batch, formulas map[RevisionRef]Formula) []needsOfStation {
	var all []needsOfStation
	at := map[string]int{}
	for _, b := range batches {
		i, ok := at[b.Station]
		if !ok {
			i = len(all)
			at[b.Station] = i
			all = append(all, needsOfStation{station: b.Station, position: b.StationPosition, count: map[string]int{}})
		}
		for _, n := range formulas[b.Revision].Needs {
			all[i].count[n.Kind] = max(all[i].count[n.Kind], n.Count)
		}
	}
	slices.SortStableFunc(all, func(a, b needsOfStation) int { return cmp.Compare(a.position, b.position) })
	return all
}

func kindsOf(needs []needsOfStation) []string {
	var kinds []string
	for _, n := range needs {
		for kind := range n.count {
			if !slices.Contains(kinds, kind) {
				kinds = append(kinds, kind)
			}
		}
	}
	slices.Sort(kinds)
	return kinds
}

func countOnBurner(canners []CannerSupply) int {
	n := 0
	for _, c := range canners {
		if c.OnBurner {
			n++
		}
	}
	return n
}

// shortOfCanners finds jar sizes that no canner takes.
func shortOfCanners(batches []Batch, canners []CannerSupply) []Shortage {
	var short []Shortage
	for _, size := range canning.JarSizes() {
		var stations []string
		jars := 0
		for _, b := range batches {
			if b.JarSize == size && b.NotForShelf == "" {
				jars += b.Jars
				if !slices.Contains(stations, b.Station) {
					stations = append(stations, b.Station)
				}
			}
		}
		if jars == 0 || slices.ContainsFunc(canners, func(c CannerSupply) bool { return c.Capacity[size.Trade()] > 0 || c.Capacity[size] > 0 }) {
			continue
		}
		why := fmt.Sprintf("%d %s jars need a canner", jars, size.Name())
		if len(canners) > 0 {
			names := make([]string, len(canners))
			for i, c := range canners {
				names[i] = c.Name
			}
			why += "; none of " + strings.Join(names, ", ") + " has room for that size"
		} else {
			why += "; the kitchen has none"
		}
		short = append(short, Shortage{Kind: "canner", Needed: 1, Available: 0, Stations: stations, Explanation: why})
	}
	return short
}
