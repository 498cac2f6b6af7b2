package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newClassAllergies(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "allergies CLASS", Short: "Compare what participants are allergic to with what they will make", Args: cobra.ExactArgs(1),
		Long: `Compare what participants wrote about their allergies with the ingredients of what is
made at their stations: by the groups of allergens that laws list, and word by word.
It warns, and never says that anything is safe: read the labels, and ask the person.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			check, err := s.allergies(cmd.Context(), class)
			if err != nil {
				return err
			}
			return s.show(check, func(w io.Writer) {
				if !writeAllergies(w, check, "") {
					fmt.Fprintf(w, "Nobody with a place wrote about allergies.\n! %s\n", check.GetCaution())
				}
			})
		},
	}
}

func (s *session) allergies(ctx context.Context, class string) (*stillroomv1.CheckAllergiesResponse, error) {
	return call(ctx, s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient) (*stillroomv1.CheckAllergiesResponse, error) {
		return c.CheckAllergies(ctx, &stillroomv1.CheckAllergiesRequest{Name: class})
	})
}

// warnOfAllergies writes a class's warnings, of one station unless it is empty, below a
// table for people; nothing for a caller who may not know of them.
func (s *session) warnOfAllergies(ctx context.Context, class, station string) error {
	if s.output == "json" {
		return nil
	}
	check, err := s.allergies(ctx, class)
	if code := status.Code(err); code == codes.PermissionDenied || code == codes.Unimplemented {
		return nil
	}
	if err != nil {
		return err
	}
	var text strings.Builder
	if writeAllergies(&text, check, station) {
		fmt.Fprintf(s.out, "\n%s", text.String())
	}
	return nil
}

// writeAllergies writes warnings, and says whether there was anything to write.
func writeAllergies(w io.Writer, check *stillroomv1.CheckAllergiesResponse, station string) bool {
	g := newGrid("STATION", "ALLERGIC", "WROTE", "INGREDIENT", "OF", "WHY")
	var cited []string
	for _, a := range check.GetWarnings() {
		if station != "" && a.GetStation() != station {
			continue
		}
		why := a.GetReason()
		if source := a.GetSource(); source != nil {
			var at int
			cited, at = cite(cited, source.GetPublication()+", "+source.GetLocator())
			why += fmt.Sprintf(" [%d]", at)
		}
		g.add(last(a.GetStation()), a.GetParticipantDisplayName(), a.GetAllergies(), a.GetIngredient(), shortRevision(a.GetRecipeRevision()), why)
	}
	var unmatched []string
	for _, u := range check.GetUnmatched() {
		if station == "" || u.GetStation() == "" || u.GetStation() == station {
			unmatched = append(unmatched, fmt.Sprintf("%s (%s)", u.GetParticipantDisplayName(), u.GetAllergies()))
		}
	}
	if len(g.rows) == 0 && len(unmatched) == 0 {
		return false
	}
	if len(g.rows) > 0 {
		g.write(w, "")
		for i, source := range cited {
			fmt.Fprintf(w, "[%d] %s\n", i+1, source)
		}
	}
	if len(unmatched) > 0 {
		fmt.Fprintf(w, "Allergic to what no ingredient's name says: %s\n", strings.Join(unmatched, "; "))
	}
	fmt.Fprintf(w, "! %s\n", check.GetCaution())
	return true
}

// cite gives the number of a source, from 1, among those cited so far.
func cite(cited []string, source string) ([]string, int) {
	for i, c := range cited {
		if c == source {
			return cited, i + 1
		}
	}
	return append(cited, source), len(cited) + 1
}
