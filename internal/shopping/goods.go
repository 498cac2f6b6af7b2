package shopping

import (
	"slices"
	"strings"
)

// Sections of a shop, in the order they are walked. An offer may name another.
const (
	SectionProduce  = "Produce"
	SectionDry      = "Dry goods and spices"
	SectionLiquids  = "Vinegar, juice and oil"
	SectionCanned   = "Canned, frozen and dried"
	SectionSupplies = "Jars and supplies"
	SectionTap      = "From the tap"
)

var sectionOrder = []string{SectionProduce, SectionDry, SectionLiquids, SectionCanned, SectionSupplies}

// goods is how a thing is bought.
type goods struct {
	section string
	// produce is bought whole and loses weight in preparation.
	produce bool
	// liquid is bought by volume as readily as by weight.
	liquid bool
	// tap is not bought at all.
	tap bool
	// vinegar must have a stated acidity.
	vinegar bool
	// supply is a jar, lid, band, label or towel.
	supply bool
}

var liquidWords = []string{"vinegar", "juice", "cider", "oil", "wine", "honey", "syrup", "molasses", "water", "vanilla", "milk", "cream"}

var preservedWords = []string{
	"canned", "frozen", "dried", "bottled", "raisins", "paste", "puree", "sauce", "prepared", "pimiento", "powder",
}

// goodsOf sorts a thing by its item name, the ingredient_key of its figures, and its role in the recipe.
func goodsOf(item, key, role string) goods {
	if _, ok := supplyNames[item]; ok {
		return goods{section: SectionSupplies, supply: true}
	}
	words := strings.FieldsFunc(item+"_"+key, func(r rune) bool { return r == '_' || r == '-' })
	has := func(list []string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return slices.Contains(list, w) })
	}
	switch {
	case item == "water" || item == "ice":
		return goods{section: SectionTap, tap: true, liquid: item == "water"}
	case has([]string{"vinegar"}):
		return goods{section: SectionLiquids, liquid: true, vinegar: true}
	case has(liquidWords):
		return goods{section: SectionLiquids, liquid: true}
	case paste(item) && has(preservedWords) && role != "fresh_herb":
		return goods{section: SectionCanned}
	case len(figuresOf(key).yields) > 0, role == "low_acid_vegetable", role == "fruit", role == "fresh_herb":
		return goods{section: SectionProduce, produce: true}
	}
	return goods{section: SectionDry}
}

// paste keeps paste tomatoes, which are fresh, apart from tomato paste, which is not.
func paste(item string) bool { return !strings.HasPrefix(item, "paste_") }

// Group is a set of items of which one may stand for another by weight.
type Group struct {
	Key, Name string
	// Members are items; the group's own generic item, if recipes use one, is among them.
	Members []string
}

func (g Group) has(item string) bool { return slices.Contains(g.Members, item) }

func (g Group) list() string { return strings.Join(g.Members, ", ") }

// Groups are the interchangeable kinds. The published recipes allow "other colours of sweet pepper", "green or
// yellow beans" and "mild and hot mixed" in these words; onions of any colour are one onion to the published
// weights and yields. Which kind is bought is the instructor's choice; the total never changes.
func Groups() []Group { return slices.Clone(groups) }

var groups = []Group{
	{"sweet_peppers", "sweet peppers of any colour", []string{"bell_peppers", "bell_peppers_green", "bell_peppers_red", "bell_peppers_yellow", "bell_peppers_orange"}},
	{"onions", "onions of any colour", []string{"onions", "onions_red", "onions_white", "onions_yellow"}},
	{"snap_beans", "green or yellow beans", []string{"green_beans", "wax_beans"}},
	{"vinegar", "vinegar of 5 % acidity", []string{"vinegar", "vinegar_white", "vinegar_cider", "vinegar_unstated"}},
	{"salt", "salt", []string{"salt", "salt_canning", "salt_table"}},
	{"lemon_or_lime", "bottled lemon or lime juice", []string{"lemon_or_lime_juice_bottled", "lemon_juice_bottled", "lime_juice_bottled"}},
}

var groupByKey = func() map[string]Group {
	m := map[string]Group{}
	for _, g := range groups {
		m[g.Key] = g
	}
	return m
}()

func groupList() string {
	keys := make([]string, len(groups))
	for i, g := range groups {
		keys[i] = g.Key
	}
	return strings.Join(keys, ", ")
}

// genericItems are items any member of whose group will do; offers of the members serve them.
var genericItems = map[string]string{
	"bell_peppers": "sweet_peppers", "onions": "onions", "vinegar": "vinegar", "vinegar_unstated": "vinegar", "salt": "salt",
	"lemon_or_lime_juice_bottled": "lemon_or_lime",
}

// serves says whether an offer of one item can cover a need of another.
func serves(offered, needed string) bool {
	if offered == needed {
		return true
	}
	g, ok := genericItems[needed]
	return ok && groupByKey[g].has(offered)
}
