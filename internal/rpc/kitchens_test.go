package rpc

import (
	"context"
	"fmt"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	reflectionpb "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/store"
	"stillroom/internal/store/storetest"
)

func TestNamesAreTakenOnce(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	_, err := s.kitchens().CreateKitchen(t.Context(), &stillroomv1.CreateKitchenRequest{
		KitchenId: "k", Kitchen: &stillroomv1.Kitchen{DisplayName: "Another", CurrencyCode: "EUR"}})
	requireCode(t, codes.AlreadyExists, err)
	_, err = s.kitchens().GetSite(t.Context(), &stillroomv1.GetSiteRequest{Name: "kitchens/k/sites/attic"})
	require.Contains(t, requireCode(t, codes.NotFound, err).Message(), `"attic"`)
	_, err = s.kitchens().GetSite(t.Context(), &stillroomv1.GetSiteRequest{Name: "kitchens/nowhere/sites/main"})
	require.Contains(t, requireCode(t, codes.NotFound, err).Message(), "kitchens/nowhere")
	_, err = s.kitchens().GetSite(t.Context(), &stillroomv1.GetSiteRequest{Name: "sites/main"})
	require.Equal(t, []string{"name"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
}

func TestEveryWrongFieldIsNamed(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	_, err := s.kitchens().CreateSite(t.Context(), &stillroomv1.CreateSiteRequest{Parent: "kitchens/k", SiteId: "Top Floor", Site: &stillroomv1.Site{
		Altitude: &stillroomv1.Altitude{Metres: 9001}, TimeZone: "America/Denver"}})
	require.ElementsMatch(t, []string{"site_id", "site.display_name", "site.altitude.metres"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	for _, zone := range []string{"Mars/Olympus", "Local", "../../etc/passwd"} {
		_, err = s.kitchens().CreateSite(t.Context(), &stillroomv1.CreateSiteRequest{Parent: "kitchens/k", Site: &stillroomv1.Site{
			DisplayName: "x", Altitude: &stillroomv1.Altitude{Metres: 10}, TimeZone: zone}})
		require.Equal(t, []string{"site.time_zone"}, badFields(t, requireCode(t, codes.InvalidArgument, err)), zone)
	}
}

func TestRetriedCreateReturnsTheFirstResult(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	req := &stillroomv1.CreateSiteRequest{Parent: "kitchens/k", RequestId: uuid.NewString(), Site: &stillroomv1.Site{
		DisplayName: "Annexe", Altitude: &stillroomv1.Altitude{Metres: 12.5}, TimeZone: "Europe/Paris"}}
	first, err := s.kitchens().CreateSite(t.Context(), req)
	require.NoError(t, err)
	_, err = s.kitchens().UpdateSite(t.Context(), &stillroomv1.UpdateSiteRequest{Site: &stillroomv1.Site{Name: first.GetName(), DisplayName: "Renamed"}})
	require.NoError(t, err)
	again, err := s.kitchens().CreateSite(t.Context(), req)
	require.NoError(t, err)
	require.True(t, proto.Equal(first, again), "a retry returns the first result: %v and %v", first, again)
	sites, err := s.kitchens().ListSites(t.Context(), &stillroomv1.ListSitesRequest{Parent: "kitchens/k"})
	require.NoError(t, err)
	require.Len(t, sites.GetSites(), 2)

	other := proto.Clone(req).(*stillroomv1.CreateSiteRequest)
	other.Site.DisplayName = "Something else"
	_, err = s.kitchens().CreateSite(t.Context(), other)
	require.Equal(t, []string{"request_id"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
}

func TestEditsAreGuardedAndMasked(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	name := "kitchens/k/sites/main"
	before, err := s.kitchens().GetSite(t.Context(), &stillroomv1.GetSiteRequest{Name: name})
	require.NoError(t, err)
	after, err := s.kitchens().UpdateSite(t.Context(), &stillroomv1.UpdateSiteRequest{
		Site:       &stillroomv1.Site{Name: name, DisplayName: "Loft", TimeZone: "Europe/Rome", Etag: before.GetEtag()},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"display_name"}}})
	require.NoError(t, err)
	require.Equal(t, "Loft", after.GetDisplayName())
	require.Equal(t, "America/Denver", after.GetTimeZone(), "a field outside the mask stays")
	require.InDelta(t, 1609.344, after.GetAltitude().GetMetres(), 0)

	_, err = s.kitchens().UpdateSite(t.Context(), &stillroomv1.UpdateSiteRequest{Site: &stillroomv1.Site{Name: name, DisplayName: "Late", Etag: before.GetEtag()}})
	requireCode(t, codes.Aborted, err)
	_, err = s.kitchens().UpdateSite(t.Context(), &stillroomv1.UpdateSiteRequest{
		Site: &stillroomv1.Site{Name: name}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"create_time"}}})
	require.Equal(t, []string{"update_mask"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	_, err = s.kitchens().UpdateSite(t.Context(), &stillroomv1.UpdateSiteRequest{
		Site: &stillroomv1.Site{Name: name}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"display_name"}}})
	require.Equal(t, []string{"site.display_name"}, badFields(t, requireCode(t, codes.InvalidArgument, err)), "an update may not leave a broken site")
	_, err = s.kitchens().DeleteSite(t.Context(), &stillroomv1.DeleteSiteRequest{Name: name})
	requireCode(t, codes.FailedPrecondition, err)
}

func TestPagesJoinUp(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	for i := range 7 {
		_, err := s.kitchens().CreateSite(t.Context(), &stillroomv1.CreateSiteRequest{Parent: "kitchens/k", SiteId: fmt.Sprintf("s%d", i), Site: &stillroomv1.Site{
			DisplayName: "x", Altitude: &stillroomv1.Altitude{Metres: 10}, TimeZone: "UTC"}})
		require.NoError(t, err)
	}
	var names []string
	token := ""
	for {
		page, err := s.kitchens().ListSites(t.Context(), &stillroomv1.ListSitesRequest{Parent: "kitchens/k", PageSize: 3, PageToken: token})
		require.NoError(t, err)
		require.LessOrEqual(t, len(page.GetSites()), 3)
		for _, site := range page.GetSites() {
			names = append(names, site.GetName())
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
		_, err = s.classes().ListClasses(t.Context(), &stillroomv1.ListClassesRequest{Parent: "kitchens/k", PageToken: token})
		require.Equal(t, []string{"page_token"}, badFields(t, requireCode(t, codes.InvalidArgument, err)), "a token of another list is refused")
	}
	require.Len(t, names, 8)
	require.IsIncreasing(t, names)
	_, err := s.kitchens().ListSites(t.Context(), &stillroomv1.ListSitesRequest{Parent: "kitchens/k", PageToken: "nonsense"})
	requireCode(t, codes.InvalidArgument, err)
	_, err = s.kitchens().ListSites(t.Context(), &stillroomv1.ListSitesRequest{Parent: "kitchens/k", PageSize: -1})
	require.Equal(t, []string{"page_size"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
}

func TestHealthAndReflectionAreOn(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	h, err := healthpb.NewHealthClient(s.conn).Check(t.Context(), &healthpb.HealthCheckRequest{})
	require.NoError(t, err)
	require.Equal(t, healthpb.HealthCheckResponse_SERVING, h.GetStatus())

	stream, err := reflectionpb.NewServerReflectionClient(s.conn).ServerReflectionInfo(t.Context())
	require.NoError(t, err)
	require.NoError(t, stream.Send(&reflectionpb.ServerReflectionRequest{
		MessageRequest: &reflectionpb.ServerReflectionRequest_ListServices{}}))
	reply, err := stream.Recv()
	require.NoError(t, err)
	var services []string
	for _, svc := range reply.GetListServicesResponse().GetService() {
		services = append(services, svc.GetName())
	}
	require.Contains(t, services, "stillroom.v1.ClassService")
}

func TestDatabaseAwayIsUnavailable(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	st, err := store.Open(t.Context(), url)
	require.NoError(t, err)
	t.Cleanup(st.Close)
	s := serveStore(t, st)
	s.setTable(t, 4)

	// Another connection takes the database away from under the server.
	config, err := pgx.ParseConfig(url)
	require.NoError(t, err)
	name := config.Database
	config.Database = "postgres"
	other, err := pgx.ConnectConfig(t.Context(), config)
	require.NoError(t, err)
	defer func() { _ = other.Close(context.Background()) }()
	_, err = other.Exec(t.Context(), "DROP DATABASE "+pgx.Identifier{name}.Sanitize()+" WITH (FORCE)")
	require.NoError(t, err)

	for range 5 { // connections that break, then connections that cannot be made
		_, err = s.kitchens().GetSite(t.Context(), &stillroomv1.GetSiteRequest{Name: "kitchens/k/sites/main"})
		st := requireCode(t, codes.Unavailable, err)
		require.NotContains(t, st.Message(), name)
		var retry *errdetails.RetryInfo
		for _, d := range st.Details() {
			if r, ok := d.(*errdetails.RetryInfo); ok {
				retry = r
			}
		}
		require.NotNil(t, retry, "says when to try again")
	}
}
