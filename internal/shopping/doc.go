// Package shopping turns the recipes of one or more classes into what to buy.
//
// A list is computed in four steps, each in a file of its own:
//
//   - convert.go: each recipe line becomes grams of edible portion by the published weight of its measure, then
//     grams as purchased by the published yield of its preparation. [Convert] says which rows were used, how near
//     they are, and what other rows print. No figure, no guess: such a line stays in its own unit.
//   - gather.go: lines that differ only in preparation are one thing to buy; batches, jars, lids and towels are
//     counted; what participants bring moves to their sheet; interchangeable kinds are bought as chosen.
//   - basket.go: allowance added, what is on hand taken off with its best-before respected, and the rest covered
//     by whole packs, exactly as cheaply as possible (package cover).
//   - list.go: totals, cost shares in whole minor units that add up, and how well founded each line is.
//
// Compute does all four:
//
//	list, err := shopping.Compute(shopping.Request{Classes: classes, Offers: offers, OnHand: stock})
//	list.WriteTable(os.Stdout, shopping.Metric, false)
//
// A list is plain data: it can be stored whole as JSON, read back, printed ([List.WriteTable], [List.WriteCSV])
// and compared with a later one ([Compare]).
//
// # The nearest row
//
// Weights of a measure are ranked by, in this order: special kinds (a weight printed for cherry tomatoes is no
// weight of tomatoes), packed or loose, the distance of the cut on the scale whole, halves, quarters, slices,
// pieces, chopped, finely chopped, grated or minced, crushed (a row that names no cut counts as one and a half
// steps away), peel, size (medium where none is stated), and how near the printed measure is to the line's.
//
// Yields are ranked by: juice or not, whether the row fits the peel the line states, whether it was read in its
// source or recalled (a recalled row is used only where no read row fits), and how many of the parts the line
// removes the row does not name.
//
// Among rows that rank equally the one that buys more is used, and the others are shown beside it. So is the weight
// that the recipe itself prints beside a line ("about 3 pounds"), where it prints one.
package shopping
