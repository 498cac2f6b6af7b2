package rpc

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/measure"
	"stillroom/internal/recipe"
	"stillroom/internal/shopping"
	"stillroom/internal/store"
)

// layOutSeason fills kitchen "k" with 60 classes of 8 stations and 16 participants, 780 batches of all printed recipes
// (which have 9 lines on average: some 7,000 lines) and 300 offers, by the database.
func (s *testServer) layOutSeason(t testing.TB) {
	t.Helper()
	s.setTable(t, 16)
	for _, r := range recipe.Library() {
		s.adopt(t, r.Key)
	}
	items := map[string]bool{}
	var order []string
	for _, r := range recipe.Library() {
		for _, l := range r.Lines {
			if item := l.Ingredient.Item; !items[item] && l.Ingredient.Key != "" && item != "water" {
				items[item] = true
				order = append(order, item)
			}
		}
	}
	require.NoError(t, s.store.In(t.Context(), "k", func(tx *store.Tx) error {
		for n := range 300 {
			o := shopping.Offer{
				ID: fmt.Sprintf("o%d", n), Item: order[n%len(order)], Kind: shopping.InBag, Acidity: 50,
				Content: measure.Q(measure.Int(int64(250*(1+n/len(order)))), measure.Gram), Price: shopping.Money{Minor: int64(99 + 70*(n/len(order)) + n%13), Currency: "USD"},
			}
			if _, err := tx.CreateOffer(t.Context(), o); err != nil {
				return err
			}
		}
		return nil
	}))
	_, err := s.store.Pool().Exec(t.Context(), `
		WITH made AS (
			INSERT INTO classes (kitchen_id, id, slug, display_name, site_id, starts_at, duration_minutes, capacity, handlers, handling_minutes, hot_hold_max_minutes)
			SELECT s.kitchen_id, gen_random_uuid(), 'season-' || n, 'Class ' || n, s.id, '2027-05-01T16:00Z'::timestamptz + n * interval '2 days', 240, 16, 2, 2, 15
			FROM sites s, generate_series(1, 60) n RETURNING *),
		benches AS (
			INSERT INTO stations (kitchen_id, class_id, id, slug, display_name, position)
			SELECT kitchen_id, id, gen_random_uuid(), 'bench-' || n, 'Bench ' || n, n FROM made, generate_series(1, 8) n RETURNING *),
		people AS (
			INSERT INTO participants (kitchen_id, id, slug, display_name)
			SELECT kitchen_id, gen_random_uuid(), 'p' || n, 'Person ' || n FROM sites, generate_series(1, 16) n RETURNING *),
		enrolled AS (
			INSERT INTO enrolments (kitchen_id, class_id, id, slug, participant_id, state, turn, station_id)
			SELECT b.kitchen_id, b.class_id, gen_random_uuid(), p.slug, p.id, 'enrolled', substr(p.slug, 2)::int, b.id
			FROM benches b JOIN people p ON (substr(p.slug, 2)::int - 1) / 2 + 1 = b.position RETURNING *)
		INSERT INTO batches (kitchen_id, class_id, id, slug, station_id, turn, revision_id, jar_size, jars)
		SELECT b.kitchen_id, b.class_id, gen_random_uuid(), 'batch-' || b.position || '-' || b.turn, b.id, b.turn, rv.id, 'pint', 8
		FROM (SELECT b.*, turn, row_number() OVER (ORDER BY class_id, position, turn) AS n
		      FROM benches b, generate_series(1, 2) turn WHERE turn = 1 OR position <= 5) b
		JOIN (SELECT rv.*, row_number() OVER (ORDER BY id) - 1 AS n, count(*) OVER () AS of FROM recipe_revisions rv) rv ON rv.n = b.n % rv.of`)
	require.NoError(t, err)
}

// BenchmarkSeasonList computes and stores the list of a season by a call, and computes the same from memory, turn by
// turn in one run. "rpc/memory" is how many times longer the call takes.
func BenchmarkSeasonList(b *testing.B) {
	s := newTestServer(b)
	s.layOutSeason(b)
	var request shopping.Request
	require.NoError(b, s.store.In(b.Context(), "k", func(tx *store.Tx) (err error) {
		if request.Classes, err = tx.ShoppingClasses(b.Context(), request.Scope); err != nil {
			return err
		}
		request.Offers, err = tx.AllOffers(b.Context())
		return err
	}))
	lines := 0
	for _, c := range request.Classes {
		for _, st := range c.Stations {
			for _, batch := range st.Batches {
				lines += len(batch.Formula.Lines)
			}
		}
	}
	var call, memory time.Duration
	for b.Loop() {
		start := time.Now()
		list, err := s.shopping().CreateShoppingList(b.Context(), &stillroomv1.CreateShoppingListRequest{Parent: "kitchens/k"})
		call += time.Since(start)
		require.NoError(b, err)
		require.Len(b, list.GetClassShares(), 60)

		start = time.Now()
		l, err := shopping.Compute(request)
		memory += time.Since(start)
		require.NoError(b, err)
		require.Equal(b, list.GetTotal().GetMinorUnits(), l.Total.Minor)
		if b.N == 1 {
			document, err := json.Marshal(l)
			require.NoError(b, err)
			b.ReportMetric(float64(len(document)), "document-bytes")
		}
	}
	b.ReportMetric(float64(lines), "ingredient-lines")
	b.ReportMetric(float64(call)/float64(memory), "rpc/memory")
	b.ReportMetric(float64(call.Microseconds())/float64(b.N), "rpc-µs/op")
	b.ReportMetric(float64(memory.Microseconds())/float64(b.N), "memory-µs/op")
	b.ReportMetric(0, "ns/op") // the sum of both says nothing
}
