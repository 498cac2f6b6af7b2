package oven

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
)

// FormName marks this form in a JSON file: "form": "oven".
const FormName = "oven"

// ParseJSON reads an instance as one JSON object with "form": "oven", "name", and
// the fields of the .dzn files under the same names; tables are lists of lists, and
// eligible_machine is a list of lists of machines.
func ParseJSON(name string, text []byte) (*Instance, error) {
	var fields map[string]json.RawMessage
	dec := json.NewDecoder(bytes.NewReader(text))
	if err := dec.Decode(&fields); err != nil {
		return nil, bad("file", "", "is not one JSON object: "+err.Error(), "give one object")
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, bad("file", "", "has something after its JSON object", "give one object a file")
	}
	r := jsonReader{fields: fields}
	var form string
	r.read("form", &form)
	if r.err == nil && form != FormName {
		return nil, bad("form", form, "is another form", `give "form": "oven"`)
	}
	s := Spec{Name: name}
	r.optional("name", &s.Name)
	r.optional("l", &s.Horizon)
	r.read("a", &s.Attributes)
	r.read("setup_costs", &s.SetupCosts)
	r.read("setup_times", &s.SetupTimes)
	r.read("m", &s.Machines)
	r.optional("min_cap", &s.MinCap)
	r.read("max_cap", &s.MaxCap)
	r.read("initState", &s.InitialState)
	r.read("s", &s.Intervals)
	r.read("m_a_s", &s.IntervalStart)
	r.read("m_a_e", &s.IntervalEnd)
	r.read("n", &s.Jobs)
	r.read("eligible_machine", &s.Eligible)
	r.read("earliest_start", &s.EarliestStart)
	r.read("latest_end", &s.LatestEnd)
	r.read("min_time", &s.MinTime)
	r.read("max_time", &s.MaxTime)
	r.read("size", &s.Size)
	r.read("attribute", &s.Attribute)
	r.read("upper_bound_integer_objective", &s.UpperBound)
	r.read("mult_factor_total_runtime", &s.RuntimeWeight)
	r.read("mult_factor_finished_toolate", &s.TardyWeight)
	r.optional("mult_factor_total_setuptimes", &s.SetupTimesWeight)
	r.read("mult_factor_total_setupcosts", &s.SetupCostWeight)
	if r.err != nil {
		return nil, r.err
	}
	return New(s)
}

// jsonReader takes typed values out of an object's fields and keeps the first trouble.
type jsonReader struct {
	fields map[string]json.RawMessage
	err    error
}

func (r *jsonReader) read(field string, into any) {
	if _, ok := r.fields[field]; !ok && r.err == nil {
		r.err = bad(field, "", "is missing", "give the field")
	}
	r.optional(field, into)
}

func (r *jsonReader) optional(field string, into any) {
	raw, ok := r.fields[field]
	if !ok || r.err != nil {
		return
	}
	want := map[bool]string{true: "give a text", false: "give whole numbers"}
	_, text := into.(*string)
	if bytes.Equal(bytes.TrimSpace(raw), []byte("null")) {
		r.err = bad(field, "null", "is null", want[text])
		return
	}
	if err := json.Unmarshal(raw, into); err != nil {
		r.err = bad(field, string(raw), "cannot be read: "+reason(err), want[text])
	}
}

func reason(err error) string {
	if e, ok := err.(*json.UnmarshalTypeError); ok {
		return fmt.Sprintf("found %s where %s should be", e.Value, kindName(e.Type.Kind().String()))
	}
	return err.Error()
}

func kindName(kind string) string {
	switch kind {
	case "slice":
		return "a list"
	case "string":
		return "a text"
	default:
		return "a whole number"
	}
}

// MarshalJSON writes the instance in the shape ParseJSON reads.
func (in *Instance) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		Form string `json:"form"`
		Spec
	}{FormName, in.spec})
}
