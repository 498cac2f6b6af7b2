package rpc

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/access"
	"stillroom/internal/fault"
	"stillroom/internal/questions"
	"stillroom/internal/store"
)

const (
	questionPattern = "kitchens/{kitchen}/questions/{question}"
	sessionPattern  = "kitchens/{kitchen}/classes/{class}/sessions/{session}"
)

type questionService struct {
	stillroomv1.UnimplementedQuestionServiceServer
	*backend
	desk *questions.Desk
	feed *queueFeed
}

func newQuestionService(b *backend) (*questionService, error) {
	desk, err := questions.NewDesk()
	if err != nil {
		return nil, err
	}
	s := &questionService{backend: b, desk: desk}
	s.feed = newQueueFeed(b.store, b.log, s.encode)
	return s, nil
}

// write runs a change in a kitchen and then wakes those who watch its queue.
func (s *questionService) write(ctx context.Context, kitchen string, fn func(*store.Tx) error) error {
	err := s.store.In(ctx, kitchen, fn)
	if err == nil {
		s.feed.touch(ctx, kitchen)
	}
	return err
}

// step is a change to one question, by its name.
func (s *questionService) step(ctx context.Context, name string, do func(tx *store.Tx, id string) (questions.Question, error)) (*stillroomv1.Question, error) {
	var k, id string
	if err := parseName("name", name, questionPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Question
	err := s.write(ctx, k, func(tx *store.Tx) error {
		q, err := do(tx, id)
		out = s.encode(k, q, "")
		return err
	})
	return out, err
}

// guarded is step with an etag that, when given, must be current.
func (s *questionService) guarded(ctx context.Context, req interface {
	GetName() string
	GetEtag() string
}, do func(tx *store.Tx, q questions.Question) (questions.Question, error)) (*stillroomv1.Question, error) {
	return s.step(ctx, req.GetName(), func(tx *store.Tx, id string) (questions.Question, error) {
		q, err := tx.LockQuestion(ctx, id)
		if err != nil {
			return q, err
		}
		if err := mayChange(ctx, q); err != nil {
			return q, err
		}
		if err := checkEtag(req.GetEtag(), q.Version); err != nil {
			return q, err
		}
		return do(tx, q)
	})
}

func (s *questionService) CreateQuestion(ctx context.Context, req *stillroomv1.CreateQuestionRequest) (*stillroomv1.Question, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	m := req.GetQuestion()
	q := questions.Question{ID: req.GetQuestionId()}
	var c fault.Collector
	c.AddErr("", within(k, "question.asker", m.GetAsker(), participantPattern, &q.Asker))
	if m.GetClass() != "" {
		c.AddErr("", within(k, "question.class", m.GetClass(), classPattern, &q.Class))
	}
	if m.GetRecipe() != "" {
		c.AddErr("", within(k, "question.recipe", m.GetRecipe(), recipePattern, &q.Recipe))
	}
	readQuestion(&c, &q, m)
	drafted, err := s.desk.Draft(q)
	c.AddErr("question.", err)
	if err := c.Err(); err != nil {
		return nil, err
	}
	var out *stillroomv1.Question
	err = s.write(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Question, error) {
			asked, err := tx.Ask(ctx, drafted, s.now())
			return s.encode(k, asked, ""), err
		})
		return err
	})
	return out, err
}

// readQuestion reads the fields that may change later.
func readQuestion(c *fault.Collector, q *questions.Question, m *stillroomv1.Question) {
	q.Step, q.Topic, q.Text, q.Unnamed = int(m.GetStep()), m.GetTopic(), m.GetText(), m.GetUnnamed()
	q.NeedAt = decodeTime(c, "question.need_time", m.GetNeedTime())
	q.Pinned, q.Excluded, q.AnswerTime = m.GetPinned(), m.GetExcluded(), time.Duration(m.GetAnswerSeconds())*time.Second
}

// maySee keeps participants to the questions of their class.
func maySee(ctx context.Context, q questions.Question) error {
	c := access.From(ctx)
	if c.Role == access.Participant && q.Class != c.Class {
		return fault.Missing("question", q.ID)
	}
	return nil
}

// mayChange keeps participants to the questions they asked.
func mayChange(ctx context.Context, q questions.Question) error {
	if err := maySee(ctx, q); err != nil {
		return err
	}
	c := access.From(ctx)
	if c.Role == access.Participant && q.Asker != c.Participant {
		return fault.New(fault.Denied, "that is somebody else's question")
	}
	return nil
}

// viewer reads who looks; empty means a host.
func viewer(kitchen, name string) (string, error) {
	if name == "" {
		return "", nil
	}
	var id string
	return id, within(kitchen, "viewer", name, participantPattern, &id)
}

func (s *questionService) GetQuestion(ctx context.Context, req *stillroomv1.GetQuestionRequest) (*stillroomv1.Question, error) {
	var k, id string
	if err := parseName("name", req.GetName(), questionPattern, &k, &id); err != nil {
		return nil, err
	}
	who, err := viewer(k, req.GetViewer())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.Question
	err = s.store.In(ctx, k, func(tx *store.Tx) error {
		q, err := tx.Question(ctx, id)
		if err != nil {
			return err
		}
		endorsed, err := endorsedBy(ctx, tx, who)
		if err != nil {
			return err
		}
		out = s.encodeFor(k, q, who, endorsed)
		return maySee(ctx, q)
	})
	return out, err
}

// shownStates are listed unless others are asked for.
var shownStates = []questions.State{questions.Asked, questions.Taken, questions.Parked, questions.Answered}

func (s *questionService) ListQuestions(ctx context.Context, req *stillroomv1.ListQuestionsRequest) (*stillroomv1.ListQuestionsResponse, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	filter := store.QuestionFilter{States: shownStates, UrgentOnly: req.GetUrgentOnly()}
	var c fault.Collector
	for _, part := range []struct {
		field, name, pattern string
		id                   *string
	}{
		{"class", req.GetClass(), classPattern, &filter.Class},
		{"recipe", req.GetRecipe(), recipePattern, &filter.Recipe},
		{"asker", req.GetAsker(), participantPattern, &filter.Asker},
	} {
		if part.name != "" {
			c.AddErr("", within(k, part.field, part.name, part.pattern, part.id))
		}
	}
	who, err := viewer(k, req.GetViewer())
	c.AddErr("", err)
	if err := c.Err(); err != nil {
		return nil, err
	}
	if len(req.GetStates()) > 0 {
		filter.States = nil
		for _, state := range req.GetStates() {
			filter.States = append(filter.States, questionStates[state])
		}
	}
	if who != "" && filter.Asker != "" && filter.Asker != who {
		return nil, fault.New(fault.Denied, "a participant lists their own questions, not those of another: who stayed unnamed would not stay so")
	}
	list := questionList(k, filter)
	var after store.QuestionKey
	if err := readPage(req.GetPageToken(), list, &after.Rank, &after.AskedAt, &after.ID); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListQuestionsResponse{}
	err = s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		endorsed, err := endorsedBy(ctx, tx, who)
		if err != nil {
			return err
		}
		rows, err := tx.Questions(ctx, filter, after, size+1)
		rows, more := cut(rows, size)
		for _, q := range rows {
			out.Questions = append(out.Questions, s.encodeFor(k, q, who, endorsed))
		}
		if more {
			last := rows[len(rows)-1]
			out.NextPageToken = nextPage(list, last.Rank, last.AskedAt, last.ID)
		}
		return err
	})
	return out, err
}

// questionList names everything that selects the rows of a list.
func questionList(kitchen string, f store.QuestionFilter) string {
	name := kitchen + "/questions?" + f.Class + "&" + f.Recipe + "&" + f.Asker
	for _, state := range f.States {
		name += "&" + state.String()
	}
	if f.UrgentOnly {
		name += "&urgent"
	}
	return name
}

func (s *questionService) UpdateQuestion(ctx context.Context, req *stillroomv1.UpdateQuestionRequest) (*stillroomv1.Question, error) {
	var k, id string
	if err := parseName("question.name", req.GetQuestion().GetName(), questionPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Question
	err := s.write(ctx, k, func(tx *store.Tx) error {
		q, err := tx.LockQuestion(ctx, id)
		if err != nil {
			return err
		}
		if err := mayChange(ctx, q); err != nil {
			return err
		}
		if err := checkEtag(req.GetQuestion().GetEtag(), q.Version); err != nil {
			return err
		}
		merged := s.encode(k, q, "")
		changeable := []string{"text", "topic", "unnamed", "need_time"}
		if access.From(ctx).Role != access.Participant {
			changeable = append(changeable, "pinned", "excluded", "answer_seconds")
		}
		if err := s.merge("question", merged, req.GetQuestion(), req.GetUpdateMask(), changeable...); err != nil {
			return err
		}
		var c fault.Collector
		readQuestion(&c, &q, merged)
		drafted, err := s.desk.Draft(q)
		c.AddErr("question.", err)
		if err := c.Err(); err != nil {
			return err
		}
		q, err = tx.EditQuestion(ctx, drafted, s.now())
		out = s.encode(k, q, "")
		return err
	})
	return out, err
}

func (s *questionService) WithdrawQuestion(ctx context.Context, req *stillroomv1.WithdrawQuestionRequest) (*stillroomv1.Question, error) {
	return s.guarded(ctx, req, func(tx *store.Tx, q questions.Question) (questions.Question, error) {
		return tx.StepQuestion(ctx, q.ID, questions.Withdraw, s.now())
	})
}

func (s *questionService) ParkQuestion(ctx context.Context, req *stillroomv1.ParkQuestionRequest) (*stillroomv1.Question, error) {
	return s.guarded(ctx, req, func(tx *store.Tx, q questions.Question) (questions.Question, error) {
		return tx.StepQuestion(ctx, q.ID, questions.Park, s.now())
	})
}

func (s *questionService) SkipQuestion(ctx context.Context, req *stillroomv1.SkipQuestionRequest) (*stillroomv1.Question, error) {
	return s.guarded(ctx, req, func(tx *store.Tx, q questions.Question) (questions.Question, error) {
		return tx.StepQuestion(ctx, q.ID, questions.Skip, s.now())
	})
}

func (s *questionService) ReopenQuestion(ctx context.Context, req *stillroomv1.ReopenQuestionRequest) (*stillroomv1.Question, error) {
	return s.guarded(ctx, req, func(tx *store.Tx, q questions.Question) (questions.Question, error) {
		return tx.StepQuestion(ctx, q.ID, questions.Undo, s.now())
	})
}

func (s *questionService) SplitQuestion(ctx context.Context, req *stillroomv1.SplitQuestionRequest) (*stillroomv1.Question, error) {
	return s.guarded(ctx, req, func(tx *store.Tx, q questions.Question) (questions.Question, error) {
		return tx.SplitQuestion(ctx, q.ID, s.now())
	})
}

func (s *questionService) EndorseQuestion(ctx context.Context, req *stillroomv1.EndorseQuestionRequest) (*stillroomv1.Question, error) {
	return s.endorsing(ctx, req, (*store.Tx).Endorse)
}

func (s *questionService) UnendorseQuestion(ctx context.Context, req *stillroomv1.UnendorseQuestionRequest) (*stillroomv1.Question, error) {
	return s.endorsing(ctx, req, (*store.Tx).Unendorse)
}

func (s *questionService) endorsing(ctx context.Context, req interface {
	GetName() string
	GetParticipant() string
}, do func(*store.Tx, context.Context, string, string, time.Time) (questions.Question, error)) (*stillroomv1.Question, error) {
	var k, id, who string
	if err := parseName("name", req.GetName(), questionPattern, &k, &id); err != nil {
		return nil, err
	}
	if err := within(k, "participant", req.GetParticipant(), participantPattern, &who); err != nil {
		return nil, err
	}
	var out *stillroomv1.Question
	err := s.write(ctx, k, func(tx *store.Tx) error {
		q, err := tx.Question(ctx, id)
		if err != nil {
			return err
		}
		if err := maySee(ctx, q); err != nil {
			return err
		}
		q, err = do(tx, ctx, id, who, s.now())
		out = s.encode(k, q, who)
		return err
	})
	return out, err
}

func (s *questionService) AnswerQuestion(ctx context.Context, req *stillroomv1.AnswerQuestionRequest) (*stillroomv1.Question, error) {
	m := req.GetAnswer()
	reply := questions.Reply{Text: m.GetText(), By: m.GetAnsweredBy(), Spoken: m.GetSpoken()}
	for _, source := range m.GetSources() {
		reply.Sources = append(reply.Sources, questions.Source{Title: source.GetPublication(), Locator: source.GetLocator()})
	}
	reply, err := questions.DraftReply(reply)
	if err != nil {
		return nil, prefixed("answer.", err)
	}
	var k, id string
	if err := parseName("name", req.GetName(), questionPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Question
	err = s.write(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Question, error) {
			q, err := tx.LockQuestion(ctx, id)
			if err != nil {
				return nil, err
			}
			if err := checkEtag(req.GetEtag(), q.Version); err != nil {
				return nil, err
			}
			q, err = tx.AnswerQuestion(ctx, id, reply, s.now())
			return s.encode(k, q, ""), err
		})
		return err
	})
	return out, err
}

func (s *questionService) PublishAnswer(ctx context.Context, req *stillroomv1.PublishAnswerRequest) (*stillroomv1.Question, error) {
	reviewer, err := questions.Clean("reviewer", req.GetReviewer(), longestName)
	if err != nil {
		return nil, err
	}
	text := req.GetText()
	if text != "" {
		if text, err = questions.Clean("text", text, questions.LongestAnswer); err != nil {
			return nil, err
		}
	}
	return s.guarded(ctx, req, func(tx *store.Tx, q questions.Question) (questions.Question, error) {
		return tx.PublishAnswer(ctx, q.ID, audiences[req.GetAudience()], reviewer, text, s.now())
	})
}

func (s *questionService) ListQuestionSteps(ctx context.Context, req *stillroomv1.ListQuestionStepsRequest) (*stillroomv1.ListQuestionStepsResponse, error) {
	var k, id string
	if err := parseName("parent", req.GetParent(), questionPattern, &k, &id); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/steps"
	var after int64
	if err := readPage(req.GetPageToken(), list, &after); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListQuestionStepsResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		if _, err := tx.Question(ctx, id); err != nil {
			return err
		}
		rows, err := tx.QuestionSteps(ctx, id, after, size+1)
		rows, more := cut(rows, size)
		for _, h := range rows {
			step := &stillroomv1.QuestionStep{Step: h.Step, HappenTime: timestamppb.New(h.At), Former: h.Former}
			if !h.ByParticipant() { // who asked unnamed, or endorsed, stays unnamed here
				step.Host = h.By
			}
			out.Steps = append(out.Steps, step)
		}
		if more {
			out.NextPageToken = nextPage(list, rows[len(rows)-1].Number)
		}
		return err
	})
	return out, err
}

// longestName bounds the name of a host, an answerer or a reviewer, in characters.
const longestName = 120

func (s *questionService) MergeQuestions(ctx context.Context, req *stillroomv1.MergeQuestionsRequest) (*stillroomv1.Question, error) {
	var k, id string
	if err := parseName("name", req.GetName(), questionPattern, &k, &id); err != nil {
		return nil, err
	}
	others := make([]string, len(req.GetOthers()))
	var c fault.Collector
	for i, name := range req.GetOthers() {
		c.AddErr("", within(k, "others", name, questionPattern, &others[i]))
	}
	if err := c.Err(); err != nil {
		return nil, err
	}
	var out *stillroomv1.Question
	err := s.write(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Question, error) {
			q, err := tx.MergeQuestions(ctx, id, others, s.now())
			return s.encode(k, q, ""), err
		})
		return err
	})
	return out, err
}

// The enums of the contract beside the domain's words.
var (
	questionStates = map[stillroomv1.QuestionState]questions.State{
		stillroomv1.QuestionState_QUESTION_STATE_ASKED:     questions.Asked,
		stillroomv1.QuestionState_QUESTION_STATE_TAKEN:     questions.Taken,
		stillroomv1.QuestionState_QUESTION_STATE_PARKED:    questions.Parked,
		stillroomv1.QuestionState_QUESTION_STATE_ANSWERED:  questions.Answered,
		stillroomv1.QuestionState_QUESTION_STATE_MERGED:    questions.Merged,
		stillroomv1.QuestionState_QUESTION_STATE_WITHDRAWN: questions.Withdrawn,
	}
	audiences = map[stillroomv1.AnswerAudience]questions.Audience{
		stillroomv1.AnswerAudience_ANSWER_AUDIENCE_ASKERS:  questions.ToAskers,
		stillroomv1.AnswerAudience_ANSWER_AUDIENCE_CLASS:   questions.ToClass,
		stillroomv1.AnswerAudience_ANSWER_AUDIENCE_LIBRARY: questions.ToLibrary,
	}

	questionStateOf = inverse(questionStates)
	audienceOf      = inverse(audiences)
)

// anybody is a viewer who is no asker: every unnamed asker stays unnamed to them.
const anybody = "?"

// encode shows a question to a viewer: a participant's id, anybody, or empty for a host.
func (s *questionService) encode(k string, q questions.Question, viewer string) *stillroomv1.Question {
	out := &stillroomv1.Question{
		Name: nameOf(questionPattern, k, q.ID), Step: int32(q.Step), Topic: q.Topic, Text: q.Text, Unnamed: q.Unnamed,
		State: questionStateOf[q.State], Urgent: q.Urgent, AskerCount: int32(q.Askers), EndorsementCount: int32(q.Endorsements),
		Pinned: q.Pinned, Excluded: q.Excluded, AnswerSeconds: int32(q.AnswerTime / time.Second), Host: q.Host,
		CreateTime: timestamppb.New(q.AskedAt), Etag: etag(q.Version),
	}
	if q.Asker != "" && (viewer == "" || viewer == q.Asker || !q.Unnamed) {
		out.Asker, out.AskerDisplayName = nameOf(participantPattern, k, q.Asker), q.AskerName
	}
	if q.Class != "" {
		out.Class = nameOf(classPattern, k, q.Class)
	}
	if q.Recipe != "" {
		out.Recipe = nameOf(recipePattern, k, q.Recipe)
	}
	if !q.NeedAt.IsZero() {
		out.NeedTime = timestamppb.New(q.NeedAt)
	}
	if q.MergedInto != "" {
		out.MergedInto = nameOf(questionPattern, k, q.MergedInto)
	}
	if q.Session != "" {
		out.Session = nameOf(sessionPattern, k, q.SessionClass, q.Session)
	}
	seen := map[string]bool{}
	for _, raised := range append(append([]questions.Raised{}, q.Raised...), q.RaisedByMerged...) {
		if f, ok := s.desk.Rules.Recall(raised); ok && !seen[raised.Rule] {
			seen[raised.Rule] = true
			out.Notices = append(out.Notices, encodeNotice(f))
		}
	}
	if r := q.Reply; r != nil && (viewer == "" || viewer == q.Asker || r.Audience != questions.ToAskers) {
		out.Answer = encodeReply(r)
	}
	return out
}

// encodeFor is encode to a participant who may have endorsed the question, and then reads its answer too.
func (s *questionService) encodeFor(k string, q questions.Question, viewer string, endorsed map[string]bool) *stillroomv1.Question {
	out := s.encode(k, q, viewer)
	if endorsed[q.ID] {
		out.Endorsed = true
		if q.Reply != nil {
			out.Answer = encodeReply(q.Reply)
		}
	}
	return out
}

// endorsedBy are the ids of the questions that a viewer endorsed; none for a host.
func endorsedBy(ctx context.Context, tx *store.Tx, viewer string) (map[string]bool, error) {
	if viewer == "" {
		return nil, nil //nolint:nilnil // a host endorses nothing
	}
	ids, err := tx.EndorsedBy(ctx, viewer)
	all := make(map[string]bool, len(ids))
	for _, id := range ids {
		all[id] = true
	}
	return all, err
}

func encodeReply(r *questions.Reply) *stillroomv1.Answer {
	out := &stillroomv1.Answer{
		Text: r.Text, AnsweredBy: r.By, Spoken: r.Spoken, Audience: audienceOf[r.Audience], Reviewer: r.Reviewer, CreateTime: timestamppb.New(r.At),
	}
	for _, source := range r.Sources {
		out.Sources = append(out.Sources, &stillroomv1.Source{Publication: source.Title, Locator: source.Locator})
	}
	return out
}

func encodeNotice(f questions.Finding) *stillroomv1.TriageNotice {
	out := &stillroomv1.TriageNotice{
		Rule: f.Rule, Title: f.Title, Reason: f.Reason, Advice: f.Say, Hours: int32(f.Hours), Matched: f.Matched, Caution: questions.Notice,
	}
	for _, fact := range f.Facts {
		out.Facts = append(out.Facts, &stillroomv1.PublishedFact{
			Statement: fact.Statement, Source: &stillroomv1.Source{Publication: fact.Source, Locator: fact.Locator},
		})
	}
	return out
}
