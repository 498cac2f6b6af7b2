package web

import (
	"bytes"
	"context"
	"net/url"
	"strconv"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// shoppingPages are a class's shopping list and its versions.
func (p *Pages) shoppingPages() {
	const at = "/kitchens/{kitchen}/classes/{class}/shopping"
	p.tab(20, "shopping", "Shopping list", "/shopping")
	p.get(at, func(v *visit) error { return v.showList("latest", form{}) })
	p.get(at+"/{list}", func(v *visit) error { return v.showList(v.r.PathValue("list"), form{}) })
	p.get(at+"/{list}/live", followList)
	p.get(at+"/compare", compareLists)
	p.post(at, computeList)
	p.post(at+"/{list}/ticks", tickLine)
	p.post(at+"/{list}/carry", carryTicks)
}

// ticksEvery is how soon a tick made through another server shows.
const ticksEvery = time.Second

// bought is a line of a list with whether it is bought.
type bought struct {
	*stillroomv1.ShoppingLine
	// Key tells the line within the page.
	Key, List string
	Ticked    bool
	US        bool
	// Sources are what makes up the need.
	Sources []source
}

// Unit is what the line is in.
func (b bought) Unit() string { return b.GetNeed().GetUnit() }

// source is a recipe line with the stations whose batches ask for it.
type source struct {
	*stillroomv1.RecipeLineConversion
	Stations []string
	Amount   string
}

// section is a part of the shop.
type section struct {
	Title string
	Cost  *stillroomv1.Money
	Lines []bought
}

// shelfList is a shopping list as it is shown.
type shelfList struct {
	Room classroom
	// List is nil when none is computed yet.
	List     *stillroomv1.ShoppingList
	Sections []section
	Progress progress
	Versions []*stillroomv1.ShoppingList
	US       bool
	// Before is the version before with ticks that could be taken over; nil when there is none.
	Before *stillroomv1.ShoppingTicks
	Form   form
}

// progress says how far the shopping has come.
type progress struct {
	Bought, Lines int
	// Left is what the lines not bought yet cost; nil when nothing is priced.
	Left *stillroomv1.Money
	// Newer is the newest version when that is not the one shown; empty otherwise.
	Newer string
}

// us says whether the visitor wants US units, and remembers what they asked for.
func (v *visit) us() bool {
	const cookie = "stillroom-units"
	if asked := v.r.URL.Query().Get("units"); asked == "us" || asked == "metric" {
		v.setCookie(cookie, asked, int((365 * 24 * time.Hour).Seconds()))
		return asked == "us"
	}
	c, err := v.r.Cookie(v.pages.cookieName(v.r, cookie))
	return err == nil && c.Value == "us"
}

// listName is the name of a version of the class's list.
func (v *visit) listName(version string) string {
	return v.name("kitchens", "classes") + "/shoppingLists/" + version
}

func (v *visit) showList(version string, f form) error {
	d := shelfList{US: v.us(), Form: f}
	if d.Form.Values == nil {
		d.Form.Values = url.Values{}
	}
	var ticks *stillroomv1.ShoppingTicks
	var stations []*stillroomv1.Station
	err := v.together(func(ctx context.Context) (err error) {
		d.Room, err = v.classroom(ctx)
		return err
	}, func(ctx context.Context) (err error) {
		d.List, err = v.shopping().GetShoppingList(ctx, &stillroomv1.GetShoppingListRequest{Name: v.listName(version)})
		if version == "latest" && status.Code(err) == codes.NotFound {
			return nil // none yet; classroom tells when the class is not there
		}
		return err
	}, func(ctx context.Context) (err error) {
		ticks, err = v.shopping().GetShoppingTicks(ctx, &stillroomv1.GetShoppingTicksRequest{Name: v.listName(version)})
		if version == "latest" && status.Code(err) == codes.NotFound {
			return nil
		}
		return err
	}, func(ctx context.Context) (err error) {
		stations, err = v.stations(ctx, v.name("kitchens", "classes"))
		return err
	}, func(ctx context.Context) (err error) {
		reply, err := v.shopping().ListShoppingLists(ctx, &stillroomv1.ListShoppingListsRequest{Parent: v.name("kitchens", "classes"), PageSize: 20})
		d.Versions = reply.GetShoppingLists()
		return err
	})
	if err != nil {
		return err
	}
	if d.List == nil {
		return v.renderList("shopping-none", d)
	}
	benches := map[string]string{}
	for _, s := range stations {
		benches[s.GetName()] = s.GetDisplayName()
	}
	d.Sections = sections(d.List, tickedOf(ticks), benches, d.US)
	d.Progress = progressOf(d.List, tickedOf(ticks), d.Versions)
	if d.Before, err = v.ticksBefore(d.List, len(ticks.GetTicks())); err != nil {
		return err
	}
	return v.renderList("shopping", d)
}

func (v *visit) renderList(template string, d shelfList) error {
	p := v.classPage(d.Room, "shopping", "Shopping list", d)
	if d.Form.refused() {
		return v.renderForm(template, p)
	}
	return v.render(template, p)
}

// ticksBefore are the ticks of the version before, when this one has none yet.
func (v *visit) ticksBefore(list *stillroomv1.ShoppingList, ticked int) (*stillroomv1.ShoppingTicks, error) {
	n, err := strconv.Atoi(last(list.GetName()))
	if err != nil || n < 2 || ticked > 0 {
		return nil, nil //nolint:nilerr,nilnil // there is nothing to take over
	}
	ticks, err := v.shopping().GetShoppingTicks(v.ctx, &stillroomv1.GetShoppingTicksRequest{Name: v.listName(strconv.Itoa(n - 1))})
	if err != nil || len(ticks.GetTicks()) == 0 {
		return nil, err
	}
	return ticks, nil
}

// lineKey tells a line of a list within a page.
func lineKey(item, unit string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, item+"-"+unit)
}

func tickedOf(ticks *stillroomv1.ShoppingTicks) map[string]bool {
	all := map[string]bool{}
	for _, t := range ticks.GetTicks() {
		all[lineKey(t.GetItem(), t.GetUnit())] = true
	}
	return all
}

// sections puts the lines under the sections of the shop, which they come in the order of.
func sections(list *stillroomv1.ShoppingList, ticked map[string]bool, benches map[string]string, us bool) []section {
	var all []section
	costs := map[string]*stillroomv1.Money{}
	for _, s := range list.GetSections() {
		costs[s.GetSection()] = s.GetCost()
	}
	for _, line := range list.GetLines() {
		if len(all) == 0 || all[len(all)-1].Title != line.GetSection() {
			all = append(all, section{Title: line.GetSection(), Cost: costs[line.GetSection()]})
		}
		key := lineKey(line.GetItem(), line.GetNeed().GetUnit())
		s := &all[len(all)-1]
		s.Lines = append(s.Lines, bought{
			ShoppingLine: line, Key: key, List: list.GetName(), Ticked: ticked[key], US: us, Sources: sourcesOf(list, line, benches, us),
		})
	}
	return all
}

// sourcesOf gathers a line's contributions by the recipe line they come from.
func sourcesOf(list *stillroomv1.ShoppingList, line *stillroomv1.ShoppingLine, benches map[string]string, us bool) []source {
	var all []source
	at := map[int32]int{}
	sums := map[int]float64{}
	for _, c := range line.GetContributions() {
		i, ok := at[c.GetConversion()]
		if !ok {
			i = len(all)
			at[c.GetConversion()] = i
			s := source{}
			if n := int(c.GetConversion()); n >= 0 && n < len(list.GetConversions()) {
				s.RecipeLineConversion = list.GetConversions()[n]
			}
			all = append(all, s)
		}
		name := benches[c.GetStation()]
		if name == "" {
			name = last(c.GetStation())
		}
		if c.GetTimes() > 1 {
			name += " ×" + strconv.FormatInt(c.GetTimes(), 10)
		}
		all[i].Stations = append(all[i].Stations, name)
		sums[i] += c.GetAmount()
	}
	for i := range all {
		all[i].Amount = amountWords(sums[i], line.GetNeed().GetUnit(), us)
	}
	return all
}

func progressOf(list *stillroomv1.ShoppingList, ticked map[string]bool, versions []*stillroomv1.ShoppingList) progress {
	p := progress{Lines: len(list.GetLines())}
	if list.GetTotal() != nil {
		p.Left = &stillroomv1.Money{CurrencyCode: list.GetTotal().GetCurrencyCode()}
	}
	for _, line := range list.GetLines() {
		switch {
		case ticked[lineKey(line.GetItem(), line.GetNeed().GetUnit())]:
			p.Bought++
		case p.Left != nil:
			p.Left.MinorUnits += line.GetCost().GetMinorUnits()
		}
	}
	if len(versions) > 0 && versions[0].GetName() != list.GetName() {
		p.Newer = versions[0].GetName()
	}
	return p
}

// computeList makes the next version.
func computeList(v *visit) error {
	settings := &stillroomv1.ShoppingSettings{LeaveOutOptional: v.form("leave_out_optional") != "", Shop: v.form("shop")}
	if v.form("aim") == "surplus" {
		settings.Aim = stillroomv1.ShoppingAim_SHOPPING_AIM_LEAST_SURPLUS
	}
	list, err := v.shopping().CreateShoppingList(v.ctx, &stillroomv1.CreateShoppingListRequest{
		Parent: v.name("kitchens", "classes"), Settings: settings, RequestId: v.form("request_id")})
	if err != nil {
		return v.refuse(err, func(f form) error { return v.showList("latest", f) })
	}
	v.pages.nudges.wake(v.name("kitchens", "classes") + "/shopping")
	return v.done("/"+v.name("kitchens", "classes")+"/shopping", "Version "+last(list.GetName())+" is computed.")
}

// tickLine ticks a line off, or takes the tick back.
func tickLine(v *visit) error {
	list, item, unit := v.listName(v.r.PathValue("list")), v.form("item"), v.form("unit")
	var err error
	if v.form("to") == "off" {
		_, err = v.shopping().UntickShoppingLine(v.ctx, &stillroomv1.UntickShoppingLineRequest{Name: list, Item: item, Unit: unit})
	} else {
		_, err = v.shopping().TickShoppingLine(v.ctx, &stillroomv1.TickShoppingLineRequest{Name: list, Item: item, Unit: unit})
	}
	if err != nil {
		return err
	}
	v.pages.nudges.wake(v.name("kitchens", "classes") + "/shopping")
	return v.see("/" + v.name("kitchens", "classes") + "/shopping/" + v.r.PathValue("list") + "#line-" + lineKey(item, unit))
}

// carryTicks takes over the ticks of the version before for the lines that are the same in both.
func carryTicks(v *visit) error {
	list := v.listName(v.r.PathValue("list"))
	n, err := strconv.Atoi(v.r.PathValue("list"))
	if err != nil || n < 2 {
		return status.Error(codes.NotFound, "there is no version before this one")
	}
	before := v.listName(strconv.Itoa(n - 1))
	ticks, err := v.shopping().GetShoppingTicks(v.ctx, &stillroomv1.GetShoppingTicksRequest{Name: before})
	if err != nil {
		return err
	}
	changes, err := v.shopping().CompareShoppingLists(v.ctx, &stillroomv1.CompareShoppingListsRequest{Before: before, After: list})
	if err != nil {
		return err
	}
	changed := map[string]bool{}
	for _, c := range changes.GetChanges() {
		changed[c.GetItem()] = true
	}
	taken := 0
	for _, t := range ticks.GetTicks() {
		if changed[t.GetItem()] {
			continue
		}
		if _, err := v.shopping().TickShoppingLine(v.ctx, &stillroomv1.TickShoppingLineRequest{Name: list, Item: t.GetItem(), Unit: t.GetUnit()}); err != nil {
			return err
		}
		taken++
	}
	v.pages.nudges.wake(v.name("kitchens", "classes") + "/shopping")
	return v.done("/"+v.name("kitchens", "classes")+"/shopping/"+v.r.PathValue("list"),
		count(taken, "tick is", "ticks are")+" taken over; "+count(len(ticks.GetTicks())-taken, "line", "lines")+" changed, so look at them again.")
}

// followList sends the ticks of a list as they change, whoever makes them, and tells when a
// newer version is there.
func followList(v *visit) error {
	list, err := v.shopping().GetShoppingList(v.ctx, &stillroomv1.GetShoppingListRequest{Name: v.listName(v.r.PathValue("list"))})
	if err != nil {
		return v.stream(func(context.Context, *events) error { return err })
	}
	return v.follow(v.name("kitchens", "classes")+"/shopping", ticksEvery, func(ctx context.Context) ([]byte, error) {
		ticks, err := v.shopping().GetShoppingTicks(ctx, &stillroomv1.GetShoppingTicksRequest{Name: list.GetName()})
		if err != nil {
			return nil, err
		}
		newest, err := v.shopping().ListShoppingLists(ctx, &stillroomv1.ListShoppingListsRequest{Parent: v.name("kitchens", "classes"), PageSize: 1})
		if err != nil {
			return nil, err
		}
		ticked := tickedOf(ticks)
		var out bytes.Buffer
		for _, line := range list.GetLines() {
			key := lineKey(line.GetItem(), line.GetNeed().GetUnit())
			part, err := v.fragment("shopping", "tick", bought{ShoppingLine: line, Key: key, List: list.GetName(), Ticked: ticked[key]})
			if err != nil {
				return nil, err
			}
			out.Write(part)
		}
		part, err := v.fragment("shopping", "progress", progressOf(list, ticked, newest.GetShoppingLists()))
		out.Write(part)
		return out.Bytes(), err
	})
}

// comparing is what differs between two versions.
type comparing struct {
	classroom
	Versions      []*stillroomv1.ShoppingList
	Before, After string
	US            bool
	Changes       *stillroomv1.CompareShoppingListsResponse
	Benches       map[string]string
}

func compareLists(v *visit) error {
	class := v.name("kitchens", "classes")
	d := comparing{US: v.us(), Before: v.r.URL.Query().Get("before"), After: v.r.URL.Query().Get("after"), Benches: map[string]string{}}
	err := v.together(func(ctx context.Context) (err error) {
		d.classroom, err = v.classroom(ctx)
		return err
	}, func(ctx context.Context) error {
		stations, err := v.stations(ctx, class)
		for _, s := range stations {
			d.Benches[s.GetName()] = s.GetDisplayName()
		}
		return err
	}, func(ctx context.Context) (err error) {
		d.Versions, err = every(func(token string) (*stillroomv1.ListShoppingListsResponse, error) {
			return v.shopping().ListShoppingLists(ctx, &stillroomv1.ListShoppingListsRequest{Parent: class, PageSize: most, PageToken: token})
		}, (*stillroomv1.ListShoppingListsResponse).GetShoppingLists)
		return err
	})
	if err != nil {
		return err
	}
	if d.Before == "" && d.After == "" && len(d.Versions) > 1 {
		d.Before, d.After = last(d.Versions[1].GetName()), last(d.Versions[0].GetName())
	}
	if d.Before != "" && d.After != "" {
		d.Changes, err = v.shopping().CompareShoppingLists(v.ctx, &stillroomv1.CompareShoppingListsRequest{Before: v.listName(d.Before), After: v.listName(d.After)})
		if err != nil {
			return err
		}
	}
	return v.render("compare", v.classPage(d.classroom, "shopping", "What changed on the list", d))
}
