package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newQuestion(s *session) *cobra.Command {
	return parent(groupPlan, "question", "Questions: ask, endorse, merge, order, answer, publish",
		newQuestionAsk(s), newQuestionList(s), newQuestionShow(s), newQuestionEdit(s), newQuestionEndorse(s),
		newQuestionAnswer(s), newQuestionPublish(s), newQuestionMerge(s), newQuestionGroups(s), newQuestionLikely(s),
		newQuestionOrder(s), newQuestionCarry(s), newQuestionHistory(s), newQuestionExport(s), newQuestionWatch(s),
		newQuestionStep(s, "withdraw", "Take a question back, for good", func(ctx context.Context, c stillroomv1.QuestionServiceClient, name string) (*stillroomv1.Question, error) {
			return c.WithdrawQuestion(ctx, &stillroomv1.WithdrawQuestionRequest{Name: name})
		}),
		newQuestionStep(s, "park", "Set a question aside: somebody will look something up", func(ctx context.Context, c stillroomv1.QuestionServiceClient, name string) (*stillroomv1.Question, error) {
			return c.ParkQuestion(ctx, &stillroomv1.ParkQuestionRequest{Name: name})
		}),
		newQuestionStep(s, "skip", "Go on without a taken question", func(ctx context.Context, c stillroomv1.QuestionServiceClient, name string) (*stillroomv1.Question, error) {
			return c.SkipQuestion(ctx, &stillroomv1.SkipQuestionRequest{Name: name})
		}),
		newQuestionStep(s, "reopen", "Undo taking, parking or answering", func(ctx context.Context, c stillroomv1.QuestionServiceClient, name string) (*stillroomv1.Question, error) {
			return c.ReopenQuestion(ctx, &stillroomv1.ReopenQuestionRequest{Name: name})
		}),
		newQuestionStep(s, "split", "Undo a merge for one question", func(ctx context.Context, c stillroomv1.QuestionServiceClient, name string) (*stillroomv1.Question, error) {
			return c.SplitQuestion(ctx, &stillroomv1.SplitQuestionRequest{Name: name})
		}),
	)
}

// ask makes one call to the question service.
func ask[R any](ctx context.Context, s *session, do func(context.Context, stillroomv1.QuestionServiceClient) (R, error)) (R, error) {
	return call(ctx, s, stillroomv1.NewQuestionServiceClient, do)
}

// underIf is under for a part that may be left out.
func (s *session) underIf(collection, id string) (string, error) {
	if id == "" {
		return "", nil
	}
	return s.under(collection, id)
}

// newQuestionStep is a command that needs no more than the question.
func newQuestionStep(s *session, use, short string, do func(context.Context, stillroomv1.QuestionServiceClient, string) (*stillroomv1.Question, error)) *cobra.Command {
	return &cobra.Command{
		Use: use + " QUESTION", Short: short, Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("questions", args[0])
			if err != nil {
				return err
			}
			q, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.Question, error) {
				return do(ctx, c, name)
			})
			return s.showQuestion(q, err)
		},
	}
}

func newQuestionAsk(s *session) *cobra.Command {
	var asker, class, recipe, topic, id string
	var step int32
	var unnamed bool
	cmd := &cobra.Command{
		Use: "ask TEXT…", Short: "Ask a question", Args: cobra.MinimumNArgs(1),
		Example: `  stillroom question ask --asker ana --class relish-day "Can I use less vinegar?"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			q := &stillroomv1.Question{Text: strings.Join(args, " "), Topic: topic, Step: step, Unnamed: unnamed}
			if q.Asker, err = s.findParticipant(cmd.Context(), asker); err != nil {
				return err
			}
			if q.Class, err = s.underIf("classes", class); err != nil {
				return err
			}
			if q.Recipe, err = s.underIf("recipes", recipe); err != nil {
				return err
			}
			q, err = ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.Question, error) {
				return c.CreateQuestion(ctx, &stillroomv1.CreateQuestionRequest{Parent: k, QuestionId: id, Question: q, RequestId: newRequestID()})
			})
			return s.showQuestion(q, err)
		},
	}
	cmd.Flags().StringVar(&asker, "asker", "", "who asks: name, mail address or id")
	cmd.Flags().StringVar(&class, "class", "", "id of the class it is about")
	cmd.Flags().StringVar(&recipe, "recipe", "", "id of the recipe it is about")
	cmd.Flags().Int32Var(&step, "step", 0, "step of the recipe it is about, from 1")
	cmd.Flags().StringVar(&topic, "topic", "", "what it is about in a word or two (found from the text when left out)")
	cmd.Flags().BoolVar(&unnamed, "unnamed", false, "keep the asker unnamed to other participants")
	cmd.Flags().StringVar(&id, "id", "", "id of the question (made up when left out)")
	_ = cmd.MarkFlagRequired("asker")
	return cmd
}

// questionStates are the words for the states of questions.
var questionStates = map[string]stillroomv1.QuestionState{
	"asked": stillroomv1.QuestionState_QUESTION_STATE_ASKED, "taken": stillroomv1.QuestionState_QUESTION_STATE_TAKEN,
	"parked": stillroomv1.QuestionState_QUESTION_STATE_PARKED, "answered": stillroomv1.QuestionState_QUESTION_STATE_ANSWERED,
	"merged": stillroomv1.QuestionState_QUESTION_STATE_MERGED, "withdrawn": stillroomv1.QuestionState_QUESTION_STATE_WITHDRAWN,
}

// stateWord is the word for a state.
func stateWord(state stillroomv1.QuestionState) string {
	for word, known := range questionStates {
		if known == state {
			return word
		}
	}
	return "unknown"
}

func newQuestionList(s *session) *cobra.Command {
	var class, asker string
	var states []string
	var urgent bool
	cmd := &cobra.Command{
		Use: "list", Short: "List questions: urgent first, then by people who want to know", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			req := &stillroomv1.ListQuestionsRequest{Parent: k, PageSize: everyPage, UrgentOnly: urgent}
			if req.Class, err = s.underIf("classes", class); err != nil {
				return err
			}
			if asker != "" {
				if req.Asker, err = s.findParticipant(cmd.Context(), asker); err != nil {
					return err
				}
			}
			for _, word := range states {
				state, ok := questionStates[word]
				if !ok {
					return fmt.Errorf("--state %q: choose some of asked, taken, parked, answered, merged, withdrawn", word)
				}
				req.States = append(req.States, state)
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewQuestionServiceClient, func(ctx context.Context, c stillroomv1.QuestionServiceClient, token string) (*stillroomv1.ListQuestionsResponse, error) {
				req.PageToken = token
				return c.ListQuestions(ctx, req)
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) {
				g := newGrid("", "QUESTION", ">PEOPLE", "STATE", "TOPIC", "ID")
				for _, q := range all.GetQuestions() {
					g.add(urgencyMark(q), oneLine(q.GetText(), 64), q.GetAskerCount()+q.GetEndorsementCount(), stateWord(q.GetState()), q.GetTopic(), last(q.GetName()))
				}
				g.write(w, "No questions yet; ask one with: stillroom question ask --asker PARTICIPANT TEXT")
			})
		},
	}
	cmd.Flags().StringVar(&class, "class", "", "only questions about this class")
	cmd.Flags().StringVar(&asker, "asker", "", "only questions of this participant")
	cmd.Flags().StringSliceVar(&states, "state", nil, "only these states, e.g. asked,parked (all but merged and withdrawn when left out)")
	cmd.Flags().BoolVar(&urgent, "urgent", false, "only questions that cannot wait")
	return cmd
}

func urgencyMark(q *stillroomv1.Question) string {
	if q.GetUrgent() {
		return "!"
	}
	return ""
}

// oneLine shortens a text to one line of at most so many characters.
func oneLine(text string, most int) string {
	runes := []rune(strings.Join(strings.Fields(text), " "))
	if len(runes) <= most {
		return string(runes)
	}
	return string(runes[:most-1]) + "…"
}

func newQuestionShow(s *session) *cobra.Command {
	return newQuestionStep(s, "show", "Show a question with what is known of it", func(ctx context.Context, c stillroomv1.QuestionServiceClient, name string) (*stillroomv1.Question, error) {
		return c.GetQuestion(ctx, &stillroomv1.GetQuestionRequest{Name: name})
	})
}

func (s *session) showQuestion(q *stillroomv1.Question, err error) error {
	if err != nil {
		return err
	}
	return s.show(q, func(w io.Writer) { writeQuestion(w, q) })
}

func writeQuestion(w io.Writer, q *stillroomv1.Question) {
	fmt.Fprintf(w, "%s\n", q.GetText())
	line := fmt.Sprintf("  %s, %s", last(q.GetName()), stateWord(q.GetState()))
	if q.GetHost() != "" {
		line += " by " + q.GetHost()
	}
	if q.GetMergedInto() != "" {
		line += " into " + last(q.GetMergedInto())
	}
	fmt.Fprintf(w, "%s; asked by %s, with %d asking and %d endorsing\n", line, orElse(q.GetAskerDisplayName(), "somebody unnamed"), q.GetAskerCount(), q.GetEndorsementCount())
	for _, n := range q.GetNotices() {
		fmt.Fprintf(w, "  ! %s. %s\n    %s\n", n.GetTitle(), n.GetReason(), n.GetAdvice())
		if facts := n.GetFacts(); len(facts) > 0 {
			fmt.Fprintf(w, "    Source: %s, %s\n", facts[0].GetSource().GetPublication(), facts[0].GetSource().GetLocator())
		}
		fmt.Fprintf(w, "    %s\n", n.GetCaution())
	}
	if a := q.GetAnswer(); a != nil {
		fmt.Fprintf(w, "  Answer%s: %s\n", ifAny(" by ", a.GetAnsweredBy()), a.GetText())
		for _, source := range a.GetSources() {
			fmt.Fprintf(w, "    Source: %s%s\n", source.GetPublication(), ifAny(", ", source.GetLocator()))
		}
	}
}

// ifAny is prefix and text, or nothing when there is no text.
func ifAny(prefix, text string) string {
	if text == "" {
		return ""
	}
	return prefix + text
}

func newQuestionEdit(s *session) *cobra.Command {
	var text, topic, pin string
	var minutes float64
	cmd := &cobra.Command{
		Use: "edit QUESTION", Short: "Change the words, the topic, or how a running order treats it", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("questions", args[0])
			if err != nil {
				return err
			}
			q := &stillroomv1.Question{Name: name, Text: text, Topic: topic, AnswerSeconds: int32(minutes * 60)}
			mask := &fieldmaskpb.FieldMask{}
			for flag, paths := range map[string][]string{"text": {"text"}, "topic": {"topic"}, "minutes": {"answer_seconds"}, "order": {"pinned", "excluded"}} {
				if cmd.Flags().Changed(flag) {
					mask.Paths = append(mask.Paths, paths...)
				}
			}
			if len(mask.GetPaths()) == 0 {
				return fmt.Errorf("nothing to change; see %q", cmd.CommandPath()+" --help")
			}
			if cmd.Flags().Changed("order") {
				if err := oneOf("--order", pin, "in", "out", "free"); err != nil {
					return err
				}
				q.Pinned, q.Excluded = pin == "in", pin == "out"
			}
			q, err = ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.Question, error) {
				return c.UpdateQuestion(ctx, &stillroomv1.UpdateQuestionRequest{Question: q, UpdateMask: mask})
			})
			return s.showQuestion(q, err)
		},
	}
	cmd.Flags().StringVar(&text, "text", "", "the question in other words")
	cmd.Flags().StringVar(&topic, "topic", "", "what it is about in a word or two")
	cmd.Flags().Float64Var(&minutes, "minutes", 0, "minutes that answering takes; 0 for the usual time")
	cmd.Flags().StringVar(&pin, "order", "", "whether running orders take it: in, out, or free")
	return cmd
}

func newQuestionEndorse(s *session) *cobra.Command {
	var back bool
	cmd := &cobra.Command{
		Use: "endorse QUESTION PARTICIPANT", Short: `Say "me too" for a participant, once`, Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("questions", args[0])
			if err != nil {
				return err
			}
			who, err := s.findParticipant(cmd.Context(), args[1])
			if err != nil {
				return err
			}
			q, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.Question, error) {
				if back {
					return c.UnendorseQuestion(ctx, &stillroomv1.UnendorseQuestionRequest{Name: name, Participant: who})
				}
				return c.EndorseQuestion(ctx, &stillroomv1.EndorseQuestionRequest{Name: name, Participant: who})
			})
			return s.showQuestion(q, err)
		},
	}
	cmd.Flags().BoolVar(&back, "take-back", false, "take the endorsement back")
	return cmd
}

func newQuestionAnswer(s *session) *cobra.Command {
	var by string
	var sources []string
	var spoken bool
	cmd := &cobra.Command{
		Use: "answer QUESTION TEXT…", Short: "Record what was said or written", Args: cobra.MinimumNArgs(2),
		Example: `  stillroom question answer q1 "Half an inch." --source "USDA AIB 539 (rev. 2015); Guide 3, p. 3-21"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("questions", args[0])
			if err != nil {
				return err
			}
			a := &stillroomv1.Answer{Text: strings.Join(args[1:], " "), AnsweredBy: by, Spoken: spoken}
			for _, source := range sources {
				publication, locator, _ := strings.Cut(source, ";")
				a.Sources = append(a.Sources, &stillroomv1.Source{Publication: strings.TrimSpace(publication), Locator: strings.TrimSpace(locator)})
			}
			q, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.Question, error) {
				return c.AnswerQuestion(ctx, &stillroomv1.AnswerQuestionRequest{Name: name, Answer: a, RequestId: newRequestID()})
			})
			return s.showQuestion(q, err)
		},
	}
	cmd.Flags().StringVar(&by, "by", "", "who answered")
	cmd.Flags().StringArrayVar(&sources, "source", nil, `where it comes from, "publication; place in it"; may be given again`)
	cmd.Flags().BoolVar(&spoken, "spoken", false, "it was spoken in a session")
	return cmd
}

var audienceWords = map[string]stillroomv1.AnswerAudience{
	"askers": stillroomv1.AnswerAudience_ANSWER_AUDIENCE_ASKERS, "class": stillroomv1.AnswerAudience_ANSWER_AUDIENCE_CLASS,
	"library": stillroomv1.AnswerAudience_ANSWER_AUDIENCE_LIBRARY,
}

func newQuestionPublish(s *session) *cobra.Command {
	var to, reviewer, text string
	cmd := &cobra.Command{
		Use: "publish QUESTION", Short: "Show a reviewed answer to the class, or put it into the library", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := oneOf("--to", to, "askers", "class", "library"); err != nil {
				return err
			}
			name, err := s.under("questions", args[0])
			if err != nil {
				return err
			}
			q, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.Question, error) {
				return c.PublishAnswer(ctx, &stillroomv1.PublishAnswerRequest{Name: name, Audience: audienceWords[to], Reviewer: reviewer, Text: text})
			})
			return s.showQuestion(q, err)
		},
	}
	cmd.Flags().StringVar(&to, "to", "library", "who may read it: askers, class or library")
	cmd.Flags().StringVar(&reviewer, "reviewer", "", "who read it over")
	cmd.Flags().StringVar(&text, "text", "", "the answer as the reviewer words it (as it is when left out)")
	_ = cmd.MarkFlagRequired("reviewer")
	return cmd
}

func newQuestionMerge(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "merge INTO QUESTION…", Short: "Make questions part of another that asks the same", Args: cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			names := make([]string, len(args))
			for i, id := range args {
				var err error
				if names[i], err = s.under("questions", id); err != nil {
					return err
				}
			}
			q, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.Question, error) {
				return c.MergeQuestions(ctx, &stillroomv1.MergeQuestionsRequest{Name: names[0], Others: names[1:], RequestId: newRequestID()})
			})
			return s.showQuestion(q, err)
		},
	}
}

func newQuestionGroups(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "groups [CLASS]", Short: "Suggest which open questions ask the same", Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			class, err := s.underIf("classes", strings.Join(args, ""))
			if err != nil {
				return err
			}
			reply, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.SuggestGroupsResponse, error) {
				return c.SuggestGroups(ctx, &stillroomv1.SuggestGroupsRequest{Parent: k, Class: class})
			})
			if err != nil {
				return err
			}
			return s.show(reply, func(w io.Writer) {
				if len(reply.GetGroups()) == 0 {
					fmt.Fprintln(w, "No two open questions look the same.")
				}
				for _, g := range reply.GetGroups() {
					ids := make([]string, len(g.GetQuestions()))
					for i, name := range g.GetQuestions() {
						ids[i] = last(name)
						fmt.Fprintf(w, "  %s\n", oneLine(g.GetTexts()[i], 72))
					}
					fmt.Fprintf(w, "If they do ask the same: stillroom question merge %s\n\n", strings.Join(ids, " "))
				}
			})
		},
	}
}

func newQuestionLikely(s *session) *cobra.Command {
	var class string
	cmd := &cobra.Command{
		Use: "likely TEXT…", Short: "Find published answers for what somebody is typing", Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			className, err := s.underIf("classes", class)
			if err != nil {
				return err
			}
			reply, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.SuggestAnswersResponse, error) {
				return c.SuggestAnswers(ctx, &stillroomv1.SuggestAnswersRequest{Parent: k, Class: className, Text: strings.Join(args, " ")})
			})
			if err != nil {
				return err
			}
			return s.show(reply, func(w io.Writer) {
				writeQuestionNotices(w, reply.GetNotices())
				for _, a := range reply.GetComputed() {
					writeComputed(w, a)
				}
				if len(reply.GetAnswers())+len(reply.GetComputed()) == 0 {
					fmt.Fprintln(w, "Nothing published fits; ask it.")
				}
				for _, a := range reply.GetAnswers() {
					fmt.Fprintf(w, "%.2f  %s\n      %s\n", a.GetScore(), oneLine(a.GetQuestion().GetText(), 72), oneLine(a.GetQuestion().GetAnswer().GetText(), 200))
				}
			})
		},
	}
	cmd.Flags().StringVar(&class, "class", "", "also answers published to this class only")
	return cmd
}

func writeQuestionNotices(w io.Writer, notices []*stillroomv1.TriageNotice) {
	for _, n := range notices {
		fmt.Fprintf(w, "! %s. %s\n  %s\n", n.GetTitle(), n.GetReason(), n.GetAdvice())
	}
}

func writeComputed(w io.Writer, a *stillroomv1.ComputedAnswer) {
	fmt.Fprintln(w, a.GetText())
	for _, source := range a.GetSources() {
		fmt.Fprintf(w, "  Source: %s%s\n", source.GetPublication(), ifAny(", ", source.GetLocator()))
	}
	for _, caution := range a.GetCautions() {
		fmt.Fprintf(w, "  Caution: %s\n", caution.GetText())
	}
}

func newQuestionOrder(s *session) *cobra.Command {
	var minutes int32
	var opening time.Duration
	var apply bool
	cmd := &cobra.Command{
		Use: "order CLASS", Short: "Work out the running order of a live session", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			req := &stillroomv1.PlanRunningOrderRequest{Class: class, SessionMinutes: minutes, Apply: apply}
			if cmd.Flags().Changed("opening") {
				req.OpeningSeconds = proto.Int32(int32(opening / time.Second))
			}
			order, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.RunningOrder, error) {
				return c.PlanRunningOrder(ctx, req)
			})
			if err != nil {
				return err
			}
			return s.show(order, func(w io.Writer) { writeRunningOrder(w, order) })
		},
	}
	cmd.Flags().Int32Var(&minutes, "minutes", 0, "time for questions (the class's live session when left out)")
	cmd.Flags().DurationVar(&opening, "opening", 30*time.Second, "time that opening a topic costs")
	cmd.Flags().BoolVar(&apply, "apply", false, `store the order, so that "stillroom live next" follows it`)
	return cmd
}

func writeRunningOrder(w io.Writer, order *stillroomv1.RunningOrder) {
	g := newGrid(">AT", ">FOR", "", "QUESTION", "TOPIC", "WHY")
	for _, p := range order.GetPositions() {
		g.add(minuteClock(p.GetStartSeconds()), minuteClock(p.GetShareSeconds()), urgencyMark(p.GetQuestion()), oneLine(p.GetQuestion().GetText(), 56), p.GetQuestion().GetTopic(), p.GetWhy())
	}
	g.write(w, "No question to take.")
	fmt.Fprintf(w, "%s of %s used\n", minuteClock(order.GetUsedSeconds()), minuteClock(order.GetSessionSeconds()))
	if len(order.GetLeftOut()) > 0 {
		fmt.Fprintln(w, "\nLeft out:")
	}
	for _, l := range order.GetLeftOut() {
		fmt.Fprintf(w, "  %s — %s\n", oneLine(l.GetQuestion().GetText(), 56), l.GetWhy())
	}
}

// minuteClock is a span in minutes and seconds, "3:30".
func minuteClock(seconds int32) string { return fmt.Sprintf("%d:%02d", seconds/60, seconds%60) }
