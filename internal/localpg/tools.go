package localpg

import (
	"cmp"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"stillroom/internal/fault"
)

// Tool is a client program of Postgres, such as pg_dump.
type Tool struct {
	Path    string
	Version Version
}

// Tools lists the installations of a client program whose major version is at least the
// given one, oldest first. It looks where Start looks for a server: in PATH, where
// pg_config says, and in the standard places. None is a fault that says what to install.
func Tools(program string, least int) ([]Tool, error) {
	var found []Tool
	var seen []string
	known := map[string]bool{}
	look := func(path string) {
		real, err := filepath.EvalSymlinks(path)
		if err != nil || known[real] {
			return
		}
		known[real] = true
		// The path as it was found: Debian's pg_dump in PATH is a wrapper that goes by its name.
		out, err := exec.Command(path, "--version").Output()
		if err != nil {
			return
		}
		m := versionLine.FindSubmatch(out)
		if m == nil {
			return
		}
		major, _ := strconv.Atoi(string(m[1]))
		minor, _ := strconv.Atoi(string(m[2])) // none is 0
		seen = append(seen, fmt.Sprintf("%s (version %d.%d)", path, major, minor))
		if major >= least {
			found = append(found, Tool{Path: path, Version: Version{Major: major, Minor: minor}})
		}
	}
	for _, pattern := range standardPlaces {
		matches, _ := filepath.Glob(filepath.Join(pattern, program)) // the only error is a bad pattern
		for _, path := range matches {
			look(path)
		}
	}
	if out, err := exec.Command("pg_config", "--bindir").Output(); err == nil {
		look(filepath.Join(strings.TrimSpace(string(out)), program))
	}
	if path, err := exec.LookPath(program); err == nil {
		look(path)
	}
	if len(found) == 0 {
		what := "none was found"
		if len(seen) > 0 {
			what = "found only " + strings.Join(seen, ", ")
		}
		return nil, fault.New(fault.Precondition, "%s of Postgres %d or later is needed, and %s; install the client programs of Postgres %d",
			program, least, what, least)
	}
	slices.SortStableFunc(found, func(a, b Tool) int {
		return cmp.Or(a.Version.Major-b.Version.Major, b.Version.Minor-a.Version.Minor)
	})
	return found, nil
}

// Command prepares a run of the tool that reads no settings but those given, in English.
func (t Tool) Command(args ...string) *exec.Cmd {
	cmd := exec.Command(t.Path, args...)
	cmd.Env = cleanEnvironment()
	return cmd
}

// Running gives the connection string of a database of the private Postgres that another
// program is running on a data folder (DefaultFolder when empty), and whether one is.
func Running(folder, database string) (string, bool, error) {
	if folder == "" {
		var err error
		if folder, err = DefaultFolder(); err != nil {
			return "", false, err
		}
	}
	folder, err := filepath.EvalSymlinks(folder)
	if err != nil {
		return "", false, fault.Field("data folder", folder, "cannot be read: "+reason(err), "name the folder that the server was given, with "+FolderVariable)
	}
	if folder, err = filepath.Abs(folder); err != nil {
		return "", false, err
	}
	s := &Server{folder: folder, data: filepath.Join(folder, "postgres")}
	pid, ok := readPIDFile(s.data)
	if !ok || !pid.ready || !isPostgresOn(pid.pid, s.data) {
		return "", false, nil
	}
	text, err := os.ReadFile(filepath.Join(s.data, "postmaster.pid"))
	if err != nil {
		return "", false, err
	}
	// The fifth line is the folder of the socket, by src/include/utils/pidfile.h.
	lines := strings.Split(string(text), "\n")
	if len(lines) < 5 {
		return "", false, nil
	}
	s.socket = lines[4]
	password, err := os.ReadFile(filepath.Join(folder, "password"))
	if err != nil {
		return "", false, fault.New(fault.Precondition, "the password of the Postgres running in %s cannot be read (%s); run as the user who runs the server",
			folder, reason(err)).Because(err)
	}
	s.password = strings.TrimSpace(string(password))
	return s.URL(database), true, nil
}
