package sheets

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"stillroom/internal/web/sheets/page"
	"stillroom/internal/web/words"
)

// Kind is a kind of sheet, as commands and addresses call it.
type Kind string

// The kinds of sheet.
const (
	Shopping  Kind = "shopping"
	Stations  Kind = "stations"
	Board     Kind = "board"
	Labels    Kind = "labels"
	SignIn    Kind = "sign-in"
	SealCheck Kind = "seal-check"
)

// Kinds are all kinds of sheet, in the order of the evening before and the day.
func Kinds() []Kind { return []Kind{Shopping, SignIn, Stations, Board, Labels, SealCheck} }

var titles = map[Kind][2]string{
	Shopping:  {"Shopping list", "The newest shopping list, by section of the shop, to tick off"},
	SignIn:    {"Sign-in", "Who comes and where they work, with room to sign, and the waiting list"},
	Stations:  {"Station cards", "A card for each station: recipe, weights, steps with times of day, canners"},
	Board:     {"Canner board", "The canners and stations on a common clock, for the wall, and a table of the loads"},
	Labels:    {"Jar labels", "A label for every jar: product, date, batch, process"},
	SealCheck: {"Seal check", "Every jar the day after, and what to do with one that did not seal"},
}

// Title names a kind of sheet.
func (k Kind) Title() string { return titles[k][0] }

// Says is what a kind of sheet is for.
func (k Kind) Says() string { return titles[k][1] }

// ReadKind reads the name of a kind of sheet.
func ReadKind(s string) (Kind, error) {
	if k := Kind(s); slices.Contains(Kinds(), k) {
		return k, nil
	}
	var all []string
	for _, k := range Kinds() {
		all = append(all, string(k))
	}
	return "", fmt.Errorf("there is no sheet %q; there are %s", s, strings.Join(all, ", "))
}

// Options are how a sheet is made.
type Options struct {
	// Paper it is printed on; A4 when empty.
	Paper page.Paper
	// US shows US customary measures instead of metric ones, on the shopping list and the station cards.
	US bool
	// Stock of labels; the usual one of the paper when its count is 0.
	Stock page.Stock
	// Start is the first free position on the first sheet of labels, from 1; 0 means 1.
	Start int
	// TestPage prints the edges of the labels and no label, to be held against a sheet of the stock.
	TestPage bool
}

// Make asks the services for what a sheet of a class needs and makes it. The class is "kitchens/{kitchen}/classes/{class}".
// Errors are those of the calls, and FAILED_PRECONDITION where the class lacks what the sheet is made from.
func Make(ctx context.Context, conn grpc.ClientConnInterface, kind Kind, class string, o Options) (page.Document, error) {
	if o.Paper == "" {
		o.Paper = page.A4
	}
	if kind == Labels {
		if err := o.checkLabels(); err != nil {
			return page.Document{}, err
		}
		if o.TestPage {
			return testPage(o), nil
		}
	}
	sheet, ok := map[Kind]func(*material, Options) (page.Document, error){
		Shopping: shoppingSheet, Stations: stationCards, Board: boardChart, Labels: jarLabels, SignIn: signInSheet, SealCheck: sealCheck,
	}[kind]
	if !ok {
		_, err := ReadKind(string(kind))
		return page.Document{}, status.Error(codes.InvalidArgument, err.Error())
	}
	m, err := gather(ctx, conn, class, needs[kind])
	if err != nil {
		return page.Document{}, err
	}
	doc, err := sheet(m, o)
	doc.Title, doc.Paper = kind.Title(), o.Paper
	return doc, err
}

// about says of which class a sheet is: its name, its day with the hours, its place.
func (m *material) about() []string {
	opens := m.class.GetStartTime().AsTime()
	closes := opens.Add(time.Duration(m.class.GetDurationMinutes()) * time.Minute)
	return []string{
		m.class.GetDisplayName(),
		fmt.Sprintf("%s, %s to %s · %s, %s", words.Day(opens, m.zone), opens.In(m.zone).Format("15:04"), closes.In(m.zone).Format("15:04"),
			m.site.GetDisplayName(), words.Altitude(m.site.GetAltitude())),
	}
}

// moment says when something was computed, by the site's clock.
func (m *material) moment(t time.Time) string { return t.In(m.zone).Format("2 Jan 2006, 15:04") }
