package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newClass(s *session) *cobra.Command {
	return parent(groupClass, "class", "Classes: teaching events at a site",
		newClassCreate(s), newClassList(s), newClassShow(s), newClassChange(s), newClassDelete(s), newClassCalendar(s),
		newClassSeals(s), newClassSeal(s), newClassAllergies(s))
}

// classFlags are the fields of a class that create and change share.
type classFlags struct {
	name, site, start, live                              string
	hours                                                time.Duration
	capacity, handlers, handling, hotHold, liveSessionMn int32
}

func (f *classFlags) bind(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.name, "name", "", "name for people")
	cmd.Flags().StringVar(&f.site, "site", "", "id of the site it is held at")
	cmd.Flags().StringVar(&f.start, "start", "", `when it opens, in the site's time: "2027-08-21 09:00"`)
	cmd.Flags().DurationVar(&f.hours, "length", 0, "how long the room is ours, e.g. 4h or 3h30m")
	cmd.Flags().Int32Var(&f.capacity, "places", 0, "how many participants have a place")
	cmd.Flags().Int32Var(&f.handlers, "handlers", 0, "people who may load or unload hot canners at once (2 when left out)")
	cmd.Flags().Int32Var(&f.handling, "handling", 0, "minutes one of them is busy with a canner (2 when left out)")
	cmd.Flags().Int32Var(&f.hotHold, "hot-hold", 0, "minutes that filled hot jars may wait for a canner (15 when left out)")
	cmd.Flags().StringVar(&f.live, "questions-at", "", "when the live question session opens, in the site's time")
	cmd.Flags().Int32Var(&f.liveSessionMn, "questions-minutes", 0, "length of the live question session in minutes")
}

// fields maps the flags to the contract's fields.
var classFields = map[string]string{
	"name": "display_name", "site": "site", "start": "start_time", "length": "duration_minutes", "places": "capacity",
	"handlers": "canning_team.handlers", "handling": "canning_team.handling_minutes", "hot-hold": "canning_team.hot_hold_max_minutes",
	"questions-at": "live_session_time", "questions-minutes": "live_session_minutes",
}

// class reads the flags; times are read in the given zone.
func (f *classFlags) class(s *session, zone *time.Location) (*stillroomv1.Class, error) {
	c := &stillroomv1.Class{
		DisplayName: f.name, Capacity: f.capacity, DurationMinutes: int32(f.hours / time.Minute), LiveSessionMinutes: f.liveSessionMn,
		CanningTeam: &stillroomv1.CanningTeam{Handlers: f.handlers, HandlingMinutes: f.handling, HotHoldMaxMinutes: f.hotHold},
	}
	var err error
	if f.site != "" {
		if c.Site, err = s.under("sites", f.site); err != nil {
			return nil, err
		}
	}
	if c.StartTime, err = readTime("--start", f.start, zone); err != nil {
		return nil, err
	}
	c.LiveSessionTime, err = readTime("--questions-at", f.live, zone)
	return c, err
}

func newClassCreate(s *session) *cobra.Command {
	var f classFlags
	cmd := &cobra.Command{
		Use: "create ID", Short: "Announce a class", Args: cobra.ExactArgs(1),
		Example: `  stillroom class create relish-day --site main --start "2027-08-21 09:00" --length 4h --places 16`,
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			zone, err := s.zoneOf(cmd.Context(), f.site)
			if err != nil {
				return err
			}
			class, err := f.class(s, zone)
			if err != nil {
				return err
			}
			class.DisplayName = orElse(class.DisplayName, args[0])
			class, err = call(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient) (*stillroomv1.Class, error) {
				return c.CreateClass(ctx, &stillroomv1.CreateClassRequest{Parent: k, ClassId: args[0], Class: class, RequestId: newRequestID()})
			})
			return s.showClass(class, zone, err)
		},
	}
	f.bind(cmd)
	for _, required := range []string{"site", "start", "length", "places"} {
		_ = cmd.MarkFlagRequired(required)
	}
	return cmd
}

func newClassList(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List classes by start", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient, token string) (*stillroomv1.ListClassesResponse, error) {
				return c.ListClasses(ctx, &stillroomv1.ListClassesRequest{Parent: k, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			zones := map[string]*time.Location{}
			g := newGrid("CLASS", "NAME", "OPENS", ">LENGTH", ">PLACES", ">TAKEN", ">WAITING")
			for _, c := range all.GetClasses() {
				if zones[c.GetSite()] == nil {
					if zones[c.GetSite()], err = s.zoneOf(cmd.Context(), c.GetSite()); err != nil {
						return err
					}
				}
				g.add(last(c.GetName()), c.GetDisplayName(), clock(c.GetStartTime(), zones[c.GetSite()]), hours(c.GetDurationMinutes()),
					c.GetCapacity(), c.GetEnrolledCount(), c.GetWaitingCount())
			}
			return s.show(all, func(w io.Writer) { g.write(w, "No classes yet; announce one with: stillroom class create ID") })
		},
	}
}

func newClassShow(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "show CLASS", Short: "Show a class", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class, zone, err := s.getClass(cmd.Context(), args[0])
			if err := s.showClass(class, zone, err); err != nil {
				return err
			}
			return s.warnOfAllergies(cmd.Context(), class.GetName(), "")
		},
	}
}

func newClassChange(s *session) *cobra.Command {
	var f classFlags
	cmd := &cobra.Command{
		Use: "change CLASS", Short: "Change a class", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			before, zone, err := s.getClass(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			if f.site != "" {
				if zone, err = s.zoneOf(cmd.Context(), f.site); err != nil {
					return err
				}
			}
			class, err := f.class(s, zone)
			if err != nil {
				return err
			}
			class.Name = before.GetName()
			mask := changedFields(cmd, classFields)
			if len(mask.GetPaths()) == 0 {
				return fmt.Errorf("nothing to change; see %q", cmd.CommandPath()+" --help")
			}
			class, err = call(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient) (*stillroomv1.Class, error) {
				return c.UpdateClass(ctx, &stillroomv1.UpdateClassRequest{Class: class, UpdateMask: mask})
			})
			return s.showClass(class, zone, err)
		},
	}
	f.bind(cmd)
	return cmd
}

func newClassDelete(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "delete CLASS", Short: "Remove a class with everything planned for it", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			full, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			_, err = call(cmd.Context(), s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient) (any, error) {
				return c.DeleteClass(ctx, &stillroomv1.DeleteClassRequest{Name: full})
			})
			return s.done(err, "class %s is removed", last(full))
		},
	}
}

// getClass fetches a class and the time zone of its site.
func (s *session) getClass(ctx context.Context, id string) (*stillroomv1.Class, *time.Location, error) {
	full, err := s.under("classes", id)
	if err != nil {
		return nil, nil, err
	}
	class, err := call(ctx, s, stillroomv1.NewClassServiceClient, func(ctx context.Context, c stillroomv1.ClassServiceClient) (*stillroomv1.Class, error) {
		return c.GetClass(ctx, &stillroomv1.GetClassRequest{Name: full})
	})
	if err != nil {
		return nil, nil, err
	}
	zone, err := s.zoneOf(ctx, class.GetSite())
	return class, zone, err
}

// zoneOf is the time zone of a site, named by id or in full.
func (s *session) zoneOf(ctx context.Context, site string) (*time.Location, error) {
	full, err := s.under("sites", site)
	if err != nil {
		return nil, err
	}
	found, err := call(ctx, s, stillroomv1.NewKitchenServiceClient, func(ctx context.Context, c stillroomv1.KitchenServiceClient) (*stillroomv1.Site, error) {
		return c.GetSite(ctx, &stillroomv1.GetSiteRequest{Name: full})
	})
	if err != nil {
		return nil, err
	}
	return time.LoadLocation(found.GetTimeZone())
}

// timeLayouts are how people may write an instant; without a zone it is the site's.
var timeLayouts = []string{time.RFC3339, "2006-01-02 15:04", "2006-01-02T15:04"}

// readTime reads an instant; nil for the empty text.
func readTime(flag, text string, zone *time.Location) (*timestamppb.Timestamp, error) {
	if text == "" {
		return nil, nil
	}
	for _, layout := range timeLayouts {
		if t, err := time.ParseInLocation(layout, text, zone); err == nil {
			return timestamppb.New(t), nil
		}
	}
	return nil, fmt.Errorf("%s %q is not a time; write it like 2027-08-21 09:00", flag, text)
}

func (s *session) showClass(c *stillroomv1.Class, zone *time.Location, err error) error {
	if err != nil {
		return err
	}
	return s.show(c, func(w io.Writer) {
		fmt.Fprintf(w, "%s  %s\n", last(c.GetName()), c.GetDisplayName())
		fmt.Fprintf(w, "  opens      %s (%s) at %s, for %s\n", clock(c.GetStartTime(), zone), zone, last(c.GetSite()), hours(c.GetDurationMinutes()))
		fmt.Fprintf(w, "  places     %d of %d taken, %d waiting\n", c.GetEnrolledCount(), c.GetCapacity(), c.GetWaitingCount())
		team := c.GetCanningTeam()
		fmt.Fprintf(w, "  canners    %d handlers, %d min to load or unload, hot jars wait at most %d min\n",
			team.GetHandlers(), team.GetHandlingMinutes(), team.GetHotHoldMaxMinutes())
		if c.GetLiveSessionTime() != nil {
			fmt.Fprintf(w, "  questions  %s, for %s\n", clock(c.GetLiveSessionTime(), zone), hours(c.GetLiveSessionMinutes()))
		}
	})
}
