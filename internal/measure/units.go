package measure

import (
	"slices"
	"strings"
)

// Unit is the key of a registered unit, e.g. "us_cup". Compare units with ==.
type Unit string

// Units that code names. The registry below has more.
const (
	Gram     Unit = "gram"
	Kilogram Unit = "kilogram"
	Ounce    Unit = "ounce"
	Pound    Unit = "pound"

	Millilitre Unit = "millilitre"
	Litre      Unit = "litre"
	// Teaspoon, Tablespoon, FluidOunce, Cup, Pint, Quart and Gallon are the US customary liquid measures;
	// a cook's plain "cup" means this one.
	Teaspoon   Unit = "us_teaspoon"
	Tablespoon Unit = "us_tablespoon"
	FluidOunce Unit = "us_fluid_ounce"
	Cup        Unit = "us_cup"
	Pint       Unit = "us_pint"
	Quart      Unit = "us_quart"
	Gallon     Unit = "us_gallon"
	// DryPint, DryQuart, Peck and Bushel are the US dry measures; a dry pint is not a liquid one.
	DryPint  Unit = "us_dry_pint"
	DryQuart Unit = "us_dry_quart"
	Peck     Unit = "us_peck"
	Bushel   Unit = "us_bushel"
	// MetricCup is 250 ml, LabelCup the 240 ml of US nutrition labels.
	MetricCup Unit = "metric_cup"
	LabelCup  Unit = "us_label_cup"

	Metre Unit = "metre"
	Foot  Unit = "foot"
	Inch  Unit = "inch"
	Mile  Unit = "mile"

	// Count units; each is a whole piece.
	Each    Unit = "each"
	Dozen   Unit = "dozen"
	Clove   Unit = "clove"
	Stalk   Unit = "stalk"
	Sprig   Unit = "sprig"
	Bunch   Unit = "bunch"
	Can     Unit = "can"
	Package Unit = "package"
	Head    Unit = "head"
	Ear     Unit = "ear"
)

// definition is what the registry knows of a unit: value in base = (amount + offset) * factor.
type definition struct {
	unit      Unit
	dimension Dimension
	factor    Number
	offset    Number
	singular  string
	plural    string
	short     string
	aliases   []string
}

var (
	inchMetre   = MustDecimal("0.0254")
	poundGram   = MustDecimal("453.59237")
	cubicInchML = MustDecimal("16.387064")
	gallonML    = cubicInchML.Mul(Int(231))
	bushelML    = cubicInchML.Mul(MustDecimal("2150.42"))
	imperialML  = MustDecimal("4546.09")
	btuJoule    = MustDecimal("1055.05585262")
	footMetre   = MustDecimal("0.3048")
	// psiPascal is one pound-force (0.45359237 kg times 9.80665 m/s²) on a square inch.
	psiPascal = MustDecimal("0.45359237").Mul(MustDecimal("9.80665")).Div(inchMetre.Mul(inchMetre))
)

// registry lists every unit. Factors follow NIST Handbook 44, Appendix C, and NIST SP 811, Appendix B;
// label measures 21 CFR 101.9(b)(5)(viii); metric and Australian spoons and cups are trade conventions.
var registry = []definition{
	{unit: Gram, dimension: Mass, factor: Int(1), singular: "gram", plural: "grams", short: "g", aliases: []string{"gm", "gramme", "grammes"}},
	{unit: Kilogram, dimension: Mass, factor: Int(1000), singular: "kilogram", plural: "kilograms", short: "kg", aliases: []string{"kilo", "kilos"}},
	{unit: "milligram", dimension: Mass, factor: Ratio(1, 1000), singular: "milligram", plural: "milligrams", short: "mg"},
	{unit: Ounce, dimension: Mass, factor: poundGram.Div(Int(16)), singular: "ounce", plural: "ounces", short: "oz"},
	{unit: Pound, dimension: Mass, factor: poundGram, singular: "pound", plural: "pounds", short: "lb", aliases: []string{"lbs"}},
	{unit: "us_short_ton", dimension: Mass, factor: poundGram.Mul(Int(2000)), singular: "US short ton", plural: "US short tons", short: "short ton", aliases: []string{"short tons"}},
	{unit: "grain", dimension: Mass, factor: MustDecimal("0.06479891"), singular: "grain", plural: "grains", short: "gr"},

	{unit: Millilitre, dimension: Volume, factor: Int(1), singular: "millilitre", plural: "millilitres", short: "ml", aliases: []string{"milliliter", "milliliters", "cc"}},
	{unit: "centilitre", dimension: Volume, factor: Int(10), singular: "centilitre", plural: "centilitres", short: "cl", aliases: []string{"centiliter", "centiliters"}},
	{unit: "decilitre", dimension: Volume, factor: Int(100), singular: "decilitre", plural: "decilitres", short: "dl", aliases: []string{"deciliter", "deciliters"}},
	{unit: Litre, dimension: Volume, factor: Int(1000), singular: "litre", plural: "litres", short: "l", aliases: []string{"liter", "liters"}},
	{unit: "cubic_metre", dimension: Volume, factor: Int(1_000_000), singular: "cubic metre", plural: "cubic metres", short: "m³", aliases: []string{"m3"}},
	{unit: "cubic_inch", dimension: Volume, factor: cubicInchML, singular: "cubic inch", plural: "cubic inches", short: "cu in", aliases: []string{"in3", "in³"}},
	{unit: Teaspoon, dimension: Volume, factor: gallonML.Div(Int(768)), singular: "teaspoon", plural: "teaspoons", short: "tsp", aliases: []string{"tsps", "us teaspoon", "us teaspoons"}},
	{unit: Tablespoon, dimension: Volume, factor: gallonML.Div(Int(256)), singular: "tablespoon", plural: "tablespoons", short: "tbsp", aliases: []string{"tbsps", "tbs", "tblsp", "us tablespoon", "us tablespoons"}},
	{unit: FluidOunce, dimension: Volume, factor: gallonML.Div(Int(128)), singular: "fluid ounce", plural: "fluid ounces", short: "fl oz", aliases: []string{"floz", "us fluid ounce", "us fluid ounces"}},
	{unit: Cup, dimension: Volume, factor: gallonML.Div(Int(16)), singular: "cup", plural: "cups", short: "cup", aliases: []string{"c", "us cup", "us cups"}},
	{unit: Pint, dimension: Volume, factor: gallonML.Div(Int(8)), singular: "pint", plural: "pints", short: "pt", aliases: []string{"pts", "us pint", "us pints", "liquid pint", "liquid pints"}},
	{unit: Quart, dimension: Volume, factor: gallonML.Div(Int(4)), singular: "quart", plural: "quarts", short: "qt", aliases: []string{"qts", "us quart", "us quarts", "liquid quart", "liquid quarts"}},
	{unit: Gallon, dimension: Volume, factor: gallonML, singular: "gallon", plural: "gallons", short: "gal", aliases: []string{"gals", "us gallon", "us gallons"}},
	{unit: DryPint, dimension: Volume, factor: bushelML.Div(Int(64)), singular: "dry pint", plural: "dry pints", short: "dry pt", aliases: []string{"us dry pint", "us dry pints"}},
	{unit: DryQuart, dimension: Volume, factor: bushelML.Div(Int(32)), singular: "dry quart", plural: "dry quarts", short: "dry qt", aliases: []string{"us dry quart", "us dry quarts"}},
	{unit: Peck, dimension: Volume, factor: bushelML.Div(Int(4)), singular: "peck", plural: "pecks", short: "pk", aliases: []string{"us peck", "us pecks"}},
	{unit: Bushel, dimension: Volume, factor: bushelML, singular: "bushel", plural: "bushels", short: "bu", aliases: []string{"us bushel", "us bushels"}},
	{unit: MetricCup, dimension: Volume, factor: Int(250), singular: "metric cup", plural: "metric cups", short: "metric cup"},
	{unit: "metric_tablespoon", dimension: Volume, factor: Int(15), singular: "metric tablespoon", plural: "metric tablespoons", short: "metric tbsp"},
	{unit: "metric_teaspoon", dimension: Volume, factor: Int(5), singular: "metric teaspoon", plural: "metric teaspoons", short: "metric tsp"},
	{unit: "australian_tablespoon", dimension: Volume, factor: Int(20), singular: "Australian tablespoon", plural: "Australian tablespoons", short: "Australian tbsp"},
	{unit: LabelCup, dimension: Volume, factor: Int(240), singular: "label cup", plural: "label cups", short: "label cup", aliases: []string{"us label cup", "us label cups"}},
	{unit: "us_label_tablespoon", dimension: Volume, factor: Int(15), singular: "label tablespoon", plural: "label tablespoons", short: "label tbsp"},
	{unit: "us_label_teaspoon", dimension: Volume, factor: Int(5), singular: "label teaspoon", plural: "label teaspoons", short: "label tsp"},
	{unit: "imperial_gallon", dimension: Volume, factor: imperialML, singular: "imperial gallon", plural: "imperial gallons", short: "imp gal"},
	{unit: "imperial_quart", dimension: Volume, factor: imperialML.Div(Int(4)), singular: "imperial quart", plural: "imperial quarts", short: "imp qt"},
	{unit: "imperial_pint", dimension: Volume, factor: imperialML.Div(Int(8)), singular: "imperial pint", plural: "imperial pints", short: "imp pt"},
	{unit: "imperial_fluid_ounce", dimension: Volume, factor: imperialML.Div(Int(160)), singular: "imperial fluid ounce", plural: "imperial fluid ounces", short: "imp fl oz"},

	{unit: Metre, dimension: Length, factor: Int(1), singular: "metre", plural: "metres", short: "m", aliases: []string{"meter", "meters"}},
	{unit: "centimetre", dimension: Length, factor: Ratio(1, 100), singular: "centimetre", plural: "centimetres", short: "cm", aliases: []string{"centimeter", "centimeters"}},
	{unit: "millimetre", dimension: Length, factor: Ratio(1, 1000), singular: "millimetre", plural: "millimetres", short: "mm", aliases: []string{"millimeter", "millimeters"}},
	{unit: "kilometre", dimension: Length, factor: Int(1000), singular: "kilometre", plural: "kilometres", short: "km", aliases: []string{"kilometer", "kilometers"}},
	{unit: Inch, dimension: Length, factor: inchMetre, singular: "inch", plural: "inches", short: "in", aliases: []string{`"`, "″"}},
	{unit: Foot, dimension: Length, factor: footMetre, singular: "foot", plural: "feet", short: "ft", aliases: []string{"'", "′"}},
	{unit: Mile, dimension: Length, factor: footMetre.Mul(Int(5280)), singular: "mile", plural: "miles", short: "mi"},
	{unit: "square_metre", dimension: Area, factor: Int(1), singular: "square metre", plural: "square metres", short: "m²", aliases: []string{"m2"}},
	{unit: "square_foot", dimension: Area, factor: footMetre.Mul(footMetre), singular: "square foot", plural: "square feet", short: "sq ft", aliases: []string{"ft2", "ft²"}},

	{unit: "kelvin", dimension: Temperature, factor: Int(1), singular: "kelvin", plural: "kelvin", short: "K"},
	{unit: "celsius", dimension: Temperature, factor: Int(1), offset: MustDecimal("273.15"), singular: "degree Celsius", plural: "degrees Celsius", short: "°C", aliases: []string{"degC"}},
	{unit: "fahrenheit", dimension: Temperature, factor: Ratio(5, 9), offset: MustDecimal("459.67"), singular: "degree Fahrenheit", plural: "degrees Fahrenheit", short: "°F", aliases: []string{"degF", "f"}},
	{unit: "rankine", dimension: Temperature, factor: Ratio(5, 9), singular: "degree Rankine", plural: "degrees Rankine", short: "°R", aliases: []string{"degR"}},
	{unit: "kelvin_difference", dimension: TemperatureDifference, factor: Int(1), singular: "kelvin of difference", plural: "kelvin of difference", short: "K difference"},
	{unit: "fahrenheit_difference", dimension: TemperatureDifference, factor: Ratio(5, 9), singular: "degree Fahrenheit of difference", plural: "degrees Fahrenheit of difference", short: "°F difference"},

	{unit: "second", dimension: Time, factor: Int(1), singular: "second", plural: "seconds", short: "s", aliases: []string{"sec", "secs"}},
	{unit: "minute", dimension: Time, factor: Int(60), singular: "minute", plural: "minutes", short: "min", aliases: []string{"mins"}},
	{unit: "hour", dimension: Time, factor: Int(3600), singular: "hour", plural: "hours", short: "h", aliases: []string{"hr", "hrs"}},

	{unit: "pascal", dimension: Pressure, factor: Int(1), singular: "pascal", plural: "pascals", short: "Pa"},
	{unit: "hectopascal", dimension: Pressure, factor: Int(100), singular: "hectopascal", plural: "hectopascals", short: "hPa"},
	{unit: "kilopascal", dimension: Pressure, factor: Int(1000), singular: "kilopascal", plural: "kilopascals", short: "kPa"},
	{unit: "bar", dimension: Pressure, factor: Int(100_000), singular: "bar", plural: "bar", short: "bar"},
	{unit: "psi", dimension: Pressure, factor: psiPascal, singular: "pound per square inch", plural: "pounds per square inch", short: "psi"},
	{unit: "standard_atmosphere", dimension: Pressure, factor: Int(101_325), singular: "standard atmosphere", plural: "standard atmospheres", short: "atm"},

	{unit: "joule", dimension: Energy, factor: Int(1), singular: "joule", plural: "joules", short: "J"},
	{unit: "kilowatt_hour", dimension: Energy, factor: Int(3_600_000), singular: "kilowatt hour", plural: "kilowatt hours", short: "kWh"},
	{unit: "calorie_it", dimension: Energy, factor: MustDecimal("4.1868"), singular: "International Table calorie", plural: "International Table calories", short: "cal(IT)"},
	{unit: "btu_it", dimension: Energy, factor: btuJoule, singular: "International Table Btu", plural: "International Table Btu", short: "Btu", aliases: []string{"btu(it)"}},
	{unit: "watt", dimension: Power, factor: Int(1), singular: "watt", plural: "watts", short: "W"},
	{unit: "kilowatt", dimension: Power, factor: Int(1000), singular: "kilowatt", plural: "kilowatts", short: "kW"},
	{unit: "btu_it_per_hour", dimension: Power, factor: btuJoule.Div(Int(3600)), singular: "Btu per hour", plural: "Btu per hour", short: "Btu/h"},
	{unit: "watt_per_square_metre", dimension: HeatFlux, factor: Int(1), singular: "watt per square metre", plural: "watts per square metre", short: "W/m²"},
	{unit: "btu_it_per_square_foot_hour", dimension: HeatFlux, factor: btuJoule.Div(Int(3600)).Div(footMetre.Mul(footMetre)), singular: "Btu per square foot and hour", plural: "Btu per square foot and hour", short: "Btu/(ft²·h)", aliases: []string{"Btu/(ft2.h)"}},
	{unit: "watt_per_square_metre_kelvin", dimension: HeatTransfer, factor: Int(1), singular: "watt per square metre and kelvin", plural: "watts per square metre and kelvin", short: "W/(m²·K)", aliases: []string{"W/(m2.K)"}},
	{unit: "btu_it_per_square_foot_hour_degf", dimension: HeatTransfer, factor: btuJoule.Div(Int(3600)).Div(footMetre.Mul(footMetre)).Div(Ratio(5, 9)), singular: "Btu per square foot, hour and degree Fahrenheit", plural: "Btu per square foot, hour and degree Fahrenheit", short: "Btu/(ft²·h·°F)"},
	{unit: "kilojoule_per_kilogram_kelvin", dimension: SpecificHeat, factor: Int(1), singular: "kilojoule per kilogram and kelvin", plural: "kilojoules per kilogram and kelvin", short: "kJ/(kg·K)", aliases: []string{"kJ/(kg.K)"}},
	{unit: "btu_it_per_pound_degf", dimension: SpecificHeat, factor: btuJoule.Div(poundGram).Div(Ratio(5, 9)), singular: "Btu per pound and degree Fahrenheit", plural: "Btu per pound and degree Fahrenheit", short: "Btu/(lb·°F)"},

	{unit: Each, dimension: Count, factor: Int(1), singular: "each", plural: "each", short: "each", aliases: []string{"ea", "whole", "piece", "pieces"}},
	{unit: Dozen, dimension: Count, factor: Int(12), singular: "dozen", plural: "dozen", short: "dozen", aliases: []string{"doz", "dozens"}},
	{unit: Clove, dimension: Count, singular: "clove", plural: "cloves", short: "clove"},
	{unit: Stalk, dimension: Count, singular: "stalk", plural: "stalks", short: "stalk", aliases: []string{"rib", "ribs"}},
	{unit: Sprig, dimension: Count, singular: "sprig", plural: "sprigs", short: "sprig"},
	{unit: Bunch, dimension: Count, singular: "bunch", plural: "bunches", short: "bunch"},
	{unit: Can, dimension: Count, singular: "can", plural: "cans", short: "can", aliases: []string{"tin", "tins"}},
	{unit: Package, dimension: Count, singular: "package", plural: "packages", short: "package", aliases: []string{"pkg", "pkgs", "packet", "packets", "box", "boxes"}},
	{unit: Head, dimension: Count, singular: "head", plural: "heads", short: "head"},
	{unit: Ear, dimension: Count, singular: "ear", plural: "ears", short: "ear"},
	{unit: "slice", dimension: Count, singular: "slice", plural: "slices", short: "slice"},
	{unit: "leaf", dimension: Count, singular: "leaf", plural: "leaves", short: "leaf"},
	{unit: "stick", dimension: Count, singular: "stick", plural: "sticks", short: "stick"},
	{unit: "pinch", dimension: Count, singular: "pinch", plural: "pinches", short: "pinch"},
	{unit: "jar", dimension: Count, singular: "jar", plural: "jars", short: "jar"},
	{unit: "bag", dimension: Count, singular: "bag", plural: "bags", short: "bag"},
	{unit: "bottle", dimension: Count, singular: "bottle", plural: "bottles", short: "bottle"},
	{unit: "crate", dimension: Count, singular: "crate", plural: "crates", short: "crate"},
	{unit: "lug", dimension: Count, singular: "lug", plural: "lugs", short: "lug"},
}

// caseAliases are the spellings in which upper and lower case differ: a cook's "T" holds three "t".
var caseAliases = map[string]Unit{
	"T": Tablespoon, "t": Teaspoon, "Tbl": Tablespoon, "C": Cup, "L": Litre, "K": "kelvin", "F": "fahrenheit",
}

var byUnit, byAlias = index()

func index() (map[Unit]*definition, map[string]Unit) {
	units := make(map[Unit]*definition, len(registry))
	names := make(map[string]Unit, 6*len(registry))
	claim := func(name string, u Unit) {
		name = strings.ToLower(name)
		if other, taken := names[name]; taken && other != u {
			panic("measure: " + name + " names both " + string(other) + " and " + string(u))
		}
		names[name] = u
	}
	for i := range registry {
		d := &registry[i]
		units[d.unit] = d
		for _, name := range append([]string{string(d.unit), strings.ReplaceAll(string(d.unit), "_", " "), d.singular, d.plural, d.short}, d.aliases...) {
			claim(name, d.unit)
		}
	}
	return units, names
}

// ParseUnit reads a unit as cooks spell it: "cups", "c", "Tbsp", "fl. oz.", "lb", or a registry key.
// Case is ignored except where it distinguishes (T and t).
func ParseUnit(s string) (Unit, error) {
	name := strings.Join(strings.Fields(strings.ReplaceAll(s, ".", " ")), " ")
	if u, ok := caseAliases[name]; ok {
		return u, nil
	}
	if u, ok := byAlias[strings.ToLower(name)]; ok {
		return u, nil
	}
	// Spellings with a point of their own, such as "kJ/(kg.K)".
	if u, ok := byAlias[strings.ToLower(strings.TrimSpace(s))]; ok {
		return u, nil
	}
	if name == "" {
		return "", wrong("unit", s, "is missing", "name a unit such as cup, g, lb or each")
	}
	return "", wrong("unit", s, "is not a unit we know", "use one such as cup, tbsp, tsp, fl oz, quart, g, kg, ml, l, lb, oz, each, clove or bunch")
}

// Units lists every registered unit in a fixed order.
func Units() []Unit {
	units := make([]Unit, len(registry))
	for i := range registry {
		units[i] = registry[i].unit
	}
	slices.Sort(units)
	return units
}

// Known says whether u is registered.
func (u Unit) Known() bool { return byUnit[u] != nil }

// Dimension is what u measures; Unknown when u is not registered.
func (u Unit) Dimension() Dimension {
	if d := byUnit[u]; d != nil {
		return d.dimension
	}
	return Unknown
}

// Name is the unit in words for an amount: "cup" for 1 and below, "cups" above.
func (u Unit) Name(amount Number) string {
	d := byUnit[u]
	switch {
	case d == nil:
		return string(u)
	case amount.Cmp(Int(1)) > 0:
		return d.plural
	default:
		return d.singular
	}
}

// Short is the abbreviation, e.g. "tbsp".
func (u Unit) Short() string {
	if d := byUnit[u]; d != nil {
		return d.short
	}
	return string(u)
}

// ConvertibleTo says whether an amount in u can be restated in v without knowing what is measured.
func (u Unit) ConvertibleTo(v Unit) bool {
	a, b := byUnit[u], byUnit[v]
	if a == nil || b == nil {
		return false
	}
	return u == v || a.dimension == b.dimension && !a.factor.IsZero() && !b.factor.IsZero()
}

// Convert restates n from one unit in another, exactly. It fails for units that do not measure the same
// thing; a cup of onion has no mass here.
func Convert(n Number, from, to Unit) (Number, error) {
	for _, u := range []Unit{from, to} {
		if !u.Known() {
			_, err := ParseUnit(string(u))
			if err == nil {
				err = wrong("unit", string(u), "is a spelling, not a registry key", "read it with ParseUnit first")
			}
			return Number{}, err
		}
	}
	if !from.ConvertibleTo(to) {
		return Number{}, wrong("unit", string(from), "measures "+describe(from)+" and cannot become "+string(to)+", which measures "+describe(to),
			"give a published weight for the measure, or use a unit of the same kind")
	}
	if from == to {
		return n, nil
	}
	a, b := byUnit[from], byUnit[to]
	if a.offset.r == nil && b.offset.r == nil {
		return n.Mul(a.factor).Div(b.factor), nil
	}
	return n.Add(a.offset).Mul(a.factor).Div(b.factor).Sub(b.offset), nil
}

func describe(u Unit) string {
	if u.Dimension() == Count {
		return "count (" + byUnit[u].singular + ")"
	}
	return u.Dimension().String()
}
