package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newRoster(s *session) *cobra.Command {
	return parent(groupClass, "roster", "Rosters: who has a place in a class, and who waits",
		newRosterList(s), newRosterImport(s), newRosterExport(s), newRosterEnrol(s), newRosterMove(s), newRosterCancel(s))
}

// roster fetches all of a class's enrolments.
func (s *session) roster(ctx context.Context, class string, cancelled bool) (*stillroomv1.ListEnrolmentsResponse, error) {
	return everything(ctx, s, stillroomv1.NewRosterServiceClient, func(ctx context.Context, c stillroomv1.RosterServiceClient, token string) (*stillroomv1.ListEnrolmentsResponse, error) {
		return c.ListEnrolments(ctx, &stillroomv1.ListEnrolmentsRequest{Parent: class, PageSize: everyPage, PageToken: token, ShowCancelled: cancelled})
	})
}

// findEnrolment is the resource name of the enrolment that who means: its id, or
// the name of a participant that only one on the roster has.
func (s *session) findEnrolment(ctx context.Context, classID, who string) (string, error) {
	class, err := s.under("classes", classID)
	if err != nil {
		return "", err
	}
	all, err := s.roster(ctx, class, false)
	if err != nil {
		return "", err
	}
	var named []string
	for _, e := range all.GetEnrolments() {
		if e.GetName() == who || last(e.GetName()) == who {
			return e.GetName(), nil
		}
		if strings.EqualFold(e.GetParticipantDisplayName(), who) {
			named = append(named, e.GetName())
		}
	}
	switch len(named) {
	case 1:
		return named[0], nil
	case 0:
		return "", fmt.Errorf("nobody on the roster of %s is %q; see %q", classID, who, "stillroom roster list "+classID)
	default:
		return "", fmt.Errorf("%d on the roster of %s are named %q; give the enrolment's id from %q", len(named), classID, who, "stillroom roster list "+classID)
	}
}

func newRosterList(s *session) *cobra.Command {
	var cancelled bool
	cmd := &cobra.Command{
		Use: "list CLASS", Short: "List places, then the waiting list", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			all, err := s.roster(cmd.Context(), class, cancelled)
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) { writeEnrolments(w, all.GetEnrolments()) })
		},
	}
	cmd.Flags().BoolVar(&cancelled, "cancelled", false, "show cancelled enrolments too")
	return cmd
}

func writeEnrolments(w io.Writer, enrolments []*stillroomv1.Enrolment) {
	g := newGrid(">NO.", "NAME", "STANDING", "STATION", "ENROLMENT")
	for i, e := range enrolments {
		g.add(i+1, e.GetParticipantDisplayName(), standing(e), orElse(last(e.GetStation()), "–"), last(e.GetName()))
	}
	g.write(w, "Nobody yet; bring a list with: stillroom roster import CLASS FILE.csv")
}

// standing says in words where a participant stands with a class.
func standing(e *stillroomv1.Enrolment) string {
	switch e.GetState() {
	case stillroomv1.EnrolmentState_ENROLMENT_STATE_ENROLLED:
		return "enrolled"
	case stillroomv1.EnrolmentState_ENROLMENT_STATE_WAITING:
		return fmt.Sprintf("waiting, no. %d", e.GetWaitingPosition())
	case stillroomv1.EnrolmentState_ENROLMENT_STATE_CANCELLED:
		return "cancelled"
	default:
		return "unknown"
	}
}

func newRosterImport(s *session) *cobra.Command {
	var skipBad bool
	cmd := &cobra.Command{
		Use: "import CLASS FILE.csv", Short: "Bring a roster from CSV", Args: cobra.ExactArgs(2),
		Long: `Bring a roster from a CSV file ("-" reads standard input).

The first line names the columns, in any order and case:
  name (needed), email, phone, allergies, home_altitude ("1600 m", "5,280 ft"), station
People are matched by their address; who is on the roster already stays as is.
When the class is full the rest join the waiting list in the order of the file.
A bad line is reported by its number and nothing is imported, unless --skip-bad.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			data, err := s.readInput(args[1])
			if err != nil {
				return err
			}
			reply, err := call(cmd.Context(), s, stillroomv1.NewRosterServiceClient, func(ctx context.Context, c stillroomv1.RosterServiceClient) (*stillroomv1.ImportRosterResponse, error) {
				return c.ImportRoster(ctx, &stillroomv1.ImportRosterRequest{Parent: class, Csv: data, SkipBad: skipBad, RequestId: newRequestID()})
			})
			if err != nil {
				return err
			}
			return s.show(reply, func(w io.Writer) {
				enrolled, waiting := 0, 0
				for _, e := range reply.GetEnrolments() {
					if e.GetState() == stillroomv1.EnrolmentState_ENROLMENT_STATE_WAITING {
						waiting++
					} else {
						enrolled++
					}
				}
				fmt.Fprintf(w, "%d enrolled, %d on the waiting list", enrolled, waiting)
				if n := reply.GetAlreadyEnrolled(); n > 0 {
					fmt.Fprintf(w, ", %d on the roster already", n)
				}
				fmt.Fprintf(w, " (%d new to the kitchen)\n", reply.GetParticipantsCreated())
				for _, b := range reply.GetBadLines() {
					fmt.Fprintf(w, "  skipped line %d: %s\n", b.GetLine(), strings.TrimSpace(b.GetField()+" "+b.GetProblem()))
				}
			})
		},
	}
	cmd.Flags().BoolVar(&skipBad, "skip-bad", false, "import the good lines although others are bad")
	return cmd
}

func newRosterExport(s *session) *cobra.Command {
	var file string
	cmd := &cobra.Command{
		Use: "export CLASS", Short: "Write a roster as CSV", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			reply, err := call(cmd.Context(), s, stillroomv1.NewRosterServiceClient, func(ctx context.Context, c stillroomv1.RosterServiceClient) (*stillroomv1.ExportRosterResponse, error) {
				return c.ExportRoster(ctx, &stillroomv1.ExportRosterRequest{Parent: class})
			})
			if err != nil {
				return err
			}
			if file != "" {
				// Names and allergies: for the owner's eyes only.
				return os.WriteFile(file, reply.GetCsv(), 0o600)
			}
			return s.show(reply, func(w io.Writer) { _, _ = w.Write(reply.GetCsv()) })
		},
	}
	cmd.Flags().StringVarP(&file, "file", "f", "", "write to this file instead of standard output")
	return cmd
}

func newRosterEnrol(s *session) *cobra.Command {
	var station string
	var wait bool
	cmd := &cobra.Command{
		Use: "enrol CLASS PARTICIPANT", Short: "Give a participant, by name or id, a place", Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			person, err := s.findParticipant(cmd.Context(), args[1])
			if err != nil {
				return err
			}
			e := &stillroomv1.Enrolment{Participant: person}
			if station != "" {
				e.Station = class + "/stations/" + station
			}
			whenFull := stillroomv1.WhenFull_WHEN_FULL_FAIL
			if wait {
				whenFull = stillroomv1.WhenFull_WHEN_FULL_WAIT
			}
			e, err = call(cmd.Context(), s, stillroomv1.NewRosterServiceClient, func(ctx context.Context, c stillroomv1.RosterServiceClient) (*stillroomv1.Enrolment, error) {
				return c.CreateEnrolment(ctx, &stillroomv1.CreateEnrolmentRequest{Parent: class, Enrolment: e, WhenFull: whenFull, RequestId: newRequestID()})
			})
			return s.showEnrolment(e, err)
		},
	}
	cmd.Flags().StringVar(&station, "station", "", "id of the station where they work")
	cmd.Flags().BoolVar(&wait, "wait", false, "join the waiting list when the class is full")
	return cmd
}

func newRosterMove(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "move CLASS WHO STATION", Short: "Place a participant, by name or enrolment, at a station", Args: cobra.ExactArgs(3),
		RunE: func(cmd *cobra.Command, args []string) error {
			full, err := s.findEnrolment(cmd.Context(), args[0], args[1])
			if err != nil {
				return err
			}
			station, err := s.under("classes", args[0], "stations", args[2])
			if err != nil {
				return err
			}
			e, err := call(cmd.Context(), s, stillroomv1.NewRosterServiceClient, func(ctx context.Context, c stillroomv1.RosterServiceClient) (*stillroomv1.Enrolment, error) {
				return c.UpdateEnrolment(ctx, &stillroomv1.UpdateEnrolmentRequest{Enrolment: &stillroomv1.Enrolment{Name: full, Station: station}})
			})
			return s.showEnrolment(e, err)
		},
	}
}

func newRosterCancel(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "cancel CLASS WHO", Short: "Give a place back, by name or enrolment; the first who waits gets it", Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			full, err := s.findEnrolment(cmd.Context(), args[0], args[1])
			if err != nil {
				return err
			}
			reply, err := call(cmd.Context(), s, stillroomv1.NewRosterServiceClient, func(ctx context.Context, c stillroomv1.RosterServiceClient) (*stillroomv1.CancelEnrolmentResponse, error) {
				return c.CancelEnrolment(ctx, &stillroomv1.CancelEnrolmentRequest{Name: full})
			})
			if err != nil {
				return err
			}
			return s.show(reply, func(w io.Writer) {
				fmt.Fprintf(w, "%s is cancelled\n", reply.GetCancelled().GetParticipantDisplayName())
				if p := reply.GetPromoted(); p != nil {
					fmt.Fprintf(w, "%s has moved up from the waiting list\n", p.GetParticipantDisplayName())
				}
			})
		},
	}
}

func (s *session) showEnrolment(e *stillroomv1.Enrolment, err error) error {
	if err != nil {
		return err
	}
	return s.show(e, func(w io.Writer) { writeEnrolments(w, []*stillroomv1.Enrolment{e}) })
}

func newParticipant(s *session) *cobra.Command {
	return parent(groupClass, "participant", "Participants: the people a kitchen knows",
		newParticipantCreate(s), newParticipantList(s), newParticipantExport(s), newParticipantErase(s))
}

func newParticipantCreate(s *session) *cobra.Command {
	var id, email, phone, allergies, altitude string
	cmd := &cobra.Command{
		Use: "create NAME", Short: "Add a person", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			p := &stillroomv1.Participant{DisplayName: args[0], Email: email, Phone: phone, Allergies: allergies}
			if altitude != "" {
				if p.HomeAltitude, err = readAltitude(altitude); err != nil {
					return err
				}
			}
			p, err = call(cmd.Context(), s, stillroomv1.NewRosterServiceClient, func(ctx context.Context, c stillroomv1.RosterServiceClient) (*stillroomv1.Participant, error) {
				return c.CreateParticipant(ctx, &stillroomv1.CreateParticipantRequest{Parent: k, ParticipantId: id, Participant: p, RequestId: newRequestID()})
			})
			if err != nil {
				return err
			}
			return s.show(p, func(w io.Writer) { fmt.Fprintf(w, "%s  %s\n", last(p.GetName()), p.GetDisplayName()) })
		},
	}
	cmd.Flags().StringVar(&id, "id", "", "id; one is made up when left out")
	cmd.Flags().StringVar(&email, "email", "", "mail address")
	cmd.Flags().StringVar(&phone, "phone", "", "telephone number")
	cmd.Flags().StringVar(&allergies, "allergies", "", "allergies in their own words")
	cmd.Flags().StringVar(&altitude, "home-altitude", "", `how high their home lies, "1600 m" or "5,280 ft"`)
	return cmd
}

func newParticipantList(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List participants", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			all, err := s.people(cmd.Context())
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) {
				g := newGrid("PARTICIPANT", "NAME", "EMAIL", "ALLERGIES", ">HOME")
				for _, p := range all.GetParticipants() {
					g.add(last(p.GetName()), p.GetDisplayName(), p.GetEmail(), p.GetAllergies(), height(p.GetHomeAltitude()))
				}
				g.write(w, "Nobody yet; add one with: stillroom participant create NAME")
			})
		},
	}
}
