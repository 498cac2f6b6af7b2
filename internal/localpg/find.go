package localpg

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"stillroom/internal/fault"
)

// Version is a version of Postgres, such as 17.5.
type Version struct{ Major, Minor int }

// String gives the version as Postgres writes it.
func (v Version) String() string { return fmt.Sprintf("%d.%d", v.Major, v.Minor) }

// binaries are the programs of one installed Postgres.
type binaries struct {
	folder  string
	version Version
}

func (b binaries) path(program string) string { return filepath.Join(b.folder, program) }

// suits says why these binaries cannot serve a data folder made by a major version (zero: a new one).
func (b binaries) suits(major int, data string) error {
	if b.version.Major < oldest {
		return fault.New(fault.Precondition, "Postgres %s in %s is too old; version %d or later is needed", b.version, b.folder, oldest)
	}
	if major != 0 && b.version.Major != major {
		return fault.New(fault.Precondition,
			"the data in %s was made by Postgres %d, but %s holds %s; install Postgres %d, or choose another folder with %s",
			data, major, b.folder, b.version, major, FolderVariable)
	}
	return nil
}

// standardPlaces are where packages put Postgres without putting it in PATH.
var standardPlaces = []string{
	"/usr/lib/postgresql/*/bin", // Debian, Ubuntu
	"/usr/pgsql-*/bin",          // RPM packages of the Postgres project
	"/usr/lib/postgresql*/bin",  // SUSE
	"/usr/libexec/postgresql*",  // Alpine
	"/opt/homebrew/opt/postgresql@*/bin",
	"/usr/local/opt/postgresql@*/bin",
	"/home/linuxbrew/.linuxbrew/opt/postgresql@*/bin",
	"/usr/local/pgsql/bin", // built from source
}

// find lists the usable installations in the order of preference: the one in PATH, the one pg_config
// tells of, then the standard places, newest first. The second result names every folder looked into
// that had a postgres, with what was wrong with it.
func find(who account, places []string) (usable []binaries, seen []string) {
	known := map[string]bool{}
	look := func(folder string) (found []binaries) {
		program, err := filepath.EvalSymlinks(filepath.Join(folder, "postgres"))
		if err != nil || known[program] {
			return nil
		}
		known[program] = true
		// Programs in PATH are often links; the folder they lead to has the others beside them.
		b, err := inspect(filepath.Dir(program), who)
		if err != nil {
			seen = append(seen, fmt.Sprintf("%s (%v)", folder, err))
			return nil
		}
		seen = append(seen, fmt.Sprintf("%s (version %s)", folder, b.version))
		if b.version.Major < oldest {
			return nil
		}
		return []binaries{b}
	}

	if path, err := exec.LookPath("postgres"); err == nil {
		usable = append(usable, look(filepath.Dir(path))...)
	}
	if out, err := exec.Command("pg_config", "--bindir").Output(); err == nil {
		usable = append(usable, look(strings.TrimSpace(string(out)))...)
	}
	var standard []binaries
	for _, pattern := range places {
		matches, _ := filepath.Glob(pattern) // the only error is a bad pattern
		for _, folder := range matches {
			standard = append(standard, look(folder)...)
		}
	}
	slices.SortStableFunc(standard, func(a, b binaries) int {
		return cmp.Or(b.version.Major-a.version.Major, b.version.Minor-a.version.Minor)
	})
	return append(usable, standard...), seen
}

var versionLine = regexp.MustCompile(`\(PostgreSQL\) (\d+)(?:\.(\d+))?`)

// inspect asks the programs in a folder for their version, as the user who would run them.
func inspect(folder string, who account) (binaries, error) {
	b := binaries{folder: folder}
	for _, program := range []string{"initdb", "postgres"} {
		if _, err := os.Stat(b.path(program)); err != nil {
			return b, fmt.Errorf("no %s there", program)
		}
		cmd := exec.Command(b.path(program), "--version")
		cmd.Dir, cmd.Env = "/", cleanEnvironment()
		who.apply(cmd)
		out, err := cmd.Output()
		if err != nil {
			return b, fmt.Errorf("user %s cannot run its %s: %w", who.name, program, errors.Join(err, stderrOf(err)))
		}
		m := versionLine.FindSubmatch(bytes.TrimSpace(out))
		if m == nil {
			return b, fmt.Errorf("its %s says %q instead of a version", program, fault.Shorten(strings.TrimSpace(string(out))))
		}
		b.version.Major, _ = strconv.Atoi(string(m[1])) // the pattern lets only digits through
		b.version.Minor, _ = strconv.Atoi(string(m[2])) // a development version has none
	}
	return b, nil
}

func stderrOf(err error) error {
	var exit *exec.ExitError
	if errors.As(err, &exit) && len(exit.Stderr) > 0 {
		return errors.New(strings.TrimSpace(string(exit.Stderr)))
	}
	return nil
}

// notFound is what to tell people when there is no Postgres to run.
func notFound(major int, data string, seen []string, cause error) error {
	what := fmt.Sprintf("Postgres %d or later", oldest)
	if major != 0 {
		what = fmt.Sprintf("Postgres %d (the version that made %s)", major, data)
	}
	looked := "none was found"
	if len(seen) > 0 {
		looked = "what was found does not do: " + strings.Join(seen, ", ")
	}
	return fault.New(fault.Precondition,
		"a database is needed and %s is not on this machine (%s; fetching it failed: %v). "+
			"Install it (Debian, Ubuntu: apt-get install postgresql; Fedora: dnf install postgresql-server; "+
			"macOS: brew install postgresql@17), or set %s to a running one",
		what, looked, cause, URLVariable).Because(cause)
}
