// Package generate makes random class instances like those of a teaching kitchen, for tests and benchmarks. The same
// parameters and seed give the same instance.
package generate

import (
	"fmt"
	"math/rand/v2"

	"stillroom/internal/loadplan/class"
)

// Params says how large a class is and how scarce things are in it. Zero values are replaced by the defaults named.
type Params struct {
	Stations int // default 8
	// MostBatches per station: each has 1 to this many. Default 2.
	MostBatches int
	Canners     int // default 3
	// MostProcesses is how many different processes there are at most. Default 4.
	MostProcesses int
	// CloseFrom and CloseTo bound the closing minute. Defaults 180 and 300.
	CloseFrom, CloseTo int
	// WindowShare is the percentage of canners that another class has reserved for part of the time. Default 15,
	// negative for none.
	WindowShare int
	// Scale divides all times, for instances tiny enough to try every plan. Default 1.
	Scale int
	// MostJars in a batch, at least 1. Default 9.
	MostJars int
}

func (p Params) defaults() Params {
	set := func(v *int, d int) {
		if *v == 0 {
			*v = d
		}
	}
	set(&p.Stations, 8)
	set(&p.MostBatches, 2)
	set(&p.Canners, 3)
	set(&p.MostProcesses, 4)
	set(&p.CloseFrom, 180)
	set(&p.CloseTo, 300)
	set(&p.WindowShare, 15)
	set(&p.Scale, 1)
	set(&p.MostJars, 9)
	return p
}

// The figures below are those of common practice in teaching kitchens: boiling-water process times of 10 to 85
// minutes, 12 to 30 minutes from lid-on to the boil, 5 minutes of rest, hot jars waiting 5 to 30 minutes, 30 to 90
// minutes of cooking and filling.
var processTimes = []int{10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 65, 75, 85}

var sizes = []struct {
	name               string
	fewest, most, jars int // capacity of a canner, and most jars of a batch
}{{"half-pint", 8, 18, 9}, {"pint", 6, 10, 9}, {"quart", 4, 7, 7}}

// Class makes an instance.
func Class(p Params, seed uint64) class.Spec {
	p = p.defaults()
	r := rand.New(rand.NewPCG(seed, 0x57111))
	in := func(from, to int) int { return from + r.IntN(to-from+1) }
	chance := func(percent int) bool { return r.IntN(100) < percent }
	scaled := func(minutes int) int { return max(1, minutes/p.Scale) }

	s := class.Spec{Form: class.Form, Name: fmt.Sprintf("s%d-b%d-c%d-%d", p.Stations, p.MostBatches, p.Canners, seed)}
	s.Close = scaled(in(p.CloseFrom, p.CloseTo))
	s.Handlers = in(1, 3) + p.Canners/8
	s.Handling = scaled(in(1, 3))
	s.Rest = 5 / p.Scale
	s.Burners = p.Canners + in((p.Stations+2)/3, p.Stations)

	for i := range in(min(2, p.MostProcesses), p.MostProcesses) {
		s.Processes = append(s.Processes, class.Process{ID: fmt.Sprintf("p%d", i+1), Method: "boiling-water", Minutes: scaled(processTimes[r.IntN(len(processTimes))])})
	}
	if chance(30) {
		s.Processes[0].Method = "atmospheric-steam"
	}
	for i := range p.Canners {
		k := class.Canner{ID: fmt.Sprintf("c%d", i+1), Methods: []string{"boiling-water"}, Capacity: map[string]int{}, Reset: in(0, 5) / p.Scale}
		if i == 0 || chance(60) {
			k.Methods = append(k.Methods, "atmospheric-steam")
		}
		for _, size := range sizes {
			k.Capacity[size.name] = max(1, min(in(size.fewest, size.most), p.MostJars*2))
		}
		base, perJar := in(120, 240)/p.Scale, in(10, 90)/p.Scale // tenths and hundredths of a minute
		k.ComeUpBase = class.Decimal(fmt.Sprintf("%d.%d", base/10, base%10))
		k.ComeUpPerJar = class.Decimal(fmt.Sprintf("%d.%02d", perJar/100, perJar%100))
		if chance(p.WindowShare) {
			a, b := in(0, s.Close/3), in(2*s.Close/3, s.Close)
			switch r.IntN(3) {
			case 0:
				k.Windows = []class.Window{{Start: a, End: s.Close}}
			case 1:
				k.Windows = []class.Window{{Start: 0, End: b}}
			default:
				mid := in(s.Close/3+1, 2*s.Close/3)
				k.Windows = []class.Window{{Start: 0, End: mid}, {Start: min(mid+s.Close/10, s.Close-1), End: s.Close}}
			}
		}
		s.Canners = append(s.Canners, k)
	}
	for i := range p.Stations {
		clock := 0
		for k := range in(1, p.MostBatches) {
			size := sizes[r.IntN(len(sizes))]
			b := class.Batch{ID: fmt.Sprintf("b%d%c", i+1, 'a'+k), Station: fmt.Sprintf("s%d", i+1), Order: k + 1,
				Process: s.Processes[r.IntN(len(s.Processes))].ID, Size: size.name,
				Jars: in(min(3, p.MostJars), min(size.jars, p.MostJars)), Stage: scaled(in(30, 90)), HoldMax: scaled(in(5, 30)), Split: chance(50)}
			clock += b.Stage
			b.ReadyEarliest = clock
			if chance(25) {
				b.ReadyEarliest += scaled(in(5, 30))
			}
			s.Batches = append(s.Batches, b)
		}
	}
	return s
}
