package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"

	"stillroom/internal/store/storetest"
)

// deployFile reads a file of deploy/.
func deployFile(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "deploy", name))
	require.NoError(t, err)
	return string(text)
}

// What of an expression in Prometheus' query language is not the name of a metric: strings, matchers and
// ranges, and lists of labels; see "Operators" and "Functions" in its documentation.
var (
	promStrings = regexp.MustCompile(`"(?:[^"\\]|\\.)*"`)
	promBraces  = regexp.MustCompile(`\{[^}]*\}|\[[^\]]*\]`)
	promLabels  = regexp.MustCompile(`\b(?:by|without|on|ignoring|group_left|group_right)\s*\([^)]*\)`)
	promWords   = regexp.MustCompile(`[a-zA-Z_:][a-zA-Z0-9_:]*\s*\(?`)
	promPlain   = []string{"and", "or", "unless", "bool", "offset"}
)

// metricsOf are the metrics that an expression names.
func metricsOf(expression string) (names []string) {
	s := promStrings.ReplaceAllString(expression, "")
	s = promBraces.ReplaceAllString(s, "")
	s = promLabels.ReplaceAllString(s, "")
	s = regexp.MustCompile(`\b[0-9.]+(?:e[0-9]+)?\b`).ReplaceAllString(s, "")
	for _, word := range promWords.FindAllString(s, -1) {
		if name := strings.TrimSpace(word); !strings.HasSuffix(name, "(") && !slices.Contains(promPlain, name) {
			names = append(names, name)
		}
	}
	return names
}

func TestMetricsOfAnExpression(t *testing.T) {
	t.Parallel()
	require.Equal(t, []string{"a_bucket", "b:c"},
		metricsOf(`histogram_quantile(0.5, sum by (le, x) (rate(a_bucket{job="no", y=~"no (one)"}[5m]))) / 1e9 and on (x) b:c > 2`))
}

// expressions gathers every "expr" of a document, at any depth.
func expressions(node any) (found []string) {
	switch n := node.(type) {
	case map[string]any:
		for key, value := range n {
			if text, ok := value.(string); ok && key == "expr" {
				found = append(found, text)
			}
			found = append(found, expressions(value)...)
		}
	case []any:
		for _, value := range n {
			found = append(found, expressions(value)...)
		}
	}
	slices.Sort(found)
	return found
}

// TestDashboardAndAlertsUseMetricsOfTheServer: every metric that the dashboard and the
// alert rules name is one that a running server exposes.
func TestDashboardAndAlertsUseMetricsOfTheServer(t *testing.T) {
	t.Parallel()
	p, admin := startWithAdmin(t, "--database", storetest.URL(t))
	p.run("kitchen", "create", "high-meadow", "--currency", "USD", "--name", "High Meadow")
	require.Eventually(t, func() bool { return calls(scrape(t, admin), "KitchenService/CreateKitchen", "OK") == 1 }, 10*time.Second, 20*time.Millisecond)
	exposed := map[string]bool{"up": true} // Prometheus makes it for each target
	for name, family := range scrape(t, admin) {
		exposed[name] = true
		if family.GetMetric()[0].GetHistogram() != nil {
			exposed[name+"_bucket"], exposed[name+"_count"], exposed[name+"_sum"] = true, true, true
		}
	}

	var dashboard, alerts any
	require.NoError(t, json.Unmarshal([]byte(deployFile(t, "dashboard.json")), &dashboard))
	require.NoError(t, yaml.Unmarshal([]byte(deployFile(t, "alerts.yml")), &alerts))
	for file, document := range map[string]any{"dashboard.json": dashboard, "alerts.yml": alerts} {
		found := expressions(document)
		require.Greater(t, len(found), 5, file)
		for _, expression := range found {
			names := metricsOf(expression)
			require.NotEmpty(t, names, "%s: %s", file, expression)
			for _, name := range names {
				require.True(t, exposed[name], "%s uses %s, which the server does not expose: %s", file, name, expression)
			}
		}
	}
}

// under walks into a document by keys and positions.
func under(t *testing.T, node any, path ...any) any {
	t.Helper()
	for _, step := range path {
		switch s := step.(type) {
		case string:
			m, ok := node.(map[string]any)
			require.True(t, ok, "no map to take %q from in %v", s, path)
			require.Contains(t, m, s)
			node = m[s]
		case int:
			list, ok := node.([]any)
			require.True(t, ok, "no list at %d of %v", s, path)
			require.Greater(t, len(list), s)
			node = list[s]
		}
	}
	return node
}

// TestKubernetesManifests: the program takes the arguments given, the probes are answered where
// they ask, and what hardens the pod is there. The fields are those of the Kubernetes API reference; the
// hardening is its "restricted" Pod Security Standard, with a root file system that is read only.
func TestKubernetesManifests(t *testing.T) {
	t.Parallel()
	kinds := map[string]map[string]any{}
	for _, text := range strings.Split(deployFile(t, "kubernetes/stillroom.yaml"), "\n---\n") {
		var document map[string]any
		require.NoError(t, yaml.Unmarshal([]byte(text), &document))
		kinds[document["kind"].(string)] = document
	}
	require.Len(t, kinds, 4)
	pod := under(t, kinds["Deployment"], "spec", "template", "spec")
	container := under(t, pod, "containers", 0)

	flags := newServe(&session{}).Flags()
	args := map[string]string{}
	for _, arg := range under(t, container, "args").([]any)[1:] {
		name, value, _ := strings.Cut(strings.TrimPrefix(arg.(string), "--"), "=")
		require.NotNil(t, flags.Lookup(name), "serve has no --%s", name)
		args[name] = value
	}
	ports := map[string]string{}
	for _, port := range under(t, container, "ports").([]any) {
		ports[under(t, port, "name").(string)] = jsonText(t, under(t, port, "containerPort"))
	}
	require.Equal(t, "0.0.0.0:"+ports["grpc"], args["listen"])
	require.Equal(t, "0.0.0.0:"+ports["admin"], args["admin"])

	_, admin := startWithAdmin(t, "--database", storetest.URL(t))
	for _, probe := range []string{"startupProbe", "readinessProbe", "livenessProbe"} {
		require.Equal(t, "admin", under(t, container, probe, "httpGet", "port"))
		code, body := get(t, admin+under(t, container, probe, "httpGet", "path").(string))
		require.Equal(t, 200, code, "%s: %s", probe, body)
	}
	require.NotEqual(t, under(t, container, "readinessProbe", "httpGet", "path"), under(t, container, "livenessProbe", "httpGet", "path"),
		"a database that is away must not restart the server")

	require.Equal(t, true, under(t, pod, "securityContext", "runAsNonRoot"))
	require.Equal(t, "RuntimeDefault", under(t, pod, "securityContext", "seccompProfile", "type"))
	require.Equal(t, true, under(t, container, "securityContext", "readOnlyRootFilesystem"))
	require.Equal(t, false, under(t, container, "securityContext", "allowPrivilegeEscalation"))
	require.Equal(t, []any{"ALL"}, under(t, container, "securityContext", "capabilities", "drop"))
	for _, kind := range []string{"requests", "limits"} {
		require.NotEmpty(t, under(t, container, "resources", kind, "cpu"))
		require.NotEmpty(t, under(t, container, "resources", kind, "memory"))
	}
	labels := under(t, kinds["Deployment"], "spec", "template", "metadata", "labels")
	require.Equal(t, labels, under(t, kinds["PodDisruptionBudget"], "spec", "selector", "matchLabels"))
	require.Equal(t, labels, under(t, kinds["Service"], "spec", "selector"))
	require.Equal(t, labels, under(t, kinds["NetworkPolicy"], "spec", "podSelector", "matchLabels"))

	var grace, pause float64
	require.NoError(t, json.Unmarshal([]byte(jsonText(t, under(t, pod, "terminationGracePeriodSeconds"))), &grace))
	require.NoError(t, json.Unmarshal([]byte(jsonText(t, under(t, container, "lifecycle", "preStop", "sleep", "seconds"))), &pause))
	require.Greater(t, grace, pause+(stopWithin+sendWithin).Seconds(), "the pod is killed before the server has stopped")
}

func jsonText(t *testing.T, value any) string {
	t.Helper()
	text, err := json.Marshal(value)
	require.NoError(t, err)
	return string(text)
}

// TestSystemdUnit: systemd takes every line of the unit, and its own review finds little exposed.
func TestSystemdUnit(t *testing.T) {
	t.Parallel()
	unit := deployFile(t, "stillroom.service")
	command := regexp.MustCompile(`(?m)^ExecStart=\S+ serve (.*)$`).FindStringSubmatch(unit)
	require.NotNil(t, command)
	require.NoError(t, newServe(&session{}).ParseFlags(strings.Fields(command[1])))

	if _, err := exec.LookPath("systemd-analyze"); err != nil {
		t.Skip("no systemd-analyze here to read the unit with")
	}
	folder := t.TempDir()
	path := filepath.Join(folder, "stillroom.service")
	require.NoError(t, os.WriteFile(path, []byte(strings.ReplaceAll(unit, "/usr/local/bin/stillroom", binary)), 0o600))
	out, err := exec.Command("systemd-analyze", "verify", "--man=no", path).CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.NotContains(t, string(out), "stillroom.service:", "a line that systemd does not know")
	// The threshold is in tenths of the exposure that systemd shows, 0.0 for none to 10.0.
	out, err = exec.Command("systemd-analyze", "security", "--offline=true", "--threshold=20", path).CombinedOutput()
	require.NoError(t, err, "%s", out)
}
