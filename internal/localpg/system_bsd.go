//go:build darwin || freebsd || netbsd || openbsd

package localpg

import (
	"os/exec"
	"strconv"
	"strings"
)

// diesWithParent says whether the system ends Postgres when the program dies. Here a watchdog does.
const diesWithParent = false

func detach(cmd *exec.Cmd, _ bool) { newSession(cmd) }

// isPostgresOn says whether a process is a postmaster on a data folder: we name the folder when starting it.
func isPostgresOn(pid int, data string) bool {
	line := commandLine(pid)
	return strings.Contains(line, "postgres") && strings.Contains(line, "-D "+data)
}

// postgresOn would list the processes of a Postgres on a data folder; here only their postmaster can be
// told by its command line, and Postgres's own check of its shared memory has to do.
func postgresOn(string) []int { return nil }

func commandLine(pid int) string {
	out, err := exec.Command("ps", "-ww", "-o", "command=", "-p", strconv.Itoa(pid)).Output()
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(out))
}
