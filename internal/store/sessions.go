package store

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"stillroom/internal/fault"
	"stillroom/internal/questions"
	"stillroom/internal/store/db"
)

// OpenSession opens a live session of a class; Precondition while another one is open.
func (t *Tx) OpenSession(ctx context.Context, s questions.LiveSession, now time.Time) (questions.LiveSession, error) {
	class, err := t.q.LockClass(ctx, db.LockClassParams{KitchenID: t.kitchen, Slug: s.Class})
	if err != nil {
		return questions.LiveSession{}, found(err, "class", s.Class)
	}
	id := newID()
	s.ID = slugOr(s.ID, id)
	err = t.q.InsertSession(ctx, db.InsertSessionParams{KitchenID: t.kitchen, ClassID: class.ID, ID: id, Slug: s.ID, Host: s.Host, OpenedAt: now})
	if err != nil {
		return questions.LiveSession{}, err
	}
	return t.Session(ctx, s.Class, s.ID)
}

// Session is a live session of a class.
func (t *Tx) Session(ctx context.Context, class, id string) (questions.LiveSession, error) {
	row, err := t.q.GetSession(ctx, db.GetSessionParams{KitchenID: t.kitchen, ClassSlug: class, Slug: id})
	return toSession(row.Session, row.ClassSlug, row.Answered, row.Open), found(err, "session", id)
}

// Sessions lists a class's sessions after an instant and id, in the order in which they were opened.
func (t *Tx) Sessions(ctx context.Context, class string, opened time.Time, id string, limit int32) ([]questions.LiveSession, error) {
	rows, err := t.q.ListSessions(ctx, db.ListSessionsParams{KitchenID: t.kitchen, ClassSlug: class, AfterOpened: opened, AfterSlug: id, Size: limit})
	return each(rows, func(r db.ListSessionsRow) questions.LiveSession {
		return toSession(r.Session, r.ClassSlug, r.Answered, r.Open)
	}), err
}

// CloseSession ends a session and puts back what is still taken. Closing twice changes nothing.
func (t *Tx) CloseSession(ctx context.Context, class, id string, now time.Time) (questions.LiveSession, error) {
	row, err := t.q.LockSession(ctx, db.LockSessionParams{KitchenID: t.kitchen, ClassSlug: class, Slug: id})
	if err != nil {
		return questions.LiveSession{}, found(err, "session", id)
	}
	if row.Session.ClosedAt == nil {
		if err := t.q.CloseSession(ctx, db.CloseSessionParams{KitchenID: t.kitchen, ID: row.Session.ID, ClosedAt: now}); err != nil {
			return questions.LiveSession{}, err
		}
	}
	return t.Session(ctx, class, id)
}

// takeAttempts bounds how often TakeNext looks again when every question it
// could give is locked by somebody at that moment.
const takeAttempts = 50

// TakeNext gives a host the next question of an open session. NotFound when
// nothing waits, Precondition when the session is closed, Conflict when what
// waits stayed locked by others.
func (t *Tx) TakeNext(ctx context.Context, class, session, host string, now time.Time) (questions.Question, error) {
	row, err := t.q.ShareSession(ctx, db.ShareSessionParams{KitchenID: t.kitchen, ClassSlug: class, Slug: session})
	if err != nil {
		return questions.Question{}, found(err, "session", session)
	}
	if row.Session.ClosedAt != nil {
		return questions.Question{}, fault.New(fault.Precondition, "the session is closed; open another one to go on")
	}
	for range takeAttempts {
		taken, err := t.q.TakeNext(ctx, db.TakeNextParams{KitchenID: t.kitchen, ClassID: &row.Session.ClassID, SessionID: row.Session.ID, Host: host})
		if err == nil {
			if err := t.record(ctx, taken.ID, "take", host, "", now); err != nil {
				return questions.Question{}, err
			}
			return t.Question(ctx, taken.Slug)
		}
		if !errors.Is(err, pgx.ErrNoRows) {
			return questions.Question{}, err
		}
		// Nothing was free. Is there nothing, or is it only locked by an endorsement or another host?
		waiting, err := t.q.FirstWaiting(ctx, db.FirstWaitingParams{KitchenID: t.kitchen, ClassID: &row.Session.ClassID})
		if errors.Is(err, pgx.ErrNoRows) {
			return questions.Question{}, fault.New(fault.NotFound, "no question waits in this class")
		}
		if err != nil {
			return questions.Question{}, err
		}
		// Wait for whoever holds it, then look again.
		if err := t.q.LockQuestionByID(ctx, db.LockQuestionByIDParams{KitchenID: t.kitchen, ID: waiting}); err != nil {
			return questions.Question{}, err
		}
	}
	return questions.Question{}, fault.New(fault.Conflict, "everything that waits is being changed by others; try again")
}

// CarryOver moves what is open in a class to another one, or to no class when
// to is empty, and lists it. Precondition while a session of the class is open.
func (t *Tx) CarryOver(ctx context.Context, from, to string, now time.Time) ([]questions.Question, error) {
	source, err := t.q.LockClass(ctx, db.LockClassParams{KitchenID: t.kitchen, Slug: from})
	if err != nil {
		return nil, found(err, "class", from)
	}
	var target *uuid.UUID
	if to != "" {
		class, err := t.q.GetClass(ctx, db.GetClassParams{KitchenID: t.kitchen, Slug: to})
		if err != nil {
			return nil, found(err, "class", to)
		}
		target = &class.Class.ID
	}
	open, err := t.q.HasOpenSession(ctx, db.HasOpenSessionParams{KitchenID: t.kitchen, ClassID: source.ID})
	if err != nil {
		return nil, err
	}
	if open {
		return nil, fault.New(fault.Precondition, "a live session of the class is open; close it first")
	}
	ids, err := t.q.CarryOver(ctx, db.CarryOverParams{KitchenID: t.kitchen, FromClassID: &source.ID, ToClassID: target, FromSlug: from, HappenedAt: now})
	if err != nil {
		return nil, err
	}
	out := make([]questions.Question, len(ids))
	for i, id := range ids {
		if out[i], err = t.Question(ctx, id); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// SetPlaces stores the running order of a class in place of the one before.
func (t *Tx) SetPlaces(ctx context.Context, class string, ids []string) error {
	row, err := t.q.LockClass(ctx, db.LockClassParams{KitchenID: t.kitchen, Slug: class})
	if err != nil {
		return found(err, "class", class)
	}
	if err := t.q.ClearPlaces(ctx, db.ClearPlacesParams{KitchenID: t.kitchen, ClassID: &row.ID}); err != nil {
		return err
	}
	return t.q.SetPlaces(ctx, db.SetPlacesParams{KitchenID: t.kitchen, Slugs: ids})
}

// Asking is a question as far as likeness needs it.
type Asking struct{ ID, Text string }

// OpenTexts gives the words of the open questions of a class, or of the kitchen when class is empty, by rank.
func (t *Tx) OpenTexts(ctx context.Context, class string, limit int32) ([]Asking, error) {
	rows, err := t.q.QuestionTexts(ctx, db.QuestionTextsParams{KitchenID: t.kitchen, ClassSlug: class, Size: limit})
	return each(rows, func(r db.QuestionTextsRow) Asking { return Asking{r.Slug, r.Body} }), err
}

// PublishedTexts gives the words of questions whose answer is in the library or published to the class, the newest first.
func (t *Tx) PublishedTexts(ctx context.Context, class string, limit int32) ([]Asking, error) {
	rows, err := t.q.PublishedTexts(ctx, db.PublishedTextsParams{KitchenID: t.kitchen, ClassSlug: class, Size: limit})
	return each(rows, func(r db.PublishedTextsRow) Asking { return Asking{r.Slug, r.Body} }), err
}

// Found is a published answer that matched a text.
type Found struct {
	Asking
	// ByWords and ByLetters rank the match, each 0 to 1.
	ByWords, ByLetters float64
}

// SearchAnswers finds published answers by words and by letters, the best first.
func (t *Tx) SearchAnswers(ctx context.Context, text, class string, limit int32) ([]Found, error) {
	rows, err := t.q.SearchAnswers(ctx, db.SearchAnswersParams{KitchenID: t.kitchen, Text: text, ClassSlug: class, Size: limit})
	return each(rows, func(r db.SearchAnswersRow) Found {
		return Found{Asking{r.Slug, r.Body}, r.ByWords, r.ByLetters}
	}), err
}

// AnswersToExport gives answers published to one of the audiences, by topic.
func (t *Tx) AnswersToExport(ctx context.Context, class string, audiences []questions.Audience, limit int32) ([]questions.Entry, error) {
	words := each(audiences, func(a questions.Audience) string { return string(a) })
	rows, err := t.q.AnswersToExport(ctx, db.AnswersToExportParams{KitchenID: t.kitchen, ClassSlug: class, Audiences: words, Size: limit})
	if err != nil {
		return nil, err
	}
	out := make([]questions.Entry, len(rows))
	for i, r := range rows {
		sources, err := toSources(r.AnswerSources)
		if err != nil {
			return nil, err
		}
		out[i] = questions.Entry{
			ID: r.Slug, Topic: r.Topic, Question: r.Body, AlsoAsked: r.AlsoAsked, Answer: r.Answer, AnsweredBy: r.AnsweredBy,
			Sources: sources, Askers: int(r.AskerCount), Asked: r.CreatedAt, Answered: r.AnsweredAt,
		}
	}
	return out, nil
}

func toSession(s db.Session, class string, answered, open int32) questions.LiveSession {
	return questions.LiveSession{
		Class: class, ID: s.Slug, Host: s.Host, OpenedAt: s.OpenedAt, ClosedAt: orZero(s.ClosedAt), Answered: int(answered), Open: int(open),
	}
}
