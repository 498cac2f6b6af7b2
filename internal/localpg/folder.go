package localpg

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"stillroom/internal/fault"
)

// takeFolder makes the data folder and locks it against other programs. The lock is the kernel's, so
// it cannot outlive the program that holds it.
func (s *Server) takeFolder(o Options) error {
	if o.Disposable {
		if o.Folder != "" {
			return fault.Field("data folder", o.Folder, "a disposable Postgres makes its own folder", "leave it empty")
		}
		who, err := chooseAccount("")
		if err != nil {
			return err
		}
		base := os.TempDir()
		if who.canEnter(base) != nil {
			base = "/tmp" // root's own temporary folder may be closed to others
		}
		folder, err := os.MkdirTemp(base, "stillroom-pg-")
		if err != nil {
			return err
		}
		// Postgres's own user must be able to pass through.
		if err := os.Chmod(folder, 0o755); err != nil {
			return err
		}
		s.folder = folder
	} else {
		folder := o.Folder
		if folder == "" {
			var err error
			if folder, err = DefaultFolder(); err != nil {
				return err
			}
		}
		folder, err := filepath.Abs(folder)
		if err != nil {
			return err
		}
		if err := os.MkdirAll(folder, 0o755); err != nil {
			return fault.Field("data folder", folder, "cannot be made: "+reason(err),
				fmt.Sprintf("name one that you may write to, with %s", FolderVariable)).Because(err)
		}
		// Links are resolved so that one folder has one name, whichever way it was given.
		if s.folder, err = filepath.EvalSymlinks(folder); err != nil {
			return err
		}
	}
	s.data = filepath.Join(s.folder, "postgres")
	return s.takeLock()
}

func (s *Server) takeLock() error {
	path := filepath.Join(s.folder, "lock")
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return fault.Field("data folder", s.folder, "cannot be written: "+reason(err),
			fmt.Sprintf("run as the user who made it, or choose another folder with %s", FolderVariable)).Because(err)
	}
	if err := lockFile(f); err != nil {
		holder, _ := os.ReadFile(path) // only to make the message better
		_ = f.Close()
		if !heldElsewhere(err) {
			return fault.Field("data folder", s.folder, "cannot be locked: "+reason(err),
				fmt.Sprintf("choose a folder on a local disk with %s", FolderVariable)).Because(err)
		}
		return fault.New(fault.Precondition,
			"another program (process %s) is using the data folder %s; stop it, or choose another folder with %s",
			strings.TrimSpace(string(holder)), s.folder, FolderVariable).Because(err)
	}
	s.lock = f
	if err := f.Truncate(0); err != nil {
		return err
	}
	_, err = f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	return err
}

// reason is the bare cause of a file error, without the path that the message names already.
func reason(err error) string {
	var pathErr *fs.PathError
	if errors.As(err, &pathErr) {
		return pathErr.Err.Error()
	}
	return err.Error()
}

// pidFile is what we read of postmaster.pid, Postgres's own lock.
type pidFile struct {
	pid   int
	ready bool
}

func readPIDFile(data string) (pidFile, bool) {
	text, err := os.ReadFile(filepath.Join(data, "postmaster.pid"))
	if err != nil {
		return pidFile{}, false
	}
	lines := strings.Split(string(text), "\n")
	pid, _ := strconv.Atoi(strings.TrimSpace(lines[0])) // zero when the file was cut short
	// The eighth line is the state, by src/include/utils/pidfile.h.
	ready := len(lines) >= 8 && strings.TrimSpace(lines[7]) == "ready"
	return pidFile{pid: pid, ready: ready}, true
}

// settle deals with what an earlier run left behind. We hold the folder's lock, so the program that
// started it has gone; what remains is one of
//
//   - a stale postmaster.pid whose process has gone: Postgres itself copes;
//   - one whose process id now belongs to some other program: Postgres would refuse to start, so the
//     file is removed, once it is sure that no process of the old Postgres is left;
//   - a Postgres of ours that outlived its program: it is ended;
//   - a Postgres that somebody else started on this folder: that is reported and left alone.
func (s *Server) settle(notice func(string)) error {
	pid, ok := readPIDFile(s.data)
	if !ok {
		return nil
	}
	if pid.pid > 0 && isPostgresOn(pid.pid, s.data) {
		if !strings.Contains(commandLine(pid.pid), clusterName) {
			return fault.New(fault.Precondition, "another Postgres (process %d) is running on %s; stop it, or choose another folder with %s",
				pid.pid, s.data, FolderVariable)
		}
		notice(fmt.Sprintf("ending a Postgres (process %d) that an earlier run left behind", pid.pid))
		if err := endStranger(pid.pid, s.data); err != nil {
			return err
		}
	}
	// Backends notice the death of their postmaster by themselves, within moments.
	for patience := time.Now().Add(lastPatience); len(postgresOn(s.data)) > 0; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(patience) {
			return fault.New(fault.Precondition, "processes %v of an earlier Postgres still use %s; end them and try again", postgresOn(s.data), s.data)
		}
	}
	if _, still := readPIDFile(s.data); still && (pid.pid <= 0 || processExists(pid.pid)) {
		notice("removing the stale lock that a crash left behind")
		return os.Remove(filepath.Join(s.data, "postmaster.pid"))
	}
	return nil
}

// endStranger ends a postmaster that is not our child.
func endStranger(pid int, data string) error {
	for _, step := range []struct {
		ask  func(int) error
		wait time.Duration
	}{{askToStop, patience}, {askToStopAtOnce, lastPatience}} {
		if err := step.ask(pid); err != nil && processExists(pid) {
			return fault.New(fault.Precondition, "cannot stop the Postgres (process %d) that an earlier run left on %s", pid, data).Because(err)
		}
		for end := time.Now().Add(step.wait); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
			if !isPostgresOn(pid, data) {
				return nil
			}
		}
	}
	return fault.New(fault.Precondition, "the Postgres (process %d) that an earlier run left on %s does not stop; end it and try again", pid, data)
}

// initialise makes the data folder of Postgres on the first run. It is made under another name and
// renamed when whole, so that a crash on the way leaves nothing that looks finished.
func (s *Server) initialise(ctx context.Context, o Options, bin binaries, who account) error {
	passwordPath := filepath.Join(s.folder, "password")
	if _, err := os.Stat(filepath.Join(s.data, "PG_VERSION")); err == nil {
		if s.throw {
			return nil
		}
		password, err := os.ReadFile(passwordPath)
		if err != nil {
			return fault.New(fault.Precondition, "the password file %s cannot be read (%s); put it back, or choose another folder with %s",
				passwordPath, reason(err), FolderVariable).Because(err)
		}
		s.password = strings.TrimSpace(string(password))
		return nil
	}

	making := s.data + ".new"
	if err := os.RemoveAll(making); err != nil {
		return err
	}
	if err := who.mkdir(making); err != nil {
		return err
	}
	args := []string{
		"-D", making, "--username", role, "--encoding", "UTF8",
		// Text is compared byte by byte, the same on every machine.
		"--locale", "C",
	}
	if s.throw {
		// The socket's folder keeps others out.
		args = append(args, "--auth", "trust", "--no-sync", "--no-instructions")
	} else {
		o.Notice("making a new data folder in " + s.folder)
		s.password = newPassword()
		if err := who.writeFile(passwordPath, s.password+"\n"); err != nil {
			return err
		}
		if o.hasty {
			args = append(args, "--no-sync")
		}
		args = append(args, "--auth", "scram-sha-256", "--pwfile", passwordPath, "--data-checksums", "--no-instructions")
	}
	cmd := exec.CommandContext(ctx, bin.path("initdb"), args...)
	cmd.Dir, cmd.Env = "/", cleanEnvironment()
	who.apply(cmd)
	if out, err := cmd.CombinedOutput(); err != nil {
		_ = os.RemoveAll(making)
		return fault.New(fault.Precondition, "initdb (version %s) could not make %s: %s", bin.version, s.data, lastLines(string(out), 5)).Because(err)
	}
	return os.Rename(making, s.data)
}

// longestSocketFolder leaves room for the socket's own name in the 104 bytes that the smallest of the
// systems' sun_path fields holds (BSD, macOS; Linux has 108).
const longestSocketFolder = 104 - len("/.s.PGSQL.5432.lock") - 1

// makeSocketFolder makes a folder that only Postgres's user can enter. It is in the data folder when
// the path is short enough, else under the system's temporary folder with a name made from the path.
func (s *Server) makeSocketFolder(who account) error {
	folder := filepath.Join(s.folder, "socket")
	if len(folder) > longestSocketFolder {
		sum := sha256.Sum256([]byte(s.folder))
		name := fmt.Sprintf("stillroom-%d-%x", who.uid, sum[:6])
		folder = filepath.Join(os.TempDir(), name)
		if len(folder) > longestSocketFolder {
			folder = filepath.Join("/tmp", name)
		}
	}
	err := who.mkdir(folder)
	if errors.Is(err, fs.ErrExist) {
		// In a folder where anybody may write, the name may have been taken by somebody else.
		err = who.owns(folder)
	}
	if err != nil {
		return fault.New(fault.Precondition, "cannot use %s for the database socket: %s; remove it and try again", folder, reason(err)).Because(err)
	}
	s.socket = folder
	return nil
}
