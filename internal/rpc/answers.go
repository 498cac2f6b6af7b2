package rpc

import (
	"context"
	"sort"
	"time"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/computed"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/questions"
	"stillroom/internal/store"
)

// usualSession is the time for questions where a class has no live session planned.
const usualSession = 30 * time.Minute

// mostPublished bounds how many published answers are compared with questions by meaning.
const mostPublished = 2000

func (s *questionService) likely(texts []store.Asking) []questions.Likely {
	out := make([]questions.Likely, len(texts))
	for i, t := range texts {
		out[i] = questions.Likely{ID: t.ID, Gist: s.desk.Vocabulary.Gist(t.Text)}
	}
	return out
}

func (s *questionService) SuggestGroups(ctx context.Context, req *stillroomv1.SuggestGroupsRequest) (*stillroomv1.SuggestGroupsResponse, error) {
	var k, class string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	if req.GetClass() != "" {
		if err := within(k, "class", req.GetClass(), classPattern, &class); err != nil {
			return nil, err
		}
	}
	var texts []store.Asking
	err := s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		texts, err = tx.OpenTexts(ctx, class, carriedOver)
		return err
	})
	if err != nil {
		return nil, err
	}
	out := &stillroomv1.SuggestGroupsResponse{Threshold: questions.LikenessThreshold}
	for _, g := range questions.SuggestGroups(s.likely(texts)) {
		group := &stillroomv1.QuestionGroup{Likeness: g.Likeness}
		for _, m := range g.Members {
			group.Questions = append(group.Questions, nameOf(questionPattern, k, texts[m].ID))
			group.Texts = append(group.Texts, texts[m].Text)
		}
		out.Groups = append(out.Groups, group)
	}
	return out, nil
}

// The share of words, letters and meaning in the score of a suggested answer.
const (
	wordsShare   = 0.3
	lettersShare = 0.3
	meaningShare = 0.4
	// leastScore is what a suggestion must have: a shared rare word, or most of the letters.
	leastScore = 0.15
)

func (s *questionService) SuggestAnswers(ctx context.Context, req *stillroomv1.SuggestAnswersRequest) (*stillroomv1.SuggestAnswersResponse, error) {
	var k, class string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	if req.GetClass() != "" {
		if err := within(k, "class", req.GetClass(), classPattern, &class); err != nil {
			return nil, err
		}
	}
	text, err := questions.Clean("text", req.GetText(), questions.LongestQuestion)
	if err != nil {
		return nil, err
	}
	size := int(req.GetMaxResults())
	if size == 0 {
		size = 5
	}
	out := &stillroomv1.SuggestAnswersResponse{}
	for _, f := range s.desk.Rules.Triage(text).Findings {
		out.Notices = append(out.Notices, encodeNotice(f))
	}
	asked := s.desk.Wants.Read(text)
	err = s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Answers, out.Computed = nil, nil
		if class != "" && len(asked.Wants) > 0 {
			facts, err := classFacts(ctx, tx, class)
			if err != nil {
				return err
			}
			for _, a := range computed.Answers(asked, facts) {
				out.Computed = append(out.Computed, encodeComputed(a))
			}
		}
		found, err := tx.SearchAnswers(ctx, text, class, 50)
		if err != nil {
			return err
		}
		gist := s.desk.Vocabulary.Gist(text)
		type hit struct {
			id    string
			score float64
		}
		hits := make([]hit, len(found))
		for i, f := range found {
			hits[i] = hit{f.ID, wordsShare*min(1, f.ByWords) + lettersShare*f.ByLetters + meaningShare*min(1, gist.Likeness(s.desk.Vocabulary.Gist(f.Text)))}
		}
		sort.SliceStable(hits, func(i, j int) bool { return hits[i].score > hits[j].score })
		for _, h := range hits[:min(size, len(hits))] {
			if h.score < leastScore {
				break
			}
			q, err := tx.Question(ctx, h.id)
			if err != nil {
				return err
			}
			shown := s.encode(k, q, anybody)
			shown.Asker, shown.AskerDisplayName = "", ""
			out.Answers = append(out.Answers, &stillroomv1.SuggestedAnswer{Question: shown, Score: h.score})
		}
		return nil
	})
	return out, err
}

// classFacts gathers what answers are worked out from.
func classFacts(ctx context.Context, tx *store.Tx, id string) (computed.Class, error) {
	var facts computed.Class
	class, err := tx.Class(ctx, id)
	if err != nil {
		return facts, err
	}
	site, err := tx.Site(ctx, class.Site)
	if err != nil {
		return facts, err
	}
	facts.Altitude = site.Altitude
	if facts.Batches, err = tx.AllBatches(ctx, id); err != nil {
		return facts, err
	}
	if facts.Formulas, err = tx.FormulasOf(ctx, facts.Batches); err != nil {
		return facts, err
	}
	units, err := tx.UnitsFor(ctx, id)
	for _, u := range units {
		if u.Equipment.Canner != nil && len(u.FreeWithin(class.Start, class.End())) > 0 {
			facts.Canners = append(facts.Canners, *u.Equipment.Canner)
		}
	}
	return facts, err
}

func encodeComputed(a computed.Answer) *stillroomv1.ComputedAnswer {
	out := &stillroomv1.ComputedAnswer{Text: a.Text}
	for _, source := range a.Sources {
		out.Sources = append(out.Sources, &stillroomv1.Source{Publication: source.Title, Locator: source.Locator})
	}
	for _, step := range a.Cautions {
		out.Cautions = append(out.Cautions, encodeCaution(step.Text, step.Source))
	}
	return out
}

func (s *questionService) PlanRunningOrder(ctx context.Context, req *stillroomv1.PlanRunningOrderRequest) (*stillroomv1.RunningOrder, error) {
	var k, id string
	if err := parseName("class", req.GetClass(), classPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.RunningOrder
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		class, err := tx.Class(ctx, id)
		if err != nil {
			return err
		}
		open, err := tx.Questions(ctx, store.QuestionFilter{Class: id, States: []questions.State{questions.Asked}}, store.QuestionKey{}, carriedOver+1)
		if err != nil {
			return err
		}
		published, err := tx.PublishedTexts(ctx, id, mostPublished)
		if err != nil {
			return err
		}
		session := orderFor(class, req, s.now())
		order, err := questions.Order(session, s.candidates(open, s.likely(published)))
		if err != nil {
			return err
		}
		out = s.encodeOrder(k, session, open, order)
		if !req.GetApply() {
			return nil
		}
		out.Applied = true
		ids := make([]string, len(order.Positions))
		for i, p := range order.Positions {
			ids[i] = open[p.Index].ID
		}
		return tx.SetPlaces(ctx, id, ids)
	})
	return out, err
}

func orderFor(class kitchen.Class, req *stillroomv1.PlanRunningOrderRequest, now time.Time) questions.Session {
	s := questions.Session{Length: span(req.GetSessionMinutes()), Opening: questions.UsualOpening, Now: now, Weights: questions.StandardWeights}
	if s.Length == 0 {
		s.Length = class.LiveSessionLength
	}
	if s.Length == 0 {
		s.Length = usualSession
	}
	if req.OpeningSeconds != nil {
		s.Opening = time.Duration(req.GetOpeningSeconds()) * time.Second
	}
	return s
}

// candidates reads questions for a running order. A written answer exists when
// one to a question that asks the same is published.
func (s *questionService) candidates(open []questions.Question, published []questions.Likely) []questions.Candidate {
	out := make([]questions.Candidate, len(open))
	for i, q := range open {
		out[i] = questions.Candidate{
			ID: q.ID, Topic: q.Topic, Askers: max(1, q.Askers), Endorsements: q.Endorsements, Asked: q.AskedAt,
			Time: q.AnswerTime, Pinned: q.Pinned, Excluded: q.Excluded,
			Written: len(questions.MostAlike(s.desk.Vocabulary.Gist(q.Text), published, questions.LikenessThreshold, 1)) > 0,
		}
		if q.Urgent {
			out[i].Urgency = questions.Urgent
		}
	}
	return out
}

func (s *questionService) encodeOrder(k string, session questions.Session, open []questions.Question, order questions.RunningOrder) *stillroomv1.RunningOrder {
	out := &stillroomv1.RunningOrder{
		SessionSeconds: int32(session.Length / time.Second), UsedSeconds: int32(order.Used / time.Second), Worth: int32(order.Points),
	}
	for _, p := range order.Positions {
		out.Positions = append(out.Positions, &stillroomv1.RunningOrderPosition{
			Question: s.encode(k, open[p.Index], ""), StartSeconds: int32(p.Start / time.Second), ShareSeconds: int32(p.Time / time.Second),
			Worth: int32(p.Worth.Points), Why: p.Why,
		})
	}
	for _, l := range order.Left {
		out.LeftOut = append(out.LeftOut, &stillroomv1.LeftOut{Question: s.encode(k, open[l.Index], ""), Worth: int32(l.Worth.Points), Why: l.Why})
	}
	return out
}

// mostExported bounds an export, so that it fits in one reply.
const mostExported = 2000

func (s *questionService) ExportAnswers(ctx context.Context, req *stillroomv1.ExportAnswersRequest) (*stillroomv1.ExportAnswersResponse, error) {
	var k, class string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	if req.GetClass() != "" {
		if err := within(k, "class", req.GetClass(), classPattern, &class); err != nil {
			return nil, err
		}
	}
	audience := questions.ToLibrary
	if req.GetAudience() != stillroomv1.AnswerAudience_ANSWER_AUDIENCE_UNSPECIFIED {
		audience = audiences[req.GetAudience()]
	}
	title, zone := "Answers", time.UTC
	var entries []questions.Entry
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		if class != "" {
			c, err := tx.Class(ctx, class)
			if err != nil {
				return err
			}
			site, err := tx.Site(ctx, c.Site)
			if err != nil {
				return err
			}
			if zone, err = site.Location(); err != nil {
				return err
			}
			title = "Answers: " + c.DisplayName
		}
		var err error
		entries, err = tx.AnswersToExport(ctx, class, audience.Wider(), mostExported+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	if len(entries) > mostExported {
		return nil, fault.New(fault.Precondition, "there are more than %d answers; export one class at a time", mostExported)
	}
	out := &stillroomv1.ExportAnswersResponse{AnswerCount: int32(len(entries))}
	switch req.GetFormat() {
	case stillroomv1.AnswerFormat_ANSWER_FORMAT_CSV:
		out.MediaType, out.FileName = "text/csv; charset=utf-8; header=present", "answers.csv"
		out.Content, err = questions.AnswersCSV(entries)
	case stillroomv1.AnswerFormat_ANSWER_FORMAT_JSON:
		out.MediaType, out.FileName = "application/json", "answers.json"
		out.Content, err = questions.AnswersJSON(title, entries)
	default:
		out.MediaType, out.FileName = "text/markdown; charset=utf-8", "answers.md"
		out.Content = questions.AnswersMarkdown(title, entries, zone)
	}
	return out, err
}

func (s *questionService) ExportClassCalendar(ctx context.Context, req *stillroomv1.ExportClassCalendarRequest) (*stillroomv1.ExportClassCalendarResponse, error) {
	var k, id string
	if err := parseName("class", req.GetClass(), classPattern, &k, &id); err != nil {
		return nil, err
	}
	var class kitchen.Class
	var site kitchen.Site
	var out time.Time
	err := s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		if class, err = tx.Class(ctx, id); err != nil {
			return err
		}
		if out, err = firstJarsOut(ctx, tx, id); err != nil {
			return err
		}
		site, err = tx.Site(ctx, class.Site)
		return err
	})
	if err != nil {
		return nil, err
	}
	zone, err := site.Location()
	if err != nil {
		return nil, err
	}
	uid := k + "." + id + "@classes.stillroom"
	calendar := questions.ClassCalendar{
		UID: uid, Title: class.DisplayName, Place: site.DisplayName, Start: class.Start, End: class.End(), Location: zone, FirstJarsOut: out, Stamp: s.now(),
	}
	if !class.LiveSession.IsZero() {
		length := class.LiveSessionLength
		if length == 0 {
			length = usualSession
		}
		calendar.LiveSessions = []questions.CalendarSession{{
			UID: "live." + uid, Title: "Live questions: " + class.DisplayName, Start: class.LiveSession, End: class.LiveSession.Add(length),
		}}
	}
	content, err := questions.Calendar(calendar)
	return &stillroomv1.ExportClassCalendarResponse{Content: content, MediaType: "text/calendar; charset=utf-8", FileName: id + ".ics"}, err
}
