// Command stillroom is the server of a teaching kitchen, its demonstration, and an
// instructor's commands. `stillroom help` lists them.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // the zones of sites, on machines and in images that have none
)

func main() {
	os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// run is the program without its process: it returns the exit status, 0 for
// success and 1 for any failure, which it has told on stderr.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	s := &session{in: stdin, out: stdout, errOut: stderr}
	root := newRoot(s)
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	s.close()
	if err != nil {
		s.explain(err)
		return 1
	}
	return 0
}
