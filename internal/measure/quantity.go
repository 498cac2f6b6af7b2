package measure

// Amount is one number, or a range when Low and High differ.
type Amount struct{ Low, High Number }

// One is the amount n.
func One(n Number) Amount { return Amount{Low: n, High: n} }

// Between is the range low to high; the two are put in order.
func Between(low, high Number) Amount {
	if high.Less(low) {
		low, high = high, low
	}
	return Amount{Low: low, High: high}
}

// IsRange says whether the ends differ.
func (a Amount) IsRange() bool { return !a.Low.Equal(a.High) }

// Times is the amount k times over (k not negative).
func (a Amount) Times(k Number) Amount { return Amount{Low: a.Low.Mul(k), High: a.High.Mul(k)} }

// String is e.g. "1-1/2" or "2 to 3".
func (a Amount) String() string {
	if a.IsRange() {
		return a.Low.String() + " to " + a.High.String()
	}
	return a.Low.String()
}

// Quantity is an amount in a unit.
type Quantity struct {
	Amount Amount
	Unit   Unit
}

// Q is n of a unit.
func Q(n Number, u Unit) Quantity { return Quantity{Amount: One(n), Unit: u} }

// In restates the quantity in another unit of the same dimension, exactly.
func (q Quantity) In(u Unit) (Quantity, error) {
	low, err := Convert(q.Amount.Low, q.Unit, u)
	if err != nil {
		return Quantity{}, err
	}
	high, err := Convert(q.Amount.High, q.Unit, u)
	if err != nil {
		return Quantity{}, err
	}
	return Quantity{Amount: Amount{Low: low, High: high}, Unit: u}, nil
}

// Grams is the high end of the quantity as a mass; it fails for units that do not measure mass.
func (q Quantity) Grams() (Grams, error) {
	g, err := q.In(Gram)
	return Grams{g.Amount.High}, err
}

// Millilitres is the high end of the quantity as a volume; it fails for units that do not measure volume.
func (q Quantity) Millilitres() (Millilitres, error) {
	v, err := q.In(Millilitre)
	return Millilitres{v.Amount.High}, err
}

// Times is the quantity k times over (k not negative).
func (q Quantity) Times(k Number) Quantity {
	return Quantity{Amount: q.Amount.Times(k), Unit: q.Unit}
}

// Add is q + p in q's unit; it fails when the units do not convert.
func (q Quantity) Add(p Quantity) (Quantity, error) {
	p, err := p.In(q.Unit)
	if err != nil {
		return Quantity{}, err
	}
	return Quantity{Amount: Amount{Low: q.Amount.Low.Add(p.Amount.Low), High: q.Amount.High.Add(p.Amount.High)}, Unit: q.Unit}, nil
}

// String is the quantity as recipes print it: "1-1/2 cups", "2 to 3 cloves", "4" for pieces.
func (q Quantity) String() string {
	if q.Unit == Each {
		return q.Amount.String()
	}
	return q.Amount.String() + " " + q.Unit.Name(q.Amount.High)
}
