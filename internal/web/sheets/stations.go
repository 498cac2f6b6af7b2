package sheets

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/words"
)

// stationCards is a card for each station, on a page of its own.
func stationCards(m *material, o Options) (page.Document, error) {
	doc := page.Document{About: m.about()}
	doc.Basis, doc.Made = m.planBasis()
	for i, s := range m.stations {
		doc.Blocks = append(doc.Blocks, page.Heading{Text: s.GetDisplayName(), Aside: fmt.Sprintf("station %d of %d", i+1, len(m.stations)), NewPage: true})
		doc.Blocks = append(doc.Blocks, m.warning()...)
		var people []string
		for _, e := range m.roster {
			if e.GetStation() == s.GetName() && e.GetState() == stillroomv1.EnrolmentState_ENROLMENT_STATE_ENROLLED {
				people = append(people, e.GetParticipantDisplayName())
			}
		}
		if len(people) > 0 {
			doc.Blocks = append(doc.Blocks, page.Paragraph{Text: "Here: " + strings.Join(people, " · ")})
		}
		var marks marks
		makings := m.makings(s.GetName())
		for _, making := range makings {
			doc.Blocks = append(doc.Blocks, m.makingBlocks(making, o, &marks)...)
		}
		if len(makings) == 0 {
			doc.Blocks = append(doc.Blocks, page.Paragraph{Text: "No batches at this station."})
			continue
		}
		if len(marks) > 0 {
			doc.Blocks = append(doc.Blocks, marks.list())
		}
		doc.Blocks = append(doc.Blocks, m.assumptions(makings)...)
		doc.Blocks = append(doc.Blocks, cautions(m.plan.GetCautions())...)
	}
	if len(m.stations) == 0 {
		doc.Blocks = []page.Block{page.Paragraph{Text: "The class has no stations yet."}}
	}
	return doc, nil
}

// making is the batches of a station that are made alike, with their turns.
type making struct {
	batches  []*stillroomv1.Batch
	turns    []int
	revision *stillroomv1.RecipeRevision
}

// makings groups a station's batches by what is made and in which jars, in their order.
func (m *material) makings(station string) []making {
	var all []making
	turn := 0
	for _, b := range m.batches {
		if b.GetStation() != station {
			continue
		}
		turn++
		at := slices.IndexFunc(all, func(x making) bool {
			return x.batches[0].GetRecipeRevision() == b.GetRecipeRevision() && x.batches[0].GetJarSize() == b.GetJarSize() && x.batches[0].GetJars() == b.GetJars()
		})
		if at < 0 {
			at, all = len(all), append(all, making{revision: m.revisions[b.GetRecipeRevision()]})
		}
		all[at].batches, all[at].turns = append(all[at].batches, b), append(all[at].turns, turn)
	}
	return all
}

// name is "Batch 2" or "Batches 1 and 2".
func (x making) name() string {
	var all []string
	for _, t := range x.turns {
		all = append(all, fmt.Sprint(t))
	}
	if len(all) == 1 {
		return "Batch " + all[0]
	}
	return "Batches " + strings.Join(all[:len(all)-1], ", ") + " and " + all[len(all)-1]
}

func (m *material) makingBlocks(x making, o Options, marks *marks) []page.Block {
	b, f := x.batches[0], x.revision.GetFormula()
	jars := words.Jars(b.GetJars(), b.GetJarSize())
	if n := len(x.batches); n > 1 {
		jars = fmt.Sprintf("%d × %s", n, jars)
	}
	blocks := []page.Block{page.Heading{Text: x.name() + ": " + f.GetTitle(), Aside: jars}}
	for _, one := range x.batches {
		for _, why := range m.refused(one) {
			blocks = append(blocks, page.Paragraph{Style: page.Loud, Text: why})
		}
	}
	facts, source := facts(f)
	blocks = append(blocks, facts, source, ingredients(x, o), m.steps(x))
	if canners, ok := m.cannerTable(x, marks); ok {
		blocks = append(blocks, canners)
	}
	return blocks
}

func facts(f *stillroomv1.Formula) (page.Facts, page.Paragraph) {
	all := page.Facts{{Name: "One batch fills", Value: f.GetYield().GetText()}}
	if p := f.GetPack(); p != stillroomv1.Pack_PACK_UNSPECIFIED {
		all = append(all, page.Fact{Name: "Pack", Value: strings.ToLower(strings.TrimPrefix(p.String(), "PACK_"))})
	}
	if f.GetHeadspaceInches() > 0 {
		all = append(all, page.Fact{Name: "Headspace", Value: words.Inches(f.GetHeadspaceInches())})
	}
	if f.GetSterileJars() {
		all = append(all, page.Fact{Name: "Jars", Value: "sterile and hot"})
	}
	source := words.Source(f.GetSource())
	switch {
	case source == "" && f.GetBasedOn() != "":
		source = "changed from a printed one; see its review"
	case source == "":
		source = "none published"
	case f.GetAttestedBy() != "":
		source += ", as printed by the word of " + f.GetAttestedBy()
	}
	return all, page.Paragraph{Style: page.Small, Text: "Recipe: " + source, Keep: true}
}

// ingredients are for one whole batch. Several batches are made one by one and never as a larger one, so what they
// need together is a number of times, for weighing out.
func ingredients(x making, o Options) page.Table {
	n, b := len(x.batches), x.batches[0]
	t := page.Table{Caption: "Ingredients", Whole: true, Columns: []page.Column{{Head: "For one batch", Share: 24}, {Head: "Ingredient", Share: 50}, {Head: "Weighs", Share: 13, Right: true}}, Groups: []page.Group{{}}}
	if n > 1 {
		t.Columns = append(t.Columns, page.Column{Head: fmt.Sprintf("For %d batches", n), Share: 24})
	}
	for _, line := range x.revision.GetFormula().GetIngredientLines() {
		amount, grams := line.GetAmount(), line.GetGrams()
		if line.GetPerJar() != stillroomv1.JarSize_JAR_SIZE_UNSPECIFIED {
			amount = fmt.Sprintf("%s in each %s", amount, words.Jars(1, line.GetPerJar())[2:])
			if line.GetPerJar() != b.GetJarSize() {
				amount += " (printed for that size)"
			}
		}
		what := page.Cell{Text: line.GetIngredient()}
		if line.GetPreparation() != "" {
			what.Text += ", " + line.GetPreparation()
		}
		if line.GetOptional() {
			what.Text += " (may be left out)"
		}
		if line.GetNote() != "" {
			what.Under = []string{line.GetNote()}
		}
		cells := []page.Cell{{Tick: true, Strong: true, Text: amount}, what, {Text: o.weight(grams)}}
		if n > 1 {
			cells = append(cells, page.Cell{Text: strings.TrimSpace(fmt.Sprintf("%d × %s", n, line.GetAmount()))})
		}
		t.Groups[0].Rows = append(t.Groups[0].Rows, page.Row{Cells: cells})
	}
	return t
}

// Grams in an ounce and ounces in a pound, avoirdupois (NIST Handbook 44, appendix C).
const (
	gramsPerOunce  = 28.349523125
	ouncesPerPound = 16
)

// weight is a weight as scales show it; empty when it is not known.
func (o Options) weight(grams float64) string {
	switch {
	case grams <= 0:
		return ""
	case o.US:
		ounces := math.Round(grams/gramsPerOunce*4) / 4
		pounds := math.Floor(ounces / ouncesPerPound)
		switch rest := ounces - pounds*ouncesPerPound; {
		case pounds == 0:
			return fmt.Sprintf("%g oz", max(rest, 0.25))
		case rest == 0:
			return fmt.Sprintf("%g lb", pounds)
		default:
			return fmt.Sprintf("%g lb %g oz", pounds, rest)
		}
	case grams < 10:
		return fmt.Sprintf("%.1f g", grams)
	case grams < 10000:
		return fmt.Sprintf("%.0f g", grams)
	default:
		return fmt.Sprintf("%.1f kg", grams/1000)
	}
}

// steps are the recipe's, each with the time of day at which it begins for each batch.
func (m *material) steps(x making) page.Table {
	t := page.Table{Caption: "Steps", Whole: true, Groups: []page.Group{{}}}
	var timings []timing
	for i, b := range x.batches {
		head := "Begin at"
		if len(x.batches) > 1 {
			head = fmt.Sprintf("Batch %d", x.turns[i])
		}
		t.Columns = append(t.Columns, page.Column{Head: head, Share: 13})
		timings = append(timings, timeSteps(m.planned(b.GetName()), x.revision.GetFormula().GetSteps()))
	}
	t.Columns = append(t.Columns, page.Column{Head: "Step", Share: 100 - 13*float64(len(x.batches))/1.5})
	add := func(what page.Cell, at func(timing) string) {
		var cells []page.Cell
		for _, one := range timings {
			cells = append(cells, page.Cell{Text: at(one), Strong: true})
		}
		t.Groups[0].Rows = append(t.Groups[0].Rows, page.Row{Cells: append(cells, what)})
	}
	clock := func(at time.Time) string {
		if at.IsZero() {
			return "–"
		}
		return at.In(m.zone).Format("15:04")
	}
	if timings[0].prepare > 0 {
		add(page.Cell{Text: fmt.Sprintf("Wash, peel, cut; %d min are planned. At the latest then.", timings[0].prepare)}, func(one timing) string { return clock(one.begin) })
	}
	for i, step := range x.revision.GetFormula().GetSteps() {
		what := page.Cell{Text: step.GetText()}
		if minutes := stepMinutes(step); minutes != "" {
			what.Under = []string{minutes}
		}
		add(what, func(one timing) string {
			if one.before[i] {
				return "before the class"
			}
			return clock(one.steps[i])
		})
	}
	if timings[0].lidded != (time.Time{}) {
		add(page.Cell{Text: "The last jar is lidded by then.", Strong: true}, func(one timing) string { return clock(one.lidded) })
	}
	return t
}

// stepMinutes is how long a step takes as the source prints it.
func stepMinutes(s *stillroomv1.RecipeStep) string {
	short, long := s.GetMinutesMin(), s.GetMinutesMax()
	switch {
	case long == 0:
		return ""
	case long >= 120 && long == math.Trunc(long/60)*60 && short == math.Trunc(short/60)*60:
		if short == long || short == 0 {
			return fmt.Sprintf("%g h", long/60)
		}
		return fmt.Sprintf("%g to %g h", short/60, long/60)
	case short == long || short == 0:
		return fmt.Sprintf("%g min", long)
	default:
		return fmt.Sprintf("%g to %g min", short, long)
	}
}

// timing is when a batch's steps begin; the zero time where the plan does not say.
type timing struct {
	begin   time.Time // of washing and cutting, at the latest
	prepare int32     // minutes of it
	steps   []time.Time
	before  []bool // done before the class
	lidded  time.Time
}

// timeSteps lays the plan's pieces of work beside the recipe's steps. The plan has, for each step in order, a piece of
// heating, a piece of the step's own name, both or none; a step without a piece takes no time of its own.
func timeSteps(b *stillroomv1.PlannedBatch, steps []*stillroomv1.RecipeStep) timing {
	t := timing{steps: make([]time.Time, len(steps)), before: make([]bool, len(steps))}
	if b == nil {
		return t
	}
	type piece struct {
		what string
		at   time.Time
	}
	var pieces []piece
	t.lidded = b.GetLiddedTime().AsTime()
	at := b.GetCookTime().AsTime()
	for _, w := range b.GetPreparing() {
		at = at.Add(-time.Duration(w.GetMinutes()) * time.Minute)
	}
	t.begin = at
	for i, w := range append(slices.Clone(b.GetPreparing()), b.GetCooking()...) {
		if i == 0 && len(b.GetPreparing()) > 0 && w.GetWhat() == "wash, peel, cut" {
			t.prepare = w.GetMinutes()
		} else {
			pieces = append(pieces, piece{w.GetWhat(), at})
		}
		at = at.Add(time.Duration(w.GetMinutes()) * time.Minute)
	}
	before := slices.Clone(b.GetBeforeClass())
	for i, s := range steps {
		if len(before) > 0 && before[0].GetWhat() == s.GetAction() && s.GetMinutesMax() > 0 && math.Ceil(s.GetMinutesMax()) == float64(before[0].GetMinutes()) {
			t.before[i], before = true, before[1:]
			continue
		}
		for len(pieces) > 0 && belongs(pieces[0].what, s.GetAction()) {
			if t.steps[i].IsZero() {
				t.steps[i] = pieces[0].at
			}
			own := !strings.HasPrefix(pieces[0].what, heating)
			pieces = pieces[1:]
			if own {
				break
			}
		}
	}
	return t
}

// heating is how the plan calls bringing a pot to the heat for a step.
const heating = "bring to the heat for: "

// belongs says whether a piece of work is part of a step with an action.
func belongs(what, action string) bool {
	return what == action || what == heating+action || action == "fill" && strings.HasPrefix(what, "fill ")
}

// cannerTable is when the jars of the batches go into which canner, and for how long; false when none does.
func (m *material) cannerTable(x making, marks *marks) (page.Table, bool) {
	t := page.Table{Caption: "In the canner", Whole: true, Columns: []page.Column{
		{Head: "Into", Share: 22}, {Head: "Jars", Share: 23}, {Head: "In at", Share: 9}, {Head: "Boil about", Share: 9}, {Head: "Heat off", Share: 9}, {Head: "Out at", Share: 9}, {Head: "Process, from when the clock starts", Share: 62},
	}, Groups: []page.Group{{}}}
	for i, b := range x.batches {
		for _, p := range m.parts(b.GetName()) {
			jars := words.Jars(p.jars.GetJars(), p.load.GetJarSize())
			if len(x.batches) > 1 {
				jars += fmt.Sprintf(" of batch %d", x.turns[i])
			}
			process := page.Cell{Text: words.Process(p.load.GetProcess()) + " " + strings.Join(marks.processMarks(p.jars), " ")}
			if !p.load.GetClockTime().AsTime().Equal(p.load.GetBoilTime().AsTime()) {
				process.Under = []string{"the clock starts at pressure, about " + m.clock(p.load.GetClockTime())}
			}
			t.Groups[0].Rows = append(t.Groups[0].Rows, page.Row{Cells: []page.Cell{
				{Text: p.canner.GetDisplayName(), Strong: true}, {Text: jars}, {Text: m.clock(p.load.GetInTime()), Strong: true}, {Text: m.clock(p.load.GetBoilTime())},
				{Text: m.clock(p.load.GetOffTime())}, {Text: m.clock(p.load.GetOutTime()), Strong: true}, process,
			}})
		}
	}
	return t, len(t.Groups[0].Rows) > 0
}

// assumptions says which of the times no publication prints.
func (m *material) assumptions(makings []making) []page.Block {
	for _, x := range makings {
		for _, b := range x.batches {
			p := m.planned(b.GetName())
			for _, w := range append(slices.Clone(p.GetPreparing()), p.GetCooking()...) {
				if w.GetAssumed() {
					return []page.Block{page.Paragraph{Style: page.Small, Text: "Where a recipe prints no time for preparing, heating or filling, the plan assumes one. A clock in the canner starts when the boil, or the pressure, is seen, never by the plan."}}
				}
			}
		}
	}
	return nil
}
