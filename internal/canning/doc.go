// Package canning knows the published rules of processing jars and refuses to go
// beyond them.
//
//   - [Published] is the process look-up: product, pack, jar, method and altitude to
//     every printed choice, or a [Refusal] that says what was asked and what the table has.
//   - [Procedure] is the checklist and the cautions of a process, each line a published fact.
//   - [Phases] is what a load does minute by minute around its process time.
//   - [Canner] is a vessel with a capacity by jar size; [Canner.FromPhysics] and [Canner.FromRecord]
//     estimate how long it takes to come to the boil.
//   - [BoilingPoint], [StandardPressure] and [SaturationTemperature] are the physics under it.
//
// The room holds no process times of its own: all come from package reference.
package canning
