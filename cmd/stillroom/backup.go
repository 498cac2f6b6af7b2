package main

import (
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"stillroom/internal/backup"
	"stillroom/internal/localpg"
)

// where are the flags that say which database a backup is of.
type where struct{ database, data string }

func (o *where) bind(cmd *cobra.Command) {
	cmd.Flags().StringVar(&o.database, "database", os.Getenv(localpg.URLVariable), "Postgres to use, postgres://user@host:port/name (or $"+localpg.URLVariable+")")
	cmd.Flags().StringVar(&o.data, "data", os.Getenv(localpg.FolderVariable), "folder of the private Postgres (or $"+localpg.FolderVariable+")")
}

// with runs do on the database: the one given, the one of a private Postgres that a server
// is running, when that will do, or one started for the moment.
func (o where) with(ctx context.Context, s *session, runningWillDo bool, do func(url string) error) (err error) {
	if o.database != "" {
		return do(o.database)
	}
	if runningWillDo {
		url, running, err := localpg.Running(o.data, databaseName)
		if err != nil {
			return err
		}
		if running {
			return do(url)
		}
	}
	pg, err := localpg.Start(ctx, localpg.Options{Folder: o.data, Notice: s.notice})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, pg.Stop()) }()
	url, err := pg.Database(ctx, databaseName)
	if err != nil {
		return err
	}
	return do(url)
}

func newBackup(s *session) *cobra.Command {
	var o where
	var replace bool
	cmd := &cobra.Command{
		Use: "backup FILE", Short: "Write everything to one file, while servers go on working", GroupID: groupRun, Args: cobra.ExactArgs(1),
		Long: `Write everything in the database to one file, as it is at one moment, while servers go
on working. The file is written under another name, read back whole, and renamed then.
It holds what people wrote, and is readable by you alone. It needs Postgres' pg_dump
and pg_restore of the database's version or later, and, for a database that is given, a
user who is not kept behind row-level security (deploy/README.md says how).`,
		Example: `  stillroom backup /backups/stillroom-$(date +%F).dump`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.with(cmd.Context(), s, true, func(url string) error {
				done, err := backup.Write(cmd.Context(), url, args[0], replace)
				if err != nil {
					return err
				}
				fmt.Fprintf(s.out, "%s: %d tables of Postgres %s in %s, read back whole\n", done.Path, done.Tables, done.Postgres, bytesOf(done.Size))
				return nil
			})
		},
	}
	o.bind(cmd)
	cmd.Flags().BoolVar(&replace, "replace", false, "replace a file of that name, once the new one is whole")
	return cmd
}

func newRestore(s *session) *cobra.Command {
	var o where
	var over string
	cmd := &cobra.Command{
		Use: "restore FILE", Short: "Put a backup into a database that no server is using", GroupID: groupRun, Args: cobra.ExactArgs(1),
		Long: `Put a backup into a database that no server is using: all of it, or nothing when
anything goes wrong. A database that holds something is left alone unless it is
named; that of a private Postgres is called ` + databaseName + `. What was erased since the backup
was made is back with it: erase again.`,
		Example: "  stillroom restore /backups/stillroom-2027-08-21.dump\n  stillroom restore /backups/stillroom-2027-08-21.dump --over " + databaseName,
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.with(cmd.Context(), s, false, func(url string) error {
				tables, err := backup.Read(cmd.Context(), url, args[0], over)
				if err != nil {
					return err
				}
				fmt.Fprintf(s.out, "%d tables are restored; start the server\n", tables)
				return nil
			})
		},
	}
	o.bind(cmd)
	cmd.Flags().StringVar(&over, "over", "", "name of the database whose tables to replace")
	return cmd
}

// bytesOf writes a size for people.
func bytesOf(n int64) string {
	const kb, mb = 1 << 10, 1 << 20
	if n < mb {
		return fmt.Sprintf("%.1f KiB", float64(n)/kb)
	}
	return fmt.Sprintf("%.1f MiB", float64(n)/mb)
}
