package shopping

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"stillroom/internal/measure"
)

// What a shopper is told to buy is never below the need, and what is said to be left over never above it.
func TestWordsNeverFallShort(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.SampledFrom([]measure.Unit{measure.Gram, measure.Millilitre}).Draw(t, "unit")
		f := Fine(rapid.Int64Range(int64(FinePerUnit), 20_000_000*FinePerUnit).Draw(t, "amount"))
		for _, s := range []System{Metric, Customary} {
			said := fine(t, s.Amount(f, unit))
			require.GreaterOrEqual(t, said+grace, f, s.Amount(f, unit))
			if left := s.AtMost(f, unit); left != "none" {
				require.LessOrEqual(t, fine(t, left), f+1, left)
			}
		}
	})
	require.Equal(t, "1.3 kg", Metric.Amount(fine(t, "1.21 kg"), measure.Gram))
	require.Equal(t, "2 lb 14 oz", Customary.Amount(fine(t, "2.82 lb"), measure.Gram))
	require.Equal(t, "3 cloves", Metric.Amount(Fine(2.5*FinePerUnit), measure.Clove))
	require.Equal(t, "1.2 kg", Metric.AtMost(fine(t, "1299 g"), measure.Gram))
}

func TestCSVIsRFC4180(t *testing.T) {
	f := &Formula{Recipe: "r", Lines: []Line{{ID: "o", Item: "onions", Name: `onions, "sweet"`, Key: "onions", Fit: "exact", Amount: quantity(t, "1 lb"), Role: lowAcid}}}
	l := compute(t, Request{Classes: []Class{classOf("a", "2026-08-22", stationOf("1", 0, Batch{ID: "b", Formula: f, Count: 1}))}})
	var out bytes.Buffer
	require.NoError(t, l.WriteCSV(&out, Metric))
	text := out.String()
	require.Equal(t, strings.Count(text, "\n"), strings.Count(text, "\r\n"), "lines end in CRLF")
	require.Contains(t, text, `"onions, ""sweet"""`)
	records, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	require.Equal(t, csvHeader, records[0])
	row := map[string]string{}
	for i, name := range csvHeader {
		row[name] = records[1][i]
	}
	require.Equal(t, `onions, "sweet"`, row["name"])
	require.Equal(t, "gram", row["unit"])
	require.Equal(t, "504", row["need"], "453.59237 / 0.9 = 503.9915, rounded up to two decimals")
	require.Equal(t, "529.2", row["to_buy"], "529.1911, likewise")
	require.Equal(t, "530 g", Metric.Amount(fine(t, "529.1911 g"), measure.Gram))
}

func TestCompareSaysWhatChanged(t *testing.T) {
	f := &Formula{Recipe: "r", Lines: []Line{lineOf(t, "onions", "onions", "1 lb", "chopped", lowAcid), lineOf(t, "sugar", "sugar_granulated", "1 kg", "", "sugar")}}
	two := []Line{lineOf(t, "onions", "onions", "2 lb", "chopped", lowAcid)}
	r := Request{
		Classes: []Class{classOf("a", "2026-08-22", stationOf("1", 0, Batch{ID: "b", Formula: f, Count: 1}))},
		Offers:  []Offer{loose(t, "loose", "onions", "shop", "1 kg", "100 g", 240)},
	}
	before := compute(t, r)
	r.Classes[0].Stations[0].Batches = []Batch{{ID: "b", Formula: f, Count: 1}, {ID: "c", Formula: &Formula{Recipe: "s", Lines: two}, Count: 1}}
	after := compute(t, r)
	changes := Compare(before, after)
	require.Len(t, changes.Lines, 1)
	// 3 lb / 0.9 x 1.05 = 3.5 lb against 1 lb / 0.9 x 1.05 = 1.1667 lb: 2.3333 lb (1058.4 g) more; 16 steps against 6.
	require.Equal(t, "onions: 1.1 kg more (1.6 kg, was 530 g), 2.40 USD more to pay", changes.Lines[0].Text(Metric))
	require.Equal(t, "onions: 2 lb 6 oz more (3 lb 8 oz, was 1 lb 3 oz), 2.40 USD more to pay", changes.Lines[0].Text(Customary))
	require.Len(t, changes.Lines[0].Causes, 1)
	require.Equal(t, "c", changes.Lines[0].Causes[0].Batch)
	require.Zero(t, changes.Lines[0].Causes[0].Before)
	require.Empty(t, Compare(after, after).Lines)
	back := Compare(after, &List{Total: after.Total})
	require.Equal(t, "onions: no longer needed (was 1.6 kg), 3.84 USD less to pay", back.Lines[0].Text(Metric))
}
