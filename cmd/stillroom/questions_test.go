package main

import (
	"bufio"
	"os/exec"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/store/storetest"
)

// TestQuestionsFromTheCommandLine goes from a first question through a live
// session to an exported answer.
func TestQuestionsFromTheCommandLine(t *testing.T) {
	t.Parallel()
	p := startProgram(t, "--database", storetest.URL(t))
	p.run("kitchen", "create", "high-meadow", "--currency", "USD", "--name", "High Meadow")
	p.run("site", "create", "main", "--altitude", "5,430 ft", "--zone", "America/Denver")
	p.run("class", "create", "salsa", "--site", "main", "--start", "2027-08-21 09:00", "--length", "4h", "--places", "5",
		"--questions-at", "2027-08-24 18:00", "--questions-minutes", "10")
	p.run("roster", "import", "salsa", p.file("roster.csv", "name\nAna\nBo\nCy\n"))
	ids := map[string]string{}
	for _, one := range p.json("participant", "list")["participants"].([]any) {
		m := one.(map[string]any)
		ids[m["display_name"].(string)] = last(m["name"].(string))
	}

	watch := exec.Command(binary, "question", "watch", "--class", "salsa", "--server", p.address, "--kitchen", p.kitchen)
	pipe, err := watch.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, watch.Start())
	seen := bufio.NewScanner(pipe)

	shown := p.run("question", "ask", "--id", "seal", "--asker", ids["Ana"], "--class", "salsa", "One jar did not seal, what now?")
	require.Contains(t, shown, "A jar did not seal")
	require.Contains(t, shown, "Source: USDA AIB 539 (rev. 2015), Guide 1, p. 1-26, Reprocessing unsealed jars")
	require.True(t, seen.Scan())
	require.Equal(t, "! asked       1  One jar did not seal, what now?", seen.Text())

	p.run("question", "ask", "--id", "space", "--asker", ids["Bo"], "--class", "salsa", "How much headspace for salsa?")
	p.run("question", "ask", "--id", "space2", "--asker", ids["Cy"], "--class", "salsa", "What headspace does the salsa need?")
	p.run("question", "ask", "--id", "park", "--asker", ids["Cy"], "--class", "salsa", "--unnamed", "Where do I park?")
	require.Contains(t, p.fails("question", "ask", "--asker", ids["Cy"], "--class", "salsa", " "), "question.text: is empty")
	require.Contains(t, p.run("question", "endorse", "park", ids["Ana"]), "with 1 asking and 1 endorsing")
	require.Contains(t, p.run("question", "groups", "salsa"), "stillroom question merge space space2")
	require.Contains(t, p.run("question", "merge", "space", "space2"), "with 2 asking")
	require.Contains(t, p.run("question", "show", "space2"), "merged into space")

	list := strings.Split(p.run("question", "list", "--class", "salsa"), "\n")
	require.Contains(t, list[2], "!")
	require.Contains(t, list[2], "One jar did not seal")
	require.Contains(t, p.fails("question", "list", "--state", "lost"), `--state "lost"`)

	// 10 minutes: the unsealed jar (3:30 with its topic), then salsa (20 points) before parking (16).
	order := p.run("question", "order", "salsa", "--apply")
	require.Contains(t, order, "its topic comes early because it cannot wait; worth 510 (urgent 500, 1 asker 10)")
	require.Contains(t, order, "7:00 of 10:00 used")
	require.Contains(t, order, "Where do I park? — needs 3.5 min with opening its topic and 3 min are left")

	p.run("live", "open", "salsa", "--id", "s1", "--host", "Mo")
	require.Contains(t, p.run("live", "next", "salsa", "s1", "--host", "Mo"), "seal, taken by Mo")
	require.Contains(t, p.run("question", "answer", "seal", "Reprocess it within 24 hours,", "or refrigerate it.", "--by", "Mo", "--spoken",
		"--source", "USDA AIB 539 (rev. 2015); Guide 1, p. 1-26"), "Answer by Mo: Reprocess it within 24 hours, or refrigerate it.")
	require.Contains(t, p.run("live", "next", "salsa", "s1", "--host", "Mo"), "space, taken by Mo")
	p.run("question", "skip", "space")
	require.Contains(t, p.run("live", "close", "salsa", "s1"), "Session s1 is closed: 1 answered, 2 still open")
	require.Contains(t, p.run("live", "list", "salsa"), "s1")
	p.run("question", "publish", "seal", "--reviewer", "Lu")
	require.Contains(t, p.run("question", "likely", "jar", "not", "sealed"), "Reprocess it within 24 hours")
	require.Contains(t, p.run("question", "export"), "### One jar did not seal, what now?\n\nReprocess it within 24 hours")
	require.Contains(t, p.run("question", "export", "--format", "csv"), "seal,jar,\"One jar did not seal, what now?\"")
	require.Contains(t, p.run("question", "history", "seal"), "publish  Lu")
	require.Contains(t, p.run("question", "carry", "salsa"), "2 carried over")
	require.Contains(t, p.run("class", "calendar", "salsa"), "DTSTART;TZID=America/Denver:20270824T180000\r\n")
	require.Contains(t, p.run("question", "edit", "park", "--order", "in", "--minutes", "1.5", "--topic", "Getting here"), "Where do I park?")
	edited := p.json("question", "show", "park")
	require.Equal(t, true, edited["pinned"])
	require.InDelta(t, 90, edited["answer_seconds"], 0)
	require.Contains(t, p.run("question", "withdraw", "park"), "withdrawn")
	require.Contains(t, p.fails("question", "answer", "park", "So."), "ask it again as a new question")
	require.NoError(t, watch.Process.Signal(syscall.SIGINT))
	require.NoError(t, watch.Wait())
	p.stop()
}
