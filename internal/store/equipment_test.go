package store_test

import (
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"
	"pgregory.net/rapid"

	"stillroom/internal/canning"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
	"stillroom/internal/store"
	"stillroom/internal/store/storetest"
)

var saturday = time.Date(2027, 9, 4, 15, 0, 0, 0, time.UTC)

// twoClasses makes kitchen "k" with site "main", a morning class of four hours and one that begins two hours later.
func twoClasses(t *testing.T, s *store.Store) {
	t.Helper()
	altitude, err := measure.AltitudeFromFloat(1600)
	require.NoError(t, err)
	require.NoError(t, s.Across(t.Context(), func(tx *store.Tx) error {
		_, err := tx.CreateKitchen(t.Context(), kitchen.Kitchen{ID: "k", DisplayName: "K", Currency: "USD"})
		return err
	}))
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		for _, id := range []string{"main", "annexe"} {
			if _, err := tx.CreateSite(t.Context(), kitchen.Site{ID: id, DisplayName: id, Altitude: altitude, TimeZone: "UTC"}); err != nil {
				return err
			}
		}
		for id, at := range map[string]time.Time{"morning": saturday, "later": saturday.Add(2 * time.Hour)} {
			if _, err := tx.CreateClass(t.Context(), kitchen.Class{ID: id, DisplayName: id, Site: "main", Start: at, Duration: 4 * time.Hour, Capacity: 8}); err != nil {
				return err
			}
		}
		return nil
	}))
}

func bigCanner(owned int) kitchen.Equipment {
	return kitchen.Equipment{ID: "big", DisplayName: "Big canner", Kind: kitchen.KindCanner, Owned: owned, Canner: &kitchen.Canner{
		Methods: []canning.Method{canning.BoilingWater}, Holds: []canning.RackSpace{{Jar: canning.Pint, Jars: 9}, {Jar: canning.Quart, Jars: 7}},
	}}
}

func TestEquipmentKeepsWhatItWasGiven(t *testing.T) {
	t.Parallel()
	s := storetest.Open(t)
	twoClasses(t, s)
	altitude, err := measure.AltitudeFromFloat(1600)
	require.NoError(t, err)
	e := bigCanner(2)
	e.Site = "main"
	e.Canner.ComeUp = kitchen.ComeUpLine{Base: "14", PerJar: "0.35"}
	e.Canner.Burner = &canning.Burner{Kind: canning.InductionBurner, Rated: 3000}
	observed := kitchen.ComeUp{At: saturday, Observation: canning.Observation{Minutes: 21.5, Load: canning.HeatLoad{
		Method: canning.BoilingWater, Jar: canning.Pint, Pack: reference.HotPack, Jars: 8, Altitude: altitude}}}
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		if _, err := tx.CreateEquipment(t.Context(), e); err != nil {
			return err
		}
		_, err := tx.RecordComeUp(t.Context(), "big", observed)
		return err
	}))
	var got kitchen.Equipment
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) (err error) {
		got, err = tx.Equipment(t.Context(), "big")
		return err
	}))
	require.Equal(t, e.Canner.Holds, got.Canner.Holds)
	require.Equal(t, e.Canner.ComeUp, got.Canner.ComeUp)
	require.Equal(t, e.Canner.Burner, got.Canner.Burner)
	require.Equal(t, 2, got.Owned)
	require.Equal(t, "main", got.Site)
	require.Len(t, got.Canner.Record, 1)
	require.Equal(t, observed.Observation, got.Canner.Record[0].Observation)
	require.Equal(t, int64(2), got.Version, "a new record is an edit")
}

// Many claim at once what only suffices for some: exactly those get it, whatever the order.
func TestConcurrentClaimsNeverExceedWhatIsOwned(t *testing.T) {
	t.Parallel()
	s := storetest.Open(t)
	twoClasses(t, s)
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		_, err := tx.CreateEquipment(t.Context(), bigCanner(5))
		return err
	}))
	var got atomic.Int64
	var group errgroup.Group
	for i := range 32 {
		class := []string{"morning", "later"}[i%2]
		group.Go(func() error {
			err := s.In(t.Context(), "k", func(tx *store.Tx) error {
				_, err := tx.CreateReservation(t.Context(), kitchen.Reservation{Equipment: "big", Class: class, Units: 1})
				return err
			})
			if err == nil {
				got.Add(1)
				return nil
			}
			if k := fault.KindOf(err); k != fault.Precondition && k != fault.Conflict {
				return err
			}
			return nil
		})
	}
	require.NoError(t, group.Wait())
	require.EqualValues(t, 5, got.Load())
	var overlaps int
	require.NoError(t, s.Pool().QueryRow(t.Context(), `SELECT count(*) FROM reservation_units a JOIN reservation_units b
		ON a.equipment_id = b.equipment_id AND a.unit_no = b.unit_no AND a.reservation_id < b.reservation_id
		AND a.starts_at < b.ends_at AND b.starts_at < a.ends_at`).Scan(&overlaps))
	require.Zero(t, overlaps)
}

// The rule is the database's: SQL that goes round the store cannot break it either.
func TestTheDatabaseRefusesADoubleClaim(t *testing.T) {
	t.Parallel()
	s := storetest.Open(t)
	twoClasses(t, s)
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		if _, err := tx.CreateEquipment(t.Context(), bigCanner(1)); err != nil {
			return err
		}
		_, err := tx.CreateReservation(t.Context(), kitchen.Reservation{Equipment: "big", Class: "morning", Units: 1, End: saturday.Add(time.Hour)})
		return err
	}))
	insert := func(unit int, from, to time.Time) error {
		_, err := s.Pool().Exec(t.Context(), `WITH r AS (
			INSERT INTO reservations (kitchen_id, equipment_id, id, slug, class_id, units, starts_at, ends_at)
			SELECT kitchen_id, equipment_id, gen_random_uuid(), gen_random_uuid()::text, class_id, 1, $2, $3 FROM reservations LIMIT 1
			RETURNING *)
			INSERT INTO reservation_units SELECT kitchen_id, equipment_id, id, $1, starts_at, ends_at FROM r`, unit, from, to)
		return err
	}
	require.ErrorContains(t, insert(1, saturday.Add(30*time.Minute), saturday.Add(2*time.Hour)), "reservation_units_no_overlap")
	require.ErrorContains(t, insert(2, saturday.Add(3*time.Hour), saturday.Add(4*time.Hour)), "reservation_units_unit_fkey")
	require.NoError(t, insert(1, saturday.Add(time.Hour), saturday.Add(2*time.Hour)), "one claim may begin when the other ends")
}

func TestOwningFewerThanAreReserved(t *testing.T) {
	t.Parallel()
	s := storetest.Open(t)
	twoClasses(t, s)
	owned := func(n int) error {
		return s.In(t.Context(), "k", func(tx *store.Tx) error {
			e, err := tx.Equipment(t.Context(), "big")
			if err != nil {
				return err
			}
			e.Owned = n
			e, err = tx.UpdateEquipment(t.Context(), e, saturday.Add(-time.Hour))
			if err == nil {
				require.Equal(t, n, e.Owned)
			}
			return err
		})
	}
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		if _, err := tx.CreateEquipment(t.Context(), bigCanner(4)); err != nil {
			return err
		}
		// Long ago, so it holds nothing back.
		if _, err := tx.CreateReservation(t.Context(), kitchen.Reservation{Equipment: "big", Class: "morning", Units: 4,
			Start: saturday.AddDate(0, -1, 0), End: saturday.AddDate(0, -1, 1)}); err != nil {
			return err
		}
		_, err := tx.CreateReservation(t.Context(), kitchen.Reservation{Equipment: "big", Class: "morning", Units: 2})
		return err
	}))
	require.NoError(t, owned(7))
	require.NoError(t, owned(2))
	err := owned(1)
	require.Equal(t, fault.Precondition, fault.KindOf(err))
	require.ErrorContains(t, err, "at least 2 stay owned")
}

func TestSupplyForAClass(t *testing.T) {
	t.Parallel()
	s := storetest.Open(t)
	twoClasses(t, s)
	require.NoError(t, s.In(t.Context(), "k", func(tx *store.Tx) error {
		for _, e := range []kitchen.Equipment{
			bigCanner(2),
			{ID: "burners", DisplayName: "Burners", Kind: kitchen.Burner, Owned: 6, Site: "main"},
			{ID: "far-burners", DisplayName: "Burners of the annexe", Kind: kitchen.Burner, Owned: 9, Site: "annexe"},
		} {
			if _, err := tx.CreateEquipment(t.Context(), e); err != nil {
				return err
			}
		}
		for _, r := range []kitchen.Reservation{
			{Equipment: "burners", Class: "later", Units: 4},
			{Equipment: "burners", Class: "morning", Units: 1},
			{Equipment: "big", Class: "later", Units: 1, Start: saturday.Add(-24 * time.Hour), End: saturday.Add(90 * time.Minute)},
		} {
			if _, err := tx.CreateReservation(t.Context(), r); err != nil {
				return err
			}
		}
		class, err := tx.Class(t.Context(), "morning")
		if err != nil {
			return err
		}
		supplies, canners, err := tx.Supply(t.Context(), class)
		if err != nil {
			return err
		}
		require.Equal(t, []kitchen.Supply{{Kind: "burner", Owned: 6, Reserved: 4}, {Kind: "canner", Owned: 2, Reserved: 1}}, supplies)
		require.Len(t, canners, 2)
		require.Equal(t, "Big canner 1", canners[0].Name)
		require.Equal(t, 9, canners[0].Capacity[canning.HalfPint], "a smaller jar takes the room of the next larger size")

		units, err := tx.UnitsFor(t.Context(), "morning")
		if err != nil {
			return err
		}
		free := units[0].FreeWithin(class.Start, class.End())
		require.Len(t, free, 1)
		require.WithinRange(t, free[0].Start, saturday.Add(90*time.Minute), saturday.Add(90*time.Minute))
		require.WithinRange(t, free[0].End, saturday.Add(4*time.Hour), saturday.Add(4*time.Hour))
		require.True(t, units[1].FreeThroughout())
		return nil
	}))
}

// The free spans and the holds together are the class's time, and never overlap.
func TestFreeSpansFillTheGaps(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		at := func(m int) time.Time { return saturday.Add(time.Duration(m) * time.Minute) }
		const length = 60
		var taken [length]bool
		var u kitchen.Unit
		for range rapid.IntRange(0, 5).Draw(t, "holds") {
			from := rapid.IntRange(-20, length+10).Draw(t, "from")
			to := from + rapid.IntRange(1, 40).Draw(t, "minutes")
			u.Held = append(u.Held, kitchen.Hold{Start: at(from), End: at(to), Class: "other"})
			for m := max(from, 0); m < min(to, length); m++ {
				taken[m] = true
			}
		}
		for _, f := range u.FreeWithin(at(0), at(length)) {
			require.True(t, f.Start.Before(f.End))
			for m := int(f.Start.Sub(saturday).Minutes()); m < int(f.End.Sub(saturday).Minutes()); m++ {
				require.False(t, taken[m], "minute %d is held, or free twice", m)
				taken[m] = true
			}
		}
		for m, covered := range taken {
			require.True(t, covered, "minute %d is neither held nor free", m)
		}
	})
}
