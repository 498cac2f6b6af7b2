package main

import (
	"bytes"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/store/storetest"
)

var update = flag.Bool("update", false, "write what the README's commands print into the README")

const readme = "../../README.md"

// TestTheReadmeIsTrue runs every command in the README's console blocks, in order,
// against one server, and compares what it prints with what the README says. With
// -update it writes the README anew; read the difference before committing it.
func TestTheReadmeIsTrue(t *testing.T) {
	text, err := os.ReadFile(readme)
	require.NoError(t, err)
	root, err := filepath.Abs("../..")
	require.NoError(t, err)
	p := startProgram(t, "--database", storetest.URL(t))
	var out strings.Builder
	blocks := strings.Split(string(text), "```console\n")
	out.WriteString(blocks[0])
	for _, block := range blocks[1:] {
		body, rest, ok := strings.Cut(block, "```\n")
		require.True(t, ok, "a console block does not end")
		out.WriteString("```console\n")
		for line := range strings.Lines(body) {
			command, isCommand := strings.CutPrefix(line, "$ ")
			if !isCommand {
				continue
			}
			out.WriteString(line)
			out.WriteString(settled(p.shell(root, strings.TrimSpace(command))))
		}
		out.WriteString("```\n" + rest)
	}
	if *update {
		require.NoError(t, os.WriteFile(readme, []byte(out.String()), 0o644)) //nolint:gosec // The README is for everybody.
		return
	}
	require.Equal(t, string(text), out.String(), "the README is out of date; run: go test ./cmd/stillroom -run Readme -update")
}

// shell runs a line of the README as a reader's shell does.
func (p *program) shell(folder, line string) string {
	p.t.Helper()
	if name, value, ok := strings.Cut(strings.TrimPrefix(line, "export "), "="); ok && strings.HasPrefix(line, "export ") {
		require.Equal(p.t, kitchenVariable, name)
		p.kitchen = value
		return ""
	}
	cmd := exec.Command("sh", "-c", strings.Replace(line, "./stillroom", binary, 1)) //nolint:gosec // The README's own commands.
	cmd.Dir = folder
	cmd.Env = append(os.Environ(), serverVariable+"="+p.address, kitchenVariable+"="+p.kitchen)
	var both bytes.Buffer
	cmd.Stdout, cmd.Stderr = &both, &both
	require.NoError(p.t, cmd.Run(), "%s: %s", line, &both)
	return both.String()
}

var uuidText = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}`)

// settled replaces what differs from run to run: made-up identifiers.
func settled(s string) string {
	return uuidText.ReplaceAllStringFunc(s, func(id string) string { return id[:2] + strings.Repeat("…", 3) })
}
