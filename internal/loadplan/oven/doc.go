// Package oven plans batches on parallel batch-processing machines with
// incompatible job families: the oven form of the load-planning problem.
//
// In the notation of scheduling, with B for batch processing machines,
//
//	P̃B | r_j, d̄_j, M_j, families, availability, s_ff' | w₁·ΣP_b + w₂·ΣU_j + w₃·Σsc_ff'
//
// Jobs j = 1..n each have a release r_j (earliest_start), a due time d_j
// (latest_end), a least and a longest processing time (min_time, max_time), a
// size, a family (attribute) and a set of eligible machines. A batch b is on one
// machine that is eligible for all its jobs; its jobs are of one family, their
// sizes add up to at most the machine's capacity, and it runs for a time P_b with
// max(min_time) <= P_b <= min(max_time). Before every batch, the first of a
// machine included, stands a set-up whose time and cost depend on the family
// before (or the machine's initial state) and on its own. Set-up and batch lie in
// one and the same availability interval of the machine. Every job is scheduled.
//
// The objective is a weighted sum of three things: the total of the batches'
// processing times, the number of jobs that end after their due time, and the
// total of set-up costs. It never rewards a longer batch, so P_b is always
// max(min_time), and it is regular in the completion times, so for a given
// sequence of batches on a machine the earliest starts are the best starts. The
// whole search therefore moves among sequences of batches.
//
// # Parts
//
//   - instance.go, dzn.go, json.go: an instance, validated once and read-only after.
//   - plan.go, check.go: a plan and the independent checker, one named predicate per
//     constraint; check.go shares no code with the search.
//   - bound_*.go: lower bounds, each an algorithm with its argument: by levels of runtime,
//     by prices of late batches (column generation), by cheapest paths through time
//     (Lagrangian relaxation). prover.go runs them.
//   - state.go, walk.go, moves*.go, anneal.go: the plan under search, its incremental
//     evaluation, the neighbourhoods and simulated annealing.
//   - construct.go, partial.go, pack_prices.go: ways to a first or a whole plan; windows.go
//     is large-neighbourhood search over stretches of time.
//   - exact.go: exact search for what is small enough.
//   - solve.go, worker.go, bulletin.go: the engine that runs them side by side and stops
//     when incumbent and bound meet.
//   - generate.go: random instances by the published parameters.
//
// # Sources
//
// The problem and its instances: M.-L. Lackner, C. Mrkvicka, N. Musliu,
// D. Walkiewicz, F. Winter, "Exact methods for the Oven Scheduling Problem",
// Constraints 28 (2023); instances in Zenodo record 7456938. Bounds: F. Da Ros,
// M.-L. Lackner, N. Musliu, "Theoretical Lower Bounds for the Oven Scheduling
// Problem" (2024), arXiv:2410.01368. Local search by simulated annealing over
// several neighbourhoods: F. Da Ros, L. Di Gaspero, M.-L. Lackner, N. Musliu,
// F. Winter, GECCO '24 Companion.
package oven
