package main

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/require"

	"stillroom/internal/store/storetest"
)

var adminOn = regexp.MustCompile(`are on (http://\S+)`)

// startWithAdmin starts serve with an admin listener and returns the listener's URL.
func startWithAdmin(t *testing.T, args ...string) (*program, string) {
	t.Helper()
	p := startProgram(t, append(args, "--admin", "127.0.0.1:0")...)
	line, err := p.out.ReadString('\n')
	require.NoError(t, err)
	found := adminOn.FindStringSubmatch(line)
	require.NotNil(t, found, "serve said %q", line)
	return p, found[1]
}

// get reads a page of the admin listener.
func get(t *testing.T, url string) (int, string) {
	t.Helper()
	reply, err := http.Get(url) //nolint:gosec // the server under test
	require.NoError(t, err)
	defer func() { require.NoError(t, reply.Body.Close()) }()
	body, err := io.ReadAll(reply.Body)
	require.NoError(t, err)
	return reply.StatusCode, string(body)
}

// scrape reads the metrics as Prometheus does, by its own parser.
func scrape(t *testing.T, admin string) map[string]*dto.MetricFamily {
	t.Helper()
	code, body := get(t, admin+"/metrics")
	require.Equal(t, http.StatusOK, code)
	parser := expfmt.NewTextParser(model.UTF8Validation)
	families, err := parser.TextToMetricFamilies(strings.NewReader(body))
	require.NoError(t, err)
	return families
}

// calls counts the calls of a method that ended with a code.
func calls(families map[string]*dto.MetricFamily, method, code string) (n uint64) {
	for _, m := range families["rpc_server_call_duration_seconds"].GetMetric() {
		labels := map[string]string{}
		for _, l := range m.GetLabel() {
			labels[l.GetName()] = l.GetValue()
		}
		if labels["rpc_method"] == "stillroom.v1."+method && labels["rpc_response_status_code"] == code {
			n += m.GetHistogram().GetSampleCount()
		}
	}
	return n
}

// value is the value of a metric without labels that matter.
func value(t *testing.T, families map[string]*dto.MetricFamily, name string) float64 {
	t.Helper()
	require.Contains(t, families, name)
	m := families[name].GetMetric()[0]
	return m.GetGauge().GetValue() + m.GetCounter().GetValue()
}

func TestMetricsAfterCalls(t *testing.T) {
	t.Parallel()
	p, admin := startWithAdmin(t, "--database", storetest.URL(t))
	p.run("kitchen", "create", "high-meadow", "--currency", "USD", "--name", "High Meadow")
	p.fails("kitchen", "create", "high-meadow", "--currency", "USD", "--name", "High Meadow")
	p.fails("kitchen", "create", "other", "--currency", "dollars", "--name", "Other")
	// A call is measured after its reply was sent.
	require.Eventually(t, func() bool {
		f := scrape(t, admin)
		return calls(f, "KitchenService/CreateKitchen", "OK") == 1 &&
			calls(f, "KitchenService/CreateKitchen", "ALREADY_EXISTS") == 1 &&
			calls(f, "KitchenService/CreateKitchen", "INVALID_ARGUMENT") == 1
	}, 10*time.Second, 20*time.Millisecond)

	f := scrape(t, admin)
	require.Positive(t, value(t, f, "pgxpool_total_connections"))
	require.Positive(t, value(t, f, "pgxpool_max_connections"))
	require.Positive(t, value(t, f, "go_goroutines"))
	require.InDelta(t, 1, value(t, f, "stillroom_build_info"), 0)
	require.Positive(t, value(t, f, "stillroom_plans_places"))
	require.Zero(t, value(t, f, "stillroom_plans_waiting"))
	require.Zero(t, value(t, f, "stillroom_watchers"))

	code, body := get(t, admin+"/healthz")
	require.Equal(t, []any{http.StatusOK, "alive\n"}, []any{code, body})
	code, body = get(t, admin+"/readyz")
	require.Equal(t, []any{http.StatusOK, "ready\n"}, []any{code, body})
	_, body = get(t, admin+"/version")
	var build map[string]any
	require.NoError(t, json.Unmarshal([]byte(body), &build))
	require.Regexp(t, `^go1\.`, build["go"])
	code, body = get(t, admin+"/debug/pprof/goroutine?debug=1")
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, body, "goroutine profile: total")
	p.stop()
}

func TestAdminKeepsToItsMachine(t *testing.T) {
	t.Parallel()
	_, err := startAdmin("0.0.0.0:0", false, nil, nil)
	require.ErrorContains(t, err, "--admin 0.0.0.0:0 can be reached from other machines")
	require.ErrorContains(t, err, "--admin-plaintext")

	served := ownMachine(func(w http.ResponseWriter, _ *http.Request) { answer(w, http.StatusOK, "a profile") })
	for _, c := range []struct {
		from, host string
		code       int
	}{
		{"127.0.0.1:5000", "127.0.0.1:7420", http.StatusOK},
		{"[::1]:5000", "localhost", http.StatusOK},
		{"192.0.2.7:5000", "127.0.0.1:7420", http.StatusForbidden}, // RFC 5737: a documentation address
		{"127.0.0.1:5000", "rebound.example:7420", http.StatusForbidden},
	} {
		request := httptest.NewRequest(http.MethodGet, "/debug/pprof/", nil)
		request.RemoteAddr, request.Host = c.from, c.host
		reply := httptest.NewRecorder()
		served(reply, request)
		require.Equal(t, c.code, reply.Code, "from %s to %s", c.from, c.host)
	}
}

func TestLogLevelIsChecked(t *testing.T) {
	t.Parallel()
	p := &program{t: t}
	require.Contains(t, p.fails("serve", "--log-level", "loud"), `--log-level "loud" is none of debug, info, warn and error`)
}
