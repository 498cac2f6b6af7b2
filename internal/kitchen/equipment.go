package kitchen

import (
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// KindCanner is the kind of equipment that takes loads of jars.
const KindCanner = "canner"

// Equipment is something a kitchen owns one or more of, all alike.
type Equipment struct {
	ID          string
	DisplayName string
	// Kind is what it is, as recipes name it: "canner", "burner", "large pot".
	Kind string
	// Owned is how many there are.
	Owned int
	// Site is the id of the site where it stands; empty when it goes wherever it is needed.
	Site string
	// Canner is set for canners and nil for everything else.
	Canner    *Canner
	CreatedAt time.Time
	Version   int64
}

// Canner says what a canner holds and how fast it heats.
type Canner struct {
	Methods []canning.Method    `json:"methods"`
	Holds   []canning.RackSpace `json:"holds"`
	// ComeUp is what the kitchen measured itself; the zero value when nobody did.
	ComeUp ComeUpLine `json:"come_up"`
	// Reset is the minutes after a load is out before the canner can take the next.
	Reset measure.Minutes `json:"reset"`
	// OwnHeat says that it takes none of the room's burners.
	OwnHeat bool `json:"own_heat"`
	// Vessel and Burner are for the estimate from physics; nil means the usual ones.
	Vessel *canning.Vessel `json:"vessel,omitempty"`
	Burner *canning.Burner `json:"burner,omitempty"`
	// Record is the timed come-ups, the oldest first. It is kept apart from the rest.
	Record []ComeUp `json:"-"`
}

// ComeUpLine is Base + PerJar * n minutes from lid-on to the boil for n jars, as decimal numbers.
type ComeUpLine struct {
	Base   string `json:"base"`
	PerJar string `json:"per_jar"`
}

// Known says that somebody measured it.
func (l ComeUpLine) Known() bool { return l.Base != "" }

// ComeUp is one come-up that was timed.
type ComeUp struct {
	At          time.Time
	Observation canning.Observation
}

// What is assumed of a canner whose heat nobody described. It is not a published
// figure but a usual burner of a household range, for the instructor to replace.
const (
	AssumedBurnerKind  = canning.GasBurner
	AssumedBurnerWatts = canning.Watts(3500)
)

// Limits of what a kitchen owns.
const (
	mostOwned = 1000
	mostReset = 240
)

var (
	kindPattern    = regexp.MustCompile(`^[a-z][a-z0-9]*([ -][a-z0-9]+)*$`)
	decimalPattern = regexp.MustCompile(`^[0-9]{1,4}(\.[0-9]{1,6})?$`)
)

// Check reports every field of the equipment that cannot be, as one Invalid fault.
func (e Equipment) Check() error {
	var c fault.Collector
	if e.DisplayName == "" {
		c.Add("display_name", "", "is missing", "give a name for people")
	}
	if !kindPattern.MatchString(e.Kind) {
		c.Add("kind", e.Kind, "is not a kind of equipment", `give lower-case words such as "burner" or "large pot"`)
	}
	if e.Owned < 1 || e.Owned > mostOwned {
		c.Add("owned_count", strconv.Itoa(e.Owned), "is not a number to own", fmt.Sprintf("give 1 to %d", mostOwned))
	}
	switch {
	case e.Kind == KindCanner && e.Canner == nil:
		c.Add("canner", "", "is missing", "say which methods it is for and how many jars of each size it holds")
	case e.Kind != KindCanner && e.Canner != nil:
		c.Add("canner", "", fmt.Sprintf("is set for the kind %q", e.Kind), `leave it out, or give the kind "canner"`)
	case e.Canner != nil:
		c.AddErr("canner.", e.Canner.check(e.DisplayName))
	}
	return c.Err()
}

func (k Canner) check(name string) error {
	var c fault.Collector
	if k.Reset < 0 || k.Reset > mostReset {
		c.Add("reset_minutes", strconv.Itoa(int(k.Reset)), "is not possible", fmt.Sprintf("give 0 to %d minutes", mostReset))
	}
	for _, d := range []struct{ field, value, other string }{
		{"come_up_base_minutes", k.ComeUp.Base, k.ComeUp.PerJar}, {"come_up_minutes_per_jar", k.ComeUp.PerJar, k.ComeUp.Base},
	} {
		switch {
		case d.value == "" && d.other != "":
			c.Add(d.field, "", "is missing beside its other half", "give both, or neither")
		case d.value != "" && !decimalPattern.MatchString(d.value):
			c.Add(d.field, d.value, "is not a decimal number of minutes", `give a number such as "14" or "0.35"`)
		}
	}
	c.AddErr("", asCallersSay(k.Physical(name).Check()))
	return c.Err()
}

// asCallersSay puts the names of the contract in the place of those of the canning room.
func asCallersSay(err error) error {
	var f *fault.Error
	if !errors.As(err, &f) {
		return err
	}
	names := strings.NewReplacer("racks", "capacities", "burner.rated", "heat_source.watts", "burner.", "heat_source.", "record[0].", "")
	var c fault.Collector
	for _, v := range f.Violations {
		field := names.Replace(v.Field)
		if field == "jar" || strings.HasSuffix(field, ".jar") {
			field += "_size"
		}
		c.Add(field, v.Value, v.Reason, v.WayOut)
	}
	return c.Err()
}

// Physical is the canner as the estimates of come-up see it, with what is assumed
// where nothing was said.
func (k Canner) Physical(name string) canning.Canner {
	p := canning.Canner{Name: name, Methods: k.Methods, Racks: k.Holds, Vessel: canning.StandardVessel(),
		Burner: canning.Burner{Kind: AssumedBurnerKind, Rated: AssumedBurnerWatts}}
	if k.Vessel != nil {
		p.Vessel = *k.Vessel
	}
	if k.Burner != nil {
		p.Burner = *k.Burner
	}
	for _, o := range k.Record {
		p.Record = append(p.Record, o.Observation)
	}
	return p
}

// Capacity is jars by size for every size that can be a batch's; sizes that do not fit are absent.
func (k Canner) Capacity() map[canning.JarSize]int {
	physical := canning.Canner{Racks: k.Holds}
	capacity := map[canning.JarSize]int{}
	for _, size := range canning.JarSizes() {
		if n := physical.Holds(size); n > 0 {
			capacity[size] = n
		}
	}
	return capacity
}

// CheckComeUp says whether a come-up can have been timed with this canner.
func (k Canner) CheckComeUp(name string, o ComeUp) error {
	k.Record = []ComeUp{o}
	var c fault.Collector
	c.AddErr("", asCallersSay(k.Physical(name).Check()))
	if o.Observation.Load.Pack != reference.HotPack && o.Observation.Load.Pack != reference.RawPack {
		c.Add("pack", string(o.Observation.Load.Pack), "is not how jars are filled", "give hot or raw")
	}
	return c.Err()
}

// Reservation is a claim on some units of equipment by a class.
type Reservation struct {
	ID        string
	Equipment string
	// Class is the id of the class whose it is.
	Class string
	Units int
	// Start and End bound the span; the zero times mean the class's own.
	Start, End time.Time
	// Numbers are the units it holds; read only.
	Numbers   []int
	CreatedAt time.Time
	Version   int64
}

// Unit is one piece of equipment a class can use when nobody else holds it.
type Unit struct {
	Equipment Equipment
	// Number tells the pieces of one equipment apart, from 1.
	Number int
	// Held are the spans in which other classes have it, in order, cut to the class.
	Held []Hold
}

// Hold is a span in which another class has a unit.
type Hold struct {
	Start, End time.Time
	// Class is whose it is.
	Class string
}

// Name tells the unit from its like: the name of the equipment, with the number where there are several.
func (u Unit) Name() string {
	if u.Equipment.Owned == 1 {
		return u.Equipment.DisplayName
	}
	return fmt.Sprintf("%s %d", u.Equipment.DisplayName, u.Number)
}

// FreeThroughout says that no other class has it at any time of the class.
func (u Unit) FreeThroughout() bool { return len(u.Held) == 0 }

// Supplies sums units by kind: what is owned, and of that what other classes have
// for some of the time.
func Supplies(units []Unit) []Supply {
	var all []Supply
	for _, u := range units {
		i := slices.IndexFunc(all, func(s Supply) bool { return s.Kind == u.Equipment.Kind })
		if i < 0 {
			i = len(all)
			all = append(all, Supply{Kind: u.Equipment.Kind})
		}
		all[i].Owned++
		if !u.FreeThroughout() {
			all[i].Reserved++
		}
	}
	slices.SortFunc(all, func(a, b Supply) int { return cmp.Compare(a.Kind, b.Kind) })
	return all
}

// CannerSupplies are the canners among the units that no other class has for the
// whole of a class's time.
func CannerSupplies(units []Unit, start, end time.Time) []CannerSupply {
	var all []CannerSupply
	for _, u := range units {
		if u.Equipment.Canner == nil || len(u.FreeWithin(start, end)) == 0 {
			continue
		}
		all = append(all, CannerSupply{Name: u.Name(), Capacity: u.Equipment.Canner.Capacity(), OnBurner: !u.Equipment.Canner.OwnHeat})
	}
	return all
}

// Span is [Start, End).
type Span struct{ Start, End time.Time }

// FreeWithin are the spans between start and end in which no other class has the unit.
func (u Unit) FreeWithin(start, end time.Time) []Span {
	held := slices.Clone(u.Held)
	slices.SortFunc(held, func(a, b Hold) int { return a.Start.Compare(b.Start) })
	var free []Span
	from := start
	for _, h := range held {
		if h.Start.After(from) && from.Before(end) {
			until := h.Start
			if until.After(end) {
				until = end
			}
			free = append(free, Span{from, until})
		}
		if h.End.After(from) {
			from = h.End
		}
	}
	if from.Before(end) {
		free = append(free, Span{from, end})
	}
	return free
}
