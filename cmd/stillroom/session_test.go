package main

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

// TestEverythingJoinsAllPages, in their order, and leaves no token that would lead on.
func TestEverythingJoinsAllPages(t *testing.T) {
	t.Parallel()
	pages := map[string]*stillroomv1.ListKitchensResponse{
		"":  {Kitchens: []*stillroomv1.Kitchen{{Name: "kitchens/a"}, {Name: "kitchens/b"}}, NextPageToken: "2"},
		"2": {Kitchens: []*stillroomv1.Kitchen{{Name: "kitchens/c"}}, NextPageToken: "3"},
		"3": {Kitchens: []*stillroomv1.Kitchen{{Name: "kitchens/d"}}},
	}
	s := &session{server: "127.0.0.1:1", timeout: time.Minute}
	defer s.close()
	none := func(grpc.ClientConnInterface) struct{} { return struct{}{} }
	all, err := everything(t.Context(), s, none, func(_ context.Context, _ struct{}, token string) (*stillroomv1.ListKitchensResponse, error) {
		return pages[token], nil
	})
	require.NoError(t, err)
	var names []string
	for _, k := range all.GetKitchens() {
		names = append(names, last(k.GetName()))
	}
	require.Equal(t, []string{"a", "b", "c", "d"}, names)
	require.Empty(t, all.GetNextPageToken())

	broken := errors.New("the second page is away")
	_, err = everything(t.Context(), s, none, func(_ context.Context, _ struct{}, token string) (*stillroomv1.ListKitchensResponse, error) {
		if token != "" {
			return nil, broken
		}
		return &stillroomv1.ListKitchensResponse{NextPageToken: "2"}, nil
	})
	require.ErrorIs(t, err, broken)
}
