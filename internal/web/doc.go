// Package web serves the pages. It is one more client of the services: it knows the
// contract and a connection, and calls with the visitor's own token, so a page can do
// nothing that a call could not.
//
// # Making a page
//
// Each area has a file with a function that names its pages, called from routes.go:
//
//	func (p *Pages) classPages() {
//		p.get("/kitchens/{kitchen}/classes/{class}", showClass)
//		p.post("/kitchens/{kitchen}/classes/{class}/enrolments", enrol)
//	}
//
// A page is a function of a visit. It calls the services and renders a template, or
// returns the error of a call, which becomes a page in plain words (errors.go):
//
//	func showClass(v *visit) error {
//		c, err := v.classroom(v.ctx)
//		if err != nil {
//			return err
//		}
//		return v.render("class", v.classPage(c, "class", c.GetDisplayName(), c))
//	}
//
// p.tab(20, "board", "Canner board", "/board") adds a page to the head of a class's pages.
//
// templates/class.html defines "content", and "head" when it needs a style sheet or a
// script of its own ({{asset "board.css"}} is its address). Styles and scripts are files
// under assets; the policy sent with each page forbids them in the page. A part of a page
// that changes while people look has an id and a template of its own.
//
// A form posts, and works without a script. What the service refused is put beside the
// fields: refused(err) gives the problems by field, {{template "field" (field .Form "email" …)}}
// shows them, and v.renderForm answers 422. After success v.done(address, "what happened")
// sends the visitor on. A form with data-swap="ids" is sent by live.js instead, which
// then swaps only the parts with these ids.
//
// A part that is live stands in an element with data-live="ADDRESS"; the page behind
// that address calls v.stream and sends fragments, each an element with an id, which
// live.js puts in the place of the one it has (stream.go).
//
// Participants have pages of their own under /my (my.go), which a link opens; they show nobody else's name.
//
// Times are shown by the clock of the site: {{clock .Zone .Time}}. What people wrote is
// always put in by the template, never by template.HTML, and stands in an element with
// dir="auto" or in <bdi>, so that it cannot turn the text around it; where neither can be,
// in options, attributes and sentences made in Go, it goes through {{said}} or inert.Text.
package web
