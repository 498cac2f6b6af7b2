package questions

import (
	"crypto/sha256"
	"encoding/csv"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func rules(t testing.TB) *Rules {
	t.Helper()
	r, err := StandardRules()
	require.NoError(t, err)
	return r
}

func readCSV(t testing.TB, name string) [][]string {
	t.Helper()
	f, err := os.Open(name)
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	return rows[1:]
}

// halfOf is the half that a labelled text falls into by its hash, so that nobody chose.
func halfOf(text string) string {
	if sha256.Sum256([]byte(text))[0]%2 == 1 {
		return "kept"
	}
	return "working"
}

// measured counts one half of the labelled phrasings.
type measured struct{ urgent, raised, rightlyRaised, sameRule int }

func (m measured) recall() float64    { return float64(m.rightlyRaised) / float64(m.urgent) }
func (m measured) precision() float64 { return float64(m.rightlyRaised) / float64(m.raised) }

func TestTriageOnLabelledPhrasings(t *testing.T) {
	r := rules(t)
	rows := readCSV(t, "testdata/triage_phrasings.csv")
	require.GreaterOrEqual(t, len(rows), 200)
	halves := map[string]*measured{"working": {}, "kept": {}}
	for _, row := range rows {
		half, label, text := row[0], row[1], row[2]
		require.Equal(t, halfOf(text), half, text)
		m := halves[half]
		got := r.Triage(text)
		if label != "none" {
			m.urgent++
		}
		if got.Urgency == Urgent {
			m.raised++
		}
		if label != "none" && got.Urgency == Urgent {
			m.rightlyRaised++
			for _, f := range got.Findings {
				if f.Rule == label {
					m.sameRule++
					break
				}
			}
		}
		// Only the working half may be looked at line by line.
		if half == "working" && (label != "none") != (got.Urgency == Urgent) && testing.Verbose() {
			t.Logf("working half, %s: %q raised %s", label, text, explain(got))
		}
	}
	for _, half := range []string{"working", "kept"} {
		m := halves[half]
		t.Logf("%s half: %d urgent, recall %.3f, precision %.3f, by the labelled rule %.3f", half, m.urgent, m.recall(), m.precision(), float64(m.sameRule)/float64(m.urgent))
	}
	require.GreaterOrEqual(t, halves["kept"].urgent, 50)
	require.GreaterOrEqual(t, halves["kept"].recall(), 0.95)
	require.GreaterOrEqual(t, halves["kept"].precision(), 0.85)
}

// TestTriageOnLaterPhrasings measures on phrasings that were written after the
// rules, from situations that other people describe. The second round was used to
// widen the rules; the third came after that and was only measured.
func TestTriageOnLaterPhrasings(t *testing.T) {
	r := rules(t)
	var m measured
	for _, row := range readCSV(t, "testdata/triage_third.csv") {
		urgent, raised := row[0] != "none", r.Triage(row[1]).Urgency == Urgent
		if urgent {
			m.urgent++
		}
		if raised {
			m.raised++
		}
		if urgent && raised {
			m.rightlyRaised++
		}
	}
	t.Logf("third round: %d urgent, recall %.3f, precision %.3f", m.urgent, m.recall(), m.precision())
	require.GreaterOrEqual(t, m.urgent, 50)
	require.GreaterOrEqual(t, m.recall(), 0.85)
	require.GreaterOrEqual(t, m.precision(), 0.9)
}

func explain(tr Triage) string {
	var parts []string
	for _, f := range tr.Findings {
		parts = append(parts, fmt.Sprintf("%s by %q", f.Rule, f.Matched))
	}
	return strings.Join(parts, "; ")
}

// What a rule says comes from the published rows it names. The sentences are
// checked by hand against AIB 539 (rev. 2015), Guide 1, pp. 1-26 and 1-27; here
// the figures are held to the embedded rows.
func TestRulesSayWhatTheirRowsSay(t *testing.T) {
	rows := map[string][]string{}
	for _, row := range readCSV(t, "facts.csv") {
		rows[row[0]] = row
	}
	require.Equal(t, []string{"24", "hours"}, rows["reprocess_unsealed_within"][1:3])
	require.Equal(t, "restart_full_time", rows["bw_boil_lost_action"][1])
	require.Equal(t, "restart_full_time", rows["pc_pressure_lost_action"][1])
	require.Equal(t, "never", rows["taste_suspect_food"][1])
	require.Equal(t, []string{"30", "minutes"}, rows["detoxify_suspect_boil"][1:3])

	require.Equal(t, []string{"2", "hours"}, rows["mistake_recan_within"][1:3])

	tr := rules(t).Triage("What is to be done about a jar that did not seal?")
	require.Equal(t, Urgent, tr.Urgency)
	require.Len(t, tr.Findings, 1)
	f := tr.Findings[0]
	require.Equal(t, "unsealed", f.Rule)
	require.Equal(t, 24, f.Hours)
	require.Equal(t, []string{"did", "not", "seal"}, f.Matched)
	require.Equal(t, "reprocess_unsealed_within", f.Facts[0].Key)
	require.Equal(t, "USDA AIB 539 (rev. 2015)", f.Facts[0].Source)
	require.Contains(t, f.Facts[0].Locator, "p. 1-26")
}

func TestNoRuleEverSaysFoodIsSafe(t *testing.T) {
	for _, rule := range rules(t).rules {
		said := strings.ToLower(rule.finding.Title + " " + rule.finding.Reason + " " + rule.finding.Say)
		for _, w := range readWords(said) {
			require.NotContains(t, []string{"safe", "fine", "ok", "okay", "alright", "harmless", "edible"}, w.plain, rule.finding.Rule)
		}
		require.NotEmpty(t, rule.finding.Facts)
	}
	require.NotContains(t, strings.ToLower(Notice), "safe")
	require.Empty(t, rules(t).Triage("Where do I park?").Findings)
}

// What is told, rather than asked, about jars is raised whatever its words; a
// rule that knows more speaks instead where there is one.
func TestWhatIsToldIsRaised(t *testing.T) {
	r := rules(t)
	for text, rule := range map[string]string{
		"Hello! The jars made a strange music all night":      "something_happened",
		"The jars did not seal":                               "unsealed",
		"So my canner is acting up and I left the kitchen":    "something_happened",
		"Do you like jars? I like jars.":                      "", // too short to tell anything
		"How many jars do I get?":                             "",
		"I missed the first minutes of the class about jars.": "",
	} {
		got := r.Triage(text)
		if rule == "" {
			require.Empty(t, got.Findings, text)
			continue
		}
		require.Len(t, got.Findings, 1, text)
		require.Equal(t, rule, got.Findings[0].Rule, text)
	}
}

func TestTriageReadsAroundTyping(t *testing.T) {
	r := rules(t)
	for _, text := range []string{
		"MY JAR DIDN’T SEAL!!!", "my jar didnt seal", "my jar did not  seal", "my jar didn`t seal 😬", "The jar… hasn't sealed?",
	} {
		require.Equal(t, "unsealed", r.Triage(text).Findings[0].Rule, text)
	}
	// A word of one sentence and a word of another are not a phrase.
	require.Empty(t, r.Triage("There is no parking. And there are steps. So can I be dropped off with a seal on my pass?").Findings)
	require.Empty(t, r.Triage("").Findings)
}

func TestCompileRulesNamesTheMistake(t *testing.T) {
	facts := []byte("key,value,unit,statement,source,locator\nk,1,x,Says so.,A guide,p. 1\n")
	good := "groups: {a: [jar]}\nrules: [{id: r, title: t, reason: w, say: s, facts: [k], patterns: [{all: [a]}]}]\n"
	_, err := CompileRules([]byte(good), facts)
	require.NoError(t, err)
	for want, bad := range map[string]string{
		`no published row "z"`:    strings.Replace(good, "[k]", "[z]", 1),
		`names the group "b"`:     strings.Replace(good, "{all: [a]}", "{all: [b]}", 1),
		"either all or seq":       strings.Replace(good, "{all: [a]}", "{within: 3}", 1),
		"needs id, title, reason": strings.Replace(good, "reason: w, ", "", 1),
		"wird":                    strings.Replace(good, "reason: w", "wird: w", 1),
	} {
		_, err := CompileRules([]byte(bad), facts)
		require.ErrorContains(t, err, want)
	}
	_, err = CompileRules([]byte(good), []byte("key,value,unit,statement,source,locator\nk,1,x,Says so.,,\n"))
	require.ErrorContains(t, err, "has no source")
}

func FuzzTriage(f *testing.F) {
	f.Add("jar did not seal")
	f.Add("\u202e💥 can't ' '' % 1.5,, boil boil boil boil")
	f.Add(strings.Repeat("not seal lid pop ", 120))
	r, err := StandardRules()
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, text string) {
		first := r.Triage(text)
		require.Equal(t, first, r.Triage(text))
		require.Equal(t, first.Urgency == Urgent, len(first.Findings) > 0)
		for _, finding := range first.Findings {
			require.NotEmpty(t, finding.Matched)
		}
	})
}

func BenchmarkTriage(b *testing.B) {
	r := rules(b)
	for name, text := range map[string]string{
		"usual":    "The burner went out halfway through and the water stopped boiling for about five minutes",
		"spiteful": strings.Repeat("half pint quart used set time ", 65), // the longest text, of nothing but words of one pattern
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				r.Triage(text)
			}
		})
	}
}
