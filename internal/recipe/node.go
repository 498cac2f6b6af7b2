package recipe

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"

	"stillroom/internal/fault"
)

// MostImportBytes is the largest file an import reads. The whole printed library is a fifth of it.
const MostImportBytes = 512 << 10

// mostDepth is how deep an imported file may nest; a recipe needs six levels.
const mostDepth = 32

type nodeKind int

const (
	nullNode nodeKind = iota
	scalarNode
	listNode
	mapNode
)

// node is a value of an imported file with the line it stands on, the same for YAML and JSON.
type node struct {
	kind  nodeKind
	line  int
	text  string
	items []node
	// keys are the names of a map's items, in order.
	keys []string
}

func (n node) kindName() string {
	return [...]string{"nothing", "a single value", "a list", "a mapping"}[n.kind]
}

// get is the item of a map by name.
func (n node) get(key string) (node, bool) {
	for i, k := range n.keys {
		if k == key {
			return n.items[i], true
		}
	}
	return node{}, false
}

// readBounded reads at most MostImportBytes of UTF-8 text and refuses everything else before any parser sees it.
func readBounded(r io.Reader) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(r, MostImportBytes+1))
	if err != nil {
		return nil, fault.New(fault.Invalid, "the file could not be read to its end").Because(err)
	}
	wrong := func(reason, wayOut string) error { return fault.Field("file", "", reason, wayOut) }
	switch {
	case len(data) > MostImportBytes:
		return nil, wrong(fmt.Sprintf("is larger than %d KB, which no recipe is", MostImportBytes>>10), "import recipes in smaller files")
	case bytes.HasPrefix(data, []byte{0xFF, 0xFE}), bytes.HasPrefix(data, []byte{0xFE, 0xFF}):
		return nil, wrong("is UTF-16 text", "save it as UTF-8")
	}
	data = bytes.TrimPrefix(data, []byte{0xEF, 0xBB, 0xBF})
	if !utf8.Valid(data) {
		line := 1 + bytes.Count(data[:firstInvalid(data)], []byte{'\n'})
		return nil, fault.Field(fmt.Sprintf("line %d", line), "", "is not UTF-8 text", "save the file as UTF-8")
	}
	if i := bytes.IndexByte(data, 0); i >= 0 {
		return nil, fault.Field(fmt.Sprintf("line %d", 1+bytes.Count(data[:i], []byte{'\n'})), "", "holds a NUL byte, so this is not a text file", "save it as UTF-8 text")
	}
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, wrong("is empty", "put at least one recipe in it")
	}
	return data, nil
}

func firstInvalid(data []byte) int {
	at := 0
	for at < len(data) {
		c, size := utf8.DecodeRune(data[at:])
		if c == utf8.RuneError && size == 1 {
			break
		}
		at += size
	}
	return at
}

// parseYAML parses one YAML document into nodes.
//
// It uses go.yaml.in/yaml/v3 because that library hands over its syntax tree, with lines, before it expands
// any alias: a file with anchors is refused as it stands, in time and memory in step with its size. Decoding
// straight into Go values would expand them first.
func parseYAML(data []byte) (n node, err error) {
	defer func() {
		if p := recover(); p != nil {
			n, err = node{}, fault.Field("file", "", "is not YAML that can be read", "check its indentation and quotes")
		}
	}()
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var doc yaml.Node
	if err := dec.Decode(&doc); errors.Is(err, io.EOF) {
		return node{}, fault.Field("file", "", "holds nothing but comments", "put at least one recipe in it")
	} else if err != nil {
		return node{}, yamlFault(err)
	}
	var more yaml.Node
	if err := dec.Decode(&more); err == nil {
		return node{}, fault.Field(fmt.Sprintf("line %d", more.Line), "", "begins a second document", `put several recipes in one list under "recipes"`)
	} else if !errors.Is(err, io.EOF) {
		return node{}, yamlFault(err)
	}
	if doc.Kind != yaml.DocumentNode || len(doc.Content) != 1 {
		return node{}, fault.Field("file", "", "is empty", "put at least one recipe in it")
	}
	return fromYAML(doc.Content[0], 0)
}

// yamlFault is a syntax error in our words: the library's already name the line.
func yamlFault(err error) error {
	text := strings.TrimPrefix(strings.TrimPrefix(err.Error(), "yaml: "), "unmarshal errors:\n")
	field := "file"
	if line, rest, ok := strings.Cut(text, ": "); ok && strings.HasPrefix(line, "line ") {
		field, text = line, rest
	}
	return fault.Field(field, "", "is not YAML that can be read: "+fault.Shorten(text), "check its indentation and quotes")
}

func fromYAML(y *yaml.Node, depth int) (node, error) {
	at := fmt.Sprintf("line %d", y.Line)
	if depth > mostDepth {
		return node{}, fault.Field(at, "", "nests deeper than a recipe can", "write it as documented")
	}
	if y.Kind == yaml.AliasNode || y.Anchor != "" {
		return node{}, fault.Field(at, "", "uses an anchor or alias", "write the value out in full")
	}
	n := node{line: y.Line}
	switch y.Kind {
	case yaml.ScalarNode:
		if y.Tag == "!!binary" {
			return node{}, fault.Field(at, "", "is binary", "write plain text")
		}
		n.kind, n.text = scalarNode, y.Value
		if y.Tag == "!!null" {
			n.kind = nullNode
		}
	case yaml.SequenceNode:
		n.kind = listNode
		for _, c := range y.Content {
			item, err := fromYAML(c, depth+1)
			if err != nil {
				return node{}, err
			}
			n.items = append(n.items, item)
		}
	case yaml.MappingNode:
		n.kind = mapNode
		seen := map[string]bool{}
		for i := 0; i+1 < len(y.Content); i += 2 {
			k := y.Content[i]
			at := fmt.Sprintf("line %d", k.Line)
			if k.Kind != yaml.ScalarNode || k.Anchor != "" {
				return node{}, fault.Field(at, "", "has a name that is not plain text", "write it as documented")
			}
			if seen[k.Value] {
				return node{}, fault.Field(at+", "+fault.Shorten(k.Value), "", "is given twice", "give it once")
			}
			seen[k.Value] = true
			item, err := fromYAML(y.Content[i+1], depth+1)
			if err != nil {
				return node{}, err
			}
			if item.line == 0 {
				item.line = k.Line
			}
			n.keys = append(n.keys, k.Value)
			n.items = append(n.items, item)
		}
	default:
		return node{}, fault.Field(at, "", "is not a value", "write it as documented")
	}
	return n, nil
}

// parseJSON parses one JSON value into nodes, token by token, so that depth is bounded as it goes.
func parseJSON(data []byte) (node, error) {
	p := jsonParser{dec: json.NewDecoder(bytes.NewReader(data)), data: data}
	p.dec.UseNumber()
	n, err := p.value(0)
	if err != nil {
		return node{}, err
	}
	if _, err := p.dec.Token(); !errors.Is(err, io.EOF) {
		return node{}, fault.Field(p.at(), "", "has something after the end of the JSON value", "put several recipes in one list")
	}
	return n, nil
}

type jsonParser struct {
	dec  *json.Decoder
	data []byte
	// counted is how far line has been counted.
	counted, line int
}

// lineNow is the line the decoder stands on.
func (p *jsonParser) lineNow() int {
	if p.line == 0 {
		p.line = 1
	}
	offset := min(int(p.dec.InputOffset()), len(p.data))
	if offset > p.counted {
		p.line += bytes.Count(p.data[p.counted:offset], []byte{'\n'})
		p.counted = offset
	}
	return p.line
}

func (p *jsonParser) at() string { return fmt.Sprintf("line %d", p.lineNow()) }

func (p *jsonParser) token() (json.Token, error) {
	t, err := p.dec.Token()
	if errors.Is(err, io.EOF) {
		return nil, fault.Field(p.at(), "", "ends before the JSON value does", "give the whole file")
	}
	if err != nil {
		return nil, fault.Field(p.at(), "", "is not JSON that can be read: "+fault.Shorten(err.Error()), "check its quotes, commas and brackets")
	}
	return t, nil
}

func (p *jsonParser) value(depth int) (node, error) {
	t, err := p.token()
	if err != nil {
		return node{}, err
	}
	if depth > mostDepth {
		return node{}, fault.Field(p.at(), "", "nests deeper than a recipe can", "write it as schema.org/Recipe says")
	}
	n := node{line: p.lineNow()}
	switch v := t.(type) {
	case nil:
	case string:
		n.kind, n.text = scalarNode, v
	case json.Number:
		n.kind, n.text = scalarNode, v.String()
	case bool:
		n.kind, n.text = scalarNode, strconv.FormatBool(v)
	case json.Delim:
		return p.compound(v, n, depth)
	}
	return n, nil
}

func (p *jsonParser) compound(open json.Delim, n node, depth int) (node, error) {
	n.kind = listNode
	if open == '{' {
		n.kind = mapNode
	}
	seen := map[string]bool{}
	for p.dec.More() {
		if n.kind == mapNode {
			k, err := p.token()
			if err != nil {
				return node{}, err
			}
			key, _ := k.(string)
			if seen[key] {
				return node{}, fault.Field(p.at()+", "+fault.Shorten(key), "", "is given twice", "give it once")
			}
			seen[key] = true
			n.keys = append(n.keys, key)
		}
		item, err := p.value(depth + 1)
		if err != nil {
			return node{}, err
		}
		n.items = append(n.items, item)
	}
	_, err := p.token()
	return n, err
}
