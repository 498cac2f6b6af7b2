package classload

import (
	"encoding/json"
	"time"

	"stillroom/internal/canning"
	"stillroom/internal/measure"
)

// Plan is what a class does with its jars, told in the class's own words. It is
// stored whole and never edited. Minutes are whole minutes from the opening.
type Plan struct {
	// Number counts a class's plans from 1; it and CreatedAt are set by the store.
	Number    int       `json:"-"`
	CreatedAt time.Time `json:"-"`

	Class string    `json:"class"`
	Opens time.Time `json:"opens"`
	Close int       `json:"close"`
	// AltitudeMetres is the site's, as the processes were looked up for.
	AltitudeMetres float64 `json:"altitude_metres"`
	Handlers       int     `json:"handlers"`
	Handling       int     `json:"handling"`
	Burners        int     `json:"burners"`
	HotHold        int     `json:"hot_hold"`

	Batches []BatchPlan  `json:"batches"`
	Canners []CannerPlan `json:"canners"`
	// BurnerUse and HandlerUse are one row for each burner and each handler.
	BurnerUse  []Row      `json:"burner_use"`
	HandlerUse []Row      `json:"handler_use"`
	Unplaced   []Unplaced `json:"unplaced"`

	Outcome Outcome `json:"outcome"`
	// Chain is what makes the finish what it is, from the last load back.
	Chain []Link `json:"chain"`
	// Gains are what a little more of something would do.
	Gains []Gain `json:"gains"`

	Assume Assumptions `json:"assume"`
	// Choices are the methods and pressures that were asked for, by batch, and Around the
	// plans of other classes it was made around.
	Choices  map[string]Choice `json:"choices,omitempty"`
	Around   []PlanRef         `json:"around,omitempty"`
	Notes    []string          `json:"notes"`
	Cautions []Caution         `json:"cautions"`

	// Instance and Answer are what was solved and what came out, in the form of the
	// load-planning files.
	Instance json.RawMessage `json:"instance"`
	Answer   json.RawMessage `json:"answer"`
}

// PlanRef names a plan of a class.
type PlanRef struct {
	Class  string `json:"class"`
	Number int    `json:"number"`
}

// Outcome is how good a plan is and what is proven about it.
type Outcome struct {
	// Jars in loads, and Unprocessed jars that could be in one but are not.
	Jars        int `json:"jars"`
	Unprocessed int `json:"unprocessed"`
	// Finish is the minute at which the last load is out; 0 without loads.
	Finish int `json:"finish"`
	Loads  int `json:"loads"`
	// Hold is jar-minutes of hot waiting.
	Hold int `json:"hold"`
	// Moved is how far the plan is from the one before, in jar-minutes; 0 where there is none.
	Moved int `json:"moved"`
	// No plan leaves fewer jars than BoundUnprocessed, nor with as few ends before BoundFinish.
	BoundUnprocessed int  `json:"bound_unprocessed"`
	BoundFinish      int  `json:"bound_finish"`
	Optimal          bool `json:"optimal"`
	// Work is what was spent, Seed the luck it was spent with.
	Work    int64         `json:"work"`
	Seed    uint64        `json:"seed"`
	Elapsed time.Duration `json:"elapsed"`
	// FuelMinutes sums the minutes of heat of all burners; WaterLitres what the canners are filled with, once each.
	FuelMinutes int     `json:"fuel_minutes"`
	WaterLitres float64 `json:"water_litres"`
}

// BatchPlan is when a station makes a batch.
type BatchPlan struct {
	Batch    string          `json:"batch"`
	Station  string          `json:"station"`
	Order    int             `json:"order"`
	Title    string          `json:"title"`
	Recipe   string          `json:"recipe"`
	Revision int             `json:"revision"`
	JarSize  canning.JarSize `json:"jar_size"`
	Jars     int             `json:"jars"`
	// Cook is when to start cooking, Lidded when the last jar must be lidded.
	Cook   int `json:"cook"`
	Lidded int `json:"lidded"`
	// Done says that it has happened already.
	Done bool `json:"done,omitempty"`
	Work Work `json:"work"`
}

// CannerPlan is what a canner does.
type CannerPlan struct {
	// ID tells it apart within plans, "big-canner#2"; Equipment is the id it is kept under.
	ID        string `json:"id"`
	Equipment string `json:"equipment"`
	Name      string `json:"name"`
	// Held are the minutes in which other classes have it.
	Held  []Held     `json:"held,omitempty"`
	Reset int        `json:"reset"`
	Loads []LoadPlan `json:"loads"`
}

// Held is a span in which another class has a canner.
type Held struct {
	From  int    `json:"from"`
	Until int    `json:"until"`
	Class string `json:"class"`
}

// LoadPlan is one load from the first jar in to the last jar out.
type LoadPlan struct {
	In int `json:"in"`
	// Boil is when the boil (in steam and under pressure a steady flow of steam) is
	// expected, Clock when timing starts, Off when the heat goes off, Out when the last jar is out.
	Boil  int `json:"boil"`
	Clock int `json:"clock"`
	Off   int `json:"off"`
	Out   int `json:"out"`
	// Unload is when unloading begins.
	Unload int             `json:"unload"`
	Jars   []JarsInLoad    `json:"jars"`
	Size   canning.JarSize `json:"size"`
	// Process is what the load rests on.
	Process ProcessBasis `json:"process"`
	ComeUp  ComeUpBasis  `json:"come_up"`
	Phases  []PhaseSpan  `json:"phases"`
	// Done says that it has happened already.
	Done bool `json:"done,omitempty"`
}

// Count is how many jars are in the load.
func (l LoadPlan) Count() (n int) {
	for _, j := range l.Jars {
		n += j.Jars
	}
	return n
}

// JarsInLoad is the jars of one batch in a load.
type JarsInLoad struct {
	Batch   string `json:"batch"`
	Station string `json:"station"`
	Title   string `json:"title"`
	Jars    int    `json:"jars"`
	// Wait is how long they have stood hot, in minutes.
	Wait int `json:"wait"`
	// Product and Source are the row of the process table for this food.
	Product string `json:"product"`
	Source  Source `json:"source"`
	// Notes say how the row was read, such as which rule lets a smaller jar in.
	Notes []Caution `json:"notes,omitempty"`
}

// ProcessBasis is the published process of a load.
type ProcessBasis struct {
	Method  canning.Method  `json:"method"`
	Minutes measure.Minutes `json:"minutes"`
	// Pressure in pounds; 0 without.
	Pressure int    `json:"pressure"`
	Pack     string `json:"pack"`
	// Band is the altitude band of the row.
	Band string `json:"band"`
}

// PhaseSpan is a part of a load.
type PhaseSpan struct {
	Name   string `json:"name"`
	Part   string `json:"part"`
	From   int    `json:"from"`
	Until  int    `json:"until"`
	Source Source `json:"source"`
}

// Source is where a figure comes from; an empty publication is the program's own reckoning.
type Source struct {
	Publication string `json:"publication,omitempty"`
	Locator     string `json:"locator,omitempty"`
}

// Caution is a sentence that travels with the plan.
type Caution struct {
	Text   string `json:"text"`
	Source Source `json:"source"`
}

// Row is what one burner or one handler does, in order.
type Row struct {
	Uses []Use `json:"uses"`
}

// Use is a span of use.
type Use struct {
	From  int    `json:"from"`
	Until int    `json:"until"`
	What  string `json:"what"`
	// Other says that it belongs to the plan of another class.
	Other bool `json:"other,omitempty"`
}

// Unplaced is jars that go into no load: refrigerate or freeze, and eat first.
type Unplaced struct {
	Batch   string          `json:"batch"`
	Station string          `json:"station"`
	Title   string          `json:"title"`
	Jars    int             `json:"jars"`
	JarSize canning.JarSize `json:"jar_size"`
	Reason  string          `json:"reason"`
	// NoRoom says that there is a published process and only time, canners or hands
	// were short.
	NoRoom bool  `json:"no_room"`
	Work   *Work `json:"-"`
}

// Link is one step of the chain that makes the finish what it is.
type Link struct {
	From  int    `json:"from"`
	Until int    `json:"until"`
	What  string `json:"what"`
	// Because says why it could not begin sooner.
	Because string `json:"because"`
}

// Gain is what a change would do, found by planning again with it.
type Gain struct {
	Change string `json:"change"`
	// Unprocessed and Finish are those of the plan with the change.
	Unprocessed int `json:"unprocessed"`
	Finish      int `json:"finish"`
	// Proven says that no better plan exists with the change.
	Proven bool `json:"proven"`
	// Words says it: "all 68 jars, 12 minutes sooner".
	Words string `json:"words"`
}
