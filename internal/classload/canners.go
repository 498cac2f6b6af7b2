package classload

import (
	"fmt"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"time"

	"stillroom/internal/canning"
	"stillroom/internal/kitchen"
	"stillroom/internal/loadplan/class"
	"stillroom/internal/reference"
)

// unit is one canner a class can use.
type unit struct {
	id, name string
	of       kitchen.Unit
	methods  []canning.Method
	physical canning.Canner
	ownHeat  bool
	windows  []class.Window // nil means always
	// held says which classes have it meanwhile.
	held []kitchen.Hold
}

// UnitID is the name of a piece of equipment within plans: "big-canner#2".
func UnitID(u kitchen.Unit) string { return u.Equipment.ID + "#" + strconv.Itoa(u.Number) }

// takes is how many jars of a size it holds by a method, 0 for none.
func (u unit) takes(m canning.Method, size canning.JarSize) int {
	if !slices.Contains(u.methods, m) {
		return 0
	}
	return u.physical.Holds(size)
}

// canners are the class's canners with what keeps them from being used.
func (in Input) canners() ([]unit, []string) {
	var all []unit
	var notes []string
	for _, u := range in.Units {
		k := u.Equipment.Canner
		if k == nil {
			continue
		}
		c := unit{id: UnitID(u), name: u.Name(), of: u, methods: slices.Clone(k.Methods), physical: k.Physical(u.Equipment.DisplayName), ownHeat: k.OwnHeat}
		if in.Happened != nil && slices.Contains(in.Happened.Gone, c.id) {
			notes = append(notes, c.name+" cannot be used any more.")
			c.windows = []class.Window{}
		} else if busy := in.taken(u); len(busy.Held) > 0 {
			c.held = busy.Held
			c.windows = in.windows(busy)
			for _, h := range busy.Held {
				notes = append(notes, fmt.Sprintf("%s has %s from %s to %s.", h.Class, c.name, minuteText(in.minute(h.Start)), minuteText(in.minute(h.End))))
			}
		}
		if rule, small := c.physical.TooSmallForPressure(); small {
			c.methods = slices.DeleteFunc(c.methods, canning.Method.IsPressure)
			notes = append(notes, fmt.Sprintf("%s is not used for pressure: %s (%s).", c.name, rule.Statement, rule.Source))
		}
		all = append(all, c)
	}
	return all, notes
}

// taken is a unit with what other classes take of it: by their plans where those
// are given, else by their reservations.
func (in Input) taken(u kitchen.Unit) kitchen.Unit {
	held := slices.DeleteFunc(slices.Clone(u.Held), func(h kitchen.Hold) bool {
		return slices.ContainsFunc(in.Around, func(p Plan) bool { return p.Class == h.Class })
	})
	for _, p := range in.Around {
		for _, c := range p.Canners {
			if c.ID != UnitID(u) {
				continue
			}
			for _, l := range c.Loads {
				at := func(minute int) time.Time { return p.Opens.Add(time.Duration(minute) * time.Minute) }
				h := kitchen.Hold{Start: at(l.In - c.Reset), End: at(l.Out + c.Reset), Class: p.Class}
				if h.Start.Before(in.Class.End()) && h.End.After(in.Class.Start) {
					held = append(held, h)
				}
			}
		}
	}
	slices.SortStableFunc(held, func(a, b kitchen.Hold) int { return a.Start.Compare(b.Start) })
	u.Held = held
	return u
}

// windows are the free spans of a unit in whole minutes of the class, cut to be safe.
func (in Input) windows(u kitchen.Unit) []class.Window {
	list := []class.Window{}
	for _, s := range u.FreeWithin(in.Class.Start, in.Class.End()) {
		from, to := s.Start.Sub(in.Class.Start), s.End.Sub(in.Class.Start)
		w := class.Window{Start: int((from + time.Minute - 1) / time.Minute), End: int(to / time.Minute)}
		if w.Start < w.End {
			list = append(list, w)
		}
	}
	return list
}

// minute is an instant in minutes of the class, rounded down.
func (in Input) minute(t time.Time) int {
	d := t.Sub(in.Class.Start)
	m := int(d / time.Minute)
	if d < 0 && d%time.Minute != 0 {
		m--
	}
	return m
}

// minuteText is a minute of the class for notes: "the opening", "1 h 05 min after it".
func minuteText(m int) string {
	if m <= 0 {
		return "the opening"
	}
	return fmt.Sprintf("%d h %02d min after it", m/60, m%60)
}

// line is a come-up of base + perJar*n minutes, and what it rests on.
type line struct {
	base, perJar *big.Rat
	ComeUpBasis
}

// ComeUpBasis says where a canner's come-up comes from.
type ComeUpBasis struct {
	// Basis is "from the canner's record", "measured by the kitchen" or "from physics".
	Basis string `json:"basis"`
	// Base and PerJar are minutes as decimal numbers.
	Base   string `json:"base"`
	PerJar string `json:"per_jar"`
	// ErrorMinutes is how far the record scatters; 0 where nothing was timed.
	ErrorMinutes float64  `json:"error_minutes,omitempty"`
	Assumptions  []string `json:"assumptions,omitempty"`
}

const measuredByKitchen = "measured by the kitchen"

// comeUp is the come-up of a load of a size, pack and method in a canner, as
// [kitchen.Canner.EstimateComeUp] has it.
func (in Input) comeUp(u unit, m canning.Method, size canning.JarSize, pack reference.Pack) (line, error) {
	c := u.of.Equipment.Canner
	estimate, err := c.EstimateComeUp(u.of.Equipment.DisplayName, canning.HeatLoad{Method: m, Jar: size, Pack: pack, Altitude: in.Altitude})
	if err != nil {
		return line{}, err
	}
	if estimate.Basis == kitchen.AsEntered { // the decimals as they were written
		return lineOf(ComeUpBasis{Basis: measuredByKitchen, Base: c.ComeUp.Base, PerJar: c.ComeUp.PerJar})
	}
	return lineOf(ComeUpBasis{
		Basis: string(estimate.Basis), Base: hundredths(estimate.Base), PerJar: hundredths(estimate.PerJar),
		ErrorMinutes: estimate.ErrorMinutes, Assumptions: estimate.Assumptions,
	})
}

// hundredths writes minutes that are whole hundredths already.
func hundredths(f float64) string { return strconv.FormatFloat(f, 'f', 2, 64) }

func lineOf(b ComeUpBasis) (line, error) {
	base, err := class.Decimal(b.Base).Rat()
	if err != nil {
		return line{}, fmt.Errorf("come-up base %q: %w", b.Base, err)
	}
	perJar, err := class.Decimal(b.PerJar).Rat()
	if err != nil {
		return line{}, fmt.Errorf("come-up per jar %q: %w", b.PerJar, err)
	}
	return line{base: base, perJar: perJar, ComeUpBasis: b}, nil
}

// ceil is the least whole number not below r.
func ceil(r *big.Rat) int {
	up := new(big.Int).Add(r.Num(), new(big.Int).Sub(r.Denom(), big.NewInt(1)))
	return int(up.Div(up, r.Denom()).Int64())
}

// decimal writes a rational that came from decimals of at most six places.
func decimal(r *big.Rat) class.Decimal {
	return class.Decimal(strings.TrimSuffix(strings.TrimRight(r.FloatString(6), "0"), "."))
}
