package class

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/big"
	"regexp"
	"strings"
)

// Read reads an instance from its JSON form. Every error names the field it is about; values are judged by [Build].
func Read(r io.Reader) (Spec, error) {
	raw, err := io.ReadAll(io.LimitReader(r, mostBytes+1))
	if err != nil {
		return Spec{}, fmt.Errorf("reading the instance: %w", err)
	}
	if len(raw) > mostBytes {
		return Spec{}, InvalidSpec{{Field: "(file)", Value: fmt.Sprintf("more than %d bytes", mostBytes), Reason: "too large for a class", WayOut: "give one class per file"}}
	}
	return Parse(raw)
}

const mostBytes = 64 << 20

// Parse is [Read] of bytes.
func Parse(raw []byte) (Spec, error) {
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.UseNumber()
	var top any
	if err := dec.Decode(&top); err != nil {
		return Spec{}, syntaxFault(raw, err)
	}
	if dec.More() {
		return Spec{}, InvalidSpec{{Field: "(file)", Value: "text after the object", Reason: "an instance is one JSON object", WayOut: "give one object per file"}}
	}
	f := &faults{}
	root := node{f: f, v: top}
	s := root.spec()
	return s, f.err()
}

var lastKey = regexp.MustCompile(`"((?:[^"\\]|\\.)*)"\s*:[^:]*$`)

// syntaxFault names the key before the place where the text stops being JSON, as with a bare NaN.
func syntaxFault(raw []byte, err error) error {
	fault := &Invalid{Field: "(file)", Value: "not JSON", Reason: err.Error(), WayOut: "give one JSON object; numbers are written plainly, without NaN or infinities"}
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		at := min(max(int(syntax.Offset)-1, 0), len(raw))
		if m := lastKey.FindSubmatch(raw[:at]); m != nil {
			fault.Field = string(m[1])
		}
		rest := raw[at:]
		if end := bytes.IndexAny(rest, ",}]\n"); end >= 0 {
			rest = rest[:end]
		}
		fault.Value = string(rest[:min(len(rest), 40)])
	}
	return InvalidSpec{fault}
}

// node is a place in the JSON tree that knows its path.
type node struct {
	f    *faults
	path string
	v    any
	has  bool
}

func (n node) get(key string) node {
	m, _ := n.v.(map[string]any)
	v, ok := m[key]
	path := key
	if n.path != "" {
		path = n.path + "." + key
	}
	return node{f: n.f, path: path, v: v, has: ok && v != nil}
}

func (n node) object() bool {
	_, ok := n.v.(map[string]any)
	if !ok {
		n.bad("an object was expected", "give an object in braces")
	}
	return ok
}

func (n node) shown() string {
	b, err := json.Marshal(n.v)
	if err != nil {
		return fmt.Sprint(n.v)
	}
	if len(b) > 60 {
		return string(b[:57]) + "..."
	}
	return string(b)
}

func (n node) bad(reason, wayOut string) {
	path := n.path
	if path == "" {
		path = "(file)"
	}
	n.f.add(path, n.shown(), reason, wayOut)
}

func (n node) missing() bool {
	if !n.has {
		n.f.add(n.path, "(missing)", "the field is required", "add it")
	}
	return !n.has
}

func (n node) list() []node {
	if !n.has {
		return nil
	}
	l, ok := n.v.([]any)
	if !ok {
		n.bad("a list was expected", "give a list in brackets")
		return nil
	}
	out := make([]node, len(l))
	for i, v := range l {
		out[i] = node{f: n.f, path: fmt.Sprintf("%s[%d]", n.path, i), v: v, has: v != nil}
	}
	return out
}

func (n node) text() string {
	if !n.has {
		return ""
	}
	s, ok := n.v.(string)
	if !ok {
		n.bad("text was expected", "give it in quotes")
	}
	return s
}

// id is a required text that is not empty.
func (n node) id() string {
	if n.missing() {
		return ""
	}
	return n.text()
}

// far stands for whole numbers too large to hold; Build refuses it wherever it turns up.
const far = 1 << 40

func (n node) whole() int {
	if !n.has {
		return 0
	}
	num, ok := n.v.(json.Number)
	if !ok {
		n.bad("a whole number was expected", "give a plain number without quotes")
		return 0
	}
	r, err := Decimal(num).Rat()
	if err != nil {
		n.bad("not a number of ordinary size", "give a plain whole number")
		return 0
	}
	if !r.IsInt() {
		n.bad("a whole number was expected", "round it to whole minutes or jars")
		return 0
	}
	if r.Num().CmpAbs(big.NewInt(far)) >= 0 {
		return far * r.Sign()
	}
	return int(r.Num().Int64())
}

func (n node) required() int {
	if n.missing() {
		return 0
	}
	return n.whole()
}

func (n node) decimal() Decimal {
	if !n.has {
		return ""
	}
	num, ok := n.v.(json.Number)
	if !ok {
		n.bad("a decimal number was expected", "give a plain number without quotes")
		return ""
	}
	return Decimal(num)
}

func (n node) truth() bool {
	if !n.has {
		return false
	}
	b, ok := n.v.(bool)
	if !ok {
		n.bad("true or false was expected", "give true or false")
	}
	return b
}

func (n node) counts() map[string]int {
	if !n.has || !n.object() {
		return nil
	}
	out := map[string]int{}
	for _, key := range sortedKeys(n.v.(map[string]any)) {
		out[key] = n.get(key).whole()
	}
	return out
}

func (n node) spec() (s Spec) {
	if !n.object() {
		return s
	}
	s.Form, s.Name = n.get("form").text(), n.get("name").text()
	s.Close, s.Handlers, s.Handling = n.get("close").required(), n.get("handlers").required(), n.get("handling").required()
	s.Rest, s.Burners = n.get("rest").whole(), n.get("burners").required()
	n.get("processes").missing()
	for _, p := range n.get("processes").list() {
		if p.object() {
			s.Processes = append(s.Processes, Process{ID: p.get("id").id(), Method: p.get("method").id(), Minutes: p.get("minutes").required(),
				Vent: p.get("vent").whole(), Depressurise: p.get("depressurise").whole()})
		}
	}
	n.get("canners").missing()
	for _, c := range n.get("canners").list() {
		if c.object() {
			s.Canners = append(s.Canners, c.canner())
		}
	}
	n.get("batches").missing()
	for _, b := range n.get("batches").list() {
		if b.object() {
			s.Batches = append(s.Batches, Batch{ID: b.get("id").id(), Station: b.get("station").id(), Order: b.get("order").whole(),
				Process: b.get("process").id(), Size: b.get("size").id(), Jars: b.get("jars").required(), Stage: b.get("stage").required(),
				ReadyEarliest: b.get("ready_earliest").whole(), HoldMax: b.get("hold_max").required(), Split: b.get("split").truth()})
		}
	}
	if d := n.get("done"); d.has && d.object() {
		s.Done = &Done{Now: d.get("now").required(), Loads: d.get("loads").loads(), Filled: d.get("filled").counts()}
	}
	if k := n.get("keep"); k.has && k.object() {
		s.Keep = &Keep{Loads: k.get("loads").loads(), Filled: k.get("filled").counts()}
	}
	return s
}

func (n node) canner() Canner {
	c := Canner{ID: n.get("id").id(), ComeUpBase: n.get("come_up_base").decimal(), ComeUpPerJar: n.get("come_up_per_jar").decimal(),
		Reset: n.get("reset").whole(), Vent: n.get("vent").whole(), Depressurise: n.get("depressurise").whole()}
	n.get("come_up_base").missing()
	n.get("methods").missing()
	for _, m := range n.get("methods").list() {
		c.Methods = append(c.Methods, m.id())
	}
	if !n.get("capacity").missing() {
		c.Capacity = n.get("capacity").counts()
	}
	if w := n.get("windows"); w.has {
		c.Windows = []Window{}
		for _, one := range w.list() {
			c.Windows = append(c.Windows, one.window())
		}
	}
	return c
}

func (n node) window() Window {
	if _, ok := n.v.(map[string]any); ok {
		return Window{n.get("start").required(), n.get("end").required()}
	}
	pair := n.list()
	if len(pair) != 2 {
		n.bad("a window is a start and an end", "give [start, end]")
		return Window{0, 1}
	}
	return Window{pair[0].required(), pair[1].required()}
}

func (n node) loads() (out []LoadSpec) {
	for _, l := range n.list() {
		if l.object() {
			out = append(out, LoadSpec{Canner: l.get("canner").id(), Start: l.get("start").required(), End: l.get("end").required(),
				Process: l.get("process").text(), Size: l.get("size").text(), Jars: l.get("jars").counts()})
		}
	}
	return out
}

// MarshalJSON writes the window as a pair.
func (w Window) MarshalJSON() ([]byte, error) { return json.Marshal([2]int{w.Start, w.End}) }

// UnmarshalJSON reads a spec as [Parse] does.
func (s *Spec) UnmarshalJSON(raw []byte) error {
	read, err := Parse(raw)
	if err == nil {
		*s = read
	}
	return err
}

// Write writes the instance in its JSON form.
func (s Spec) Write(w io.Writer) error {
	if s.Form == "" {
		s.Form = Form
	}
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	return enc.Encode(s)
}

func quote(s string) string {
	if strings.TrimSpace(s) == "" {
		return fmt.Sprintf("%q", s)
	}
	return s
}
