package oven

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReadDZN(t *testing.T) {
	in := twoOvens(t)
	require.Equal(t, 4, in.Jobs())
	require.Equal(t, 2, in.Machines())
	require.Equal(t, 2, in.Families())
	require.Equal(t, int64(1000), in.UpperBound())
	require.Equal(t, [][]int64{{1}, {1, 2}, {2, 1}, {1, 2}}, in.Spec().Eligible)
	require.Equal(t, []interval{{5, 50}}, in.machines[1].intervals, "an interval of no length is padding")
}

func TestJSONShapeIsTheSameInstance(t *testing.T) {
	in := twoOvens(t)
	text, err := json.Marshal(in)
	require.NoError(t, err)
	again, err := ParseJSON("", text)
	require.NoError(t, err)
	require.Equal(t, in, again)
}

// Every one-field change of a good file that makes it wrong is refused, and the error
// names that field.
func TestBadInputNamesTheField(t *testing.T) {
	text, err := os.ReadFile("testdata/two-ovens.dzn")
	require.NoError(t, err)
	cases := []struct{ old, new, field, says string }{
		{"min_time=[4,3,5,6]", "min_time=[4,-3,5,6]", "min_time[2]", "out of range"},
		{"min_time=[4,3,5,6]", "min_time=[4,3.5,5,6]", "min_time", "not a whole number"},
		{"min_time=[4,3,5,6]", "min_time=[4,NaN,5,6]", "min_time", "not a whole number"},
		{"min_time=[4,3,5,6]", "min_time=[4,3,5]", "min_time", "one number for each of the 4 jobs"},
		{"min_time=[4,3,5,6]", "min_time=4", "min_time", "not a list"},
		{"min_time=[4,3,5,6]", "min_time=[4,3,5,99]", "max_time[4]", "less than min_time"},
		{"min_time=[4,3,5,6];", "", "min_time", "missing"},
		{"max_time=[6,5,9,9]", "max_time=[6,5,9,1000000000]", "max_time[4]", "out of range"},
		{"size=[3,2,4,4]", "size=[3,2,4,1000000000]", "size[4]", "out of range"},
		{"size=[3,2,4,4]", "size=[6,2,4,4]", "size[1]", "larger than every eligible machine"},
		{"max_cap=[5,8]", "max_cap=[0,8]", "max_cap[1]", "out of range"},
		{"min_cap=[0,0]", "min_cap=[0,2]", "min_cap[2]", "least load"},
		{"attribute=[1,1,2,2]", "attribute=[1,1,2,3]", "attribute[4]", "out of range"},
		{"initState=[1,2]", "initState=[1,4]", "initState[2]", "out of range"},
		{"{1,2},", "{1,3},", "eligible_machine[2]", "no machine"},
		{"{1},", "{},", "eligible_machine[1]", "names no machine"},
		{"1..2]", "1..99999]", "eligible_machine", "too many machines"},
		{"m_a_e = [|10,60", "m_a_e = [|-1,60", "m_a_e[1][1]", "out of range"},
		{"m_a_s = [|0,20", "m_a_s = [|11,20", "m_a_e[1][1]", "before the interval's start"},
		{"m_a_s = [|0,20", "m_a_s = [|0,9", "m_a_s[1]", "inside another"},
		{"m_a_e = [|10,60", "m_a_e = [|10,61", "m_a_e[1][2]", "after the horizon"},
		{"m_a_e = [|10,60,\n|5,50|]", "m_a_e = [|10,60|]", "m_a_e", "rows"},
		{"earliest_start=[0,2,4,6]", "earliest_start=[58,2,4,6]", "min_time[1]", "no availability interval"},
		{"setup_times=[|1,2,\n|3,0,\n|0,0|]", "setup_times=[|1,2|]", "setup_times", "rows"},
		{"setup_costs=[|1,4", "setup_costs=[|1,-4", "setup_costs[1][2]", "out of range"},
		{"n=4", "n=0", "n", "not a usable count"},
		{"n=4", "n=1000000000", "n", "not a usable count"},
		{"upper_bound_integer_objective=1000", "upper_bound_integer_objective=0", "upper_bound_integer_objective", "out of range"},
		{"mult_factor_total_setuptimes=0", "mult_factor_total_setuptimes=3", "mult_factor_total_setuptimes", "no part of the objective"},
		{"n=4;", "n=4; n=5;", "n", "given twice"},
		{"n=4;", "n=4", "n", "not closed"},
		{"n=4;", "4;", "file", "name should"},
	}
	for _, c := range cases {
		require.Contains(t, string(text), c.old)
		_, err := ParseDZN("bad", strings.Replace(string(text), c.old, c.new, 1))
		var in *InputError
		require.ErrorAs(t, err, &in, c.new)
		require.True(t, in.Field == c.field || strings.HasPrefix(in.Field, c.field+"["), "%s: names %s, not %s", c.new, in.Field, c.field)
		require.Contains(t, in.Error(), c.says, c.new)
		require.NotEmpty(t, in.WayOut, c.new)
	}
}

func TestBadJSONNamesTheField(t *testing.T) {
	good, err := json.Marshal(twoOvens(t))
	require.NoError(t, err)
	cases := []struct{ old, new, field string }{
		{`"form":"oven"`, `"form":"kiln"`, "form"},
		{`"form":"oven",`, ``, "form"},
		{`"size":[3,2,4,4]`, `"size":[3,2,4,"4"]`, "size"},
		{`"size":[3,2,4,4]`, `"size":[3,2,4,4.5]`, "size"},
		{`"size":[3,2,4,4]`, `"size":null`, "size"},
		{`"size":[3,2,4,4]`, `"size":[3,2,4,-4]`, "size[4]"},
		{`"n":4`, `"n":1e30`, "n"},
		{`"n":4,`, ``, "n"},
		{`{"form"`, `[{"form"`, "file"},
	}
	for _, c := range cases {
		require.Contains(t, string(good), c.old)
		_, err := ParseJSON("bad", []byte(strings.Replace(string(good), c.old, c.new, 1)))
		var in *InputError
		require.ErrorAs(t, err, &in, c.new)
		require.Equal(t, c.field, in.Field, c.new)
	}
}

// FuzzParseDZN: whatever the text, reading ends with an instance or a named field.
func FuzzParseDZN(f *testing.F) {
	text, err := os.ReadFile("testdata/two-ovens.dzn")
	require.NoError(f, err)
	f.Add(string(text))
	f.Add("a=;")
	f.Add("eligible_machine=[{1,2;")
	f.Add("setup_costs=[||];m=2..3;")
	f.Fuzz(func(t *testing.T, text string) {
		in, err := ParseDZN("fuzz", text)
		if err != nil {
			var e *InputError
			require.ErrorAs(t, err, &e)
			require.NotEmpty(t, e.Field)
			return
		}
		require.Positive(t, in.Jobs())
	})
}
