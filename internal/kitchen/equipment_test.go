package kitchen

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
)

const goodEquipment = `
equipment:
  - id: big-canner
    name: Big canner
    kind: canner
    owned: 2
    site: main
    canner:
      methods: [boiling water, steam]
      holds: {pint: 9, quart: 7}
      come_up: {base: 14.10, per_jar: 0.35}
      reset: 5
      heat: {kind: induction, watts: 3000}
  - id: burners
    name: Burners
    kind: burner
    owned: 6
`

func TestReadEquipmentYAML(t *testing.T) {
	all, err := ReadEquipmentYAML([]byte(goodEquipment))
	require.NoError(t, err)
	require.Len(t, all, 2)
	big := all[0]
	require.Equal(t, Equipment{ID: "big-canner", DisplayName: "Big canner", Kind: "canner", Owned: 2, Site: "main", Canner: &Canner{
		Methods: []canning.Method{canning.BoilingWater, canning.AtmosphericSteam},
		Holds:   []canning.RackSpace{{Jar: canning.Pint, Jars: 9}, {Jar: canning.Quart, Jars: 7}},
		// As written: a decimal is not rounded to a binary fraction on its way.
		ComeUp: ComeUpLine{Base: "14.10", PerJar: "0.35"}, Reset: 5,
		Burner: &canning.Burner{Kind: canning.InductionBurner, Rated: 3000},
	}}, big)
	require.Equal(t, "burner", all[1].Kind)
}

func TestBadEquipmentYAMLNamesTheLine(t *testing.T) {
	entry := func(more string) string { return "equipment:\n  - id: a\n    name: A\n" + more }
	for name, c := range map[string]struct{ file, field, says string }{
		"unknown key":     {entry("    kind: burner\n    owned: 1\n    colour: red\n"), "line 6", "field colour not found"},
		"no kind":         {entry("    owned: 1\n"), "line 2, kind", "not a kind"},
		"owned zero":      {entry("    kind: burner\n    owned: 0\n"), "line 2, owned_count", "not a number to own"},
		"owned text":      {entry("    kind: burner\n    owned: many\n"), "line 5", "cannot unmarshal"},
		"canner missing":  {entry("    kind: canner\n    owned: 1\n"), "line 2, canner", "missing"},
		"method":          {entry("    kind: canner\n    owned: 1\n    canner: {methods: [microwave], holds: {pint: 7}}\n"), "line 2, canner.methods[0].method", "not a canning method"},
		"size":            {entry("    kind: canner\n    owned: 1\n    canner: {methods: [boiling water], holds: {bucket: 7}}\n"), "line 2, canner.holds.jar", "not a jar size"},
		"capacity":        {entry("    kind: canner\n    owned: 1\n    canner: {methods: [boiling water], holds: {pint: 0}}\n"), "line 2, canner.capacities[0].jars", "not a number of jars"},
		"half a come-up":  {entry("    kind: canner\n    owned: 1\n    canner: {methods: [boiling water], holds: {pint: 7}, come_up: {base: 14}}\n"), "line 2, canner.come_up_minutes_per_jar", "other half"},
		"come-up not one": {entry("    kind: canner\n    owned: 1\n    canner: {methods: [boiling water], holds: {pint: 7}, come_up: {base: NaN, per_jar: 1}}\n"), "line 2, canner.come_up_base_minutes", "not a decimal"},
		"twice":           {entry("    kind: burner\n    owned: 1\n  - {id: a, name: B, kind: burner, owned: 1}\n"), "line 6, id", "line 2 too"},
		"empty":           {"", "yaml", "empty"},
		"no list":         {"equipment: []\n", "equipment", "lists nothing"},
		"two documents":   {goodEquipment + "---\nequipment: []\n", "yaml", "more than one document"},
		"not text":        {"equipment: \xff\xfe\n", "yaml", "not UTF-8"},
		"aliases": {"a: &a [x,x,x,x,x,x,x,x,x]\nb: &b [*a,*a,*a,*a,*a,*a,*a,*a,*a]\nc: &c [*b,*b,*b,*b,*b,*b,*b,*b,*b]\nd: &d [*c,*c,*c,*c,*c,*c,*c,*c,*c]\n" +
			"e: &e [*d,*d,*d,*d,*d,*d,*d,*d,*d]\nequipment: [*e,*e,*e,*e,*e,*e,*e,*e,*e]\n", "", ""},
		"too large": {strings.Repeat("# long\n", mostEquipmentYAML), "yaml", "larger"},
	} {
		all, err := ReadEquipmentYAML([]byte(c.file))
		require.Nil(t, all, name)
		var f *fault.Error
		require.ErrorAs(t, err, &f, name)
		require.Equal(t, fault.Invalid, f.Kind, name)
		require.NotEmpty(t, f.Violations, name)
		if c.field != "" {
			require.Equal(t, c.field, f.Violations[0].Field, "%s: %v", name, err)
		}
		require.Contains(t, f.Violations[0].Reason, c.says, name)
		require.NotContains(t, err.Error(), "kitchen.", "%s: no Go types", name)
	}
}

func FuzzReadEquipmentYAML(f *testing.F) {
	f.Add([]byte(goodEquipment))
	f.Add([]byte("equipment: [{id: x, name: X, kind: canner, owned: 1, canner: {methods: [dial], holds: {1 l: 7}}}]"))
	f.Add([]byte("equipment: *a"))
	f.Fuzz(func(t *testing.T, data []byte) {
		all, err := ReadEquipmentYAML(data)
		if err != nil {
			require.Nil(t, all)
			require.Equal(t, fault.Invalid, fault.KindOf(err))
			return
		}
		for _, e := range all {
			require.NoError(t, e.Check())
		}
	})
}
