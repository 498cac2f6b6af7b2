package recipe_test

import (
	"fmt"

	"stillroom/internal/recipe"
)

// An instructor asks what becomes of a salsa with twice the onions, and finds what may be done instead.
func Example() {
	salsa, err := recipe.Published("chile_salsa")
	if err != nil {
		panic(err)
	}
	for _, change := range []recipe.Change{
		{Kind: recipe.Raise, Line: "onions", Amount: "2 pounds"},
		{Kind: recipe.Swap, Line: "onions", Ingredient: "red onions"},
	} {
		changed, review, err := recipe.ReviewChanges(salsa, []recipe.Change{change})
		if err != nil {
			panic(err)
		}
		fmt.Println(review.Findings[0].Change)
		fmt.Println(" ", review.Verdict, "-", review.Consequence)
		fmt.Println("  acid share", review.AcidBefore, "to", review.AcidAfter)
		if why := recipe.LoadRefusal(changed); why != "" {
			fmt.Println("  no load:", why)
		}
	}
	// Output:
	// onions: 1 pound to 2 pounds
	//   forbidden - refrigerate or freeze only
	//   acid share 14.9 % to 11.6 %
	//   no load: onions: 1 pound to 2 pounds is forbidden: more low-acid food dilutes the acid that keeps it safe
	// onions: 1 pound red onions in place of 1 pound onions
	//   allowed - still shelf-stable
	//   acid share 14.9 % to 14.9 %
}

// The library searches by ingredient, season, jar, method and text.
func ExampleSearch() {
	for _, r := range recipe.Search(recipe.Filter{Ingredients: []string{"tomatillos"}, Season: recipe.Autumn}) {
		fmt.Println(r.Title, "-", r.Yield.Text)
	}
	// Output:
	// Tomatillo green salsa - About 5 pints
	// Tangy tomatillo relish - About 6 or 7 pints
}
