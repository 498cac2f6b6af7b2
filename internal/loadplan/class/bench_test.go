package class_test

import (
	"context"
	"testing"
	"time"

	"stillroom/internal/loadplan/class"
	"stillroom/internal/loadplan/class/generate"
)

var sizesToMeasure = []struct {
	name   string
	params generate.Params
}{
	{"8x3", generate.Params{Stations: 8, Canners: 3}},
	{"12x4", generate.Params{Stations: 12, Canners: 4}},
	{"60x20", generate.Params{Stations: 60, Canners: 20}},
}

// BenchmarkTimetable makes one timetable from a list of intended loads: an evaluation of the local search.
func BenchmarkTimetable(b *testing.B) {
	for _, c := range sizesToMeasure {
		b.Run(c.name, func(b *testing.B) {
			in := build(b, generate.Class(c.params, 1))
			b.ResetTimer()
			class.TimetablesPerRun(in, b.N)
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "timetables/s")
		})
	}
}

// BenchmarkMoves is the local search with the provers beside it: units of work, most of them moves, per second.
func BenchmarkMoves(b *testing.B) {
	for _, c := range sizesToMeasure {
		b.Run(c.name, func(b *testing.B) {
			in := build(b, generate.Class(c.params, 1))
			var work int64
			for b.Loop() {
				work += class.Solve(context.Background(), in, class.Options{Work: 20_000, Seed: 1}).Work
			}
			b.ReportMetric(float64(work)/b.Elapsed().Seconds(), "units/s")
		})
	}
}

// BenchmarkTimeToProof is the time to a plan proven in jars and finish, on instances that differ in what is scarce.
func BenchmarkTimeToProof(b *testing.B) {
	for _, c := range []struct {
		name   string
		params generate.Params
		seed   uint64
	}{
		{"3x2", generate.Params{Stations: 3, Canners: 2}, 4},
		{"8x3/prices", generate.Params{}, 1008},
		{"8x3/model", generate.Params{}, 1001},
		{"8x3/cases", generate.Params{}, 1011},
	} {
		b.Run(c.name, func(b *testing.B) {
			in := build(b, generate.Class(c.params, c.seed))
			proven := 0
			for b.Loop() {
				if class.Solve(context.Background(), in, class.Options{Time: 20 * time.Second, Enough: 2, Seed: uint64(proven)}).Optimal {
					proven++
				}
			}
			b.ReportMetric(float64(proven)/float64(b.N), "proven")
		})
	}
}

// BenchmarkTimeToTarget is the time to a plan within three per cent of the bound that ten seconds give.
func BenchmarkTimeToTarget(b *testing.B) {
	for _, c := range sizesToMeasure[1:] {
		b.Run(c.name, func(b *testing.B) {
			in := build(b, generate.Class(c.params, 2))
			long := class.Solve(context.Background(), in, class.Options{Time: 10 * time.Second, Enough: 2})
			target := long.Objective
			b.ResetTimer()
			for b.Loop() {
				ctx, cancel := context.WithCancel(context.Background())
				class.Solve(ctx, in, class.Options{Time: 30 * time.Second, Seed: 1, Progress: func(p class.Progress) {
					o := p.Answer.Objective
					if o.Unprocessed < target.Unprocessed || o.Unprocessed == target.Unprocessed && o.Finish*100 <= target.Finish*103 {
						cancel()
					}
				}})
				cancel()
			}
		})
	}
}
