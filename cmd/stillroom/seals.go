package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newClassSeals(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "seals CLASS", Short: "List how participants say their jars sealed", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			_, zone, err := s.getClass(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			batches, err := everything(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient, token string) (*stillroomv1.ListBatchesResponse, error) {
				return c.ListBatches(ctx, &stillroomv1.ListBatchesRequest{Parent: class, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewSealServiceClient, func(ctx context.Context, c stillroomv1.SealServiceClient, token string) (*stillroomv1.ListSealChecksResponse, error) {
				return c.ListSealChecks(ctx, &stillroomv1.ListSealChecksRequest{Parent: class, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) {
				g := newGrid("BATCH", "RECIPE", "WHO", ">SEALED", ">DID NOT", "TOLD", "PROCESS AGAIN UNTIL")
				told := map[string]int32{}
				for _, c := range all.GetSealChecks() {
					told[c.GetBatch()] += c.GetSealedJars() + c.GetUnsealedJars()
					again := ""
					if c.GetUnsealedJars() > 0 {
						again = clock(c.GetReprocessUntilTime(), zone)
					}
					g.add(last(c.GetBatch()), recipeOf(batches, c.GetBatch()), c.GetParticipantDisplayName(), c.GetSealedJars(), c.GetUnsealedJars(), clock(c.GetUpdateTime(), zone), again)
				}
				g.write(w, "Nobody has said yet how their jars sealed.")
				for _, b := range batches.GetBatches() {
					if missing := b.GetJars() - told[b.GetName()]; missing > 0 && b.GetNotForShelfReason() == "" {
						fmt.Fprintf(w, "%s, %s: nothing heard of %d of %d jars\n", last(b.GetName()), last(b.GetStation()), missing, b.GetJars())
					}
				}
			})
		},
	}
}

// recipeOf is the recipe of a batch, in short.
func recipeOf(batches *stillroomv1.ListBatchesResponse, name string) string {
	for _, b := range batches.GetBatches() {
		if b.GetName() == name {
			return shortRevision(b.GetRecipeRevision())
		}
	}
	return ""
}

func newClassSeal(s *session) *cobra.Command {
	var sealed, unsealed int32
	cmd := &cobra.Command{
		Use: "seal CLASS BATCH WHO --sealed N --unsealed N", Short: "Write down how a participant's jars sealed, and print what to do", Args: cobra.ExactArgs(3),
		Example: `  stillroom class seal relish-day b1 "Delphine Aster" --sealed 3 --unsealed 1`,
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			batch, err := s.under("classes", args[0], "batches", args[1])
			if err != nil {
				return err
			}
			who, err := s.findParticipant(cmd.Context(), args[2])
			if err != nil {
				return err
			}
			check, err := call(cmd.Context(), s, stillroomv1.NewSealServiceClient, func(ctx context.Context, c stillroomv1.SealServiceClient) (*stillroomv1.SealCheck, error) {
				return c.CreateSealCheck(ctx, &stillroomv1.CreateSealCheckRequest{Parent: class, RequestId: newRequestID(),
					SealCheck: &stillroomv1.SealCheck{Batch: batch, Participant: who, SealedJars: sealed, UnsealedJars: unsealed}})
			})
			if err != nil {
				return err
			}
			return s.show(check, func(w io.Writer) {
				fmt.Fprintf(w, "%s: %d sealed, %d did not\n", check.GetParticipantDisplayName(), check.GetSealedJars(), check.GetUnsealedJars())
				for _, step := range check.GetAdvice() {
					fmt.Fprintf(w, "- %s (%s, %s)\n", step.GetText(), step.GetSource().GetPublication(), step.GetSource().GetLocator())
				}
			})
		},
	}
	cmd.Flags().Int32Var(&sealed, "sealed", 0, "jars that sealed")
	cmd.Flags().Int32Var(&unsealed, "unsealed", 0, "jars that did not")
	return cmd
}
