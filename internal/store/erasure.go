package store

import (
	"context"
	"strings"
	"time"
	"unicode/utf8"

	"stillroom/internal/access"
	"stillroom/internal/kitchen"
	"stillroom/internal/questions"
	"stillroom/internal/reference"
	"stillroom/internal/store/db"
)

// Held is everything a kitchen holds about one participant.
type Held struct {
	Participant kitchen.Participant
	Enrolments  []kitchen.Enrolment
	Questions   []questions.Question
	// Endorsed are the ids of others' questions that they want answered too.
	Endorsed []string
	Tokens   []access.Token
	Seals    []kitchen.SealCheck
	// Record is what was done to them, and what they did with their tokens.
	Record []access.Entry
}

// HeldAbout gathers what the kitchen holds about a participant; resource is the name
// by which the record of changes calls them.
func (t *Tx) HeldAbout(ctx context.Context, id, resource string) (Held, error) {
	var held Held
	var err error
	if held.Participant, err = t.Participant(ctx, id); err != nil {
		return Held{}, err
	}
	places, err := t.q.EnrolmentsOf(ctx, db.EnrolmentsOfParams{KitchenID: t.kitchen, Slug: id})
	if err != nil {
		return Held{}, err
	}
	for _, place := range places {
		e, err := t.Enrolment(ctx, place.ClassSlug, place.Slug)
		if err != nil {
			return Held{}, err
		}
		held.Enrolments = append(held.Enrolments, e)
	}
	asked, err := t.q.QuestionsBy(ctx, db.QuestionsByParams{KitchenID: t.kitchen, Slug: id})
	if err != nil {
		return Held{}, err
	}
	if held.Questions, err = toQuestions(asked); err != nil {
		return Held{}, err
	}
	if held.Endorsed, err = t.EndorsedBy(ctx, id); err != nil {
		return Held{}, err
	}
	seals, err := t.q.SealChecksBy(ctx, db.SealChecksByParams{KitchenID: t.kitchen, Slug: id})
	if err != nil {
		return Held{}, err
	}
	held.Seals = each(seals, func(r db.SealChecksByRow) kitchen.SealCheck {
		return toSealCheck(db.ListSealChecksRow{SealCheck: r.SealCheck, BatchSlug: r.BatchSlug, ParticipantSlug: r.ParticipantSlug,
			ParticipantDisplayName: r.ParticipantDisplayName}, r.ClassSlug)
	})
	tokens, err := t.q.TokensOf(ctx, db.TokensOfParams{KitchenID: t.kitchen, Slug: id})
	if err != nil {
		return Held{}, err
	}
	held.Tokens = each(tokens, func(r db.TokensOfRow) access.Token { return toToken(r.Token, r.Participant, r.Class) })
	record, err := t.q.AuditEntriesAbout(ctx, db.AuditEntriesAboutParams{KitchenID: t.kitchen, Resource: resource, Slug: id})
	held.Record = each(record, toEntry)
	return held, err
}

// Erased says what an erasure did.
type Erased struct {
	Participant         kitchen.Participant
	Cancelled, Promoted []kitchen.Enrolment
	TokensRevoked       int
}

// Oblivion is what is to be forgotten of a person, for those who keep text in forms of
// their own.
type Oblivion struct {
	// Resource is the participant's name as it was, and Renamed every name of a
	// resource that changed, by the former one.
	Resource string
	Renamed  map[string]string
	Traces   kitchen.Traces
}

// EraseParticipant takes a person's name, contact, allergies and home out of the
// kitchen whose resource name is given; the migration that makes erase_traces says what
// goes and what stays. Places in classes after now are given back, tokens are revoked.
// forget takes the person out of the reply that was stored for a request. Erasing again
// changes nothing.
func (t *Tx) EraseParticipant(ctx context.Context, kitchenName, id string, now time.Time, forget func(request string, r Reply, o Oblivion) (Reply, error)) (Erased, error) {
	person, err := t.Participant(ctx, id)
	if err != nil || !person.Erased.IsZero() {
		return Erased{Participant: person}, err
	}
	var out Erased
	if err := t.giveBack(ctx, id, now, &out); err != nil {
		return Erased{}, err
	}
	row, err := t.q.GetParticipant(ctx, db.GetParticipantParams{KitchenID: t.kitchen, Slug: id})
	if err != nil {
		return Erased{}, err
	}
	tokens, err := t.q.CountTokensOf(ctx, db.CountTokensOfParams{KitchenID: t.kitchen, Slug: id})
	if err != nil {
		return Erased{}, err
	}
	out.TokensRevoked = int(tokens)
	// A name that the tables print may be a word of the trade (Bay Salt); it is looked for only where the person is meant.
	distinctive := !reference.Prints(person.DisplayName)
	words, err := t.q.TracesOf(ctx, db.TracesOfParams{Who: row.ID, Distinctive: distinctive})
	if err != nil {
		return Erased{}, err
	}
	renames, err := t.q.EraseTraces(ctx, db.EraseTracesParams{Who: row.ID, Distinctive: distinctive, At: now})
	if err != nil {
		return Erased{}, err
	}
	o := Oblivion{Resource: kitchenName + "/participants/" + id, Renamed: make(map[string]string, len(renames))}
	for _, r := range renames {
		o.Renamed[kitchenName+"/"+r.Former] = kitchenName + "/" + r.NowCalled
	}
	for _, w := range words {
		if w.Anywhere {
			o.Traces = append(o.Traces, w.Word)
		}
	}
	if err := t.forgetReplies(ctx, o, forget); err != nil {
		return Erased{}, err
	}
	id = row.ID.String()
	t.subject = kitchenName + "/participants/" + id
	// Whoever enrolled them since the first look has committed before the row was locked.
	if err := t.giveBack(ctx, id, now, &out); err != nil {
		return Erased{}, err
	}
	for i, e := range out.Cancelled {
		if out.Cancelled[i], err = t.enrolmentNow(ctx, e, o, kitchenName); err != nil {
			return Erased{}, err
		}
	}
	out.Participant, err = t.Participant(ctx, id)
	return out, err
}

// enrolmentNow reads an enrolment that may have got another id.
func (t *Tx) enrolmentNow(ctx context.Context, e kitchen.Enrolment, o Oblivion, kitchenName string) (kitchen.Enrolment, error) {
	class := kitchenName + "/classes/" + e.Class + "/enrolments/"
	if renamed, ok := o.Renamed[class+e.ID]; ok {
		return t.Enrolment(ctx, e.Class, strings.TrimPrefix(renamed, class))
	}
	return t.Enrolment(ctx, e.Class, e.ID)
}

// giveBack cancels a participant's places in classes that have not begun.
func (t *Tx) giveBack(ctx context.Context, id string, now time.Time, out *Erased) error {
	ahead, err := t.q.PlacesAhead(ctx, db.PlacesAheadParams{KitchenID: t.kitchen, Slug: id, Now: now})
	if err != nil {
		return err
	}
	for _, place := range ahead {
		if _, err := t.lockClass(ctx, place.ClassSlug); err != nil {
			return err
		}
		e, err := t.Enrolment(ctx, place.ClassSlug, place.Slug)
		if err != nil {
			return err
		}
		cancelled, promoted, err := t.CancelEnrolment(ctx, e)
		if err != nil {
			return err
		}
		out.Cancelled = append(out.Cancelled, cancelled)
		if promoted != nil {
			out.Promoted = append(out.Promoted, *promoted)
		}
	}
	return nil
}

// forgetReplies takes a person out of the first replies that are kept for retries. A
// reply that calls them by an earlier name has their resource name beside it.
func (t *Tx) forgetReplies(ctx context.Context, o Oblivion, forget func(string, Reply, Oblivion) (Reply, error)) error {
	patterns := []string{likeBytes(o.Resource)}
	for former := range o.Renamed {
		patterns = append(patterns, likeBytes(former))
	}
	for _, word := range o.Traces {
		patterns = append(patterns, likeBytes(word))
	}
	rows, err := t.q.RepliesHolding(ctx, db.RepliesHoldingParams{KitchenID: t.kitchen, Patterns: patterns})
	if err != nil {
		return err
	}
	for _, r := range rows {
		reply, err := forget(r.Method, Reply{Type: r.ResponseType, Wire: r.Response}, o)
		if err != nil {
			return err
		}
		if err := t.FinishRequest(ctx, r.RequestID, reply); err != nil {
			return err
		}
	}
	return nil
}

// likeBytes is a LIKE pattern that finds a text in bytes escaped by Postgres, and may
// find more: what is escaped, and what LIKE takes for a sign, matches anything.
func likeBytes(text string) string {
	return "%" + strings.Map(func(r rune) rune {
		if r >= utf8.RuneSelf || r < ' ' || strings.ContainsRune(`\%_`, r) {
			return '%'
		}
		return r
	}, text) + "%"
}
