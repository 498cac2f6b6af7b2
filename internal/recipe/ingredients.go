package recipe

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"sync"
)

// Basis says how well the weight and yield tables fit an ingredient.
type Basis string

// The bases.
const (
	// Exact: the tables print this ingredient.
	Exact Basis = "exact"
	// Kind: the tables print a near kind of it, e.g. one mature onion for all colours.
	Kind Basis = "kind"
	// StandIn: another ingredient stands in for it by common practice, e.g. table salt for canning salt.
	StandIn Basis = "stand_in"
	// NoFigure: no figure fits.
	NoFigure Basis = "none"
)

// Ingredient is what a line asks for.
type Ingredient struct {
	// Name is as printed.
	Name string
	// Item names the same thing to buy across recipes: "onion" and "onions" are both "onions".
	// It is never empty.
	Item string
	// Key is the ingredient_key of the weight and yield tables that fits it, empty when Basis is NoFigure.
	Key string
	// NearKey is the key of a near kind, for measures and preparations that the tables do not print for Key; it is
	// empty for most.
	NearKey string
	// Basis says how well Key fits, and Note why.
	Basis Basis
	Note  string
	// Family groups ingredients that the rules treat alike.
	Family Family
}

// Family groups ingredients that the rules treat alike.
type Family string

// The families. Unknown is what the table does not list; it is treated as low-acid food.
const (
	UnknownFamily     Family = ""
	FamTomato         Family = "tomato"
	FamTomatoCanned   Family = "tomato_canned"
	FamGreenTomato    Family = "green_tomato"
	FamTomatillo      Family = "tomatillo"
	FamPepperMild     Family = "pepper_mild"
	FamPepperHot      Family = "pepper_hot"
	FamPepperMixed    Family = "pepper_mixed"
	FamPepperCanned   Family = "pepper_canned"
	FamOnion          Family = "onion"
	FamOnionOther     Family = "onion_other"
	FamGarlic         Family = "garlic"
	FamVegetable      Family = "low_acid_vegetable"
	FamLeafyGreens    Family = "leafy_greens"
	FamDriedBeans     Family = "dried_beans"
	FamCreamCorn      Family = "cream_style_corn"
	FamWinterSquash   Family = "winter_squash"
	FamSweetPotato    Family = "sweet_potato"
	FamFruit          Family = "fruit"
	FamFruitJuice     Family = "fruit_juice"
	FamVinegar5       Family = "vinegar_5"
	FamVinegarWeak    Family = "vinegar_weak"
	FamVinegarUnknown Family = "vinegar_unknown"
	FamCitrusBottled  Family = "citrus_bottled"
	FamLimeBottled    Family = "citrus_bottled_lime"
	FamCitrusEither   Family = "citrus_bottled_either"
	FamCitrusFresh    Family = "citrus_fresh"
	FamCitricAcid     Family = "citric_acid"
	FamSalt           Family = "salt"
	FamSaltCanning    Family = "salt_canning"
	FamSaltTable      Family = "salt_table"
	FamSaltFlake      Family = "salt_flake"
	FamSaltReduced    Family = "salt_reduced_sodium"
	FamSugar          Family = "sugar"
	FamSweetener      Family = "sweetener"
	FamSugarSub       Family = "sugar_substitute"
	FamDrySpice       Family = "dry_spice"
	FamFreshHerb      Family = "fresh_herb"
	FamFlavouring     Family = "flavouring"
	FamOil            Family = "oil"
	FamDairy          Family = "dairy"
	FamMeat           Family = "meat"
	FamSeafood        Family = "seafood"
	FamStarch         Family = "starch"
	FamPastaGrain     Family = "pasta_grain"
	FamLowAcidOther   Family = "low_acid_other"
	FamPectin         Family = "pectin"
	FamCondiment      Family = "condiment"
	FamWater          Family = "water"
	FamAlcohol        Family = "alcohol"
)

// defaultRole is the role an ingredient of the family takes when nothing printed says otherwise.
func (f Family) defaultRole() Role {
	switch f {
	case FamTomato, FamTomatoCanned, FamGreenTomato, FamTomatillo, FamFruit, FamFruitJuice:
		return Fruit
	case FamPepperMild, FamPepperHot, FamPepperMixed, FamPepperCanned, FamOnion, FamOnionOther, FamGarlic, FamVegetable,
		FamLeafyGreens, FamDriedBeans, FamCreamCorn, FamWinterSquash, FamSweetPotato:
		return LowAcid
	case FamVinegar5, FamVinegarWeak, FamVinegarUnknown, FamCitrusBottled, FamLimeBottled, FamCitrusEither, FamCitrusFresh, FamCitricAcid:
		return Acid
	case FamSalt, FamSaltCanning, FamSaltTable, FamSaltFlake, FamSaltReduced:
		return Salt
	case FamSugar, FamSweetener, FamSugarSub:
		return Sugar
	case FamDrySpice:
		return DrySpice
	case FamFreshHerb:
		return FreshHerb
	case FamStarch, FamPectin:
		return Thickener
	}
	return Other
}

// isPepper says the family is a pepper of any heat.
func (f Family) isPepper() bool {
	return f == FamPepperMild || f == FamPepperHot || f == FamPepperMixed || f == FamPepperCanned
}

//go:embed data/ingredients.csv
var ingredientsCSV string

type ingredientTable struct {
	byName map[string]Ingredient
	byItem map[string]Ingredient
}

var ingredients = sync.OnceValue(func() ingredientTable {
	t := ingredientTable{byName: map[string]Ingredient{}, byItem: map[string]Ingredient{}}
	for _, row := range mustRows(ingredientsCSV, "item", "names", "ingredient_key", "near_key", "basis", "family", "note") {
		in := Ingredient{Item: row[0], Key: row[2], NearKey: row[3], Basis: Basis(row[4]), Family: Family(row[5]), Note: row[6]}
		for i, name := range strings.Split(row[1], ";") {
			key := foldName(name)
			if other, taken := t.byName[key]; taken {
				panic(fmt.Sprintf("recipe: %q names both %s and %s", name, other.Item, in.Item))
			}
			in.Name = name
			t.byName[key] = in
			if i == 0 {
				t.byItem[in.Item] = in
			}
		}
	}
	return t
})

// FindIngredient reads an ingredient's name as a cook writes it, by the table's names and item keys. A name that the
// table does not list as it stands comes back with its own slug as Item, no key and UnknownFamily, and found is
// false: "vinegar (5%), half water" is not vinegar. [SplitName] parts a name from such a remark.
func FindIngredient(name string) (in Ingredient, found bool) {
	name = strings.Join(strings.Fields(name), " ")
	t := ingredients()
	folded := foldName(name)
	if in, ok := t.byName[folded]; ok {
		in.Name = name
		return in, true
	}
	if in, ok := t.byItem[strings.ReplaceAll(folded, " ", "_")]; ok {
		in.Name = name
		return in, true
	}
	item := slug(name)
	if item == "" {
		item = "ingredient"
	}
	return Ingredient{Name: name, Item: item, Basis: NoFigure, Note: "not in the ingredient table"}, false
}

// SplitName parts text like "onions, thinly sliced" into the longest name before a comma that the ingredient table
// lists, and the rest, which is a preparation. Text with no such name is all name, and so is text with no comma.
func SplitName(text string) (name, preparation string) {
	text = strings.Join(strings.Fields(text), " ")
	parts := strings.Split(text, ",")
	for i := len(parts); i >= 1; i-- {
		name := strings.TrimSpace(strings.Join(parts[:i], ","))
		if _, listed := FindIngredient(name); listed && name != "" {
			return name, strings.TrimSpace(strings.Join(parts[i:], ","))
		}
	}
	return text, ""
}

// Ingredients lists every ingredient the program knows by name, in the table's order.
func Ingredients() []Ingredient {
	t := ingredients()
	var all []Ingredient
	for _, row := range mustRows(ingredientsCSV, "item", "names", "ingredient_key", "near_key", "basis", "family", "note") {
		all = append(all, t.byItem[row[0]])
	}
	return all
}

func foldName(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }

// slug is s in lower case with runs of anything but letters and digits turned into one underscore.
func slug(s string) string {
	var b strings.Builder
	gap := false
	for _, c := range strings.ToLower(s) {
		if c >= 'a' && c <= 'z' || c >= '0' && c <= '9' {
			if gap && b.Len() > 0 {
				b.WriteByte('_')
			}
			gap = false
			b.WriteRune(c)
			continue
		}
		gap = true
	}
	const longest = 60
	if b.Len() > longest {
		return strings.TrimRight(b.String()[:longest], "_")
	}
	return b.String()
}

func itoa(n int) string { return strconv.Itoa(n) }

// mustRows reads an embedded CSV and checks its header; the data ships with the program, so it panics.
func mustRows(data string, header ...string) [][]string {
	r := csv.NewReader(strings.NewReader(data))
	r.FieldsPerRecord = len(header)
	rows, err := r.ReadAll()
	if err != nil {
		panic("recipe: embedded table: " + err.Error())
	}
	for i, name := range header {
		if rows[0][i] != name {
			panic(fmt.Sprintf("recipe: embedded table has column %q where %q belongs", rows[0][i], name))
		}
	}
	return rows[1:]
}
