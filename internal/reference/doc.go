// Package reference holds the published figures the program works from: process
// times, procedure facts, yields, weights, unit factors and thermal data.
//
// Every row keeps its [Source]. The tables are embedded, parsed once and
// read-only: slices returned here are copies or must not be changed, and rows
// hold no pointers. What the columns mean is in data/README.md.
package reference
