package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newEquipmentReserve(s *session) *cobra.Command {
	var class, id, from, until string
	var units int32
	cmd := &cobra.Command{
		Use: "reserve EQUIPMENT --class CLASS", Short: "Claim equipment for a class", Args: cobra.ExactArgs(1),
		Example: `  stillroom equipment reserve big-canner --class relish-day --units 2`,
		RunE: func(cmd *cobra.Command, args []string) error {
			parent, err := s.under("equipment", args[0])
			if err != nil {
				return err
			}
			r := &stillroomv1.Reservation{Units: units}
			if r.Class, err = s.under("classes", class); err != nil {
				return err
			}
			_, zone, err := s.getClass(cmd.Context(), r.GetClass())
			if err != nil {
				return err
			}
			if r.StartTime, err = readTime("--from", from, zone); err != nil {
				return err
			}
			if r.EndTime, err = readTime("--until", until, zone); err != nil {
				return err
			}
			r, err = call(cmd.Context(), s, stillroomv1.NewEquipmentServiceClient, func(ctx context.Context, c stillroomv1.EquipmentServiceClient) (*stillroomv1.Reservation, error) {
				return c.CreateReservation(ctx, &stillroomv1.CreateReservationRequest{Parent: parent, ReservationId: id, Reservation: r, RequestId: newRequestID()})
			})
			if err != nil {
				return err
			}
			return s.show(r, func(w io.Writer) { writeReservations(w, []*stillroomv1.Reservation{r}, zone) })
		},
	}
	cmd.Flags().StringVar(&class, "class", "", "the class it is for")
	cmd.Flags().StringVar(&id, "id", "", "id of the reservation; one is made up when left out")
	cmd.Flags().Int32Var(&units, "units", 1, "how many")
	cmd.Flags().StringVar(&from, "from", "", `from when, in the site's time: "2027-08-21 09:00"; the class's start when left out`)
	cmd.Flags().StringVar(&until, "until", "", "until when; the class's end when left out")
	_ = cmd.MarkFlagRequired("class")
	return cmd
}

func newEquipmentReservations(s *session) *cobra.Command {
	var from string
	cmd := &cobra.Command{
		Use: "reservations [EQUIPMENT]", Short: "List who has what when", Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			parent, err := s.under("equipment", append(args, "-")[0])
			if err != nil {
				return err
			}
			req := &stillroomv1.ListReservationsRequest{Parent: parent, PageSize: everyPage}
			if from != "" {
				day, err := time.Parse(time.DateOnly, from)
				if err != nil {
					return fmt.Errorf("--from %q: write a day such as 2027-08-21", from)
				}
				req.FromTime = timestamppb.New(day)
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewEquipmentServiceClient, func(ctx context.Context, c stillroomv1.EquipmentServiceClient, token string) (*stillroomv1.ListReservationsResponse, error) {
				req.PageToken = token
				return c.ListReservations(ctx, req)
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) { writeReservations(w, all.GetReservations(), time.UTC) })
		},
	}
	cmd.Flags().StringVar(&from, "from", "", "only those that end after this day (UTC), e.g. 2027-08-21")
	return cmd
}

func newEquipmentRelease(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "release EQUIPMENT RESERVATION", Short: "Give reserved equipment back", Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := s.under("equipment", args[0], "reservations", args[1])
			if err != nil {
				return err
			}
			_, err = call(cmd.Context(), s, stillroomv1.NewEquipmentServiceClient, func(ctx context.Context, c stillroomv1.EquipmentServiceClient) (any, error) {
				return c.DeleteReservation(ctx, &stillroomv1.DeleteReservationRequest{Name: name})
			})
			return s.done(err, "reservation %s is given back", last(name))
		},
	}
}

func writeReservations(w io.Writer, all []*stillroomv1.Reservation, zone *time.Location) {
	g := newGrid("EQUIPMENT", "RESERVATION", "CLASS", ">UNITS", "FROM", "UNTIL")
	for _, r := range all {
		g.add(last(strings.TrimSuffix(r.GetName(), "/reservations/"+last(r.GetName()))), last(r.GetName()), last(r.GetClass()), r.GetUnits(), clock(r.GetStartTime(), zone), clock(r.GetEndTime(), zone))
	}
	g.write(w, "Nothing is reserved.")
}
