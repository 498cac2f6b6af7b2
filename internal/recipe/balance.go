package recipe

import (
	"stillroom/internal/measure"
)

// Share is the acid share of a formula: the mass of its acid ingredients over the mass of acid and low-acid food
// together. Tomatoes, tomatillos and fruit, which the guides treat as acid food themselves, water, salt, sugar
// and dry spices are in neither.
type Share struct {
	// AcidGrams and LowAcidGrams are the masses that could be weighed.
	AcidGrams, LowAcidGrams measure.Grams
	// Unweighed are the IDs of acid and low-acid lines that no published figure weighs.
	Unweighed []string
}

// Known says every line that counts could be weighed and there is something to share.
func (s Share) Known() bool { return len(s.Unweighed) == 0 && s.total().Sign() > 0 }

func (s Share) total() measure.Number { return s.AcidGrams.Add(s.LowAcidGrams).Number() }

// Value is the share between 0 and 1; 0 when nothing could be weighed.
func (s Share) Value() float64 {
	if s.total().Sign() == 0 {
		return 0
	}
	return s.exact().Float64()
}

func (s Share) exact() measure.Number { return s.AcidGrams.Number().Div(s.total()) }

// String is e.g. "23.4 %", with a word on what could not be weighed.
func (s Share) String() string {
	if s.total().Sign() == 0 {
		return "not known"
	}
	text := s.exact().Mul(measure.Int(100)).Decimal(1) + " %"
	if len(s.Unweighed) > 0 {
		text += " of what could be weighed"
	}
	return text
}

// countsAsAcid says a line's acid keeps the recipe safe. Acid of unknown or weak strength counts only where
// the printed recipe itself asks for it.
func countsAsAcid(l Line) bool {
	if l.Role != Acid {
		return false
	}
	switch l.Ingredient.Family {
	case FamVinegar5, FamCitrusBottled, FamLimeBottled, FamCitrusEither, FamCitricAcid:
		return true
	}
	return l.Vary == Fixed
}

// countsAsLowAcid says a line is food that acid must reach: low-acid vegetables and herbs, meat, fish, dairy,
// oil, starch, and anything the ingredient table does not know.
func countsAsLowAcid(l Line) bool {
	switch l.Role {
	case LowAcid, FreshHerb:
		return true
	}
	switch l.Ingredient.Family {
	case UnknownFamily, FamOil, FamDairy, FamMeat, FamSeafood, FamStarch, FamPastaGrain, FamLowAcidOther:
		return true
	}
	return false
}

// ShareOf computes the acid share of a formula for one batch.
func ShareOf(r *Revision) Share { return shareOf(r, nil) }

// shareOf is ShareOf with some lines weighed as others, by line ID; see review.
func shareOf(r *Revision, weighAs map[string]Line) Share {
	var s Share
	for _, l := range r.Lines {
		acid, low := countsAsAcid(l), countsAsLowAcid(l)
		if !acid && !low {
			continue
		}
		if as, ok := weighAs[l.ID]; ok {
			l = as
		}
		w := WeightOf(l, r.Yield)
		switch {
		case !w.Known:
			s.Unweighed = append(s.Unweighed, l.ID)
		case acid:
			s.AcidGrams = s.AcidGrams.Add(w.Grams)
		default:
			s.LowAcidGrams = s.LowAcidGrams.Add(w.Grams)
		}
	}
	return s
}

// Sum is the mass of all lines of one role.
type Sum struct {
	// Grams is the mass of the lines that could be weighed.
	Grams measure.Grams
	// Unweighed are the IDs of the others.
	Unweighed []string
	// StandIns are remarks where another ingredient's weight stands in, e.g. table salt for canning salt.
	StandIns []string
}

// SumOf weighs all lines of a role for one batch.
func SumOf(r *Revision, role Role) Sum {
	var s Sum
	for _, l := range r.Lines {
		if l.Role != role {
			continue
		}
		w := WeightOf(l, r.Yield)
		if !w.Known {
			s.Unweighed = append(s.Unweighed, l.ID)
			continue
		}
		s.Grams = s.Grams.Add(w.Grams)
		if l.Ingredient.Basis == StandIn {
			s.StandIns = append(s.StandIns, l.ID+": "+l.Ingredient.Note)
		}
	}
	return s
}

// String is e.g. "146 g", with a word on what could not be weighed.
func (s Sum) String() string {
	switch {
	case len(s.Unweighed) == 0:
		return s.Grams.String()
	case s.Grams.Number().Sign() == 0:
		return "not known"
	}
	return s.Grams.String() + " and what could not be weighed"
}
