package recipe

import (
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/canning"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// preparation judges another way to prepare a line.
func (j *judge) preparation(d difference) Finding {
	was, now := strings.ToLower(d.before.Preparation), strings.ToLower(d.after.Preparation)
	gained := func(words ...string) bool {
		for _, w := range words {
			if strings.Contains(now, w) && !strings.Contains(was, w) && !strings.Contains(now, "un"+w) {
				return true
			}
		}
		return false
	}
	lost := func(w string) bool { return strings.Contains(was, w) && !strings.Contains(now, w) }
	switch {
	case gained("drain", "strain", "pressed") && j.family == SalsaFamily && d.before.Role == Fruit:
		return forbidden("drained tomatoes make a thicker salsa than was tested", "thicken it when serving, or use paste tomatoes in the recipe for them", "salsa_drain_tomatoes")
	case gained("puree", "purée", "blended smooth", "mashed") && (d.before.Role == LowAcid || j.family.isLowAcid()):
		return forbidden("heat goes through a purée much more slowly", "keep the pieces and purée when serving", "puree_vegetables_meat")
	case lost("blossom end"):
		return notCovered("the slice from the blossom end is part of the method", "cut it off as printed", "cucumber_blossom_end_slice")
	case d.before.Ingredient.Family == FamWater || d.before.Role == Salt || d.before.Role == Sugar || d.before.Role == DrySpice:
		return notCovered("no published statement speaks of it", "prepare it as printed")
	}
	return notCovered("the size and state of the pieces are part of what was tested", "prepare it as printed", "only_tested_proportions")
}

// jar judges another jar size.
func (j *judge) jar(d difference) Finding {
	key, pack, jar := j.changed.ProcessKey, j.changed.Pack, canning.JarSize(d.to)
	printed := jarList(printedJars(key, pack))
	p, err := jarProcess(key, pack, jar)
	if err != nil {
		if jar == canning.HalfGallon {
			return forbidden("half-gallon jars have a process for very acid juices only", "fill "+printed, "half_gallon_use", "half_gallon_products", "larger_jar_rule")
		}
		if largest := printedJars(key, pack); len(largest) == 0 || canning.CompareJars(jar, largest[len(largest)-1]) <= 0 {
			return notCovered("the table prints no such jar and no published rule covers it", "fill "+printed)
		}
		return forbidden("the table prints "+printed+", and no formula extends a process to a larger jar", "fill "+printed, "larger_jar_rule")
	}
	row := rowFor(key, pack, p.PrintedJar)
	f := allowed("the process table prints this jar", append(citeNotes(p.Notes), citeRow(row, "Prints a process for "+jarsName(p.PrintedJar, 2)+" of this product.")))
	if len(p.Notes) > 0 {
		f.Because = "this jar takes the printed process of " + jarsName(p.PrintedJar, 2)
	}
	if row.HeadspacePrinted && row.Headspace != j.changed.Headspace {
		return notCovered("this jar is printed with "+row.Headspace.String()+" headspace", "leave "+row.Headspace.String())
	}
	from, err := jarProcess(key, pack, canning.JarSize(d.from))
	if err != nil || !sameTimes(key, pack, from.PrintedJar, p.PrintedJar) {
		f.Consequence = AnotherProcess
		f.Because += ", whose time is not that of " + jarsName(canning.JarSize(d.from), 2)
	}
	return f
}

func rowFor(key string, pack reference.Pack, jar canning.JarSize) reference.ProcessRow {
	for _, row := range rowsFor(key, pack) {
		if canning.JarSize(row.Jar) == jar {
			return row
		}
	}
	return reference.ProcessRow{}
}

// headspace judges another headspace, which may be the one printed for another jar or pack.
func (j *judge) headspace() Finding {
	if p, err := jarProcess(j.changed.ProcessKey, j.changed.Pack, j.changed.Yield.Jar); err == nil {
		row := rowFor(j.changed.ProcessKey, j.changed.Pack, p.PrintedJar)
		if row.HeadspacePrinted && row.Headspace == j.changed.Headspace {
			return allowed("the process table prints this headspace", []Citation{citeRow(row, "Prints "+row.Headspace.String()+" headspace for this jar and pack.")})
		}
	}
	return notCovered("the headspace is part of the printed process", "leave the printed headspace")
}

// pack judges hot pack for raw, or the reverse.
func (j *judge) pack(d difference) Finding {
	rows := rowsFor(j.changed.ProcessKey, reference.Pack(d.to))
	if len(rows) == 0 {
		f := notCovered("the process table prints no "+d.to+" pack for this product", "pack it "+d.from+" as printed")
		if printed := reference.ProcessRowsOf(j.changed.ProcessKey); len(printed) > 0 {
			f.Citations = []Citation{citeRow(printed[0], "Prints this product for the "+string(printed[0].Pack)+" pack.")}
		}
		return f
	}
	f := allowed("the process table prints this pack", []Citation{citeRow(rows[0], "Prints a process for the "+d.to+" pack of this product.")})
	if rows[0].Pack != reference.AnyPack {
		f.Consequence = AnotherProcess
		f.Because += ", with times of its own"
	}
	return f
}

// batches judges another number of batches made at once.
func (j *judge) batches(d difference) Finding {
	keys := []string{"double_recipe"}
	if j.family == SweetSpread || j.family == ReducedSugarSpread || j.family == FruitButter {
		keys = append(keys, "jam_batches_at_once")
	}
	if d.factor.Less(measure.Int(1)) {
		return notCovered("part of a batch is not as printed, and nothing published speaks of it", "make a whole batch", "only_tested_proportions")
	}
	wayOut := "make separate batches as written"
	if n, whole := d.factor.Int64(); whole {
		wayOut = fmt.Sprintf("make %d separate batches as written", n)
	}
	return forbidden("recipes are not doubled; separate batches are made as written", wayOut, keys...)
}

// unsterile judges jars that were not sterilised.
func (j *judge) unsterile() Finding {
	if j.family != SweetSpread {
		f := forbidden("a process under 10 minutes does not sterilise the jar", "sterilise the jars as printed", "jar_sterilise_if_process_under", "jar_sterilise_boil")
		// A jar or an altitude with a longer process needs no sterile jars.
		if shortestMinutes(j.changed.ProcessKey, j.changed.Pack, j.changed.Yield.Jar) >= figure("jar_sterilise_not_needed_process_at_least").Float64() {
			return allowed("jars processed for 10 minutes or more need not be sterile", cite("jar_sterilise_not_needed_process_at_least"))
		}
		return f
	}
	f := allowed("unsterile jars of jam are processed for 10 minutes in place of 5, at some risk of a weak gel", cite("jam_unsterile_jars_process"))
	f.Consequence = AnotherProcess
	f.WayOut = "sterilise the jars and keep the printed time"
	return f
}

// shortestMinutes is the least of the printed minutes for a jar; 0 when there are none.
func shortestMinutes(key string, pack reference.Pack, jar canning.JarSize) float64 {
	p, err := jarProcess(key, pack, jar)
	if err != nil {
		return 0
	}
	least := 0
	for _, row := range rowsFor(key, pack) {
		if canning.JarSize(row.Jar) == p.PrintedJar && (least == 0 || int(row.Minutes) < least) {
			least = int(row.Minutes)
		}
	}
	return float64(least)
}

// tabledMethod says a method changed to is one the process tables, or the rule on steam, give times for.
func tabledMethod(method string) bool {
	switch method {
	case "boiling_water", "boiling_water_canner", "water_bath", "pressure", "pressure_canner", "atmospheric_steam", "steam", "steam_canner":
		return true
	}
	return false
}

// method judges a process that is not in the table.
func (j *judge) method(d difference) Finding {
	if strings.HasPrefix(d.to, "process of ") {
		for _, other := range j.diffs {
			if other.kind != Swap && other.kind != Add {
				continue
			}
			if f := j.finding(other); f.Verdict.OK() && f.ProcessKey == j.changed.ProcessKey {
				f := allowed("another change of this recipe takes this process", f.Citations)
				f.Consequence = AnotherProcess
				return f
			}
		}
		return forbidden("a process holds only for the formula it was tested with", "keep the printed process", "only_tested_proportions")
	}
	key := j.changed.ProcessKey
	switch d.to {
	case "":
		return allowed("it is the printed process", nil)
	case "low_temperature_pasteurisation", "low_temperature_pasteurization", "low_temp_pasteurisation":
		keys := []string{"low_temp_pasteurisation_only_if_recipe_says", "low_temp_pasteurisation_minutes", "low_temp_pasteurisation_min_temp", "low_temp_pasteurisation_max_temp"}
		if strings.Contains(strings.ToLower(j.base.Notes), "low-temperature pasteurisation is an allowed") {
			f := allowed("this recipe names it as an alternative", append([]Citation{citeRecipe(j.base, "Names low-temperature pasteurisation as an alternative.")}, cite(keys...)...))
			f.Consequence = AnotherProcess
			return f
		}
		return forbidden("it is used only where a recipe says so, and this one does not", "use the printed process", keys...)
	case "boiling_water", "boiling_water_canner", "water_bath":
		if slices.ContainsFunc(reference.ProcessRowsOf(key), func(r reference.ProcessRow) bool { return r.Method == reference.BoilingWater }) {
			return allowed("the process table prints boiling water for this product", []Citation{citeRow(reference.ProcessRowsOf(key)[0], "Prints a boiling-water process.")})
		}
		return forbidden("low-acid food is processed only in a pressure canner", "use the printed pressure process", "low_acid_method", "ph_acid_boundary")
	case "pressure", "pressure_canner":
		if slices.ContainsFunc(reference.ProcessRowsOf(key), func(r reference.ProcessRow) bool { return r.Method != reference.BoilingWater }) {
			f := allowed("the process table prints pressure for this product", []Citation{citeRow(reference.ProcessRowsOf(key)[0], "Prints pressure processes.")})
			f.Consequence = AnotherProcess
			return f
		}
		return notCovered("the table prints no pressure process for this product", "use the printed process")
	case "open_kettle", "oven", "microwave", "dishwasher", "oven_canning":
		return forbidden("it is not an accepted way to process jars", "use the printed process", "methods_not_recommended")
	case "paraffin", "wax", "paraffin_seal", "wax_seal":
		return forbidden("wax does not seal", "use new two-piece lids and the printed process", "paraffin_seal")
	case "atmospheric_steam", "steam", "steam_canner":
		if j.family.isLowAcid() {
			return forbidden("a steam canner is for acid food only", "use the printed pressure process", "steam_canner_ph_max", "low_acid_method")
		}
		f := allowed("tested boiling-water times may be used in an atmospheric steam canner, on its conditions", cite("steam_canner_times_source", "steam_canner_max_process", "steam_canner_ph_max", "steam_canner_jars_preheated", "steam_canner_open_during_process", "steam_canner_jar_sizes"))
		return f
	}
	return notCovered("nothing published speaks of this way to process", "use the printed process", "methods_not_recommended")
}
