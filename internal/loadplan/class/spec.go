package class

import (
	"maps"
	"slices"
)

// Form is the value of the "form" field of a class instance.
const Form = "class"

// Spec is an instance as it is written down: plain data, changed and copied freely. All times are whole minutes
// from the opening of the class. [Build] turns it into an [Instance] or says what is wrong.
type Spec struct {
	Form string `json:"form"` // "class", or empty
	Name string `json:"name"`
	// Close is the minute by which every jar must be out of a canner.
	Close int `json:"close"`
	// Handlers is how many people may load or unload hot canners at once; each loading and each unloading keeps
	// one of them busy for Handling minutes.
	Handlers int `json:"handlers"`
	Handling int `json:"handling"`
	// Rest is how long a load stands after its process time before it is unloaded.
	Rest int `json:"rest"`
	// Burners is how many there are in the room, for canners and for cooking together.
	Burners   int       `json:"burners"`
	Processes []Process `json:"processes"`
	Canners   []Canner  `json:"canners"`
	Batches   []Batch   `json:"batches"`

	// Done is what has already happened, when a class under way is planned again.
	Done *Done `json:"done,omitempty"`
	// Keep is an earlier plan to stay close to.
	Keep *Keep `json:"keep,omitempty"`
}

// Process is one published process. Jars of different processes never share a load.
type Process struct {
	ID     string `json:"id"`
	Method string `json:"method"`
	// Minutes of processing, already adjusted for altitude.
	Minutes int `json:"minutes"`
	// Vent and Depressurise are further minutes before and after the process time, for methods that have such
	// phases. They lengthen the load and are zero for boiling water.
	Vent         int `json:"vent,omitempty"`
	Depressurise int `json:"depressurise,omitempty"`
}

// Canner is one vessel.
type Canner struct {
	ID      string   `json:"id"`
	Methods []string `json:"methods"`
	// Capacity in jars, by jar size. A size not named does not fit.
	Capacity map[string]int `json:"capacity"`
	// Windows in which the canner may be used: a load lies inside one of them. Nil means always; an empty list
	// that is not nil means never.
	Windows []Window `json:"windows,omitzero"`
	// ComeUpBase and ComeUpPerJar give the minutes from lid-on to the boil for n jars:
	// the ceiling of base + perJar*n.
	ComeUpBase   Decimal `json:"come_up_base"`
	ComeUpPerJar Decimal `json:"come_up_per_jar"`
	// Reset is how long after a load's end the canner can take the next.
	Reset int `json:"reset"`
	// Vent and Depressurise are added to every load of this canner, beside those of the process.
	Vent         int `json:"vent,omitempty"`
	Depressurise int `json:"depressurise,omitempty"`
}

// Window is the span [Start, End). In JSON it is a pair; an object with start and end is read too.
type Window struct{ Start, End int }

// Batch is one making of a recipe at a station.
type Batch struct {
	ID      string `json:"id"`
	Station string `json:"station"`
	// Order among the batches of the station, which does them from the lowest to the highest.
	Order   int    `json:"order"`
	Process string `json:"process"`
	Size    string `json:"size"`
	Jars    int    `json:"jars"`
	// Stage is the minutes of cooking and filling; it ends when the last jar is lidded.
	Stage int `json:"stage"`
	// ReadyEarliest is the earliest minute at which the stage can end.
	ReadyEarliest int `json:"ready_earliest"`
	// HoldMax is the longest that filled jars may wait before they go into a canner.
	HoldMax int `json:"hold_max"`
	// Split says whether the jars may go into several loads.
	Split bool `json:"split"`
}

// Done is what has already happened. Nothing in it is judged or moved: it takes its canners, burners and hands as
// stated, and everything else begins at or after Now.
type Done struct {
	// Now is the minute from which there is still something to decide.
	Now int `json:"now"`
	// Loads that are out or in a canner. Their End is believed even where it differs from the sum of their phases,
	// and their canner need not be usable any more.
	Loads []LoadSpec `json:"loads,omitempty"`
	// Filled gives the minute at which stages ended, or will end for those that have begun. A batch in Loads must
	// be named here.
	Filled map[string]int `json:"filled,omitempty"`
}

// Keep is an earlier plan. Where it is given, a plan that ends no later than it is as good as one that ends sooner,
// and among those the one that moves least is preferred before fewer loads and less waiting.
type Keep struct {
	Filled map[string]int `json:"filled"`
	Loads  []LoadSpec     `json:"loads"`
}

// LoadSpec is one load as it is written down.
type LoadSpec struct {
	Canner  string         `json:"canner"`
	Start   int            `json:"start"`
	End     int            `json:"end"`
	Process string         `json:"process"`
	Size    string         `json:"size"`
	Jars    map[string]int `json:"jars"`
}

// Clone copies a spec deeply, so that a copy can be changed for a question of the "what if" kind.
func (s Spec) Clone() Spec {
	s.Processes = slices.Clone(s.Processes)
	s.Batches = slices.Clone(s.Batches)
	s.Canners = slices.Clone(s.Canners)
	for i := range s.Canners {
		c := &s.Canners[i]
		c.Methods, c.Windows, c.Capacity = slices.Clone(c.Methods), slices.Clone(c.Windows), maps.Clone(c.Capacity)
	}
	if s.Done != nil {
		d := *s.Done
		d.Loads, d.Filled = cloneLoads(d.Loads), maps.Clone(d.Filled)
		s.Done = &d
	}
	if s.Keep != nil {
		k := *s.Keep
		k.Loads, k.Filled = cloneLoads(k.Loads), maps.Clone(k.Filled)
		s.Keep = &k
	}
	return s
}

// With is a changed copy: the spec itself stays as it is.
func (s Spec) With(change func(*Spec)) Spec {
	c := s.Clone()
	change(&c)
	return c
}

func cloneLoads(in []LoadSpec) []LoadSpec {
	out := slices.Clone(in)
	for i := range out {
		out[i].Jars = maps.Clone(out[i].Jars)
	}
	return out
}
