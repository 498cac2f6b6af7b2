package localpg

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"time"
)

// process is a child whose end can be awaited by many.
type process struct {
	pid  int
	done chan struct{} // closed once it has ended
}

// startProcess starts a command as a user, in a session of its own: Ctrl-C in a terminal goes to
// every process of the foreground group, and the database must outlive the work that is being wound up.
//
// Where the system can (Linux), the child is told to end when its parent dies. The kernel watches the
// thread that made the child rather than the process, hence the goroutine that keeps its thread for as
// long as the child lives.
func startProcess(cmd *exec.Cmd, who account, disposable bool) (*process, error) {
	who.apply(cmd)
	detach(cmd, disposable)
	p := &process{done: make(chan struct{})}
	started := make(chan error)
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		if err := cmd.Start(); err != nil {
			started <- err
			return
		}
		p.pid = cmd.Process.Pid
		started <- nil
		_ = cmd.Wait() // how it ended is in its log
		close(p.done)
	}()
	if err := <-started; err != nil {
		return nil, err
	}
	return p, nil
}

// end stops Postgres, asking harder each time it does not listen. atOnce skips writing everything out.
func (p *process) end(atOnce bool) error {
	steps := []struct {
		ask  func(int) error
		wait time.Duration
	}{{askToStop, patience}, {askToStopAtOnce, lastPatience}, {kill, lastPatience}}
	if atOnce {
		steps = steps[1:]
	}
	var errs []error
	for _, step := range steps {
		select {
		case <-p.done: // its process id may be somebody else's by now
			return nil
		default:
		}
		if err := step.ask(p.pid); err != nil {
			errs = append(errs, err)
		}
		select {
		case <-p.done:
			return nil
		case <-time.After(step.wait):
		}
	}
	return errors.Join(append(errs, errors.New("the private Postgres (process "+strconv.Itoa(p.pid)+") does not end"))...)
}

// watchdog is a small process that outlives the program by a moment: when the program's end of a pipe
// closes without a word, it ends Postgres and deletes the disposable folder.
type watchdog struct {
	word io.WriteCloser
	cmd  *exec.Cmd
}

// $1 is the process to end, $2 Postgres's own data folder, $3 the folder to delete, if any. A process
// is asked to end only while the data folder says that it is its postmaster, since a process id can be
// given to another once Postgres has ended.
const watchdogScript = `
read -r word
[ "$word" = done ] && exit 0
signal=INT
[ -n "$3" ] && signal=QUIT
asked= tries=0
while kill -0 "$1" 2>/dev/null && [ "$tries" -lt 200 ]; do
	if [ -z "$asked" ] && read -r pid <"$2/postmaster.pid" && [ "$pid" = "$1" ]; then
		kill -s "$signal" "$1"
		asked=yes
	fi
	sleep 0.05
	tries=$((tries + 1))
done
[ -n "$3" ] && rm -rf -- "$3"
exit 0
`

func startWatchdog(pid int, data, disposable string) (*watchdog, error) {
	read, write, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	cmd := exec.Command("/bin/sh", "-c", watchdogScript, "sh", strconv.Itoa(pid), data, disposable)
	cmd.Dir, cmd.Stdin = "/", read
	cmd.Env = cleanEnvironment()
	newSession(cmd)
	err = cmd.Start()
	_ = read.Close()
	if err != nil {
		_ = write.Close()
		return nil, err
	}
	return &watchdog{word: write, cmd: cmd}, nil
}

// dismiss sends the watchdog home after Postgres has ended.
func (w *watchdog) dismiss() {
	if w.cmd == nil {
		return
	}
	_, _ = io.WriteString(w.word, "done\n") // if it is gone already, so much the better
	_ = w.word.Close()
	_ = w.cmd.Wait()
	w.cmd = nil
}
