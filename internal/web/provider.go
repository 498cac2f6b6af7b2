package web

import (
	"context"
	"net/http"
	"net/url"
	"strconv"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"stillroom/internal/fault"
)

// SignIns are the identity providers by which visitors may sign in.
type SignIns interface {
	// Titles are what people know the providers by.
	Titles() []string
	// Begin gives the address of a provider where somebody signs in, who is then sent back, and what to keep
	// at their browser until Finish.
	Begin(ctx context.Context, which int, back string) (address, keep string, err error)
	// Finish gives the token of somebody who was sent back with a code.
	Finish(ctx context.Context, keep, state, code string) (token string, err error)
}

const (
	// attemptCookie holds what an identity provider's answer must fit, and thenCookie where to go after it.
	attemptCookie = "stillroom-attempt"
	thenCookie    = "stillroom-then"
	// attemptSeconds is how long somebody may take to sign in at their provider.
	attemptSeconds = 600
	// backPath is where providers send visitors back to.
	backPath = "/signed-in"
)

// signInPage is what the page to sign in shows.
type signInPage struct {
	Form      form
	Providers []providerLink
}

// providerLink leads to signing in by a provider.
type providerLink struct{ Title, Path string }

// providers are the links to the providers, which remember where the visitor wanted to go.
func (v *visit) providers() []providerLink {
	if v.pages.SignIns == nil {
		return nil
	}
	query := ""
	if then := v.r.FormValue("then"); then != "" {
		query = "?then=" + url.QueryEscape(then)
	}
	var links []providerLink
	for i, title := range v.pages.SignIns.Titles() {
		links = append(links, providerLink{title, "/sign-in/by/" + strconv.Itoa(i) + query})
	}
	return links
}

func (p *Pages) providerPages() {
	if p.SignIns == nil {
		return
	}
	p.mux.HandleFunc("GET /sign-in/by/{provider}", func(w http.ResponseWriter, r *http.Request) {
		v := p.visit(w, r)
		v.failing(v.toProvider(r.PathValue("provider")))
	})
	p.mux.HandleFunc("GET "+backPath, func(w http.ResponseWriter, r *http.Request) {
		v := p.visit(w, r)
		v.failing(v.fromProvider(r.URL.Query()))
	})
}

// toProvider sends the visitor to their provider.
func (v *visit) toProvider(which string) error {
	n, err := strconv.Atoi(which)
	if err != nil {
		n = -1
	}
	address, keep, err := v.pages.SignIns.Begin(v.r.Context(), n, v.pages.address(v.r, backPath))
	if err != nil {
		return inStatus(err)
	}
	v.setCookie(attemptCookie, keep, attemptSeconds)
	v.setCookie(thenCookie, url.QueryEscape(within(v.r.URL.Query().Get("then"))), attemptSeconds)
	return v.see(address)
}

// fromProvider begins the session of a visitor whom their provider sent back. The address
// holds a code, so it is left at once.
func (v *visit) fromProvider(answer url.Values) error {
	v.w.Header().Set("Referrer-Policy", "no-referrer")
	var keep, then string
	if c, err := v.r.Cookie(v.pages.cookieName(v.r, attemptCookie)); err == nil {
		keep = c.Value
	}
	if c, err := v.r.Cookie(v.pages.cookieName(v.r, thenCookie)); err == nil {
		then, _ = url.QueryUnescape(c.Value)
	}
	v.setCookie(attemptCookie, "", -1)
	v.setCookie(thenCookie, "", -1)
	f := form{Values: url.Values{"then": {within(then)}}, Problems: map[string]string{}}
	token, err := v.pages.SignIns.Finish(v.r.Context(), keep, answer.Get("state"), answer.Get("code"))
	switch fault.KindOf(err) {
	case fault.Unauthenticated, fault.Denied:
		f.Problems[""] = sentence(err.Error())
		return v.signIn(f)
	}
	if err != nil {
		return inStatus(err)
	}
	if !plausible(token) {
		f.Problems[""] = "Your identity provider's token is too long for a browser to keep; ask those who run it for one with fewer claims."
		return v.signIn(f)
	}
	caller, err := v.who(token)
	if err != nil {
		return err
	}
	v.begin(token, caller)
	return v.see(within(then))
}

// inStatus puts a fault of the providers into the words that errors of calls have.
func inStatus(err error) error {
	switch fault.KindOf(err) {
	case fault.NotFound:
		return status.Error(codes.NotFound, err.Error())
	case fault.Unavailable:
		return status.Error(codes.Unavailable, err.Error())
	}
	return err
}
