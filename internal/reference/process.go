package reference

import (
	"slices"
	"sync"

	"stillroom/internal/measure"
)

// Pack is how food goes into the jar.
type Pack string

// AnyPack is printed as "Hot and Raw" together.
const (
	HotPack Pack = "hot"
	RawPack Pack = "raw"
	AnyPack Pack = "any"
)

// Method is how a process is printed.
type Method string

// The methods that have printed tables.
const (
	BoilingWater     Method = "boiling_water"
	PressureDial     Method = "pressure_dial"
	PressureWeighted Method = "pressure_weighted"
)

// Band is a printed range of altitudes in whole feet, both ends included.
type Band struct {
	Min measure.Feet
	// Max is meaningless when Open.
	Max measure.Feet
	// Open says that no upper limit is printed.
	Open bool
}

// ProcessRow is one printed cell of a process table: a complete choice for its product, pack, jar, method and band.
type ProcessRow struct {
	ProductKey string
	Product    string
	Pack       Pack
	// Jar is the printed jar: half_pint, pint, quart, half_gallon or twelve_ounce.
	Jar     string
	Method  Method
	Band    Band
	Minutes measure.Minutes
	// Pressure is the gauge pressure in pounds; 0 for boiling water.
	Pressure measure.GaugePounds
	// Headspace is meaningful when HeadspacePrinted.
	Headspace        measure.Inches
	HeadspacePrinted bool
	Source           Source
}

var processTable = sync.OnceValue(func() []ProcessRow {
	return readTable("process_times.csv", func(r record) ProcessRow {
		row := ProcessRow{
			ProductKey: r.text("product_key"), Product: r.text("product"),
			Pack: Pack(r.text("pack")), Jar: r.text("jar"), Method: Method(r.text("method")),
			Band:    Band{Min: measure.Feet(r.whole("altitude_min_ft"))},
			Minutes: measure.Minutes(r.whole("minutes")), Source: r.source(),
		}
		if row.Band.Open = r.text("altitude_max_ft") == ""; !row.Band.Open {
			row.Band.Max = measure.Feet(r.whole("altitude_max_ft"))
		}
		if r.text("pressure_lb") != "" {
			row.Pressure = measure.GaugePounds(r.whole("pressure_lb"))
		}
		if in, printed := r.maybe("headspace_in"); printed {
			row.Headspace, row.HeadspacePrinted = measure.Inches(in.Float64()), true
		}
		return row
	})
})

var processByProduct = sync.OnceValue(func() map[string][]ProcessRow {
	rows := map[string][]ProcessRow{}
	for _, r := range processTable() {
		rows[r.ProductKey] = append(rows[r.ProductKey], r)
	}
	return rows
})

// ProcessRows are all printed process rows in the order of the tables.
func ProcessRows() []ProcessRow { return slices.Clone(processTable()) }

// ProcessRowsOf are the rows of one product; none when the product has no table.
func ProcessRowsOf(productKey string) []ProcessRow {
	return slices.Clone(processByProduct()[productKey])
}

// Product is a food with a process table.
type Product struct {
	Key  string
	Name string
}

var products = sync.OnceValue(func() []Product {
	var list []Product
	seen := map[string]bool{}
	for _, r := range processTable() {
		if !seen[r.ProductKey] {
			seen[r.ProductKey] = true
			list = append(list, Product{Key: r.ProductKey, Name: r.Product})
		}
	}
	return list
})

// Products are the foods with process tables, in the order of the tables.
func Products() []Product { return slices.Clone(products()) }
