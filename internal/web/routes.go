package web

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// routes names every page, one line for each area.
func (p *Pages) routes() {
	p.mux.Handle("GET /assets/{file}", p.looks)
	p.sessionPages()
	p.kitchenPages()
	p.myPages()
	p.classPages()
	p.announcePages()
	p.rosterPages()
	p.batchPages()
	p.shoppingPages()
	p.sheetPages()
	p.boardPages()
	p.queuePages()
	p.livePages()
	p.mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		p.visit(w, r).fail(status.Error(codes.NotFound, "there is no such page"))
	})
}

// tab is one of the pages of a class that the head of each of them leads to.
type tab struct {
	// Key tells which tab a page is; Path follows the class's.
	Key, Title, Path string
	order            int
}

// tab adds a page to the head of a class's pages, at a place in their order.
func (p *Pages) tab(order int, key, title, path string) {
	p.tabs = append(p.tabs, tab{Key: key, Title: title, Path: path, order: order})
	slices.SortFunc(p.tabs, func(a, b tab) int { return a.order - b.order })
}

// answerWithin bounds the calls of one page; what stays open ends by stream.
const answerWithin = time.Minute

// get serves a page for reading, to those who are signed in.
func (p *Pages) get(path string, show func(*visit) error) { p.handle("GET "+path, show) }

// namesAskers says whether a page shows the names of those who ask. The services tell
// participants those of all who did not ask unnamed; their pages show none.
func namesAskers(pattern string) bool {
	const class = "/kitchens/{kitchen}/classes/{class}/"
	return strings.Contains(pattern, class+"question") || strings.Contains(pattern, class+"live")
}

// post serves a form that was sent, by those who are signed in.
func (p *Pages) post(path string, act func(*visit) error) { p.handle("POST "+path, act) }

func (p *Pages) handle(pattern string, do func(*visit) error) {
	p.mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
		v := p.visit(w, r)
		var cancel context.CancelFunc
		v.ctx, cancel = context.WithTimeout(v.ctx, answerWithin)
		defer cancel()
		if err := v.identify(); err != nil {
			v.fail(err)
			return
		}
		if v.caller.GetRole() == stillroomv1.Role_ROLE_PARTICIPANT && namesAskers(pattern) {
			v.fail(status.Error(codes.PermissionDenied, "this page says who asked what and is for those who run the class; your own questions are at /my/questions"))
			return
		}
		if err := do(v); err != nil {
			v.fail(err)
		}
	})
}
