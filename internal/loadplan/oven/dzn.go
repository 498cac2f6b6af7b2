package oven

import (
	"fmt"
	"strconv"
	"unicode"
)

// ParseDZN reads an instance in the data format of MiniZinc, as far as the
// published instances use it: `name = value;` with a whole number, a list, a table
// [| … | … |], or a list of sets (as {1,3} or 1..3), and comments from % to the end
// of the line. Fields that the problem does not know are read over.
func ParseDZN(name, text string) (*Instance, error) {
	fields, err := scanDZN(text)
	if err != nil {
		return nil, err
	}
	r := dznReader{fields: fields}
	s := Spec{Name: name}
	s.Horizon = r.optional("l")
	s.Attributes = int(r.number("a"))
	s.SetupCosts = r.table("setup_costs")
	s.SetupTimes = r.table("setup_times")
	s.Machines = int(r.number("m"))
	if _, ok := fields["min_cap"]; ok {
		s.MinCap = r.list("min_cap")
	}
	s.MaxCap = r.list("max_cap")
	s.InitialState = r.list("initState")
	s.Intervals = int(r.number("s"))
	s.IntervalStart = r.table("m_a_s")
	s.IntervalEnd = r.table("m_a_e")
	s.Jobs = int(r.number("n"))
	s.Eligible = r.sets("eligible_machine")
	s.EarliestStart = r.list("earliest_start")
	s.LatestEnd = r.list("latest_end")
	s.MinTime = r.list("min_time")
	s.MaxTime = r.list("max_time")
	s.Size = r.list("size")
	s.Attribute = r.list("attribute")
	s.UpperBound = r.number("upper_bound_integer_objective")
	s.RuntimeWeight = r.number("mult_factor_total_runtime")
	s.TardyWeight = r.number("mult_factor_finished_toolate")
	s.SetupTimesWeight = r.optional("mult_factor_total_setuptimes")
	s.SetupCostWeight = r.number("mult_factor_total_setupcosts")
	if r.err != nil {
		return nil, r.err
	}
	return New(s)
}

// dznReader takes typed values out of scanned fields and keeps the first trouble.
type dznReader struct {
	fields map[string][]string
	err    error
}

func (r *dznReader) fail(field, value, reason, wayOut string) {
	if r.err == nil {
		r.err = bad(field, value, reason, wayOut)
	}
}

func (r *dznReader) tokens(field string) []string {
	t, ok := r.fields[field]
	if !ok {
		r.fail(field, "", "is missing", "give the field")
	}
	return t
}

func (r *dznReader) whole(field, token string) int64 {
	x, err := strconv.ParseInt(token, 10, 64)
	if err != nil {
		r.fail(field, token, "is not a whole number", "give whole minutes, sizes and counts")
	}
	return x
}

func (r *dznReader) number(field string) int64 {
	t := r.tokens(field)
	if r.err != nil {
		return 0
	}
	if len(t) != 1 {
		r.fail(field, "", "is not one whole number", "write it as "+field+" = 3;")
		return 0
	}
	return r.whole(field, t[0])
}

func (r *dznReader) optional(field string) int64 {
	if _, ok := r.fields[field]; !ok {
		return 0
	}
	return r.number(field)
}

func (r *dznReader) list(field string) []int64 {
	t := r.tokens(field)
	if r.err != nil {
		return nil
	}
	if len(t) < 2 || t[0] != "[" || t[len(t)-1] != "]" {
		r.fail(field, "", "is not a list", "write it as "+field+" = [1, 2, 3];")
		return nil
	}
	out := []int64{}
	for _, x := range t[1 : len(t)-1] {
		if x != "," {
			out = append(out, r.whole(field, x))
		}
	}
	return out
}

func (r *dznReader) table(field string) [][]int64 {
	t := r.tokens(field)
	if r.err != nil {
		return nil
	}
	if len(t) < 4 || t[0] != "[" || t[1] != "|" || t[len(t)-2] != "|" || t[len(t)-1] != "]" {
		r.fail(field, "", "is not a table", "write it as "+field+" = [| 1, 2 | 3, 4 |];")
		return nil
	}
	out := [][]int64{{}}
	for _, x := range t[2 : len(t)-2] {
		switch x {
		case ",":
		case "|":
			out = append(out, []int64{})
		default:
			last := len(out) - 1
			out[last] = append(out[last], r.whole(field, x))
		}
	}
	return out
}

func (r *dznReader) sets(field string) [][]int64 {
	t := r.tokens(field)
	if r.err != nil {
		return nil
	}
	form := func() {
		r.fail(field, "", "is not a list of sets", "write it as "+field+" = [{1, 2}, {2}, 1..3];")
	}
	if len(t) < 2 || t[0] != "[" || t[len(t)-1] != "]" {
		form()
		return nil
	}
	t = t[1 : len(t)-1]
	var out [][]int64
	for i := 0; i < len(t) && r.err == nil; {
		switch {
		case t[i] == ",":
			i++
		case t[i] == "{":
			set := []int64{}
			for i++; i < len(t) && t[i] != "}"; i++ {
				if t[i] != "," {
					set = append(set, r.whole(field, t[i]))
				}
			}
			if i == len(t) {
				form()
			}
			i++
			out = append(out, set)
		case i+2 < len(t) && t[i+1] == "..":
			from, to := r.whole(field, t[i]), r.whole(field, t[i+2])
			if to-from >= maxMachines {
				r.fail(field, t[i]+".."+t[i+2], "names too many machines", fmt.Sprintf("name at most %d", maxMachines))
				return nil
			}
			set := []int64{}
			for x := from; x <= to; x++ {
				set = append(set, x)
			}
			out = append(out, set)
			i += 3
		default:
			form()
		}
	}
	return out
}

// scanDZN cuts the text into the tokens of each assignment. Numbers keep whatever
// stands in them (a sign, a point, an exponent), so that the reader can name them.
func scanDZN(text string) (map[string][]string, error) {
	rs := []rune(text)
	fields := map[string][]string{}
	i := 0
	next := func() string {
		for i < len(rs) {
			switch {
			case unicode.IsSpace(rs[i]):
				i++
			case rs[i] == '%':
				for i < len(rs) && rs[i] != '\n' {
					i++
				}
			case rs[i] == '.' && i+1 < len(rs) && rs[i+1] == '.':
				i += 2
				return ".."
			case unicode.IsLetter(rs[i]) || unicode.IsDigit(rs[i]) || rs[i] == '_' || rs[i] == '-' || rs[i] == '+':
				from := i
				for i++; i < len(rs); i++ {
					point := rs[i] == '.' && !(i+1 < len(rs) && rs[i+1] == '.')
					if !point && rs[i] != '_' && !unicode.IsLetter(rs[i]) && !unicode.IsDigit(rs[i]) {
						break
					}
				}
				return string(rs[from:i])
			default:
				i++
				return string(rs[i-1])
			}
		}
		return ""
	}
	for {
		name := next()
		if name == "" {
			return fields, nil
		}
		if name == ";" {
			continue
		}
		if r := []rune(name)[0]; !unicode.IsLetter(r) && r != '_' {
			return nil, bad("file", name, "stands where a field's name should", "write name = value; for every field")
		}
		if eq := next(); eq != "=" {
			return nil, bad(name, eq, "has no = after its name", "write "+name+" = value;")
		}
		if _, twice := fields[name]; twice {
			return nil, bad(name, "", "is given twice", "give it once")
		}
		tokens := []string{}
		for {
			t := next()
			if t == ";" || t == "" {
				break
			}
			if t == "=" {
				return nil, bad(name, t, "is not closed before the next field", "end the field with ;")
			}
			tokens = append(tokens, t)
		}
		fields[name] = tokens
	}
}
