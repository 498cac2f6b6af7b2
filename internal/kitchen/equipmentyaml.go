package kitchen

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// mostEquipmentYAML is the size of the largest file that is read, in bytes.
const mostEquipmentYAML = 1 << 20

// equipmentFile is the documented shape of an equipment file:
//
//	equipment:
//	  - id: big-canner            # last segment of its name, lower-case letters, digits and hyphens
//	    name: Big canner          # for people
//	    kind: canner              # "canner", "burner", "large pot" … as recipes name it
//	    owned: 2
//	    site: main-kitchen        # optional: the id of the site where it stands
//	    canner:                   # for the kind canner only
//	      methods: [boiling water]      # boiling water, atmospheric steam, pressure dial, pressure weighted
//	      holds: {pint: 9, quart: 7}    # jars at once, by size
//	      come_up: {base: 14, per_jar: 0.35}   # optional: measured minutes to the boil
//	      reset: 5                      # optional: minutes between loads
//	      own_heat: false               # optional: it takes none of the room's burners
//	      vessel: {litres: 20, diameter_metres: 0.33, kilograms: 3, material: enamelled_steel}   # optional
//	      heat: {kind: gas, watts: 3500}                                                         # optional
type equipmentFile struct {
	Equipment []equipmentEntry `yaml:"equipment"`
}

type equipmentEntry struct {
	ID     string       `yaml:"id"`
	Name   string       `yaml:"name"`
	Kind   string       `yaml:"kind"`
	Owned  int          `yaml:"owned"`
	Site   string       `yaml:"site"`
	Canner *cannerEntry `yaml:"canner"`
}

type cannerEntry struct {
	Methods []string  `yaml:"methods"`
	Holds   yaml.Node `yaml:"holds"`
	ComeUp  struct {
		// Text, so that the decimal stays as written.
		Base   string `yaml:"base"`
		PerJar string `yaml:"per_jar"`
	} `yaml:"come_up"`
	Reset   int  `yaml:"reset"`
	OwnHeat bool `yaml:"own_heat"`
	Vessel  *struct {
		Litres         float64 `yaml:"litres"`
		DiameterMetres float64 `yaml:"diameter_metres"`
		Kilograms      float64 `yaml:"kilograms"`
		Material       string  `yaml:"material"`
	} `yaml:"vessel"`
	Heat *struct {
		Kind  string  `yaml:"kind"`
		Watts float64 `yaml:"watts"`
	} `yaml:"heat"`
}

var idPattern = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$`)

// ReadEquipmentYAML reads an equipment file. Every fault names the line; nothing is
// returned beside a fault.
func ReadEquipmentYAML(data []byte) ([]Equipment, error) {
	if len(data) > mostEquipmentYAML {
		return nil, fault.Field("yaml", "", fmt.Sprintf("is larger than %d bytes", mostEquipmentYAML), "split the file")
	}
	if !utf8.Valid(data) {
		return nil, fault.Field("yaml", "", "is not UTF-8", "save the file as UTF-8")
	}
	var file equipmentFile
	strict := yaml.NewDecoder(bytes.NewReader(data))
	strict.KnownFields(true)
	if err := strict.Decode(&file); err != nil {
		return nil, yamlFault(err)
	}
	if err := strict.Decode(new(yaml.Node)); !errors.Is(err, io.EOF) {
		return nil, fault.Field("yaml", "", "holds more than one document", "give one document")
	}
	if len(file.Equipment) == 0 {
		return nil, fault.Field("equipment", "", "lists nothing", "give a list under the key equipment")
	}
	lines := entryLines(data)

	var c fault.Collector
	var all []Equipment
	seen := map[string]int{}
	for i, entry := range file.Equipment {
		line := 0
		if i < len(lines) {
			line = lines[i]
		}
		at := fmt.Sprintf("line %d, ", line)
		if !idPattern.MatchString(entry.ID) {
			c.Add(at+"id", entry.ID, "is not an id", `give lower-case letters, digits and hyphens, such as "big-canner"`)
		} else if first, twice := seen[entry.ID]; twice {
			c.Add(at+"id", entry.ID, fmt.Sprintf("is that of the entry on line %d too", first), "give each an id of its own")
		}
		seen[entry.ID] = line
		e := Equipment{ID: entry.ID, DisplayName: entry.Name, Kind: entry.Kind, Owned: entry.Owned, Site: entry.Site}
		if entry.Canner != nil {
			canner, err := entry.Canner.canner()
			if err != nil {
				c.AddErr(at+"canner.", err)
				continue
			}
			e.Canner = canner
		}
		c.AddErr(at, e.Check())
		all = append(all, e)
	}
	if err := c.Err(); err != nil {
		return nil, err
	}
	return all, nil
}

func (k cannerEntry) canner() (*Canner, error) {
	var c fault.Collector
	canner := &Canner{Reset: measure.Minutes(k.Reset), OwnHeat: k.OwnHeat, ComeUp: ComeUpLine{Base: k.ComeUp.Base, PerJar: k.ComeUp.PerJar}}
	for i, word := range k.Methods {
		m, err := canning.ParseMethod(word)
		c.AddErr(fmt.Sprintf("methods[%d].", i), err)
		canner.Methods = append(canner.Methods, m)
	}
	if k.Holds.Kind != yaml.MappingNode {
		c.Add("holds", "", "is missing or not a list of sizes", "give jars by size such as {pint: 9, quart: 7}")
		return nil, c.Err()
	}
	for i := 0; i+1 < len(k.Holds.Content); i += 2 {
		key, value := k.Holds.Content[i].Value, k.Holds.Content[i+1].Value
		size, err := canning.ParseJarSize(key)
		c.AddErr("holds.", err)
		n, err := strconv.Atoi(value)
		if err != nil {
			c.Add("holds."+key, value, "is not a number of jars", "give a whole number")
		}
		canner.Holds = append(canner.Holds, canning.RackSpace{Jar: size, Jars: n})
	}
	if v := k.Vessel; v != nil {
		canner.Vessel = &canning.Vessel{Litres: v.Litres, DiameterMetres: v.DiameterMetres, Kilograms: v.Kilograms, Material: canning.Material(v.Material)}
	}
	if h := k.Heat; h != nil {
		canner.Burner = &canning.Burner{Kind: canning.BurnerKind(h.Kind), Rated: canning.Watts(h.Watts)}
	}
	return canner, c.Err()
}

var yamlLine = regexp.MustCompile(`line (\d+): (.*)`)

// yamlFault turns what the YAML library says into violations with their lines.
func yamlFault(err error) error {
	var c fault.Collector
	texts := []string{err.Error()}
	var typed *yaml.TypeError
	if errors.As(err, &typed) {
		texts = typed.Errors
	}
	for _, text := range texts {
		field, reason := "yaml", text
		if m := yamlLine.FindStringSubmatch(text); m != nil {
			field, reason = "line "+m[1], m[2]
		}
		reason = inFile.ReplaceAllString(reason, " here")
		c.Add(field, "", reason, "see the documented shape of an equipment file")
	}
	if errors.Is(err, io.EOF) {
		return fault.Field("yaml", "", "is empty", "give a list under the key equipment")
	}
	return c.Err()
}

// inFile matches the names of Go types in the library's messages.
var inFile = regexp.MustCompile(` (in type|into) .*$`)

// entryLines are the lines on which the entries of the list begin.
func entryLines(data []byte) []int {
	var root yaml.Node
	if err := yaml.Unmarshal(data, &root); err != nil || len(root.Content) == 0 {
		return nil
	}
	var lines []int
	top := root.Content[0]
	for i := 0; i+1 < len(top.Content); i += 2 {
		if top.Content[i].Value == "equipment" {
			for _, entry := range top.Content[i+1].Content {
				lines = append(lines, entry.Line)
			}
		}
	}
	return lines
}
