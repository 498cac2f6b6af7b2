package web

import (
	"context"
	"errors"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"stillroom/internal/web/inert"
)

// errElsewhere refuses a form that another site sent.
var errElsewhere = errors.New("a form of another site")

// trouble is a failure in words for people.
type trouble struct {
	Status        int
	Title, Advice string
	// Detail is what the service said.
	Detail string
	// Again offers to try once more.
	Again bool
}

// explain puts the error of a call into words.
func explain(err error) trouble {
	if errors.Is(err, errElsewhere) {
		return trouble{Status: http.StatusForbidden, Title: "This came from somewhere else",
			Advice: "A page of another site tried to send this. If it was you, open the page here and send it again."}
	}
	st := status.Convert(err)
	t := trouble{Detail: inert.Text(st.Message())}
	switch st.Code() {
	case codes.NotFound:
		t.Status, t.Title, t.Advice = http.StatusNotFound, "Nothing here", "It may have been taken away, or the address has a slip in it."
	case codes.PermissionDenied:
		t.Status, t.Title, t.Advice = http.StatusForbidden, "Not for you to open", "Ask the kitchen's owner if you need it."
	case codes.Unauthenticated:
		t.Status, t.Title, t.Advice = http.StatusUnauthorized, "Please sign in", "Sign in, and you come back to this page."
	case codes.InvalidArgument, codes.OutOfRange:
		t.Status, t.Title, t.Advice = http.StatusUnprocessableEntity, "That cannot be taken", "Go back, mend it and send it again."
	case codes.FailedPrecondition, codes.AlreadyExists:
		t.Status, t.Title, t.Advice = http.StatusConflict, "Not as things stand", "Nothing was changed."
	case codes.Aborted:
		t.Status, t.Title, t.Advice, t.Again = http.StatusConflict, "Somebody else was faster", "Nothing of yours was changed. Look at the page anew and try again.", true
	case codes.Unavailable:
		t.Status, t.Title, t.Advice, t.Detail, t.Again = http.StatusServiceUnavailable, "Back in a moment", "The server is starting, stopping or has lost its database. Try again shortly.", "", true
	case codes.DeadlineExceeded, codes.Canceled:
		t.Status, t.Title, t.Advice, t.Detail, t.Again = http.StatusGatewayTimeout, "That took too long", "Try again.", "", true
	case codes.ResourceExhausted:
		t.Status, t.Title, t.Advice, t.Again = http.StatusTooManyRequests, "Too much at once", "Wait a little and try again.", true
	default: // its text is for the log
		t.Status, t.Title, t.Advice, t.Detail = http.StatusInternalServerError, "Something broke", "It was written down for those who look after the server. Try again, or go on elsewhere.", ""
	}
	return t
}

// fail answers with an error in words; who is not signed in is asked to, and comes back.
func (v *visit) fail(err error) {
	if errors.Is(err, context.Canceled) && v.r.Context().Err() != nil {
		return // nobody is there to read it
	}
	t := explain(err)
	if t.Status == http.StatusUnauthorized && isMine(v.r.URL.Path) {
		// A participant has no token to type; a link is what they know.
		v.setCookie(sessionCookie, "", -1)
		v.failing(v.invitationOver(t.Status))
		return
	}
	if t.Status == http.StatusUnauthorized && v.pages.Open && v.pages.token(v.r) != "" {
		// The token of an invitation that is over; without it the visitor is let in as everybody is.
		v.setCookie(sessionCookie, "", -1)
		_ = v.see("/")
		return
	}
	if t.Status == http.StatusUnauthorized && !v.pages.Open {
		then := ""
		if v.r.Method == http.MethodGet && v.r.URL.RequestURI() != "/" {
			then = "?then=" + url.QueryEscape(v.r.URL.RequestURI())
		}
		if v.pages.token(v.r) != "" {
			v.setCookie(sessionCookie, "", -1)
		}
		_ = v.see("/sign-in" + then)
		return
	}
	if t.Status >= http.StatusInternalServerError {
		// The pattern, not the path: paths hold what people named, and secrets.
		v.pages.Log.ErrorContext(v.ctx, "a page failed", "page", v.r.Pattern, "code", status.Code(err).String(), "error", quoted(err))
	}
	if v.r.Pattern == asksPattern && t.Status >= http.StatusInternalServerError {
		if err := v.askUnsent(t, v.asking()); err == nil {
			return
		}
	}
	v.status = t.Status
	if err := v.render("error", page{Title: t.Title, Data: t}); err != nil {
		v.pages.Log.ErrorContext(v.ctx, "the page of an error failed", "error", quoted(err))
		http.Error(v.w, t.Title+". "+t.Advice, t.Status)
	}
}

// failing answers with an error, if there is one.
func (v *visit) failing(err error) {
	if err != nil {
		v.fail(err)
	}
}

// quoted is an error for the log. What a service said may quote what people wrote, and is left out.
func quoted(err error) string {
	if _, ok := status.FromError(err); ok {
		return "of a call; the service has logged it"
	}
	return err.Error()
}

// form is what was typed into a form and what was wrong with it.
type form struct {
	Values url.Values
	// Problems are what the service said, by the last part of the field's name; the empty name is about no field.
	Problems map[string]string
}

func (f form) refused() bool { return len(f.Problems) > 0 }

// refused are the problems of a refused form. False when the error is about something
// else and deserves a page of its own.
func refused(err error) (map[string]string, bool) {
	st, ok := status.FromError(err)
	if err == nil || !ok {
		return nil, false
	}
	problems := map[string]string{}
	for _, d := range st.Details() {
		bad, ok := d.(*errdetails.BadRequest)
		if !ok {
			continue
		}
		for _, violation := range bad.GetFieldViolations() {
			field := violation.GetField()
			// "participant.email", or "csv, line 2, email" for the line of a file that a form was sent as.
			field = strings.TrimSpace(field[strings.LastIndexAny(field, ".,")+1:])
			if problems[field] == "" {
				problems[field] = sentence(violation.GetDescription())
			}
		}
	}
	if len(problems) > 0 {
		return problems, true
	}
	switch st.Code() {
	case codes.InvalidArgument, codes.FailedPrecondition, codes.AlreadyExists, codes.Aborted, codes.OutOfRange:
		return map[string]string{"": sentence(st.Message())}, true
	}
	return nil, false
}

// sentence begins with a capital and ends with a stop.
func sentence(s string) string {
	s = inert.Text(s)
	if s == "" {
		return s
	}
	s = strings.ToUpper(s[:1]) + s[1:]
	if !strings.ContainsAny(s[len(s)-1:], ".!?") {
		s += "."
	}
	return s
}

// refuse renders a form again with what was wrong, or returns the error when it is about something else.
func (v *visit) refuse(err error, show func(form) error) error {
	problems, ok := refused(err)
	if !ok {
		return err
	}
	if err := v.r.ParseForm(); err != nil {
		return err
	}
	// What is about nothing that the form has would not be seen beside a field.
	for _, field := range slices.Sorted(maps.Keys(problems)) {
		if field != "" && !v.r.PostForm.Has(field) {
			problems[""] = strings.TrimSpace(problems[""] + " " + problems[field])
		}
	}
	return show(form{Values: v.r.PostForm, Problems: problems})
}
