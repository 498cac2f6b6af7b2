// Package chart lays out a canner board: rows on a common clock, each with loads made of spans that are told apart by
// texture and by label, never by colour.
//
// A Chart holds plain values. Place turns it into boxes in any unit of length, so that the wall chart on paper
// (millimetres) and the board on a screen (user units of an SVG) are one drawing. SVG writes the boxes as an element
// that a page embeds: classes for a stylesheet, no inline style, a name for every load, and every load in the order
// of the keyboard.
//
//	board := chart.Chart{
//		Opens: opens, Closes: closes, Zone: zone,
//		Rows: []chart.Row{{Name: "Big canner", Loads: []chart.Load{{
//			Label: "9 half-pint", Name: "Big canner, load 1: 9 half-pint jars, in at 10:19, out at 10:54",
//			Spans: []chart.Span{{Kind: chart.ComeUp, From: in, Until: boil}, {Kind: chart.Process, From: boil, Until: off}},
//		}}}},
//	}
//	svg := board.Place(chart.ScreenSize).SVG("board", "Canners on Saturday")
//
// A page with several charts gives each an id of its own; a page that redraws a chart sends the same id again.
// The line for now carries data-now, and the element data-opens, data-closes, data-left and data-width, so that a
// script can move the line without knowing the layout.
package chart
