package backup

import (
	"bufio"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"stillroom/internal/fault"
	"stillroom/internal/localpg"
	"stillroom/internal/store"
)

// Read puts a backup into the database at a URL and brings it to this program's tables.
// It gives the number of tables that the backup holds.
//
// A database that holds tables is left alone unless over is its name; then they are
// replaced. Either the whole backup is there at the end, or what was there before. No
// server may be using the database.
func Read(ctx context.Context, database, path, over string) (int, error) {
	if _, err := os.Stat(path); err != nil {
		return 0, fault.Field("file", path, "cannot be read: "+bare(err), "name one that stillroom backup wrote")
	}
	tool, tables, err := reader(ctx, path)
	if err != nil {
		return 0, err
	}
	conn, err := connect(ctx, database)
	if err != nil {
		return 0, err
	}
	defer func() { _ = conn.Close(context.WithoutCancel(ctx)) }()
	if err := mayReplace(ctx, conn, over); err != nil {
		return 0, err
	}
	list, err := contents(ctx, tool, path)
	if err != nil {
		return 0, err
	}
	defer func() { _ = os.Remove(list) }()
	err = pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
		if err := store.PrepareRestore(ctx, tx); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, clearPublic); err != nil {
			return fault.New(fault.Precondition, "this user may not replace what the database holds; restore as its owner").Because(err)
		}
		if err := play(ctx, tx.Conn().PgConn(), tool, "--no-owner", "--use-list="+list, "--file=-", path); err != nil {
			return err
		}
		return store.FinishRestore(ctx, tx)
	})
	if err != nil {
		return 0, err
	}
	// Whatever came after the backup was made is applied as when a server starts.
	s, err := store.Open(ctx, database)
	if err != nil {
		return 0, err
	}
	s.Close()
	return tables, nil
}

// reader is the oldest pg_restore that can read a backup, and how many tables it finds: an
// older one says less that the database may not know.
func reader(ctx context.Context, path string) (localpg.Tool, int, error) {
	tools, err := localpg.Tools("pg_restore", 1)
	if err != nil {
		return localpg.Tool{}, 0, err
	}
	for _, tool := range tools {
		var tables int
		if tables, err = verify(ctx, tool, path); err == nil {
			return tool, tables, nil
		}
	}
	return localpg.Tool{}, 0, err
}

// mayReplace refuses a database that holds something, unless it is named, and one that is in use.
func mayReplace(ctx context.Context, conn *pgx.Conn, over string) error {
	var name string
	var held, used int
	if err := conn.QueryRow(ctx, `SELECT current_database(),
		(SELECT count(*) FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p', 'v', 'm', 'f')
		   AND NOT EXISTS (SELECT 1 FROM pg_depend d WHERE d.objid = pg_class.oid AND d.deptype = 'e')),
		(SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid() AND backend_type = 'client backend')`).
		Scan(&name, &held, &used); err != nil {
		return err
	}
	switch {
	case over != "" && over != name:
		return fault.Field("over", over, "is not the name of the database", "say --over "+name+" to replace what it holds")
	case held > 0 && over == "":
		return fault.New(fault.Precondition, "the database %q holds %d tables already; say --over %s to replace them", name, held, name)
	case used > 0:
		return fault.New(fault.Precondition, "the database %q has %d other connections; stop the servers that use it first", name, used)
	}
	return nil
}

// contents writes the list of what to restore: all but what hangs on the roles of the
// cluster that the backup came from, which FinishRestore sets anew, and the schema, which is there.
func contents(ctx context.Context, tool localpg.Tool, path string) (string, error) {
	listed, err := output(ctx, tool.Command("--list", path))
	if err != nil {
		return "", notABackup(path, err)
	}
	var kept strings.Builder
	for _, line := range strings.Split(listed, "\n") {
		if strings.Contains(line, " DEFAULT ACL ") || strings.Contains(line, " SCHEMA - public ") || strings.Contains(line, " ACL - SCHEMA public ") {
			continue
		}
		kept.WriteString(line + "\n")
	}
	f, err := os.CreateTemp("", "stillroom-restore-*")
	if err != nil {
		return "", err
	}
	if _, err := f.WriteString(kept.String()); err != nil {
		_ = f.Close()
		_ = os.Remove(f.Name())
		return "", err
	}
	return filepath.Clean(f.Name()), f.Close()
}

// clearPublic drops what the schema holds, but for what belongs to an extension.
const clearPublic = `DO $$
DECLARE
    r record;
BEGIN
    FOR r IN
        SELECT CASE c.relkind WHEN 'v' THEN 'VIEW' WHEN 'm' THEN 'MATERIALIZED VIEW' WHEN 'S' THEN 'SEQUENCE' WHEN 'f' THEN 'FOREIGN TABLE' ELSE 'TABLE' END AS kind,
               format('%I.%I', 'public', c.relname) AS name
        FROM pg_class c
        WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p', 'v', 'm', 'f', 'S')
          AND NOT EXISTS (SELECT 1 FROM pg_depend d WHERE d.classid = 'pg_class'::regclass AND d.objid = c.oid AND d.deptype IN ('e', 'i'))
        UNION ALL
        SELECT 'ROUTINE', p.oid::regprocedure::text
        FROM pg_proc p
        WHERE p.pronamespace = 'public'::regnamespace
          AND NOT EXISTS (SELECT 1 FROM pg_depend d WHERE d.classid = 'pg_proc'::regclass AND d.objid = p.oid AND d.deptype = 'e')
    LOOP
        EXECUTE format('DROP %s IF EXISTS %s CASCADE', r.kind, r.name);
    END LOOP;
END
$$`

// play runs the script that a tool writes, on a connection that is in a transaction: what
// stands between the rows of tables as it is, and the rows by COPY.
func play(ctx context.Context, conn *pgconn.PgConn, tool localpg.Tool, args ...string) error {
	cmd := tool.Command(args...)
	script, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	var complaint strings.Builder
	cmd.Stderr = &complaint
	if err := cmd.Start(); err != nil {
		return err
	}
	err = playScript(ctx, conn, bufio.NewReaderSize(script, 1<<20))
	if err != nil {
		_ = cmd.Process.Kill() // else it waits for its script to be read
	}
	if ended := cmd.Wait(); err == nil && ended != nil {
		err = fault.New(fault.Precondition, "%s did not work: %s", filepath.Base(tool.Path), strings.TrimSpace(complaint.String())).Because(ended)
	}
	return err
}

var copying = regexp.MustCompile(`^COPY .* FROM stdin;\n$`)

func playScript(ctx context.Context, conn *pgconn.PgConn, script *bufio.Reader) error {
	var statements strings.Builder
	flush := func() error {
		text := statements.String()
		statements.Reset()
		if strings.TrimSpace(text) == "" {
			return nil
		}
		_, err := conn.Exec(ctx, text).ReadAll()
		return restoreFault(err)
	}
	for {
		line, err := script.ReadString('\n')
		switch {
		case err != nil && !errors.Is(err, io.EOF):
			return err
		case strings.HasPrefix(line, `\restrict `), strings.HasPrefix(line, `\unrestrict `): // for psql
		case strings.HasPrefix(line, "SET transaction_timeout"): // a setting that Postgres knows from 17 on
		case copying.MatchString(line):
			if err := flush(); err != nil {
				return err
			}
			rows := &copyRows{script: script}
			if _, err := conn.CopyFrom(ctx, rows, strings.TrimSuffix(strings.TrimSpace(line), ";")); err != nil {
				return restoreFault(err)
			}
		default:
			statements.WriteString(line)
		}
		if err != nil {
			return flush()
		}
	}
}

// restoreFault tells what a restore stumbles over, which is about the database more than about people.
func restoreFault(err error) error {
	var refused *pgconn.PgError
	if errors.As(err, &refused) {
		return fault.New(fault.Precondition, "the database refused the backup: %s", refused.Message).Because(err)
	}
	return err
}

// copyRows reads the rows of one table out of a script, up to the line that ends them.
type copyRows struct {
	script *bufio.Reader
	rest   []byte
	ended  bool
}

// Read gives the next rows.
func (c *copyRows) Read(into []byte) (int, error) {
	if len(c.rest) == 0 {
		if c.ended {
			return 0, io.EOF
		}
		line, err := c.script.ReadBytes('\n')
		if err != nil {
			return 0, io.ErrUnexpectedEOF
		}
		if string(line) == "\\.\n" {
			c.ended = true
			return 0, io.EOF
		}
		c.rest = line
	}
	n := copy(into, c.rest)
	c.rest = c.rest[n:]
	return n, nil
}
