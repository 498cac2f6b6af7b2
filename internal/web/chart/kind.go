package chart

// Kind is what happens in a span.
type Kind int

// The kinds, in the order in which jars meet them.
const (
	// Prepare: washing, peeling and cutting at a station.
	Prepare Kind = iota
	// Cook: cooking and filling, up to the last lid.
	Cook
	// Wait: filled hot jars stand until they go into a canner.
	Wait
	// InCanner: a station's jars are in a canner; the canner's own row says more.
	InCanner
	// Handling: jars go into or come out of a canner.
	Handling
	// ComeUp: the canner comes to the boil, or to a steady flow of steam.
	ComeUp
	// Vent: a canner vents and comes to pressure.
	Vent
	// Process: the published minutes, from the start of the clock.
	Process
	// Depressurise: a pressure canner falls to zero by itself.
	Depressurise
	// Rest: jars rest in the canner, heat off and lid off.
	Rest
	// Reset: a canner is made ready for its next load.
	Reset
	// Cooling: jars cool on the bench, undisturbed.
	Cooling
	// Held: another class has the canner.
	Held

	kinds int = iota
)

// face is how a kind looks and what it is called.
type face struct {
	class   string // of its elements
	words   string // in the key
	texture Texture
	thin    bool // drawn as a band of less than the full height
}

var faces = [kinds]face{
	Prepare:      {"prepare", "prepare", Texture{}, true},
	Cook:         {"cook", "cook and fill", Texture{}, false},
	Wait:         {"wait", "jars wait hot", Texture{Strokes: []Stroke{{Angle: 90, Gap: 1.5, Width: 0.5}}}, true},
	InCanner:     {"in-canner", "in a canner", Texture{Solid: true}, true},
	Handling:     {"handling", "in or out", Texture{Strokes: []Stroke{{Angle: 90, Gap: 1, Width: 0.35}}}, false},
	ComeUp:       {"come-up", "coming to the boil", Texture{Strokes: []Stroke{{Angle: 45, Gap: 1.4, Width: 0.28}}}, false},
	Vent:         {"vent", "venting, coming to pressure", Texture{Dots: 1.3}, false},
	Process:      {"process", "processing", Texture{Solid: true}, false},
	Depressurise: {"depressurise", "falling to no pressure", Texture{Strokes: []Stroke{{Angle: -45, Gap: 1.4, Width: 0.28}}}, false},
	Rest:         {"rest", "resting in the canner", Texture{Strokes: []Stroke{{Angle: 0, Gap: 1.2, Width: 0.3}}}, false},
	Reset:        {"reset", "canner made ready again", Texture{Strokes: []Stroke{{Angle: -45, Gap: 2.2, Width: 0.2}}}, true},
	Cooling:      {"cooling", "cooling, leave alone", Texture{Dots: 2.6}, false},
	Held:         {"held", "another class has it", Texture{Strokes: []Stroke{{Angle: 45, Gap: 2, Width: 0.2}, {Angle: -45, Gap: 2, Width: 0.2}}}, false},
}

// Class is the kind's name in classes: "come-up".
func (k Kind) Class() string { return faces[k].class }

// String says what happens, for the key of a chart and for readers who cannot see it.
func (k Kind) String() string { return faces[k].words }

// Texture is how the kind is filled.
func (k Kind) Texture() Texture { return faces[k].texture }

// Thin kinds are drawn as a band of less than the full height.
func (k Kind) Thin() bool { return faces[k].thin }

// KindOfPart is the kind of a part of a load as the contract names it ("load", "come-up", "vent", "process",
// "depressurise", "rest"); false for another word.
func KindOfPart(part string) (Kind, bool) {
	k, ok := map[string]Kind{
		"load": Handling, "come-up": ComeUp, "vent": Vent, "process": Process, "depressurise": Depressurise, "rest": Rest,
	}[part]
	return k, ok
}

// Texture fills a box without colour, in millimetres on paper. An empty one leaves the box white.
type Texture struct {
	// Solid fills it all; labels on it are white.
	Solid bool
	// Strokes are sets of parallel lines.
	Strokes []Stroke
	// Dots is the distance between dots; 0 draws none.
	Dots float64
}

// Stroke is a set of parallel lines.
type Stroke struct {
	// Angle of the lines in degrees: 0 lies flat, 90 stands upright, 45 rises to the right.
	Angle float64
	// Gap from line to line, and Width of each.
	Gap, Width float64
}

// DotSize is the diameter of the dots of a texture.
const DotSize = 0.45
