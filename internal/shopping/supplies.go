package shopping

import (
	"slices"
	"strings"

	"stillroom/internal/measure"
)

// Supplies says what a class needs beside its recipes' ingredients. The counts are common practice and an
// instructor may set others; one lid, one band and one jar for each jar filled are not a choice.
type Supplies struct {
	// Labels is how many labels go on each jar.
	Labels int64
	// TowelsPerStation is the clean towels each station sets its hot jars on and handles them with.
	TowelsPerStation int64
}

// UsualSupplies are one label a jar and two towels a station (common practice).
var UsualSupplies = Supplies{Labels: 1, TowelsPerStation: 2}

// jarNames are the jar sizes and how they are called.
var jarNames = map[string]string{
	"quarter_pint": "quarter-pint jars (4 oz)", "half_pint": "half-pint jars", "twelve_ounce": "12-ounce jars", "pint": "pint jars",
	"quart": "quart jars", "half_gallon": "half-gallon jars",
	"250_ml": "250 ml jars", "500_ml": "500 ml jars", "1_l": "1 litre jars",
}

func jarSizeList() string { return strings.Join(sortedKeys(jarNames), ", ") }

// jarQuarters is the nominal content of the sizes a recipe prints per-jar amounts for, in quarters of a half-pint.
// Metric jars count as the customary size the trade treats as the same.
var jarQuarters = map[string]int64{
	"quarter_pint": 2, "half_pint": 4, "250_ml": 4, "twelve_ounce": 6, "pint": 8, "500_ml": 8, "quart": 16, "1_l": 16, "half_gallon": 32,
}

// Item names of supplies. Jars are "jar_" and the size.
const (
	ItemLid   = "lid"
	ItemBand  = "band"
	ItemLabel = "label"
	ItemTowel = "towel"
)

var supplyNames = func() map[string]string {
	names := map[string]string{
		ItemLid: "lids, new", ItemBand: "bands", ItemLabel: "labels", ItemTowel: "clean towels",
	}
	for size, name := range jarNames {
		names["jar_"+size] = name
	}
	return names
}()

// SupplyItems are the item names of all supplies, sorted.
func SupplyItems() []string { return sortedKeys(supplyNames) }

// supplyConversion states one piece of a supply for each filled jar or station.
func supplyConversion(item, text string, pieces int64) Conversion {
	f, _ := needFine(measure.Int(pieces))
	return Conversion{
		Line: item, Item: item, Name: supplyNames[item], Text: text, Own: f, OwnUnit: measure.Each,
		goods: goods{section: SectionSupplies, supply: true},
	}
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
