//go:build !(linux || darwin || freebsd || netbsd || openbsd)

package localpg

import (
	"errors"
	"os"
	"os/exec"
)

// supported says whether a private Postgres can be run on this system.
const supported = false

// diesWithParent says whether the system ends Postgres when the program dies.
const diesWithParent = false

var errUnsupported = errors.New("not supported on this system")

func (a account) apply(*exec.Cmd)         {}
func newSession(*exec.Cmd)                {}
func detach(*exec.Cmd, bool)              {}
func lockFile(*os.File) error             { return errUnsupported }
func heldElsewhere(error) bool            { return false }
func ownerOf(string) (int, int, error)    { return 0, 0, errUnsupported }
func askToStop(int) error                 { return errUnsupported }
func askToStopAtOnce(int) error           { return errUnsupported }
func kill(int) error                      { return errUnsupported }
func processExists(int) bool              { return false }
func isPostgresOn(pid int, _ string) bool { return false }
func postgresOn(string) []int             { return nil }
func commandLine(int) string              { return "" }
