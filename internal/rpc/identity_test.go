package rpc

import (
	"io"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/identity"
	"stillroom/internal/identity/identitytest"
)

// TestAnIdentityProviderLetsIntoItsKitchen: somebody whom a kitchen's provider vouches for
// may do what their role may in that kitchen, nothing in another, and is recorded without
// their name.
func TestAnIdentityProviderLetsIntoItsKitchen(t *testing.T) {
	t.Parallel()
	provider := identitytest.Start(t)
	g := newGuarded(t, func(g *guarded, o *Options) {
		o.Identity = identity.New([]identity.Provider{{
			Issuer: provider.Issuer, Audience: "stillroom", Kitchen: "k", RoleClaim: "groups",
			Roles: map[string][]string{"owner": {"office"}, "instructor": {"teachers"}},
		}}, slog.New(slog.NewTextHandler(io.Discard, nil)), func() time.Time { return g.clock })
	})
	claims := func(group string) map[string]any {
		return map[string]any{
			"iss": provider.Issuer, "aud": "stillroom", "sub": "248289761001", "exp": g.clock.Add(time.Hour).Unix(), "groups": []string{group},
			"name": "Ines Marlow", "email": "ines@example.org",
		}
	}
	who := strings.TrimPrefix(provider.Issuer, "http://") + "#248289761001"
	teacher := withToken(t.Context(), provider.Sign(t, claims("teachers")))
	access := stillroomv1.NewAccessServiceClient(g.conn)

	caller, err := access.GetCaller(teacher, &stillroomv1.GetCallerRequest{})
	require.NoError(t, err)
	require.Equal(t, stillroomv1.Role_ROLE_INSTRUCTOR, caller.GetRole())
	require.Equal(t, "kitchens/k", caller.GetKitchen())
	require.Equal(t, who, caller.GetSubject())
	require.Equal(t, "Ines Marlow", caller.GetDisplayName())
	require.Empty(t, caller.GetToken())
	require.Equal(t, g.clock.Add(time.Hour), caller.GetExpireTime().AsTime())

	_, err = g.rosters().CreateParticipant(teacher, &stillroomv1.CreateParticipantRequest{
		Parent: "kitchens/k", ParticipantId: "cleo", Participant: &stillroomv1.Participant{DisplayName: "Cleo"}})
	require.NoError(t, err)
	_, err = g.kitchens().GetKitchen(teacher, &stillroomv1.GetKitchenRequest{Name: "kitchens/other"})
	st := requireCode(t, codes.PermissionDenied, err)
	require.Contains(t, st.Message(), "belongs to another kitchen")
	_, err = access.ListTokens(teacher, &stillroomv1.ListTokensRequest{Parent: "kitchens/k"})
	requireCode(t, codes.PermissionDenied, err)
	_, err = g.kitchens().ListKitchens(teacher, &stillroomv1.ListKitchensRequest{})
	requireCode(t, codes.PermissionDenied, err)

	owner := withToken(t.Context(), provider.Sign(t, claims("office")))
	record, err := access.ListAuditEntries(owner, &stillroomv1.ListAuditEntriesRequest{Parent: "kitchens/k", PageSize: 1})
	require.NoError(t, err)
	require.Equal(t, who, record.GetAuditEntries()[0].GetCaller())
	require.Equal(t, stillroomv1.Role_ROLE_INSTRUCTOR, record.GetAuditEntries()[0].GetRole())
	require.NotContains(t, record.String(), "Ines")
	require.NotContains(t, record.String(), "ines@")

	_, err = g.kitchens().GetKitchen(withToken(t.Context(), provider.Sign(t, claims("choir"))), &stillroomv1.GetKitchenRequest{Name: "kitchens/k"})
	requireCode(t, codes.PermissionDenied, err)
	_, err = g.kitchens().GetKitchen(withToken(t.Context(), identitytest.Unsigned(t, claims("office"))), &stillroomv1.GetKitchenRequest{Name: "kitchens/k"})
	requireCode(t, codes.Unauthenticated, err)

	g.clock = g.clock.Add(2 * time.Hour)
	_, err = g.kitchens().GetKitchen(teacher, &stillroomv1.GetKitchenRequest{Name: "kitchens/k"})
	st = requireCode(t, codes.Unauthenticated, err)
	require.Contains(t, st.Message(), "has expired; sign in again")
}

// TestAProviderThatIsAwayHoldsUpNobodyElse: tokens of the kitchen work, and its
// provider's people are told when to come again.
func TestAProviderThatIsAwayHoldsUpNobodyElse(t *testing.T) {
	t.Parallel()
	provider := identitytest.Start(t)
	provider.Away(true)
	g := newGuarded(t, func(g *guarded, o *Options) {
		o.Identity = identity.New([]identity.Provider{{
			Issuer: provider.Issuer, Audience: "stillroom", Kitchen: "k", RoleClaim: "groups", Roles: map[string][]string{"owner": {"office"}},
		}}, slog.New(slog.NewTextHandler(io.Discard, nil)), func() time.Time { return g.clock })
	})
	signed := withToken(t.Context(), provider.Sign(t, map[string]any{
		"iss": provider.Issuer, "aud": "stillroom", "sub": "1", "exp": g.clock.Add(time.Hour).Unix(), "groups": "office"}))
	get := &stillroomv1.GetKitchenRequest{Name: "kitchens/k"}
	_, err := g.kitchens().GetKitchen(signed, get)
	st := requireCode(t, codes.Unavailable, err)
	var info *errdetails.ErrorInfo
	var retry *errdetails.RetryInfo
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			info = d
		case *errdetails.RetryInfo:
			retry = d
		}
	}
	require.Equal(t, "IDENTITY_PROVIDER_AWAY", info.GetReason())
	require.Positive(t, retry.GetRetryDelay().AsDuration())
	instructor, _ := g.token(t, "k", &stillroomv1.Token{Role: stillroomv1.Role_ROLE_INSTRUCTOR})
	_, err = g.kitchens().GetKitchen(instructor, get)
	require.NoError(t, err)

	provider.Away(false)
	g.clock = g.clock.Add(retry.GetRetryDelay().AsDuration())
	_, err = g.kitchens().GetKitchen(signed, get)
	require.NoError(t, err)
}
