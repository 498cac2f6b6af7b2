package localpg

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"

	"stillroom/internal/fault"
)

// account is the user that Postgres runs as. Postgres refuses to run as root.
type account struct {
	name     string
	uid, gid int
	// switched is true when it is not the user that the program runs as.
	switched bool
}

// chooseAccount picks the program's own user; for root, the owner of the data if there is some, else
// the user that packages of Postgres make, else nobody.
func chooseAccount(data string) (account, error) {
	if uid := os.Geteuid(); uid != 0 {
		return account{name: userName(uid), uid: uid, gid: os.Getegid()}, nil
	}
	if uid, gid, err := ownerOf(data); err == nil && uid != 0 {
		return account{name: userName(uid), uid: uid, gid: gid, switched: true}, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err := strconv.Atoi(u.Uid)
		if err != nil || uid == 0 {
			continue
		}
		gid, err := strconv.Atoi(u.Gid)
		if err != nil {
			continue
		}
		return account{name: name, uid: uid, gid: gid, switched: true}, nil
	}
	return account{}, fault.New(fault.Precondition,
		"Postgres does not run as root, and this machine has no user postgres or nobody to run it as; add one, or run as a normal user")
}

func userName(uid int) string {
	if u, err := user.LookupId(strconv.Itoa(uid)); err == nil {
		return u.Username
	}
	return "#" + strconv.Itoa(uid)
}

// mkdir makes a folder that only this user may enter.
func (a account) mkdir(path string) error {
	if err := os.Mkdir(path, 0o700); err != nil {
		return err
	}
	return a.own(path)
}

// writeFile writes a file that only this user may read.
func (a account) writeFile(path, text string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Sync(), f.Close(), a.own(path))
}

func (a account) own(path string) error {
	if !a.switched {
		return nil
	}
	return os.Lchown(path, a.uid, a.gid)
}

// owns says what keeps a folder that exists already from being one that mkdir made.
func (a account) owns(path string) error {
	info, err := os.Lstat(path)
	if err != nil {
		return err
	}
	if !info.IsDir() || info.Mode().Perm() != 0o700 {
		return fmt.Errorf("it exists and is not a folder with mode 0700 (%v)", info.Mode())
	}
	uid, _, err := ownerOf(path)
	if err != nil {
		return err
	}
	if uid != a.uid {
		return fmt.Errorf("it belongs to user %s", userName(uid))
	}
	return nil
}

// canEnter says which folder on the way keeps this user out. It asks the system, because permissions
// are more than their nine bits.
func (a account) canEnter(folder string) error {
	if !a.switched {
		return nil
	}
	enters := func(path string) bool {
		cmd := exec.Command("/bin/sh", "-c", `cd "$1"`, "sh", path)
		cmd.Dir = "/"
		a.apply(cmd)
		return cmd.Run() == nil
	}
	if enters(folder) {
		return nil
	}
	blocked := folder
	for parent := filepath.Dir(blocked); parent != blocked && !enters(parent); parent = filepath.Dir(parent) {
		blocked = parent
		if parent == "/" {
			return fault.New(fault.Precondition, "Postgres cannot be run as user %s on this machine (switching from root to it fails); run as a normal user, or set %s",
				a.name, URLVariable)
		}
	}
	return fault.Field("data folder", folder,
		fmt.Sprintf("root's Postgres runs as user %s, who cannot enter %s", a.name, blocked),
		fmt.Sprintf("choose a folder elsewhere with %s (such as /var/lib/stillroom), or run as a normal user", FolderVariable))
}
