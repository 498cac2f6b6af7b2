package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/localpg"
	"stillroom/internal/localpg/pgtest"
	"stillroom/internal/store/storetest"
)

// binary is the program as a user has it, built once for this package's tests.
var binary string

func TestMain(m *testing.M) {
	folder, err := os.MkdirTemp("", "stillroom-program-")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	binary = filepath.Join(folder, "stillroom")
	build := exec.Command("go", "build", "-o", binary, ".")
	build.Stderr = os.Stderr
	if err := build.Run(); err != nil {
		fmt.Fprintln(os.Stderr, "building the program:", err)
		os.Exit(1)
	}
	code := pgtest.Run(m)
	_ = os.RemoveAll(folder)
	os.Exit(code)
}

// program is a running `stillroom serve` and the way to call commands on it.
type program struct {
	t       *testing.T
	serve   *exec.Cmd
	address string
	kitchen string
	log     *bytes.Buffer
	// out is what serve prints after its first line.
	out *bufio.Reader
}

var servesOn = regexp.MustCompile(`serves on (\S+)`)

// startProgram runs `stillroom serve` on a database of the test's own.
func startProgram(t *testing.T, args ...string) *program {
	t.Helper()
	p := &program{t: t, kitchen: "high-meadow", log: &bytes.Buffer{}}
	p.serve = exec.Command(binary, append([]string{"serve", "--open", "--listen", "127.0.0.1:0", "--web", ""}, args...)...)
	p.serve.Stderr = p.log
	out, err := p.serve.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, p.serve.Start())
	t.Cleanup(func() {
		if p.serve.ProcessState == nil {
			_ = p.serve.Process.Kill()
			_ = p.serve.Wait()
		}
	})
	p.out = bufio.NewReader(out)
	line, err := p.out.ReadString('\n')
	require.NoError(t, err, "serve said nothing; it logged: %s", p.log)
	found := servesOn.FindStringSubmatch(line)
	require.NotNil(t, found, "serve said %q", line)
	p.address = found[1]
	return p
}

// stop ends serve as Ctrl-C does.
func (p *program) stop() {
	p.t.Helper()
	require.NoError(p.t, p.serve.Process.Signal(syscall.SIGINT))
	require.NoError(p.t, p.serve.Wait(), "serve logged: %s", p.log)
}

// run runs a command that must succeed and returns what it printed.
func (p *program) run(args ...string) string {
	p.t.Helper()
	out, errOut, err := p.try("", args...)
	require.NoError(p.t, err, "stillroom %s: %s", strings.Join(args, " "), errOut)
	return out
}

// fails runs a command that must fail with status 1 and returns what it complained.
func (p *program) fails(args ...string) string {
	p.t.Helper()
	_, errOut, err := p.try("", args...)
	var exit *exec.ExitError
	require.ErrorAs(p.t, err, &exit, "stillroom %s did not fail", strings.Join(args, " "))
	require.Equal(p.t, 1, exit.ExitCode())
	return errOut
}

// json runs a command with --output json and returns its reply.
func (p *program) json(args ...string) map[string]any {
	p.t.Helper()
	out := p.run(append(args, "--output", "json")...)
	var reply map[string]any
	require.NoError(p.t, json.Unmarshal([]byte(out), &reply), out)
	return reply
}

func (p *program) try(stdin string, args ...string) (string, string, error) {
	cmd := exec.Command(binary, append(args, "--server", p.address, "--kitchen", p.kitchen)...)
	cmd.Stdin = strings.NewReader(stdin)
	var out, errOut bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errOut
	err := cmd.Run()
	return out.String(), errOut.String(), err
}

// file writes a file for a command to read.
func (p *program) file(name, content string) string {
	p.t.Helper()
	path := filepath.Join(p.t.TempDir(), name)
	require.NoError(p.t, os.WriteFile(path, []byte(content), 0o600))
	return path
}

// TestServeKeepsItsData: serve makes a Postgres of its own, stops it with itself, and
// finds the data again the next time.
func TestServeKeepsItsData(t *testing.T) {
	if os.Getenv(localpg.URLVariable) != "" {
		t.Skipf("%s is set, so there is no private Postgres to watch", localpg.URLVariable)
	}
	folder, err := os.MkdirTemp("", "stillroom-data-") // t.TempDir may lie where Postgres's user cannot go
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	require.NoError(t, os.Chmod(folder, 0o755)) //nolint:gosec // Postgres's user must be able to enter it.
	data := filepath.Join(folder, "data")

	p := startProgram(t, "--data", data)
	p.run("kitchen", "create", "high-meadow", "--currency", "USD", "--name", "High Meadow")
	p.stop()

	p = startProgram(t, "--data", data)
	require.Contains(t, p.run("kitchen", "list"), "High Meadow")
	p.stop()

	deadline := time.Now().Add(5 * time.Second)
	for processMentions(t, data) {
		require.True(t, time.Now().Before(deadline), "a process of %s is still there", data)
		time.Sleep(50 * time.Millisecond)
	}
}

// processMentions says whether some running process has the text in its command line.
func processMentions(t *testing.T, text string) bool {
	t.Helper()
	files, err := filepath.Glob("/proc/[0-9]*/cmdline")
	require.NoError(t, err)
	if len(files) == 0 {
		t.Skip("no /proc here to look for left-over processes in")
	}
	for _, f := range files {
		if data, err := os.ReadFile(f); err == nil && bytes.Contains(data, []byte(text)) {
			return true
		}
	}
	return false
}

// TestRosterFromTheCommandLine goes from nothing to a full class with a waiting list.
func TestRosterFromTheCommandLine(t *testing.T) {
	t.Parallel()
	p := startProgram(t, "--database", storetest.URL(t))
	require.Contains(t, p.fails("class", "list"), `no kitchen named "kitchens/high-meadow"`)
	p.run("kitchen", "create", "high-meadow", "--currency", "USD", "--name", "High Meadow")
	require.Contains(t, p.run("site", "create", "main", "--altitude", "5,430 ft", "--zone", "America/Denver"), "1,655.1 m (5,430 ft)")
	shown := p.run("class", "create", "salsa", "--site", "main", "--start", "2027-08-21 09:00", "--length", "4h", "--places", "2")
	require.Contains(t, shown, "Sat 21 Aug 2027 09:00 (America/Denver) at main, for 4 h")
	p.run("station", "add", "salsa", "bench-1", "bench-2")

	roster := p.file("roster.csv", "\xef\xbb\xbfName,EMAIL,station\r\nAna Moreno,ana@example.org,bench-1\r\nBo,,bench-2\r\nCy,,\r\n")
	require.Equal(t, "2 enrolled, 1 on the waiting list (3 new to the kitchen)\n", p.run("roster", "import", "salsa", roster))
	require.Contains(t, p.run("roster", "cancel", "salsa", "bo"), "Cy has moved up from the waiting list")
	require.Equal(t, "name,email,phone,allergies,home_altitude,station,state,waiting_position\r\n"+
		"Ana Moreno,ana@example.org,,,,bench-1,enrolled,\r\nCy,,,,,,enrolled,\r\n", p.run("roster", "export", "salsa"))

	bad := p.file("bad.csv", "name,station\nDi,bench-9\n,bench-1\n")
	complaint := p.fails("roster", "import", "salsa", bad)
	require.Contains(t, complaint, "csv, line 2, station: \"bench-9\" is not a station of this class")
	require.Contains(t, complaint, "csv, line 3, name: is empty")
	require.Contains(t, p.run("roster", "import", "salsa", bad, "--skip-bad"), "0 enrolled, 0 on the waiting list (0 new to the kitchen)")

	class := p.json("class", "show", "salsa")
	require.Equal(t, "kitchens/high-meadow/classes/salsa", class["name"])
	require.EqualValues(t, 2, class["enrolled_count"])
	require.Contains(t, p.fails("class", "create", "salsa", "--site", "main", "--start", "2027-08-22 09:00", "--length", "4h", "--places", "2"), "has a class with that id already")
	require.Contains(t, p.fails("class", "create", "x", "--site", "main", "--start", "yesterday", "--length", "4h", "--places", "2"), `--start "yesterday" is not a time`)
	require.Contains(t, p.fails("site", "create", "peak", "--altitude", "9,900 m", "--zone", "UTC"), "between -430 m and 9,000 m")
	p.stop()
}

// TestNoServerIsSaidPlainly: a command without a server says how to start one.
func TestNoServerIsSaidPlainly(t *testing.T) {
	t.Parallel()
	p := &program{t: t, address: "127.0.0.1:1", kitchen: "k"}
	require.Contains(t, p.fails("class", "list"), `no server answers at 127.0.0.1:1; start one with "stillroom serve"`)
	require.Contains(t, p.fails("class", "list", "-o", "xml"), `--output "xml": choose table or json`)
	require.Contains(t, p.fails("class", "dance"), "stillroom class knows no \"dance\"")
}
