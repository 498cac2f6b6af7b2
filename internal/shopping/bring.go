package shopping

import (
	"cmp"
	"slices"
	"strings"

	"stillroom/internal/fault"
)

// sheets collects what participants bring.
type sheets struct {
	of map[sheetKey]*Sheet
}

type sheetKey struct {
	class       int
	station     string
	participant string
}

// bring moves the contributions of an item that participants bring to the sheets of their stations, shared out as
// evenly as whole pieces allow, and returns those that stay: stations without participants have nobody to bring
// anything.
func (k *larder) bring(s *slot, b basis, ok bool, wrong *fault.Collector) []Contribution {
	if k.sheets.of == nil {
		k.sheets.of = map[sheetKey]*Sheet{}
	}
	var stay []Contribution
	for _, c := range s.contributions {
		class := k.classes[c.class]
		i := slices.IndexFunc(class.Stations, func(st Station) bool { return st.ID == c.Station })
		people := class.Stations[i].Participants
		conversion := &k.list.Conversions[c.Conversion]
		amount, unit, fits := Fine(0), b.unit, false
		if ok {
			amount, fits = amountIn(conversion, b)
		}
		if !fits {
			amount, unit = conversion.Own, conversion.OwnUnit
		}
		if amount, fits = c.of(amount); !fits {
			wrong.Add("need of "+s.item, "", "is too large", "a list counts up to a thousand tonnes of one thing")
			return nil
		}
		if len(people) == 0 {
			stay = append(stay, c)
			continue
		}
		for j, share := range shareOut(amount, len(people), s.goods.supply) {
			if share == 0 {
				continue
			}
			key := sheetKey{c.class, c.Station, people[j].ID}
			sheet := k.sheets.of[key]
			if sheet == nil {
				sheet = &Sheet{Class: class.ID, Station: c.Station, Participant: people[j].ID, Name: people[j].Name}
				k.sheets.of[key] = sheet
			}
			sheet.add(SheetLine{Item: s.item, Name: s.name, Amount: share, Unit: unit})
		}
	}
	return stay
}

// shareOut splits an amount evenly; pieces stay whole, the first ones bringing one more where it does not go even.
func shareOut(amount Fine, people int, pieces bool) []Fine {
	total := int64(amount)
	if pieces {
		total = ceilDiv(total, FinePerUnit)
	}
	shares := make([]Fine, people)
	for i, n := range apportion(total, make([]int64, people)) {
		shares[i] = Fine(n)
		if pieces {
			shares[i] *= FinePerUnit
		}
	}
	return shares
}

func (s *Sheet) add(line SheetLine) {
	for i := range s.Lines {
		if s.Lines[i].Item == line.Item && s.Lines[i].Unit == line.Unit {
			s.Lines[i].Amount += line.Amount
			return
		}
	}
	s.Lines = append(s.Lines, line)
}

// ordered lists the sheets by class, station and participant.
func (s *sheets) ordered() []Sheet {
	keys := make([]sheetKey, 0, len(s.of))
	for key := range s.of {
		keys = append(keys, key)
	}
	slices.SortFunc(keys, func(a, b sheetKey) int {
		return cmp.Or(cmp.Compare(a.class, b.class), strings.Compare(a.station, b.station), strings.Compare(a.participant, b.participant))
	})
	list := make([]Sheet, len(keys))
	for i, key := range keys {
		list[i] = *s.of[key]
	}
	return list
}
