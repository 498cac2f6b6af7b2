package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"syscall"
	"time"

	"stillroom/internal/loadplan/class"
	"stillroom/internal/loadplan/class/generate"
)

// rates says which random classes to plan for a table of how many are proven how soon.
type rates struct {
	count             int
	stations, canners int
	from              uint64 // the first seed
	cpu               bool   // count processor time, not time by the clock
}

// marks are the seconds for which shares are printed.
var marks = []float64{0.5, 1, 2, 5, 10, 20}

// rate is what became of one class.
type rate struct {
	seed   uint64
	proven float64 // seconds to the proof of jars and finish, negative without one
	work   int64
	answer class.Answer
}

// print plans the classes one after the other and writes a line for each, then the shares. Work is in thousand units,
// a measure that does not depend on the machine.
func (r rates) print(ctx context.Context, s settings, out io.Writer) {
	fmt.Fprintln(out, "  seed  batches  jars left  bound  finish  bound     gap  proven after    work")
	var list []rate
	for i := range uint64(r.count) {
		if ctx.Err() != nil {
			break
		}
		x := r.plan(ctx, s, r.from+i)
		list = append(list, x)
		a := x.answer
		after := "-"
		if x.proven >= 0 {
			after = fmt.Sprintf("%.2f s", x.proven)
		}
		fmt.Fprintf(out, "%6d  %7d  %9d  %5d  %6d  %5d  %4.1f %%  %12s  %6d\n", x.seed, len(a.Filled), a.Objective.Unprocessed, a.Bound.Unprocessed,
			a.Objective.Finish, a.Bound.Finish, 100*x.gap(), after, x.work/1000)
	}
	r.summary(s, list, out)
}

// gap is how far the finish is above its bound, as a share of the bound.
func (x rate) gap() float64 {
	return float64(max(0, x.answer.Objective.Finish-x.answer.Bound.Finish)) / float64(max(1, x.answer.Bound.Finish))
}

func (r rates) plan(ctx context.Context, s settings, seed uint64) rate {
	in, err := class.Build(generate.Class(generate.Params{Stations: r.stations, Canners: r.canners}, seed))
	if err != nil {
		panic(err) // the generator makes sound instances only
	}
	o := class.Options{Time: s.time, Work: s.work, Seed: s.seed, Enough: 2}
	if r.cpu {
		o.Now = processorTime
	}
	res := class.Solve(ctx, in, o)
	x := rate{seed: seed, proven: -1, work: res.Work, answer: res.Answer}
	if res.Optimal {
		x.proven = res.Elapsed.Seconds()
	}
	return x
}

func (r rates) summary(s settings, list []rate, out io.Writer) {
	if len(list) == 0 {
		return
	}
	by := "by the clock"
	if r.cpu {
		by = "of processor time"
	}
	fmt.Fprintf(out, "\n%d classes of %d stations and %d canners; seconds %s\n", len(list), r.stations, r.canners, by)
	for _, m := range marks {
		if m > s.time.Seconds() && s.time > 0 {
			break
		}
		n := 0
		for _, x := range list {
			if x.proven >= 0 && x.proven <= m {
				n++
			}
		}
		fmt.Fprintf(out, "proven within %4.1f s: %d (%.0f %%)\n", m, n, 100*float64(n)/float64(len(list)))
	}
	var gaps []float64
	jars := 0
	for _, x := range list {
		gaps = append(gaps, x.gap())
		if x.answer.Objective.Unprocessed > x.answer.Bound.Unprocessed {
			jars++
		}
	}
	slices.Sort(gaps)
	fmt.Fprintf(out, "gap of the finish: median %.1f %%, worst %.1f %%; jars not proven in %d\n", 100*gaps[len(gaps)/2], 100*gaps[len(gaps)-1], jars)
}

// processorTime is the processor time of this process as a time, on all cores together.
func processorTime() time.Time {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return time.Now()
	}
	return time.Unix(0, u.Utime.Nano()+u.Stime.Nano())
}
