// Package recipe holds formulas: what a recipe asks for, how it is made, what may be changed, and by whose word.
//
// The printed recipes ship in the program. [Published] finds one, [Search] looks through all of them:
//
//	salsa, err := recipe.Published("chile_salsa")
//	fmt.Print(recipe.Text(salsa))
//
// An instructor adapts a recipe by [Change]s. [Apply] makes the changed formula, and [ReviewOf] says line by line
// what the publications allow, with their words, and what that makes of the jars:
//
//	changed, err := recipe.Apply(salsa, []recipe.Change{{Kind: recipe.Raise, Line: "onions", Amount: "2 pounds"}})
//	review := recipe.ReviewOf(changed)
//	stable, why := recipe.ShelfStable(changed)
//
// A review always sets the whole formula against the printed one it comes from, never against the last revision
// of it, so small steps cannot add up to what one step may not do.
//
// Whole published batches only: nothing here scales a formula for use. Twice as many jars are two batches
// (see [Batches]).
package recipe
