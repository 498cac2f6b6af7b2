package rpc

import (
	"context"
	"strconv"
	"strings"

	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/access"
	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/store"
)

type rosterService struct {
	stillroomv1.UnimplementedRosterServiceServer
	*backend
	// queue shows questions, and wakes those who watch them.
	queue *questionService
}

func (s *rosterService) CreateParticipant(ctx context.Context, req *stillroomv1.CreateParticipantRequest) (*stillroomv1.Participant, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	person, err := decodeParticipant(req.GetParticipantId(), req.GetParticipant())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.Participant
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Participant, error) {
			created, err := tx.CreateParticipant(ctx, person)
			return encodeParticipant(k, created), err
		})
		return err
	})
	return out, err
}

func (s *rosterService) GetParticipant(ctx context.Context, req *stillroomv1.GetParticipantRequest) (*stillroomv1.Participant, error) {
	var k, id string
	if err := parseName("name", req.GetName(), participantPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Participant
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		person, err := tx.Participant(ctx, id)
		out = encodeParticipant(k, person)
		return err
	})
	return out, err
}

func (s *rosterService) ListParticipants(ctx context.Context, req *stillroomv1.ListParticipantsRequest) (*stillroomv1.ListParticipantsResponse, error) {
	var k, after string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/participants"
	if err := readPage(req.GetPageToken(), list, &after); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListParticipantsResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		rows, err := tx.Participants(ctx, after, size+1)
		rows, more := cut(rows, size)
		for _, person := range rows {
			out.Participants = append(out.Participants, encodeParticipant(k, person))
		}
		if more {
			out.NextPageToken = nextPage(list, rows[len(rows)-1].ID)
		}
		return err
	})
	return out, err
}

func (s *rosterService) UpdateParticipant(ctx context.Context, req *stillroomv1.UpdateParticipantRequest) (*stillroomv1.Participant, error) {
	var k, id string
	if err := parseName("participant.name", req.GetParticipant().GetName(), participantPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Participant
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		person, err := tx.Participant(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetParticipant().GetEtag(), person.Version); err != nil {
			return err
		}
		merged := encodeParticipant(k, person)
		if err := s.merge("participant", merged, req.GetParticipant(), req.GetUpdateMask(),
			"display_name", "email", "phone", "allergies", "home_altitude"); err != nil {
			return err
		}
		changed, err := decodeParticipant(id, merged)
		if err != nil {
			return err
		}
		changed.Version = person.Version
		changed, err = tx.UpdateParticipant(ctx, changed)
		out = encodeParticipant(k, changed)
		return err
	})
	return out, err
}

func (s *rosterService) DeleteParticipant(ctx context.Context, req *stillroomv1.DeleteParticipantRequest) (*emptypb.Empty, error) {
	var k, id string
	if err := parseName("name", req.GetName(), participantPattern, &k, &id); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.store.In(ctx, k, func(tx *store.Tx) error {
		person, err := tx.Participant(ctx, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetEtag(), person.Version); err != nil {
			return err
		}
		return tx.DeleteParticipant(ctx, person)
	})
}

func (s *rosterService) CreateEnrolment(ctx context.Context, req *stillroomv1.CreateEnrolmentRequest) (*stillroomv1.Enrolment, error) {
	var k string
	e := kitchen.Enrolment{ID: req.GetEnrolmentId()}
	if err := parseName("parent", req.GetParent(), classPattern, &k, &e.Class); err != nil {
		return nil, err
	}
	var c fault.Collector
	c.AddErr("", within(k, "enrolment.participant", req.GetEnrolment().GetParticipant(), participantPattern, &e.Participant))
	e.Station = decodeStationOf(&c, k, e.Class, req.GetEnrolment().GetStation())
	if err := c.Err(); err != nil {
		return nil, err
	}
	var out *stillroomv1.Enrolment
	err := s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Enrolment, error) {
			created, err := tx.Enrol(ctx, e, req.GetWhenFull() == stillroomv1.WhenFull_WHEN_FULL_WAIT)
			return encodeEnrolment(k, created), err
		})
		return err
	})
	return out, err
}

func (s *rosterService) GetEnrolment(ctx context.Context, req *stillroomv1.GetEnrolmentRequest) (*stillroomv1.Enrolment, error) {
	var k, class, id string
	if err := parseName("name", req.GetName(), enrolmentPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Enrolment
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		e, err := tx.Enrolment(ctx, class, id)
		if err != nil {
			return err
		}
		if c := access.From(ctx); c.Role == access.Participant && e.Participant != c.Participant {
			return fault.Missing("enrolment", id)
		}
		out = encodeEnrolment(k, e)
		return nil
	})
	return out, err
}

func (s *rosterService) FindEnrolment(ctx context.Context, req *stillroomv1.FindEnrolmentRequest) (*stillroomv1.Enrolment, error) {
	var k, class, who string
	if err := parseName("parent", req.GetParent(), classPattern, &k, &class); err != nil {
		return nil, err
	}
	if err := within(k, "participant", req.GetParticipant(), participantPattern, &who); err != nil {
		return nil, err
	}
	var out *stillroomv1.Enrolment
	err := s.store.Look(ctx, k, func(tx *store.Tx) error {
		e, ok, err := tx.FindEnrolment(ctx, class, who)
		if err == nil && !ok {
			err = fault.New(fault.NotFound, "the participant neither holds nor awaits a place in this class")
		}
		out = encodeEnrolment(k, e)
		return err
	})
	return out, err
}

// enrolmentRanks is the order of states in a roster; the store's query has the same.
var enrolmentRanks = map[kitchen.EnrolmentState]int{kitchen.Enrolled: 0, kitchen.Waiting: 1, kitchen.Cancelled: 2}

func (s *rosterService) ListEnrolments(ctx context.Context, req *stillroomv1.ListEnrolmentsRequest) (*stillroomv1.ListEnrolmentsResponse, error) {
	var k, class string
	if err := parseName("parent", req.GetParent(), classPattern, &k, &class); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/enrolments"
	if req.GetShowCancelled() {
		list += "?cancelled"
	}
	var after store.EnrolmentCursor
	if err := readPage(req.GetPageToken(), list, &after.Rank, &after.Turn); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListEnrolmentsResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		if _, err := tx.Class(ctx, class); err != nil {
			return err
		}
		rows, err := tx.Enrolments(ctx, class, req.GetShowCancelled(), after, size+1)
		rows, more := cut(rows, size)
		for _, e := range rows {
			out.Enrolments = append(out.Enrolments, encodeEnrolment(k, e))
		}
		if more {
			last := rows[len(rows)-1]
			out.NextPageToken = nextPage(list, enrolmentRanks[last.State], last.Turn)
		}
		return err
	})
	return out, err
}

func (s *rosterService) UpdateEnrolment(ctx context.Context, req *stillroomv1.UpdateEnrolmentRequest) (*stillroomv1.Enrolment, error) {
	var k, class, id string
	if err := parseName("enrolment.name", req.GetEnrolment().GetName(), enrolmentPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Enrolment
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		e, err := tx.Enrolment(ctx, class, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetEnrolment().GetEtag(), e.Version); err != nil {
			return err
		}
		if e.State == kitchen.Cancelled {
			return fault.New(fault.Precondition, "the enrolment was cancelled; enrol the participant again")
		}
		merged := encodeEnrolment(k, e)
		if err := s.merge("enrolment", merged, req.GetEnrolment(), req.GetUpdateMask(), "station"); err != nil {
			return err
		}
		var c fault.Collector
		e.Station = decodeStationOf(&c, k, class, merged.GetStation())
		if err := c.Err(); err != nil {
			return err
		}
		e, err = tx.MoveEnrolment(ctx, e)
		out = encodeEnrolment(k, e)
		return err
	})
	return out, err
}

func (s *rosterService) CancelEnrolment(ctx context.Context, req *stillroomv1.CancelEnrolmentRequest) (*stillroomv1.CancelEnrolmentResponse, error) {
	var k, class, id string
	if err := parseName("name", req.GetName(), enrolmentPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	out := &stillroomv1.CancelEnrolmentResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		e, err := tx.Enrolment(ctx, class, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetEtag(), e.Version); err != nil {
			return err
		}
		cancelled, promoted, err := tx.CancelEnrolment(ctx, e)
		if err != nil {
			return err
		}
		out.Cancelled = encodeEnrolment(k, cancelled)
		if promoted != nil {
			out.Promoted = encodeEnrolment(k, *promoted)
		}
		return nil
	})
	return out, err
}

func (s *rosterService) ImportRoster(ctx context.Context, req *stillroomv1.ImportRosterRequest) (*stillroomv1.ImportRosterResponse, error) {
	var k, class string
	if err := parseName("parent", req.GetParent(), classPattern, &k, &class); err != nil {
		return nil, err
	}
	lines, bad, err := kitchen.ReadRoster(req.GetCsv())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.ImportRosterResponse
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.ImportRosterResponse, error) {
			return importRoster(ctx, tx, k, class, lines, bad, req.GetSkipBad())
		})
		return err
	})
	return out, err
}

func importRoster(ctx context.Context, tx *store.Tx, k, class string, lines []kitchen.RosterLine, bad []kitchen.BadLine, skipBad bool) (*stillroomv1.ImportRosterResponse, error) {
	stations, err := tx.AllStations(ctx, class)
	if err != nil {
		return nil, err
	}
	if _, err := tx.Class(ctx, class); err != nil {
		return nil, err
	}
	good := lines[:0:0]
	for _, line := range lines {
		if line.Entry.Station != "" {
			station, ok := findStation(stations, line.Entry.Station)
			if !ok {
				bad = append(bad, kitchen.BadLine{Line: line.Line, Field: "station",
					Problem: `"` + fault.Shorten(line.Entry.Station) + `" is not a station of this class; give its id or its name, or leave it empty`})
				continue
			}
			line.Entry.Station = station
		}
		good = append(good, line)
	}
	if len(bad) > 0 && !skipBad {
		return nil, badLines(bad)
	}
	out := &stillroomv1.ImportRosterResponse{}
	for _, b := range bad {
		out.BadLines = append(out.BadLines, &stillroomv1.BadLine{Line: int32(b.Line), Field: b.Field, Problem: b.Problem})
	}
	nameless, err := withoutAddress(ctx, tx, class)
	if err != nil {
		return nil, err
	}
	for _, line := range good {
		if line.Entry.Email == "" && nameless[strings.ToLower(line.Entry.Name)] {
			out.AlreadyEnrolled++
			continue
		}
		person, known, err := tx.ParticipantByEmail(ctx, line.Entry.Email)
		if err != nil {
			return nil, err
		}
		if !known {
			person, err = tx.CreateParticipant(ctx, kitchen.Participant{
				DisplayName: line.Entry.Name, Email: line.Entry.Email, Phone: line.Entry.Phone,
				Allergies: line.Entry.Allergies, HomeAltitude: line.Entry.HomeAltitude,
			})
			if err != nil {
				return nil, err
			}
			out.ParticipantsCreated++
		} else {
			out.ParticipantsMatched++
			if _, already, err := tx.FindEnrolment(ctx, class, person.ID); err != nil {
				return nil, err
			} else if already {
				out.AlreadyEnrolled++
				continue
			}
		}
		e, err := tx.Enrol(ctx, kitchen.Enrolment{Class: class, Participant: person.ID, Station: line.Entry.Station}, true)
		if err != nil {
			return nil, err
		}
		out.Enrolments = append(out.Enrolments, encodeEnrolment(k, e))
	}
	return out, nil
}

// withoutAddress holds the names, in lower case, of those on a class's roster who
// gave no address: a line with such a name and no address is the same person.
func withoutAddress(ctx context.Context, tx *store.Tx, class string) (map[string]bool, error) {
	roster, err := tx.Roster(ctx, class)
	names := map[string]bool{}
	for _, e := range roster {
		if e.Email == "" {
			names[strings.ToLower(e.Name)] = true
		}
	}
	return names, err
}

// badLines is the fault of a roster that is refused as a whole.
func badLines(bad []kitchen.BadLine) error {
	var c fault.Collector
	for _, b := range bad {
		field := "csv, line " + strconv.Itoa(b.Line)
		if b.Field != "" {
			field += ", " + b.Field
		}
		c.Add(field, "", b.Problem, "")
	}
	return c.Err()
}

// findStation finds a station by its id or its display name, without case.
func findStation(stations []kitchen.Station, wanted string) (string, bool) {
	for _, s := range stations {
		if strings.EqualFold(s.ID, wanted) || strings.EqualFold(s.DisplayName, wanted) {
			return s.ID, true
		}
	}
	return "", false
}

func (s *rosterService) ExportRoster(ctx context.Context, req *stillroomv1.ExportRosterRequest) (*stillroomv1.ExportRosterResponse, error) {
	var k, class string
	if err := parseName("parent", req.GetParent(), classPattern, &k, &class); err != nil {
		return nil, err
	}
	out := &stillroomv1.ExportRosterResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		if _, err := tx.Class(ctx, class); err != nil {
			return err
		}
		entries, err := tx.Roster(ctx, class)
		if err != nil {
			return err
		}
		out.Csv, err = kitchen.WriteRoster(entries)
		return err
	})
	return out, err
}

// decodeStationOf reads the name of a station that must be of the given class; empty stays empty.
func decodeStationOf(c *fault.Collector, k, class, name string) string {
	if name == "" {
		return ""
	}
	var of, station string
	if err := within(k, "enrolment.station", name, stationPattern, &of, &station); err != nil {
		c.AddErr("", err)
		return ""
	}
	if of != class {
		c.Add("enrolment.station", name, "is a station of another class", `give a name under "`+nameOf(classPattern, k, class)+`"`)
	}
	return station
}

func encodeParticipant(k string, p kitchen.Participant) *stillroomv1.Participant {
	out := &stillroomv1.Participant{
		Name:        nameOf(participantPattern, k, p.ID),
		DisplayName: p.DisplayName,
		Email:       p.Email,
		Phone:       p.Phone,
		Allergies:   p.Allergies,
		CreateTime:  timestamppb.New(p.CreatedAt),
		Etag:        etag(p.Version),
	}
	if !p.Erased.IsZero() {
		out.EraseTime = timestamppb.New(p.Erased)
	}
	if p.HomeAltitude != nil {
		out.HomeAltitude = &stillroomv1.Altitude{Metres: p.HomeAltitude.Metres().Float64()}
	}
	return out
}

func decodeParticipant(id string, m *stillroomv1.Participant) (kitchen.Participant, error) {
	person := kitchen.Participant{
		ID: id, DisplayName: m.GetDisplayName(), Email: m.GetEmail(), Phone: m.GetPhone(), Allergies: m.GetAllergies(),
	}
	if m.GetHomeAltitude() == nil {
		return person, nil
	}
	altitude, err := measure.AltitudeFromFloat(m.GetHomeAltitude().GetMetres())
	person.HomeAltitude = &altitude
	return person, prefixed("participant.home_", measured(err))
}

var enrolmentStates = map[kitchen.EnrolmentState]stillroomv1.EnrolmentState{
	kitchen.Enrolled:  stillroomv1.EnrolmentState_ENROLMENT_STATE_ENROLLED,
	kitchen.Waiting:   stillroomv1.EnrolmentState_ENROLMENT_STATE_WAITING,
	kitchen.Cancelled: stillroomv1.EnrolmentState_ENROLMENT_STATE_CANCELLED,
}

func encodeEnrolment(k string, e kitchen.Enrolment) *stillroomv1.Enrolment {
	out := &stillroomv1.Enrolment{
		Name:                   nameOf(enrolmentPattern, k, e.Class, e.ID),
		Participant:            nameOf(participantPattern, k, e.Participant),
		ParticipantDisplayName: e.ParticipantName,
		State:                  enrolmentStates[e.State],
		WaitingPosition:        int32(e.WaitingPosition),
		CreateTime:             timestamppb.New(e.CreatedAt),
		Etag:                   etag(e.Version),
	}
	if e.Station != "" {
		out.Station = nameOf(stationPattern, k, e.Class, e.Station)
	}
	return out
}
