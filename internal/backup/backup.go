// Package backup writes a database to a file and reads it back, with the programs that
// come with Postgres (pg_dump, pg_restore).
//
// A backup is one file in Postgres' custom format: everything in one database at one
// moment, while servers go on working. It holds what people wrote and the hashes of
// tokens, so it is readable by its owner alone. Roles are not in it; Restore makes the
// one that the service runs as.
package backup

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"github.com/jackc/pgx/v5"

	"stillroom/internal/fault"
	"stillroom/internal/localpg"
)

// Written describes a backup that was written.
type Written struct {
	Path string
	// Size is in bytes; Tables is how many it holds.
	Size   int64
	Tables int
	// Postgres is the version that it came from.
	Postgres string
}

// Write writes the database at a URL to a file. It writes under another name, reads that
// whole to see that it can be read back, and renames it then, so that a file of the given
// name is always a whole backup. A file that is there already is kept unless replace is set.
func Write(ctx context.Context, database, path string, replace bool) (_ Written, err error) {
	if _, err := os.Stat(path); err == nil && !replace {
		return Written{}, fault.Field("file", path, "is there already", "choose another name, or say --replace")
	}
	target, err := clean(database)
	if err != nil {
		return Written{}, err
	}
	conn, err := connect(ctx, database)
	if err != nil {
		return Written{}, err
	}
	defer func() { _ = conn.Close(context.WithoutCancel(ctx)) }()
	major, version, err := serverVersion(ctx, conn)
	if err != nil {
		return Written{}, err
	}
	if err := seesAll(ctx, conn); err != nil {
		return Written{}, err
	}
	dump, err := localpg.Tools("pg_dump", major)
	if err != nil {
		return Written{}, err
	}
	read, err := localpg.Tools("pg_restore", dump[0].Version.Major)
	if err != nil {
		return Written{}, err
	}

	// A new file of mode 0600, beside the one it will become, so that the rename stays on one disk.
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".part-*")
	if err != nil {
		return Written{}, fault.Field("file", path, "cannot be written: "+bare(err), "name one in a folder that you may write to").Because(err)
	}
	part := f.Name()
	defer func() {
		_ = f.Close()
		if err != nil {
			_ = os.Remove(part)
		}
	}()
	if err := target.run(ctx, dump[0], "--format=custom", "--no-owner", "--no-comments", "--schema=public", "--extension=btree_gist", "--extension=pg_trgm", "--file="+part, "--dbname="+target.uri); err != nil {
		return Written{}, err
	}
	tables, err := verify(ctx, read[0], part)
	if err != nil {
		return Written{}, err
	}
	if err := f.Sync(); err != nil {
		return Written{}, err
	}
	info, err := f.Stat()
	if err != nil {
		return Written{}, err
	}
	if err := os.Rename(part, path); err != nil {
		return Written{}, fault.Field("file", path, "cannot be written: "+bare(err), "name another").Because(err)
	}
	if folder, err := os.Open(filepath.Dir(path)); err == nil {
		_ = folder.Sync() // some systems cannot; the file itself is on disk
		_ = folder.Close()
	}
	return Written{Path: path, Size: info.Size(), Tables: tables, Postgres: version}, nil
}

// verify reads a backup from end to end and counts its tables.
func verify(ctx context.Context, restore localpg.Tool, path string) (int, error) {
	listed, err := output(ctx, restore.Command("--list", path))
	if err != nil {
		return 0, notABackup(path, err)
	}
	tables, ours := 0, false
	for _, line := range strings.Split(listed, "\n") {
		if strings.HasPrefix(line, ";") {
			continue
		}
		if strings.Contains(line, " TABLE DATA public ") {
			tables++
			ours = ours || strings.Contains(line, " TABLE DATA public goose_db_version ")
		}
	}
	if !ours {
		return 0, fault.Field("file", path, "is a backup of something else", "name one that stillroom backup wrote")
	}
	// The list stands at the head; only reading the rest shows that it is whole.
	if _, err := output(ctx, restore.Command("--file="+os.DevNull, path)); err != nil {
		return 0, notABackup(path, err)
	}
	return tables, nil
}

func notABackup(path string, err error) error {
	return fault.Field("file", path, "cannot be read as a backup: "+err.Error(), "name a whole file that stillroom backup wrote").Because(err)
}

// seesAll refuses a user from whom row-level security hides rows: pg_dump would stop half-way.
func seesAll(ctx context.Context, conn *pgx.Conn) error {
	var name string
	var all bool
	if err := conn.QueryRow(ctx, `SELECT rolname, rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = current_user`).Scan(&name, &all); err != nil {
		return err
	}
	if !all {
		return fault.New(fault.Precondition, "the database user %s sees one kitchen at a time, so it cannot write a backup; give a user who sees all: "+
			"CREATE ROLE stillroom_backup LOGIN BYPASSRLS IN ROLE pg_read_all_data", name)
	}
	return nil
}

// target is a database as Postgres' programs are told of it: the password goes by the
// environment, where other users of the machine cannot read it.
type target struct {
	uri      string
	password string
}

// ours are the settings of a URL that only our driver knows.
var ours = []string{"pool_max_conns", "pool_min_conns", "pool_min_idle_conns", "pool_max_conn_lifetime", "pool_max_conn_idle_time", "pool_health_check_period",
	"pool_max_conn_lifetime_jitter", "default_query_exec_mode", "statement_cache_capacity", "description_cache_capacity"}

func clean(database string) (target, error) {
	u, err := url.Parse(database)
	if err != nil || (u.Scheme != "postgres" && u.Scheme != "postgresql") {
		return target{}, fault.New(fault.Invalid, "the database URL cannot be read; give postgres://user@host:port/name")
	}
	var t target
	if password, ok := u.User.Password(); ok {
		t.password = password
		u.User = url.User(u.User.Username())
	}
	query := u.Query()
	for _, key := range ours {
		query.Del(key)
	}
	if query.Has("password") {
		t.password = query.Get("password")
		query.Del("password")
	}
	u.RawQuery = query.Encode()
	t.uri = u.String()
	return t, nil
}

// run runs a tool against the database and gives what it complains of.
func (t target) run(ctx context.Context, tool localpg.Tool, args ...string) error {
	cmd := tool.Command(args...)
	for _, pair := range os.Environ() {
		if strings.HasPrefix(pair, "PG") { // certificates and password files that the driver heeds too
			cmd.Env = append(cmd.Env, pair)
		}
	}
	if t.password != "" {
		cmd.Env = append(cmd.Env, "PGPASSWORD="+t.password)
	}
	_, err := output(ctx, cmd)
	if err != nil {
		return fault.New(fault.Precondition, "%s did not work: %s", filepath.Base(tool.Path), err).Because(err)
	}
	return nil
}

// output runs a command until it ends or ctx does, and gives what it wrote; its last complaints when it failed.
func output(ctx context.Context, cmd *exec.Cmd) (string, error) {
	var out, complaint bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &complaint
	if err := cmd.Start(); err != nil {
		return "", err
	}
	stop := context.AfterFunc(ctx, func() { _ = cmd.Process.Kill() })
	defer stop()
	if err := cmd.Wait(); err != nil {
		if ctx.Err() != nil {
			return "", ctx.Err()
		}
		lines := strings.Split(strings.TrimSpace(complaint.String()), "\n")
		return "", errors.New(strings.Join(lines[max(0, len(lines)-3):], " | "))
	}
	return out.String(), nil
}

func connect(ctx context.Context, database string) (*pgx.Conn, error) {
	u, err := url.Parse(database)
	if err != nil {
		return nil, fault.New(fault.Invalid, "the database URL cannot be read; give postgres://user@host:port/name")
	}
	query := u.Query()
	for _, key := range ours {
		query.Del(key)
	}
	u.RawQuery = query.Encode()
	conn, err := pgx.Connect(ctx, u.String())
	if err != nil {
		return nil, fault.New(fault.Unavailable, "the database cannot be reached; check the URL, and that Postgres runs").Because(err)
	}
	return conn, nil
}

func serverVersion(ctx context.Context, conn *pgx.Conn) (major int, text string, err error) {
	var number int
	if err := conn.QueryRow(ctx, `SELECT current_setting('server_version_num')::integer, current_setting('server_version')`).Scan(&number, &text); err != nil {
		return 0, "", fmt.Errorf("ask for the version of Postgres: %w", err)
	}
	return number / 10000, text, nil
}

// bare is the cause of a file error without the path.
func bare(err error) string {
	var pathErr *os.PathError
	if errors.As(err, &pathErr) {
		return pathErr.Err.Error()
	}
	var linkErr *os.LinkError
	if errors.As(err, &linkErr) {
		return linkErr.Err.Error()
	}
	return err.Error()
}
