// Package localpg runs a private Postgres for a program that was given no database: the server, the
// demo and the tests.
//
// Start finds Postgres on the machine (or has it fetched), makes its data folder on the first run,
// starts it on a Unix socket that only the owner can reach, and hands out connection strings:
//
//	pg, err := localpg.Start(ctx, localpg.Options{Folder: folder})
//	if err != nil { … }
//	defer pg.Stop()
//	url, err := pg.Database(ctx, "stillroom")
//
// Postgres lives no longer than the program. Stop ends it; so does the end of the program by any other
// way, a kill that cannot be caught included. A program that was ended that way leaves nothing to
// tidy up by hand: the next Start recovers.
//
// Data written to a Folder is as durable as Postgres makes it. A Disposable one trades that for speed
// and is deleted at Stop; it is for tests (see the package pgtest).
package localpg

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"

	"stillroom/internal/fault"
)

// FolderVariable is the environment variable that names the data folder.
const FolderVariable = "STILLROOM_DATA"

// URLVariable is the environment variable that names a database to use instead of a private one.
// This package does not read it; the programs that call Start do, to know whether they need to.
const URLVariable = "STILLROOM_DATABASE_URL"

// oldest is the oldest major version of Postgres that will do.
const oldest = 15

// role is the database role that owns everything in a private Postgres.
const role = "stillroom"

// Options say where and how to run. The zero value runs in DefaultFolder with binaries found on the machine.
type Options struct {
	// Folder is the data folder, made when missing. Empty means DefaultFolder.
	Folder string
	// Disposable asks for a fast Postgres in a new temporary folder that Stop deletes. Nothing in it
	// survives a crash. Folder must then be empty.
	Disposable bool
	// BinFolder holds the postgres and initdb programs to use. Empty means: look for them, then fetch them.
	BinFolder string
	// FetchFolder is where fetched binaries are kept. Empty means a folder in the user's cache.
	FetchFolder string
	// FetchFrom is the repository that binaries are fetched from. Empty means the fetching library's default.
	FetchFrom string
	// Notice receives a line for people when something takes long (the first start, a fetch, a recovery).
	// Nil means nobody wants to know.
	Notice func(line string)

	// hasty leaves the making of a new folder to the system's own pace of writing to disk, for tests.
	hasty bool
}

// Server is a running private Postgres.
type Server struct {
	folder   string // of the program: lock, log, password
	data     string // of Postgres
	socket   string // folder of the socket
	password string
	version  Version
	throw    bool // disposable

	lock     *os.File
	process  *process
	watchdog *watchdog

	stop    sync.Once
	stopErr error
}

// DefaultFolder is where data is kept when nobody says otherwise: $STILLROOM_DATA, else a folder
// "stillroom" where this system keeps a user's data. For root that is /var/lib, because Postgres
// then runs as another user, who cannot enter root's home.
func DefaultFolder() (string, error) {
	if folder := os.Getenv(FolderVariable); folder != "" {
		return filepath.Abs(folder)
	}
	if os.Geteuid() == 0 {
		return "/var/lib/stillroom", nil
	}
	if folder := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(folder) {
		return filepath.Join(folder, "stillroom"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fault.New(fault.Precondition, "no home folder to keep data in; set %s to a folder", FolderVariable).Because(err)
	}
	if runtime.GOOS == "darwin" {
		return filepath.Join(home, "Library", "Application Support", "stillroom"), nil
	}
	return filepath.Join(home, ".local", "share", "stillroom"), nil
}

// Start starts a private Postgres and waits until it accepts connections. Cancelling ctx gives up
// starting; once started, only Stop ends it. What goes wrong comes back as a fault whose message says
// what to do: a folder in use by another program, no Postgres to be found, a folder that Postgres's
// user cannot enter.
func Start(ctx context.Context, o Options) (_ *Server, err error) {
	if !supported {
		return nil, fault.New(fault.Precondition, "a private Postgres cannot be run on %s; set %s to a Postgres %d or later",
			runtime.GOOS, URLVariable, oldest)
	}
	if o.Notice == nil {
		o.Notice = func(string) {}
	}
	s := &Server{throw: o.Disposable}
	defer func() {
		if err != nil {
			s.release()
		}
	}()

	if err := s.takeFolder(o); err != nil {
		return nil, err
	}
	who, err := chooseAccount(s.data)
	if err != nil {
		return nil, err
	}
	if err := who.canEnter(s.folder); err != nil {
		return nil, err
	}
	// The owner of the data may run the program too, after root has.
	if err := who.own(s.lock.Name()); err != nil {
		return nil, err
	}
	if err := s.settle(o.Notice); err != nil {
		return nil, err
	}
	bin, err := s.binaries(ctx, o, who)
	if err != nil {
		return nil, err
	}
	s.version = bin.version
	if err := s.initialise(ctx, o, bin, who); err != nil {
		return nil, err
	}
	if err := s.makeSocketFolder(who); err != nil {
		return nil, err
	}
	if err := s.run(ctx, bin, who); err != nil {
		return nil, err
	}
	return s, nil
}

// Folder is the data folder of this server.
func (s *Server) Folder() string { return s.folder }

// Version is the version of the running Postgres.
func (s *Server) Version() Version { return s.version }

// PID is the process id of the running Postgres.
func (s *Server) PID() int { return s.process.pid }

// Done is closed when Postgres has ended, whether by Stop or of itself.
func (s *Server) Done() <-chan struct{} { return s.process.done }

// URL is the connection string of a database, which need not exist. It holds the password.
func (s *Server) URL(database string) string {
	user := url.User(role)
	if s.password != "" {
		user = url.UserPassword(role, s.password)
	}
	u := url.URL{
		Scheme:   "postgres",
		User:     user,
		Path:     "/" + database,
		RawQuery: url.Values{"host": {s.socket}, "sslmode": {"disable"}}.Encode(),
	}
	return u.String()
}

// Database creates a database unless it exists, and gives its connection string.
func (s *Server) Database(ctx context.Context, name string) (string, error) {
	conn, err := pgx.Connect(ctx, s.URL("postgres"))
	if err != nil {
		return "", fault.New(fault.Unavailable, "the private Postgres in %s does not answer; its log is %s", s.folder, s.logPath()).Because(err)
	}
	defer func() { _ = conn.Close(context.WithoutCancel(ctx)) }()
	var exists bool
	if err := conn.QueryRow(ctx, "SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)", name).Scan(&exists); err != nil {
		return "", fmt.Errorf("look for database %s: %w", name, err)
	}
	if !exists {
		if _, err := conn.Exec(ctx, "CREATE DATABASE "+pgx.Identifier{name}.Sanitize()); err != nil {
			return "", fmt.Errorf("create database %s: %w", name, err)
		}
	}
	return s.URL(name), nil
}

// How long Stop waits for each way of asking before it asks harder.
const (
	patience     = 10 * time.Second // for a shutdown that writes everything out
	lastPatience = 5 * time.Second  // for one that leaves recovery to the next start
)

// Stop ends Postgres and waits until it has ended. Sessions still open are cut off and their
// transactions rolled back. Further calls return what the first did.
func (s *Server) Stop() error {
	s.stop.Do(func() {
		s.stopErr = s.process.end(s.throw)
		s.release()
	})
	return s.stopErr
}

// release gives back all that was taken, in the reverse order. It copes with a half-started server.
func (s *Server) release() {
	if s.process != nil {
		_ = s.process.end(true)
	}
	if s.watchdog != nil {
		s.watchdog.dismiss()
	}
	if s.socket != "" && filepath.Dir(s.socket) != s.folder {
		_ = os.RemoveAll(s.socket)
	}
	if s.lock != nil {
		_ = s.lock.Close()
	}
	if s.throw && s.folder != "" {
		_ = os.RemoveAll(s.folder)
	}
}

func (s *Server) logPath() string { return filepath.Join(s.folder, "postgres.log") }

// run starts Postgres on an initialised folder and waits until it is ready.
func (s *Server) run(ctx context.Context, bin binaries, who account) error {
	log, err := openLog(s.logPath(), who)
	if err != nil {
		return err
	}
	defer func() { _ = log.Close() }()
	started, err := log.Seek(0, io.SeekEnd)
	if err != nil {
		return err
	}

	args := []string{"-D", s.data, "-k", s.socket}
	for _, setting := range settings(s.throw) {
		args = append(args, "-c", setting)
	}
	cmd := exec.Command(bin.path("postgres"), args...)
	cmd.Dir = s.data
	cmd.Env = cleanEnvironment()
	cmd.Stdout, cmd.Stderr = log, log

	deadline := time.After(startPatience)
	for {
		s.process, err = startProcess(cmd, who, s.throw)
		if err != nil {
			return fault.New(fault.Precondition, "%s could not be run as user %s", cmd.Path, who.name).Because(err)
		}
		if s.throw || !diesWithParent {
			folder := ""
			if s.throw {
				folder = s.folder
			}
			if s.watchdog, err = startWatchdog(s.process.pid, s.data, folder); err != nil {
				return fmt.Errorf("start a watchdog for Postgres: %w", err)
			}
		}
		err = s.awaitReady(ctx, deadline)
		if err == nil {
			return nil
		}
		text := readFrom(s.logPath(), started)
		// What is left of a Postgres that was killed hard takes a moment to notice.
		if !strings.Contains(text, "pre-existing shared memory block") || ctx.Err() != nil {
			return fault.New(fault.Precondition, "the private Postgres in %s did not start (%v); its log %s ends: %s",
				s.folder, err, s.logPath(), lastLines(text, 5)).Because(err)
		}
		if s.watchdog != nil {
			s.watchdog.dismiss()
		}
		select {
		case <-time.After(200 * time.Millisecond):
		case <-deadline:
			return fault.New(fault.Precondition, "processes of an earlier Postgres still hold %s; end them and try again", s.data)
		}
		next := exec.Command(cmd.Path, args...)
		next.Dir, next.Env, next.Stdout, next.Stderr = cmd.Dir, cmd.Env, log, log
		cmd = next
		if started, err = log.Seek(0, io.SeekEnd); err != nil {
			return err
		}
	}
}

// startPatience bounds a start. Recovery after a crash replays at most a few hundred megabytes.
const startPatience = 2 * time.Minute

// settings are those in which a private Postgres differs from the defaults, and those that must not be
// otherwise whatever postgresql.conf says.
func settings(disposable bool) []string {
	common := []string{
		"listen_addresses=",
		"unix_socket_permissions=0700",
		"cluster_name=" + clusterName,
		"logging_collector=off",
		"log_destination=stderr",
		"timezone=UTC",
		"log_timezone=UTC",
		"max_connections=200",
	}
	if disposable {
		return append(common,
			"fsync=off", "synchronous_commit=off", "full_page_writes=off",
			"wal_level=minimal", "max_wal_senders=0", "autovacuum=off", "shared_buffers=64MB")
	}
	return append(common, "fsync=on", "synchronous_commit=on", "full_page_writes=on")
}

// clusterName marks our own processes in the list of the system's; see settle.
const clusterName = "stillroom-private"

func (s *Server) awaitReady(ctx context.Context, deadline <-chan time.Time) error {
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for {
		if pid, ok := readPIDFile(s.data); ok && pid.pid == s.process.pid && pid.ready {
			conn, err := pgx.Connect(ctx, s.URL("postgres"))
			if err != nil {
				return fmt.Errorf("it refuses our connection: %w", err)
			}
			return conn.Close(ctx)
		}
		select {
		case <-s.process.done:
			return errors.New("it ended at once")
		case <-ctx.Done():
			return ctx.Err()
		case <-deadline:
			return fmt.Errorf("it was not ready within %v", startPatience)
		case <-tick.C:
		}
	}
}

// binaries finds the programs for this folder, or fetches them.
func (s *Server) binaries(ctx context.Context, o Options, who account) (binaries, error) {
	major, err := dataVersion(s.data)
	if err != nil {
		return binaries{}, err
	}
	if o.BinFolder != "" {
		b, err := inspect(o.BinFolder, who)
		if err != nil {
			return binaries{}, fault.Field("Postgres folder", o.BinFolder, err.Error(),
				fmt.Sprintf("name a folder with postgres and initdb of version %d or later that user %s may run", oldest, who.name)).Because(err)
		}
		return b, b.suits(major, s.data)
	}
	found, seen := find(who, standardPlaces)
	for _, b := range found {
		if b.suits(major, s.data) == nil {
			return b, nil
		}
	}
	b, err := fetch(ctx, o, major, who)
	if err != nil {
		return binaries{}, notFound(major, s.data, seen, err)
	}
	return b, nil
}

// newPassword is 128 random bits in letters and digits.
func newPassword() string { return rand.Text() }

// openLog opens the server's log, started anew when it has grown long.
func openLog(path string, who account) (*os.File, error) {
	const long = 8 << 20 // bytes
	flags := os.O_CREATE | os.O_WRONLY | os.O_APPEND
	if info, err := os.Stat(path); err == nil && info.Size() > long {
		flags |= os.O_TRUNC
	}
	f, err := os.OpenFile(path, flags, 0o600)
	if err != nil {
		return nil, fault.New(fault.Precondition, "cannot write the log %s; check who owns the folder", path).Because(err)
	}
	if err := who.own(path); err != nil {
		_ = f.Close()
		return nil, err
	}
	return f, nil
}

func readFrom(path string, offset int64) string {
	text, err := os.ReadFile(path)
	if err != nil || int64(len(text)) < offset {
		return ""
	}
	return string(text[offset:])
}

func lastLines(text string, n int) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	if len(lines) > n {
		lines = lines[len(lines)-n:]
	}
	return strings.Join(lines, " | ")
}

// cleanEnvironment is the program's environment without what would steer Postgres's own programs.
func cleanEnvironment() []string {
	var env []string
	for _, pair := range os.Environ() {
		name, _, _ := strings.Cut(pair, "=")
		if strings.HasPrefix(name, "PG") || strings.HasPrefix(name, "LC_") || name == "LANG" || name == "LANGUAGE" {
			continue
		}
		env = append(env, pair)
	}
	return append(env, "LC_ALL=C")
}

// dataVersion is the major version of the Postgres that made a data folder, zero when there is none yet.
func dataVersion(data string) (int, error) {
	text, err := os.ReadFile(filepath.Join(data, "PG_VERSION"))
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, fault.New(fault.Precondition, "cannot read the data in %s; run as the user who made it, or choose another folder with %s",
			data, FolderVariable).Because(err)
	}
	major, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		return 0, fault.New(fault.Precondition, "%s does not look like a Postgres data folder: PG_VERSION says %q", data, fault.Shorten(string(text)))
	}
	return major, nil
}
