// Package class plans the canner loads of a class: which jars go into which canner when, and when each station
// cooks, so that as few jars as possible are left over, the last load is out as early as possible, there are few loads,
// and hot jars wait little. In the notation of the scheduling field it is a problem of parallel batch-processing
// machines with incompatible job families, release times, machine availability, limited waiting after an upstream
// stage, and two further resources (burners and hands):
//
//	Pm | p-batch, incompatible families, r_j, avail, max-wait, res | lex(sum w_j U_j, C_max, #batches, sum w_j W_j)
//
// A [Spec] is the instance as written, [Build] checks it and makes an [Instance], [Solve] searches, and the result is
// an [Answer]: the plan with its objective, proven bounds, and what is proven of it. [Instance.Explain] says what makes
// the finish what it is; [Spec.With] makes a changed copy to plan again.
//
//	spec, err := class.Read(file)
//	in, err := class.Build(spec)
//	r := class.Solve(ctx, in, class.Options{Time: time.Second, Enough: 2})
//
// # How it is solved
//
// Searches share the incumbent and the bounds in rounds (package anytime). A local search anneals lists of
// intended loads, which a timetable meets one after the other (schedule.go, construct.go, localsearch.go); in larger
// instances loads are also taken out of a timetable and put back (repair.go), in the largest only that. Two provers
// bound the jars, and then the finish, by prices for jars and burners (bound_prices.go), and settle what prices leave
// open with a constraint model (exact*.go) for a solver that learns from failures (package nogood), dividing hard
// questions into cases (cases.go, prove.go). When jars and finish are proven, loads and waiting follow (refine.go).
//
// The bounds are a Lagrangian relaxation in the sense of M. L. Fisher, "The Lagrangian relaxation method for solving
// integer programming problems", Management Science 27 (1981); its use to refuse cases follows the practice of
// branch and price (C. Barnhart et al., Operations Research 46, 1998). Asking for the least finish from below is the
// destructive improvement of R. Klein and A. Scholl, "Computing lower bounds by destructive improvement", EJOR 112
// (1999).
//
// # What the statement of the problem leaves open
//
// No stage begins before the class opens at minute 0. A batch none of whose jars go into a load, and that no later
// batch of its station needs, may be cooked after everything else; the plan fills it as early as burners allow. A
// canner without windows can always be used; one whose list of windows is empty never.
//
// Package check judges answers independently; package generate makes random instances.
package class
