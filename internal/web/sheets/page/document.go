// Package page writes a sheet as HTML and as PDF, both from one Document of plain values, so that a sheet on paper and
// a sheet on a screen never differ in what they say. It knows paper, tables, labels and type; what stands on a sheet
// is the business of the package above.
package page

import (
	"time"

	"stillroom/internal/web/chart"
)

// Document is what a sheet says, in order.
type Document struct {
	// Title says what kind of sheet it is: "Shopping list".
	Title string
	// About says of what: the class, the day, the place.
	About []string
	// Basis says what it was computed from and when; it stands at the foot of every page.
	Basis string
	// Made is when that was computed; the file carries it as its date, so that the same content is the same file.
	Made time.Time
	// Paper is what it is printed on.
	Paper Paper
	// Landscape lays the paper on its long side.
	Landscape bool
	// Compact puts title and class into one line, also on the first page.
	Compact bool
	// Blocks from top to bottom.
	Blocks []Block
}

// Block is a part of a document: one of the types below.
type Block interface{ block() }

// Heading begins a part.
type Heading struct {
	Text string
	// Aside stands at the other end of the line; it may be empty.
	Aside string
	// NewPage begins a page, except at the very beginning.
	NewPage bool
	// Minor headings are smaller.
	Minor bool
}

// Style is how a paragraph is set.
type Style int

const (
	// Plain is running text.
	Plain Style = iota
	// Small is for sources and cautions.
	Small
	// Loud is for what nobody may overlook; it stands in a heavy frame.
	Loud
)

// Paragraph is a paragraph of text.
type Paragraph struct {
	Text  string
	Style Style
	// Keep holds it on the page of the block after it.
	Keep bool
}

// Fact is a name with its value, such as "Headspace" and "1/4 in".
type Fact struct{ Name, Value string }

// Facts are set next to each other.
type Facts []Fact

// Item is a line of a list.
type Item struct {
	Text string
	// Source is set smaller, in brackets; it may be empty.
	Source string
}

// List is a list of lines.
type List struct {
	Items []Item
	// Tick gives each a box to tick.
	Tick bool
	// Small sets it as sources and cautions are set.
	Small bool
	// Bare leaves out the dots, for items that begin with a mark of their own.
	Bare bool
}

// Table is rows under headings. A row is never split over two pages, and a group's head stays with its first row.
type Table struct {
	// Caption says what the rows are, for those who listen; it is not printed.
	Caption string
	Columns []Column
	Groups  []Group
	// Open tables have rules to write on.
	Open bool
	// Whole tables stay on one page, where they fit on one.
	Whole bool
}

// Column is a column of a table.
type Column struct {
	Head string
	// Share of the width, in proportion to the others.
	Share float64
	// Right aligns figures.
	Right bool
}

// Group is rows that belong together.
type Group struct {
	// Head over them; it may be empty.
	Head string
	Rows []Row
	// Foot under them, such as a sum; it may be empty.
	Foot []Cell
}

// Row is a row of a table. A single cell goes over all columns.
type Row struct {
	Cells []Cell
	// Loud rows are set in bold between heavy rules.
	Loud bool
}

// Cell is a cell of a row. An empty cell is one to write in.
type Cell struct {
	Text string
	// More is further paragraphs set like it.
	More []string
	// Under is set smaller below it, a paragraph each.
	Under []string
	// Tick draws a box to tick.
	Tick bool
	// Strong is set in bold.
	Strong bool
}

// Board is a chart of canners and stations.
type Board struct {
	// Name says what the chart shows, for those who cannot see it.
	Name  string
	Chart chart.Chart
}

// Labels are labels for jars on a stock of label sheets.
type Labels struct {
	Stock Stock
	// Start is the position of the first label, from 1, so that a sheet that was begun can be used up.
	Start int
	// Outline draws the edges of every label and the number of its position, to hold a test page against a stock.
	Outline bool
	Labels  []Label
}

// Label is what one label says.
type Label struct {
	// Name of what is in the jar.
	Name string
	// Lines below it.
	Lines []LabelLine
}

// LabelLine is a line of a label.
type LabelLine struct {
	Text string
	// Loud lines are set in bold on a frame; Small ones as small as is still legible.
	Loud, Small bool
}

func (Heading) block()   {}
func (Paragraph) block() {}
func (Facts) block()     {}
func (List) block()      {}
func (Table) block()     {}
func (Board) block()     {}
func (Labels) block()    {}
