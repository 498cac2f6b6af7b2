// Package classload takes a class to a load-planning instance and a solved
// instance back to the class, with nothing lost on the way.
//
//	problem, err := classload.Build(input)     // what can be planned, what cannot and why
//	plan, err := problem.Solve(ctx, options)   // loads, stations, burners, hands, and why it ends when it does
//
// A load rests on a printed process row or there is no load: every batch whose
// recipe is not shelf-stable, or whose jar, altitude or method has no published
// process, is left out with the reason, and its jars are "refrigerate or freeze".
// Every plan has passed the independent checker before it leaves the package.
//
// The package knows neither SQL nor the wire.
package classload
