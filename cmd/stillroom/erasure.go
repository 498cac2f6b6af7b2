package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newParticipantExport(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "export WHO", Short: "Write everything the kitchen holds about a person, as JSON", Args: cobra.ExactArgs(1),
		Long: `Write everything the kitchen holds about a person, as JSON: name, contact, allergies,
places, questions, tokens (without their secrets), and the record of what was done to
them. It is for the kitchen's owner, and is recorded itself.`,
		Example: `  stillroom participant export "Delphine Aster" > delphine.json`,
		RunE: func(cmd *cobra.Command, args []string) error {
			held, err := s.held(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			s.output = "json"
			return s.show(held, nil)
		},
	}
}

func (s *session) held(ctx context.Context, who string) (*stillroomv1.ExportParticipantDataResponse, error) {
	name, err := s.findParticipant(ctx, who)
	if err != nil {
		return nil, err
	}
	return call(ctx, s, stillroomv1.NewRosterServiceClient, func(ctx context.Context, c stillroomv1.RosterServiceClient) (*stillroomv1.ExportParticipantDataResponse, error) {
		return c.ExportParticipantData(ctx, &stillroomv1.ExportParticipantDataRequest{Name: name})
	})
}

func newParticipantErase(s *session) *cobra.Command {
	var yes bool
	cmd := &cobra.Command{
		Use: "erase WHO", Short: "Take a person's name and contact out of the kitchen, for good", Args: cobra.ExactArgs(1),
		Long: `Take a person's name, contact, allergies and home out of the kitchen, for good, and
revoke their tokens. Places in classes that have begun, questions and endorsements
stay, so that rosters, lists and plans still add up; a place in a class to come is
given back, and the first who waits gets it. The full name, address and number are
replaced by "erased" wherever else the kitchen wrote them, but in recipes, whose
source a name may be. Files that were exported and backups made before are not
reached: erase again after a restore.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			held, err := s.held(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			p := held.GetParticipant()
			if !yes {
				writeGoing(s.errOut, held)
				fmt.Fprintf(s.errOut, "Type %s to erase: ", last(p.GetName()))
				typed, _ := bufio.NewReader(s.in).ReadString('\n')
				if strings.TrimSpace(typed) != last(p.GetName()) {
					return fmt.Errorf("nothing was erased; type the id when asked, or give --yes")
				}
			}
			request := newRequestID()
			reply, err := call(cmd.Context(), s, stillroomv1.NewRosterServiceClient, func(ctx context.Context, c stillroomv1.RosterServiceClient) (*stillroomv1.EraseParticipantResponse, error) {
				return c.EraseParticipant(ctx, &stillroomv1.EraseParticipantRequest{Name: p.GetName(), Etag: p.GetEtag(), RequestId: request})
			})
			if err != nil {
				return err
			}
			return s.show(reply, func(w io.Writer) {
				fmt.Fprintf(w, "erased; what is left is called %s\n", last(reply.GetParticipant().GetName()))
				for _, e := range reply.GetCancelled() {
					fmt.Fprintf(w, "gave a place in %s back\n", classOf(e))
				}
				for _, e := range reply.GetPromoted() {
					fmt.Fprintf(w, "%s has moved up from the waiting list of %s\n", e.GetParticipantDisplayName(), classOf(e))
				}
				if n := reply.GetTokensRevoked(); n > 0 {
					fmt.Fprintf(w, "tokens revoked: %d\n", n)
				}
			})
		},
	}
	cmd.Flags().BoolVar(&yes, "yes", false, "do not ask")
	return cmd
}

// writeGoing says what an erasure will take, and what it will leave.
func writeGoing(w io.Writer, held *stillroomv1.ExportParticipantDataResponse) {
	p := held.GetParticipant()
	fmt.Fprintln(w, "This goes, for good:")
	for _, f := range []struct{ what, value string }{
		{"name", p.GetDisplayName()}, {"mail", p.GetEmail()}, {"phone", p.GetPhone()}, {"allergies", p.GetAllergies()}, {"home", height(p.GetHomeAltitude())},
	} {
		if f.value != "" {
			fmt.Fprintf(w, "  %-9s  %s\n", f.what, f.value)
		}
	}
	works := 0
	for _, t := range held.GetTokens() {
		if t.GetRevokeTime() == nil && t.GetExpireTime().AsTime().After(time.Now()) {
			works++
		}
	}
	fmt.Fprintf(w, "  %-9s  %d\n", "tokens", works)
	for _, e := range held.GetEnrolments() {
		if e.GetState() == stillroomv1.EnrolmentState_ENROLMENT_STATE_CANCELLED {
			continue
		}
		fmt.Fprintf(w, "  %-9s  in %s, unless the class has begun\n", "place", classOf(e))
	}
	fmt.Fprintf(w, "This stays, without a name: %d questions, %d endorsements, places in classes that have begun.\n",
		len(held.GetQuestions()), len(held.GetEndorsedQuestions()))
}

// classOf is the id of the class that an enrolment is in.
func classOf(e *stillroomv1.Enrolment) string {
	return last(strings.TrimSuffix(e.GetName(), "/enrolments/"+last(e.GetName())))
}
