//go:build linux || darwin || freebsd || netbsd || openbsd

package localpg

import (
	"errors"
	"os"
	"os/exec"
	"syscall"
)

// supported says whether a private Postgres can be run on this system.
const supported = true

// apply makes a command run as this user.
func (a account) apply(cmd *exec.Cmd) {
	if !a.switched {
		return
	}
	attributes(cmd).Credential = &syscall.Credential{Uid: uint32(a.uid), Gid: uint32(a.gid)}
}

func attributes(cmd *exec.Cmd) *syscall.SysProcAttr {
	if cmd.SysProcAttr == nil {
		cmd.SysProcAttr = &syscall.SysProcAttr{}
	}
	return cmd.SysProcAttr
}

func newSession(cmd *exec.Cmd) { attributes(cmd).Setsid = true }

// lockFile takes the kernel's lock on an open file, or fails at once.
func lockFile(f *os.File) error {
	return syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
}

// heldElsewhere says whether lockFile failed because another process has the lock.
func heldElsewhere(err error) bool { return errors.Is(err, syscall.EWOULDBLOCK) }

func ownerOf(path string) (uid, gid int, err error) {
	info, err := os.Lstat(path)
	if err != nil {
		return 0, 0, err
	}
	stat := info.Sys().(*syscall.Stat_t)
	return int(stat.Uid), int(stat.Gid), nil
}

// Postgres's own meanings of the signals: SIGINT is the fast shutdown (sessions are cut off, all is
// written out), SIGQUIT the immediate one (the next start recovers).
func askToStop(pid int) error       { return syscall.Kill(pid, syscall.SIGINT) }
func askToStopAtOnce(pid int) error { return syscall.Kill(pid, syscall.SIGQUIT) }
func kill(pid int) error            { return syscall.Kill(pid, syscall.SIGKILL) }

func processExists(pid int) bool {
	err := syscall.Kill(pid, 0)
	return err == nil || err == syscall.EPERM
}
