package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newStation(s *session) *cobra.Command {
	return parent(groupClass, "station", "Stations: the benches of a class",
		newStationAdd(s), newStationList(s), newStationDelete(s))
}

func newStationAdd(s *session) *cobra.Command {
	var names []string
	cmd := &cobra.Command{
		Use: "add CLASS ID...", Short: "Add stations to a class", Args: cobra.MinimumNArgs(2),
		Example: "  stillroom station add relish-day bench-1 bench-2 bench-3",
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			if len(names) > 0 && len(names) != len(args)-1 {
				return fmt.Errorf("--name was given %d times for %d stations", len(names), len(args)-1)
			}
			added := &stillroomv1.ListStationsResponse{}
			for i, id := range args[1:] {
				name := id
				if len(names) > 0 {
					name = names[i]
				}
				st, err := call(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient) (*stillroomv1.Station, error) {
					return c.CreateStation(ctx, &stillroomv1.CreateStationRequest{
						Parent: class, StationId: id, Station: &stillroomv1.Station{DisplayName: name}, RequestId: newRequestID(),
					})
				})
				if err != nil {
					return err
				}
				added.Stations = append(added.Stations, st)
			}
			return s.showStations(added)
		},
	}
	cmd.Flags().StringArrayVar(&names, "name", nil, "name for people, once for each station in order")
	return cmd
}

func newStationList(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "list CLASS", Short: "List a class's stations", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient, token string) (*stillroomv1.ListStationsResponse, error) {
				return c.ListStations(ctx, &stillroomv1.ListStationsRequest{Parent: class, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			if err := s.showStations(all); err != nil {
				return err
			}
			return s.warnOfAllergies(cmd.Context(), class, "")
		},
	}
}

func newStationDelete(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "delete CLASS ID", Short: "Remove a station and its batches", Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			full, err := s.under("classes", args[0], "stations", args[1])
			if err != nil {
				return err
			}
			_, err = call(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient) (any, error) {
				return c.DeleteStation(ctx, &stillroomv1.DeleteStationRequest{Name: full})
			})
			return s.done(err, "station %s is removed", last(full))
		},
	}
}

func (s *session) showStations(all *stillroomv1.ListStationsResponse) error {
	return s.show(all, func(w io.Writer) {
		g := newGrid(">NO.", "STATION", "NAME", ">PARTICIPANTS")
		for _, st := range all.GetStations() {
			g.add(st.GetPosition(), last(st.GetName()), st.GetDisplayName(), st.GetParticipantCount())
		}
		g.write(w, "No stations yet; add some with: stillroom station add CLASS ID...")
	})
}
