package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newLive(s *session) *cobra.Command {
	return parent(groupPlan, "live", "Live sessions: open, take the next question, close",
		newLiveOpen(s), newLiveNext(s), newLiveClose(s), newLiveList(s))
}

func newLiveOpen(s *session) *cobra.Command {
	var host, id string
	cmd := &cobra.Command{
		Use: "open CLASS", Short: "Open a live session of a class", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			reply, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.Session, error) {
				return c.CreateSession(ctx, &stillroomv1.CreateSessionRequest{Parent: class, SessionId: id, Host: host, RequestId: newRequestID()})
			})
			return s.showSession(reply, err)
		},
	}
	cmd.Flags().StringVar(&host, "host", "", "who hosts, a name for people")
	cmd.Flags().StringVar(&id, "id", "", "id of the session (made up when left out)")
	_ = cmd.MarkFlagRequired("host")
	return cmd
}

func (s *session) showSession(reply *stillroomv1.Session, err error) error {
	if err != nil {
		return err
	}
	return s.show(reply, func(w io.Writer) {
		fmt.Fprintf(w, "Session %s is %s: %d answered, %d still open\n", last(reply.GetName()), sessionWord(reply), reply.GetAnsweredCount(), reply.GetOpenCount())
	})
}

func sessionWord(m *stillroomv1.Session) string {
	if m.GetState() == stillroomv1.SessionState_SESSION_STATE_OPEN {
		return "open"
	}
	return "closed"
}

func newLiveNext(s *session) *cobra.Command {
	var host string
	cmd := &cobra.Command{
		Use: "next CLASS SESSION", Short: "Take the next question", Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("classes", args[0], "sessions", args[1])
			if err != nil {
				return err
			}
			q, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.Question, error) {
				return c.TakeNextQuestion(ctx, &stillroomv1.TakeNextQuestionRequest{Session: name, Host: host, RequestId: newRequestID()})
			})
			return s.showQuestion(q, err)
		},
	}
	cmd.Flags().StringVar(&host, "host", "", "who takes it, a name for people")
	_ = cmd.MarkFlagRequired("host")
	return cmd
}

func newLiveClose(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "close CLASS SESSION", Short: "Close a session; what is still taken goes back to the queue", Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("classes", args[0], "sessions", args[1])
			if err != nil {
				return err
			}
			reply, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.Session, error) {
				return c.CloseSession(ctx, &stillroomv1.CloseSessionRequest{Name: name})
			})
			return s.showSession(reply, err)
		},
	}
}

func newLiveList(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "list CLASS", Short: "List a class's sessions", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, zone, err := s.getClass(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			reply, err := everything(cmd.Context(), s, stillroomv1.NewQuestionServiceClient, func(ctx context.Context, c stillroomv1.QuestionServiceClient, token string) (*stillroomv1.ListSessionsResponse, error) {
				return c.ListSessions(ctx, &stillroomv1.ListSessionsRequest{Parent: class.GetName(), PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.show(reply, func(w io.Writer) {
				g := newGrid("SESSION", "STATE", "HOST", "OPENED", "CLOSED", ">ANSWERED")
				for _, m := range reply.GetSessions() {
					g.add(last(m.GetName()), sessionWord(m), m.GetHost(), clock(m.GetOpenTime(), zone), clock(m.GetCloseTime(), zone), m.GetAnsweredCount())
				}
				g.write(w, "No session yet; open one with: stillroom live open CLASS --host NAME")
			})
		},
	}
}

func newQuestionHistory(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "history QUESTION", Short: "List what happened to a question", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("questions", args[0])
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewQuestionServiceClient, func(ctx context.Context, c stillroomv1.QuestionServiceClient, token string) (*stillroomv1.ListQuestionStepsResponse, error) {
				return c.ListQuestionSteps(ctx, &stillroomv1.ListQuestionStepsRequest{Parent: name, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) {
				g := newGrid("WHEN (UTC)", "WHAT", "BY", "WHAT IT REPLACED")
				for _, step := range all.GetSteps() {
					g.add(clock(step.GetHappenTime(), time.UTC), step.GetStep(), step.GetHost(), oneLine(step.GetFormer(), 60))
				}
				g.write(w, "Nothing happened yet.")
			})
		},
	}
}

func newQuestionCarry(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "carry CLASS [TO]", Short: "Carry a class's open questions over to another class, or to the general ones", Args: cobra.RangeArgs(1, 2),
		RunE: func(cmd *cobra.Command, args []string) error {
			from, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			to := ""
			if len(args) == 2 {
				if to, err = s.under("classes", args[1]); err != nil {
					return err
				}
			}
			reply, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.CarryOverQuestionsResponse, error) {
				return c.CarryOverQuestions(ctx, &stillroomv1.CarryOverQuestionsRequest{FromClass: from, ToClass: to, RequestId: newRequestID()})
			})
			if err != nil {
				return err
			}
			return s.show(reply, func(w io.Writer) {
				for _, q := range reply.GetQuestions() {
					fmt.Fprintf(w, "  %s\n", oneLine(q.GetText(), 76))
				}
				fmt.Fprintf(w, "%d carried over\n", len(reply.GetQuestions()))
			})
		},
	}
}

var answerFormats = map[string]stillroomv1.AnswerFormat{
	"markdown": stillroomv1.AnswerFormat_ANSWER_FORMAT_MARKDOWN, "csv": stillroomv1.AnswerFormat_ANSWER_FORMAT_CSV,
	"json": stillroomv1.AnswerFormat_ANSWER_FORMAT_JSON,
}

func newQuestionExport(s *session) *cobra.Command {
	var class, format, audience, file string
	cmd := &cobra.Command{
		Use: "export", Short: "Write answers with their sources as Markdown, CSV or JSON", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := errors.Join(oneOf("--format", format, "markdown", "csv", "json"), oneOf("--audience", audience, "askers", "class", "library")); err != nil {
				return err
			}
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			className, err := s.underIf("classes", class)
			if err != nil {
				return err
			}
			reply, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.ExportAnswersResponse, error) {
				return c.ExportAnswers(ctx, &stillroomv1.ExportAnswersRequest{Parent: k, Class: className, Format: answerFormats[format], Audience: audienceWords[audience]})
			})
			if err != nil {
				return err
			}
			if file != "" {
				return os.WriteFile(file, reply.GetContent(), 0o600)
			}
			return s.show(reply, func(w io.Writer) { _, _ = w.Write(reply.GetContent()) })
		},
	}
	cmd.Flags().StringVar(&class, "class", "", "only answers about this class")
	cmd.Flags().StringVar(&format, "format", "markdown", "markdown, csv or json")
	cmd.Flags().StringVar(&audience, "audience", "library", "answers published to at least: askers, class or library")
	cmd.Flags().StringVarP(&file, "file", "f", "", "write to this file instead of standard output")
	return cmd
}

func newClassCalendar(s *session) *cobra.Command {
	var file string
	cmd := &cobra.Command{
		Use: "calendar CLASS", Short: "Write the class, its live session and its seal check as iCalendar", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			reply, err := ask(cmd.Context(), s, func(ctx context.Context, c stillroomv1.QuestionServiceClient) (*stillroomv1.ExportClassCalendarResponse, error) {
				return c.ExportClassCalendar(ctx, &stillroomv1.ExportClassCalendarRequest{Class: class})
			})
			if err != nil {
				return err
			}
			if file != "" {
				return os.WriteFile(file, reply.GetContent(), 0o600)
			}
			return s.show(reply, func(w io.Writer) { _, _ = w.Write(reply.GetContent()) })
		},
	}
	cmd.Flags().StringVarP(&file, "file", "f", "", "write to this file instead of standard output")
	return cmd
}

func newQuestionWatch(s *session) *cobra.Command {
	var class string
	cmd := &cobra.Command{
		Use: "watch", Short: "Show the queue as it changes, until Ctrl-C", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			req := &stillroomv1.WatchQuestionsRequest{Parent: k}
			if req.Class, err = s.underIf("classes", class); err != nil {
				return err
			}
			conn, err := s.dial()
			if err != nil {
				return err
			}
			client := stillroomv1.NewQuestionServiceClient(conn)
			for {
				err := s.watchOnce(cmd.Context(), client, req)
				select {
				case <-cmd.Context().Done():
					return nil
				default:
				}
				// Dropped: go on from where it broke. Anything else is for the user to see.
				if req.GetResumeToken() == "" || (status.Code(err) != codes.Unavailable && status.Code(err) != codes.ResourceExhausted) {
					return err
				}
				select {
				case <-cmd.Context().Done():
					return nil
				case <-time.After(time.Second):
				}
			}
		},
	}
	cmd.Flags().StringVar(&class, "class", "", "only questions about this class")
	return cmd
}

// watchOnce follows one stream and keeps the token to resume from in the request.
func (s *session) watchOnce(ctx context.Context, client stillroomv1.QuestionServiceClient, req *stillroomv1.WatchQuestionsRequest) error {
	stream, err := client.WatchQuestions(ctx, req)
	if err != nil {
		return err
	}
	for {
		m, err := stream.Recv()
		if err != nil {
			return err
		}
		if token := m.GetResumeToken(); token != "" {
			req.ResumeToken = token
		}
		q := m.GetQuestion()
		if q == nil {
			continue
		}
		if s.output == "json" {
			line, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
			if err != nil {
				return err
			}
			fmt.Fprintln(s.out, string(line))
			continue
		}
		fmt.Fprintf(s.out, "%1s %-9s %3d  %s\n", urgencyMark(q), stateWord(q.GetState()), q.GetAskerCount()+q.GetEndorsementCount(), oneLine(q.GetText(), 76))
	}
}
