package web

import (
	"net/http"
	"net/url"
	"strings"
	"time"
	"unicode/utf8"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/inert"
)

// The cookie of a session carries the visitor's token itself. So a session works on every
// server and after a restart, ends with the token, and there is nothing to keep.
const (
	sessionCookie = "stillroom-session"
	noticeCookie  = "stillroom-notice"
	// securePrefix makes browsers refuse the cookie over plain text, for other paths and for other hosts.
	securePrefix = "__Host-"
	// longestToken leaves room in the 4,096 bytes that browsers keep of a cookie (RFC 6265, 6.1); tokens of
	// identity providers are long.
	longestToken = 3800
	// longestSession bounds a session whose token never ends, the operator's.
	longestSession = 12 * time.Hour
)

func (p *Pages) sessionPages() {
	p.mux.HandleFunc("GET /sign-in", func(w http.ResponseWriter, r *http.Request) {
		v := p.visit(w, r)
		v.failing(v.signIn(form{Values: url.Values{"then": {r.URL.Query().Get("then")}}}))
	})
	p.mux.HandleFunc("POST /sign-in", func(w http.ResponseWriter, r *http.Request) {
		v := p.visit(w, r)
		v.failing(v.signedIn())
	})
	p.providerPages()
	p.mux.HandleFunc("POST /sign-out", func(w http.ResponseWriter, r *http.Request) {
		v := p.visit(w, r)
		v.setCookie(sessionCookie, "", -1)
		v.failing(v.done("/sign-in", "You are signed out."))
	})
	p.mux.HandleFunc("GET /join", func(w http.ResponseWriter, r *http.Request) {
		v := p.visit(w, r)
		v.failing(v.joinInstead())
	})
	p.mux.HandleFunc("GET /join/{secret}", func(w http.ResponseWriter, r *http.Request) {
		v := p.visit(w, r)
		v.failing(v.join(r.PathValue("secret")))
	})
}

// cookieName is the name of a cookie as it is sent to a visitor.
func (p *Pages) cookieName(r *http.Request, name string) string {
	if p.secure(r) {
		return securePrefix + name
	}
	return name
}

// token is the visitor's token; empty when there is none.
func (p *Pages) token(r *http.Request) string {
	c, err := r.Cookie(p.cookieName(r, sessionCookie))
	if err != nil || !plausible(c.Value) {
		return ""
	}
	return c.Value
}

// plausible says whether a text may be a token; another is never sent on.
func plausible(token string) bool {
	if token == "" || len(token) > longestToken {
		return false
	}
	for _, r := range token {
		if r <= ' ' || r > '~' || strings.ContainsRune(`",;\`, r) {
			return false
		}
	}
	return true
}

// setCookie sets a cookie for some seconds; below zero removes it, zero keeps it until the browser ends.
func (v *visit) setCookie(name, value string, seconds int) {
	http.SetCookie(v.w, &http.Cookie{
		Name: v.pages.cookieName(v.r, name), Value: value, Path: "/", MaxAge: seconds,
		HttpOnly: true, SameSite: http.SameSiteLaxMode, Secure: v.pages.secure(v.r),
	})
}

func (v *visit) signIn(f form) error {
	p := page{Title: "Sign in", Plain: true, Data: signInPage{Form: f, Providers: v.providers()}}
	if f.refused() {
		return v.renderForm("sign-in", p)
	}
	return v.render("sign-in", p)
}

// signedIn takes a token that was pasted.
func (v *visit) signedIn() error {
	token := v.form("token")
	f := form{Values: url.Values{"then": {v.form("then")}}, Problems: map[string]string{}}
	switch caller, err := v.who(token); {
	case token == "":
		f.Problems["token"] = "Paste the token you were given."
	case status.Code(err) == codes.Unauthenticated:
		f.Problems["token"] = "This token lets nobody in: it is not known, has expired or was ended. Ask the kitchen's owner for another."
	case err != nil:
		return err
	default:
		v.begin(token, caller)
		return v.see(within(v.form("then")))
	}
	return v.signIn(f)
}

// who asks the services whom a token belongs to.
func (v *visit) who(token string) (*stillroomv1.Caller, error) {
	if !plausible(token) {
		return nil, status.Error(codes.Unauthenticated, "that is no token")
	}
	return v.access().GetCaller(withToken(fromVisitor(v.r), token), &stillroomv1.GetCallerRequest{})
}

// begin starts a session that lasts as long as its token.
func (v *visit) begin(token string, caller *stillroomv1.Caller) {
	life := longestSession
	if until := caller.GetExpireTime(); until != nil {
		life = until.AsTime().Sub(v.pages.Now())
	}
	v.setCookie(sessionCookie, token, max(1, int(life/time.Second)))
}

// join opens an invitation. The address holds the secret, so it is left at once; nothing
// of it is told to other sites, and the page that asks is not kept.
func (v *visit) join(secret string) error {
	v.w.Header().Set("Referrer-Policy", "no-referrer")
	caller, err := v.who(secret)
	if status.Code(err) == codes.Unauthenticated {
		return v.invitationOver(http.StatusNotFound)
	}
	if err != nil {
		return err
	}
	if token := v.pages.token(v.r); token != "" && token != secret {
		if _, err := v.who(token); err == nil {
			// Somebody else's link must not quietly make an instructor a participant.
			v.setCookie(pendingCookie, secret, pendingSeconds)
			return v.see("/join")
		}
	}
	v.begin(secret, caller)
	return v.see("/")
}

// within is a path of these pages to go on to, the first page for anything else.
func within(path string) string {
	u, err := url.Parse(path)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(path, "/") || strings.HasPrefix(path, "//") || strings.ContainsAny(path, "\\\r\n") {
		return "/"
	}
	return path
}

// longestNotice bounds what a notice says.
const longestNotice = 400

// leaveNotice keeps a sentence for the next page.
func (v *visit) leaveNotice(text string) {
	text = inert.Text(text) // names stand within it
	for len(text) > longestNotice {
		_, size := utf8.DecodeLastRuneInString(text)
		text = text[:len(text)-size]
	}
	v.setCookie(noticeCookie, url.QueryEscape(text), 60)
}

// takeNotice is the sentence that the page before left.
func (v *visit) takeNotice() string {
	c, err := v.r.Cookie(v.pages.cookieName(v.r, noticeCookie))
	if err != nil {
		return ""
	}
	v.setCookie(noticeCookie, "", -1)
	text, err := url.QueryUnescape(c.Value)
	if err != nil || len(text) > longestNotice {
		return ""
	}
	return text
}
