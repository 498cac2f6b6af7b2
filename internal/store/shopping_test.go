package store_test

import (
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
	"stillroom/internal/shopping"
	"stillroom/internal/store"
)

func smallList(t *testing.T) *shopping.List {
	t.Helper()
	f := &shopping.Formula{Recipe: "syrup", Lines: []shopping.Line{{
		ID: "sugar", Item: "sugar", Name: "sugar", Key: "sugar_granulated", Fit: "exact", Amount: measure.Q(measure.Int(2), measure.Cup), Role: "sugar"}}}
	l, err := shopping.Compute(shopping.Request{Classes: []shopping.Class{{ID: "c", Day: "2027-08-21", Stations: []shopping.Station{
		{ID: "a", Batches: []shopping.Batch{{ID: "b", Formula: f, Count: 1, JarSize: "pint", Jars: 3}}}}}}})
	require.NoError(t, err)
	return l
}

// Lists computed at the same moment get numbers of their own, without gaps, for the class and for the kitchen.
func TestShoppingListsAreNumberedUnderARace(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	l := smallList(t)
	for _, class := range []string{"c", ""} {
		const callers = 12
		var wg sync.WaitGroup
		numbers := make([]int, callers)
		errs := make([]error, callers)
		for i := range callers {
			wg.Go(func() {
				errs[i] = s.In(t.Context(), "k", func(tx *store.Tx) error {
					stored, err := tx.CreateShoppingList(t.Context(), store.StoredList{Class: class, CreatedAt: time.Now(), Settings: []byte("{}"), List: l})
					numbers[i] = stored.Number
					return err
				})
			})
		}
		wg.Wait()
		for _, err := range errs {
			require.NoError(t, err)
		}
		slices.Sort(numbers)
		for i, n := range numbers {
			require.Equal(t, i+1, n)
		}
	}
}

func TestAStoredShoppingListReadsBackAndNeverChanges(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	l := smallList(t)
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		_, err := tx.CreateShoppingList(t.Context(), store.StoredList{Class: "c", CreatedAt: time.Now(), Settings: []byte(`{"shop":"market"}`), List: l})
		return err
	}))
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		for _, number := range []int{0, 1} {
			stored, err := tx.ShoppingList(t.Context(), "c", number)
			require.NoError(t, err)
			require.Equal(t, 1, stored.Number)
			require.JSONEq(t, `{"shop":"market"}`, string(stored.Settings))
			require.Empty(t, shopping.Compare(l, stored.List).Lines)
			require.Equal(t, l.Items[0].Contributions[0].Amount, stored.List.Items[0].Contributions[0].Amount)
		}
		_, err := tx.ShoppingList(t.Context(), "c", 2)
		require.Equal(t, fault.NotFound, fault.KindOf(err))
		// A class that is not there is not the kitchen, and the class's lists are not the kitchen's.
		_, err = tx.ShoppingList(t.Context(), "nowhere", 1)
		require.Equal(t, fault.NotFound, fault.KindOf(err))
		_, err = tx.ShoppingList(t.Context(), "", 1)
		require.Equal(t, fault.NotFound, fault.KindOf(err))
		lists, err := tx.ShoppingLists(t.Context(), "c", 0, 10)
		require.NoError(t, err)
		require.Len(t, lists, 1)
		require.Empty(t, lists[0].List.Items)
		require.Equal(t, len(l.Items), lists[0].List.Lines())
		return nil
	}))
	refusedBy(t, s, "shopping_lists_immutable", `UPDATE shopping_lists SET document = '{}'`)
	_, err := s.Pool().Exec(t.Context(), `DELETE FROM classes WHERE slug = 'c'`)
	require.NoError(t, err)
	var left int
	require.NoError(t, s.Pool().QueryRow(t.Context(), `SELECT count(*) FROM shopping_lists`).Scan(&left))
	require.Zero(t, left, "a class takes its lists along")
}

func TestDatabaseRefusesAnImpossibleOffer(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	insert := func(kind, step, price string) string {
		return `INSERT INTO offers (kitchen_id, id, slug, item, kind, content, step, price_minor, currency_code)
			SELECT id, gen_random_uuid(), 'o', 'onions', '` + kind + `', '1 kg', '` + step + `', ` + price + `, 'USD' FROM kitchens`
	}
	refusedBy(t, s, "offers_kind_check", insert("heap", "", "1"))
	refusedBy(t, s, "offers_price_minor_check", insert("bag", "", "-1"))
	refusedBy(t, s, "offers_step_of_loose_goods", insert("bag", "100 g", "1"))
	refusedBy(t, s, "offers_step_of_loose_goods", insert("loose", "", "1"))
}

// What is written as text reads back exactly: no pound becomes a rounded number of grams on the way.
func TestOfferQuantitiesReadBackExactly(t *testing.T) {
	t.Parallel()
	s := furnish(t)
	for i, text := range []string{"1 lb", "1-3/4 oz", "453.59237 g", "1 gallon", "12 each", "1 dozen", "1 bunch", "1/3 cup", "2 dry pt", "12 fl oz"} {
		q, err := measure.ParseQuantity(text)
		require.NoError(t, err)
		require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
			id := string(rune('a' + i))
			_, err := tx.CreateOffer(t.Context(), shopping.Offer{ID: id, Item: "x", Kind: shopping.InBag, Content: q, Price: shopping.Money{Minor: 1, Currency: "USD"}})
			require.NoError(t, err, text)
			back, err := tx.Offer(t.Context(), id)
			require.NoError(t, err, text)
			require.Equal(t, q.Unit, back.Content.Unit, text)
			require.True(t, q.Amount.High.Equal(back.Content.Amount.High), text)
			return nil
		}))
	}
}
