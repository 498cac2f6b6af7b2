package rpc

import (
	"strconv"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/measure"
	"stillroom/internal/shopping"
	"stillroom/internal/store"
)

// listEncoder writes the parts of one kitchen's list. A season has thousands of contributions of a few hundred
// batches, so names are put together once.
type listEncoder struct {
	kitchen string
	names   map[[3]string]string
}

func newListEncoder(k string) listEncoder {
	return listEncoder{kitchen: k, names: map[[3]string]string{}}
}

// below is the name of a station or batch of a class.
func (e listEncoder) below(class, collection, id string) string {
	key := [3]string{class, collection, id}
	name, ok := e.names[key]
	if !ok {
		name = e.class(class) + "/" + collection + "/" + id
		e.names[key] = name
	}
	return name
}

func encodeList(k string, stored store.StoredList) (*stillroomv1.ShoppingList, error) {
	l, e := stored.List, newListEncoder(k)
	out := &stillroomv1.ShoppingList{
		Name: listNameOf(k, stored.Class, stored.Number), CreateTime: timestamppb.New(stored.CreatedAt),
		Total: encodeMoney(l.Total), CostPerJar: encodeMoney(l.PerJar), CostPerParticipant: encodeMoney(l.PerParticipant),
		Jars: l.Jars, Participants: l.Participants,
		PublishedCount: int32(l.Confidence.Published), NeighbourCount: int32(l.Confidence.Neighbour), UnconvertedCount: int32(l.Confidence.Unconverted),
		UnpricedCount: int32(l.Unpriced), LineCount: int32(l.Lines()), Notes: l.Notes,
	}
	if len(stored.Settings) > 0 {
		out.Settings = &stillroomv1.ShoppingSettings{}
		if err := (protojson.UnmarshalOptions{DiscardUnknown: true}).Unmarshal(stored.Settings, out.Settings); err != nil {
			return nil, err
		}
	}
	for _, it := range l.Items {
		out.Lines = append(out.Lines, e.line(it))
	}
	for _, sheet := range l.Sheets {
		out.Sheets = append(out.Sheets, encodeSheet(k, sheet))
	}
	for i := range l.Conversions {
		out.Conversions = append(out.Conversions, encodeConversion(&l.Conversions[i]))
	}
	for _, c := range l.Classes {
		out.ClassShares = append(out.ClassShares, &stillroomv1.ClassShoppingShare{
			Class: e.class(c.ID), DisplayName: c.Title, Day: string(c.Day), Jars: c.Jars, Participants: c.Participants,
			Cost: encodeMoney(c.Cost), CostPerJar: encodeMoney(c.PerJar), CostPerParticipant: encodeMoney(c.PerParticipant),
		})
	}
	for _, s := range l.Sections {
		out.Sections = append(out.Sections, &stillroomv1.SectionCost{Section: s.Section, LineCount: int32(s.Lines), Cost: encodeMoney(s.Cost)})
	}
	return out, nil
}

func listNameOf(k, class string, number int) string {
	if class == "" {
		return nameOf(kitchenListPattern, k, strconv.Itoa(number))
	}
	return nameOf(classListPattern, k, class, strconv.Itoa(number))
}

func (e listEncoder) class(id string) string {
	key := [3]string{id}
	name, ok := e.names[key]
	if !ok {
		name = nameOf(classPattern, e.kitchen, id)
		e.names[key] = name
	}
	return name
}

func (e listEncoder) station(class, id string) string { return e.below(class, "stations", id) }

func (e listEncoder) batch(class, id string) string {
	if id == "" {
		return ""
	}
	return e.below(class, "batches", id)
}

func (e listEncoder) line(it shopping.Item) *stillroomv1.ShoppingLine {
	out := &stillroomv1.ShoppingLine{
		Item: it.Item, DisplayName: it.Name, Section: it.Section, PreparedGrams: it.Prepared.Float64(),
		Need: measuredOf(it.Need, it.Unit), AllowanceBp: it.AllowanceBP, Allowance: measuredOf(it.Allowance, it.Unit),
		OnHand: measuredOf(it.OnHand, it.Unit), ToBuy: measuredOf(it.ToBuy, it.Unit), About: it.About,
		Cost: encodeMoney(it.Cost), Proven: it.Proven, AcidityPermille: int32(it.Acidity), Confidence: confidences[it.Confidence], Remarks: it.Remarks,
	}
	if len(it.Basket) > 0 {
		out.Surplus = measuredOf(it.Surplus, it.Unit)
		out.Surplus.Metric, out.Surplus.UsCustomary = shopping.Metric.AtMost(it.Surplus, it.Unit), shopping.Customary.AtMost(it.Surplus, it.Unit)
	}
	for _, p := range it.Basket {
		out.Basket = append(out.Basket, &stillroomv1.PackPurchase{
			Offer: nameOf(offerPattern, e.kitchen, p.Offer), Label: p.Label, Shop: p.Shop, Kind: offerKindOf[p.Kind], Count: p.Count,
			Content: measuredOf(p.Content, it.Unit), Cost: encodeMoney(p.Cost),
			Metric: p.Text(shopping.Metric, it.Unit), UsCustomary: p.Text(shopping.Customary, it.Unit),
		})
	}
	for _, u := range it.StockUsed {
		out.StockUsed = append(out.StockUsed, &stillroomv1.StockUse{StockItem: nameOf(stockItemPattern, e.kitchen, u.Stock), Used: measuredOf(u.Used, it.Unit)})
	}
	for _, c := range it.Contributions {
		out.Contributions = append(out.Contributions, &stillroomv1.ShoppingContribution{
			Class: e.class(c.Class), Station: e.station(c.Class, c.Station), Batch: e.batch(c.Class, c.Batch), Conversion: int32(c.Conversion),
			Times: c.Times, Part: c.Part, Of: c.Of, Amount: c.Amount.Float64(), PreparedGrams: c.Prepared.Float64(),
		})
	}
	return out
}

func encodeSheet(k string, sheet shopping.Sheet) *stillroomv1.BringSheet {
	m := &stillroomv1.BringSheet{
		Class: nameOf(classPattern, k, sheet.Class), Station: nameOf(stationPattern, k, sheet.Class, sheet.Station),
		Participant: nameOf(participantPattern, k, sheet.Participant), DisplayName: sheet.Name,
	}
	for _, line := range sheet.Lines {
		m.Lines = append(m.Lines, &stillroomv1.BringLine{Item: line.Item, DisplayName: line.Name, Amount: measuredOf(line.Amount, line.Unit)})
	}
	return m
}

func encodeConversion(c *shopping.Conversion) *stillroomv1.RecipeLineConversion {
	out := &stillroomv1.RecipeLineConversion{
		Recipe: c.Recipe, Line: c.Line, Text: c.Text, Item: c.Item, PerJar: encodeJarSize(c.PerJar), Stated: measuredOf(c.Own, c.OwnUnit),
		PreparedGrams: c.Prepared.Float64(), PurchasedGrams: c.Purchased.Float64(), Confidence: confidences[c.Confidence], Remarks: c.Remarks,
	}
	for _, f := range []*shopping.Factor{c.Weight, c.Yield} {
		if f != nil {
			out.Figures = append(out.Figures, encodeFigure(*f))
		}
	}
	for _, f := range c.Also {
		out.AlsoPublished = append(out.AlsoPublished, encodeFigure(f))
	}
	return out
}

func encodeFigure(f shopping.Factor) *stillroomv1.PublishedFigure {
	return &stillroomv1.PublishedFigure{
		Kind: f.Kind, IngredientKey: f.Key, Form: f.Form, Measure: f.Measure, Value: f.Value,
		Source: &stillroomv1.Source{Publication: f.Publication, Locator: f.Locator}, Checked: f.Checked, Text: f.String(),
	}
}

func encodeChanges(k string, changes shopping.Changes) *stillroomv1.CompareShoppingListsResponse {
	e := newListEncoder(k)
	out := &stillroomv1.CompareShoppingListsResponse{TotalBefore: encodeMoney(changes.TotalBefore), TotalAfter: encodeMoney(changes.TotalAfter)}
	for _, c := range changes.Lines {
		m := &stillroomv1.ShoppingLineChange{
			Item: c.Item, DisplayName: c.Name, CostBefore: encodeMoney(c.CostBefore), CostAfter: encodeMoney(c.CostAfter),
			Metric: c.Text(shopping.Metric), UsCustomary: c.Text(shopping.Customary),
		}
		if c.NeedBefore > 0 {
			m.Before = measuredOf(c.ToBuyBefore, c.Unit)
		}
		if c.NeedAfter > 0 {
			m.After = measuredOf(c.ToBuyAfter, c.Unit)
		}
		for _, cause := range c.Causes {
			m.Causes = append(m.Causes, &stillroomv1.ShoppingCause{
				Class: e.class(cause.Class), Station: e.station(cause.Class, cause.Station), Batch: e.batch(cause.Class, cause.Batch),
				Text: cause.Text, Recipe: cause.Recipe, Before: measuredOf(cause.Before, c.Unit), After: measuredOf(cause.After, c.Unit),
			})
		}
		out.Changes = append(out.Changes, m)
	}
	return out
}

// measuredOf states a quantity for programs and in the words of both systems.
func measuredOf(f shopping.Fine, unit measure.Unit) *stillroomv1.Measured {
	return &stillroomv1.Measured{
		Amount: f.Float64(), Unit: string(unit), Metric: shopping.Metric.Amount(f, unit), UsCustomary: shopping.Customary.Amount(f, unit),
	}
}
