package rpc

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/reference"
)

func (s *testServer) processes() stillroomv1.ProcessServiceClient {
	return stillroomv1.NewProcessServiceClient(s.conn)
}

func at(metres float64) *stillroomv1.LookUpProcessRequest_Altitude {
	return &stillroomv1.LookUpProcessRequest_Altitude{Altitude: &stillroomv1.Altitude{Metres: metres}}
}

func TestLookUpProcessByAltitudeAndBySite(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	// USDA AIB 539 (rev. 2015), Guide 3: crushed tomatoes, hot, quarts by dial gauge at 4,001-6,000 ft: 20 min at 8 lb or 15 min at 13 lb,
	// headspace 1/2 inch. The site lies at 5,280 ft.
	req := &stillroomv1.LookUpProcessRequest{
		ProductKey: "crushed_tomatoes", Pack: stillroomv1.Pack_PACK_HOT, JarSize: stillroomv1.JarSize_JAR_SIZE_L_1,
		Method: stillroomv1.ProcessMethod_PROCESS_METHOD_PRESSURE_DIAL,
		Place:  &stillroomv1.LookUpProcessRequest_Site{Site: "kitchens/k/sites/main"},
	}
	got, err := s.processes().LookUpProcess(t.Context(), req)
	require.NoError(t, err)
	require.Len(t, got.GetChoices(), 2)
	require.Equal(t, int32(20), got.GetChoices()[0].GetMinutes())
	require.Equal(t, int32(8), got.GetChoices()[0].GetPressurePounds())
	require.Equal(t, int32(15), got.GetChoices()[1].GetMinutes())
	require.Equal(t, int32(13), got.GetChoices()[1].GetPressurePounds())
	require.Equal(t, 0.5, got.GetChoices()[0].GetHeadspaceInches())
	require.Contains(t, got.GetChoices()[0].GetSource().GetLocator(), "Guide 3")
	require.Equal(t, "4,001-6,000 ft", got.GetBand().GetText())
	require.Equal(t, int32(6000), got.GetBand().GetMaxFeet())
	require.Equal(t, 5280.0, got.GetAltitudeFeet())
	require.Equal(t, stillroomv1.JarSize_JAR_SIZE_QUART, got.GetPrintedJarSize())
	require.Contains(t, got.GetNotes()[0].GetText(), "1 litre jar is processed as a quart")
	require.Empty(t, got.GetNotes()[0].GetSource().GetPublication(), "common practice cites nobody")
	require.Contains(t, got.GetCautions()[0].GetText(), "Local codes")
	require.NotEmpty(t, got.GetSteps())
	require.Equal(t, "vent", got.GetPhases()[1].GetDisplayName())
	require.InDelta(t, 94.6, got.GetBoilingPointCelsius(), 0.1) // 202.4 °F: between 203 (5,000 ft) and 201.1 (6,000 ft) in the NOAA table

	req.Place = at(1609.344)
	same, err := s.processes().LookUpProcess(t.Context(), req)
	require.NoError(t, err)
	require.Equal(t, got.String(), same.String())

	// A foot over the last band that is printed with an end there is nothing; an open band has no upper end.
	req.Place = at(2438.7)
	st := requireCode(t, codes.FailedPrecondition, lookUpError(t, s, req))
	require.Equal(t, []string{"altitude"}, badFields(t, st))
	require.Contains(t, st.Message(), "ends at 8,000 ft")
	req.Method = stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER
	open, err := s.processes().LookUpProcess(t.Context(), req)
	require.NoError(t, err)
	require.Nil(t, open.GetBand().MaxFeet)
	require.Equal(t, "above 6,000 ft", open.GetBand().GetText())
}

func lookUpError(t *testing.T, s *testServer, req *stillroomv1.LookUpProcessRequest) error {
	t.Helper()
	_, err := s.processes().LookUpProcess(t.Context(), req)
	return err
}

func TestLookUpProcessRefuses(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	valid := func(change func(*stillroomv1.LookUpProcessRequest)) *stillroomv1.LookUpProcessRequest {
		req := &stillroomv1.LookUpProcessRequest{
			ProductKey: "green_beans", Pack: stillroomv1.Pack_PACK_RAW, JarSize: stillroomv1.JarSize_JAR_SIZE_PINT,
			Method: stillroomv1.ProcessMethod_PROCESS_METHOD_PRESSURE_WEIGHTED, Place: at(0),
		}
		change(req)
		return req
	}
	require.NoError(t, lookUpError(t, s, valid(func(*stillroomv1.LookUpProcessRequest) {})))
	for name, c := range map[string]struct {
		req   *stillroomv1.LookUpProcessRequest
		code  codes.Code
		field string
	}{
		"unknown product": {valid(func(r *stillroomv1.LookUpProcessRequest) { r.ProductKey = "moon_cheese" }), codes.NotFound, "product_key"},
		"low-acid food in boiling water": {valid(func(r *stillroomv1.LookUpProcessRequest) {
			r.Method = stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER
		}), codes.FailedPrecondition, "method"},
		"larger jar":       {valid(func(r *stillroomv1.LookUpProcessRequest) { r.JarSize = stillroomv1.JarSize_JAR_SIZE_HALF_GALLON }), codes.FailedPrecondition, "jar_size"},
		"pack not printed": {valid(func(r *stillroomv1.LookUpProcessRequest) { r.ProductKey = "beets" }), codes.FailedPrecondition, "pack"},
		"below the sea":    {valid(func(r *stillroomv1.LookUpProcessRequest) { r.Place = at(-3) }), codes.FailedPrecondition, "altitude"},
		"no place":         {valid(func(r *stillroomv1.LookUpProcessRequest) { r.Place = nil }), codes.InvalidArgument, "place"},
		"impossible place": {valid(func(r *stillroomv1.LookUpProcessRequest) { r.Place = at(9001) }), codes.InvalidArgument, "altitude.metres"},
		"no jar":           {valid(func(r *stillroomv1.LookUpProcessRequest) { r.JarSize = 0 }), codes.InvalidArgument, "jar_size"},
		"unknown method":   {valid(func(r *stillroomv1.LookUpProcessRequest) { r.Method = 99 }), codes.InvalidArgument, "method"},
		"not a site": {valid(func(r *stillroomv1.LookUpProcessRequest) {
			r.Place = &stillroomv1.LookUpProcessRequest_Site{Site: "kitchens/k"}
		}), codes.InvalidArgument, "site"},
	} {
		st := requireCode(t, c.code, lookUpError(t, s, c.req))
		require.Contains(t, badFields(t, st), c.field, name)
	}
	requireCode(t, codes.NotFound, lookUpError(t, s, valid(func(r *stillroomv1.LookUpProcessRequest) {
		r.Place = &stillroomv1.LookUpProcessRequest_Site{Site: "kitchens/k/sites/nowhere"}
	})))

	// The refusal says what the table has.
	st := requireCode(t, codes.FailedPrecondition, lookUpError(t, s, valid(func(r *stillroomv1.LookUpProcessRequest) {
		r.JarSize = stillroomv1.JarSize_JAR_SIZE_HALF_GALLON
	})))
	var said string
	for _, d := range st.Details() {
		if bad, ok := d.(*errdetails.BadRequest); ok {
			said = bad.GetFieldViolations()[0].GetDescription()
		}
	}
	require.Contains(t, said, "printed: pint, quart")
	require.Contains(t, said, reference.MustFact("larger_jar_rule").Statement)
}

func TestPackLeftOpenIsForTablesThatPrintBothTogether(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	req := &stillroomv1.LookUpProcessRequest{ProductKey: "tomatoes_whole_in_water", JarSize: stillroomv1.JarSize_JAR_SIZE_PINT,
		Method: stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER, Place: at(0)}
	_, err := s.processes().LookUpProcess(t.Context(), req)
	require.NoError(t, err)
	req.ProductKey = "peaches" // hot and raw apart, with different times
	st := requireCode(t, codes.FailedPrecondition, lookUpError(t, s, req))
	require.Equal(t, []string{"pack"}, badFields(t, st))
}

func TestEstimateComeUpRestsOnTheBestThereIs(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	s.setTable(t, 4)
	equipment := stillroomv1.NewEquipmentServiceClient(s.conn)
	_, err := equipment.CreateEquipment(t.Context(), &stillroomv1.CreateEquipmentRequest{Parent: "kitchens/k", EquipmentId: "blue", Equipment: &stillroomv1.Equipment{
		DisplayName: "Blue canner", Kind: "canner", OwnedCount: 1, Canner: &stillroomv1.CannerDetails{
			Methods:    []stillroomv1.ProcessMethod{stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER},
			Capacities: []*stillroomv1.JarCapacity{{JarSize: stillroomv1.JarSize_JAR_SIZE_QUART, Jars: 7}},
			HeatSource: &stillroomv1.HeatSource{Kind: stillroomv1.HeatKind_HEAT_KIND_ELECTRIC, Watts: 1750},
		}}})
	require.NoError(t, err)
	req := &stillroomv1.EstimateComeUpRequest{Name: "kitchens/k/equipment/blue", Method: stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER,
		JarSize: stillroomv1.JarSize_JAR_SIZE_QUART, Pack: stillroomv1.Pack_PACK_HOT,
		Place: &stillroomv1.EstimateComeUpRequest_Altitude{Altitude: &stillroomv1.Altitude{}}}
	got, err := s.processes().EstimateComeUp(t.Context(), req)
	require.NoError(t, err)
	require.Equal(t, stillroomv1.EstimateBasis_ESTIMATE_BASIS_PHYSICS, got.GetBasis())
	// Seven quarts filled hot at sea level on 1,750 W, worked by hand in the canning room: 22.22 min.
	require.Equal(t, int32(23), got.GetFullLoadMinutes())
	require.Equal(t, int32(7), got.GetFullLoadJars())
	require.InDelta(t, 1295, got.GetEffectiveWatts(), 0.01)
	require.NotEmpty(t, got.GetAssumptions())

	for _, minutes := range []float64{30, 31, 32} {
		_, err := equipment.RecordComeUp(t.Context(), &stillroomv1.RecordComeUpRequest{Name: req.GetName(), ComeUp: &stillroomv1.ComeUp{
			Method: req.GetMethod(), JarSize: req.GetJarSize(), Pack: req.GetPack(), Jars: 7, Altitude: &stillroomv1.Altitude{}, Minutes: minutes}})
		require.NoError(t, err)
	}
	got, err = s.processes().EstimateComeUp(t.Context(), req)
	require.NoError(t, err)
	require.Equal(t, stillroomv1.EstimateBasis_ESTIMATE_BASIS_RECORD, got.GetBasis())
	require.Equal(t, int32(3), got.GetObservations())
	// The least squares of 30, 31 and 32 minutes for one and the same load are at 31, with a standard deviation of 1.
	require.InDelta(t, 31, got.GetBaseMinutes()+7*got.GetMinutesPerJar(), 0.1)
	require.InDelta(t, 1, got.GetErrorMinutes(), 1e-6)

	// By the site at 5,280 ft, where water boils earlier.
	req.Place = &stillroomv1.EstimateComeUpRequest_Site{Site: "kitchens/k/sites/main"}
	higher, err := s.processes().EstimateComeUp(t.Context(), req)
	require.NoError(t, err)
	require.Less(t, higher.GetFullLoadMinutes(), got.GetFullLoadMinutes())

	req.JarSize = stillroomv1.JarSize_JAR_SIZE_HALF_GALLON
	_, err = s.processes().EstimateComeUp(t.Context(), req)
	require.Equal(t, []string{"jar_size"}, badFields(t, requireCode(t, codes.InvalidArgument, err)))
	req.Name = "kitchens/k/equipment/nothing"
	_, err = s.processes().EstimateComeUp(t.Context(), req)
	requireCode(t, codes.NotFound, err)
}

func TestListProductsPagesAndSearches(t *testing.T) {
	t.Parallel()
	s := newTestServer(t)
	var keys []string
	for token := ""; ; {
		page, err := s.processes().ListProducts(t.Context(), &stillroomv1.ListProductsRequest{PageSize: 17, PageToken: token})
		require.NoError(t, err)
		require.LessOrEqual(t, len(page.GetProducts()), 17)
		for _, p := range page.GetProducts() {
			keys = append(keys, p.GetKey())
			require.NotEmpty(t, p.GetCoverage(), p.GetKey())
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	require.Len(t, keys, 130)
	require.IsIncreasing(t, keys)

	// Two words must both be found, in the key or in the name.
	page, err := s.processes().ListProducts(t.Context(), &stillroomv1.ListProductsRequest{Query: "Tomato juice"})
	require.NoError(t, err)
	var found []string
	for _, p := range page.GetProducts() {
		found = append(found, p.GetKey())
	}
	require.Contains(t, found, "tomato_juice")
	require.NotContains(t, found, "apple_juice")

	page, err = s.processes().ListProducts(t.Context(), &stillroomv1.ListProductsRequest{PageSize: 1})
	require.NoError(t, err)
	_, err = s.processes().ListProducts(t.Context(), &stillroomv1.ListProductsRequest{Query: "salsa", PageToken: page.GetNextPageToken()})
	requireCode(t, codes.InvalidArgument, err)
}
