//go:build linux || darwin || freebsd || netbsd || openbsd

package localpg

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"os/user"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"stillroom/internal/fault"
)

// programVariable makes this test binary behave as a program that runs a private Postgres; see TestMain.
const programVariable = "LOCALPG_TEST_PROGRAM"

func TestMain(m *testing.M) {
	if mode := os.Getenv(programVariable); mode != "" {
		if err := program(mode); err != nil {
			fmt.Println("error:", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// program starts Postgres, says so in one line, and waits to be interrupted.
func program(mode string) error {
	ctx, cancel := signal.NotifyContext(context.Background(), os.Interrupt)
	defer cancel()
	o := Options{Folder: os.Getenv(FolderVariable), hasty: true}
	if mode == "disposable" {
		o = Options{Disposable: true}
	}
	pg, err := Start(ctx, o)
	if err != nil {
		return err
	}
	fmt.Println("ready", pg.PID(), pg.Folder(), pg.URL("postgres"))
	<-ctx.Done()
	return pg.Stop()
}

// openFolder is a new folder that Postgres's user can enter, unlike t.TempDir when run as root.
func openFolder(t testing.TB) string {
	t.Helper()
	base := ""
	if os.Geteuid() == 0 {
		base = "/tmp"
	}
	folder, err := os.MkdirTemp(base, "localpg-test-")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(folder, 0o755))
	folder, err = filepath.EvalSymlinks(folder)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(folder)) })
	return folder
}

func start(t testing.TB, o Options) *Server {
	t.Helper()
	pg, err := Start(t.Context(), o)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, pg.Stop()) })
	return pg
}

func query[T any](t testing.TB, url, sql string) T {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer func() { require.NoError(t, conn.Close(context.Background())) }()
	var v T
	require.NoError(t, conn.QueryRow(t.Context(), sql).Scan(&v))
	return v
}

func exe(t testing.TB, url, sql string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer func() { require.NoError(t, conn.Close(context.Background())) }()
	_, err = conn.Exec(t.Context(), sql)
	require.NoError(t, err)
}

// gone waits until a process has ended. A zombie has ended: it only waits for its parent to notice.
func gone(t testing.TB, pid int) {
	t.Helper()
	require.Eventually(t, func() bool {
		if !processExists(pid) {
			return true
		}
		out, err := exec.Command("ps", "-o", "state=", "-p", strconv.Itoa(pid)).Output()
		return err != nil || strings.HasPrefix(strings.TrimSpace(string(out)), "Z")
	}, 20*time.Second, 20*time.Millisecond, "process %d is still there", pid)
}

func TestSecondRunReusesTheData(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(openFolder(t), "not", "yet", "made")
	var notices []string
	o := Options{Folder: folder, Notice: func(line string) { notices = append(notices, line) }}

	first, err := Start(t.Context(), o)
	require.NoError(t, err)
	require.Equal(t, []string{"making a new data folder in " + folder}, notices)
	url, err := first.Database(t.Context(), "stillroom")
	require.NoError(t, err)
	exe(t, url, "CREATE TABLE shelf (jars int); INSERT INTO shelf VALUES (7)")
	require.NoError(t, first.Stop())
	gone(t, first.PID())
	require.NoError(t, first.Stop(), "a second Stop is harmless")

	second := start(t, o)
	url, err = second.Database(t.Context(), "stillroom")
	require.NoError(t, err)
	require.Equal(t, 7, query[int](t, url, "SELECT jars FROM shelf"))
	require.Len(t, notices, 1, "nothing is made anew")
	require.NoError(t, second.Stop())
	left, err := filepath.Glob(filepath.Join(folder, "postgres", "postmaster.pid"))
	require.NoError(t, err)
	require.Empty(t, left)
}

// The settings that durability rests on, by the chapter "Write Ahead Log" of Postgres's manual; and no
// way in but the socket, in a folder closed to others, with a password.
func TestDurableAndClosed(t *testing.T) {
	t.Parallel()
	pg := start(t, Options{Folder: openFolder(t), hasty: true})
	url := pg.URL("postgres")
	for setting, want := range map[string]string{
		"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on", "data_checksums": "on",
		"listen_addresses": "", "TimeZone": "UTC", "server_encoding": "UTF8",
	} {
		require.Equal(t, want, query[string](t, url, "SHOW "+setting), setting)
	}
	major, err := strconv.Atoi(query[string](t, url, "SHOW server_version_num"))
	require.NoError(t, err)
	require.Equal(t, major/10000, pg.Version().Major)

	info, err := os.Stat(pg.socket)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o700), info.Mode().Perm())
	_, err = pgx.Connect(t.Context(), strings.Replace(url, pg.password, "guess", 1))
	require.ErrorContains(t, err, "password authentication failed")
}

func TestSecondProgramIsRefused(t *testing.T) {
	t.Parallel()
	pg := start(t, Options{Folder: openFolder(t), hasty: true})
	_, err := Start(t.Context(), Options{Folder: pg.Folder()})
	require.Equal(t, fault.Precondition, fault.KindOf(err))
	require.ErrorContains(t, err, fmt.Sprintf("another program (process %d) is using the data folder %s", os.Getpid(), pg.Folder()))
	require.ErrorContains(t, err, FolderVariable)
	require.Equal(t, 1, query[int](t, pg.URL("postgres"), "SELECT 1"), "the first goes on")
}

// runProgram runs this test binary as a program of its own until the test ends.
func runProgram(t *testing.T, mode, folder string) (cmd *exec.Cmd, pid int, dataFolder, url string) {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	cmd = exec.Command(self)
	cmd.Env = append(os.Environ(), programVariable+"="+mode, FolderVariable+"="+folder)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	_, err = fmt.Sscanf(line, "ready %d %s %s", &pid, &dataFolder, &url)
	require.NoError(t, err, line)
	return cmd, pid, dataFolder, url
}

// Ctrl-C in a terminal interrupts every process of the group; Postgres must end by the program's doing.
func TestInterruptStopsPostgres(t *testing.T) {
	t.Parallel()
	cmd, pid, folder, _ := runProgram(t, "durable", openFolder(t))
	require.NoError(t, syscall.Kill(-cmd.Process.Pid, syscall.SIGINT))
	require.NoError(t, cmd.Wait(), "the program ends as it should")
	require.False(t, processExists(pid))
	log, err := os.ReadFile(filepath.Join(folder, "postgres.log"))
	require.NoError(t, err)
	require.Contains(t, string(log), "database system is shut down")
}

// A program that is killed takes Postgres with it, and the next run has all that was committed.
func TestKillStopsPostgresAndDataSurvives(t *testing.T) {
	t.Parallel()
	cmd, pid, folder, url := runProgram(t, "durable", openFolder(t))
	exe(t, url, "CREATE TABLE shelf (jars int); INSERT INTO shelf VALUES (11)")
	require.NoError(t, cmd.Process.Kill())
	gone(t, pid)
	pg := start(t, Options{Folder: folder, hasty: true})
	require.Equal(t, 11, query[int](t, pg.URL("postgres"), "SELECT jars FROM shelf"))
}

func TestKillDeletesDisposableFolder(t *testing.T) {
	t.Parallel()
	cmd, pid, folder, _ := runProgram(t, "disposable", "")
	require.DirExists(t, folder)
	require.NoError(t, cmd.Process.Kill())
	gone(t, pid)
	require.Eventually(t, func() bool {
		_, err := os.Stat(folder)
		return errors.Is(err, os.ErrNotExist)
	}, 20*time.Second, 20*time.Millisecond)
}

// crash leaves a folder as after a power cut: killed outright, with its lock file in place.
func crash(t *testing.T, folder string) {
	t.Helper()
	pg, err := Start(t.Context(), Options{Folder: folder, hasty: true})
	require.NoError(t, err)
	exe(t, pg.URL("postgres"), "CREATE TABLE shelf (jars int); INSERT INTO shelf VALUES (13)")
	require.NoError(t, kill(pg.PID()))
	<-pg.Done()
	require.NoError(t, pg.Stop())
	require.FileExists(t, filepath.Join(folder, "postgres", "postmaster.pid"))
}

func TestStaleLockIsRecovered(t *testing.T) {
	t.Parallel()
	folder := openFolder(t)
	crash(t, folder)
	pg := start(t, Options{Folder: folder, hasty: true})
	require.Equal(t, 13, query[int](t, pg.URL("postgres"), "SELECT jars FROM shelf"))
}

// Process ids are given out again: the lock may name a process that has nothing to do with us.
func TestStaleLockNamingAnotherProcessIsRecovered(t *testing.T) {
	t.Parallel()
	folder := openFolder(t)
	crash(t, folder)

	who, err := chooseAccount(filepath.Join(folder, "postgres"))
	require.NoError(t, err)
	other := exec.Command("sleep", "600")
	other.Dir = "/"
	who.apply(other) // Postgres minds only processes of its own user
	require.NoError(t, other.Start())
	t.Cleanup(func() {
		_ = other.Process.Kill()
		_ = other.Wait()
	})
	lock := filepath.Join(folder, "postgres", "postmaster.pid")
	text, err := os.ReadFile(lock)
	require.NoError(t, err)
	_, rest, _ := strings.Cut(string(text), "\n")
	require.NoError(t, os.WriteFile(lock, []byte(strconv.Itoa(other.Process.Pid)+"\n"+rest), 0o600))

	pg := start(t, Options{Folder: folder, hasty: true})
	require.Equal(t, 13, query[int](t, pg.URL("postgres"), "SELECT jars FROM shelf"))
	require.True(t, processExists(other.Process.Pid), "the other process is left alone")
}

// leave runs a Postgres on a folder as if its program had gone without it.
func leave(t *testing.T, folder string, more ...string) *process {
	t.Helper()
	pg, err := Start(t.Context(), Options{Folder: folder, hasty: true})
	require.NoError(t, err)
	require.NoError(t, pg.Stop())
	who, err := chooseAccount(pg.data)
	require.NoError(t, err)
	usable, _ := find(who, standardPlaces)
	require.NotEmpty(t, usable)
	require.NoError(t, who.mkdir(filepath.Join(folder, "elsewhere")))
	args := append([]string{"-D", pg.data, "-c", "listen_addresses=", "-k", filepath.Join(folder, "elsewhere")}, more...)
	cmd := exec.Command(usable[0].path("postgres"), args...)
	cmd.Dir, cmd.Env = "/", cleanEnvironment()
	p, err := startProcess(cmd, who, false)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, p.end(true)) })
	require.Eventually(t, func() bool {
		pid, ok := readPIDFile(pg.data)
		return ok && pid.pid == p.pid && pid.ready
	}, 20*time.Second, 20*time.Millisecond)
	return p
}

func TestOwnPostgresLeftBehindIsEnded(t *testing.T) {
	t.Parallel()
	folder := openFolder(t)
	left := leave(t, folder, "-c", "cluster_name="+clusterName)
	var notices []string
	pg := start(t, Options{Folder: folder, hasty: true, Notice: func(line string) { notices = append(notices, line) }})
	require.Equal(t, 1, query[int](t, pg.URL("postgres"), "SELECT 1"))
	<-left.done
	require.Len(t, notices, 1)
	require.Contains(t, notices[0], strconv.Itoa(left.pid))
}

func TestForeignPostgresIsLeftAlone(t *testing.T) {
	t.Parallel()
	folder := openFolder(t)
	foreign := leave(t, folder)
	_, err := Start(t.Context(), Options{Folder: folder, hasty: true})
	require.Equal(t, fault.Precondition, fault.KindOf(err))
	require.ErrorContains(t, err, fmt.Sprintf("another Postgres (process %d)", foreign.pid))
	require.True(t, processExists(foreign.pid))
}

func TestDoneTellsOfADeath(t *testing.T) {
	t.Parallel()
	pg := start(t, Options{Disposable: true})
	select {
	case <-pg.Done():
		t.Fatal("it has only just started")
	default:
	}
	require.NoError(t, kill(pg.PID()))
	<-pg.Done()
}

// A first run that was cut short leaves a folder that is not finished; the next run makes it anew.
func TestUnfinishedFolderIsMadeAnew(t *testing.T) {
	t.Parallel()
	folder := openFolder(t)
	half := filepath.Join(folder, "postgres.new", "base")
	require.NoError(t, os.MkdirAll(half, 0o700))
	pg := start(t, Options{Folder: folder, hasty: true})
	require.Equal(t, 1, query[int](t, pg.URL("postgres"), "SELECT 1"))
	require.NoDirExists(t, filepath.Join(folder, "postgres.new"))
}

// A Unix socket's path has little more than a hundred bytes.
func TestDeepFolderHasItsSocketElsewhere(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(openFolder(t), strings.Repeat("deep/", 30))
	pg := start(t, Options{Folder: folder, hasty: true})
	require.NotEqual(t, folder, filepath.Dir(pg.socket))
	require.Equal(t, 1, query[int](t, pg.URL("postgres"), "SELECT 1"))
	socket := pg.socket
	require.NoError(t, pg.Stop())
	require.NoDirExists(t, socket)
}

func TestLostPasswordIsReported(t *testing.T) {
	t.Parallel()
	folder := openFolder(t)
	require.NoError(t, start(t, Options{Folder: folder, hasty: true}).Stop())
	require.NoError(t, os.Remove(filepath.Join(folder, "password")))
	_, err := Start(t.Context(), Options{Folder: folder, hasty: true})
	require.ErrorContains(t, err, filepath.Join(folder, "password"))
	require.ErrorContains(t, err, "no such file")
}

// What Postgres itself complains of reaches the reader, with the place of the log.
func TestRefusalToStartIsReported(t *testing.T) {
	t.Parallel()
	folder := openFolder(t)
	require.NoError(t, start(t, Options{Folder: folder, hasty: true}).Stop())
	config, err := os.OpenFile(filepath.Join(folder, "postgres", "postgresql.conf"), os.O_APPEND|os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = io.WriteString(config, "\nno_such_setting = 1\n")
	require.NoError(t, errors.Join(err, config.Close()))
	_, err = Start(t.Context(), Options{Folder: folder, hasty: true})
	require.Equal(t, fault.Precondition, fault.KindOf(err))
	require.ErrorContains(t, err, "no_such_setting")
	require.ErrorContains(t, err, filepath.Join(folder, "postgres.log"))
}

func TestCancelledStartLeavesNothing(t *testing.T) {
	t.Parallel()
	folder := openFolder(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := Start(ctx, Options{Folder: folder, hasty: true})
	require.Error(t, err)
	require.Empty(t, postgresOn(filepath.Join(folder, "postgres")))
	require.Equal(t, 1, query[int](t, start(t, Options{Folder: folder, hasty: true}).URL("postgres"), "SELECT 1"), "the folder is free again")
}

func TestRootsPostgresRunsAsAnotherUser(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("not root: Postgres runs as the user who runs this test")
	}
	pg := start(t, Options{Folder: openFolder(t), hasty: true})
	for _, path := range []string{pg.data, pg.socket, filepath.Join(pg.folder, "password")} {
		uid, _, err := ownerOf(path)
		require.NoError(t, err)
		require.NotZero(t, uid, path)
	}
	uid, _, err := ownerOf(filepath.Join("/proc", strconv.Itoa(pg.PID())))
	if runtime.GOOS == "linux" {
		require.NoError(t, err)
		require.NotZero(t, uid)
	}
}

// What a normal user made stays that user's, also after root has run on it.
func TestRootRunsOnANormalUsersFolder(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("only root can run on the folder of another")
	}
	const someone = 54321 // no account has this id, as in a container
	folder := openFolder(t)
	require.NoError(t, os.Chown(folder, someone, someone))
	pg := start(t, Options{Folder: folder, hasty: true})
	require.NoError(t, pg.Stop())
	require.NoError(t, exec.Command("chown", "-R", fmt.Sprintf("%d:%d", someone, someone), folder).Run())

	pg = start(t, Options{Folder: folder, hasty: true})
	require.Equal(t, 1, query[int](t, pg.URL("postgres"), "SELECT 1"))
	require.NoError(t, pg.Stop())
	require.NoError(t, filepath.WalkDir(folder, func(path string, _ os.DirEntry, err error) error {
		require.NoError(t, err)
		uid, _, err := ownerOf(path)
		require.Equal(t, someone, uid, path)
		return err
	}))
}

func TestRootIsToldOfAFolderPostgresCannotEnter(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("not root: Postgres runs as the user who runs this test")
	}
	closed := filepath.Join(openFolder(t), "closed")
	require.NoError(t, os.Mkdir(closed, 0o700))
	_, err := Start(t.Context(), Options{Folder: filepath.Join(closed, "data")})
	require.Equal(t, fault.Invalid, fault.KindOf(err))
	require.ErrorContains(t, err, "cannot enter "+closed+";")
	require.ErrorContains(t, err, FolderVariable)
}

func TestUserIsToldOfAFolderOfRoots(t *testing.T) {
	t.Parallel()
	if os.Geteuid() == 0 {
		t.Skip("root may write anywhere; TestAsANormalUser runs this one")
	}
	_, err := Start(t.Context(), Options{Folder: "/stillroom-data"})
	require.Equal(t, fault.Invalid, fault.KindOf(err))
	require.ErrorContains(t, err, `"/stillroom-data": cannot be made: permission denied`)
	require.ErrorContains(t, err, FolderVariable)
}

// TestAsANormalUser runs those of these tests in which the user matters once more, as one without privileges.
func TestAsANormalUser(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("these tests are being run by a normal user already")
	}
	nobody, err := user.Lookup("nobody")
	require.NoError(t, err)
	uid, err := strconv.Atoi(nobody.Uid)
	require.NoError(t, err)
	gid, err := strconv.Atoi(nobody.Gid)
	require.NoError(t, err)

	// The go command builds test binaries where only the builder can enter.
	self, err := os.Executable()
	require.NoError(t, err)
	program, err := os.ReadFile(self)
	require.NoError(t, err)
	folder := openFolder(t)
	copied := filepath.Join(folder, "localpg.test")
	require.NoError(t, os.WriteFile(copied, program, 0o755))
	home := filepath.Join(folder, "home")
	require.NoError(t, os.Mkdir(home, 0o700))
	require.NoError(t, os.Chown(home, uid, gid))

	cmd := exec.Command(copied, "-test.v", "-test.timeout=5m",
		"-test.run=SecondRun|Durable|SecondProgram|Interrupt|Kill|StaleLock|LeftBehind|Deep|Fetched|FolderOfRoots")
	cmd.Dir = home
	cmd.Env = append(os.Environ(), "HOME="+home, "TMPDIR=/tmp", "USER=nobody", "XDG_DATA_HOME=", "XDG_CACHE_HOME=")
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	require.Contains(t, string(out), "--- PASS: TestSecondRunReusesTheData")
	require.Contains(t, string(out), "--- PASS: TestUserIsToldOfAFolderOfRoots")
}

func BenchmarkStart(b *testing.B) {
	for b.Loop() {
		pg, err := Start(b.Context(), Options{Disposable: true})
		require.NoError(b, err)
		require.NoError(b, pg.Stop())
	}
}
