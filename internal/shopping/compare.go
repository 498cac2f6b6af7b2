package shopping

import (
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/measure"
)

// Change is what differs between two versions of one line.
type Change struct {
	Item string
	Name string
	Unit measure.Unit
	// NeedBefore and NeedAfter are as purchased, ToBuyBefore and ToBuyAfter with allowance and stock; zero where
	// the line is not on that list.
	NeedBefore, NeedAfter   Fine
	ToBuyBefore, ToBuyAfter Fine
	CostBefore, CostAfter   Money
	// BasketBefore and BasketAfter are the packs.
	BasketBefore, BasketAfter []Purchase
	// Causes are the contributions that differ.
	Causes []Cause
}

// Cause is a contribution that differs between two versions.
type Cause struct {
	Class, Station, Batch string
	// Text is the recipe line, Recipe its recipe.
	Text, Recipe  string
	Before, After Fine
}

// Changes is what differs between two lists.
type Changes struct {
	Lines                                 []Change
	TotalBefore, TotalAfter               Money
	JarsBefore, JarsAfter                 int64
	ParticipantsBefore, ParticipantsAfter int64
	UnconvertedBefore, UnconvertedAfter   int
}

type lineKey struct {
	item string
	unit measure.Unit
}

// Compare says what changed from one version of a list to another, line by line in the order of the later list,
// lines that went away last.
func Compare(before, after *List) Changes {
	changes := Changes{
		TotalBefore: before.Total, TotalAfter: after.Total, JarsBefore: before.Jars, JarsAfter: after.Jars,
		ParticipantsBefore: before.Participants, ParticipantsAfter: after.Participants,
		UnconvertedBefore: before.Confidence.Unconverted, UnconvertedAfter: after.Confidence.Unconverted,
	}
	old := map[lineKey]*Item{}
	for i := range before.Items {
		old[keyOf(&before.Items[i])] = &before.Items[i]
	}
	seen := map[lineKey]bool{}
	for i := range after.Items {
		now := &after.Items[i]
		key := keyOf(now)
		seen[key] = true
		was := old[key]
		if was == nil {
			was = &Item{}
		}
		if c := change(before, after, was, now); c != nil {
			changes.Lines = append(changes.Lines, *c)
		}
	}
	for i := range before.Items {
		if was := &before.Items[i]; !seen[keyOf(was)] {
			if c := change(before, after, was, &Item{Item: was.Item, Name: was.Name, Unit: was.Unit}); c != nil {
				changes.Lines = append(changes.Lines, *c)
			}
		}
	}
	return changes
}

func keyOf(it *Item) lineKey { return lineKey{it.Item, it.Unit} }

func change(before, after *List, was, now *Item) *Change {
	if was.Need == now.Need && was.ToBuy == now.ToBuy && was.Cost == now.Cost && slices.Equal(was.Basket, now.Basket) {
		return nil
	}
	return &Change{
		Item: now.Item, Name: now.Name, Unit: now.Unit,
		NeedBefore: was.Need, NeedAfter: now.Need, ToBuyBefore: was.ToBuy, ToBuyAfter: now.ToBuy,
		CostBefore: was.Cost, CostAfter: now.Cost, BasketBefore: was.Basket, BasketAfter: now.Basket,
		Causes: causes(before, after, was, now),
	}
}

type causeKey struct{ class, station, batch, line, text string }

// causes pairs the contributions of two lines by class, station, batch and recipe line.
func causes(before, after *List, was, now *Item) []Cause {
	var order []causeKey
	found := map[causeKey]*Cause{}
	take := func(l *List, it *Item, into func(*Cause, Fine)) {
		for _, c := range it.Contributions {
			conversion := l.Conversions[c.Conversion]
			key := causeKey{c.Class, c.Station, c.Batch, conversion.Line, conversion.Text}
			cause := found[key]
			if cause == nil {
				cause = &Cause{Class: c.Class, Station: c.Station, Batch: c.Batch, Text: conversion.Text, Recipe: conversion.Recipe}
				found[key] = cause
				order = append(order, key)
			}
			into(cause, c.Amount)
		}
	}
	take(before, was, func(c *Cause, f Fine) { c.Before += f })
	take(after, now, func(c *Cause, f Fine) { c.After += f })
	var list []Cause
	for _, key := range order {
		if c := found[key]; c.Before != c.After {
			list = append(list, *c)
		}
	}
	return list
}

// Text is the change in a sentence: "onions: 1.2 kg more (2.4 kg, was 1.2 kg)".
func (c Change) Text(s System) string {
	var b strings.Builder
	b.WriteString(c.Name + ": ")
	amount := func(f Fine) string { return s.Amount(f, c.Unit) }
	switch {
	case c.NeedBefore == 0 && c.NeedAfter > 0:
		fmt.Fprintf(&b, "new, %s", amount(c.ToBuyAfter))
	case c.NeedAfter == 0 && c.NeedBefore > 0:
		fmt.Fprintf(&b, "no longer needed (was %s)", amount(c.ToBuyBefore))
	case c.ToBuyAfter > c.ToBuyBefore:
		fmt.Fprintf(&b, "%s more (%s, was %s)", amount(c.ToBuyAfter-c.ToBuyBefore), amount(c.ToBuyAfter), amount(c.ToBuyBefore))
	case c.ToBuyAfter < c.ToBuyBefore:
		fmt.Fprintf(&b, "%s less (%s, was %s)", amount(c.ToBuyBefore-c.ToBuyAfter), amount(c.ToBuyAfter), amount(c.ToBuyBefore))
	default:
		fmt.Fprintf(&b, "still %s", amount(c.ToBuyAfter))
	}
	if d := c.CostAfter.Minor - c.CostBefore.Minor; d != 0 {
		currency := orElse(c.CostAfter.Currency, c.CostBefore.Currency)
		if d > 0 {
			fmt.Fprintf(&b, ", %s more to pay", Money{d, currency})
		} else {
			fmt.Fprintf(&b, ", %s less to pay", Money{-d, currency})
		}
	}
	return b.String()
}
