package measure

// Metric is the quantity for a cook in grams, kilograms, millilitres or litres, rounded up at the precision
// a kitchen scale or jug shows: 0.1 g below 10 g, 1 g below 1 kg, then 0.1 kg; likewise for volume.
// Counts and other dimensions print as they are.
func (q Quantity) Metric() string { return q.display(metricPart) }

// USCustomary is the quantity for a cook in pounds and ounces or in spoons, cups, quarts and gallons, rounded
// up at the precision of the measure used ("2 lb 14 oz", "1 qt 2-1/4 cups"). Counts print as they are.
func (q Quantity) USCustomary() string { return q.display(customaryPart) }

func (q Quantity) display(part func(Number, Dimension) string) string {
	d := q.Unit.Dimension()
	base := Gram
	switch d {
	case Mass:
	case Volume:
		base = Millilitre
	default:
		return q.String()
	}
	in, err := q.In(base)
	if err != nil {
		return q.String()
	}
	high := part(in.Amount.High, d)
	if low := part(in.Amount.Low, d); in.Amount.IsRange() && low != high {
		return low + " to " + high
	}
	return high
}

// metricPart formats n grams or millilitres.
func metricPart(n Number, d Dimension) string {
	small, large := "g", "kg"
	if d == Volume {
		small, large = "ml", "l"
	}
	if n.Less(Int(10)) {
		if shown := n.CeilTo(Ratio(1, 10)); shown.Less(Int(10)) {
			return shown.Decimal(1) + " " + small
		}
	}
	if shown := n.Ceil(); shown.Less(Int(1000)) {
		return shown.Decimal(0) + " " + small
	}
	return grouped(n.Div(Int(1000)).CeilTo(Ratio(1, 10)).Decimal(1)) + " " + large
}

// customaryPart formats n grams or millilitres.
func customaryPart(n Number, d Dimension) string {
	if d == Mass {
		return poundsAndOunces(n.Div(poundGram.Div(Int(16))))
	}
	return spoonsAndCups(n.Div(gallonML.Div(Int(768))))
}

func poundsAndOunces(oz Number) string {
	if small := oz.CeilTo(Ratio(1, 4)); small.Less(Int(16)) {
		return small.String() + " oz"
	}
	oz = oz.Ceil()
	lb := oz.Div(Int(16)).Floor()
	rest := oz.Sub(lb.Mul(Int(16)))
	if rest.IsZero() {
		return grouped(lb.String()) + " lb"
	}
	return grouped(lb.String()) + " lb " + rest.String() + " oz"
}

// spoonsAndCups formats a number of US teaspoons.
func spoonsAndCups(tsp Number) string {
	const perTablespoon, perCup, perQuart, perGallon = 3, 48, 192, 768
	if n := tsp.CeilTo(Ratio(1, 4)); n.Less(Int(perTablespoon)) {
		return n.String() + " tsp"
	}
	// Up to a quarter cup: half tablespoons.
	if n := tsp.Div(Int(perTablespoon)).CeilTo(Ratio(1, 2)); n.Less(Int(4)) {
		return n.String() + " tbsp"
	}
	// Up to a gallon: quarter cups, whole quarts apart.
	cups := tsp.Div(Int(perCup)).CeilTo(Ratio(1, 4))
	if cups.Less(Int(perGallon / perCup)) {
		quarts := cups.Div(Int(perQuart / perCup)).Floor()
		rest := cups.Sub(quarts.Mul(Int(perQuart / perCup)))
		return joinParts(quarts, "qt", rest, Cup.Name(rest))
	}
	quarts := tsp.Div(Int(perQuart)).CeilTo(Ratio(1, 4))
	gallons := quarts.Div(Int(perGallon / perQuart)).Floor()
	return joinParts(gallons, "gal", quarts.Sub(gallons.Mul(Int(perGallon/perQuart))), "qt")
}

func joinParts(large Number, largeUnit string, small Number, smallUnit string) string {
	switch {
	case large.IsZero():
		return small.String() + " " + smallUnit
	case small.IsZero():
		return grouped(large.String()) + " " + largeUnit
	}
	return grouped(large.String()) + " " + largeUnit + " " + small.String() + " " + smallUnit
}

// AboutCount is a count of produce for a shopper, rounded up: "about 12 medium".
// kind is the size or form the published weight names; it may be empty.
func AboutCount(n Number, kind string) string {
	s := "about " + grouped(n.Ceil().String())
	if kind != "" {
		s += " " + kind
	}
	return s
}
