package canning

import (
	"slices"
	"strings"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// JarSize is the key of a jar size, e.g. "pint" or "ml_500".
type JarSize string

// The jar sizes we know. The metric three count as half-pint, pint and quart for processing and rack space
// (common practice), not for volume.
const (
	FourOunce       JarSize = "four_ounce"
	HalfPint        JarSize = "half_pint"
	TwelveOunce     JarSize = "twelve_ounce"
	Pint            JarSize = "pint"
	OneAndHalfPint  JarSize = "one_and_half_pint"
	TwentyFourOunce JarSize = "twenty_four_ounce"
	TwentyEightOz   JarSize = "twenty_eight_ounce"
	Quart           JarSize = "quart"
	HalfGallon      JarSize = "half_gallon"
	ML250           JarSize = "ml_250"
	ML500           JarSize = "ml_500"
	L1              JarSize = "l_1"
)

// jarInfo is what we know of a jar size.
type jarInfo struct {
	size JarSize
	name string
	// volume is the nominal capacity: the name's own measure (USDA AIB 539, Guide 1, p. 1-13; NIST Handbook 44).
	volume measure.Quantity
	// trade is the size the trade treats as the same for processing and rack space.
	trade JarSize
	// processAs is the printed size whose process an odd size follows, and rule the published fact that says so.
	processAs JarSize
	rule      string
	spellings []string
}

// jars is ordered by nominal volume.
var jars = []jarInfo{
	{size: FourOunce, name: "4-ounce", volume: measure.Q(measure.Int(4), measure.FluidOunce), processAs: HalfPint, rule: "jar_4oz_process_as", spellings: []string{"4 oz", "4oz", "quarter pint"}},
	{size: HalfPint, name: "half-pint", volume: measure.Q(measure.Int(1), measure.Cup), spellings: []string{"1/2 pint", "½ pint", "8 oz", "8oz", "half pint"}},
	{size: ML250, name: "250 ml", volume: measure.Q(measure.Int(250), measure.Millilitre), trade: HalfPint, spellings: []string{"250ml", "250 ml"}},
	{size: TwelveOunce, name: "12-ounce", volume: measure.Q(measure.Int(12), measure.FluidOunce), processAs: Pint, rule: "jar_12oz_process_as", spellings: []string{"12 oz", "12oz"}},
	{size: Pint, name: "pint", volume: measure.Q(measure.Int(1), measure.Pint), spellings: []string{"16 oz", "16oz"}},
	{size: ML500, name: "500 ml", volume: measure.Q(measure.Int(500), measure.Millilitre), trade: Pint, spellings: []string{"500ml", "500 ml", "half litre"}},
	{size: OneAndHalfPint, name: "pint-and-a-half", volume: measure.Q(measure.Ratio(3, 2), measure.Pint), processAs: Quart, rule: "process_time_one_and_half_pint_equals", spellings: []string{"1-1/2 pint", "1½ pint", "pint and a half"}},
	{size: TwentyFourOunce, name: "24-ounce", volume: measure.Q(measure.Int(24), measure.FluidOunce), processAs: Quart, rule: "jar_24_28oz_process_as", spellings: []string{"24 oz", "24oz"}},
	{size: TwentyEightOz, name: "28-ounce", volume: measure.Q(measure.Int(28), measure.FluidOunce), processAs: Quart, rule: "jar_24_28oz_process_as", spellings: []string{"28 oz", "28oz"}},
	{size: Quart, name: "quart", volume: measure.Q(measure.Int(1), measure.Quart), spellings: []string{"32 oz", "32oz"}},
	{size: L1, name: "1 litre", volume: measure.Q(measure.Int(1), measure.Litre), trade: Quart, spellings: []string{"1l", "1 l", "litre", "liter", "1000 ml"}},
	{size: HalfGallon, name: "half-gallon", volume: measure.Q(measure.Int(2), measure.Quart), spellings: []string{"half gallon", "1/2 gallon", "64 oz"}},
}

var jarBySize = func() map[JarSize]*jarInfo {
	m := make(map[JarSize]*jarInfo, len(jars))
	for i := range jars {
		m[jars[i].size] = &jars[i]
	}
	return m
}()

// JarSizes are all jar sizes by nominal volume.
func JarSizes() []JarSize {
	sizes := make([]JarSize, len(jars))
	for i, j := range jars {
		sizes[i] = j.size
	}
	return sizes
}

// ParseJarSize reads a jar size as people write it: "pint", "half-pint jars", "500 ml", "ml_500".
func ParseJarSize(s string) (JarSize, error) {
	name := strings.ToLower(strings.TrimSpace(s))
	for _, tail := range []string{" jars", " jar", "s"} {
		name = strings.TrimSuffix(name, tail)
	}
	for _, j := range jars {
		if name == string(j.size) || name == strings.ToLower(j.name) || slices.Contains(j.spellings, name) {
			return j.size, nil
		}
	}
	return "", fault.Field("jar", s, "is not a jar size we know", "use one of "+joinSizes(JarSizes()))
}

// Known says whether j is a jar size of ours.
func (j JarSize) Known() bool { return jarBySize[j] != nil }

// Name is the size in words, e.g. "half-pint" or "500 ml".
func (j JarSize) Name() string {
	if info := jarBySize[j]; info != nil {
		return info.name
	}
	return string(j)
}

// Volume is the nominal capacity for arithmetic: a pint is 473.176 ml and a 500 ml jar 500 ml. It is 0 for
// an unknown size.
func (j JarSize) Volume() measure.Millilitres {
	info := jarBySize[j]
	if info == nil {
		return measure.Millilitres{}
	}
	ml, err := info.volume.Millilitres()
	if err != nil {
		panic("canning: " + err.Error()) // the table above holds volumes only
	}
	return ml
}

// Trade is the size that the trade treats as the same for processing and rack space: a 500 ml jar is a pint
// (common practice). Other sizes are themselves.
func (j JarSize) Trade() JarSize {
	if info := jarBySize[j]; info != nil && info.trade != "" {
		return info.trade
	}
	return j
}

// IsMetric says whether j stands for a US size by common practice.
func (j JarSize) IsMetric() bool { return j.Trade() != j }

// CompareJars orders jar sizes by nominal volume.
func CompareJars(a, b JarSize) int { return a.Volume().Cmp(b.Volume()) }

func joinSizes(sizes []JarSize) string {
	words := make([]string, len(sizes))
	for i, s := range sizes {
		words[i] = string(s)
	}
	return strings.Join(words, ", ")
}
