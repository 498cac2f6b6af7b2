package shopping

import (
	"maps"
	"slices"
	"strings"

	"stillroom/internal/canning"
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

// jarQuarters is the nominal content of a jar in quarters of a half-pint (2 fluid ounces), which goes into every size
// evenly. Metric jars count as the customary size the trade treats as the same, so that "1/4 teaspoon per half-pint
// jar" is the same for 250 ml. It is 0 for an unknown size.
func jarQuarters(size canning.JarSize) int64 { return quartersOf[size] }

var quartersOf = func() map[canning.JarSize]int64 {
	all := map[canning.JarSize]int64{}
	for _, size := range canning.JarSizes() {
		n, err := measure.Convert(size.Trade().Volume().Number(), measure.Millilitre, measure.FluidOunce)
		if err != nil {
			panic("shopping: " + err.Error())
		}
		all[size] = mustInt(n.Div(measure.Int(2)).Floor())
	}
	return all
}()

func jarSizeList() string {
	var words []string
	for _, size := range canning.JarSizes() {
		words = append(words, string(size))
	}
	return strings.Join(words, ", ")
}

// JarItem is the item name of jars of a size, "jar_pint".
func JarItem(size canning.JarSize) string { return "jar_" + string(size) }

// Item names of supplies. See [JarItem] for jars.
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
	for _, size := range canning.JarSizes() {
		names[JarItem(size)] = size.Name() + " jars"
	}
	return names
}()

// SupplyItems are the item names of all supplies, sorted.
func SupplyItems() []string { return slices.Sorted(maps.Keys(supplyNames)) }

// supplyConversion states one piece of a supply for each filled jar or station.
func supplyConversion(item, text string, pieces int64) Conversion {
	f, _ := needFine(measure.Int(pieces))
	return Conversion{
		Line: item, Item: item, Name: supplyNames[item], Text: text, Own: f, OwnUnit: measure.Each,
		goods: goods{section: SectionSupplies, supply: true},
	}
}
