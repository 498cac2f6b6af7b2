package localpg

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
)

// diesWithParent says whether the system ends Postgres when the program dies.
const diesWithParent = true

func detach(cmd *exec.Cmd, disposable bool) {
	newSession(cmd)
	a := attributes(cmd)
	a.Pdeathsig = syscall.SIGINT
	if disposable {
		a.Pdeathsig = syscall.SIGQUIT
	}
}

// isPostgresOn says whether a process is part of a Postgres on a data folder: all of them work there.
func isPostgresOn(pid int, data string) bool {
	proc := filepath.Join("/proc", strconv.Itoa(pid))
	cwd, err := os.Readlink(filepath.Join(proc, "cwd"))
	if err != nil || cwd != data {
		return false
	}
	name, err := os.ReadFile(filepath.Join(proc, "comm"))
	return err == nil && bytes.HasPrefix(name, []byte("postgres"))
}

// postgresOn lists the processes of any Postgres on a data folder.
func postgresOn(data string) []int {
	entries, err := os.ReadDir("/proc")
	if err != nil {
		return nil
	}
	var pids []int
	for _, entry := range entries {
		if pid, err := strconv.Atoi(entry.Name()); err == nil && isPostgresOn(pid, data) {
			pids = append(pids, pid)
		}
	}
	return pids
}

func commandLine(pid int) string {
	text, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "cmdline"))
	if err != nil {
		return ""
	}
	return string(bytes.ReplaceAll(text, []byte{0}, []byte{' '}))
}
