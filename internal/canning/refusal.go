package canning

import (
	"strings"

	"stillroom/internal/fault"
	"stillroom/internal/reference"
)

// Why sorts refusals.
type Why int

// The reasons for which there is no process.
const (
	// UnknownProduct has no process table at all.
	UnknownProduct Why = iota + 1
	// MethodNotPrinted: the product has a table, not for this method.
	MethodNotPrinted
	// PackNotPrinted: the product and method have a table, not for this pack.
	PackNotPrinted
	// JarTooLarge: the jar is larger than the largest printed; no rule extends a process to a larger jar.
	JarTooLarge
	// JarNotPrinted: the jar lies between printed sizes and no published rule covers it.
	JarNotPrinted
	// AboveTable: the altitude is beyond the last printed band.
	AboveTable
	// BelowTable: the altitude is below the first printed band.
	BelowTable
	// SteamConditions: a published condition of atmospheric steam does not hold.
	SteamConditions
)

// Refusal says that there is no published process for what was asked, which part has none, and what the table
// has instead. It unwraps to a fault: NotFound for an unknown product, Precondition otherwise.
type Refusal struct {
	Why     Why
	Request Request
	// Field is the part of the request without an answer: product, method, pack, jar or altitude.
	Field string
	// Value is that part as asked.
	Value string
	// Reason says what is missing.
	Reason string
	// Has lists what is printed instead, in order; empty when nothing is near.
	Has []string
	// Rules are the published facts behind the refusal, where there are such.
	Rules []reference.Fact
}

// Error is the whole refusal in one sentence.
func (r *Refusal) Error() string {
	s := "no published process for " + r.Field + " " + r.Value + ": " + r.Reason
	if w := r.wayOut(); w != "" {
		s += "; " + w
	}
	return s
}

func (r *Refusal) wayOut() string {
	var parts []string
	if len(r.Has) > 0 {
		parts = append(parts, "printed: "+strings.Join(r.Has, ", "))
	}
	if r.Why == BelowTable {
		parts = append(parts, "plan the site as 0 m, where water boils less hot and the first printed band holds")
	}
	for _, f := range r.Rules {
		parts = append(parts, f.Sentence()+" ("+f.Source.String()+")")
	}
	return strings.Join(parts, "; ")
}

// Unwrap is the refusal as a fault, so that it travels like every other error.
func (r *Refusal) Unwrap() error {
	kind := fault.Precondition
	if r.Why == UnknownProduct {
		kind = fault.NotFound
	}
	return &fault.Error{
		Kind:       kind,
		Message:    "no published process",
		Violations: []fault.Violation{{Field: r.Field, Value: fault.Shorten(r.Value), Reason: r.Reason, WayOut: r.wayOut()}},
	}
}
