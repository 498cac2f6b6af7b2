// Command loadbench plans load instances and writes the answers.
//
//	loadbench [-time 10s] [-seed 1] [-work N] [-workers N] FILE.json | FILE.dzn | DIRECTORY
//	loadbench -compare published.csv [-time 10s] DIRECTORY
//	loadbench -rates N [-stations 8] [-canners 3] [-from 1] [-cpu] [-time 10s]
//
// A FILE.json is an instance of either form ("form": "class" or "form": "oven"); a
// FILE.dzn is one of the oven form. Of a DIRECTORY every .json and .dzn file is
// planned, in order of name. Each answer is one JSON object on a line of standard
// output. With -compare, a table of the answers beside the published results of the
// oven form stands there instead.
//
// With -rates, N random classes are planned until jars and finish are proven, and a
// table says how many were proven how soon, and how far finish and bound are apart.
//
// What is wrong with a file is said on standard error, by file and field. The command
// then goes on with the other files, and exits with status 1.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"sort"
	"strings"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// settings are what the flags say about a search.
type settings struct {
	time    time.Duration
	work    int64
	seed    uint64
	workers int
}

// run is main without the process around it. It returns the exit status: 0, 1 when a
// file failed, 2 for wrong use.
func run(ctx context.Context, args []string, out, errOut io.Writer) int {
	var s settings
	flags := flag.NewFlagSet("loadbench", flag.ContinueOnError)
	flags.SetOutput(errOut)
	flags.Usage = func() {
		fmt.Fprintln(errOut, "usage: loadbench [flags] FILE.json | FILE.dzn | DIRECTORY")
		flags.PrintDefaults()
	}
	flags.DurationVar(&s.time, "time", 10*time.Second, "time limit for each instance; 0 for none (then give -work)")
	flags.Int64Var(&s.work, "work", 0, "limit in work for each instance, which makes answers repeat; 0 for none")
	flags.Uint64Var(&s.seed, "seed", 1, "seed of the search's random choices")
	flags.IntVar(&s.workers, "workers", 0, "searches side by side; 0 for one a core")
	var r rates
	flags.IntVar(&r.count, "rates", 0, "plan this `number` of random classes and print how many are proven how soon")
	flags.IntVar(&r.stations, "stations", 8, "with -rates: stations of a class, each with 1 or 2 batches")
	flags.IntVar(&r.canners, "canners", 3, "with -rates: canners of a class")
	flags.Uint64Var(&r.from, "from", 1, "with -rates: seed of the first class; the next ones follow")
	flags.BoolVar(&r.cpu, "cpu", false, "with -rates: count processor time, which other programs on the machine do not lengthen")
	compare := flags.String("compare", "", "print a table beside the published results in this `CSV`, instead of the answers")
	if err := flags.Parse(args); err != nil {
		if errors.Is(err, flag.ErrHelp) {
			return 0
		}
		return 2
	}
	switch {
	case r.count < 0 || r.stations < 1 || r.canners < 1:
		fmt.Fprintln(errOut, "loadbench: -rates cannot be negative, -stations and -canners must be above 0")
		return 2
	case flags.NArg() != 1 && r.count == 0 || flags.NArg() != 0 && r.count > 0:
		flags.Usage()
		return 2
	case s.time < 0 || s.work < 0 || s.workers < 0:
		fmt.Fprintln(errOut, "loadbench: -time, -work and -workers cannot be negative")
		return 2
	case s.time == 0 && s.work == 0:
		fmt.Fprintln(errOut, "loadbench: give -time or -work above 0")
		return 2
	}
	if r.count > 0 {
		r.print(ctx, s, out)
		return 0
	}
	var table *comparison
	if *compare != "" {
		var err error
		if table, err = readPublished(*compare); err != nil {
			fmt.Fprintf(errOut, "loadbench: %v\n", err)
			return 1
		}
	}
	files, err := instanceFiles(flags.Arg(0))
	if err != nil {
		fmt.Fprintf(errOut, "loadbench: %v\n", err)
		return 1
	}
	status := 0
	for _, file := range files {
		answer, err := planFile(ctx, file, s)
		if err != nil {
			fmt.Fprintf(errOut, "loadbench: %s: %v\n", file, err)
			status = 1
			continue
		}
		if table != nil {
			table.add(filepath.Base(file), answer)
			continue
		}
		line, err := json.Marshal(answer)
		if err != nil {
			fmt.Fprintf(errOut, "loadbench: %s: %v\n", file, err)
			status = 1
			continue
		}
		fmt.Fprintf(out, "%s\n", line)
	}
	if table != nil {
		table.print(out)
	}
	return status
}

// instanceFiles gives the file itself, or a directory's instances by name.
func instanceFiles(path string) ([]string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.IsDir() {
		return []string{path}, nil
	}
	entries, err := os.ReadDir(path)
	if err != nil {
		return nil, err
	}
	var files []string
	for _, e := range entries {
		if ext := strings.ToLower(filepath.Ext(e.Name())); !e.IsDir() && (ext == ".json" || ext == ".dzn") {
			files = append(files, filepath.Join(path, e.Name()))
		}
	}
	sort.Strings(files)
	if len(files) == 0 {
		return nil, fmt.Errorf("%s holds no .json or .dzn file", path)
	}
	return files, nil
}
