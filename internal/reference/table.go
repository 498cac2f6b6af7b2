package reference

import (
	"embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"stillroom/internal/measure"
)

//go:embed data/*.csv data/recipes.yaml
var files embed.FS

// record is one row of a table while it is parsed. A bad cell panics: the tables are part of the program, and its
// tests read all of them.
type record struct {
	table  string
	line   int
	column map[string]int
	cells  []string
}

func (r record) text(column string) string {
	i, ok := r.column[column]
	if !ok {
		panic(fmt.Sprintf("reference: %s has no column %s", r.table, column))
	}
	return r.cells[i]
}

func (r record) broken(column string, err error) {
	panic(fmt.Sprintf("reference: %s line %d, %s %q: %v", r.table, r.line, column, r.text(column), err))
}

func (r record) whole(column string) int {
	n, err := strconv.Atoi(r.text(column))
	if err != nil {
		r.broken(column, err)
	}
	return n
}

func (r record) number(column string) measure.Number {
	n, err := measure.Decimal(r.text(column))
	if err != nil {
		r.broken(column, err)
	}
	return n
}

// maybe is a number that may not be printed.
func (r record) maybe(column string) (measure.Number, bool) {
	if r.text(column) == "" {
		return measure.Number{}, false
	}
	return r.number(column), true
}

func (r record) unit(column string) measure.Unit {
	u, err := measure.ParseUnit(r.text(column))
	if err != nil {
		r.broken(column, err)
	}
	return u
}

func (r record) source() Source {
	return Source{Publication: r.text("source"), Locator: r.text("locator"), Checked: Checked(r.text("checked"))}
}

// readTable parses an embedded CSV file (RFC 4180, header in the first line) row by row.
func readTable[T any](name string, row func(record) T) []T {
	raw, err := files.ReadFile("data/" + name)
	if err != nil {
		panic("reference: " + err.Error())
	}
	lines, err := csv.NewReader(strings.NewReader(string(raw))).ReadAll()
	if err != nil {
		panic(fmt.Sprintf("reference: %s: %v", name, err))
	}
	columns := make(map[string]int, len(lines[0]))
	for i, c := range lines[0] {
		columns[c] = i
	}
	rows := make([]T, 0, len(lines)-1)
	for i, cells := range lines[1:] {
		rows = append(rows, row(record{table: name, line: i + 2, column: columns, cells: cells}))
	}
	return rows
}
