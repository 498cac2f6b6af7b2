package recipe

import (
	_ "embed"
	"sync"
)

// ProductFamily is the kind of product a process belongs to. The rules on changes speak of families:
// "the salsa recipes", "quick-process pickles", "traditional jams and jellies".
type ProductFamily string

// The product families.
const (
	NoFamily             ProductFamily = ""
	SalsaFamily          ProductFamily = "salsa"
	FruitSalsaFamily     ProductFamily = "fruit_salsa"
	QuickPickle          ProductFamily = "quick_pickle"
	Fermented            ProductFamily = "fermented"
	SweetSpread          ProductFamily = "sweet_spread"
	ReducedSugarSpread   ProductFamily = "reduced_sugar_spread"
	Chutney              ProductFamily = "chutney"
	FruitButter          ProductFamily = "fruit_butter"
	PieFilling           ProductFamily = "pie_filling"
	MeatPieFilling       ProductFamily = "meat_pie_filling"
	FruitProduct         ProductFamily = "fruit"
	JuiceProduct         ProductFamily = "juice"
	TomatoProduct        ProductFamily = "tomato"
	TomatoVegetable      ProductFamily = "tomato_vegetable"
	TomatoVegetableJuice ProductFamily = "tomato_vegetable_juice"
	SpaghettiSauce       ProductFamily = "spaghetti_sauce"
	Soup                 ProductFamily = "soup"
	MixedVegetables      ProductFamily = "mixed_vegetables"
	VegetableProduct     ProductFamily = "vegetable"
)

//go:embed data/families.csv
var familiesCSV string

var families = sync.OnceValue(func() map[string]ProductFamily {
	m := map[string]ProductFamily{}
	for _, row := range mustRows(familiesCSV, "process_key", "family") {
		m[row[0]] = ProductFamily(row[1])
	}
	return m
})

// familyOf is the family of a process key, NoFamily for one that is not in the process table.
func familyOf(processKey string) ProductFamily { return families()[processKey] }

// isLowAcid says the product is pressure canned because it is low-acid food.
func (f ProductFamily) isLowAcid() bool {
	switch f {
	case Soup, MixedVegetables, VegetableProduct, SpaghettiSauce, MeatPieFilling, TomatoVegetable:
		return true
	}
	return false
}
