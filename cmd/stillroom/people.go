package main

import (
	"context"
	"fmt"
	"strings"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// people fetches all participants of the kitchen.
func (s *session) people(ctx context.Context) (*stillroomv1.ListParticipantsResponse, error) {
	k, err := s.kitchenName()
	if err != nil {
		return nil, err
	}
	return everything(ctx, s, stillroomv1.NewRosterServiceClient, func(ctx context.Context, c stillroomv1.RosterServiceClient, token string) (*stillroomv1.ListParticipantsResponse, error) {
		return c.ListParticipants(ctx, &stillroomv1.ListParticipantsRequest{Parent: k, PageSize: everyPage, PageToken: token})
	})
}

// findParticipant is the resource name of the participant that who means: an id, or
// a name or mail address that only one person of the kitchen has.
func (s *session) findParticipant(ctx context.Context, who string) (string, error) {
	if strings.HasPrefix(who, "kitchens/") {
		return who, nil
	}
	all, err := s.people(ctx)
	if err != nil {
		return "", err
	}
	var named []string
	for _, p := range all.GetParticipants() {
		if last(p.GetName()) == who {
			return p.GetName(), nil
		}
		if strings.EqualFold(p.GetDisplayName(), who) || (p.GetEmail() != "" && strings.EqualFold(p.GetEmail(), who)) {
			named = append(named, p.GetName())
		}
	}
	switch len(named) {
	case 1:
		return named[0], nil
	case 0:
		return "", fmt.Errorf("the kitchen knows nobody called %q; see %q", who, "stillroom participant list")
	default:
		return "", fmt.Errorf("%d people of the kitchen are called %q; give the id from %q", len(named), who, "stillroom participant list")
	}
}
