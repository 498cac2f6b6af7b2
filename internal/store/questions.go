package store

import (
	"context"
	"encoding/json"
	"time"

	"github.com/google/uuid"

	"stillroom/internal/fault"
	"stillroom/internal/questions"
	"stillroom/internal/store/db"
)

var (
	_ = onConstraint("questions_slug_key", fault.AlreadyExists, "the kitchen has a question with that id already; choose another")
	_ = onConstraint("sessions_slug_key", fault.AlreadyExists, "the class has a session with that id already; choose another")
	_ = onConstraint("sessions_one_open", fault.Precondition, "a live session of this class is open already; close it, or go on with it")
)

// Ask stores a question that was drafted. Faults: NotFound for an asker, class
// or recipe that does not exist, Precondition when the asker is not in the class,
// Exhausted with retry advice when they ask too fast.
func (t *Tx) Ask(ctx context.Context, q questions.Question, now time.Time) (questions.Question, error) {
	asker, err := t.q.LockAsker(ctx, db.LockAskerParams{KitchenID: t.kitchen, Slug: q.Asker})
	if err != nil {
		return questions.Question{}, found(err, "participant", q.Asker)
	}
	if asker.ErasedAt != nil {
		return questions.Question{}, constraintFaults["participants_erased_holds"]()
	}
	about, err := t.q.AskContext(ctx, db.AskContextParams{
		KitchenID: t.kitchen, ClassSlug: q.Class, RecipeSlug: q.Recipe, AskerID: asker.ID, Since: now.Add(-questions.AskingWindow),
	})
	switch {
	case err != nil:
		return questions.Question{}, err
	case q.Class != "" && about.ClassID == uuid.Nil:
		return questions.Question{}, fault.Missing("class", q.Class)
	case q.Recipe != "" && about.RecipeID == uuid.Nil:
		return questions.Question{}, fault.Missing("recipe", q.Recipe)
	case q.Class != "" && !about.InClass:
		return questions.Question{}, notInClass(asker.DisplayName, q.Class)
	}
	if err := questions.CheckPace(int(about.Recent), about.Oldest, now); err != nil {
		return questions.Question{}, err
	}
	id := newID()
	q.ID, q.State, q.AskerName = slugOr(q.ID, id), questions.Asked, asker.DisplayName
	q.Askers, q.AskedAt, q.Version = 1, now.Truncate(time.Microsecond), 1
	err = t.q.InsertQuestion(ctx, db.InsertQuestionParams{
		KitchenID: t.kitchen, ID: id, Slug: q.ID, ClassID: orNil(about.ClassID), RecipeID: orNil(about.RecipeID),
		Step: int32(q.Step), Topic: q.Topic, Body: q.Text, AskerID: &asker.ID, Unnamed: q.Unnamed, NeedAt: whenSet(q.NeedAt),
		Urgent: q.Urgent, Findings: raisedJSON(q.Raised), CreatedAt: now, Actor: q.Asker,
	})
	return q, err
}

func notInClass(who, class string) error {
	return fault.New(fault.Precondition, "%s is not in the class %q; enrol first, or leave the class out to ask in general", fault.Shorten(who), class)
}

// Question is the question with this id.
func (t *Tx) Question(ctx context.Context, id string) (questions.Question, error) {
	row, err := t.q.GetQuestion(ctx, db.GetQuestionParams{KitchenID: t.kitchen, Slug: id})
	if err != nil {
		return questions.Question{}, found(err, "question", id)
	}
	return toQuestion(row)
}

// QuestionFilter selects questions; zero fields select all. States must be given.
type QuestionFilter struct {
	Class, Recipe, Asker string
	States               []questions.State
	UrgentOnly           bool
}

// QuestionKey is the place of a question in a list; the zero key is before the first.
type QuestionKey struct {
	Rank    int64
	AskedAt time.Time
	ID      string
}

// Questions lists questions after a key: urgent ones first, then by people who
// want to know, then the oldest.
func (t *Tx) Questions(ctx context.Context, f QuestionFilter, after QuestionKey, limit int32) ([]questions.Question, error) {
	if after == (QuestionKey{}) {
		after.Rank = -1 << 62
	}
	words := make([]string, len(f.States))
	for i, s := range f.States {
		words[i] = s.String()
	}
	rows, err := t.q.ListQuestions(ctx, db.ListQuestionsParams{
		KitchenID: t.kitchen, ClassSlug: f.Class, RecipeSlug: f.Recipe, AskerSlug: f.Asker, States: words, UrgentOnly: f.UrgentOnly,
		AfterRank: after.Rank, AfterCreated: after.AskedAt, AfterSlug: after.ID, Size: limit,
	})
	if err != nil {
		return nil, err
	}
	return toQuestions(rows)
}

// LockQuestion is Question with the row locked until the transaction ends.
func (t *Tx) LockQuestion(ctx context.Context, id string) (questions.Question, error) {
	if _, err := t.lockOne(ctx, id); err != nil {
		return questions.Question{}, err
	}
	return t.Question(ctx, id)
}

// locked is a question's row under lock.
type locked struct {
	db.LockQuestionsRow
	state questions.State
}

func (t *Tx) lockOne(ctx context.Context, id string) (locked, error) {
	rows, err := t.lockAll(ctx, id)
	if err != nil {
		return locked{}, err
	}
	return rows[id], nil
}

// lockAll locks questions in one order for all callers.
func (t *Tx) lockAll(ctx context.Context, ids ...string) (map[string]locked, error) {
	rows, err := t.q.LockQuestions(ctx, db.LockQuestionsParams{KitchenID: t.kitchen, Slugs: ids})
	if err != nil {
		return nil, err
	}
	out := make(map[string]locked, len(rows))
	for _, r := range rows {
		state, err := questions.ParseState(r.State)
		if err != nil {
			return nil, err
		}
		out[r.Slug] = locked{r, state}
	}
	for _, id := range ids {
		if _, ok := out[id]; !ok {
			return nil, fault.Missing("question", id)
		}
	}
	return out, nil
}

func (t *Tx) record(ctx context.Context, question uuid.UUID, step, actor, former string, now time.Time) error {
	return t.q.InsertQuestionEvent(ctx, db.InsertQuestionEventParams{
		KitchenID: t.kitchen, QuestionID: question, Step: step, Actor: actor, Former: former, HappenedAt: now,
	})
}

// EditQuestion writes a drafted question whose version is still current.
func (t *Tx) EditQuestion(ctx context.Context, q questions.Question, now time.Time) (questions.Question, error) {
	row, err := t.lockOne(ctx, q.ID)
	if err != nil {
		return questions.Question{}, err
	}
	if _, err := row.state.After(questions.Edit); err != nil {
		return questions.Question{}, err
	}
	_, err = t.q.EditQuestion(ctx, db.EditQuestionParams{
		KitchenID: t.kitchen, Slug: q.ID, Version: q.Version, Topic: q.Topic, Body: q.Text, Unnamed: q.Unnamed, NeedAt: whenSet(q.NeedAt),
		Findings: raisedJSON(q.Raised), Urgent: q.Urgent, Pinned: q.Pinned, Excluded: q.Excluded, AnswerSeconds: int32(q.AnswerTime / time.Second),
	})
	if err != nil {
		return questions.Question{}, current(err, "question")
	}
	former := ""
	if row.Body != q.Text {
		former = row.Body
	}
	if err := t.record(ctx, row.ID, "edit", q.Asker, former, now); err != nil {
		return questions.Question{}, err
	}
	return t.Question(ctx, q.ID)
}

// StepQuestion takes one of the steps that need no more than the question:
// withdraw, park, skip and undo. Precondition when its state does not allow it.
func (t *Tx) StepQuestion(ctx context.Context, id string, step questions.Step, now time.Time) (questions.Question, error) {
	row, err := t.lockOne(ctx, id)
	if err != nil {
		return questions.Question{}, err
	}
	next, err := row.state.After(step)
	if err != nil {
		return questions.Question{}, err
	}
	var skips int32
	if step == questions.Skip {
		skips = 1
	}
	if err := t.q.SetQuestionState(ctx, db.SetQuestionStateParams{KitchenID: t.kitchen, ID: row.ID, State: next.String(), Skips: skips}); err != nil {
		return questions.Question{}, err
	}
	if err := t.record(ctx, row.ID, step.String(), "", row.Answer, now); err != nil {
		return questions.Question{}, err
	}
	return t.Question(ctx, id)
}

// AnswerQuestion stores an answer that was drafted.
func (t *Tx) AnswerQuestion(ctx context.Context, id string, r questions.Reply, now time.Time) (questions.Question, error) {
	row, err := t.lockOne(ctx, id)
	if err != nil {
		return questions.Question{}, err
	}
	if _, err := row.state.After(questions.Answer); err != nil {
		return questions.Question{}, err
	}
	sources, err := json.Marshal(sourcesOf(r.Sources))
	if err != nil {
		return questions.Question{}, err
	}
	err = t.q.AnswerQuestion(ctx, db.AnswerQuestionParams{
		KitchenID: t.kitchen, ID: row.ID, Answer: r.Text, AnsweredBy: r.By, AnswerSources: sources, AnswerSpoken: r.Spoken, AnsweredAt: now,
	})
	if err != nil {
		return questions.Question{}, err
	}
	if err := t.record(ctx, row.ID, "answer", r.By, "", now); err != nil {
		return questions.Question{}, err
	}
	return t.Question(ctx, id)
}

// PublishAnswer sets the audience of an answer that somebody read over; text,
// when not empty, is the reviewer's wording.
func (t *Tx) PublishAnswer(ctx context.Context, id string, audience questions.Audience, reviewer, text string, now time.Time) (questions.Question, error) {
	row, err := t.lockOne(ctx, id)
	if err != nil {
		return questions.Question{}, err
	}
	if row.state != questions.Answered {
		return questions.Question{}, fault.New(fault.Precondition, "the question is %s and has no answer of its own to publish; answer it first", row.state)
	}
	former := ""
	switch text {
	case "", row.Answer:
		text = row.Answer
	default:
		former = row.Answer
	}
	err = t.q.PublishAnswer(ctx, db.PublishAnswerParams{KitchenID: t.kitchen, ID: row.ID, Audience: string(audience), Reviewer: reviewer, Answer: text})
	if err != nil {
		return questions.Question{}, err
	}
	if err := t.record(ctx, row.ID, "publish", reviewer, former, now); err != nil {
		return questions.Question{}, err
	}
	return t.Question(ctx, id)
}

// Endorse says that a participant has the same question; saying it twice
// changes nothing. Precondition when the question can no longer be endorsed, when
// the participant asked it, or is not in its class.
func (t *Tx) Endorse(ctx context.Context, id, participant string, now time.Time) (questions.Question, error) {
	row, who, err := t.endorser(ctx, id, participant)
	if err != nil {
		return questions.Question{}, err
	}
	if row.AskerID != nil && *row.AskerID == who.ID {
		return questions.Question{}, fault.New(fault.Precondition, "this is the participant's own question, which counts already; endorse those of others")
	}
	if row.ClassID != nil {
		in, err := t.q.InClass(ctx, db.InClassParams{KitchenID: t.kitchen, ClassID: *row.ClassID, ParticipantID: who.ID})
		if err != nil {
			return questions.Question{}, err
		}
		if !in {
			return questions.Question{}, fault.New(fault.Precondition, "%s is not in the class that this question is about; enrol first", fault.Shorten(who.DisplayName))
		}
	}
	n, err := t.q.InsertEndorsement(ctx, db.InsertEndorsementParams{KitchenID: t.kitchen, QuestionID: row.ID, ParticipantID: who.ID, CreatedAt: now})
	return t.recounted(ctx, id, row, participant, n, err, now)
}

// Unendorse takes an endorsement back; where there is none it changes nothing.
func (t *Tx) Unendorse(ctx context.Context, id, participant string, now time.Time) (questions.Question, error) {
	row, who, err := t.endorser(ctx, id, participant)
	if err != nil {
		return questions.Question{}, err
	}
	n, err := t.q.DeleteEndorsement(ctx, db.DeleteEndorsementParams{KitchenID: t.kitchen, QuestionID: row.ID, ParticipantID: who.ID})
	return t.recounted(ctx, id, row, participant, n, err, now)
}

func (t *Tx) endorser(ctx context.Context, id, participant string) (locked, db.Participant, error) {
	row, err := t.lockOne(ctx, id)
	if err != nil {
		return locked{}, db.Participant{}, err
	}
	if _, err := row.state.After(questions.Endorse); err != nil {
		return locked{}, db.Participant{}, err
	}
	who, err := t.q.GetParticipant(ctx, db.GetParticipantParams{KitchenID: t.kitchen, Slug: participant})
	return row, who, found(err, "participant", participant)
}

func (t *Tx) recounted(ctx context.Context, id string, row locked, actor string, changed int64, err error, now time.Time) (questions.Question, error) {
	if err != nil {
		return questions.Question{}, err
	}
	if changed > 0 {
		if err := t.q.RecountQuestion(ctx, db.RecountQuestionParams{KitchenID: t.kitchen, ID: row.ID}); err != nil {
			return questions.Question{}, err
		}
		if err := t.record(ctx, row.ID, "endorse", actor, "", now); err != nil {
			return questions.Question{}, err
		}
	}
	return t.Question(ctx, id)
}

// MergeQuestions makes questions part of another, all or none. Invalid for a
// question merged into itself, Precondition for states that do not allow it.
func (t *Tx) MergeQuestions(ctx context.Context, into string, others []string, now time.Time) (questions.Question, error) {
	rows, err := t.lockAll(ctx, append([]string{into}, others...)...)
	if err != nil {
		return questions.Question{}, err
	}
	root := rows[into]
	for _, id := range others {
		row := rows[id]
		if err := questions.CheckMerge(id, into, row.state, root.state, root.MergedSlug); err != nil {
			return questions.Question{}, err
		}
		if err := t.q.MergeQuestion(ctx, db.MergeQuestionParams{KitchenID: t.kitchen, ID: row.ID, IntoID: root.ID}); err != nil {
			return questions.Question{}, err
		}
		if err := t.record(ctx, row.ID, "merge", "", "", now); err != nil {
			return questions.Question{}, err
		}
	}
	return t.regrouped(ctx, into, root.ID, "merge", now)
}

// SplitQuestion undoes a merge for one question.
func (t *Tx) SplitQuestion(ctx context.Context, id string, now time.Time) (questions.Question, error) {
	row, err := t.lockOne(ctx, id)
	if err != nil {
		return questions.Question{}, err
	}
	if _, err := row.state.After(questions.Split); err != nil {
		return questions.Question{}, err
	}
	root := *row.MergedInto
	if err := t.q.SetQuestionState(ctx, db.SetQuestionStateParams{KitchenID: t.kitchen, ID: row.ID, State: questions.Asked.String()}); err != nil {
		return questions.Question{}, err
	}
	for _, counted := range []uuid.UUID{row.ID, root} {
		if err := t.q.RecountQuestion(ctx, db.RecountQuestionParams{KitchenID: t.kitchen, ID: counted}); err != nil {
			return questions.Question{}, err
		}
	}
	if err := t.record(ctx, root, "split", "", "", now); err != nil {
		return questions.Question{}, err
	}
	if err := t.record(ctx, row.ID, "split", "", "", now); err != nil {
		return questions.Question{}, err
	}
	return t.Question(ctx, id)
}

func (t *Tx) regrouped(ctx context.Context, id string, root uuid.UUID, step string, now time.Time) (questions.Question, error) {
	if err := t.q.RecountQuestion(ctx, db.RecountQuestionParams{KitchenID: t.kitchen, ID: root}); err != nil {
		return questions.Question{}, err
	}
	if err := t.record(ctx, root, step, "", "", now); err != nil {
		return questions.Question{}, err
	}
	return t.Question(ctx, id)
}

// QuestionSteps lists what happened to a question after the step numbered after.
func (t *Tx) QuestionSteps(ctx context.Context, id string, after int64, limit int32) ([]questions.Happened, error) {
	rows, err := t.q.QuestionSteps(ctx, db.QuestionStepsParams{KitchenID: t.kitchen, Slug: id, AfterSeq: after, Size: limit})
	return each(rows, func(r db.QuestionStepsRow) questions.Happened {
		return questions.Happened{Number: r.Seq, Step: r.Step, By: r.Actor, Former: r.Former, At: r.HappenedAt}
	}), err
}

// sourceRow is how a source is kept in jsonb.
type sourceRow struct {
	Publication string `json:"publication"`
	Locator     string `json:"locator"`
}

func sourcesOf(sources []questions.Source) []sourceRow {
	out := make([]sourceRow, len(sources))
	for i, s := range sources {
		out[i] = sourceRow{s.Title, s.Locator}
	}
	return out
}

func toSources(data []byte) ([]questions.Source, error) {
	var rows []sourceRow
	if err := json.Unmarshal(data, &rows); err != nil {
		return nil, err
	}
	return each(rows, func(r sourceRow) questions.Source { return questions.Source{Title: r.Publication, Locator: r.Locator} }), nil
}

func raisedJSON(raised []questions.Raised) []byte {
	if len(raised) == 0 {
		return []byte("[]")
	}
	data, err := json.Marshal(raised)
	if err != nil {
		panic(err) // strings only
	}
	return data
}

func toQuestions(rows []db.QuestionDetail) ([]questions.Question, error) {
	out := make([]questions.Question, len(rows))
	for i, r := range rows {
		var err error
		if out[i], err = toQuestion(r); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func toQuestion(r db.QuestionDetail) (questions.Question, error) {
	state, err := questions.ParseState(r.State)
	if err != nil {
		return questions.Question{}, err
	}
	q := questions.Question{
		ID: r.Slug, Class: r.ClassSlug, Recipe: r.RecipeSlug, Step: int(r.Step), Topic: r.Topic, Text: r.Body,
		Asker: r.AskerSlug, AskerName: r.AskerName, Unnamed: r.Unnamed, NeedAt: orZero(r.NeedAt), State: state, Urgent: r.Urgent,
		MergedInto: r.MergedSlug, Askers: int(r.AskerCount), Endorsements: int(r.EndorsementCount), Pinned: r.Pinned, Excluded: r.Excluded,
		AnswerTime: time.Duration(r.AnswerSeconds) * time.Second, SessionClass: r.SessionClassSlug, Session: r.SessionSlug, Host: r.Host,
		AskedAt: r.CreatedAt, Version: r.Version, Rank: r.Rank,
	}
	if err := json.Unmarshal(r.Findings, &q.Raised); err != nil {
		return questions.Question{}, err
	}
	if err := json.Unmarshal(r.MergedFindings, &q.RaisedByMerged); err != nil {
		return questions.Question{}, err
	}
	if r.AnsweredAt != nil {
		sources, err := toSources(r.AnswerSources)
		if err != nil {
			return questions.Question{}, err
		}
		q.Reply = &questions.Reply{
			Text: r.Answer, By: r.AnsweredBy, Sources: sources, Spoken: r.AnswerSpoken,
			Audience: questions.Audience(r.Audience), Reviewer: r.Reviewer, At: *r.AnsweredAt,
		}
	}
	return q, nil
}

func orNil(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}

func orZero(t *time.Time) time.Time {
	if t == nil {
		return time.Time{}
	}
	return *t
}

// EndorsedBy are the ids of the questions that a participant endorsed, the first endorsed first.
func (t *Tx) EndorsedBy(ctx context.Context, participant string) ([]string, error) {
	return t.q.EndorsedBy(ctx, db.EndorsedByParams{KitchenID: t.kitchen, Slug: participant})
}
