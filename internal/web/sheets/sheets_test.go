package sheets_test

import (
	"bytes"
	"fmt"
	"html"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/sheets"
	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/sheets/sheettest"
	"stillroom/internal/web/webtest"
)

func TestMain(m *testing.M) { webtest.Main(m) }

// evening is a kitchen whose class has a list and a plan, as on the evening before.
type evening struct {
	*webtest.Kitchen
	t    *testing.T
	list *stillroomv1.ShoppingList
	plan *stillroomv1.LoadPlan
}

func newEvening(t *testing.T, more ...func(*webtest.Kitchen)) *evening {
	t.Helper()
	e := &evening{Kitchen: webtest.Open(t), t: t}
	e.SetUp()
	for _, do := range more {
		do(e.Kitchen)
	}
	var err error
	e.list, err = stillroomv1.NewShoppingServiceClient(e.Conn).CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: webtest.Class})
	require.NoError(t, err)
	e.planLoads()
	return e
}

func (e *evening) planLoads() {
	e.t.Helper()
	stream, err := stillroomv1.NewLoadServiceClient(e.Conn).PlanLoads(e.t.Context(), &stillroomv1.PlanLoadsRequest{
		Parent: webtest.Class, WorkLimit: 500, SkipGains: true, TimeLimit: durationpb.New(20 * time.Second)})
	require.NoError(e.t, err)
	for e.plan = nil; e.plan == nil; {
		m, err := stream.Recv()
		require.NoError(e.t, err)
		e.plan = m.GetLoadPlan()
	}
}

func (e *evening) make(kind sheets.Kind, o sheets.Options) page.Document {
	e.t.Helper()
	doc, err := sheets.Make(e.t.Context(), e.Conn, kind, webtest.Class, o)
	require.NoError(e.t, err)
	return doc
}

func pdf(t *testing.T, doc page.Document) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, page.WritePDF(&out, doc))
	return out.Bytes()
}

// text is all that a PDF says, in the order of reading, with single spaces.
func text(t *testing.T, data []byte) string {
	t.Helper()
	var all []string
	for _, p := range sheettest.Pages(t, data) {
		all = append(all, p.Text())
	}
	return strings.Join(all, " ")
}

// denver is the clock of the site; in August it is six hours behind (IANA time zone database).
func denver(seconds interface{ AsTime() time.Time }) string {
	return seconds.AsTime().Add(-6 * time.Hour).Format("15:04")
}

func TestShoppingSheetSaysTheListsFigures(t *testing.T) {
	t.Parallel()
	e := newEvening(t)
	for _, o := range []sheets.Options{{Paper: page.A4}, {Paper: page.Letter, US: true}} {
		said := strings.Fields(text(t, pdf(t, e.make(sheets.Shopping, o))))
		count := map[string]int{}
		for _, w := range said {
			count[w]++
		}
		need := map[string]int{}
		add := func(s string) {
			for _, w := range strings.Fields(s) {
				need[w]++
			}
		}
		require.NotEmpty(t, e.list.GetLines())
		for _, l := range e.list.GetLines() {
			add(l.GetDisplayName())
			amount := l.GetToBuy().GetMetric()
			if o.US {
				amount = l.GetToBuy().GetUsCustomary()
			}
			add(amount)
			for _, p := range l.GetBasket() {
				add(p.GetLabel())
			}
			if l.GetCost().GetMinorUnits() > 0 {
				add(dollars(l.GetCost()))
			}
			for _, r := range l.GetRemarks() {
				add(r)
			}
		}
		for _, s := range e.list.GetSections() {
			add(s.GetSection())
		}
		add(dollars(e.list.GetTotal()))
		add(dollars(e.list.GetCostPerJar()))
		add(dollars(e.list.GetCostPerParticipant()))
		for w, n := range need {
			require.GreaterOrEqual(t, count[w], n, "%q", w)
		}
		require.Contains(t, strings.Join(said, " "), "version 1 of the list, for 16 participants and 72 jars")
	}
}

// No table weighs a cup of rowan berries, so the sheet shows the line as the recipe has it and calls for a person.
func TestLinesThatNeedAPerson(t *testing.T) {
	t.Parallel()
	e := newEvening(t, addChutney(t, "Plum chutney of the house"))
	require.Positive(t, e.list.GetUnconvertedCount())
	said := text(t, pdf(t, e.make(sheets.Shopping, sheets.Options{})))
	require.Contains(t, said, "no published figure converts the amount. Decide how much to buy")
	for _, l := range e.list.GetLines() {
		if l.GetConfidence() == stillroomv1.FigureConfidence_FIGURE_CONFIDENCE_UNCONVERTED {
			require.Contains(t, said, l.GetDisplayName()+" ?")
		}
	}
}

// dollars are written by hand here: a dollar has a hundred cents.
func dollars(m *stillroomv1.Money) string {
	return fmt.Sprintf("%d.%02d %s", m.GetMinorUnits()/100, m.GetMinorUnits()%100, m.GetCurrencyCode())
}

func TestStationCardsSayThePlansTimes(t *testing.T) {
	t.Parallel()
	e := newEvening(t)
	recipes := stillroomv1.NewRecipeServiceClient(e.Conn)
	roster, err := stillroomv1.NewRosterServiceClient(e.Conn).ListEnrolments(t.Context(), &stillroomv1.ListEnrolmentsRequest{Parent: webtest.Class, PageSize: 100})
	require.NoError(t, err)
	for _, paper := range page.Papers() {
		cards := map[string]string{} // by station
		station := ""
		for _, p := range sheettest.Pages(t, pdf(t, e.make(sheets.Stations, sheets.Options{Paper: paper}))) {
			if at := slices.IndexFunc(p.Words, func(w sheettest.Word) bool { return strings.HasPrefix(w.Text, "bench-") }); at >= 0 && strings.Contains(p.Text(), "station "+p.Words[at].Text[len("bench-"):]+" of 8") {
				station = p.Words[at].Text
			}
			cards[station] += p.Text() + " "
		}
		require.Len(t, cards, 8, "a card begins a page for each of the stations")
		for _, b := range e.plan.GetBatches() {
			card := cards[b.GetStation()[strings.LastIndex(b.GetStation(), "/")+1:]]
			require.Contains(t, card, b.GetTitle())
			require.Contains(t, card, denver(b.GetCookTime()))
			require.Contains(t, card, denver(b.GetLiddedTime()))
			r, err := recipes.GetRecipeRevision(t.Context(), &stillroomv1.GetRecipeRevisionRequest{Name: b.GetRecipeRevision()})
			require.NoError(t, err)
			for _, l := range r.GetFormula().GetIngredientLines() {
				require.Contains(t, card, l.GetIngredient())
				require.Contains(t, card, l.GetAmount())
				require.Contains(t, card, fmt.Sprintf("%.0f g", l.GetGrams()))
			}
			for _, s := range r.GetFormula().GetSteps() {
				require.Contains(t, card, s.GetText())
			}
		}
		for _, c := range e.plan.GetCanners() {
			for _, l := range c.GetLoads() {
				for _, j := range l.GetJars() {
					card := cards[j.GetStation()[strings.LastIndex(j.GetStation(), "/")+1:]]
					require.Contains(t, card, c.GetDisplayName())
					require.Contains(t, card, denver(l.GetInTime()))
					require.Contains(t, card, denver(l.GetOutTime()))
					require.Contains(t, card, fmt.Sprintf("boiling water, %d min", l.GetProcess().GetMinutes()))
					require.Contains(t, card, l.GetProcess().GetAltitudeBand())
					require.Contains(t, card, j.GetSource().GetLocator())
				}
			}
		}
		for _, card := range cards {
			require.Contains(t, card, e.plan.GetCautions()[0].GetText())
		}
		for _, r := range roster.GetEnrolments() {
			if r.GetStation() != "" {
				require.Contains(t, cards[r.GetStation()[strings.LastIndex(r.GetStation(), "/")+1:]], r.GetParticipantDisplayName())
			}
		}
	}
}

func TestBoardIsOneLandscapePageAndATable(t *testing.T) {
	t.Parallel()
	e := newEvening(t)
	for _, paper := range page.Papers() {
		pages := sheettest.Pages(t, pdf(t, e.make(sheets.Board, sheets.Options{Paper: paper})))
		require.Greater(t, pages[0].Width, pages[0].Height)
		for _, c := range e.plan.GetCanners() {
			require.Contains(t, pages[0].Text(), c.GetDisplayName(), "the chart of this class fits on a page")
			for _, l := range c.GetLoads() {
				require.Contains(t, pages[0].Text(), denver(l.GetInTime())+"–"+denver(l.GetOutTime()))
			}
		}
		for n := 1; n <= 8; n++ {
			require.Contains(t, pages[0].Text(), fmt.Sprintf("bench-%d", n))
		}
		for _, words := range []string{"coming to the boil", "processing", "resting in the canner", "cooling, leave alone"} {
			require.Contains(t, pages[0].Text(), words)
		}
		table := ""
		for _, p := range pages[1:] {
			table += p.Text() + " "
		}
		for _, c := range e.plan.GetCanners() {
			for _, l := range c.GetLoads() {
				for _, at := range []string{denver(l.GetInTime()), denver(l.GetBoilTime()), denver(l.GetOffTime()), denver(l.GetOutTime())} {
					require.Contains(t, table, at)
				}
				for _, j := range l.GetJars() {
					require.Contains(t, table, j.GetSource().GetLocator())
				}
			}
		}
		require.Contains(t, table, "Local codes, current tested guidance and licensed practice come first.")
	}
}

func TestSignInHasNamesOnly(t *testing.T) {
	t.Parallel()
	e := newEvening(t)
	roster, err := stillroomv1.NewRosterServiceClient(e.Conn).ListEnrolments(t.Context(), &stillroomv1.ListEnrolmentsRequest{Parent: webtest.Class, PageSize: 100})
	require.NoError(t, err)
	require.Len(t, roster.GetEnrolments(), 19)
	said := text(t, pdf(t, e.make(sheets.SignIn, sheets.Options{})))
	for _, r := range roster.GetEnrolments() {
		require.Contains(t, said, r.GetParticipantDisplayName())
	}
	require.Contains(t, said, "16 places taken of 16, 3 waiting")
	require.NotContains(t, said, "@")
	require.NotContains(t, said, "celery", "an allergy is for the instructor's eyes")
}

func TestSealCheckHasEveryJarAndTheSources(t *testing.T) {
	t.Parallel()
	e := newEvening(t)
	procedure, err := stillroomv1.NewProcessServiceClient(e.Conn).GetClassProcedure(t.Context(), &stillroomv1.GetClassProcedureRequest{Name: webtest.Class})
	require.NoError(t, err)
	doc := e.make(sheets.SealCheck, sheets.Options{Paper: page.Letter})
	said := text(t, pdf(t, doc))
	for _, s := range procedure.GetSteps() {
		if s.GetStage() == "checking seals" || s.GetStage() == "unsealed jars" {
			require.Contains(t, said, s.GetText())
			require.Contains(t, said, s.GetSource().GetLocator())
		}
	}
	jars := 0
	for _, b := range doc.Blocks {
		if table, ok := b.(page.Table); ok {
			for _, g := range table.Groups {
				for _, r := range g.Rows {
					if len(r.Cells) > 1 {
						jars++
					}
				}
			}
		}
	}
	require.Equal(t, int(e.plan.GetOutcome().GetJars()), jars, "a row for each processed jar")
	for _, u := range e.plan.GetUnplaced() {
		jars += int(u.GetJars())
		require.Contains(t, said, "In no canner. Why: "+u.GetReason())
	}
	require.Equal(t, 72, jars)
	// By hand from the plan: a batch is tested 12 hours after its last jars were out, and processed again within 24
	// hours of its first (USDA AIB 539, rev. 2015, Guide 1, pp. 1-25 and 1-26).
	checked := 0
	for _, b := range e.plan.GetBatches() {
		var first, last time.Time
		for _, c := range e.plan.GetCanners() {
			for _, l := range c.GetLoads() {
				for _, j := range l.GetJars() {
					if out := l.GetOutTime().AsTime(); j.GetBatch() == b.GetBatch() {
						if first.IsZero() || out.Before(first) {
							first = out
						}
						if out.After(last) {
							last = out
						}
					}
				}
			}
		}
		if !first.IsZero() {
			checked++
			require.Contains(t, said, fmt.Sprintf("Test from %s; process again before %s", day(last.Add(12*time.Hour)), day(first.Add(24*time.Hour))))
		}
	}
	require.Positive(t, checked)
	// The jars are shared out to the names at the station.
	for _, name := range []string{"Ximena Okoro-Vale", "Mordecai Sandoval-Quist"} {
		require.GreaterOrEqual(t, strings.Count(said, name), 3)
	}
}

// day is an instant by the clock of the site, as the sheet writes it.
func day(at time.Time) string { return at.Add(-6 * time.Hour).UTC().Format("15:04 Mon 2 Jan") }

var tags = regexp.MustCompile(`(?s)<title>.*?</title>|<style>.*?</style>|<caption>.*?</caption>|<svg class="chart".*?</svg>|<[^>]*>`)

// What a sheet says as a page and as a file is the same: every word of the one is in the other. The PDF repeats heads
// and feet on each page, and a chart is drawn to its width, so words are compared as sets and without the chart.
func TestPageAndFileSayTheSame(t *testing.T) {
	t.Parallel()
	e := newEvening(t)
	for _, kind := range sheets.Kinds() {
		for _, paper := range page.Papers() {
			doc := e.make(kind, sheets.Options{Paper: paper})
			inFile := map[string]bool{}
			pages := sheettest.Pages(t, pdf(t, doc))
			chart := kind == sheets.Board
			for n, p := range pages {
				for _, w := range p.Words {
					// Of the chart's page only what is beside the chart counts.
					beside := chart && n == 0 && w.Top >= 20 && w.Top <= p.Height-25
					if !beside && (kind != sheets.Labels || w.Top > page.Stocks(paper)[0].Top) {
						inFile[w.Text] = true
					}
				}
			}
			var out bytes.Buffer
			require.NoError(t, page.WriteHTML(&out, doc, page.Chrome{Stylesheet: "x"}))
			shown := out.String()
			if kind == sheets.Labels { // its head and foot are for the screen
				shown = shown[strings.Index(shown, "<ol"):strings.LastIndex(shown, "</ol>")]
			}
			inPage := map[string]bool{}
			for _, w := range strings.Fields(html.UnescapeString(tags.ReplaceAllString(shown, " "))) {
				inPage[w] = true
			}
			if chart { // its key is beside the chart on the page
				for _, w := range strings.Fields("prepare cook and fill in a canner in or out coming to the boil processing resting in the canner made ready again cooling, leave alone venting, pressure wait hot jars") {
					delete(inPage, w)
					delete(inFile, w)
				}
			}
			for w := range inPage {
				require.True(t, inFile[w], "%s on %s: %q is on the page and not in the file", kind, paper, w)
			}
			extra := map[string]bool{"page": true, "of": true, "(continued)": true, "·": true, "•": true}
			for n := range len(pages) + 1 {
				extra[fmt.Sprint(n)] = true
			}
			for w := range inFile {
				require.True(t, inPage[w] || extra[w], "%s on %s: %q is in the file and not on the page", kind, paper, w)
			}
		}
	}
}

func TestWhatIsMissingIsSaid(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	for kind, words := range map[sheets.Kind]string{
		sheets.Shopping: "the class has no shopping list yet; make one, for example with: stillroom shopping make salsa-saturday",
		sheets.Labels:   "the class has no load plan yet",
	} {
		_, err := sheets.Make(t.Context(), k.Conn, kind, webtest.Class, sheets.Options{})
		require.Equal(t, codes.FailedPrecondition, status.Code(err), "%s: %v", kind, err)
		require.ErrorContains(t, err, words)
	}
	for _, kind := range []sheets.Kind{sheets.Stations, sheets.Board, sheets.SealCheck} {
		doc, err := sheets.Make(t.Context(), k.Conn, kind, webtest.Class, sheets.Options{})
		require.NoError(t, err)
		require.Contains(t, text(t, pdf(t, doc)), "No load plan yet", kind)
	}
	for _, kind := range sheets.Kinds() {
		_, err := sheets.Make(t.Context(), k.Conn, kind, webtest.Name+"/classes/none", sheets.Options{})
		require.Equal(t, codes.NotFound, status.Code(err), "%s: %v", kind, err)
	}
	_, err := sheets.Make(t.Context(), k.Conn, "menu", webtest.Class, sheets.Options{})
	require.Equal(t, codes.InvalidArgument, status.Code(err))
	_, err = sheets.Make(t.Context(), k.Conn, sheets.Labels, webtest.Class, sheets.Options{Start: 22})
	require.ErrorContains(t, err, "position 22: a sheet has positions 1 to 21")
}
