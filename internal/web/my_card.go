package web

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// myCard is a participant's recipe card: what their station makes, in order.
type myCard struct {
	mine
	Makings []making
	// Assumed says that some times are the program's own and no publication's.
	Assumed  bool
	Cautions []*stillroomv1.Caution
}

// making is the batches of a station that are made alike, one after the other.
type making struct {
	Formula *stillroomv1.Formula
	Batches []cardBatch
	Jars    string
	Lines   []cardLine
	Steps   []cardStep
	// Refrigerate says why the jars are not for the shelf; empty when they are.
	Refrigerate string
}

// cardBatch is one batch with the times that the plan has for it.
type cardBatch struct {
	*stillroomv1.Batch
	// Turn is its place among the station's batches, from 1.
	Turn    int
	Planned *stillroomv1.PlannedBatch
	Begin   *timestamppb.Timestamp
	Loads   []cardLoad
}

// cardLoad is jars of a batch in a canner.
type cardLoad struct {
	*stillroomv1.PlannedLoad
	Canner string
	Jars   *stillroomv1.JarsInLoad
}

// cardLine is an ingredient: for one batch as printed, and for all of them.
type cardLine struct {
	*stillroomv1.IngredientLine
	One, All string
}

// cardStep is a step with when it begins in each batch; "" where the plan does not say.
type cardStep struct {
	*stillroomv1.RecipeStep
	Times []string
}

func (v *visit) myCard(ctx context.Context) (myCard, error) {
	m, err := v.mine(ctx)
	if err != nil || m.Enrolment.GetStation() == "" || !m.Enrolled() {
		return myCard{mine: m}, err
	}
	card := myCard{mine: m}
	var batches []*stillroomv1.Batch
	var plan *stillroomv1.LoadPlan
	err = v.together(func(ctx context.Context) (err error) {
		batches, err = v.stationBatches(ctx, m)
		return err
	}, func(ctx context.Context) (err error) {
		plan, err = v.newestPlan(ctx, m.GetName())
		return err
	})
	if err != nil {
		return card, err
	}
	card.Cautions = plan.GetCautions()
	for turn, b := range batches {
		at := slices.IndexFunc(card.Makings, func(x making) bool {
			first := x.Batches[0]
			return first.GetRecipeRevision() == b.GetRecipeRevision() && first.GetJarSize() == b.GetJarSize() && first.GetJars() == b.GetJars()
		})
		if at < 0 {
			r, err := v.recipes().GetRecipeRevision(ctx, &stillroomv1.GetRecipeRevisionRequest{Name: b.GetRecipeRevision()})
			if err != nil {
				return card, err
			}
			at = len(card.Makings)
			card.Makings = append(card.Makings, making{Formula: r.GetFormula(), Jars: jarCount(b.GetJars(), b.GetJarSize()), Refrigerate: b.GetNotForShelfReason()})
		}
		one := cardBatch{Batch: b, Turn: turn + 1}
		one.fill(plan)
		card.Makings[at].Batches = append(card.Makings[at].Batches, one)
	}
	for i := range card.Makings {
		card.Makings[i].write(m.Zone)
		for _, b := range card.Makings[i].Batches {
			card.Assumed = card.Assumed || slices.ContainsFunc(slices.Concat(b.Planned.GetPreparing(), b.Planned.GetCooking()), (*stillroomv1.WorkPart).GetAssumed)
		}
	}
	return card, nil
}

// stationBatches are the batches of the participant's station, in their order.
func (v *visit) stationBatches(ctx context.Context, m mine) ([]*stillroomv1.Batch, error) {
	all, err := every(func(token string) (*stillroomv1.ListBatchesResponse, error) {
		return v.classes().ListBatches(ctx, &stillroomv1.ListBatchesRequest{Parent: m.GetName(), PageSize: most, PageToken: token})
	}, (*stillroomv1.ListBatchesResponse).GetBatches)
	return slices.DeleteFunc(all, func(b *stillroomv1.Batch) bool { return b.GetStation() != m.Enrolment.GetStation() }), err
}

// fill takes a batch's times from the plan.
func (b *cardBatch) fill(plan *stillroomv1.LoadPlan) {
	for _, p := range plan.GetBatches() {
		if p.GetBatch() == b.GetName() {
			b.Planned = p
			b.Begin = timestamppb.New(p.GetCookTime().AsTime().Add(-minutesOf(p.GetPreparing())))
		}
	}
	for _, c := range plan.GetCanners() {
		for _, l := range c.GetLoads() {
			for _, j := range l.GetJars() {
				if j.GetBatch() == b.GetName() {
					b.Loads = append(b.Loads, cardLoad{PlannedLoad: l, Canner: c.GetDisplayName(), Jars: j})
				}
			}
		}
	}
}

func minutesOf(parts []*stillroomv1.WorkPart) (d time.Duration) {
	for _, p := range parts {
		d += time.Duration(p.GetMinutes()) * time.Minute
	}
	return d
}

// write puts the making's lines and steps into words.
func (x *making) write(zone *time.Location) {
	n := len(x.Batches)
	for _, line := range x.Formula.GetIngredientLines() {
		l := cardLine{IngredientLine: line, One: line.GetAmount()}
		if per := line.GetPerJar(); per != stillroomv1.JarSize_JAR_SIZE_UNSPECIFIED {
			l.One += " in each " + jarWord(per)
		} else if n > 1 {
			l.All = timesAmount(n, line)
		}
		x.Lines = append(x.Lines, l)
	}
	times := make([][]string, n)
	for i, b := range x.Batches {
		times[i] = stepTimes(b.Planned, b.Begin, x.Formula.GetSteps(), zone)
	}
	for i, s := range x.Formula.GetSteps() {
		step := cardStep{RecipeStep: s}
		for _, t := range times {
			step.Times = append(step.Times, t[i])
		}
		x.Steps = append(x.Steps, step)
	}
}

// Minutes is how long a step takes as the recipe prints it; empty when it does not.
func (s cardStep) Minutes() string {
	short, long := s.GetMinutesMin(), s.GetMinutesMax()
	unit, per := "min", 1.0
	if long >= 120 && math.Mod(long, 60) == 0 && math.Mod(short, 60) == 0 {
		unit, per = "h", 60
	}
	switch {
	case long == 0:
		return ""
	case short == 0 || short == long:
		return fmt.Sprintf("%g %s", long/per, unit)
	}
	return fmt.Sprintf("%g to %g %s", short/per, long/per, unit)
}

// Headspace is how much room the recipe leaves in a jar; empty when it does not say.
func (x making) Headspace() string {
	if x.Formula.GetHeadspaceInches() == 0 {
		return ""
	}
	return fraction(x.Formula.GetHeadspaceInches()) + " inch"
}

// beforeClass is what is said of a step that is done before the class opens.
const beforeClass = "before the class"

// heatingFor is how a plan calls bringing a pot to the heat for a step.
const heatingFor = "bring to the heat for: "

// stepTimes are when a recipe's steps begin by the plan, which has for each step in
// order a piece of heating, a piece called like the step, both or neither.
func stepTimes(p *stillroomv1.PlannedBatch, begin *timestamppb.Timestamp, steps []*stillroomv1.RecipeStep, zone *time.Location) []string {
	out := make([]string, len(steps))
	if p == nil {
		return out
	}
	before, at := p.GetBeforeClass(), begin.AsTime()
	pieces := slices.Concat(p.GetPreparing(), p.GetCooking())
	for i, s := range steps {
		if len(before) > 0 && before[0].GetWhat() == s.GetAction() {
			out[i], before = beforeClass, before[1:]
			continue
		}
		// Pieces that belong to no step, washing and cutting, come first.
		ahead := slices.IndexFunc(pieces, func(w *stillroomv1.WorkPart) bool { return partOf(w, s) })
		if ahead < 0 {
			continue
		}
		at = at.Add(minutesOf(pieces[:ahead]))
		pieces = pieces[ahead:]
		out[i] = at.In(zone).Format("15:04")
		for own := false; !own && len(pieces) > 0 && partOf(pieces[0], s); pieces = pieces[1:] {
			own = !strings.HasPrefix(pieces[0].GetWhat(), heatingFor)
			at = at.Add(minutesOf(pieces[:1]))
		}
	}
	return out
}

func partOf(w *stillroomv1.WorkPart, s *stillroomv1.RecipeStep) bool {
	what := strings.TrimPrefix(w.GetWhat(), heatingFor)
	return what == s.GetAction() || s.GetAction() == "fill" && strings.HasPrefix(what, "fill ")
}

// timesAmount is what several batches need of a line together: batches are made one by
// one, and this is for weighing out.
func timesAmount(n int, line *stillroomv1.IngredientLine) string {
	low, high := line.GetAmountMin()*float64(n), line.GetAmountMax()*float64(n)
	unit := unitWords[line.GetUnit()]
	if low == 0 || unit == "" {
		return fmt.Sprintf("%d × %s", n, line.GetAmount())
	}
	if max(low, high) <= 1 {
		unit = strings.TrimSuffix(unit, "s")
	}
	amount := fraction(low)
	if high > low {
		amount += " to " + fraction(high)
	}
	return fmt.Sprintf("%d × %s = %s %s", n, line.GetAmount(), amount, unit)
}

// unitWords are the units whose amounts are multiplied out; of others the card says how many times.
var unitWords = map[string]string{
	"us_cup": "cups", "us_tablespoon": "tablespoons", "us_teaspoon": "teaspoons", "us_quart": "quarts", "us_pint": "pints", "pound": "pounds",
	"ounce": "ounces", "clove": "cloves", "head": "heads", "kilogram": "kg", "gram": "g", "litre": "l", "millilitre": "ml",
}

// kitchenFractions are the parts that measuring cups and spoons show.
var kitchenFractions = []struct {
	of   float64
	text string
}{{1. / 8, "1/8"}, {1. / 4, "1/4"}, {1. / 3, "1/3"}, {3. / 8, "3/8"}, {1. / 2, "1/2"}, {5. / 8, "5/8"}, {2. / 3, "2/3"}, {3. / 4, "3/4"}, {7. / 8, "7/8"}}

// fraction is a number as recipes print it: 1.5 is "1-1/2".
func fraction(f float64) string {
	whole, rest := math.Modf(f)
	for _, k := range kitchenFractions {
		if math.Abs(rest-k.of) < 1e-6 {
			if whole == 0 {
				return k.text
			}
			return fmt.Sprintf("%.0f-%s", whole, k.text)
		}
	}
	return strconv.FormatFloat(f, 'g', 6, 64)
}

func showMyCard(v *visit) error {
	c, err := v.myCard(v.ctx)
	if err != nil {
		return err
	}
	return v.render("my-card", v.myPage(c.mine, "card", "Your recipe card", c))
}

// watchMyCard keeps the card's times fresh.
func watchMyCard(v *visit) error {
	return v.follow("class "+v.caller.GetClass(), myEvery, func(ctx context.Context) ([]byte, error) {
		if err := v.stillIn(ctx); err != nil {
			return nil, err
		}
		c, err := v.with(ctx).myCard(ctx)
		if err != nil {
			return nil, err
		}
		return v.fragment("my-card", "my-card", c)
	})
}
