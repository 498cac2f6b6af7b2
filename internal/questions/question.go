package questions

import (
	"time"

	"stillroom/internal/fault"
)

// Question is one question with all that is known of it.
type Question struct {
	ID string
	// Class, Recipe and Step say what it is about; empty and zero for nothing in particular.
	Class, Recipe string
	Step          int
	Topic, Text   string
	// Asker is the participant, empty when they were removed since; Unnamed hides them from other participants.
	Asker, AskerName string
	Unnamed          bool
	// NeedAt is when an answer is needed, zero when it can wait.
	NeedAt time.Time
	State  State
	Urgent bool
	// Raised are the triage rules that raised it, RaisedByMerged those that raised what was merged into it.
	Raised, RaisedByMerged []Raised
	// MergedInto is the question it is part of.
	MergedInto string
	// Askers and Endorsements count people, those of merged questions included, each once.
	Askers, Endorsements int
	Pinned, Excluded     bool
	// AnswerTime is the share of a session that answering takes, zero for the usual.
	AnswerTime time.Duration
	// Reply is the answer; a merged question has that of the one it is part of.
	Reply *Reply
	// SessionClass and Session name the session in which it is taken, Host the host who took it.
	SessionClass, Session, Host string
	AskedAt                     time.Time
	Version                     int64
	// Rank sorts lists: urgent first, then by people who want to know.
	Rank int64
}

// Raised is a triage rule with the words of a question that it found.
type Raised struct {
	Rule    string   `json:"rule"`
	Matched []string `json:"matched"`
}

// Reply is an answer.
type Reply struct {
	Text, By string
	Sources  []Source
	Spoken   bool
	Audience Audience
	Reviewer string
	At       time.Time
}

// Audience is who may read an answer.
type Audience string

// The audiences, each wider than the one before.
const (
	ToAskers  Audience = "askers"
	ToClass   Audience = "class"
	ToLibrary Audience = "library"
)

// Wider lists an audience and the wider ones.
func (a Audience) Wider() []Audience {
	switch a {
	case ToAskers:
		return []Audience{ToAskers, ToClass, ToLibrary}
	case ToClass:
		return []Audience{ToClass, ToLibrary}
	}
	return []Audience{ToLibrary}
}

// Happened is one thing that happened to a question.
type Happened struct {
	// Number rises from step to step.
	Number int64
	// Step is the verb: that of a [Step], or ask, publish or carry.
	Step string
	// By is who did it, where known; for ask, edit and endorse a participant.
	By string
	// Former is what it replaced.
	Former string
	At     time.Time
}

// ByParticipant reports whether By is a participant, whose name may be nobody's business.
func (h Happened) ByParticipant() bool {
	return h.Step == "ask" || h.Step == Edit.String() || h.Step == Endorse.String()
}

// LiveSession is a live session of a class.
type LiveSession struct {
	Class, ID, Host string
	OpenedAt        time.Time
	// ClosedAt is zero while it runs.
	ClosedAt time.Time
	// Answered counts the questions answered in it, Open those of the class that still want an answer.
	Answered, Open int
}

// Draft reads a question as it is asked or edited: it cleans the words, finds a
// topic when none is given, and triages.
func (d *Desk) Draft(q Question) (Question, error) {
	var c fault.Collector
	text, err := Clean("text", q.Text, LongestQuestion)
	c.AddErr("", err)
	q.Text = text
	if q.Topic != "" {
		topic, err := Clean("topic", q.Topic, LongestTopic)
		c.AddErr("", err)
		q.Topic = topic
	}
	if q.Step != 0 && q.Recipe == "" {
		c.Add("step", "", "has no recipe", "name the recipe whose step it is, or leave the step out")
	}
	if q.Pinned && q.Excluded {
		c.Add("pinned", "true", "is both pinned and left out", "choose one of them")
	}
	if err := c.Err(); err != nil {
		return Question{}, err
	}
	if q.Topic == "" {
		q.Topic = d.Vocabulary.Topic(q.Text)
	}
	known := map[string]bool{}
	for _, r := range q.Raised {
		known[r.Rule] = true
	}
	for _, f := range d.Rules.Triage(q.Text).Findings {
		if !known[f.Rule] {
			q.Raised = append(q.Raised, Raised{Rule: f.Rule, Matched: f.Matched})
		}
	}
	q.Urgent = len(q.Raised) > 0
	return q, nil
}

// DraftReply cleans an answer.
func DraftReply(r Reply) (Reply, error) {
	var c fault.Collector
	clean := func(field string, s *string, longest int, required bool) {
		if *s == "" && !required {
			return
		}
		out, err := Clean(field, *s, longest)
		c.AddErr("", err)
		*s = out
	}
	clean("text", &r.Text, LongestAnswer, true)
	clean("answered_by", &r.By, 120, false)
	r.Sources = append([]Source(nil), r.Sources...)
	for i := range r.Sources {
		clean("sources.publication", &r.Sources[i].Title, 300, true)
		clean("sources.locator", &r.Sources[i].Locator, 300, false)
	}
	return r, c.Err()
}

// Desk holds what reading questions takes. It is read-only and may be shared.
type Desk struct {
	Rules      *Rules
	Vocabulary *Vocabulary
	Wants      *WantList
}

// NewDesk makes a desk with the rules and the words that the program ships.
func NewDesk() (*Desk, error) {
	rules, err := StandardRules()
	if err != nil {
		return nil, err
	}
	vocabulary, err := StandardVocabulary()
	if err != nil {
		return nil, err
	}
	wants, err := StandardWants()
	if err != nil {
		return nil, err
	}
	return &Desk{Rules: rules, Vocabulary: vocabulary, Wants: wants}, nil
}

// AskingLimit is how many questions one person may ask within AskingWindow.
const (
	AskingLimit  = 10
	AskingWindow = time.Minute
)

// CheckPace refuses a question when recent ones of the same person, the oldest
// of them asked at oldest, fill the window; the fault says how long to wait.
func CheckPace(recent int, oldest, now time.Time) error {
	if recent < AskingLimit {
		return nil
	}
	wait := max(oldest.Add(AskingWindow).Sub(now), time.Second).Round(time.Second)
	f := fault.New(fault.Exhausted, "one person may ask %d questions in a minute; wait %s, or endorse a question that is asked already", AskingLimit, wait)
	f.RetryAfter = wait
	return f
}
