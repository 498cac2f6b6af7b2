package web

import (
	"bytes"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/sheets"
	sheetpage "stillroom/internal/web/sheets/page"
)

// sheetPages are the sheets of a class: to look at and print from the browser, and as PDF.
func (p *Pages) sheetPages() {
	p.tab(80, "sheets", "On paper", "/sheets")
	p.get("/kitchens/{kitchen}/classes/{class}/sheets", showSheets)
	p.get("/kitchens/{kitchen}/classes/{class}/sheets/{sheet}", showSheet)
}

// sheetChoice is what the page of all sheets shows and the links on it carry.
type sheetChoice struct {
	Base   string
	Paper  sheetpage.Paper
	Papers []sheetpage.Paper
	Units  string
	Stocks []sheetpage.Stock
	Kinds  []sheets.Kind
	// Query carries paper and units on to a sheet.
	Query string
}

func showSheets(v *visit) error {
	c, err := v.classroom(v.ctx)
	if err != nil {
		return err
	}
	o, err := readSheetOptions(v.r.URL.Query())
	if err != nil {
		return err
	}
	choice := sheetChoice{Base: "/" + c.GetName() + "/sheets/", Paper: o.Paper, Papers: sheetpage.Papers(), Units: "metric", Stocks: sheetpage.Stocks(o.Paper), Query: sheetQuery(o)}
	if o.US {
		choice.Units = "us"
	}
	for _, k := range sheets.Kinds() {
		// Roster and shopping list are for the kitchen's people. Labels have a form of their own.
		if k != sheets.Labels && (v.least(stillroomv1.Role_ROLE_ASSISTANT) || k != sheets.Shopping && k != sheets.SignIn) {
			choice.Kinds = append(choice.Kinds, k)
		}
	}
	return v.render("sheets", v.classPage(c, "sheets", "On paper", choice))
}

// showSheet is a sheet, as a page or, when its name ends with .pdf, as a file.
func showSheet(v *visit) error {
	name, isPDF := strings.CutSuffix(v.r.PathValue("sheet"), ".pdf")
	kind, err := sheets.ReadKind(name)
	if err != nil {
		return status.Error(codes.NotFound, err.Error())
	}
	o, err := readSheetOptions(v.r.URL.Query())
	if err != nil {
		return err
	}
	class := v.name("kitchens", "classes")
	doc, err := sheets.Make(v.ctx, v.pages.Services, kind, class, o)
	if err != nil {
		return err
	}
	var out bytes.Buffer
	if isPDF {
		if err := sheetpage.WritePDF(&out, doc); err != nil {
			return err
		}
		h := v.w.Header()
		h.Set("Content-Type", "application/pdf")
		h.Set("Content-Disposition", fmt.Sprintf(`inline; filename="%s-%s.pdf"`, last(class), kind))
		// A browser shows a file in a page of its own making, which has styles of its own.
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; object-src 'self'; frame-ancestors 'none'")
		v.pages.looks.send(v.w, v.r, v.status, out.Bytes())
		return nil
	}
	if err := sheetpage.WriteHTML(&out, doc, v.sheetChrome(class, kind, o)); err != nil {
		return err
	}
	v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	v.pages.looks.send(v.w, v.r, v.status, out.Bytes())
	return nil
}

// sheetChrome is what stands over a sheet on the screen: the way back, the PDF, the other paper and the other units.
func (v *visit) sheetChrome(class string, kind sheets.Kind, o sheets.Options) sheetpage.Chrome {
	style, _ := v.pages.looks.address("sheets.css") // it is always there; see readLooks
	here := "/" + class + "/sheets/" + string(kind)
	links := []sheetpage.Link{{Text: "All sheets of the class", Address: "/" + class + "/sheets" + sheetQuery(o)}, {Text: "PDF", Address: here + ".pdf" + sheetQuery(o)}}
	if kind != sheets.Labels { // labels belong to one paper
		for _, p := range sheetpage.Papers() {
			to := o
			to.Paper = p
			link := sheetpage.Link{Text: p.Name()}
			if p != o.Paper {
				link.Address = here + sheetQuery(to)
			}
			links = append(links, link)
		}
	}
	if kind == sheets.Shopping || kind == sheets.Stations {
		for _, us := range []bool{false, true} {
			to := o
			to.US = us
			link := sheetpage.Link{Text: map[bool]string{false: "metric", true: "US measures"}[us]}
			if us != o.US {
				link.Address = here + sheetQuery(to)
			}
			links = append(links, link)
		}
	}
	return sheetpage.Chrome{Stylesheet: style, Links: links}
}

// readSheetOptions reads paper, units, labels, start and test from an address.
func readSheetOptions(q url.Values) (o sheets.Options, err error) {
	invalid := func(err error) error { return status.Error(codes.InvalidArgument, err.Error()) }
	o.Paper = sheetpage.A4
	if q.Get("paper") != "" {
		if o.Paper, err = sheetpage.ReadPaper(q.Get("paper")); err != nil {
			return o, invalid(err)
		}
	}
	switch units := q.Get("units"); units {
	case "", "metric":
	case "us":
		o.US = true
	default:
		return o, invalid(fmt.Errorf("units %q: choose metric or us", units))
	}
	if o.Stock, err = sheetpage.ReadStock(o.Paper, q.Get("labels")); err != nil {
		return o, invalid(err)
	}
	o.Start = 1
	if q.Get("start") != "" {
		if o.Start, err = strconv.Atoi(strings.TrimSpace(q.Get("start"))); err != nil || o.Start < 1 || o.Start > o.Stock.Count() {
			return o, invalid(fmt.Errorf("position %q: a sheet of %s has positions 1 to %d", q.Get("start"), o.Stock, o.Stock.Count()))
		}
	}
	o.TestPage = q.Get("test") != ""
	return o, nil
}

// sheetQuery is the part of an address that carries the options on; empty for the usual ones.
func sheetQuery(o sheets.Options) string {
	q := url.Values{}
	if o.Paper != sheetpage.A4 {
		q.Set("paper", string(o.Paper))
	}
	if o.US {
		q.Set("units", "us")
	}
	if o.Stock.Key() != sheetpage.Stocks(o.Paper)[0].Key() {
		if _, err := sheetpage.ReadStock(o.Paper, o.Stock.Key()); err == nil {
			q.Set("labels", o.Stock.Key())
		}
	}
	if o.Start > 1 {
		q.Set("start", strconv.Itoa(o.Start))
	}
	if o.TestPage {
		q.Set("test", "yes")
	}
	if len(q) == 0 {
		return ""
	}
	return "?" + q.Encode()
}
