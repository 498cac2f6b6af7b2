// Package measure holds quantities and units: what a cook writes, exactly.
//
// A [Number] is an exact rational. A [Unit] is a registered unit with a
// [Dimension]; an [Amount] is one number or a range; a [Quantity] is an amount
// in a unit. Conversions are exact, because the definitions behind them are
// (inch 25.4 mm, pound 0.45359237 kg, US gallon 231 cubic inches).
//
// Reading what cooks write:
//
//	q, err := measure.ParseQuantity("1-1/2 cups") // also "1½ c", "1 1/2 cups", "2 to 3 lb", "1 lb 4 oz"
//	ml, err := q.In(measure.Millilitre)
//
// Writing it back, never below the need: [Quantity.Metric] and
// [Quantity.USCustomary] round up at the precision a cook can measure.
//
// An [Altitude] is kept in metres and compared, exactly, with the feet that
// process tables print: 304.8 m is 1,000 ft and belongs to the band that ends
// there, 1,000.5 ft does not.
//
// Count units (clove, stalk, bunch, can …) have a name and no size: nothing here
// turns a bunch into grams. That takes a published weight.
package measure
