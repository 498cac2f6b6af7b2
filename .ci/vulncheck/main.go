// Command vulncheck judges what govulncheck found, from its JSON on standard input.
//
// A vulnerability in a module that our code calls into fails the check: a newer version of the module
// is the remedy, and that is ours to take. One in the standard library is reported with the Go release
// that mends it, which is for whoever installs Go. One in code that is never called is not mentioned.
package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
)

// message is the part of govulncheck's protocol (golang.org/x/vuln/internal/govulncheck) that is used here.
type message struct {
	OSV *struct {
		ID      string `json:"id"`
		Summary string `json:"summary"`
	} `json:"osv"`
	Finding *struct {
		OSV          string `json:"osv"`
		FixedVersion string `json:"fixed_version"`
		Trace        []struct {
			Module   string `json:"module"`
			Version  string `json:"version"`
			Package  string `json:"package"`
			Function string `json:"function"`
		} `json:"trace"`
	} `json:"finding"`
}

func main() {
	failed, err := judge(os.Stdin, os.Stdout)
	if err != nil {
		fmt.Fprintln(os.Stderr, "vulncheck:", err)
		os.Exit(2)
	}
	if failed {
		os.Exit(1)
	}
}

func judge(in io.Reader, out io.Writer) (failed bool, err error) {
	summaries := map[string]string{}
	inModules, inGo := map[string]string{}, map[string]string{}
	messages := 0
	for d := json.NewDecoder(in); ; messages++ {
		var m message
		if err := d.Decode(&m); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return false, err
		}
		if m.OSV != nil {
			summaries[m.OSV.ID] = m.OSV.Summary
		}
		// The first frame is the vulnerable symbol; without a function the symbol is not called.
		if f := m.Finding; f != nil && len(f.Trace) > 0 && f.Trace[0].Function != "" {
			at := f.Trace[0]
			remedy := "no version mends it yet"
			if f.FixedVersion != "" {
				remedy = "mended in " + f.FixedVersion
			}
			line := fmt.Sprintf("%s %s, %s", at.Package, at.Version, remedy)
			if at.Module == "stdlib" {
				inGo[f.OSV] = line
			} else {
				inModules[f.OSV] = line
			}
		}
	}
	if messages == 0 {
		return false, errors.New("no answer from govulncheck")
	}
	for _, id := range slices.Sorted(maps.Keys(inGo)) {
		fmt.Fprintf(out, "note: this Go release: %s (%s) %s\n", id, inGo[id], summaries[id])
	}
	for _, id := range slices.Sorted(maps.Keys(inModules)) {
		fmt.Fprintf(out, "fail: %s (%s) %s\n", id, inModules[id], summaries[id])
	}
	fmt.Fprintf(out, "vulnerabilities that our code can reach: %d in modules, %d in this release of Go\n", len(inModules), len(inGo))
	return len(inModules) > 0, nil
}
