package classload

import (
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/kitchen"
	"stillroom/internal/loadplan/class"
)

// because says a cause of the solver's explanation in the class's words.
var because = map[class.Cause]string{
	class.ByCanner:  "the canner was taken until then",
	class.ByFilling: "its jars were lidded only then",
	class.ByStation: "the station was busy until then",
	class.ByBurner:  "no burner was free until then",
	class.ByHandler: "no hand was free to load or unload it before",
	class.ByWaiting: "sooner, its jars would stand hot for too long before their load",
	class.ByReady:   "it begins as soon as the station has prepared",
	class.ByWindow:  "the canner was not to be had before",
	class.ByOpening: "nothing begins before the class opens or, under way, before the present minute",
	class.ByPast:    "it has happened already",
	class.ByNothing: "nothing holds it: it could begin sooner by itself, and nothing would end sooner for it",
}

// chain is what makes the finish what it is, from the last load back to what cannot be moved.
func (p *Problem) chain(r result) ([]Link, error) {
	in, err := class.Build(r.spec)
	if err != nil {
		return nil, invalid(err)
	}
	var links []Link
	for _, l := range in.Explain(r.answer) {
		link := Link{From: l.Start, Until: l.End, Because: because[l.Because]}
		if _, other := p.others[l.Batch]; other {
			link.Because = "it belongs to another class, whose plan stays as it is"
		}
		if l.Load >= 0 {
			link.What = p.sayLoad(r.answer.Loads[l.Load])
		} else {
			link.What = p.sayStage(l.Batch)
		}
		links = append(links, link)
	}
	return links, nil
}

func (p *Problem) sayStage(batch string) string {
	if what, other := p.others[batch]; other {
		return what
	}
	b := p.in.Batches[slices.IndexFunc(p.in.Batches, func(b kitchen.Batch) bool { return b.ID == batch })]
	return fmt.Sprintf("%s cooks and fills %s", b.Station, p.in.Recipes[b.Revision].Title)
}

func (p *Problem) sayLoad(l class.LoadSpec) string {
	n := 0
	var of []string
	for _, b := range p.sorted() {
		if jars := l.Jars[b.ID]; jars > 0 {
			n += jars
			if !slices.Contains(of, b.Station) {
				of = append(of, b.Station)
			}
		}
	}
	name := l.Canner
	if u := p.unit(l.Canner); u != nil {
		name = u.name
	}
	return fmt.Sprintf("%s: %d jars of %s", name, n, strings.Join(of, ", "))
}
